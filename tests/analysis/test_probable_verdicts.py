"""Whatever is required has a probable interval: voltage, drop, step and emission, of the combinations that the ripple was had of."""

from dataclasses import replace

import numpy as np
import pytest

from filterlib.analysis.emission.emission_result import EmissionResult, EmissionTest, Extent
from filterlib.analysis.emission.margin import Margin
from filterlib.analysis.judgement import judge
from filterlib.analysis.linear.step_range import step_range
from filterlib.analysis.linear.steps import steps
from filterlib.analysis.uncertainty.plausible import Plausible
from filterlib.system.limits import load_limit
from filterlib.system.solution import solve_all
from filterlib.words.review.verdict_sentences import verdict_sentence
from tests.designs import KNOWN, converter, design, series, shunt

SOURCE = KNOWN | {"output_resistance": {"low": "20 mΩ", "value": "40 mΩ", "high": "120 mΩ"}, "loop_bandwidth": {"low": "3 kHz", "value": "9 kHz", "high": "20 kHz"}}  # fmt: skip
ASKED = [
    {"kind": "voltage", "load": "modem", "low": "20 V", "high": "30 V"},
    {"kind": "drop", "load": "modem", "limit": "1 V"},
    {"kind": "step", "load": "modem", "limit": "5 V", "current": "1 A"},
    {"kind": "emission", "side": "output", "limit": "mains-class-b"},
]


def judged(*asked):
    whole = design(shunt(name="C1"), series(name="L1"), shunt(name="C2"), source=converter(**SOURCE), requirement=asked)
    return judge(solve_all(whole))


@pytest.fixture(scope="module")
def found():
    return judged(*ASKED)


def drawn_at(found):
    return next(iter(found.points[0].ripple.extents.values())).plausible


def test_voltage_and_drop_of_plausible_combinations(found):
    """hand: V = 28 V R / (R + r + others); r is drawn evenly in its logarithm from 20 to 120 mΩ, a value each."""
    voltage, drop = found.verdicts[:2]
    resistance = np.sort(drawn_at(found).values["converter.output_resistance"])
    others = 7 * (28 / voltage.value - 1) - 0.04  # the choke, warm
    volts = 28 * 7 / (7 + others + np.quantile(resistance, [0.95, 0.05]))
    assert [voltage.probable_low, voltage.probable_high] == pytest.approx(volts, rel=2e-4, abs=0)
    assert [drop.probable_low, drop.probable_high] == pytest.approx(28 - volts[::-1], rel=0.02, abs=0)
    assert voltage.low < voltage.probable_low < voltage.probable_high < voltage.high


def _exact(solution, values):
    values.pop("converter.shape", None)
    return steps(solution.varied(values), "modem", step_current=1.0).load_dip


def test_steps_of_plausible_combinations_are_those_of_their_circuits(found):
    """second method: the exact step of some of the drawn combinations, one by one; the whole range is no narrower."""
    verdict, drawn = found.verdicts[2], drawn_at(found)
    solution = found.points[0].solution
    some = drawn.some(4)
    each = [_exact(solution, {key: at[n] for key, at in drawn.values.items()}) for n in some]
    wanted = solution.design.requirements[2]
    quick = step_range(solution, wanted, drawn)
    assert quick.plausible.figures[some] == pytest.approx(each, rel=5e-3, abs=0)
    assert quick.plausible.ends() == pytest.approx((verdict.probable_low, verdict.probable_high), rel=1e-9, abs=0)
    assert verdict.low <= min(each) <= max(each) <= verdict.high
    assert verdict.low < verdict.probable_low < verdict.probable_high < verdict.high


def test_emission_has_a_probable_interval_within_the_whole_range(found):
    verdict = found.verdicts[3]
    assert verdict.low <= verdict.probable_low < verdict.probable_high <= verdict.high
    text = verdict_sentence(verdict)
    assert f"probably {abs(verdict.probable_low):.1f} dB" in text


def asked_between(verdict, share):
    """A limit between the probable end of a figure and the worst found."""
    return verdict.probable_high + share * (verdict.high - verdict.probable_high)


def test_probably_met_is_enough_where_it_is_asked_for(found):
    """hand: a limit just below the worst found is kept by all but a few of the plausible cases."""
    limit = asked_between(found.verdicts[2], 0.9)
    step = ASKED[2] | {"limit": limit}
    (verdict,) = judged(step).verdicts
    assert verdict.verdict == "probably met"
    assert 0.95 <= verdict.plausible < 1
    assert "probably met, in at least " in verdict_sentence(verdict)


def flat(folder, level):
    """A limit of one level [dBµV]."""
    path = folder / "flat.toml"
    piece = f'[[piece]]\ndetector = "average"\nfrequencies = ["150 kHz", "30 MHz"]\nlevels = [{level}, {level}]\n'
    path.write_text(f'title = "Board (invented)"\nsource = "invented"\n{piece}', encoding="utf-8")
    return {"kind": "emission", "side": "output", "limit": load_limit(path)}


def test_emission_is_probably_met_where_few_of_the_plausible_cases_exceed(tmp_path):
    """hand: margins move with the level of the limit; just below what the worst found needs, nearly all keep it."""
    (above,) = judged(flat(tmp_path, 120)).verdicts
    room = 0.1 * (above.probable_low - above.low)
    (verdict,) = judged(flat(tmp_path, round(120 - (above.low - above.nearest.allowance) - room, 3))).verdicts
    assert above.verdict == "met"
    assert verdict.low < verdict.nearest.allowance < verdict.probable_low
    assert verdict.verdict == "probably met"
    assert "probably met, in at least " in verdict_sentence(verdict)


def margin(detector, value, **more):
    return Margin(
        "own", "own", detector, "plus", 1e6, 1e6, {}, 50.0, 60.0, "dBuV", value, value - 20, value + 5, 1e6, 1e6, 0.0, 0.0, "", False, **more
    )  # fmt: skip


def test_every_detector_has_to_keep_its_margin_in_the_same_cases():
    """hand: of 1000 cases 40 exceed with one detector and another 40 with the other: 92 % keep both, each alone 96 %."""
    figures = np.where(np.arange(1000) < 40, 2.0, 0.5)
    extents = {
        ("own", detector): Extent(0.5, 0.5, 2.0, {}, {}, {}, plausible=Plausible(levels, np.ones(1000)))
        for detector, levels in (("quasi_peak", figures), ("average", figures[::-1]))
    }
    result = EmissionResult(
        "full", EmissionTest(), margins=(margin("quasi_peak", 6.0), margin("average", 6.0)), extents=extents
    )
    one = replace(result, margins=result.margins[:1])
    assert one.plausible_share("own", 0.0) == pytest.approx(0.96, rel=0.02, abs=0)
    assert result.plausible_share("own", 0.0) == pytest.approx(0.92, rel=0.02, abs=0)
    assert result.plausible_share("own", 7.0) == 0.0  # hand: half of the limit is 6 dB below it
    assert np.isnan(replace(result, extents={}).plausible_share("own", 0.0))
