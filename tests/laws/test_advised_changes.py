"""What is advised holds: each advised change is applied and the design judged anew, over designs drawn at random.

``FILTERLIB_SEEDS=40`` draws forty designs, as the whole run does; six are drawn with the other tests.
"""

import os
from functools import cache

import numpy as np
import pytest

from filterlib.analysis.causes.reasons import reasons
from filterlib.analysis.judged import failings
from filterlib.analysis.judgement import broken_by, judge
from filterlib.parts.tables import standard_tables
from filterlib.system.solution import solve_all
from filterlib.units import format_quantity
from tests.designs import converter, design, resistive, series, shunt

SEEDS = int(os.environ.get("FILTERLIB_SEEDS", "6"))
KINDS = ("film", "polymer", "differential_choke")
NOISE = 0.02  # of a figure: both searches are alike, but harmonics go as far as the highest ring of a batch asks for


def drawn(seed):
    """A converter, a filter of one choke between two capacitors, a load, and a limit that is not met at present."""
    rng = np.random.default_rng(seed)

    def between(low, high, unit):
        return format_quantity(float(low * (high / low) ** rng.random()), unit, 3)

    source = converter(
        switching_frequency=between(80e3, 400e3, "Hz"), shape=str(rng.choice(["triangle", "pulse"])), duty=between(0.2, 0.7, ""),
        output_capacitance={"low": "30 µF", "value": "60 µF", "high": "120 µF"}, ripple={"peak_to_peak": between(0.05, 0.5, "V")},
    )  # fmt: skip
    stages = [
        shunt(between(0.5e-6, 5e-6, "F"), name="C1"),
        series(between(1e-6, 2e-5, "H"), name="L1"),
        shunt(name="C2"),
    ]
    points = [{"name": "full"}, {"name": "light", "loads": {"modem": "20 %"}}]
    load = resistive(between(6, 30, "ohm"))
    figure = {"kind": "ripple", "load": "modem", "bandwidth": "20 MHz", "limit": "1 V"}
    asked = design(*stages, source=source, load=load, operating_point=points, requirement=[figure])
    worst = judge(solve_all(asked)).verdicts[0].high
    limit = figure | {"limit": format_quantity(worst * float(rng.uniform(0.1, 0.9)), "V", 3)}
    return design(*stages, source=source, load=load, operating_point=points, requirement=[limit])


@cache
def proposed(seed):
    """The reasons at the modem of a drawn design, its changes judged."""
    was = judge(solve_all(drawn(seed)))
    bought = {name: part for table in standard_tables() for name, part in table.items() if part.kind in KINDS}
    return reasons(was.decisive[2].solution, "modem", parts=bought, judgement=was)


@pytest.fixture(params=range(SEEDS))
def found(request):
    return proposed(request.param)


def test_an_advised_change_holds_when_it_is_judged_anew(found):
    assert not found.judgement.good
    assert found.proposals
    for one in [one for one in found.proposals if one.robust]:
        anew = judge(solve_all(one.design))
        assert anew.good
        assert not anew.exceeded
        assert not anew.unstable
        (promised,) = one.judgement.verdicts
        room = NOISE * promised.high
        for point in anew.points:
            figure = point.ripple.figures["modem", "20MHz"]
            assert promised.high + room >= figure.high >= figure.peak_to_peak
        assert min(point.ripple.figures["modem", "20MHz"].low for point in one.judgement.points) - room <= min(
            point.ripple.figures["modem", "20MHz"].low for point in anew.points
        )


def test_what_breaks_something_is_no_advice(found):
    """Each that helps breaks nothing; each that breaks something says what."""
    for one in found.proposals:
        assert one.broken == broken_by(one.judgement, found.judgement)
        assert not (one.broken and (one.robust or one.better))
        assert one.robust == (one.whole and not list(failings(one.judgement)))


def test_some_designs_are_mended():
    """The law says nothing where no change is robust: in some of these designs one is."""
    assert any(one.robust for seed in range(SEEDS) for one in proposed(seed).proposals)
