"""A design file written from a design is the same design again, and reads as on paper."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from filterlib import load_design
from filterlib.errors import FilterlibError, InputError, OutputError
from filterlib.parts.tables import data_folder
from filterlib.system.design import with_values
from filterlib.system.file.writing import design_toml, save_design
from filterlib.system.ranges.changes import changed, value, with_clip

DESIGNS = sorted((data_folder() / "designs").glob("*.toml"))
CLEAN = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")


def again(design, folder):
    save_design(design, folder / "saved.toml")
    return load_design(folder / "saved.toml")


@pytest.mark.parametrize("path", [p for p in DESIGNS if "recorded" not in p.stem], ids=lambda path: path.stem)
def test_what_was_read_is_written_back(path, tmp_path):
    design = load_design(path)
    assert again(design, tmp_path) == design


EVERYTHING = """
format = 1
name = 'Quotes " and \\ and ü, µ'
note = "two\\nlines"
insulation = "1 MΩ"
[converter]
name = "Skerry (invented)"
output_voltage = "28 V"
switching_frequency = "180 kHz"
isolated = true
duty = 0.3
edge_time = { low = "8 ns", high = "20 ns" }
efficiency = "86 % ± 3 %"
burst_below = "7.5 %"
synchronous = true
[converter.ripple]
peak_to_peak = "110 mV"
bandwidth = "full"
capacitors = [{ capacitance = "10 µF" }, { capacitance = "1 µF", esr = "5 mΩ" }]
[converter.common_mode]
swing = "28 V ± 20 %"
[converter.burst]
pulses = 3
period = "100 µs"
[converter.rating]
output_current = "4.2 A"
derating = [["50 °C", 1.0], ["70 °C", 0.5], ["85 °C", 0]]
[converter.supply]
earthed_pole = "positive"
[converter.bond]
capacitance = "10 nF"
[[filter]]
kind = "damping"
resistance = "0.47 ohm"
part = "polymer-47u-35V"
[[filter]]
kind = "capacitor_to_chassis"
part = { kind = "film", capacitance = "4.7 nF", rated_voltage = "1 kV", loss_angle = 0.01, esl = "8 nH", safety_class = "Y2" }
imbalance = 0.1
[[filter]]
kind = "differential_choke"
part = "dm-10u-6A"
line = "both"
[[filter]]
kind = "wire"
part = { length = "1.2 m", awg = "18 AWG", spacing = "3 mm" }
[[filter]]
kind = "capacitor"
name = "C9"
part = "film-1u0-63V"
count = 3
[[load]]
name = "pump station"
kind = "resistive"
resistance = "14.3 ohm"
ripple = { peak_to_peak = "0.2 A", frequency = "95 kHz" }
[[operating_point]]
name = "cold"
load = "50 %"
loads = { "pump station" = "30 %" }
temperature = "-17.3 °C"
[[requirement]]
kind = "ripple"
load = "pump station"
limit = "15 mV"
above = "150 kHz"
bandwidth = "30 MHz"
order = 2
[[requirement]]
kind = "step"
load = "pump station"
limit = "1 V"
current = "0.1 A"
[[coupling]]
first = "D1"
second = "C9"
mutual = "0.2 nH"
[[accepted]]
part = "L1"
rating = "temperature rise"
reason = "two minutes an hour"
"""


@pytest.fixture
def everything(tmp_path):
    path = tmp_path / "everything.toml"
    path.write_text(EVERYTHING, encoding="utf-8")
    return load_design(path)


def test_every_kind_of_entry_is_written_back(everything, tmp_path):
    assert again(everything, tmp_path) == everything
    assert again(everything, tmp_path).model_fields_set == everything.model_fields_set


def test_defaults_stay_defaults(everything):
    text = design_toml(everything)
    assert "output_esr" not in text
    assert "mounting_loop" not in text


def test_values_read_as_on_paper(everything):
    text = design_toml(everything)
    for line in (
        'insulation = "1 MΩ"', 'bandwidth = "full"', 'temperature = "-17.3 °C"', 'part = "dm-10u-6A"',
        'swing = "28 V ± 20 %"', 'edge_time = { value =', 'loads = { "pump station" = 0.3 }',
    ):  # fmt: skip
        assert line in text, line


@given(
    capacitance=st.floats(1e-7, 1e-3), esr=st.floats(1e-4, 1.0), length=st.floats(0.05, 50), kelvin=st.floats(230, 400)
)
def test_any_number_comes_back_to_the_last_bit(tmp_path_factory, capacitance, esr, length, kelvin):
    design = changed(
        CLEAN,
        {"filter.C1.capacitance": capacitance, "converter.output_esr": esr, "load.modem.length": length,
         "point.listening.temperature": kelvin},
    )  # fmt: skip
    assert again(design, tmp_path_factory.mktemp("saved")) == design


def test_a_changed_part_says_so_and_is_written_out():
    text = design_toml(changed(CLEAN, {"filter.C1.capacitance": "3.3 µF"}))
    assert 'name = "class2-2u2-50V-1206, changed"' in text
    assert text.count("class2-2u2-50V-1206") == 2


def test_a_clip_that_is_on_is_written_too(tmp_path):
    """hand: it was left out, and the design that came back was another one."""
    design = with_clip(load_design(data_folder() / "designs" / "tide-gauge-brick.toml"), "modem")
    assert '[clip]\nplace = "modem"' in design_toml(design)
    assert again(design, tmp_path) == design


def test_several_designs_are_no_file():
    many = with_values(CLEAN, {"filter.C1.capacitance": np.array([[1e-6], [2e-6]])})
    with pytest.raises(FilterlibError, match="2 designs"):
        design_toml(many)


def test_a_recorded_converter_is_not_written():
    with pytest.raises(FilterlibError, match="change a copy of the design file"):
        design_toml(load_design(data_folder() / "designs" / "tide-gauge-clean-recorded.toml"))


def test_what_cannot_be_written_is_said(tmp_path):
    with pytest.raises(OutputError, match="cannot be written"):
        save_design(CLEAN, tmp_path / "no" / "folder.toml")


# ---- changes ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "given", "si"),
    [
        ("converter.output_voltage", "27 V", 27.0),
        ("converter.ripple.peak_to_peak", 0.2, 0.2),
        ("converter.duty", 0.4, 0.4),
        ("filter.C1.esr", "5 mΩ", 5e-3),
        ("filter.C2.mounting_loop", 6e-9, 6e-9),
        ("filter.L1.leakage", "8 µH", 8e-6),
        ("load.modem.power", 60, 60.0),
        ("load.modem.length", "2 m", 2.0),
        ("load.modem.capacitance", "100 µF", 1e-4),
        ("point.transmitting.temperature", "40 °C", 313.15),
    ],
)
def test_one_value_is_changed_by_its_key_and_nothing_else(key, given, si):
    new = changed(CLEAN, {key: given})
    assert value(new, key) == pytest.approx(si, rel=1e-12, abs=0)
    assert value(CLEAN, key) != value(new, key)
    others = {"converter.output_voltage", "filter.C1.esr", "load.modem.power", "filter.C2.mounting_loop"} - {key}
    assert all(value(CLEAN, other) == value(new, other) for other in others)


def test_a_range_moves_with_its_value():
    """hand: 6 mohm with 40 % either way, at 12 mohm: 7.2 to 16.8 mohm."""
    esr = changed(CLEAN, {"converter.output_esr": 12e-3}).converter.output_esr
    assert (esr.low, esr.high) == pytest.approx((7.2e-3, 16.8e-3), rel=1e-12, abs=0)
    assert changed(CLEAN, {"converter.output_esr": 6e-3}) == CLEAN


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("filter.C3.esr", "nothing is called"),
        ("filter.C1.esrr", 'did you mean "esr"'),
        ("filtre.C1.esr", "leads to no value"),
        ("load.modem", "leads to no value"),
    ],
)
def test_a_key_that_leads_nowhere_is_refused(key, words):
    with pytest.raises(FilterlibError, match=words):
        changed(CLEAN, {key: 1.0})
    with pytest.raises(FilterlibError, match=words):
        value(CLEAN, key)


def test_a_value_that_cannot_be_is_refused():
    with pytest.raises(InputError, match="capacitance"):
        changed(CLEAN, {"filter.C1.capacitance": -1e-6})


@pytest.mark.parametrize(("part", "microhenries"), [("cm-1m0-5A", 11), ("cm-2m2-5A", 26)])
def test_leakage_of_the_loop_however_it_is_stated(part, microhenries):
    """hand: 11 uH stated of the loop; 13 uH stated per winding make 26 uH of the loop: the factor of two."""
    from filterlib import standard_tables

    choke = next(table[part] for table in standard_tables() if part in table)
    one = changed(CLEAN, {"filter.L1.part": choke})
    assert value(one, "filter.L1.loop_leakage") == pytest.approx(microhenries * 1e-6, rel=1e-12, abs=0)
    other = changed(one, {"filter.L1.loop_leakage": "20 µH"})
    assert value(other, "filter.L1.loop_leakage") == pytest.approx(20e-6, rel=1e-12, abs=0)
    assert other.filter[1].part.name == f"{part}, changed"


EMISSIONS = """
[input_side]
capacitance = { low = "10 µF", value = "22 µF", high = "47 µF" }
ripple_current = "1.2 A"
[[emission]]
side = "input"
network = "5uH"
limits = ["dc-telecom-network", "own.toml"]
[[requirement]]
kind = "emission"
side = "output"
limit = "own.toml"
margin = "6 dB"
"""
OWN = """
title = "Harbour board (invented)"
source = "invented"
[[piece]]
detector = "average"
frequencies = ["150 kHz", "30 MHz"]
levels = [60, 50]
"""


def test_emissions_are_written_back(tmp_path):
    """hand: what the file asks for; a limit of one's own by the whole path of its file."""
    whole = (data_folder() / "designs" / "tide-gauge-clean.toml").read_text(encoding="utf-8").split("[[emission]]")[0]
    path = tmp_path / "design.toml"
    path.write_text(whole + EMISSIONS, encoding="utf-8")
    (tmp_path / "own.toml").write_text(OWN, encoding="utf-8")
    design = load_design(path)
    assert [limit.name for limit in design.emissions[0].limits] == ["dc-telecom-network", "own"]
    assert (design.emissions[0].at, design.requirements[-1].at) == ("5uH", "50uH")
    assert (design.requirements[-1].margin, design.input_side.capacitance.high) == (6.0, 47e-6)
    assert design.replace(name=design.name) == design
    (tmp_path / "elsewhere").mkdir()
    assert again(design, tmp_path / "elsewhere") == design
