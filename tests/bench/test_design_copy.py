"""A design file with what moved put into its own text: comments, names and units stay, and the design is the changed one."""

from __future__ import annotations

import difflib
import shutil

from filterlib import changed, load_design
from filterlib.bench.design_copy import changed_text
from filterlib.parts.tables import data_folder
from filterlib.system.file.writing import design_toml
from filterlib.system.line.stages import ChassisCapacitor

DESIGNS = data_folder() / "designs"
CLEAN = DESIGNS / "tide-gauge-clean.toml"
OWN = """
# the gauge in the old harbour
format = 1
name = "Old harbour"
tables = ["own.toml"]
insulation = "1 MΩ"     # measured with damp boards

[[load]]                # loads first: nobody asks for an order
name = "modem"
kind = "constant_current"
current = "0.6 A"

[converter]
name = "Old brick (invented)"
output_voltage = "28 V"
switching_frequency = "0.18 MHz"
ripple = { peak_to_peak = "110 mV" }   # scope, 20 MHz

[[filter]]
kind = "capacitor"
name = "C1"             # soldered
part = "C-own"
"""
TABLE = """
[[part]]
name = "C-own"
kind = "film"
capacitance = "1 µF"
rated_voltage = "63 V"
loss_angle = 0.005
esl = "9 nH"
"""


def again(text, folder):
    (folder / "copy.toml").write_text(text, encoding="utf-8")
    return load_design(folder / "copy.toml")


def lines_changed(file, text):
    was = file.read_text(encoding="utf-8").splitlines()
    return [line for line in difflib.ndiff(was, text.splitlines()) if line[0] in "+-" and line[2:].strip()]


def test_nothing_moved_nothing_written():
    assert changed_text(CLEAN, load_design(CLEAN)) == CLEAN.read_text(encoding="utf-8")


def test_only_what_moved_is_another_line(tmp_path):
    design = changed(
        load_design(CLEAN),
        {"converter.output_esr": 7e-3, "load.modem.length": "1 m", "point.listening.temperature": "-20 °C"},
    )
    text = changed_text(CLEAN, design)
    assert again(text, tmp_path) == design
    assert [line for line in lines_changed(CLEAN, text) if line[0] == "+"] == [
        '+ output_esr = "7 mΩ ± 40 %"',
        '+ lead = { length = "1 m", cross_section = "0.75 mm2", spacing = "3 mm" }',
        '+ temperature = "-20 °C"',
    ]
    assert 'service_life = "87600 h"               # ten years' in text


def test_a_changed_part_stands_below_its_stage_with_units(tmp_path):
    design = changed(load_design(CLEAN), {"filter.C1.capacitance": "3.3 µF"})
    text = changed_text(CLEAN, design)
    assert again(text, tmp_path) == design
    assert '[filter.part]\nname = "class2-2u2-50V-1206, changed"' in text
    assert 'temperature_curve = [["-55 °C", 0.88], ["-20 °C", 0.95]' in text


def test_another_converter_brings_no_comment_of_the_old_one(tmp_path):
    brick = load_design(DESIGNS / "tide-gauge-brick.toml")
    design = load_design(CLEAN).replace(converter=brick.converter, loads=brick.loads)
    text = changed_text(CLEAN, design)
    assert again(text, tmp_path).converter == brick.converter
    assert "step-down stage" not in text
    assert "# A tide gauge on a harbour wall" in text


def test_a_stage_more_goes_between_those_that_stay(tmp_path):
    design = load_design(DESIGNS / "tide-gauge-brick.toml")
    part = design.filter[0].part
    stage = ChassisCapacitor(kind="capacitor_to_chassis", name="Y", part=part)
    more = design.replace(filter=(design.filter[0], stage, *design.filter[1:]))
    text = changed_text(DESIGNS / "tide-gauge-brick.toml", more)
    assert again(text, tmp_path) == more
    assert text.splitlines()[0].startswith("#")


def test_ones_own_tables_and_comments_stay_and_are_found_from_elsewhere(tmp_path):
    (tmp_path / "own.toml").write_text(TABLE)
    file = tmp_path / "old.toml"
    file.write_text(OWN)
    design = changed(load_design(file), {"converter.ripple.peak_to_peak": "90 mV"})
    text = changed_text(file, design)
    (tmp_path / "elsewhere").mkdir()
    assert again(text, tmp_path / "elsewhere").converter == design.converter
    for kept in ("# damp boards"[2:], "# soldered", "# scope, 20 MHz", '"0.18 MHz"', 'part = "C-own"'):
        assert kept in text


def test_a_recorded_converter_keeps_its_recording(tmp_path):
    shutil.copytree(data_folder() / "recordings", tmp_path / "recordings")
    file = DESIGNS / "tide-gauge-clean-recorded.toml"
    design = changed(load_design(file), {"load.modem.length": "1 m"})
    read = again(changed_text(file, design), tmp_path)
    assert read.loads == design.loads
    assert read.converter.ripple.recording is not None


def test_long_times_are_hours():
    assert 'service_life = "87600 h"' in design_toml(load_design(CLEAN))
