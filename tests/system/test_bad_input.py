"""Each class of error in each place of a design file: refused, with file, key, value and what would be right; all at once."""

import copy
import os
import subprocess
import sys
import tomllib

import pytest

from filterlib import InputError, load_design

COMPLETE = """
format = 1
name = "complete"
note = "every key that a design file knows, in places that take a quantity"

[converter]
name = "Tarn (invented)"
input_voltage = "24 V"
output_voltage = "28 V"
switching_frequency = "180 kHz"
shape = "triangle"
duty = "50 %"
edge_time = "20 ns"
output_capacitance = "22 µF ± 20 %"
output_esr = "6 mΩ"
output_esl = "3 nH"
lead_inductance = "20 nH"
output_resistance = "15 mΩ"
loop_bandwidth = "9 kHz"

[converter.ripple]
peak_to_peak = "600 mV"
bandwidth = "20 MHz"
order = 2
lead_inductance = "50 nH"
load_current = "4 A"
capacitors = [{ capacitance = "1 µF", esr = "20 mΩ", esl = "5 nH" }]

[converter.spike]
peak_to_peak = "1.4 V"
ring_frequency = "50 MHz"
ring_cycles = 2

[converter.common_mode]
swing = "28 V"
coupling = "30 pF"
rise_time = "20 ns"
fall_time = "30 ns"
ring = { frequency = "60 MHz", cycles = 2, overshoot = "20 %" }

[converter.supply]
inductance = "1 µH"
resistance = "10 mΩ"
bond = { inductance = "20 nH" }

[converter.bond]
inductance = "20 nH"
resistance = "5 mΩ"

[[filter]]
kind = "capacitor"
name = "C1"
part = { kind = "film", capacitance = "1 µF", rated_voltage = "100 V", loss_angle = 0.005, esl = "5 nH" }
count = 1
mounting_loop = "4 nH"

[[filter]]
kind = "common_mode_choke"
part = "cm-1m0-5A"

[[filter]]
kind = "differential_choke"
line = "plus"
part = { kind = "differential_choke", inductance = "10 µH", dc_resistance = "10 mΩ", saturation_current = "20 A", winding_capacitance = "10 pF", rated_current = "6 A", parallel_resistance = "3 kΩ" }

[[filter]]
kind = "damping"
resistance = "1 ohm"
part = "aluminium-47u-63V"

[[filter]]
kind = "capacitor_to_chassis"
part = "class2-4n7-Y2-2211"
imbalance = "10 %"
bond = { inductance = "40 nH" }

[[filter]]
kind = "wire"
part = { length = "0.5 m", cross_section = "0.75 mm2", spacing = "3 mm" }

[[filter]]
kind = "capacitor"
name = "C2"
part = "class2-2u2-50V-1206"

[[load]]
name = "modem"
kind = "constant_power"
power = "84 W"
loop_bandwidth = "15 kHz"
input_capacitor = { part = "aluminium-47u-63V" }
lead = { length = "0.4 m", cross_section = "0.75 mm2", spacing = "3 mm" }
bond = { inductance = "150 nH" }
ripple = { peak_to_peak = "20 mA", frequency = "400 kHz" }

[[load]]
name = "logger"
kind = "constant_current"
current = "0.5 A"

stray_capacitance = "50 pF"

[clip]
place = "modem"
lead_inductance = "150 nH"
earth_inductance = "2 µH"
earth_resistance = "0.2 ohm"

[[operating_point]]
name = "transmitting"
load = "100 %"
temperature = "20 °C"

[[operating_point]]
name = "listening"
loads = { modem = "15 %" }

[[requirement]]
kind = "ripple"
load = "modem"
limit = "15 mV"
bandwidth = "20 MHz"

[[requirement]]
kind = "voltage"
load = "logger"
low = "26 V"
high = "30 V"

[[requirement]]
kind = "emission"
side = "output"
limit = "mains-class-b"
margin = "6 dB"

[input_side]
ripple_current = "1 A"
capacitance = "22 µF"
esr = "10 mΩ"
esl = "5 nH"
lead_inductance = "0.5 µH"

[[emission]]
side = "input"
limits = ["dc-telecom-network", "mains-class-a"]
network = "5uH"

[[coupling]]
first = "C1"
second = "C2"
mutual = "0.3 nH"
"""
TREE = tomllib.loads(COMPLETE)


def places(tree, path=()):
    """Every key of the file, as a path."""
    items = tree.items() if isinstance(tree, dict) else enumerate(tree)
    for key, value in items:
        yield (*path, key)
        if isinstance(value, dict | list):
            yield from places(value, (*path, key))


def get(tree, path):
    for step in path:
        tree = tree[step]
    return tree


def changed(path, value):
    tree = copy.deepcopy(TREE)
    get(tree, path[:-1])[path[-1]] = value
    return tree


def written(value):
    """TOML text of a value; enough for what stands here."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f'"{key}" = {written(inner)}' for key, inner in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(written(inner) for inner in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return repr(value)


def refused(tree, tmp_path):
    """The problems with a design; fails where it is taken."""
    path = tmp_path / "design.toml"
    path.write_text("\n".join(f"{key} = {written(value)}" for key, value in tree.items()), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_design(path)
    text = str(caught.value)
    assert str(path) in text
    for jargon in ("pydantic", "https://", "Input should", "validation error", "type=", "function-", "Traceback"):
        assert jargon not in text
    return caught.value.problems


def key_of(path):
    text = ""
    for step in path:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if text else str(step)
    return text


EVERY = list(places(TREE))
QUANTITIES = [
    path
    for path in EVERY
    if isinstance(get(TREE, path), str) and get(TREE, path)[:1].isdigit() and path[-1] not in ("note", "network")
]
TABLES = [path for path in EVERY if isinstance(get(TREE, path), dict)] + [()]
WRONG = {
    "wrong unit": "3 kg",
    "nonsense": "about ten",
    "decimal comma": "1,5 µF",
    "NaN": float("nan"),
    "infinite": float("inf"),
    "bool": True,
    "empty": "",
    "list": [1, 2],
    "underscore": "1_000",
    "absurd": 1e30,
}


def test_complete_design_is_taken(tmp_path):
    path = tmp_path / "design.toml"
    path.write_text(COMPLETE, encoding="utf-8")
    assert len(load_design(path).filter) == 7


@pytest.mark.parametrize("error", WRONG)
@pytest.mark.parametrize("path", QUANTITIES, ids=key_of)
def test_bad_value_in_each_quantity(path, error, tmp_path):
    problems = refused(changed(path, WRONG[error]), tmp_path)
    assert any(problem.key.startswith(key_of(path)) for problem in problems), [str(p) for p in problems]
    assert all(problem.why for problem in problems)


@pytest.mark.parametrize("path", TABLES, ids=lambda path: key_of(path) or "top")
def test_misspelt_key_in_each_table_gets_the_nearest(path, tmp_path):
    tree = copy.deepcopy(TREE)
    table = get(tree, path)
    old = next(key for key in reversed(table) if key != "kind")
    if path and path[-1] == "loads":
        table["modmem"] = "10 %"
        (problem,) = refused(tree, tmp_path)
        assert '"modem"' in problem.why
        return
    wrong = f"{old}x"
    table[wrong] = table.pop(old)
    problems = refused(tree, tmp_path)
    named = [problem for problem in problems if wrong in problem.key]
    assert named, [str(p) for p in problems]
    assert old in named[0].why


REQUIRED = [
    ("name",), ("converter",), ("converter", "name"), ("converter", "output_voltage"), ("converter", "switching_frequency"),
    ("converter", "ripple"), ("converter", "ripple", "peak_to_peak"), ("converter", "spike", "peak_to_peak"),
    ("converter", "common_mode", "swing"), ("filter", 0, "kind"), ("filter", 0, "part"), ("filter", 0, "part", "capacitance"),
    ("filter", 3, "resistance"), ("load",), ("load", 0, "name"), ("load", 0, "kind"), ("load", 0, "power"),
    ("requirement", 0, "kind"), ("requirement", 0, "limit"), ("requirement", 1, "low"), ("coupling", 0, "mutual"),
    ("requirement", 2, "limit"), ("requirement", 2, "side"), ("emission", 0, "side"), ("emission", 0, "limits"),
]  # fmt: skip


@pytest.mark.parametrize("path", REQUIRED, ids=key_of)
def test_missing_key_is_named(path, tmp_path):
    tree = copy.deepcopy(TREE)
    del get(tree, path[:-1])[path[-1]]
    text = "\n".join(map(str, refused(tree, tmp_path)))
    assert str(path[-1]) in text


def test_a_missing_list_of_names_is_no_list_of_tables(tmp_path):
    tree = copy.deepcopy(TREE)
    del tree["emission"][0]["limits"]
    (problem,) = refused(tree, tmp_path)
    assert problem.why == "missing: a list in [square brackets] is needed"
    del tree["load"]
    assert "each under a line [[load]]" in "\n".join(map(str, refused(tree, tmp_path)))


MISTAKES = {
    "unknown part": (("filter", 1, "part"), "cm-1m0-5B", '"cm-1m0-5A"'),
    "part of another kind": (("filter", 1, "part"), "aluminium-47u-63V", "common-mode choke"),
    "unknown kind of stage": (("filter", 0, "kind"), "capacitr", "capacitor"),
    "unknown kind of load": (("load", 0, "kind"), "constant_powr", "constant_power"),
    "unknown load": (("requirement", 0, "load"), "modern", '"modem"'),
    "unknown capacitor": (("coupling", 0, "second"), "C3", "C2"),
    "capacitor of its own": (("coupling", 0, "second"), "C1", "itself"),
    "impossible coupling": (("coupling", 0, "mutual"), "90 nH", "coupling"),
    "taken name": (("filter", 0, "name"), "converter", "taken"),
    "name twice": (("filter", 0, "name"), "C2", "once"),
    "load name twice": (("load", 1, "name"), "modem", "once"),
    "point twice": (("operating_point", 1, "name"), "transmitting", "once"),
    "shape": (("converter", "shape"), "trianle", "triangle"),
    "range upside down": (("converter", "duty"), {"low": 0.6, "high": 0.4}, "low"),
    "range without an end": (("converter", "duty"), {"low": 0.6}, "high"),
    "format": (("format",), 2, "1"),
    "negative": (("converter", "output_esr"), "-3 mΩ", "-"),
    "forgotten prefix": (("filter", 0, "part", "capacitance"), 4.7, "prefix"),
    "edge longer than the period": (("converter", "edge_time"), "3 µs", "period"),
    "node's edge longer than the period": (("converter", "common_mode", "rise_time"), "6 µs", "period"),
    "no chassis": (("chassis",), False, "no place for Y capacitors"),
    "no chassis, and bonds": (("chassis",), False, "load[1].bond"),
    "capacitor without a class": (("converter", "bond"), {"capacitance": "1 nF", "safety_class": "X2"}, "Y1"),
    "hazardous": (("filter", 4, "part"), "class1-1n0-100V-0805", "IEC 60384-14"),
    "nothing to bridge": (("converter", "bridge"), {"capacitance": "1 nF"}, "isolated"),
    "no such place": (("clip", "place"), "moden", '"modem"'),
    "fast loop": (("converter", "loop_bandwidth"), "120 kHz", "half"),
    "unknown limit": (("requirement", 2, "limit"), "mains-clas-b", '"mains-class-b"'),
    "unknown limit of a test": (("emission", 0, "limits", 1), "main-class-a", "emission[1].limits[2] = 'main-class-a'"),
    "no limit at all": (("emission", 0, "limits"), [], "at least 1"),
    "a number as limit": (("requirement", 2, "limit"), 60, "in quotes"),
    "limit file that is not there": (("requirement", 2, "limit"), "mine.toml", "mine.toml"),
    "unknown network": (("emission", 0, "network"), "5uF", '"5uH"'),
    "unknown side": (("emission", 0, "side"), "inputs", '"input"'),
    "negative margin": (("requirement", 2, "margin"), "-3 dB", "a negative margin asks for levels above the limit"),
    "limits upside down": (("requirement", 1, "low"), "31 V", "above low"),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_mistake_says_what_would_be_right(mistake, tmp_path):
    path, value, words = MISTAKES[mistake]
    tree = changed(path, value)
    if mistake == "hazardous":
        tree["converter"] |= {"output_voltage": "72 V", "input_voltage": "24 V"}
    text = "\n".join(map(str, refused(tree, tmp_path)))
    assert words in text, text


def test_everything_at_once(tmp_path):
    tree = changed(("converter", "output_esr"), "3 kg")
    tree["filter"][1]["part"] = "cm-1m0-5B"
    tree["load"][0]["power"] = "84 V"
    tree["colour"] = "blue"
    keys = {problem.key for problem in refused(tree, tmp_path)}
    assert {"converter.output_esr", "filter[2].part", "load[1].power", "colour"} <= keys


FILES = {
    "not TOML": (b"name = \n[", "line"),
    "key twice": (b'name = "a"\nname = "b"\n', "line 2"),
    "binary": (bytes(range(256)), "not text"),
    "empty": (b"", "empty"),
    "zero byte": (b'name = "a\x00b"', "zero byte"),
    "UTF-16": ('name = "a"'.encode("utf-16"), "not text"),
    "too large": (b"# " + b"x" * 6_000_000, "larger"),
}


def run(path, folder):
    command = [sys.executable, "-m", "filterlib.cli", "review", str(path), "--out", str(folder)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@pytest.mark.parametrize("broken", FILES)
def test_broken_file(broken, tmp_path):
    content, words = FILES[broken]
    path = tmp_path / "design.toml"
    path.write_bytes(content)
    done = run(path, tmp_path / "out")
    assert done.returncode == 2
    assert str(path) in done.stderr
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert os.listdir(tmp_path) == ["design.toml"]


def test_no_file_a_folder_and_what_cannot_be_read(tmp_path):
    plain = tmp_path / "plain"
    plain.write_text("x")
    for path, words in (
        (tmp_path / "none.toml", "no such file"),
        (tmp_path, "folder"),
        (plain / "x.toml", "cannot be read"),
    ):
        done = run(path, tmp_path / "out")
        assert (done.returncode, "Traceback" in done.stderr) == (2, False)
        assert words in done.stderr
    assert os.listdir(tmp_path) == ["plain"]


def test_contradicting_figures_are_refused_before_anything_is_written(tmp_path):
    tree = changed(("converter", "ripple", "peak_to_peak"), "3 mV")
    path = tmp_path / "design.toml"
    path.write_text("\n".join(f"{key} = {written(value)}" for key, value in tree.items()), encoding="utf-8")
    done = run(path, tmp_path / "out")
    assert done.returncode == 2
    assert "converter.ripple.peak_to_peak" in done.stderr
    assert os.listdir(tmp_path) == ["design.toml"]
