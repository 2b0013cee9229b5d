"""Parts from measured curves: fit, both faces, what changes them, how a design file names them; Touchstone against scikit-rf."""

import io
import json
from dataclasses import replace

import numpy as np
import pytest
import skrf
from numpy.testing import assert_allclose

from filterlib import load_design, measured_part, measured_two_port
from filterlib.analysis.linear.part_curves import examine
from filterlib.analysis.review import review
from filterlib.errors import FilterlibError, InputError, QuantityError
from filterlib.network.circuit import Circuit
from filterlib.parts.curves.curve_file import read_impedance_curve
from filterlib.parts.curves.impedance_curve import ImpedanceCurve, minimum_phase
from filterlib.parts.curves.one_port import OnePort, Section
from filterlib.parts.curves.one_port_fit import DECIBELS, FittedCurve, fit_one_port
from filterlib.parts.curves.touchstone import impedance_of, read_touchstone
from filterlib.parts.tables import data_folder, load_table
from filterlib.show.part_page.part import part_files, part_text
from filterlib.system.file.writing import save_design
from filterlib.words.review.review_sentences import trust
from tests import make_measured
from tests.designs import design, resistive

FOLDER = data_folder() / "parts" / "measured"
DEMO = {
    "film-470n.csv": (make_measured.film, {"kind": "measured_capacitor", "rated_voltage": "63 V"}),
    "choke-22u.csv": (
        make_measured.choke,
        {"kind": "measured_choke", "rated_current": "3 A", "dc_resistance": "35 mΩ"},
    ),
    "bead-1u5.s1p": (make_measured.bead, {"kind": "measured_choke", "rated_current": "5 A", "dc_resistance": "12 mΩ"}),
    "ceramic-1u0.s2p": (
        make_measured.ceramic,
        {"kind": "measured_capacitor", "rated_voltage": "50 V", "connection": "shunt_through"},
    ),
}
WIDE = np.geomspace(1.0, 1e10, 301)


def demo(name):
    return measured_part(FOLDER / name, **DEMO[name][1])


def one_element(part, **state):
    """The part between node a and the reference: as it is, and with its ladder."""
    circuit = part.add(Circuit(), "X", "a", "0", **state)
    return circuit, circuit.laddered()


@pytest.mark.parametrize("name", DEMO)
def test_the_script_makes_the_files_that_are_shipped(name):
    assert make_measured.files()[name] == (FOLDER / name).read_text(encoding="utf-8")
    assert "(invented)" in (FOLDER / name).read_text(encoding="utf-8").splitlines()[0]


def test_noise_is_not_fitted_with_further_sections():
    """A choke and its capacitance with 1 % of noise: what a further section takes from the noise is no gain."""
    f = np.geomspace(1e3, 1e8, 200)
    w, noise = 2j * np.pi * f, np.exp(np.random.default_rng(5).normal(0, 0.01, f.size))
    choke = 1 / (1 / (0.05 + w * 10e-6) + 1 / 3000.0 + w * 10e-12)
    found = fit_one_port(ImpedanceCurve(f, np.abs(choke) * noise), blocks=False, resistance=0.05)
    assert len(found.one_port.sections) <= 2


@pytest.mark.parametrize("name", DEMO)
def test_the_network_is_near_the_part_behind_the_measurement(name):
    """second method: the distributed networks that the files were made from; noise and pencil are in the files, not in them."""
    part, truth = demo(name), DEMO[name][0]
    f = np.geomspace(*part.measurement.band, 500)
    miss = DECIBELS * np.abs(np.log(np.abs(part.impedance(f) / truth(f))))
    assert miss.max() < 0.25
    assert np.sqrt(np.mean(miss**2)) < 0.1


@pytest.mark.parametrize("name", DEMO)
def test_the_error_that_is_stated_is_the_error(name):
    part = demo(name)
    curve = part.measurement.curve
    ratio = part.measurement.one_port.impedance(curve.frequencies) / curve.impedance
    size = 20 * np.log10(np.e) * np.abs(np.log(ratio) if curve.has_phase else np.log(np.abs(ratio)))  # hand
    assert part.measurement.largest_error == pytest.approx(size.max(), rel=1e-9, abs=0)
    assert part.measurement.rms_error == pytest.approx(np.sqrt(np.mean(size**2)), rel=1e-9, abs=0)
    assert part.measurement.worst_frequency == curve.frequencies[size.argmax()]
    assert f"{size.max():.2g} dB at most" in part.describe()["error of the network"]
    assert f"{size.max():.2g} dB" in part.caveat


@pytest.mark.parametrize("name", DEMO)
def test_both_faces_of_a_measured_part_agree(name):
    part = demo(name)
    kinds = {"bias": 10.0, "mounting_loop": 4e-9, "count": 3} if part.kind == "measured_capacitor" else {"current": 1.0}
    circuit, ladder = one_element(part, **kinds)
    exact = circuit.impedance(WIDE, "a")
    assert_allclose(exact, part.impedance(WIDE, **kinds), rtol=1e-9, atol=0)
    assert_allclose(ladder.impedance(WIDE, "a"), exact, rtol=1e-9, atol=0)
    assert np.all(exact.real > 0)
    assert np.all(one_element(part)[1].resistor("short", "a", "0", 0.1).poles().real <= 0)


def test_what_is_not_stated_changes_nothing_and_what_is_stated_does():
    f = np.array([1e4])
    part, choke = demo("film-470n.csv"), demo("choke-22u.csv")
    assert_allclose(part.impedance(f, bias=50.0, temperature=350.0), part.impedance(f), rtol=1e-12, atol=0)
    assert_allclose(choke.impedance(f, current=2.0), choke.impedance(f), rtol=1e-12, atol=0)
    assert "no bias changes it" in part.caveat
    assert "no direct current changes it" in choke.caveat
    halved = part.replace(bias_curve=[["0 V", 1.0], ["50 V", 0.5]])
    # hand: 10 kHz is far below resonance, so that twice the reactance is twice the impedance
    assert_allclose(halved.impedance(f, bias=50.0) / part.impedance(f), 2.0, rtol=2e-3, atol=0)
    assert "no bias" not in halved.caveat
    saturated = choke.replace(saturation_current="2 A", saturation_ratio=0.5)
    inductive = (saturated.impedance(f, current=2.0) / choke.impedance(f)).real
    assert_allclose(inductive, 0.5, rtol=2e-3, atol=0)  # hand
    assert saturated.inductance_at(2.0) == pytest.approx(choke.inductance / 2, rel=1e-12, abs=0)


@pytest.mark.parametrize(
    ("name", "field"),
    [("film-470n.csv", "capacitance"), ("ceramic-1u0.s2p", "capacitance"), ("choke-22u.csv", "inductance")],
)
def test_a_tolerance_reaches_both_faces_and_may_be_an_array(name, field):
    part = demo(name)
    nominal = getattr(part, field)
    several = part.replace(**{field: np.array([[nominal], [1.2 * nominal]])})
    circuit, ladder = one_element(several)
    z = circuit.impedance(WIDE, "a")
    assert_allclose(z[0], one_element(part)[0].impedance(WIDE, "a"), rtol=1e-9, atol=0)
    low = z[1, 60] / z[0, 60]  # 100 Hz; hand: a capacitor's reactance falls by 1.2, a choke's rises
    assert abs(low.imag) < 0.5
    assert np.abs(z[1, 100].imag / z[0, 100].imag) == pytest.approx(
        1.2 if field == "inductance" else 1 / 1.2, rel=5e-3, abs=0
    )
    assert_allclose(ladder.impedance(WIDE, "a"), z, rtol=1e-9, atol=0)
    assert part.replace(tolerance="5 %").tolerance == pytest.approx(0.05, rel=1e-12, abs=0)


def test_a_choke_that_rises_to_the_end_of_its_band_changes_as_a_whole(tmp_path):
    """hand: nothing but R and L, so that the reactance follows the inductance."""
    f = np.geomspace(1e4, 1e7, 30)
    rows = "".join(f"{at:.6g};{abs(0.02 + 2j * np.pi * at * 5e-6):.6g}\n" for at in f)
    (tmp_path / "x.csv").write_text("f [Hz];|Z| [ohm]\n" + rows)
    part = measured_part(tmp_path / "x.csv", kind="measured_choke", rated_current="3 A", dc_resistance="20 mΩ")
    assert part.inductance == pytest.approx(5e-6, rel=1e-3, abs=0)
    twice = part.replace(inductance=2 * part.inductance)
    for circuit in one_element(twice):
        assert_allclose(circuit.impedance([1e5], "a"), 0.02 + 2j * np.pi * 1e5 * 10e-6, rtol=1e-2, atol=0)
    port = OnePort(0.02, 5e-6, None, ())  # as a network may come out: no section at all
    plain = part.replace(measurement=replace(part.measurement, one_port=port), inductance=np.array([[5e-6], [10e-6]]))
    for circuit in one_element(plain):
        expected = 0.02 + 2j * np.pi * 1e5 * np.array([[5e-6], [10e-6]])
        assert_allclose(circuit.impedance([1e5], "a"), expected, rtol=1e-9, atol=0)


def test_a_copy_does_not_read_the_file_again(monkeypatch):
    part = demo("film-470n.csv")
    monkeypatch.setattr("filterlib.parts.curves.measured.read_impedance_curve", None)
    assert part.replace(rated_voltage="100 V").measurement is part.measurement


def test_sections_by_hand():
    """hand: each at its corner, where resistance and reactance are equal, or at its resonance, where R is left."""
    w = 2 * np.pi * 1e6
    for section, expected in (
        (Section(10.0, capacitance=1 / (w * 10)), 5 - 5j),
        (Section(10.0, 10 / w), 5 + 5j),
        (Section(10.0, 2 / w, 1 / (2 * w)), 10),
    ):
        port = OnePort(1.0, 3 / w, 1 / (7 * w), (section,))
        assert_allclose(port.impedance([1e6]), [expected + 1 + 3j - 7j], rtol=1e-12, atol=0)


def test_minimum_phase_by_hand_and_by_a_circuit():
    f = np.logspace(2, 9, 701)
    middle = slice(300, 401)
    low, high = minimum_phase(f, f**0.5, f[middle])  # hand: 90 degrees for each unit of slope
    assert np.all((low < 45) & (high > 45))
    assert np.all(high - low < 1.5)
    z = OnePort(1e-2, 1e-8, 1e-6, (Section(3.0, 1e-6), Section(0.2, 1e-9, 1e-8))).impedance(
        f
    )  # second method: elements
    low, high = minimum_phase(f, np.abs(z), f[middle])
    phase = np.degrees(np.angle(z[middle]))
    assert np.max(np.abs(phase - (low + high) / 2)) < 2


def test_fit_finds_the_elements_of_its_own_structure():
    """hand: the elements that the curve was made from."""
    port = OnePort(20e-3, 2e-9, 10e-6, (Section(0.5, capacitance=3e-6),))
    f = np.geomspace(1e3, 1e8, 80)
    found = fit_one_port(ImpedanceCurve(f, port.impedance(f)), blocks=True).one_port
    assert (found.resistance, found.inductance, found.capacitance) == pytest.approx(
        (20e-3, 2e-9, 10e-6), rel=0.01, abs=0
    )
    assert len(found.sections) == 1
    assert found.sections[0].resistance == pytest.approx(0.5, rel=0.03, abs=0)


def test_a_sharp_resonance_is_not_put_between_two_points():
    """Nothing is known there: 12 points a decade carry no resonance of a tenth of their spacing."""
    part = demo("film-470n.csv")
    for section in part.measurement.one_port.sections:
        if section.capacitance and np.isfinite(section.inductance):
            assert section.resistance * np.sqrt(section.capacitance / section.inductance) < 13


def test_a_choke_that_ends_capacitive_is_not_promised_to_rise_again():
    """Beyond the band a series inductance would say so; it is sought only where the curve itself rises at its end."""
    assert demo("choke-22u.csv").measurement.one_port.inductance == 0
    f = np.geomspace(1e4, 1e9, 120)
    port = OnePort(0.03, 20e-9, None, (Section(2e3, 10e-6, 10e-12),))  # hand: 20 nH are 126 ohm at 1 GHz, 10 pF 16 ohm
    found = fit_one_port(ImpedanceCurve(f, np.abs(port.impedance(f))), blocks=False, resistance=0.03)
    assert found.largest_error < 0.1
    assert found.one_port.impedance([1e9])[0].imag == pytest.approx(2 * np.pi * 20 - 15.9, rel=0.02, abs=0)


def test_a_part_of_a_table_is_shown_with_its_curve_and_error(beside):
    (beside / "drawer.toml").write_text(TABLE, encoding="utf-8")
    part = load_table(beside / "drawer.toml")["brown film"]
    files = part_files(examine(part))
    assert "network" in files["part-measured.svg"]
    measured = json.loads(files["part.json"])["measured"]
    truth = part.measurement
    assert measured["largest_error_dB"] == pytest.approx(truth.largest_error, rel=1e-6, abs=0)
    assert max(measured["error_dB"]) == pytest.approx(truth.largest_error, rel=1e-6, abs=0)
    assert len(measured["frequency_Hz"]) == len(measured["magnitude_ohm"]) == len(truth.curve.frequencies)
    assert measured["phase_deg"] is None
    assert f"within {truth.largest_error:.2g} dB" in part_text(examine(part))
    ordinary = part_files(examine(load_table(data_folder() / "parts" / "film.toml")["film-1u0-63V"]))
    assert "part-measured.svg" not in ordinary
    assert json.loads(ordinary["part.json"])["measured"] is None


# ---- Touchstone -------------------------------------------------------------------------------------------------------


def spelled(network, form, unit, tmp_path, name):
    """scikit-rf writes the network in another spelling."""
    text = io.StringIO()
    text.name = name
    network.frequency.unit = unit
    network.write_touchstone(name, dir=str(tmp_path), form=form, skrf_comment=False)
    return tmp_path / name


@pytest.mark.parametrize("form", ["ri", "ma", "db"])
@pytest.mark.parametrize("unit", ["Hz", "GHz"])
def test_touchstone_is_read_as_scikit_rf_reads_it_whatever_its_spelling(form, unit, tmp_path):
    """second method: scikit-rf's own reader, and its conversions of S to Z."""
    for name in ("bead-1u5.s1p", "ceramic-1u0.s2p"):
        network = skrf.Network(str(FOLDER / name))
        data = read_touchstone(spelled(network, form, unit, tmp_path, name))
        assert_allclose(data.frequencies, network.f, rtol=1e-9, atol=0)
        assert_allclose(data.s, network.s, rtol=1e-6, atol=1e-12)
        assert_allclose(data.reference, 50.0, rtol=1e-12, atol=0)


def test_one_port_against_scikit_rf():
    network = skrf.Network(str(FOLDER / "bead-1u5.s1p"))  # second method
    assert_allclose(
        impedance_of(read_touchstone(FOLDER / "bead-1u5.s1p"), None).impedance, network.z[:, 0, 0], rtol=1e-9, atol=0
    )


@pytest.mark.parametrize("connection", ["series_through", "shunt_through"])
@pytest.mark.parametrize("z0", [50.0, 75.0])
def test_two_terminal_extraction_against_scikit_rf(connection, z0, tmp_path):
    """second method: scikit-rf's media put the impedance between two ports, in series or across."""
    frequency = skrf.Frequency.from_f(np.geomspace(1e5, 1e8, 61), unit="Hz")
    z = OnePort(0.3, 20e-9, 1e-8, (Section(5.0, 1e-7),)).impedance(frequency.f)
    media = skrf.media.DefinedGammaZ0(frequency, z0=z0, z0_port=z0)
    part = media.resistor(1.0)
    part.s = skrf.network.a2s(
        np.array([[[1, one], [0, 1]] if connection == "series_through" else [[1, 0], [1 / one, 1]] for one in z]), z0
    )
    part.write_touchstone("part.s2p", dir=str(tmp_path), form="ri")
    data = read_touchstone(tmp_path / "part.s2p")
    assert_allclose(impedance_of(data, connection).impedance, z, rtol=1e-6, atol=0)
    other = "shunt_through" if connection == "series_through" else "series_through"
    with pytest.raises(InputError, match=f"are those of a {connection.replace('_', '-')} measurement"):
        impedance_of(data, other)


def test_options_in_any_order_defaults_and_impedance_parameters(tmp_path):
    """published: Touchstone File Format Specification, version 1.1 (from memory): GHz, S, MA and 50 ohm where nothing is said."""
    f = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2)
    plain = "\n".join(f"{one} 0.5 -30" for one in f)
    rows = {
        "plain": f"#\n{plain}\n",
        "order": f"# R 50 MA S GHz ! comment\n! another\n{plain} ! behind\n",
        "impedance": "# GHz Z RI R 50\n"
        + "\n".join(f"{one} {z.real} {z.imag}" for one in f for z in [_impedance()])
        + "\n",
    }
    for name, text in rows.items():
        path = tmp_path / f"{name}.s1p"
        path.write_text(text)
        found = impedance_of(read_touchstone(path), None)
        assert_allclose(found.frequencies, np.array(f) * 1e9, rtol=1e-12, atol=0)
        assert_allclose(found.impedance, _impedance() * 50, rtol=1e-9, atol=0)


def _impedance():
    """Normalised to the reference, as version 1 of the format has it; hand: (1 + S)/(1 - S)."""
    s = 0.5 * np.exp(-1j * np.pi / 6)
    return (1 + s) / (1 - s)


def test_noise_parameters_and_direct_current_are_left_out(tmp_path):
    text = (FOLDER / "ceramic-1u0.s2p").read_text()
    path = tmp_path / "noisy.s2p"
    lines = text.splitlines()
    path.write_text(
        "\n".join([*lines[:2], "0 -1 0 0 0 0 0 -1 0", *lines[2:], "! noise", "1 2 0.5 10 0.3", "2 2 0.5 20 0.3"]) + "\n"
    )
    data = read_touchstone(path)
    plain = read_touchstone(FOLDER / "ceramic-1u0.s2p")
    assert_allclose(data.s, plain.s, rtol=1e-12, atol=0)
    assert_allclose(data.lines, plain.lines + 1, rtol=0, atol=0)


def test_comments_that_other_programs_read_change_nothing(tmp_path):
    path = tmp_path / "x.s1p"
    lines = (FOLDER / "bead-1u5.s1p").read_text().splitlines()
    path.write_text("\n".join([lines[0], "! Port Impedance 75 0", lines[1], "! Gamma 1 2", *lines[2:]]) + "\n")
    assert_allclose(read_touchstone(path).s, read_touchstone(FOLDER / "bead-1u5.s1p").s, rtol=1e-12, atol=0)


def test_the_curve_itself_is_given_inside_its_band_and_refused_outside():
    for name in ("bead-1u5.s1p", "film-470n.csv"):
        curve = demo(name).measurement.curve
        middle = np.sqrt(curve.frequencies[5] * curve.frequencies[6])
        assert_allclose(curve.at(curve.frequencies), curve.impedance, rtol=1e-9, atol=0)
        assert_allclose(
            np.abs(curve.at(middle)), np.sqrt(curve.magnitude[5] * curve.magnitude[6]), rtol=1e-9, atol=0
        )  # hand
        for outside in (curve.frequencies[0] * 0.99, curve.frequencies[-1] * 1.01):
            with pytest.raises(QuantityError, match="outside the band that was measured"):
                curve.at([middle, outside])


def test_a_two_port_between_its_reference_resistances_passes_what_was_measured():
    """hand: S21 is twice the voltage at a matched load over that of the source."""
    found = measured_two_port(FOLDER / "ceramic-1u0.s2p")
    network = skrf.Network(str(FOLDER / "ceramic-1u0.s2p"))
    assert_allclose(found(network.f), network.z, rtol=1e-6, atol=0)  # second method
    circuit = Circuit().voltage_source("V", "s", "0").resistor("Rs", "s", "a", 50.0).resistor("Rl", "b", "0", 50.0)
    found.add(circuit, "X", ("a", "0"), ("b", "0"))
    assert_allclose(2 * circuit.transfer(network.f, "V", "b"), network.s[:, 1, 0], rtol=1e-6, atol=0)
    with pytest.raises(QuantityError, match="outside the band"):
        circuit.transfer([50.0], "V", "b")


def test_a_two_port_of_one_part_in_series_has_no_impedance_matrix(tmp_path):
    rows = "\n".join(f"{f} 0.5 0 0.5 0 0.5 0 0.5 0" for f in (1, 2, 5, 10, 20, 50, 100, 200))
    (tmp_path / "x.s2p").write_text(f"# MHz S RI R 50\n{rows}\n")
    with pytest.raises(InputError, match=r"line 2: no impedance matrix at 1 MHz.*series_through"):
        measured_two_port(tmp_path / "x.s2p")
    with pytest.raises(InputError, match="a two-port"):
        measured_two_port(FOLDER / "bead-1u5.s1p")


# ---- in design files and tables ---------------------------------------------------------------------------------------

DESIGN = """name = "Quay"
[converter]
name = "Tarn (invented)"
output_voltage = "28 V"
switching_frequency = "180 kHz"
ripple = { peak_to_peak = "200 mV" }
[[filter]]
kind = "capacitor"
part = { kind = "measured_capacitor", file = "measured/film-470n.csv", rated_voltage = "63 V", tolerance = "10 %" }
[[filter]]
kind = "differential_choke"
part = { file = "measured/choke-22u.csv", rated_current = "3 A", dc_resistance = "35 mΩ" }
[[load]]
name = "modem"
kind = "resistive"
resistance = "14 ohm"
[load.input_capacitor.part]
kind = "measured_capacitor"
file = "measured/ceramic-1u0.s2p"
connection = "shunt_through"
rated_voltage = "50 V"
"""
TABLE = """title = "drawer"
source = "measured"
[[part]]
name = "brown film"
kind = "measured_capacitor"
file = "measured/film-470n.csv"
rated_voltage = "63 V"
"""


@pytest.fixture
def beside(tmp_path):
    (tmp_path / "measured").mkdir()
    for name in DEMO:
        (tmp_path / "measured" / name).write_bytes((FOLDER / name).read_bytes())
    return tmp_path


def test_a_design_names_measured_parts_beside_it(beside):
    (beside / "design.toml").write_text(DESIGN, encoding="utf-8")
    found = load_design(beside / "design.toml")
    assert [stage.part.kind for stage in found.filter] == ["measured_capacitor", "measured_choke"]
    assert found.filter[0].part.tolerance == pytest.approx(0.1, rel=1e-12, abs=0)
    result = review(found)
    said = [one for one in trust(result) if "as measured in" in one]
    assert [one.split(" is ")[0] for one in said] == ["C1", "L1", "input of modem"]
    assert "film-470n.csv, 2 kHz to 50 MHz" in said[0]


def test_a_design_with_measured_parts_is_written_and_read_again(beside, tmp_path_factory):
    (beside / "design.toml").write_text(DESIGN, encoding="utf-8")
    found = load_design(beside / "design.toml")
    copy = tmp_path_factory.mktemp("elsewhere") / "copy.toml"
    save_design(found, copy)
    again = load_design(copy)
    assert [s.part.measurement for s in again.filter] == [s.part.measurement for s in found.filter]
    assert again.filter[0].part.tolerance == found.filter[0].part.tolerance
    changed = found.replace(filter=(found.filter[0].replace(part=found.filter[0].part.replace(capacitance="1 µF")),))
    with pytest.raises(FilterlibError, match=r"capacitance: a measured part that was changed away from"):
        save_design(changed, copy)


def test_a_table_holds_measured_parts_beside_it(beside):
    (beside / "drawer.toml").write_text(TABLE, encoding="utf-8")
    part = load_table(beside / "drawer.toml")["brown film"]
    assert part.capacitance == pytest.approx(0.47e-6, rel=0.02, abs=0)  # hand: what the script made it from
    (beside / "measured" / "film-470n.csv").write_text("f [Hz];Z [ohm]\n1;x\n")
    with pytest.raises(InputError, match=r"film-470n.csv: line 2"):
        load_table(beside / "drawer.toml")


def test_a_measured_choke_filters_as_the_choke_behind_it():
    """second method: the network that the file was made from, in the same circuit."""
    part = demo("choke-22u.csv")
    stage = {"kind": "differential_choke", "part": part}
    circuit = design(stage, load=resistive(), source=None).circuit()
    f = np.geomspace(1e4, 3e7, 50)
    truth = make_measured.choke(f)
    direct = circuit.transfer(f, "ripple", "load_plus")
    other = Circuit()
    for element in circuit.elements:
        if element.name == "L1":
            other.immittance("L1", *element.nodes, lambda x: make_measured.choke(np.maximum(x, 1.0)))
        else:
            other._put(element)
    assert truth.shape == f.shape
    assert np.max(np.abs(direct / other.transfer(f, "ripple", "load_plus") - 1)) < 0.05


def test_separator_decimal_sign_units_and_extra_columns_do_not_matter(tmp_path):
    rows = [(f, 160e3 / f, -89.0) for f in (1e3, 2e3, 5e3, 1e4, 2e4, 5e4, 1e5, 2e5, 1e6)]
    spellings = {
        "plain": "frequency [Hz];|Z| [ohm]\n" + "".join(f"{f};{z}\n" for f, z, _ in rows),
        "units below": "Frequency,Impedance\nkHz,mohm\n" + "".join(f"{f / 1e3},{z * 1e3}\n" for f, z, _ in rows),
        "slash": "f/kHz\tZ/Ω\tESR/Ω\n" + "".join(f"{f / 1e3}\t{z}\t1\n".replace(".", ",") for f, z, _ in rows),
        "swapped": "n;impedance in kohm;frequency in MHz\n" + "".join(f"1;{z / 1e3};{f / 1e6}\n" for f, z, _ in rows),
    }
    for name, text in spellings.items():
        path = tmp_path / f"{name}.csv"
        path.write_text(text, encoding="utf-8")
        curve = read_impedance_curve(path)
        assert not curve.has_phase
        assert_allclose(curve.frequencies, [f for f, _, _ in rows], rtol=1e-12, atol=0)
        assert_allclose(curve.impedance, [z for _, z, _ in rows], rtol=1e-12, atol=0)
    for unit, scale in (("deg", 1.0), ("°", 1.0), ("rad", np.pi / 180)):
        path.write_text(f"f [Hz];Z [ohm];phase [{unit}]\n" + "".join(f"{f};{z};{p * scale}\n" for f, z, p in rows))
        assert_allclose(np.angle(read_impedance_curve(path).impedance, deg=True), -89.0, rtol=1e-9, atol=0)


# ---- what a file leaves open ------------------------------------------------------------------------------------------


def test_the_worst_error_of_the_resistance_is_stated_beside_that_of_the_magnitude():
    """A resistance small against the reactance may be off by far more than |Z|: hand, a curve of 2 ohm kept as 1 ohm."""
    f = np.geomspace(1e4, 1e6, 60)
    port = OnePort(1.0, 10e-6, None)
    curve = ImpedanceCurve(f, 2.0 + 2j * np.pi * f * 10e-6)
    fitted = FittedCurve(port, 0.0, 0.0, f[0], curve)
    error, at = fitted.resistance_error
    assert error == pytest.approx(20 * np.log10(2), rel=1e-9, abs=0)
    assert f[0] <= at <= f[-1]
    digitised = demo("film-470n.csv")
    assert np.isnan(digitised.measurement.resistance_error[0])
    assert "the file holds no phase" in part_text(examine(digitised))


def two_port(tmp_path, z, z0=50.0):
    """Scattering of a part in series between two ports: published, D. M. Pozar, Microwave Engineering, table 4.1 (from memory)."""
    f = np.geomspace(1e5, 1e8, 61)
    z = np.broadcast_to(z(f), f.shape)
    s11, s21 = z / (z + 2 * z0), 2 * z0 / (z + 2 * z0)
    rows = [
        f"{a} {b.real} {b.imag} {c.real} {c.imag} {c.real} {c.imag} {b.real} {b.imag}"
        for a, b, c in zip(f, s11, s21, strict=True)
    ]
    (tmp_path / "part.s2p").write_text("\n".join(["# Hz S RI R 50", *rows]))
    return read_touchstone(tmp_path / "part.s2p")


def test_a_two_port_that_may_be_of_either_connection_says_so(tmp_path):
    plain = impedance_of(two_port(tmp_path, lambda f: 30 + 2j * np.pi * f * 1e-6), "series_through")
    assert plain.note == ""
    hardly_seen = impedance_of(two_port(tmp_path, lambda f: 0.05 + 2j * np.pi * f * 1e-12), "series_through")
    assert "shunt-through measurement nearly as well" in hardly_seen.note
