"""A first look at a changed design: read at the ends of another one's intervals, it can refute and not confirm."""

import numpy as np
import pytest

from filterlib.analysis.judgement import judge
from filterlib.analysis.stress import stress as stresses
from filterlib.analysis.stress.stress import stress
from filterlib.analysis.uncertainty import interval
from filterlib.bench.design_file import load_design
from filterlib.parts.tables import data_folder
from filterlib.system.ranges.changes import changed
from filterlib.system.solution import solve, solve_all
from tests.designs import converter, design, series, shunt


@pytest.fixture(scope="module")
def held():
    wanted = [
        {"kind": "ripple", "load": "modem", "bandwidth": "20 MHz", "limit": "1 mV"},
        {"kind": "spike", "load": "modem", "limit": "1 V"},
        {"kind": "emission", "side": "input", "limit": "mains-class-b"},
    ]
    source = converter(
        shape="triangle", input_voltage="24 V", spike={"peak_to_peak": "160 mV", "ring_frequency": "60 MHz ± 20 %"}
    )
    return design(shunt(name="C1"), series(name="L1"), shunt(name="C2"), source=source, requirement=wanted)


@pytest.fixture(scope="module")
def judged(held):
    return judge(solve_all(held))


def test_a_design_is_like_itself(held, judged):
    """second method: the search's own ends, read again, are its interval."""
    seen = judge(solve_all(held), like=judged)
    for first, whole in zip(seen.verdicts, judged.verdicts, strict=True):
        assert first.value == pytest.approx(whole.value, rel=1e-9, abs=0)
        # measured: 0.3 %, because harmonics go as far as the highest ring of a batch asks for
        assert (first.low, first.high) == pytest.approx((whole.low, whole.high), rel=1e-2, abs=0)
        assert first.verdict == whole.verdict
    assert [seen.good, len(seen.unstable)] == [judged.good, len(judged.unstable)]


def test_a_first_look_lies_within_a_long_search_and_knows_the_change(held, judged, monkeypatch):
    other = changed(held, {"filter.L1.inductance": "22 µH"})
    seen = judge(solve_all(other), like=judged)
    # the usual search's high end here, over eight seeds: 31 to 45 mV, and the first look's 44 mV; a long one finds 45.2 to 45.4 mV
    monkeypatch.setattr(interval, "ROUNDS", 60)
    whole = judge(solve_all(other))
    for first, wide in zip(seen.verdicts, whole.verdicts, strict=True):
        assert first.value == pytest.approx(wide.value, rel=1e-9, abs=0)
        noise = 0.1 * abs(wide.high)  # of a search, whose ends are not exact
        assert wide.low - noise <= first.low <= first.value <= first.high <= wide.high + noise
    assert (
        seen.verdicts[0].value < 0.6 * judged.verdicts[0].value
    )  # hand: half the current through twice the inductance


def test_ratings_are_nominal_in_a_first_look(held, judged):
    checks = judge(solve_all(held), like=judged).points[0].stress.checks
    assert all(one.low == one.value == one.high for one in checks if one.value == one.value)


def test_a_whole_judgement_of_a_change_goes_on_from_there(held, judged):
    """second method: the same design is judged by itself; what nothing is asked of is left out."""
    other = changed(held, {"filter.L1.inductance": "22 µH"})
    found, anew = judge(solve_all(other), like=judged, depth="whole"), judge(solve_all(other))
    for one, wide in zip(found.verdicts, anew.verdicts, strict=True):
        assert one.verdict == wide.verdict
        assert one.value == pytest.approx(wide.value, rel=1e-9, abs=0)
        assert one.high > wide.high - 0.1 * abs(wide.high)  # of two searches, neither of which is exact
        # what is not the converter's is drawn anew, and a hundredth is two or three of the cases
        assert one.plausible == pytest.approx(wide.plausible, rel=0.1, abs=0.01)
    rated = [[check.verdict for check in point.stress.checks] for point in anew.points]
    assert [[check.verdict for check in point.stress.checks] for point in found.points] == rated
    assert set(found.points[0].ripple.extents) == {("modem", "20MHz"), ("modem", "full")}


def test_ratings_that_are_clear_of_their_limits_are_read_roughly_and_others_exactly(monkeypatch):
    """second method: without thinned harmonics. The brick's choke is far beyond a rating, so that all is exact."""
    solution = solve(load_design(data_folder() / "designs" / "tide-gauge-brick.toml"), "listening")
    exact, near = stress(solution).checks, stress(solution, rough=True).checks
    assert [one.high for one in near] == pytest.approx([one.high for one in exact], rel=1e-12, abs=0, nan_ok=True)
    monkeypatch.setattr(stresses, "CLEAR", -1.0)
    rough = stress(solution, rough=True).checks
    assert [one.verdict for one in rough] == [one.verdict for one in exact]
    off = np.array([one.high / other.high - 1 for one, other in zip(rough, exact, strict=True)])
    assert 1e-6 < np.nanmax(np.abs(off)) < 0.05
