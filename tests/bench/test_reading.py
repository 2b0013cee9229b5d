"""Broken files, each with its line; and the limits of what is read."""

import os
import re
import tempfile
import threading
from unittest.mock import patch

import numpy as np
import pytest

from filterlib.bench.capture.recording import load_recording
from filterlib.errors import InputError
from filterlib.parts.curves import rows as reading
from filterlib.parts.curves.rows import read_rows

HEAD = "Quay recorder\ntime [s];CH1 [V]\n"
GOOD = "0;1\n1;2\n2;1\n3;2\n"
SINE = np.sin(np.arange(900) * 0.05)


def _wave(volts, head="time [s];CH1 [V]\n"):
    rows = "".join(f"{n * 1e-6:.7g};{';'.join(f'{x:.5f}' for x in np.atleast_1d(v))}\n" for n, v in enumerate(volts))
    return head + rows


# The lines are counted by hand; 0 stands for the file as a whole. The sine passes 0.8 at sample 18.5, 0.7 at 15.5.
BROKEN = {
    "word instead of a number": (HEAD + "0;1\n1;two\n2;1\n", 4, "column 2 is not a number: 'two'"),
    "number with a letter": (HEAD + "0;1\n1;2x\n2;1\n", 4, "not a number"),
    "hexadecimal": (HEAD + "0;1\n1;0x1F\n2;1\n", 4, "not a number"),
    "underscore": (HEAD + "0;1\n1;1_0\n2;1\n", 4, "not a number"),
    "two points": (HEAD + "0;1\n1;1.2.3\n2;1\n", 4, "not a number"),
    "time is no number": (HEAD + "0;1\nnoon;1\n2;1\n", 4, "column 1 is not a number: 'noon'"),
    "first row broken": (HEAD + "0;?\n1;2\n2;1\n", 3, "not a row of numbers"),
    "first row without time": (HEAD + "noon;1\n1;2\n2;1\n", 3, "neither a row of numbers nor one of units"),
    "first row broken, no header": ("0;?\n1;2\n2;1\n", 1, "not a row of numbers"),
    "first row without its time, no header": (";1\n1;2\n2;1\n", 1, "not a row of numbers"),
    "NaN": (HEAD + "0;1\n1;NaN\n2;1\n", 4, "not a finite number"),
    "NaN in the first row": (HEAD + "0;nan\n1;1\n2;1\n", 3, "not a row of numbers"),
    "infinity": (HEAD + "0;1\n1;-inf\n2;1\n", 4, "not a finite number"),
    "overflow": (HEAD + "0;1\n1;1e999\n2;1\n", 4, "too large"),
    "empty field": (HEAD + "0;1\n;2\n2;1\n", 4, "column 1 is empty"),
    "ragged, one less": (HEAD + "0;1\n1\n2;1\n", 4, "number of columns: 1, and in the first row 2"),
    "ragged, one more": (HEAD + "0;1\n1;2;3\n2;1\n", 4, "number of columns: 3"),
    "value missing at the end": (HEAD + "0;1\n1;\n2;1\n", 4, "number of columns: 1"),
    "header of another width": ("time [s];CH1 [V];CH2 [V]\n" + GOOD, 2, "the header in line 1 names 3"),
    "comma in a file with points": (HEAD + "0;1.5\n1;1,5\n2;1\n", 4, "decimal sign ','"),
    "point in a file with commas": (HEAD + "0;1,5\n1;1.5\n2;1\n", 4, "decimal sign '.'"),
    "thousands": (HEAD + "0;1,5\n1;1.500,5\n2;1\n", 4, "not a number"),
    "comma twice": ("time,CH1\n0,0,1,5\n0,1,1,7\n", 2, "separator and decimal sign at once"),
    "comma, no header": ("0,5\n0,7\n", 1, "may be separator or decimal sign"),
    "gap": (HEAD + "0;1\n1;2\n4;1\n5;2\n6;1\n", 5, "a gap in time: a step of 3 s"),
    "backwards": (HEAD + "0;1\n1;2\n2;1\n1.5;2\n3;1\n", 6, "time runs backwards"),
    "all backwards": (HEAD + "3;1\n2;2\n1;1\n", 4, "time runs backwards"),
    "time twice": (HEAD + "0;1\n1;2\n1;1\n2;2\n3;2\n", 5, "the time of the row before once more"),
    "uneven": (HEAD + "0;1\n1;2\n2;1\n2.3;2\n3.3;2\n", 6, "closer to the row before"),
    "interval that changes": (
        HEAD + "".join(f"{t};1\n" for t in [*range(20), *np.arange(20, 30, 1.3)]),
        23,
        "the sample interval changes",
    ),
    "blank lines count": (HEAD + "0;1\n\n1;2\n\n\n4;1\n5;2\n6;1\n", 8, "a gap in time"),
    "one row": (HEAD + "0;1\n", 3, "no recording"),
    "no time": ("CH1 [V];CH2 [V]\n1;2\n2;1\n", 2, "no sample interval"),
    "no time, one column": ("CH1 [V]\n1\n2\n", 2, "no sample interval"),
    "time against the stated interval": ("Sample interval;1 ms\n" + HEAD + GOOD, 5, "the time column steps by 1 s"),
    "five channels": ("time;a;b;c;d;e\n0;1;1;1;1;1\n1;1;1;1;1;1\n", 1, "5 channels, and 4 at most"),
    "channels of one name": ("time;a;a\n0;1;1\n1;1;1\n", 1, "the same name"),
    "amperes": ("time [s];CH1 [A]\n" + GOOD, 1, 'has the unit "A", not V'),
    "minutes": ("time [min];CH1 [V]\n" + GOOD, 1, "min"),
    "unit with an unknown prefix": ("time [s];CH1 [qV]\n" + GOOD, 1, "qV"),
    "interval that is none": ("Sample interval;fast 1\nCH1 [V]\n1\n2\n", 1, "fast 1"),
    "interval of zero": ("Sample interval;0 s\nCH1 [V]\n1\n2\n", 1, "must be above"),
    "probe that is none": ("Probe factor;-10\n" + HEAD + GOOD, 1, "must be above"),
    "bandwidth in volts": ("Bandwidth limit;20 V\n" + HEAD + GOOD, 1, "Hz"),
    "coupling that is none": ("Coupling;ground\n" + HEAD + GOOD, 1, "AC or DC"),
    "two intervals": (
        "Sample interval;1 s\nSample interval;2 s\n" + HEAD + GOOD,
        2,
        "said before, otherwise, in line 1",
    ),
    "cut short": ("Record length;5\n" + HEAD + GOOD, 1, "the file holds 4"),
    "clipped at the top": (_wave(np.minimum(SINE, 0.8)), 21, "CH1 is clipped 8 times"),
    "clipped at the bottom": (_wave(np.maximum(SINE, -0.8)), 84, "CH1 is clipped 7 times"),
    "clipped second channel": (
        _wave(np.stack([SINE, np.minimum(SINE, 0.7)], 1), "time [s];CH1 [V];CH2 [V]\n"),
        18,
        "CH2 is clipped",
    ),
    "at the end of the full scale": ("Full scale;2 V\n" + HEAD + "0;1\n1;0.2\n2;0.1\n", 4, "CH1 is clipped 1 time, 1"),
    "NUL byte": (HEAD + "0;1\n1;\0\n2;1\n", 4, "NUL byte"),
    "UTF-16 without its mark": ((HEAD + GOOD).encode("utf-16-le"), 1, "NUL byte"),
    "a picture": (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", 3, "NUL byte"),
    "empty": ("", 0, "the file is empty"),
    "blanks only": ("\n \n\n", 0, "the file is empty"),
    "header only": (HEAD, 2, "no row of numbers"),
    "preamble only": ("Quay recorder\n\n", 1, "no row of numbers"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_broken_file_is_refused_with_its_line(name, tmp_path):
    content, line, words = BROKEN[name]
    path = tmp_path / "broken.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(InputError) as caught:
        load_recording(path)
    first = str(caught.value).splitlines()[0]
    assert first.startswith(f"{path}: line {line}" if line else f"{path}: ")
    assert re.match(rf"line {line}\b" if line else "$", caught.value.problems[0].key)
    assert words in first


def test_every_broken_line_is_listed_up_to_a_limit(tmp_path):
    path = tmp_path / "r.csv"
    path.write_text(HEAD + "0;1\n" + "x;y\n" * 30)
    with pytest.raises(InputError) as caught:
        load_recording(path)
    keys = [problem.key for problem in caught.value.problems]
    assert keys == [f"line {n}" for n in range(4, 4 + reading.MOST_PROBLEMS)]


def test_line_numbers_hold_across_blocks(tmp_path, monkeypatch):
    monkeypatch.setattr(reading, "BLOCK", 64)
    path = tmp_path / "r.csv"
    rows = [f"{n};{n % 7}" for n in range(500)]
    rows[20:20] = ["", ""]
    path.write_text(HEAD + "\n".join(rows) + "\n")
    found = read_rows(path)
    assert found.values.shape == (500, 2)
    assert [found.line(19), found.line(20), found.line(499)] == [22, 25, 504]  # hand: two lines above, two blank ones
    rows[400] = "398;oops"
    path.write_text(HEAD + "\n".join(rows) + "\n")
    with pytest.raises(InputError, match=r"line 403 = '398;oops'"):
        load_recording(path)


def test_decimal_comma_seen_late_is_understood(tmp_path, monkeypatch):
    monkeypatch.setattr(reading, "BLOCK", 64)
    path = tmp_path / "r.csv"
    path.write_text(HEAD + "".join(f"{n};{n % 3}\n" for n in range(100)) + "100;0,5\n")
    assert load_recording(path).volts[-1] == 0.5  # hand


def test_two_gigabytes_without_a_newline_are_refused_without_being_read(tmp_path):
    """The file is sparse behind its first characters, which fill more than a block."""
    path = tmp_path / "line.csv"
    with path.open("wb") as out:
        out.write(HEAD.encode() + b"0;1\n" + b"1" * (2 * reading.BLOCK + 10))
        out.truncate(2 * 2**30)
    with pytest.raises(InputError, match=r"line 4: longer than 4,000,000 characters"):
        load_recording(path)


def test_a_file_that_grows_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(reading, "BLOCK", 4096)
    path = tmp_path / "grows.csv"
    path.write_text(HEAD + "".join(f"{n};{n % 7}\n" for n in range(5000)))
    read, rows = np.loadtxt, iter(range(5000, 5100))

    def slowly(*args, **kwargs):
        with path.open("a") as more:
            more.writelines(f"{n};1\n" for n in [next(rows, None)] if n)
        return read(*args, **kwargs)

    monkeypatch.setattr(reading.np, "loadtxt", slowly)
    with pytest.raises(InputError, match="changed while it was read"):
        load_recording(path)


def test_a_missing_file_a_folder_and_a_pipe_are_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        load_recording(tmp_path / "none.csv")
    with pytest.raises(InputError, match="a folder"):
        load_recording(tmp_path)
    os.mkfifo(tmp_path / "pipe")
    failed = []

    def attempt():
        with pytest.raises(InputError, match="a regular file is needed"):
            load_recording(tmp_path / "pipe")
        failed.append(False)

    thread = threading.Thread(target=attempt, daemon=True)  # a reader that waits for the pipe must not stop the tests
    thread.start()
    thread.join(5)
    assert failed == [False]


def test_nothing_is_left_behind(tmp_path):
    path = tmp_path / "broken.csv"
    path.write_text(HEAD + "x;y\n")
    with patch.object(tempfile, "tempdir", str(tmp_path)), pytest.raises(InputError):
        load_recording(path)
    assert [one.name for one in tmp_path.iterdir()] == ["broken.csv"]
