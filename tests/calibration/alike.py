"""Members of the population with the same recording of the bare terminals: what the truth is of each, so what no recording there tells.

.venv/bin/python -m tests.calibration.alike SEED COUNT
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.calibration.plants import Case, bare, case
from tests.calibration.population import Capacitor, Draw, Series, bought

MEMBERS = 40
Way = Callable[[Draw, Case], Case]


def _lead(draw: Draw, one: Case) -> Case:
    lead = replace(one.converter.lead, inductance=draw.log(3e-9, 60e-9))
    return replace(one, converter=replace(one.converter, lead=lead))


def _mutual(draw: Draw, one: Case) -> Case:
    """As what is known of it lets it be: to 30 % where the layout was computed."""
    made, loops = one.filter, [part.true.esl + part.loop for part in (one.filter.first, one.filter.second)]
    mutual = draw.near(made.mutual, 0.3) if made.computed else min(draw.log(0.03e-9, 0.8e-9), 0.3 * min(loops))
    return replace(one, filter=replace(made, mutual=mutual))


def _again(draw: Draw, part: Capacitor) -> Capacitor:
    new = bought(draw, part.kind, part.stated, part.loss, part.tolerance, part.left, parasitics=0.25)
    return replace(part, true=new.true, loop=new.loop)


def _parts(draw: Draw, one: Case) -> Case:
    """Others of those that are sold under the same values."""
    made, choke = one.filter, one.filter.choke
    true = Series(draw.near(choke.stated.inductance, choke.tolerance), choke.true.resistance)
    first, second = _again(draw, made.first), _again(draw, made.second)
    return replace(one, filter=replace(made, first=first, second=second, choke=replace(choke, true=true)))


def _chassis(draw: Draw, one: Case) -> Case:
    """Where there is one, within the file's ranges of coupling and strap."""
    way = one.converter.chassis
    if way is None:
        return one
    strap = Series(draw.near(way.strap.inductance, 0.3), way.strap.resistance)
    way = replace(way, coupling=way.coupling * draw.log(0.6, 1.7), strap=strap)
    return replace(one, converter=replace(one.converter, chassis=way))


WAYS: dict[str, tuple[Way, ...]] = {
    "lead": (_lead,), "mutual": (_mutual,), "parts": (_parts,), "chassis": (_chassis,),
    "all": (_lead, _mutual, _parts, _chassis),
}  # fmt: skip


def members(one: Case, which: str, count: int = MEMBERS) -> tuple[np.ndarray, float]:
    """The truth [V] of each, and by how much their recordings differ from that of ``one`` at most: rms over rms."""
    draw, seen = Draw(one.seed, one.number, 77), one.limited(one.terminals)
    truths, off = [], []
    for _ in range(count):
        other = one
        for way in WAYS[which]:
            other = way(draw, other)
        other.__dict__["ring_scale"] = one.ring_scale  # the same ring inside
        truths.append(other.truth)
        shown = other.limited(bare(other, ripple=1.0, ring=one.ring_scale))
        off.append(np.linalg.norm(shown - seen) / np.linalg.norm(seen))
    return np.array(truths), float(max(off))


def width(truths: np.ndarray) -> float:
    """High over low of nine in ten."""
    low, high = np.quantile(truths, (0.05, 0.95))
    return float(high / low)


if __name__ == "__main__":
    seed, count = (int(one) for one in sys.argv[1:])
    for number in range(count):
        one = case(seed, number)
        chassis, layout = one.converter.chassis is not None, one.filter.computed
        print(number, f"{one.converter.frequency / 1e3:.0f} kHz", f"{chassis=} {layout=}", end=" ")
        for which in WAYS:
            truths, off = members(one, which)
            print(f"{which} {width(truths):.3g} ({100 * off:.2g} %)", end=" ")
        print(flush=True)
