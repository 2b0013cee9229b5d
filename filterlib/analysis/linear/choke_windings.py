"""A common-mode choke measured in two ways, windings side by side and out and back, and what current leaves of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from filterlib.analysis.described import Amperes, Henries, Hertz, Ohms, Ratio
from filterlib.analysis.linear.part_curves import both_together, out_and_back
from filterlib.parts.common_mode_choke import CommonModeChoke

FREQUENCIES = np.geomspace(1e4, 1e8, 301)  # [Hz]
CURRENTS = np.geomspace(1e-3, 100, 151)  # [A]


@dataclass(frozen=True)
class LoadedChoke:
    """A choke with its direct currents: ``current`` out through one winding and back through the other, and ``unbalance``, the
    sum of both, which returns another way."""

    part: CommonModeChoke
    unbalance: Amperes[float]
    current: Amperes[float]


@dataclass(frozen=True)
class ChokeResult:
    """A choke measured in two ways.

    Magnitudes (f,): ``common``, both windings in parallel, as common-mode current meets them; ``loop``, out through one and
    back through the other, as the load's ripple does. ``inductance_left``, ``loop_left`` (c,): of one winding over the
    unbalanced current, of the loop over the balanced one. At the choke's own currents: ``inductance`` of one winding and
    ``loop_inductance``; ``coupling`` of the windings.
    """

    frequencies: Hertz[np.ndarray]
    common: Ohms[np.ndarray]
    loop: Ohms[np.ndarray]
    currents: Amperes[np.ndarray]
    inductance_left: Henries[np.ndarray]
    loop_left: Henries[np.ndarray]
    unbalance: Amperes[float]
    current: Amperes[float]
    inductance: Henries[float]
    loop_inductance: Henries[float]
    coupling: Ratio[float]
    common_at_switching: Ohms[float]
    loop_at_switching: Ohms[float]
    loop_at_spike: Ohms[float]


def choke_windings(choke: LoadedChoke, *, switching: float, spike: float) -> ChokeResult:
    """Both ways of measuring a choke; read at the frequencies ``switching`` and ``spike`` [Hz].

    >>> from filterlib.parts.tables import find_part, standard_tables
    >>> windings = choke_windings(LoadedChoke(find_part("cm-1m0-5A", None, standard_tables()), 1e-3, 3.6), switching=180e3, spike=30e6)
    >>> round(windings.loop_inductance, 6), windings.loop_at_switching < windings.common_at_switching / 50
    (1.1e-05, True)
    """
    part, at = choke.part, {"current": choke.current, "unbalance": choke.unbalance}
    frequencies = np.append(FREQUENCIES, [switching, spike])
    common, loop = (np.abs(way(part, at).impedance(frequencies, "a")) for way in (both_together, out_and_back))
    leakage = float(part.leakage_at(choke.current))
    inductance = float(part.magnetising_at(choke.unbalance, choke.current)) + leakage
    return ChokeResult(
        frequencies=FREQUENCIES,
        common=common[:-2],
        loop=loop[:-2],
        currents=CURRENTS,
        inductance_left=np.asarray(part.magnetising_at(CURRENTS)) + part.leakage_per_winding,
        loop_left=2 * part.leakage_at(CURRENTS) * np.ones_like(CURRENTS),
        unbalance=choke.unbalance,
        current=choke.current,
        inductance=inductance,
        loop_inductance=2 * leakage,
        coupling=1 - leakage / inductance,
        common_at_switching=float(common[-2]),
        loop_at_switching=float(loop[-2]),
        loop_at_spike=float(loop[-1]),
    )
