"""The simulator of the calibration against hand values, and against steps in time."""

from dataclasses import replace

import numpy as np
import pytest

from filterlib import load_design, load_recording, ripple, solve
from filterlib.bench.capture.measurement import measure
from tests import make_recordings
from tests.calibration import files, plants, scope
from tests.calibration.network import Network, burst, polyline
from tests.calibration.population import TOPOLOGIES, Branch, Series

C, ESR = 100e-6, 1e-9


def ideal(topology, **changes):
    """A case of that topology with one ideal capacitor inside, no ring, no chassis and edges that are hardly there."""
    one = plants.case(1, TOPOLOGIES.index(topology))
    plain = replace(
        one.converter, bank=(Branch(C, ESR, 1e-15),), tracks=(), ring=None, chassis=None, edges=(1e-12, 1e-12),
        winding=1e-18, lead=Series(1e-12, 1e-6), recovery=0.0, frequency=100e3, base=100e3, duty=0.4,
        output_voltage=12.0, current=2.0, **changes,
    )  # fmt: skip
    return replace(one, converter=plain)


def test_ideal_buck():
    """hand: a triangle of 1 A into 100 µF at 100 kHz, delta I / (8 f C)."""
    case = ideal("buck", swing=0.5)
    assert scope.peak_to_peak(case.terminals) == pytest.approx(1 / (8 * 100e3 * C), rel=0.01, abs=0)


def test_ideal_boost():
    """hand: 2 A out of 100 µF while the diode is off, for 0.4 of 10 µs: I D / (f C)."""
    case = ideal("boost", swing=1e-6)
    assert scope.peak_to_peak(case.terminals) == pytest.approx(2 * 0.4 / (100e3 * C), rel=0.01, abs=0)


@pytest.mark.parametrize("swing", [0.5, 0.95])
def test_a_diode_carries_the_load(swing):
    """hand: while the diode is off its current is 0, so that without its mean it shows the load's 2 A below."""
    converter = ideal("flyback", swing=swing).converter
    shown = scope.wave(plants.diode_current(1e5 * np.arange(1, 3000), converter))
    assert shown[shown.size // 5] == pytest.approx(-2.0, rel=2e-3, abs=0)


def test_polyline_of_a_square():
    """hand: 2/(pi k) peak amplitude of odd harmonics, half of it as a coefficient: 1/pi."""
    f = np.arange(1, 4) * 1e5
    square = polyline(f, 1e-5, [0, 1e-12, 5e-6, 5e-6 + 1e-12], [0.0, 1.0, 1.0, 0.0])
    assert np.abs(square) == pytest.approx([1 / np.pi, 0, 1 / np.pi / 3], rel=1e-4, abs=1e-6)


def test_burst_in_time():
    """second method: the sum of its harmonics is the damped sine of one period and all those before it."""
    f = np.arange(1, 8000) * 1e5
    shown = scope.wave(burst(f, 1e-5, 1e-6, 20e6, 3.0))
    times = np.arange(shown.size) / shown.size * 1e-5 - 1e-6
    after = np.where(times >= 0, times, times + 1e-5)
    direct = np.exp(-after * 20e6 / 3.0) * np.sin(2 * np.pi * 20e6 * after)
    assert np.max(np.abs(shown - (direct - direct.mean()))) < 0.01


def in_time(period, current):
    """The same circuit as `in_frequency`, by steps in time: node voltages and inductor currents, exponential of a matrix."""
    net = make_recordings.Network()
    net.push("bank", "0", current)
    net.real_capacitor("bank", "0", 22e-6, 20e-3, 6e-9)
    net.real_capacitor("bank", "0", 4.7e-6, 4e-3, 1e-9)
    net.l("bank", "plus", 20e-9, 2e-3)
    net.real_capacitor("plus", "0", 2.2e-6, 5e-3, 5e-9)
    net.l("plus", "out", 4.7e-6, 10e-3)
    net.real_capacitor("out", "0", 10e-6, 8e-3, 5e-9)
    net.r("out", "0", 6.0)
    return net.steady(period, "out", "0")


def in_frequency(frequencies, current):
    net = Network(frequencies)
    net.push("0", "bank", current)
    for node, c, r, henries in (
        ("bank", 22e-6, 20e-3, 6e-9), ("bank", 4.7e-6, 4e-3, 1e-9), ("plus", 2.2e-6, 5e-3, 5e-9), ("out", 10e-6, 8e-3, 5e-9),
    ):  # fmt: skip
        net.branch(node, "0", r + net.s * henries + 1 / (net.s * c))
    net.branch("bank", "plus", 2e-3 + net.s * 20e-9)
    net.branch("plus", "out", 10e-3 + net.s * 4.7e-6)
    net.branch("out", "0", 6.0 + 0 * net.s)
    return net.voltages()["out"]


def test_filter_in_time():
    """second method: steps in time, with scipy's matrix exponential, of a pulse into two branches, a filter and a load."""
    period, corners = 1 / 150e3, ([0.4, 0.42, 0.95, 0.97], [0.0, 2.0, 1.2, 0.0])
    stepped = in_time(period, make_recordings.corners(*corners))
    f = np.arange(1, 1500) / period
    summed = scope.wave(in_frequency(f, polyline(f, period, [t * period for t in corners[0]], corners[1])))
    again = np.interp(np.arange(stepped.size) / stepped.size, np.arange(summed.size) / summed.size, summed)
    assert np.max(np.abs(again - stepped)) < 0.01 * np.ptp(stepped)


@pytest.fixture(scope="module")
def cases():
    return [plants.case(5, number) for number in range(12)]


def test_nothing_makes_power(cases):
    """hand: every passive part and every inside has a positive resistance at every frequency."""
    for one in cases:
        net = Network(np.geomspace(1e3, 2e8, 60))
        assert np.all(one.inner(net.frequencies).real > 0)
        for part in (one.filter.first, one.filter.second):
            assert np.all(plants.part_impedance(net, part).real > 0)


def test_the_ring_is_as_large_as_it_was_drawn(cases):
    """hand: alone in 200 MHz over the ripple alone in 20 MHz."""
    one = next(each for each in cases if each.converter.ring is not None and each.converter.chassis is None)
    ring = scope.peak_to_peak(one.wide(plants.bare(one, ripple=0.0, ring=one.ring_scale)))
    ripple = scope.peak_to_peak(one.limited(plants.bare(one, ripple=1.0, ring=0.0)))
    assert ring / ripple == pytest.approx(one.converter.ring.ratio, rel=1e-9, abs=0)


def test_parts_are_within_their_tolerance(cases):
    for one in cases:
        for part in (one.filter.first, one.filter.second):
            assert abs(part.true.capacitance / part.left / part.stated.capacitance - 1) <= part.tolerance
        choke = one.filter.choke
        assert abs(choke.true.inductance / choke.stated.inductance - 1) <= choke.tolerance


def test_a_number_gives_one_converter(cases):
    assert plants.case(5, 7) == cases[7]
    assert plants.case(6, 7) != cases[7]


def test_a_recording_shows_the_ripple(tmp_path, cases):
    """second method: the library's reading of the file beside the simulated figure; 8 bits and noise lie between."""
    one = cases[1]
    path = tmp_path / "terminals.csv"
    path.write_text(scope.recording(one.limited(one.terminals), 1 / one.converter.base, 1, bandwidth=20e6))
    seen = measure(load_recording(path)).aligned.peak_to_peak
    assert seen == pytest.approx(scope.peak_to_peak(one.limited(one.terminals)), rel=0.05, abs=0)


INSIDE = {
    "output_capacitance": "22 µF", "output_esr": "12 mohm", "output_esl": "4 nH", "lead_inductance": "20 nH", "edge_time": "30 ns",
}  # fmt: skip


def as_stated(part):
    """A capacitor that is exactly as its data sheet has it."""
    return part and replace(part, true=replace(part.stated, capacitance=part.left * part.stated.capacitance), loop=4e-9)


def known(one):
    """A case without secrets: one capacitor inside, no ring, no chassis, a flat pulse, every part as stated."""
    choke, draw = one.filter.choke, one.converter
    converter = replace(
        draw, bank=(Branch(22e-6, 12e-3, 4e-9),), tracks=(), ring=None, chassis=None, lead=Series(20e-9, 1e-4), edges=(30e-9, 30e-9),
        swing=0.02 if draw.shape == "pulse" else draw.swing, recovery=0.0, winding=1e-15,
    )  # fmt: skip
    choke = replace(choke, true=choke.stated, across=choke.across[:1] * 2, loss=choke.loss[:1] * 2, unlike=(0.0, 0.0))
    filter = replace(
        one.filter, first=as_stated(one.filter.first), choke=choke, second=as_stated(one.filter.second), computed=True
    )
    load = replace(one.load, capacitor=as_stated(one.load.capacitor), true_length=one.load.length, unlike=0.0)
    return replace(one, converter=converter, filter=filter, load=load)


@pytest.mark.parametrize("number", [0, 2, 4, 7, 16])
def test_where_nothing_is_secret_library_and_simulator_agree(number, tmp_path, monkeypatch):
    """second method: the library's own model of the same converter, filter and load; readings are off by 2 %, and eddies differ."""
    case = known(plants.case(1, number))
    monkeypatch.setattr(files, "BRIDGE", 0.0)
    converter = files.plate(case) | INSIDE | {"shape": case.converter.shape, "duty": case.converter.duty}
    files.READINGS["number"](case, converter, tmp_path)
    files.READINGS["load"](case, converter, tmp_path)
    design = {"format": 1, "name": "known", "converter": converter, "filter": files.stages(case, False)}
    design |= {"load": [files.load(case, False)], "coupling": files.couplings(case, True)}
    (tmp_path / "design.toml").write_text(files.toml(design), encoding="utf-8")
    figure = ripple(solve(load_design(tmp_path / "design.toml")), interval=False).figures["receiver", "20MHz"]
    assert figure.peak_to_peak == pytest.approx(case.truth, rel=0.1, abs=0)
