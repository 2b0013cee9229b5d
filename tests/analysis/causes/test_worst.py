"""What fails worst, of any kind, has causes and changes: by hand, and against the whole analysis of each changed design."""

import numpy as np
import pytest

from filterlib.analysis.causes.candidates import applied, candidates
from filterlib.analysis.causes.emission_changes import emission_changes, lowering
from filterlib.analysis.causes.further_changes import further_changes
from filterlib.analysis.causes.parasitics import ideals
from filterlib.analysis.causes.reasons import reasons
from filterlib.analysis.causes.worst import causes_of, clash_of, one_line, point_of, worst_failing
from filterlib.analysis.emission.estimate import emissions
from filterlib.analysis.judged import failings
from filterlib.analysis.judgement import judge
from filterlib.analysis.linear.steps import steps
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.tables import standard_tables
from filterlib.system.solution import solve, solve_all
from filterlib.words.review.reason_sentences import reason_sentences
from tests.analysis.stability.test_over_uncertainty import capacitor, choke, feeble
from tests.designs import DRIVEN, KNOWN, common_mode, converter, design, film, resistive, series, shunt

LEAD = {"length": "1 m", "cross_section": "0.5 mm2", "spacing": "5 mm"}
EMITTED = {"kind": "emission", "side": "output", "limit": "mains-class-b"}
BOUGHT = {name: part for table in standard_tables() for name, part in table.items()}


def pi(*, load=None, source=None, **more):
    held = source or converter(**KNOWN)
    return design(shunt(name="C1"), series(name="L1"), shunt(name="C2"), source=held, load=load, **more)


def found(one):
    was = judge(solve_all(one))
    failing = worst_failing(was)
    return was, failing, {(cause.name, cause.what): cause for cause in causes_of(was, failing)}


def test_what_is_lost_on_the_way_adds_up():
    """hand: 4 A through 2 x 1 m of 0.5 mm² of copper at 20 °C (17.24 nΩm) are 0.27 V; 10 mΩ 40 mV, 20 mΩ 80 mV."""
    wanted = {"kind": "drop", "load": "modem", "limit": "0.1 V"}
    was, failing, causes = found(pi(load=resistive(lead=LEAD), requirement=[wanted]))
    amps = float(was.points[0].solution.state.load_currents["modem"])
    assert causes["modem's lead", "resistance"].falls == pytest.approx(2 * 17.24e-9 / 0.5e-6 * amps, rel=0.02, abs=0)
    assert causes["L1", "resistance"].falls == pytest.approx(10e-3 * amps, rel=0.03, abs=0)
    assert causes["the converter", "resistance"].falls == pytest.approx(20e-3 * amps, rel=1e-3, abs=0)
    assert sum(one.falls for one in causes.values()) == pytest.approx(failing.verdict.value, rel=1e-6, abs=0)
    assert next(iter(causes)) == ("modem's lead", "resistance")


def test_a_voltage_is_lost_where_a_drop_is():
    wanted = {"kind": "voltage", "load": "modem", "low": "27.9 V", "high": "29 V"}
    was, failing, causes = found(pi(load=resistive(lead=LEAD), requirement=[wanted]))
    lead = causes["modem's lead", "resistance"]
    assert lead.left == pytest.approx(failing.verdict.value + lead.falls, rel=1e-12, abs=0)
    text = reason_sentences(reasons(was.points[0].solution, "modem", parts={}, judgement=was))[1].text
    assert text.startswith("Most of the voltage is lost to resistance: ")
    assert "in modem's lead" in text


def test_a_step_without_the_choke_is_that_of_the_circuit_without_it():
    """second method: the exact step of the design without L1."""
    wanted = {"kind": "step", "load": "modem", "limit": "10 mV", "current": "1 A"}
    one = pi(requirement=[wanted])
    _, _, causes = found(one)
    without = one.replace(filter=[stage for stage in one.filter if stage.name != "L1"])
    exact = steps(solve(without), "modem", step_current=1.0).load_dip
    assert causes["L1", "inductance"].left == pytest.approx(exact, rel=0.02, abs=0)


def test_each_load_takes_its_share_of_a_rated_current():
    """hand: 28 V over 7 Ω are 4 A, and the logger 1 A, through a choke for 3 A."""
    weak = series(name="L1")
    weak["part"] |= {"rated_current": "3 A"}
    loads = [resistive(), {"name": "logger", "kind": "constant_current", "current": "1 A"}]
    one = design(shunt(name="C1"), weak, shunt(name="C2"), source=converter(**KNOWN), load=loads)
    _, failing, causes = found(one)
    assert (failing.kind, failing.check.what) == ("rating", "current")
    assert causes["modem", ""].left == pytest.approx(1.0, rel=0.01, abs=0)
    assert causes["logger", ""].left == pytest.approx(4.0, rel=0.02, abs=0)


def test_an_unstable_circuit_names_the_load_and_the_resonance():
    """hand: 60 W at 28 V are -13 Ω; 47 µH resonates with 2.2 µF in series with 22 µF at 16.4 kHz, far above 13 Ω."""
    load = {"name": "modem", "kind": "constant_power", "power": "60 W", "loop_bandwidth": "50 kHz"}
    stages = series("47 µH", "1 mΩ", name="L1"), shunt("2.2 µF", name="C1")
    was, failing, _ = found(design(*stages, source=converter(**KNOWN), load=load))
    assert failing.kind == "unstable"
    clash = clash_of(point_of(was, failing))
    assert clash.resistance == pytest.approx(-(28**2) / 60, rel=0.02, abs=0)
    assert clash.frequency == pytest.approx(1 / (2 * np.pi * np.sqrt(47e-6 * 2.0e-6)), rel=0.03, abs=0)
    assert clash.impedance > -clash.resistance
    assert {clash.resonance.inductive, clash.resonance.capacitive} == {"L1", "C1"}
    said = reason_sentences(reasons(was.points[0].solution, "modem", parts={}, judgement=was))
    assert "modem draws constant power" in said[1].text


def test_an_instability_over_the_range_is_that_of_the_case_that_oscillates():
    """hand: 60 W at 24 V are -9.4 Ω; the case resonates at 1/(2π√LC) of its own values, with a peak above that resistance."""
    was = judge(solve_all(feeble()))
    clash = clash_of(was.turned[0])
    of = {one.key: one.value for one in was.turned[0].over.case}
    assert [one.key for one in clash.case] == ["filter.L1.inductance"]
    assert clash.case[0].value == of["filter.L1.inductance"] > 48e-6
    own = 1 / (2 * np.pi * np.sqrt(of["filter.L1.inductance"] * 100e-6))
    assert clash.oscillates == pytest.approx(own, rel=0.03, abs=0)
    assert clash.frequency == pytest.approx(own, rel=0.03, abs=0)
    assert clash.impedance > -clash.resistance
    assert (clash.resonance.inductive, clash.resonance.capacitive) == ("L1", "C1")
    bought = {"bulk": Capacitor(**film("470 µF", name="bulk", esr=0.01))}
    found_ = reasons(was.points[0].solution, "modem", parts=bought, judgement=was)
    said = [one.text for one in reason_sentences(found_)]
    assert said[0] == "What fails worst: unstable in a part of the range, at full load."
    assert said[1].startswith("At full load the worst case, with inductance of L1 ")
    assert found_.proposals[0].robust
    first = next(further_changes(was.design, bought, clash))
    assert first.name.startswith("fit bulk in series with a resistor of ")
    assert first.name.endswith(" beside C1, as damping")


def test_an_instability_that_was_there_stays_open_with_a_change_that_leaves_it():
    """A first look tries the case that oscillates: what does nothing against it says so, and is no help."""
    was = judge(solve_all(feeble()))
    same = judge(solve_all(was.design), like=was)
    assert [one.what for one in failings(same)] == [("unstable", "full load")]
    damped = judge(solve_all(feeble(choke("20 µH"), capacitor())), like=was)
    assert list(failings(damped)) == []


@pytest.fixture(scope="module")
def emitting():
    one = design(
        shunt(name="C1"), common_mode(), shunt("2.2 µF", name="C2"),
        source=DRIVEN | KNOWN | {"shape": "pulse"}, load=resistive(bond={}), requirement=[EMITTED],
    )  # fmt: skip
    was = judge(solve_all(one))
    failing = worst_failing(was)
    assert failing.kind == "emission"
    return was, failing, one_line(one, point_of(was, failing), failing)


def level(one, line):
    """The peak detector at the deciding line, of the whole estimate."""
    result = emissions(solve(one), line.test, interval=False)
    at = int(np.argmin(np.abs(result.frequencies - line.margin.line)))
    return float(result.levels[line.margin.place, "peak"][at])


def test_a_line_without_a_parasitic_is_that_of_the_whole_estimate(emitting):
    """second method: the whole estimate of the design with that parasitic gone; for those that move the line most."""
    was, failing, line = emitting
    every = ideals(was.design)
    falls = line.lowered([solve(one.design) for one in every])
    most = sorted(range(len(every)), key=lambda n: -abs(falls[n]))[:3]
    now = level(was.design, line)
    assert [falls[n] for n in most] == pytest.approx(
        [now - level(every[n].design, line) for n in most], rel=1e-6, abs=1e-9
    )
    assert abs(falls[most[0]]) > 1e-3
    known = {(one.name, one.what): one.falls for one in causes_of(was, failing)}
    listed = {(one.name, one.what): fall for one, fall in zip(every, falls, strict=True) if fall > 0.3}
    assert listed.items() <= known.items()


def test_changes_against_emission_lower_the_line_as_the_whole_estimate_has_it(emitting):
    """second method: the whole estimate of the changed design; in its order."""
    was, _, line = emitting
    listed = [*candidates(was.design, "modem", BOUGHT), *emission_changes(was.design, "output", BOUGHT)]
    best = lowering(line, listed)
    assert best
    assert all("emission" in one.against for one in best)
    now = level(was.design, line)
    falls = [now - level(applied(was.design, [one]), line) for one in best[:3]]
    assert falls == sorted(falls, reverse=True)
    assert falls[-1] > 1.0
    assert any("choke" in one.kind or "Y cap" in one.kind for one in best)


def test_an_emission_that_fails_gets_changes_that_are_judged(emitting):
    was, failing, _ = emitting
    few = {name: BOUGHT[name] for name in ("cm-2m2-5A", "class2-4n7-Y2-2211")}
    told = reasons(was.points[0].solution, "modem", parts=few, judgement=was)
    assert told.worst == failing
    assert told.causes
    assert any(one.judgement.verdicts[0].value > failing.verdict.value + 1 for one in told.proposals)
    said = [one.text for one in reason_sentences(told)]
    assert said[0].startswith("What fails worst: conducted emission at the output")
    assert said[1].startswith("Most of that line is from ")


def test_what_is_sure_comes_before_what_may_be():
    """hand: a drop five times its limit, and a voltage just below its own: the drop is worst; without it the voltage."""
    voltage = {"kind": "voltage", "load": "modem", "low": "27.98 V", "high": "30 V"}
    drop = {"kind": "drop", "load": "modem", "limit": "20 mV"}
    both = judge(solve_all(pi(requirement=[voltage, drop])))
    assert worst_failing(both).kind == "drop"
    assert worst_failing(judge(solve_all(pi(requirement=[voltage])))).kind == "voltage"
    assert worst_failing(judge(solve_all(pi()))) is None
