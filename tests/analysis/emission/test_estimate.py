"""Conducted emission of designs: against a dense solution, a closed form and an integration in time; margins; refusals."""

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from filterlib import load_design
from filterlib.analysis.emission.emission_result import INPUT_LINES, EmissionTest
from filterlib.analysis.emission.estimate import emissions
from filterlib.analysis.emission.line_spectra import line_spectra, setup
from filterlib.analysis.emission.receiver import read
from filterlib.errors import FilterlibError, InputError
from filterlib.network.circuit import Circuit
from filterlib.network.shapes import trapezoid
from filterlib.parts.artificial_network import NETWORKS
from filterlib.parts.tables import data_folder
from filterlib.system.inside.chassis import CommonMode
from filterlib.system.inside.input_side import InputSide
from filterlib.system.inside.ways import CHASSIS
from filterlib.system.limits import load_limit
from filterlib.system.solution import solve
from filterlib.system.sources.source_spectra import source_spectra
from filterlib.words.emission_sentences import agreement, covers, emission_notes, margin_sentence
from filterlib.words.stability_sentences import reason_text
from tests.dense import dense_transfer
from tests.designs import DRIVEN, common_mode, converter, design, resistive, series, shunt

BOTH = ("output", "input")


def board(**more):
    return design(shunt(), series(), common_mode(), shunt(), source=DRIVEN, load=resistive(bond={}), **more)


@pytest.mark.parametrize("network", NETWORKS)
@pytest.mark.parametrize("side", BOTH)
@pytest.mark.parametrize("isolated", [False, True])
def test_ports_against_a_dense_solution(side, network, isolated):
    """second method: plain modified nodal analysis with numpy, at both ports, of every source."""
    one = board().replace(converter={**DRIVEN, "isolated": isolated, "shape": "pulse"})
    test = EmissionTest(side, network)
    circuit, ports = setup(solve(one), test)
    frequencies = np.array([180e3, 1.62e6, 28.8e6])
    pairs = [(port, CHASSIS) for port in ports]
    names = ["ripple", "common_mode"] + (["input_current"] if side == "input" else [])
    for name in names:
        found = np.array(circuit.transfer(frequencies, name, pairs))
        expected = dense_transfer(circuit, frequencies, name, pairs)
        assert_allclose(found, expected, rtol=1e-7, atol=1e-9 * np.abs(expected).max())


def test_common_mode_without_a_filter_in_closed_form():
    """hand: the coupling drives the networks; the plus line's stands behind the converter's own impedance."""
    one = design(source={**DRIVEN, "lead_inductance": 0.0})
    test = EmissionTest(network="50uH")
    found = line_spectra(solve(one), test)
    f = found.frequencies
    network = NETWORKS["50uH"].impedance(f)
    inner = one.converter.inner_impedance(f)
    beside = 1 / (1 / network + 1 / (inner + network) + 1 / one.insulation)
    drawn = 15.0 + 1 / (2j * np.pi * f * 100e-12)
    swing = 2 * source_spectra(one.converter, 4.0).common_mode[1 : len(f) + 1]
    expected = -swing * beside / (beside + drawn)
    assert_allclose(found.voltages["return", "common_mode"], expected, rtol=1e-8, atol=1e-12)
    assert_allclose(
        found.voltages["plus", "common_mode"], expected * network / (inner + network), rtol=1e-8, atol=1e-12
    )


def test_a_network_integrated_in_time():
    """second method: scipy's solve_ivp on capacitor voltage and inductor current, driven by a trapezoid, within 1 %."""
    period, farads, ohms, henries = 4e-6, 100e-12, 15.0, 50e-6
    wave = trapezoid(period, 28.0, 0.3, 60e-9, 60e-9)
    circuit = Circuit().voltage_source("V", "switch", "0").resistor("R", "switch", "x", ohms)
    circuit.capacitor("C", "x", "line", farads)
    NETWORKS["50uH"].add(circuit, "N", "line", "0")
    exact = circuit.periodic_response(wave, "V", "line", harmonics=2000)

    def line(t, held, through):  # (source - held - line)/ohms divides between 50 ohm and the inductor
        source = np.interp(t, [0, 60e-9, 1.2e-6, 1.26e-6, period], [0, 28, 28, 0, 0])
        return ((source - held) / ohms - through) / (1 / ohms + 1 / 50.0)

    def rates(t, state):
        volts = line(t, *state)
        return [(volts / 50.0 + state[1]) / farads, volts / henries]

    state, times = [float(wave.mean), 0.0], np.linspace(0, period, 801)
    for _ in range(12):  # periods until the network's 1 µs has died away
        run = solve_ivp(rates, (0, period), state, t_eval=times, rtol=1e-8, atol=1e-9, max_step=1e-8)
        state = run.y[:, -1]
    expected = exact.at(times)
    assert np.max(np.abs(line(times, *run.y) - expected)) < 0.01 * np.ptp(expected)


def test_worst_margin_is_found_and_shown_plainly(tmp_path):
    """hand: levels and limit compared line by line; above the limit the margin is negative and the words say ABOVE."""
    path = tmp_path / "strict.toml"
    path.write_text(
        'title = "Strict (invented)"\nsource = "invented"\n[[piece]]\ndetector = "average"\nfrequencies = ["1 MHz", "10 MHz"]\n'
        "levels = [0, -10]\n",
        encoding="utf-8",
    )
    found = emissions(solve(board()), EmissionTest(limits=(load_limit(path), "mains-class-a")), interval=False)
    (strict,) = (margin for margin in found.margins if margin.limit == "strict")
    f = found.frequencies
    inside = (f >= 1e6) & (f <= 10e6)
    limit = -10 * np.log10(f[inside] / 1e6)
    gap = min(float(np.min(limit - found.levels[line, "average"][inside])) for line in ("plus", "return"))
    assert strict.margin == pytest.approx(gap, rel=1e-9, abs=0)
    assert strict.margin < 0
    assert strict.level - strict.limit_level == pytest.approx(-strict.margin, rel=1e-9, abs=0)
    assert strict.verdict == "not met"
    assert "dB ABOVE the limit" in margin_sentence(strict)


def test_range_holds_the_nominal_figure_and_what_single_unknowns_make():
    found = emissions(solve(board()))
    plain = emissions(solve(board()), interval=False)
    for margin, alone in zip(found.margins, plain.margins, strict=True):
        assert margin.low < margin.margin < margin.high
        assert margin.margin == alone.margin
        assert alone.low == alone.margin == alone.high
        assert margin.depends_on
    for place, level in found.high.items():
        assert np.all(level >= found.levels[place, "peak"] - 1e-9)
        assert np.all(found.low[place] <= found.levels[place, "peak"] + 1e-9)
    strong = board().replace(converter={**DRIVEN, "common_mode": {"swing": "28 V", "coupling": "100 pF ± 50 %"}})
    coupled = emissions(
        solve(strong.replace(converter={**DRIVEN, "common_mode": {"swing": "28 V", "coupling": "150 pF"}})),
        interval=False,
    )
    for wide, moved in zip(emissions(solve(strong)).margins, coupled.margins, strict=True):
        assert wide.low <= moved.margin + 1e-9


def test_the_unknown_that_decides_is_named():
    """hand: the common mode is in proportion to a coupling that may be ten times as large."""
    wide = {"swing": "28 V", "coupling": {"low": "30 pF", "high": "300 pF"}}
    found = emissions(solve(board().replace(converter={**DRIVEN, "common_mode": wide})))
    assert {margin.depends_on for margin in found.margins} == {"coupling to the chassis"}


def test_shape_of_the_converter_widens_the_range():
    """A shape that is not stated is an unknown of its own."""
    bare = {key: value for key, value in DRIVEN.items() if key not in ("shape", "common_mode")}
    open_shape = emissions(solve(board().replace(converter=bare)), EmissionTest("input"))
    closed = emissions(solve(board().replace(converter={**bare, "shape": "triangle"})), EmissionTest("input"))
    assert open_shape.margins[0].low <= closed.margins[0].low + 1e-9
    assert open_shape.margins[0].high >= closed.margins[0].margin - 1e-9


def test_input_side_is_made_by_the_input_current_and_the_capacitor():
    """hand: a purely differential source between 25 µH + 100 ohm in all: v_dm = i Z, shared by both lines in halves."""
    source = {**{k: v for k, v in DRIVEN.items() if k != "common_mode"}, "isolated": True}
    side = InputSide(ripple_current="1 A", capacitance="10 µF", esr="10 mΩ", esl=0.0, lead_inductance=0.0)
    found = emissions(solve(design(source=source)), EmissionTest("input", input_side=side), interval=False)
    w = 2j * np.pi * found.frequencies
    capacitor = 10e-3 + 1 / (w * 10e-6)
    together = 1 / (1 / capacitor + 1 / (2 * NETWORKS["50uH"].impedance(found.frequencies)))
    order = np.round(found.frequencies / 180e3)
    current = 2 * np.abs(np.sin(np.pi * order * 0.3) / (np.pi * order)) * np.abs(np.sinc(order * 30e-9 * 180e3))
    assert_allclose(
        np.abs(found.by_source["differential", "input_current"]), current * np.abs(together), rtol=1e-6, atol=1e-12
    )
    assert_allclose(
        found.by_source["plus", "input_current"], -found.by_source["return", "input_current"], rtol=1e-4, atol=1e-9
    )


def test_an_input_is_trusted_beyond_10_MHz_where_its_own_current_makes_little():
    """law: up to there a line is made by the common-mode drive to nine tenths; without a drive the input's current makes all."""
    driven = emissions(
        solve(load_design(data_folder() / "designs" / "tide-gauge-brick.toml")), EmissionTest("input"), interval=False
    )
    heard = (driven.frequencies > 10e6) & (driven.frequencies < driven.trusted_to)
    own, whole = (values["plus"] for values in ({"plus": driven.by_source["plus", "input_current"]}, driven.amplitudes))
    assert driven.worst.frequency < driven.trusted_to == 30e6
    assert np.all(np.abs(own[heard]) <= 0.1 * np.abs(whole[heard]))
    alone = {**{k: v for k, v in DRIVEN.items() if k != "common_mode"}, "isolated": True}
    found = emissions(solve(design(source=alone)), EmissionTest("input"), interval=False)
    assert 10e6 < found.trusted_to < 10e6 + 180e3  # hand: the first line above 10 MHz


@pytest.mark.parametrize("isolated", [True, False])
def test_the_input_current_is_that_of_the_operating_point(isolated):
    """hand: a pulse is as high as the point's power asks, P/(0.9 V_in d); a step-up triangle is 30 % of full load's mean."""
    source = {**{k: v for k, v in DRIVEN.items() if k != "common_mode"}, "isolated": isolated}
    side = InputSide(capacitance="10 µF", esr="10 mΩ", esl=0.0, lead_inductance=0.0)
    one = design(source=source, operating_points=[{"name": "idle", "load": "25 %"}, {"name": "full"}])
    found = {name: emissions(solve(one, name), EmissionTest("input", input_side=side), interval=False)
             for name in ("idle", "full")}  # fmt: skip
    f = found["full"].frequencies[:9]  # the tenth harmonic of a duty cycle of 0.3 is zero
    order, edges = np.round(f / 180e3), np.abs(np.sinc(f * 30e-9))
    w = 2j * np.pi * f
    network = NETWORKS["50uH"].impedance(f)
    beside = 2 * network if isolated else network  # the earthed return shorts that line's network, but for its bond
    together = np.abs(1 / (1 / (10e-3 + 1 / (w * 10e-6)) + 1 / beside))
    for name, amps in (("idle", 1.0), ("full", 4.0)):  # through 28 ohm and 7 ohm from 28 V
        power = 28.0 * amps
        pulse = 2 * power / (0.9 * 24 * 0.3) * np.abs(np.sin(np.pi * order * 0.3)) / (np.pi * order)
        full_mean = 28.0 * 4.0 / (0.9 * 24)
        triangle = 2 * 0.3 * full_mean * np.abs(np.sin(np.pi * order * 0.3)) / (np.pi * order) ** 2 / (2 * 0.3 * 0.7)
        expected = (pulse if isolated else triangle) * edges * together
        drawn = np.abs(found[name].by_source["differential", "input_current"][:9])
        assert_allclose(drawn, expected, rtol=5e-3, atol=0)


def test_an_isolated_input_swings_against_its_own_return():
    """The drive's source stands at the input's own return, and not at the chassis; the networks carry it back."""
    one = board().replace(converter={**DRIVEN, "isolated": True})
    circuit, _ = setup(solve(one), EmissionTest("input"))
    drive_source = next(element for element in circuit.elements if element.name == "common_mode")
    assert drive_source.nodes == ("converter:switch", "converter_input")
    assert {line for element in circuit.elements for line in element.nodes} >= set(INPUT_LINES)


def test_a_bonded_return_leaves_the_input_ripple_to_the_plus_line():
    """hand: a bond of 20 nH beside the return line's network is 0.02 ohm at 180 kHz, against 38 ohm in the plus line."""
    found = emissions(solve(board().replace(converter={**DRIVEN, "bond": {}})), EmissionTest("input"), interval=False)
    plus, minus = (abs(found.by_source[line, "input_current"][0]) for line in ("plus", "return"))
    assert minus < 0.01 * plus


def test_slow_converters_have_several_harmonics_in_the_filter():
    """20 kHz in 9 kHz: read one by one; 8 kHz: together, and then average < quasi-peak < peak, which is said."""
    fast = emissions(solve(design(source=converter(switching_frequency="20 kHz"))), interval=False)
    slow = emissions(solve(design(source=converter(switching_frequency="8 kHz"))), interval=False)
    assert np.array_equal(fast.levels["plus", "peak"], fast.levels["plus", "average"])
    assert "quasi-peak and average equal peak" in agreement(fast)
    assert "several harmonics" in agreement(slow)
    peak, quasi, average = (slow.levels["plus", name] for name in ("peak", "quasi_peak", "average"))
    assert np.all(average < quasi)
    assert np.all(quasi < peak)


def test_harmonics_below_the_network_are_left_out_and_it_is_said():
    """hand: of 100 kHz the second harmonic is the first at or above 150 kHz."""
    one = design(source=converter(switching_frequency="100 kHz"))
    found = emissions(solve(one), interval=False)
    assert found.frequencies[0] == pytest.approx(200e3, rel=1e-12, abs=0)
    assert any("not judged" in note for note in emission_notes(one, found))
    low = emissions(
        solve(design(source=converter(switching_frequency="100 kHz"))),
        EmissionTest(network="50uH+5ohm"),
        interval=False,
    )
    assert low.frequencies[0] == pytest.approx(100e3, rel=1e-12, abs=0)


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"common_mode": None}, "No common-mode drive"),
        ({}, "No spike"),
        ({"switching_frequency": "148 kHz"}, "tolerance decides"),
    ],
)
def test_what_is_left_out_is_said(changes, word):
    source = {key: value for key, value in (DRIVEN | changes).items() if value is not None}
    one = board().replace(converter=source)
    found = emissions(solve(one), interval=False)
    told = tuple(covers(one, found.side))
    assert any(word in sentence for sentence in (*told, *emission_notes(one, found)))
    assert any("v_dm = v+ − v−" in sentence for sentence in told)


@pytest.mark.parametrize(("isolated", "word"), [(True, "its own cable and battery"), (False, "input are no networks")])
def test_what_stands_at_the_other_end_is_said(isolated, word):
    one = board().replace(converter={**DRIVEN, "isolated": isolated})
    assert any(word in sentence for sentence in covers(one, "output"))


def test_without_a_chassis_the_ground_plane_stands_for_it():
    found = emissions(solve(design(shunt())), interval=False)
    assert any("ground plane" in sentence for sentence in covers(design(shunt()), found.side))
    assert np.all(np.isfinite(found.levels["plus", "peak"]))


def test_a_limit_of_another_network_and_one_from_memory_are_marked():
    found = emissions(
        solve(board()), EmissionTest(network="5uH", limits=("mains-class-b", "wired-current-class-b")), interval=False
    )
    notes = tuple(emission_notes(board(), found))
    assert any("another network (50uH)" in note for note in notes)
    assert any("from memory" in note for note in notes)
    assert any(margin_sentence(margin).endswith("this limit is from memory") for margin in found.margins)
    assert {margin.place for margin in found.margins if margin.unit == "dBuA"} == {"common_current"}


def test_defaults_that_carry_the_estimate_are_listed():
    output, source = (
        emissions(solve(board()), interval=False),
        emissions(solve(board()), EmissionTest("input"), interval=False),
    )
    keys = {one.key for one in source.assumptions}
    assert {"input_side.capacitance", "input_side.ripple_ratio", "converter.output_esr"} <= keys
    assert not any(one.key.startswith("input_side") for one in output.assumptions)
    assert all(one.low < one.high and one.why for one in source.assumptions)


def test_an_unstable_circuit_has_no_emission_and_says_why():
    load = {"name": "modem", "kind": "constant_power", "power": "400 W", "loop_bandwidth": "500 kHz"}
    found = emissions(solve(design(series("100 µH"), shunt("1 µF"), source=DRIVEN, load=load)))
    assert found.reason is not None
    assert "unstable" in reason_text(found.reason)
    assert found.margins == ()
    assert found.frequencies.size == 0


def test_without_limits_there_are_levels_and_a_range():
    found = emissions(solve(board()), EmissionTest(limits=()))
    assert found.margins == ()
    assert np.all(found.high["plus"] >= found.low["plus"])


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        ({"side": "outputs"}, 'did you mean "output"'),
        ({"network": "50 uH"}, 'did you mean "50uH"'),
        ({"limits": ("mains-class-c",)}, "did you mean"),
        ({"limits": "mains-class-a"}, "a tuple of names"),
        ({"input_side": InputSide()}, "belongs to side"),
    ],
)
def test_a_test_that_cannot_be_is_refused(arguments, why):
    with pytest.raises(FilterlibError, match=why):
        EmissionTest(**arguments)


def test_a_rise_time_longer_than_the_period_is_refused():
    with pytest.raises(InputError, match=r"edge_time.*fifth of the switching period"):
        design(source=converter(edge_time="6 µs"))


def test_an_input_that_cannot_be_estimated_is_refused():
    source = {key: value for key, value in DRIVEN.items() if key != "input_voltage"} | {"isolated": True}
    with pytest.raises(FilterlibError, match=r"converter\.input_voltage: missing"):
        emissions(solve(board().replace(converter=source)), EmissionTest("input"))


def test_an_unknown_operating_point_gets_the_nearest():
    with pytest.raises(FilterlibError, match="operating point"):
        emissions(solve(board(), "transmiting"))


def test_results_are_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        emissions(solve(board()), interval=False).point = "other"


@pytest.mark.parametrize("side", BOTH)
@pytest.mark.parametrize("name", ["tide-gauge-clean", "tide-gauge-brick"])
def test_demo_designs_have_an_estimate(name, side):
    one = load_design(data_folder() / "designs" / f"{name}.toml")
    found = emissions(solve(one), EmissionTest(side, limits=("mains-class-a", "mains-class-b")), interval=False)
    assert len(found.margins) == 4
    assert np.all(np.isfinite(found.levels["plus", "peak"]))


def test_the_coupling_is_the_drives_own_element():
    """hand: 28 V behind 30 pF and 15 ohm into a short, at 1 MHz."""
    circuit = Circuit()
    CommonMode(swing="28 V", coupling="30 pF").add(circuit, "0", "x")
    circuit.resistor("short", "x", "0", 1e-6)
    current = abs(circuit.transfer([1e6], "common_mode", "x")[0]) / 1e-6
    assert current == pytest.approx(1 / abs(15 + 1 / (2j * np.pi * 1e6 * 30e-12)), rel=1e-6, abs=0)


def test_how_far_the_common_mode_exceeds_the_differential_part_of_a_line():
    """second method: from the amplitudes of both lines, (v+ + v-)/2 over (v+ - v-)/2, which every line has."""
    found = emissions(solve(board()), interval=False)
    plus, minus = found.amplitudes["plus"], found.amplitudes["return"]
    expected = 20 * np.log10(np.abs(plus + minus) / np.abs(plus - minus))
    for at in (0, 7, -1):
        assert found.common_over_differential(found.frequencies[at]) == pytest.approx(expected[at], rel=1e-6, abs=0)


def steps(tmp_path):
    """A limit that begins at 150 kHz and falls by 6 dB at 500 kHz, as many do."""
    path = tmp_path / "steps.toml"
    pieces = "".join(
        f'[[piece]]\ndetector = "average"\nfrequencies = {ends}\nlevels = [{level}, {level}]\n'
        for ends, level in ((["150 kHz", "500 kHz"], 66), (["500 kHz", "30 MHz"], 60))
    )
    path.write_text(f'title = "Steps (invented)"\nsource = "invented"\n{pieces}', encoding="utf-8")
    return load_limit(path)


@pytest.mark.parametrize(
    ("line", "step", "limit", "loss"),
    [("145 kHz", 150e3, 66, (10 / 9) ** 2), ("499 kHz", 500e3, 60, (2 / 9) ** 2)],
)
def test_a_line_beside_a_step_is_judged_where_the_limit_is_lower(tmp_path, line, step, limit, loss):
    """hand: a Gaussian filter of 9 kHz that is tuned to the step passes 2^-(2 d / 9 kHz)^2 of a line d beside it."""
    one = design(source=converter(switching_frequency=line))
    found = emissions(solve(one), EmissionTest(limits=(steps(tmp_path),)), interval=False)
    (margin,) = found.margins
    spectra = line_spectra(solve(one), found.test)
    level = 20 * np.log10(np.abs(spectra.voltage(margin.place)[0]) / np.sqrt(2) / 1e-6)
    assert margin.frequency == pytest.approx(step, rel=1e-6, abs=0)
    assert margin.line == spectra.frequencies[0]
    assert margin.limit_level == limit
    assert margin.level == pytest.approx(level - 20 * np.log10(2) * loss, rel=0, abs=1e-3)
    assert f"from the line at {line}" in margin_sentence(margin)


@pytest.mark.parametrize("frequency", [12e3, 27e3, 145e3, 166.3e3, 148.7e3])
def test_margins_against_a_receiver_that_sweeps(tmp_path, frequency):
    """second method: the receiver swept in steps of a thirtieth of its bandwidth finds nothing nearer, within 0.05 dB."""
    one = design(shunt(), source=converter(switching_frequency=frequency))
    test = EmissionTest(limits=(steps(tmp_path), "mains-class-b"))
    spectra = line_spectra(solve(one), test)
    swept = np.concatenate([np.arange(150e3, 2e6, 300.0), [500e3 * (1 + 1e-12)]])
    for margin in emissions(solve(one), test, interval=False).margins:
        limit = next(each for each in test.judged if each.name == margin.limit).limit.at(swept, margin.detector)
        levels = (read(spectra.voltage(line), frequency, swept)[margin.detector] for line in ("plus", "return"))
        nearest = min(float(np.min(limit - 20 * np.log10(level / 1e-6))) for level in levels)
        assert margin.frequency < 2e6
        assert margin.margin == pytest.approx(nearest, rel=0, abs=0.05)


def test_what_a_margin_is_made_of():
    """law: alone, a source reads what its amplitude at the deciding line says; they stand with the greatest first."""
    found = emissions(solve(board()), interval=False)
    worst = found.worst
    at = int(np.argmin(np.abs(found.frequencies - worst.line)))
    for source, level in worst.by_source.items():
        amplitude = np.abs(found.by_source[worst.place, source][at])
        assert level == pytest.approx(20 * np.log10(amplitude / np.sqrt(2) / 1e-6), rel=1e-9, abs=0)
    assert list(worst.by_source.values()) == sorted(worst.by_source.values(), reverse=True)


@pytest.mark.parametrize(
    ("bond", "words"),
    [({}, "reads little there"), ({"inductance": "100 µH"}, "does not keep that line quiet")],
)
def test_a_bonded_line_reads_little_only_where_its_bond_is_small(bond, words):
    """hand: at 180 kHz 20 nH are 23 mohm, and 100 µH are 113 ohm, beside 37.5 ohm of the network."""
    one = board().replace(converter={**DRIVEN, "bond": bond})
    found = emissions(solve(one), EmissionTest("input"), interval=False)
    (note,) = [note for note in emission_notes(one, found) if "The converter's bond" in note]
    assert words in note


def test_an_isolated_input_is_not_beside_the_outputs_bond():
    one = board().replace(converter={**DRIVEN, "isolated": True, "bond": {}})
    found = emissions(solve(one), EmissionTest("input"), interval=False)
    assert not any("The converter's bond" in note for note in emission_notes(one, found))


def test_a_switching_frequency_that_the_filter_lets_through_is_judged_and_it_is_said():
    one = design(source=converter(switching_frequency="145 kHz"))
    found = emissions(solve(one), interval=False)
    notes = tuple(emission_notes(one, found))
    assert any("lets through when it is tuned" in note for note in notes)
    assert not any("not judged" in note for note in notes)


def test_the_worst_margin_is_the_least():
    found = emissions(solve(board()), interval=False)
    margins = sorted(one.margin for one in found.margins)
    assert margins[0] < margins[-1]
    assert found.worst.margin == margins[0]
    assert emissions(solve(board()), EmissionTest(limits=()), interval=False).worst is None
