"""Broken impedance curves and Touchstone files: each is refused with its file, its line, and what is wrong there."""

import re
import tempfile
from unittest.mock import patch

import numpy as np
import pytest

from filterlib.cli import main
from filterlib.errors import InputError
from filterlib.parts.curves import rows
from filterlib.parts.curves.measured import measured_part

HEAD = "Quay capacitor (invented)\nfrequency [kHz];|Z| [ohm]\n"
KILOHERTZ = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
LINES = [f"{f};{160 / f:.4g}" for f in KILOHERTZ]  # 1 µF, from line 3 to line 12
OPTION = "! invented\n# kHz S RI R 50\n"


def curve(*changes, head=HEAD, lines=None):
    """A good curve with some of its lines changed: pairs of line number and content, None to leave it out."""
    held = dict(enumerate(LINES if lines is None else lines, start=3))
    held.update(changes)
    return head + "".join(f"{line}\n" for line in held.values() if line is not None)


def touchstone(*changes, ports=1, option=OPTION, scale=1.0):
    """A good file of 1 µF: reflection, or shunt-through; its rows begin in line 3."""
    rows = []
    for f in KILOHERTZ:
        z = 1 / (2j * np.pi * f * 1e3 * 1e-6) + 0.01
        s11 = scale * (z - 50) / (z + 50) if ports == 1 else -50 / (2 * z + 50)
        values = [s11] if ports == 1 else [s11, 1 + s11, 1 + s11, s11]
        rows.append(" ".join([f"{f}", *(f"{v.real:.8f} {v.imag:.8f}" for v in values)]))
    held = dict(enumerate(rows, start=3))
    held.update(changes)
    return option + "".join(f"{row}\n" for row in held.values() if row is not None)


STEEP = [f"{f};{1.6 if f <= 20 else 1.6 * (20 / f) ** 3:.4g}" for f in np.geomspace(1, 1000, 40).round(3)]
NINE = "7 " + "0.1 " * 8
# The lines are counted by hand; 0 stands for the file as a whole, which is then said of the key that names it.
CURVES = {
    "empty": ("", 0, "the file is empty"),
    "blanks only": (" \n\n \n", 0, "the file is empty"),
    "header only": (HEAD, 2, "header only"),
    "one line of text": ("Quay capacitor", 1, "header only"),
    "NUL in the header": ("frequency\0 [kHz];|Z| [ohm]\n" + curve(head=""), 1, "NUL byte"),
    "NUL in the first row": (curve((3, "1;16\0")), 3, "NUL byte"),
    "NUL in the middle": (curve((7, "20;\0")), 7, "NUL byte"),
    "NUL at the end": (curve() + "\0", 13, "NUL byte"),
    "UTF-16 without its mark": (curve().encode("utf-16-le"), 1, "NUL byte"),
    "a picture": (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", 3, "NUL byte"),
    "no header": (curve(head=""), 1, "which column is what?"),
    "header without units": (curve(head="x\nfrequency;Z\n"), 2, "which column is what?"),
    "header with one unit": (curve(head="x\nfrequency [kHz];Z\n"), 2, "which column is what?"),
    "volts": (curve(head="x\nfrequency [kHz];|Z| [V]\n"), 2, "which column is what?"),
    "unknown prefix": (curve(head="x\nfrequency [qHz];|Z| [ohm]\n"), 2, "which column is what?"),
    "header of another width": (curve(head="x\nfrequency [kHz];|Z| [ohm];phase [deg]\n"), 2, "which column is what?"),
    "two columns in ohm": (
        "a\nf [kHz];R [ohm];X [ohm]\n" + "".join(f"{f};1;{160 / f}\n" for f in KILOHERTZ), 2, "2 columns in ohm",
    ),
    "two frequencies": ("f [Hz];f [kHz];Z [ohm]\n" + "1;1;1\n", 1, "2 columns in Hz"),
    "text in the first cell": (curve((3, "low;160")), 3, "not a row of numbers|neither"),
    "text in the first row": (curve((3, "1;high")), 3, "not a row of numbers"),
    "text in the middle": (curve((7, "20;8 ohm")), 7, "column 2 is not a number: '8 ohm'"),
    "text in the last row": (curve((12, "1000;open")), 12, "column 2 is not a number: 'open'"),
    "text instead of a frequency": (curve((8, "fifty;3.2")), 8, "column 1 is not a number: 'fifty'"),
    "NaN": (curve((8, "50;nan")), 8, "not a finite number"),
    "infinity": (curve((8, "50;inf")), 8, "not a finite number"),
    "overflow": (curve((8, "50;1e999")), 8, "too large"),
    "hexadecimal": (curve((8, "50;0x10")), 8, "not a number"),
    "empty cell": (curve((8, ";3.2")), 8, "column 1 is empty"),
    "cell missing": (curve((8, "50")), 8, "number of columns: 1"),
    "cell too many": (curve((8, "50;3.2;1")), 8, "number of columns: 3"),
    "comma in a file with points": (curve((3, "1.0;160"), (8, "50;3,2")), 8, "decimal sign"),
    "comma twice": ("f [kHz],Z [ohm]\n1,5,3,2\n2,5,3,2\n", 2, "separator and decimal sign at once"),
    "negative frequency first": (curve((3, "-1;160")), 3, "must be above zero"),
    "negative frequency": (curve((8, "-50;3.2")), 8, "must be above zero"),
    "zero frequency": (curve((3, "0;160")), 3, "must be above zero"),
    "frequency falls": (curve((8, "15;3.2")), 8, "does not rise"),
    "frequency stands": (curve((8, "20;3.2")), 8, "does not rise"),
    "all backwards": (curve(lines=LINES[::-1]), 4, "does not rise"),
    "gap": (curve((8, None), (9, None), (10, None)), 8, "a gap: more than 10 times"),
    "zero ohms first": (curve((3, "1;0")), 3, r"\|Z\| must be above zero"),
    "zero ohms": (curve((8, "50;0")), 8, r"\|Z\| must be above zero"),
    "negative ohms last": (curve((12, "1000;-0.16")), 12, r"\|Z\| must be above zero"),
    "too few points": (curve(lines=LINES[:7]), 0, "7 points, and at least 8"),
    "too narrow": (curve(lines=[f"{f};{160 / f:.4g}" for f in range(10, 20)]), 0, "at least a decade"),
    "gigahertz for hertz": (curve(head="x\nfrequency [GHz];|Z| [ohm]\n"), 10, "frequency is absurd here"),
    "megohm for ohm": (curve((3, "1;160000"), head="x\nfrequency [kHz];|Z| [Mohm]\n"), 3, "impedance is absurd here"),
    "a point ten times too high": (curve((8, "50;32")), 8, "jumps from 8 Ω to 32 Ω|dB away"),
    "another unit from here on": (
        curve(*((line, f"{f};{160e3 / f:.4g}") for line, f in enumerate(KILOHERTZ[5:], start=8))), 8, "jumps from|more steeply",
    ),
    "steeper than any part": (curve(lines=STEEP), None, "not a passive one-port: around .* falls more steeply"),
    "a resistor": (curve(lines=[f"{f};100" for f in KILOHERTZ]), 3, "hardly falls, so it does not show the capacitance"),
    "a choke": (curve(lines=[f"{f};{f}" for f in KILOHERTZ]), 3, "hardly falls, so it does not show the capacitance"),
    "phase of a source": (
        "a\nf [kHz];|Z| [ohm];phase [deg]\n" + "".join(f"{f};{160 / f};{-100 if f == 10 else -89}\n" for f in KILOHERTZ),
        6, "a phase of -100 degrees is a negative resistance",
    ),
}  # fmt: skip
ONE_PORTS = {
    "empty": ("", 0, "the file is empty"),
    "comment only": ("! nothing\n", 1, "no option line"),
    "option line only": (OPTION, 2, "header only"),
    "no option line": (touchstone(option="! a\n! b\n"), 3, "an option line must be above the numbers"),
    "option line below a row": (touchstone(option="1 0.5 0.5\n# kHz S RI R 50\n"), 1, "must be above the numbers"),
    "unknown unit": (touchstone(option="\n# THz S RI R 50\n"), 2, '"THz" is not known here'),
    "unknown parameter": (touchstone(option="\n# kHz T RI R 50\n"), 2, '"T" is not known here'),
    "hybrid parameters": (touchstone(option="\n# kHz H RI R 50\n"), 2, '"H" is not known here'),
    "unknown format": (touchstone(option="\n# kHz S XY R 50\n"), 2, '"XY" is not known here'),
    "reference missing": (touchstone(option="\n# kHz S RI R\n"), 2, "resistance above zero"),
    "reference of zero": (touchstone(option="\n# kHz S RI R 0\n"), 2, "resistance above zero"),
    "reference in words": (touchstone(option="\n# kHz S RI R fifty\n"), 2, "resistance above zero"),
    "unit twice": (touchstone(option="\n# kHz MHz S RI R 50\n"), 2, "what was said before"),
    "version 2": ("[Version] 2.0\n" + touchstone(), 1, "version 2"),
    "keyword of version 2 in between": (touchstone((5, "[Network Data]")), 5, "version 2"),
    "NUL": (touchstone((5, "5 \0 1")), 5, "NUL byte"),
    "UTF-16 without its mark": (touchstone().encode("utf-16-be"), 1, "NUL byte"),
    "text in the first row": (touchstone((3, "1 high 0")), 3, "column 2 is not a number: 'high'"),
    "text in the middle": (touchstone((7, "20 0.1 high")), 7, "column 3 is not a number: 'high'"),
    "NaN": (touchstone((7, "20 nan 0.1")), 7, "not a finite number"),
    "overflow": (touchstone((7, "20 1e999 0.1")), 7, "too large"),
    "decimal comma": (touchstone((7, "20 0,1 0.1")), 7, "decimal comma"),
    "value missing": (touchstone((7, "20 0.1")), 7, "2 numbers, and a row of this file has 3"),
    "row of a two-port": (touchstone((7, "20 0 0 0 0 0 0 0 0")), 7, "9 numbers, and a row of this file has 3"),
    "noise in a one-port": (touchstone((12, "1 2 0.5 10 0.3")), 12, "5 numbers, and a row of this file has 3"),
    "negative frequency": (touchstone((3, "-1 0.5 0.5")), 3, "the frequency is negative"),
    "frequency falls": (touchstone((8, "15 -0.99 -0.1")), 8, "does not rise"),
    "S above 1": (touchstone((8, "50 1.2 0.3")), 8, "not passive at 50 kHz"),
    "S above 1 everywhere": (touchstone(scale=1.05), 3, "not passive at 1 kHz"),
    "an ideal short": (touchstone((8, "50 -1 0")), 8, "an ideal short or an open at 50 kHz"),
    "too few points": (touchstone(*((line, None) for line in range(6, 13))), 0, "3 points"),
    "hertz said of gigahertz": (touchstone(option="\n# GHz S RI R 50\n"), 12, "absurd here"),
}  # fmt: skip
TWO_PORTS = {
    "row of a one-port": (touchstone((7, "20 0.1 0.1"), ports=2), 7, "3 numbers, and a row of this file has 9"),
    "a row cut short in the middle": (touchstone((7, "20 0.1 0.1 0.1 0.1"), ports=2), 7, "5 numbers"),
    "noise, then network again": (touchstone(ports=2) + "1 2 0.5 10 0.3\n" + NINE + "\n", 13, "5 numbers"),
    "text in a noise row": (touchstone(ports=2) + "1 2 0.5 ten 0.3\n", 13, "column 4 is not a number"),
    "gain": (touchstone((8, "50 0 0 2 0 0.1 0 0 0"), ports=2), 8, "least eigenvalue of I - S"),
    "negative resistance": (
        touchstone((12, "1000 -0.97 0 -0.02 0 -0.02 0 -0.97 0"), ports=2), 12, "not passive at 1 MHz: a resistance of -490",
    ),
    "a row cut short at the end": (touchstone((12, "1000 0.1 0.1 0.1 0.1"), ports=2), 12, "5 numbers"),
    "nothing comes through": (touchstone((8, "50 -1 0 0 0 0 0 -1 0"), ports=2), 8, "an ideal short or an open"),
}  # fmt: skip
CASES = [
    *(("csv", name, *CURVES[name]) for name in CURVES),
    *(("s1p", name, *ONE_PORTS[name]) for name in ONE_PORTS),
    *(("s2p", name, *TWO_PORTS[name]) for name in TWO_PORTS),
]


def refusal(path, **more):
    if path.suffix == ".s2p":
        more = {"connection": "shunt_through"} | more
    with pytest.raises(InputError) as caught:
        measured_part(path, kind="measured_capacitor", rated_voltage="50 V", **more)
    return caught.value


def check(text, path, line, words):
    first = text.splitlines()[0]
    named = (
        rf"{re.escape(str(path))}: "
        if line != 0
        else rf"{re.escape(str(path))}: |.*design\.toml: .*file = '.*{path.name}': "
    )
    found = re.match(named, first)
    assert found, first
    assert not line or re.match(rf"line {line}\b", first[found.end() :]), first
    assert re.search(words, first[found.end() :]), first


def test_the_good_files_are_read(tmp_path):
    for ending, text in (("csv", curve()), ("s1p", touchstone()), ("s2p", touchstone(ports=2))):
        path = tmp_path / f"good.{ending}"
        path.write_text(text)
        connection = "shunt_through" if ending == "s2p" else None
        part = measured_part(path, kind="measured_capacitor", rated_voltage="50 V", connection=connection)
        assert part.capacitance == pytest.approx(1e-6, rel=0.01, abs=0)  # hand


@pytest.mark.parametrize(("ending", "name", "content", "line", "words"), CASES, ids=[f"{e}-{n}" for e, n, *_ in CASES])
def test_a_broken_file_is_refused_with_its_line(ending, name, content, line, words, tmp_path):
    path = tmp_path / f"broken.{ending}"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    check(str(refusal(path)), path, line, words)


DESIGN = """name = "Quay"
[converter]
name = "Tarn (invented)"
output_voltage = "28 V"
switching_frequency = "180 kHz"
ripple = {{ peak_to_peak = "200 mV" }}
[[filter]]
kind = "capacitor"
part = {{ kind = "measured_capacitor", file = "parts/{file}", rated_voltage = "50 V"{more} }}
[[load]]
name = "modem"
kind = "resistive"
resistance = "14 ohm"
"""


def review(tmp_path, capsys, file, content, more=""):
    """Exit code and complaint of ``filterlib review`` on a design that names a measured file."""
    (tmp_path / "parts").mkdir()
    if content is not None:
        (tmp_path / "parts" / file).write_bytes(content if isinstance(content, bytes) else content.encode())
    (tmp_path / "design.toml").write_text(DESIGN.format(file=file, more=more), encoding="utf-8")
    before = set(tmp_path.rglob("*"))
    with patch.object(tempfile, "tempdir", str(tmp_path)):  # what other tests leave in /tmp meanwhile is not looked at
        code = main(["review", str(tmp_path / "design.toml"), "--out", str(tmp_path / "out")])
    assert set(tmp_path.rglob("*")) == before
    return code, capsys.readouterr().err


@pytest.mark.parametrize(
    ("ending", "name", "content", "line", "words"), CASES[::4], ids=[f"{e}-{n}" for e, n, *_ in CASES[::4]]
)
def test_review_refuses_a_design_that_names_it_and_leaves_nothing(ending, name, content, line, words, tmp_path, capsys):
    more = ', connection = "shunt_through"' if ending == "s2p" else ""
    code, said = review(tmp_path, capsys, f"broken.{ending}", content, more)
    assert code == 2
    assert "Traceback" not in said
    check(said.removeprefix("filterlib: "), tmp_path / "parts" / f"broken.{ending}", line, words)


@pytest.mark.parametrize(
    ("file", "more", "key", "words"),
    [
        ("absent.csv", "", "file = 'parts/absent.csv'", "no such file"),
        ("x.s4p", "", "file = 'parts/x.s4p'", r"\.s1p"),
        ("x.csv", ', connection = "series_through"', "connection = 'series_through'", "only a two-port"),
        ("x.s2p", "", "connection", "missing"),
        ("x.s2p", ', connection = "serial_through"', "connection = 'serial_through'", 'did you mean "series_through"'),
        ("x.csv", ', capacitance = "1 µF"', "capacitance = '1 µF'", "comes from the measured file"),
        ("x.csv", ", esll = 1", "esll = 1", "unknown key"),
        ("x.csv", ', tolerance = "5 V"', "tolerance = '5 V'", "5 V"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_the_entry_is_said_of_its_key(file, more, key, words, tmp_path, capsys):
    content = None if file == "absent.csv" else touchstone(ports=2) if file.endswith("s2p") else curve()
    code, said = review(tmp_path, capsys, file, content, more)
    assert code == 2
    assert re.search(rf"design\.toml: filter\[1\]\.part\.{re.escape(key)}.*{words}", said), said


def test_what_is_wrong_with_entry_and_file_is_said_at_once(tmp_path, capsys):
    code, said = review(tmp_path, capsys, "x.csv", CURVES["text in the middle"][0], ', tolerance = "5 V", esll = 1')
    assert code == 2
    assert [re.search(words, said) is not None for words in ("line 7", "part.tolerance", "part.esll")] == [True] * 3


@pytest.mark.parametrize("ending", ["csv", "s1p"])
def test_two_gigabytes_without_a_newline_are_refused_without_being_read(ending, tmp_path):
    """The file is sparse behind its first characters, which fill more than a block."""
    path = tmp_path / f"line.{ending}"
    with path.open("wb") as out:
        out.write((HEAD + "1;1\n" if ending == "csv" else OPTION + "1 1 0\n").encode() + b"1" * (2 * rows.BLOCK + 10))
        out.truncate(2 * 2**30)
    assert "line 4: longer than 4,000,000 characters" in str(refusal(path))


def test_a_file_that_is_far_too_long_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("filterlib.parts.curves.touchstone.MOST_CHARACTERS", 200)
    monkeypatch.setattr("filterlib.parts.curves.curve_file.MOST_ROWS", 9)
    for ending, text, words in (
        ("csv", curve(), "more than 9 rows"),
        ("s1p", touchstone(), "more than 200 characters"),
    ):
        path = tmp_path / f"long.{ending}"
        path.write_text(text)
        assert words in str(refusal(path))


def test_mixed_line_ends_and_utf_16_with_its_mark_are_read(tmp_path):
    texts = {"csv": curve(), "s1p": touchstone()}
    for ending, text in texts.items():
        mixed = "".join(line + end for line, end in zip(text.split("\n"), ["\r\n", "\n", "\r"] * 9, strict=False))
        found = []
        for content in (text.encode(), mixed.encode(), text.encode("utf-16"), text.encode("utf-8-sig")):
            path = tmp_path / f"x.{ending}"
            path.write_bytes(content)
            found.append(measured_part(path, kind="measured_capacitor", rated_voltage="50 V").capacitance)
        assert found == [found[0]] * 4


def test_a_folder_is_refused(tmp_path):
    (tmp_path / "x.csv").mkdir()
    assert "a folder, and a file is needed" in str(refusal(tmp_path / "x.csv"))


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"kind": "measured_resistor"}, "no such kind of part"),
        ({"kind": "film"}, "no such kind of part"),
        ({"kind": "measured_capacitor"}, "rated_voltage.*missing"),
        ({"kind": "measured_choke"}, "hardly rises|rated_current"),
        ({"kind": "measured_choke", "rated_current": "3 A", "dc_resistance": "10 kohm"}, "below the dc_resistance"),
        ({"kind": "measured_choke", "rated_current": "3 A", "dc_resistance": "-1 ohm"}, "dc_resistance"),
    ],
)
def test_arguments_are_refused_by_name(more, words, tmp_path):
    path = tmp_path / "x.csv"
    path.write_text(curve())
    with pytest.raises(InputError, match=words):
        measured_part(path, **more)
