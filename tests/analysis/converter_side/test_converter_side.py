"""The converter's side: its loop with the filter on, what it starts into, and its input; against circuits and closed forms."""

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.converter_side.converter_side import converter_side
from filterlib.analysis.converter_side.measured_output import measured_output
from filterlib.analysis.converter_side.regulation import regulation
from filterlib.analysis.converter_side.source_side import source_side
from filterlib.analysis.converter_side.start_up import constant_power, largest_capacitance, start_time
from filterlib.analysis.linear.step_range import deviation, step_range
from filterlib.analysis.stability.margins import margins
from filterlib.analysis.stability.over_uncertainty import stability_over
from filterlib.analysis.stability.stability import stability
from filterlib.errors import FilterlibError, InputError, QuantityError
from filterlib.network.circuit import Circuit
from filterlib.parts.curves.impedance_curve import ImpedanceCurve
from filterlib.parts.wire import resistance_per_metre
from filterlib.system.file.writing import design_toml
from filterlib.system.inside.converter import INSIDE, LOOP_ZERO
from filterlib.system.requirements import StepRequirement
from filterlib.system.solution import solve
from tests.analysis.stability.test_over_uncertainty import POWER, feeble
from tests.designs import KNOWN, converter, design, film, resistive, series, shunt

BARE = {"esr": 0.0, "esl": 0, "loss_angle": 0}


def _design(*stages, ohms="1 kΩ"):
    source = converter(**KNOWN | {"output_esr": "0 Ω", "output_esl": "0 H", "lead_inductance": "0 H"})
    return design(*stages, source=source, load=resistive(ohms))


def _filter(inductance, capacitance):
    return series(inductance), {**shunt(), "part": film(capacitance, **BARE), "mounting_loop": 0}


def test_without_a_filter_the_stated_loop_comes_back():
    """law: nearly unloaded and without filter the crossover and the phase margin are those that are stated."""
    found = regulation(solve(_design()), phase_margin=60.0)
    assert found.stable
    assert found.crossover == pytest.approx(9e3, rel=0.01, abs=0)
    assert found.phase_margin == pytest.approx(60.0, abs=0.5)


def test_a_filter_costs_margin_and_more_so_where_it_is_sensed_behind():
    stages = _filter("10 µH", "22 µF")
    before, behind = (regulation(solve(_design(*stages, ohms="7 Ω")), sensed=at) for at in ("terminals", "load"))
    bare = regulation(solve(_design(ohms="7 Ω")))
    assert before.stable
    assert before.phase_margin < bare.phase_margin
    assert not behind.stable
    assert np.isnan(behind.phase_margin)
    damped = regulation(solve(_design(*_filter("1 µH", "1 µF"), ohms="7 Ω")), sensed="load")
    assert damped.stable
    assert 0 < damped.phase_margin < bare.phase_margin + 1


@pytest.mark.parametrize(
    ("henries", "farads", "ohms"), [(10e-6, 22e-6, 7.0), (2e-6, 4.7e-6, 7.0), (100e-6, 100e-6, 3.0)]
)
def test_stable_is_what_the_poles_of_the_closed_circuit_say(henries, farads, ohms):
    """second method: without delay a loop that senses at the terminals is a conductance and an inductance there, passive and so stable."""
    crossover = 2 * np.pi * 9e3
    gain = crossover * 22e-6 / np.hypot(1, LOOP_ZERO)
    closed = Circuit().capacitor("O", "t", "0", 22e-6).conductance("G", "t", "0", gain)
    closed.inductor("I", "t", "0", 1 / (gain * LOOP_ZERO * crossover)).inductor("L", "t", "o", henries)
    closed.capacitor("C", "o", "0", farads).resistor("R", "o", "0", ohms)
    most = 90 - np.degrees(np.arctan(LOOP_ZERO))
    found = regulation(
        solve(_design(*_filter(f"{henries * 1e6} µH", f"{farads * 1e6} µF"), ohms=f"{ohms} Ω")), phase_margin=most
    )
    assert found.stable == (closed.poles().real.max() < 0)


def _closed(henries, farads, ohms):
    """Eigenvalues of a loop that senses behind the filter, no delay, written by hand: its integral, two voltages, the choke's current."""
    crossover = 2 * np.pi * 9e3
    gain = crossover * 22e-6 / np.hypot(1, LOOP_ZERO)
    matrix = [
        [0, 0, 0, 1],
        [-gain * LOOP_ZERO * crossover / 22e-6, 0, -1 / 22e-6, -gain / 22e-6],
        [0, 1 / henries, -10e-3 / henries, -1 / henries],
        [0, 0, 1 / farads, -1 / (ohms * farads)],
    ]
    return np.linalg.eigvals(np.array(matrix))


def test_sensing_behind_the_filter_is_stable_where_the_eigenvalues_say_so():
    """second method: of eighteen filters some ring behind a loop that is stable before each of them."""
    most, verdicts = 90 - np.degrees(np.arctan(LOOP_ZERO)), []
    for henries in (0.3e-6, 2e-6, 10e-6):
        for farads in (1e-6, 10e-6, 47e-6):
            for ohms in (0.5, 7.0):
                one = _design(*_filter(f"{henries * 1e6} µH", f"{farads * 1e6} µF"), ohms=f"{ohms} Ω")
                found = regulation(solve(one), phase_margin=most, sensed="load")
                assert found.stable == (_closed(henries, farads, ohms).real.max() < 0)
                verdicts.append(found.stable)
    assert 4 <= sum(verdicts) <= 14


def test_a_phase_margin_that_cannot_be_is_said():
    with pytest.raises(QuantityError, match="at most at 76 degrees"):
        regulation(solve(_design()), phase_margin=90.0)
    with pytest.raises(QuantityError, match="terminals or at the load"):
        regulation(solve(_design()), sensed="nowhere")


def test_start_into_a_capacitance():
    """30 mF to 28 V: 6 A limit and 2 A drawn 0.2100 s; a limit from 2 to 6 A with voltage, no load, 0.230709 s (closed forms)."""
    assert start_time(30e-3, 28.0, 6.0, 2.0) == pytest.approx(0.2100, rel=1e-9, abs=0)
    assert start_time(30e-3, 28.0, lambda v: 2 + 4 * v / 28) == pytest.approx(0.230709, rel=2e-6, abs=0)


def test_a_constant_power_holds_the_start_down():
    """hand: 60 W that begin at 9 V ask for 6.7 A there, more than 6 A; from 12 V on 5 A, and 1 A is left."""
    held = largest_capacitance(28.0, 6.0, soft_start=1e-3, allowed=0.1, drawn=constant_power(60.0, 9.0))
    assert (held.in_time, held.within_limit) == (0.0, 0.0)
    assert held.held_at == pytest.approx(9.0, abs=0.01)
    assert start_time(1e-3, 28.0, 6.0, constant_power(60.0, 9.0)) == np.inf
    free = largest_capacitance(28.0, 6.0, soft_start=1e-3, allowed=0.1, drawn=constant_power(60.0, 12.0))
    assert free.within_limit == pytest.approx(1.0 * 1e-3 / 28, rel=1e-3, abs=0)
    assert start_time(free.in_time, 28.0, 6.0, constant_power(60.0, 12.0)) == pytest.approx(0.1, rel=1e-9, abs=0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: start_time(-1.0, 28.0, 6.0), "capacitance: must be positive"),
        (lambda: largest_capacitance(28.0, 6.0, soft_start=1.0, allowed=0.1), "no longer than what is allowed"),
    ],
)
def test_what_is_no_start_is_said(call, words):
    with pytest.raises(QuantityError, match=words):
        call()


def _fed(watts):
    source = converter(**KNOWN, input_voltage="24 V", efficiency="90 %")
    load = {"name": "modem", "kind": "constant_power", "power": f"{watts} W"}
    side = {"capacitance": "22 µF", "esr": "0 Ω", "esl": "0 H", "lead_inductance": "1 µH"}
    return solve(design(series("1 µH"), shunt("1 µF"), source=source, load=load, input_side=side))


def test_the_line_that_feeds_it_rings_by_the_formula():
    """hand: R > L P / (C V^2), V what is left behind the cable; least capacitance L P / (R V^2)."""
    found = source_side(_fed(60.0), cable_resistance=0.05, cable_inductance=2e-6, lowest=18.0)
    there = 9 + np.sqrt(81 - found.power * 0.05)
    assert found.power == pytest.approx(60 / 0.9, rel=0.02, abs=0)
    assert found.resistance == pytest.approx(-(there**2) / found.power, rel=1e-9, abs=0)
    assert found.critical_power == pytest.approx(0.05 * 22e-6 / 2e-6 * there**2, rel=1e-6, abs=0)
    assert found.least_capacitance == pytest.approx(2e-6 * found.power / there**2 / 0.05, rel=1e-5, abs=0)
    assert found.more == pytest.approx(found.critical_power / found.power - 1, rel=1e-9, abs=0)


def test_an_input_that_cannot_be_fed_is_said():
    with pytest.raises(FilterlibError, match="collapses without ringing"):
        source_side(_fed(60.0), cable_resistance=2.0, lowest=18.0)
    with pytest.raises(QuantityError, match="cable_resistance: must be positive"):
        source_side(_fed(60.0), cable_resistance=0.0)


def _curve(solution, **more):
    """What a meter would read of the design's own converter."""
    f = np.geomspace(10.0, 3e6, 160)
    return ImpedanceCurve(f, more.get("by", 1.0) * solution.design.converter.terminal_impedance(f))


@pytest.mark.parametrize(
    ("power", "stays"), [(20.0, True), (66.0, True), (150.0, True), (250.0, False), (350.0, False)]
)
def test_a_measured_impedance_says_what_the_poles_of_the_whole_say(power, stays):
    """second method: poles of the design, whose converter has the impedance that is taken as measured."""
    solution = solve(feeble(load=POWER | {"power": f"{power} W"}, source=KNOWN | {"output_voltage": "24 V"}))
    found = measured_output(solution, _curve(solution))
    assert found.stable == stability(solution).stable == stays
    assert np.isnan(found.gain_margin) != found.stable
    assert found.greatest > 0


def test_a_measured_impedance_that_cannot_decide_is_said():
    solution = solve(feeble())
    f = np.geomspace(10.0, 3e6, 50)
    with pytest.raises(QuantityError, match="needs the phase"):
        measured_output(solution, ImpedanceCurve(f, np.ones(50)))
    with pytest.raises(QuantityError, match="resistance is negative at 10 Hz"):
        measured_output(solution, _curve(solution, by=-1.0))
    with pytest.raises(QuantityError, match="measure further"):
        measured_output(solution, _curve(solution, by=1e12))


def _controlled(control, limit=None, **more):
    source = converter(**KNOWN, input_voltage="24 V", control=control, limit=limit)
    return design(series("10 µH"), shunt("22 µF"), source=source, load=resistive("14 Ω"), **more)


def test_the_least_phase_margin_is_that_of_the_corners():
    """second method: each corner of bandwidth and phase margin stated by itself."""
    control = {"phase_margin": {"low": "45 deg", "high": "70 deg"}}
    source = KNOWN | {"loop_bandwidth": "9 kHz ± 30 %"}
    one = design(series("1 µH"), shunt("1 µF"), source=converter(**source, control=control), load=resistive())
    found = regulation(solve(one))
    corners = []
    for bandwidth in ("6.3 kHz", "11.7 kHz"):
        for degrees in (45.0, 70.0):
            at = solve(one.replace(converter=one.converter.replace(loop_bandwidth=bandwidth)))
            corners.append(regulation(at, phase_margin=degrees).phase_margin)
    assert found.least_phase_margin == pytest.approx(min(corners), rel=1e-6, abs=0)
    assert found.least_phase_margin < found.phase_margin


def test_a_stated_loop_that_oscillates_in_a_part_of_its_range_may_oscillate():
    """It is stable with the phase margin at the upper end of the range, and not at its lower end."""
    stages, rows = _filter("1 µH", "10 µF"), []
    for degrees in ("60 deg", {"low": "20 deg", "value": "60 deg", "high": "60 deg"}, "20 deg"):
        source = converter(**KNOWN, control={"phase_margin": degrees, "sensing": "load"})
        found = converter_side(solve(design(*stages, source=source, load=resistive("7 Ω"))))
        rows.append((found.oscillates, found.may_oscillate))
    assert rows == [("", ""), ("", "loop"), ("loop", "loop")]


def test_a_line_that_rings_by_what_the_file_states_oscillates_and_one_that_is_assumed_does_not():
    """hand: R C V^2 / L of some 20 mΩ, 1 µF and 3 µH is 4 W, and 62 W are drawn; without a capacitor that is stated nothing is claimed."""
    wire = {"supply_wire": {"length": "2 m", "cross_section": "6 mm2", "inductance": "2 µH"}}
    rows = []
    for held in ({"capacitance": "1 µF", "esr": "0 Ω"}, {"capacitance": "300 µF", "esr": "50 mΩ"}, {"esr": "0 Ω"}):
        found = converter_side(solve(_controlled({}, input_side=held, **wire)))
        rows.append((found.oscillates, found.may_oscillate))
    assert rows[0] == ("source", "source")
    assert rows[1:] == [("", "")] * 2


def test_what_it_starts_into_by_hand():
    """hand: 6 A less 2 A at 28 V across 14 ohm leaves 4 A, 20 ms to 28 V: 2.857 mF, 22 µF of that its own; 22 µF is attached."""
    side = converter_side(solve(_controlled({}, {"current": "6 A", "soft_start": "20 ms"})))
    assert side.start.largest == pytest.approx(4 * 20e-3 / 28 - 22e-6, rel=1e-6, abs=0)
    assert side.start.largest_low == side.start.largest == side.start.largest_high
    assert side.start.attached == pytest.approx(22e-6, rel=1e-9, abs=0)
    usual = converter_side(solve(_controlled({}))).start
    assert usual.limit == pytest.approx(1.3 * 2.0, rel=1e-9, abs=0)
    assert usual.largest_low < usual.largest < usual.largest_high


def test_a_limit_that_folds_back_starts_into_less():
    """hand: 2 A at 0 V leaves 2 A there and 4 A at 28 V, of which the least counts."""
    limit = {"current": "6 A", "kind": "foldback", "short_circuit_current": "2 A", "soft_start": "20 ms"}
    found = converter_side(solve(_controlled({}, limit))).start
    assert found.largest == pytest.approx(2 * 20e-3 / 28 - 22e-6, rel=1e-3, abs=0)


def test_the_line_that_feeds_it_is_asked_at_the_lowest_input_and_at_the_worst_ends():
    """second method: battery, wire, fuse and switch by hand, the wire 0.5 and 5 m long."""
    points = [{"name": "full"}, {"name": "low", "input_voltage": "16 V"}]
    one = _controlled(
        {}, operating_point=points, input_side={"capacitance": {"low": "5 µF", "high": "20 µF"}, "esr": "5 mΩ"}
    )
    side = converter_side(solve(one, "full"))
    assert side.source.voltage == side.source_worst.voltage == 16.0
    least, worst = one.replace(input_side={"capacitance": "5 µF", "esr": "5 mΩ"}), []
    for metres in (0.5, 5.0):
        ohms = 5e-3 + 2e-3 + 2e-3 + 2 * metres * resistance_per_metre(4e-6, 293.15)
        alone = source_side(
            solve(least, "full"), lowest=16.0, cable_resistance=ohms, cable_inductance=1e-6 + 1.2e-6 * metres
        )
        worst.append(alone.critical_power)
    assert side.source_worst.critical_power == pytest.approx(min(worst), rel=1e-6, abs=0)
    assert side.source_worst.critical_power < side.source.critical_power


def test_what_cannot_be_derived_is_a_reason():
    found = converter_side(solve(_controlled({"phase_margin": "110 deg"})))
    assert found.regulation == ()
    assert "at most at 77 degrees" in found.why_no_loop
    blind = design(series("10 µH"), shunt("22 µF"), source=converter(**KNOWN), load=resistive())
    assert "input_voltage: missing" in converter_side(solve(blind)).why_no_source


def _file_of(solution, path, **more):
    curve = _curve(solution, **more)
    rows = zip(curve.frequencies, curve.magnitude, np.angle(curve.impedance, deg=True), strict=True)
    path.write_text(
        "frequency [Hz]; |Z| [ohm]; phase [deg]\n" + "\n".join(f"{f:.9g};{z:.9g};{a:.7g}" for f, z, a in rows) + "\n"
    )


def test_a_measured_output_impedance_comes_from_a_design_file(tmp_path):
    """second method: poles of the design whose converter has the impedance that is in the file."""
    plain = feeble(load=POWER | {"power": "66 W"}, source=KNOWN | {"output_voltage": "24 V"})
    _file_of(solve(plain), tmp_path / "output.csv")
    control = '\n[converter.control]\noutput_impedance = { file = "output.csv" }\n'
    text = design_toml(plain)
    path = tmp_path / "one.toml"
    path.write_text(text.replace("\n[[filter]]", f"{control}\n[[filter]]", 1), encoding="utf-8")
    one = load_design(path)
    found = converter_side(solve(one))
    assert found.measured.stable == stability(solve(plain)).stable
    assert bool(found.oscillates) == (not found.measured.stable)
    assert found.measured.gain_margin > 0
    _margin_is_that_of_the_measured(one, plain)
    again = tmp_path / "elsewhere" / "two.toml"
    again.parent.mkdir()
    again.write_text(design_toml(one), encoding="utf-8")
    assert load_design(again).converter.control.output_impedance.curve.magnitude == pytest.approx(
        one.converter.control.output_impedance.curve.magnitude, rel=1e-9, abs=0
    )


def _margin_is_that_of_the_measured(measured, plain):
    """second method: whatever the file says of the inside, the margin is that of the converter which was measured."""
    wrong = measured.replace(
        converter=measured.converter.replace(output_capacitance="1 µF", output_esr="0 Ω", loop_bandwidth="500 Hz")
    )
    (found,), (known,), (other,) = (
        margins(solve(one)) for one in (wrong, plain, wrong.replace(converter=wrong.converter.replace(control={})))
    )
    assert found.critical_power == pytest.approx(known.critical_power, rel=0.01, abs=0)
    assert found.critical_frequency == pytest.approx(known.critical_frequency, rel=0.02, abs=0)
    assert found.damping == pytest.approx(known.damping, rel=0.1, abs=0)
    assert abs(other.critical_power / known.critical_power - 1) > 0.1
    assert stability(solve(wrong)).stable == stability(solve(plain)).stable
    step = StepRequirement(kind="step", load="modem", limit="9 V", current="0.1 A")
    dips = [step_range(solve(one), step).nominal for one in (wrong, plain)]
    assert dips[0] == pytest.approx(dips[1], rel=0.02, abs=0)
    assert deviation(solve(wrong), step) == pytest.approx(dips[0], rel=0.05, abs=0)
    assert {one.key for one in stability_over(solve(wrong)).case}.isdisjoint(f"converter.{name}" for name in INSIDE)


@pytest.mark.parametrize(
    ("held", "words"),
    [
        ('{ file = "nowhere.csv" }', "nowhere.csv"),
        ('{ file = "wrong.csv" }', "negative resistance"),
        ("{ }", "converter.control.output_impedance.file"),
        ('{ file = "wrong.csv", connection = "shunt_through" }', "only a two-port"),
    ],
)
def test_a_measured_output_impedance_that_cannot_be_read_is_said(tmp_path, held, words):
    (tmp_path / "wrong.csv").write_text(
        "frequency [Hz]; |Z| [ohm]; phase [deg]\n"
        + "".join(f"{10 * 1.5**n:.5g};1;{170 if n == 5 else 10}\n" for n in range(30))
    )
    path = tmp_path / "one.toml"
    control = f"\n[converter.control]\noutput_impedance = {held}\n"
    path.write_text(design_toml(feeble()).replace("\n[[filter]]", f"{control}\n[[filter]]", 1), encoding="utf-8")
    with pytest.raises(InputError, match=words):
        load_design(path)
