"""The converter's input while it starts: the line by hand, SUNDIALS as the second method, and a start that collapses its own input."""

from __future__ import annotations

import math

import numpy as np
import pytest
from sksundae.cvode import CVODE

from filterlib.analysis.hold_up.way import Branch, Section, path_to
from filterlib.analysis.supply.input_line import InputLine, input_line, input_start
from filterlib.analysis.supply.starting import starting
from filterlib.analysis.supply.supply_result import Ramp
from filterlib.analysis.supply.switch_on import switch_on
from filterlib.system.design import Design
from filterlib.system.inside.converter import Converter
from filterlib.system.line.load import Load
from filterlib.words.supply.switch_on_sentences import switch_on_line, switch_on_sentences

LINE = InputLine(24.0, 0.4, 5e-6, 100e-6, 50e-3, 18.0, 0.8)


def design(battery="50 mΩ", *, limit=None, **more):
    converter = Converter(
        name="Skerry (invented)", input_voltage=24, output_voltage=28, switching_frequency=1.5e5, shape="pulse",
        ripple={"peak_to_peak": 0.1}, output_capacitance="22 µF", efficiency="90 %",
        limit={"current": "8 A", "soft_start": "5 ms"} | (limit or {}),
    )  # fmt: skip
    load = Load(name="camera", kind="constant_power", power=120.0, starts_at="24 V", stops_at="18 V")
    fed = {"battery": {"voltage": "24 V", "resistance": battery}, "supply_wire": {"length": "2 m", "awg": 12}}
    side = {"capacitance": "100 µF", "esr": "50 mΩ", "lowest_voltage": "18 V"}
    return Design(name="fed (invented)", converter=converter, loads=[load], input_side=side, **fed, **more)


def by_sundials(line, watts, until):
    """The lowest input voltage of a power that rises evenly to ``watts``: CVODE, on equations by hand."""

    def at_input(time, state):
        drawn = watts * time / until / line.efficiency  # v = e + esr (i - P / v)
        open_ = state[1] + line.esr * state[0]
        return (open_ + math.sqrt(open_**2 - 4 * line.esr * drawn)) / 2

    def rates(time, state, rate):
        volts = at_input(time, state)
        rate[0] = (line.volts - line.ohms * state[0] - volts) / line.henries
        rate[1] = (volts - state[1]) / line.esr / line.farads

    times = np.linspace(0.0, until, 400)
    found = CVODE(rates, method="BDF", rtol=1e-9, atol=1e-12).solve(times, np.array([0.0, line.volts]))
    return min(at_input(time, state) for time, state in zip(times, found.y, strict=True))


def test_the_lowest_voltage_of_a_rising_power():
    """second method: SUNDIALS; stairs of the highest power in each end a little lower, by their ring."""
    times = np.linspace(0.0, 20e-3, 201)
    found = input_start(LINE, times, 60.0 * times / times[-1])
    expected = by_sundials(LINE, 60.0, 20e-3)
    assert expected == pytest.approx(
        (24 + math.sqrt(24**2 - 4 * 0.4 * 75)) / 2, rel=1e-3, abs=0
    )  # E - R P / v, by hand
    assert found.lowest <= expected + 1e-6
    assert found.lowest == pytest.approx(expected, rel=0.02, abs=0)


def test_a_line_that_cannot_give_the_power_is_pulled_to_the_lock_out():
    """hand: at 18 V 0.4 ohm let 15 A through, 270 W; 250 W at 80 % ask for 312 W."""
    times = np.linspace(0.0, 20e-3, 201)
    found = input_start(LINE, times, 250.0 * times / times[-1])
    assert found.lowest == pytest.approx(18.0, rel=1e-9, abs=0)
    assert found.left == pytest.approx(1.0, rel=1e-9, abs=0)
    assert 0.75 < found.at / 20e-3 < 1.0
    assert input_start(LINE, times, 0.0 * times).lowest == pytest.approx(24.0, rel=1e-4, abs=0)


def test_a_negative_resistance_rings_up_behind_an_inductive_line():
    """hand: stable while R / L > P / (C v^2); 100 µH and 10 µF behind 50 mohm with 100 W at 24 V ring up without end."""
    weak = InputLine(24.0, 0.05, 100e-6, 10e-6, 1e-3, 18.0, 1.0)
    assert 0.05 / 100e-6 < 100 / (10e-6 * 24**2)
    times = np.linspace(0.0, 10e-3, 101)
    assert input_start(weak, times, 100.0 * times / times[-1]).left == pytest.approx(1.0, rel=1e-9, abs=0)
    calm = InputLine(24.0, 0.05, 1e-6, 1000e-6, 20e-3, 18.0, 1.0)
    assert input_start(calm, times, 100.0 * times / times[-1]).lowest > 23.0


def test_a_start_that_collapses_its_input_is_found():
    """hand: 120 W at 90 % from 24 V less 18 V behind 2 ohm: 54 W at most."""
    strong, weak = switch_on(design()), switch_on(design("2 Ω"))
    assert [one.verdict for one in strong.checks] == ["met", "met"]
    assert [one.verdict for one in weak.checks] == ["met", "not met"]
    assert "pulls the converter's input down to 18 V" in switch_on_line(weak)
    assert any("what comes of that is not followed" in one for one in switch_on_sentences(weak, design("2 Ω")))


def test_the_ends_of_the_line():
    nominal, weak, strong = (input_line(design("50 mΩ ± 20 %"), end) for end in ("value", "low", "high"))
    assert weak.ohms > nominal.ohms > strong.ohms
    assert weak.efficiency <= nominal.efficiency
    assert input_line(design().replace(battery=None, supply_wire=None), "value").volts == 24.0


def test_the_converter_gives_the_load_its_current_with_a_limit_that_folds_back():
    """hand: 120 W at 28 V less its drop are 4.3 A, whatever the characteristic that limits it."""
    folds = design(limit={"kind": "foldback", "short_circuit_current": "2 A"})
    found = starting(folds, Ramp.of(folds.converter.limit))
    assert found.amps[-1] * found.volts[-1] == pytest.approx(120.0, rel=0.02, abs=0)


def test_what_a_ring_can_do_by_hand():
    """hand: 6 A in 10 µH, 22 µF before and 22 µF behind: 6 sqrt(10 / 11) V; a hard start has its loads start that much earlier."""
    load = Load(name="camera", kind="constant_power", power=20.0, starts_at="24 V", stops_at="18 V")
    path = path_to(design().replace(loads=(load,)), load, 6.0)
    rings = Section(0.0, 10e-6, (Branch(22e-6, 1e-3),))
    one = type(path)(28.0, 6.0, 1e-3, path.loop, Branch(22e-6, 1e-3), (rings,), (0.0, 0.0), Branch(1e-15, 1e-3))
    assert one.ring == pytest.approx(6.0 * math.sqrt(10 / 11), rel=1e-6, abs=0)
    assert one.without_rings.sections[0].henries == 0.0
    assert one.without_rings.sections[0].shunts[0].farads == pytest.approx(22e-6, rel=1e-12, abs=0)
