"""Changes judged as the design is: what breaks something is no advice, what is advised holds when it is reviewed anew."""

from dataclasses import replace

import pytest

from filterlib.analysis.causes.reasons import reasons
from filterlib.analysis.judged import failings
from filterlib.analysis.judgement import _badness, broken_by, judge, rank
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.system.ranges.changes import changed
from filterlib.system.solution import solve_all
from filterlib.words.review.proposal_sentences import outcome
from filterlib.words.review.rating_sentences import failing_text
from filterlib.words.review.reason_sentences import reason_sentences
from tests.designs import KNOWN, converter, design, film, series, shunt

LIMIT = {"kind": "ripple", "load": "modem", "bandwidth": "20 MHz"}
KEYS = {"saturation_current": "30 A", "rated_current": "30 A", "winding_capacitance": "10 pF"}
HOT = DifferentialChoke(
    name="hot",
    inductance="220 µH",
    dc_resistance="0.4 ohm",
    thermal_resistance=80.0,
    maximum_temperature="125 °C",
    **KEYS,
)
COOL = DifferentialChoke(name="cool", inductance="47 µH", dc_resistance="5 mohm", **KEYS)


def pi(limit, **more):
    stages = shunt(name="C1"), series(name="L1"), shunt(name="C2")
    return design(*stages, source=converter(**KNOWN), requirement=[{**LIMIT, "limit": limit}], **more)


def judged(one, **parts):
    was = judge(solve_all(one))
    return reasons(was.points[0].solution, "modem", parts=parts, judgement=was)


def advice(found):
    return reason_sentences(found)[-1].text


@pytest.fixture(scope="module")
def found():
    return judged(pi("3 mV"), hot=HOT, cool=COOL)


def test_a_choke_that_would_burn_is_listed_with_its_heat_and_never_advised(found):
    """hand: 4 A through 0.4 ohm, warm, and 80 K/W: more than 500 K where 105 K may be. It leaves the least ripple of all."""
    assert found.mitigations[0].names == ("fit hot in the plus line before L1",)
    burnt = next(one for one in found.proposals if one.names == found.mitigations[0].names)
    rise = next(one for one in burnt.broken if one.check is not None and one.check.what == "temperature rise")
    assert rise.check.value > 4**2 * 0.4 * 80 * (25.5 / 28) ** 2
    assert "temperature rise" in failing_text(rise)
    assert outcome(burnt) == "✗ breaks something"
    assert not burnt.robust
    assert not burnt.better
    assert "hot" not in advice(found)


def test_what_is_advised_holds_when_it_is_judged_anew(found):
    """second method: the changed design's own judgement."""
    best = found.proposals[0]
    anew = judge(solve_all(best.design))
    assert best.robust
    assert best.names == ("fit cool in the plus line before L1",)
    assert anew.good
    assert anew.verdicts[0].high == pytest.approx(best.judgement.verdicts[0].high, rel=1e-12, abs=0)
    assert advice(found).startswith("Change first: fit cool in the plus line before L1. Judged as the design is")


def test_a_good_design_needs_no_change():
    found = judged(pi("1 V"), cool=COOL)
    assert found.proposals == ()
    assert advice(found).startswith("No change is needed: ")


def test_where_nothing_is_enough_the_page_says_so():
    found = judged(pi("1 nV"), cool=COOL)
    assert found.proposals
    assert not any(one.robust for one in found.proposals)
    assert advice(found).startswith("No change that was tried meets everything over the whole range")


def test_a_fix_that_works_at_the_nominal_value_alone_is_not_robust():
    # a series resonance laid upon the strongest harmonic: 330 nF with 303 nH and 4 nH of mounting at 500 kHz (hand); a
    # tenth of that capacitance, the low end of its tolerance, is a thirtieth of C1 and helps next to nothing
    source = converter(**{**KNOWN, "output_capacitance": "10 µF", "duty": 0.5}, switching_frequency="500 kHz")
    trap = Capacitor(**film("330 nF", name="trap", loss_angle=1e-6, esl=303e-9, tolerance=0.9))
    held = {**shunt(name="C1"), "part": film("1 µF", kind="ceramic_class_1")}
    one = design(series("10 µH", name="L1"), held, source=source, requirement=[{**LIMIT, "limit": "1 V"}])
    now = judge(solve_all(one)).verdicts[0].value
    asked = one.replace(requirements=[one.requirements[0].replace(limit=0.7 * now)])
    found = judged(asked, trap=trap)
    tried = next(each for each in found.proposals if each.names == ("fit trap beside C1",))
    assert tried.judgement.verdicts[0].value < 0.5 * now
    assert not tried.robust
    assert [each.what for each in tried.open] == [("requirement", asked.requirements[0].words)]


def test_what_is_broken_is_what_did_not_fail_or_only_might():
    """hand: twice the inductance breaks nothing; a limit that was met and is not any more, and one that might be kept, are."""
    one = pi("3 mV")
    was = judge(solve_all(one))
    worse = judge(solve_all(changed(one, {"filter.L1.inductance": "1 µH"})))
    assert [each.what[0] for each in failings(was)] == ["requirement"]
    assert broken_by(was, was) == ()
    assert broken_by(worse, was) == ()  # it was not met before
    kept = judge(solve_all(pi("1 V")))
    assert [each.verdict.verdict for each in broken_by(was, kept)] == ["not met"]


def test_the_order_is_that_of_the_judgement(found):
    ordered = sorted(found.proposals, key=rank)
    assert list(found.proposals) == ordered
    assert [bool(one.broken) for one in ordered] == sorted(bool(one.broken) for one in ordered)


def test_probably_met_is_better_than_undecided_and_not_met_is_worst():
    """hand: of one requirement, with the same excess."""
    was = judge(solve_all(pi("3 mV")))
    (verdict,) = was.verdicts
    ranked = [
        _badness(replace(was, verdicts=(replace(verdict, verdict=answer),)))
        for answer in ("met", "probably met", "undecided", "not met")
    ]
    assert ranked == sorted(ranked)
    assert len({one[:2] for one in ranked}) == 4
