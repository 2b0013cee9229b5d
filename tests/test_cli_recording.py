"""The command `recording`: what it says of a file, its options, and the files that it refuses by name and line."""

from __future__ import annotations

import json
import os
import re

import numpy as np
import pytest

from filterlib import cli
from filterlib.parts.tables import data_folder
from filterlib.units import quantity
from tests.bench.waves import steady
from tests.bench.writer import Dialect, put, written

MODEM = data_folder() / "recordings" / "brick-modem.csv"


@pytest.fixture
def taken(tmp_path):
    """A file of two channels: a triangle of 0.1 V at 180 kHz, and three times that upside down."""
    made = steady(count=60, noise=5e-4)
    content = written(Dialect(preamble="colons"), made.time, [made.volts, -3 * made.volts])
    return put(tmp_path, content)


def said(capsys, *arguments, code=0):
    assert cli.main(["recording", *map(str, arguments)]) == code
    return capsys.readouterr()


def cell(text, label):
    line = next(line for line in text.splitlines() if line.strip().startswith(f"{label}  "))
    return line.strip()[len(label) :].strip()


def test_a_recording_is_printed_and_nothing_is_written(capsys, taken):
    text = said(capsys, taken).out
    assert cell(text, "switching frequency") == "180 kHz"  # hand
    assert cell(text, "samples").startswith("83333, one every 4 ns: 333 µs")  # hand: 60 periods
    assert cell(text, "coupling") == "DC"
    assert cell(text, "mean of the aligned periods").split("  ")[0] in ("100 mV", "101 mV")  # hand
    assert "CH1 was read, the first of CH1, CH2" in text
    assert text.endswith("Figures: give --out FOLDER\n")
    assert [path.name for path in taken.parent.iterdir()] == [taken.name]


@pytest.mark.parametrize("channel", ["2", "CH2", "ch2"])
def test_channel_by_number_or_name(capsys, taken, channel):
    text = said(capsys, taken, "--channel", channel).out
    assert cell(text, "channel") == "CH2, of CH1, CH2"
    assert cell(text, "mean of the aligned periods").split("  ")[0] in ("301 mV", "302 mV", "300 mV")  # hand: 3 x 0.1 V


def test_what_the_options_state_comes_before_what_the_file_says(capsys, taken, tmp_path):
    options = ("--probe-factor", "100", "--bandwidth", "100 MHz", "--full-scale", "40 V", "--coupling", "ac")
    said(capsys, taken, *options, "--ripple-to", "5 MHz", "--order", "3", "--out", tmp_path / "out")
    found = json.loads((tmp_path / "out" / "recording.json").read_text(encoding="utf-8"))
    assert found["probe_factor"] == 100
    assert found["peak_to_peak"]["aligned"]["whole_V"] == pytest.approx(1.0, rel=0.02, abs=0)  # hand: the file says 10x
    assert (found["bandwidth_Hz"], found["full_scale_V"], found["coupling"]) == (100e6, 40, "AC")
    assert (found["border_Hz"], found["border_order"]) == (5e6, 3)


def test_a_stated_interval_serves_a_file_without_times(capsys, tmp_path):
    made = steady(count=40, noise=5e-4)
    path = put(tmp_path, "CH1 [V]\n" + "\n".join(f"{volts:.6f}" for volts in made.volts))
    refused = said(capsys, path, code=2).err
    assert "no time column and no sample interval" in refused
    text = said(capsys, path, "--sample-interval", "8 ns").out
    assert cell(text, "switching frequency") == "90 kHz"  # hand: half of 180 kHz at twice the interval


def test_page_numbers_and_figures_belong_together(capsys, taken, tmp_path):
    from filterlib.show.folder import run_of

    out = tmp_path / "out"
    text = said(capsys, taken, "--out", out).out
    assert text.endswith(f"Page: {out / 'recording.html'}\n")
    names = {"recording.html", "recording.json", "recording-time.svg", "recording-period.svg", "recording-spectrum.svg"}
    assert {path.name for path in out.iterdir()} == names
    assert len({run_of(path) for path in out.iterdir()}) == 1
    (out / "notes.txt").write_text("mine")
    kept = np.random.default_rng(3).random(400) > 0.15
    from tests.bench.waves import PERIOD, from_events

    made = from_events(np.flatnonzero(kept) * PERIOD, noise=0.002)
    said(capsys, put(tmp_path, written(Dialect(), made.time, [made.volts])), "--out", out)
    after = {path.name for path in out.iterdir()}
    assert after == {"recording.html", "recording.json", "recording-time.svg", "recording-lengths.svg",
                     "recording-spectrum.svg", "notes.txt"}  # fmt: skip


HEAD = "time [us];CH1 [mV]\n"
ROWS = "".join(f"{n};{n % 7}\n" for n in range(200))
SINE = "".join(f"{n};{np.clip(20 * np.sin(n / 9), -9, 9):.3f}\n" for n in range(400))
BAD = {
    "a word": (HEAD + ROWS.replace("\n50;1\n", "\n50;tide\n"), "line 52", "tide"),
    "a gap": (HEAD + "".join(f"{n if n < 90 else n + 5};{n % 7}\n" for n in range(200)), "line 92", "gap"),
    "time backwards": (HEAD + ROWS.replace("\n120;", "\n20;"), "line 122", "back"),
    "no number": (HEAD + ROWS + "200;nan\n", "line 202", "nan"),
    "one field": (HEAD + ROWS + "200\n", "line 202", "1"),
    "empty": ("", "", "empty"),
    "header only": (HEAD, "line 1", "header only"),
    "NUL": ((HEAD + ROWS).encode() + b"200;\0\n", "line 202", "NUL"),
    "UTF-16 without its mark": ((HEAD + ROWS).encode("utf-16-le"), "line 1", "byte order mark"),
    "binary": (bytes(range(256)) * 40, "line 1", "NUL"),
    "clipped": ("Full scale;18 mV\n" + HEAD + SINE, "line 8", "CH1 is clipped 14 times, 278 samples"),
    "five channels": ("t [s];a;b;c;d;e\n" + "".join(f"{n};1;2;3;4;{n}\n" for n in range(9)), "line 1", "5 channels"),
}


@pytest.mark.parametrize("kind", BAD)
def test_a_broken_file_gives_two_names_file_and_line_and_leaves_nothing(capsys, tmp_path, kind):
    content, line, word = BAD[kind]
    path = put(tmp_path, content)
    told = said(capsys, path, "--out", tmp_path / "out", code=2)
    assert told.out == ""
    assert "Traceback" not in told.err
    assert all(str(path) in one for one in told.err.splitlines())
    assert line in told.err
    assert word in told.err
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--channel", "9"], "no channel 9"),
        (["--channel", "CH22"], 'did you mean "CH2"?'),
        (["--probe-factor", "0"], "probe_factor"),
        (["--probe-factor", "ten"], "probe_factor"),
        (["--bandwidth", "20 MV"], "bandwidth"),
        (["--full-scale", "1,5 V"], "full_scale"),
        (["--coupling", "earth"], "coupling"),
        (["--sample-interval", "1 us"], "the time column steps by 4 ns, and 1 µs is stated"),
        (["--ripple-to", "20"], "was a prefix forgotten?"),
        (["--order", "0"], "order"),
    ],
)
def test_a_wrong_option_gives_two_and_names_it(capsys, taken, tmp_path, options, words):
    told = said(capsys, taken, *options, "--out", tmp_path / "out", code=2)
    assert words in told.err
    assert "Traceback" not in told.err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("where", ["nowhere.csv", "."])
def test_what_is_no_file_gives_two(capsys, tmp_path, where):
    assert str(tmp_path / where) in said(capsys, tmp_path / where, code=2).err


@pytest.mark.parametrize("where", ["file", "file/below", "/proc/nowhere/out"])
def test_a_folder_that_cannot_be_written_gives_three(capsys, taken, tmp_path, where):
    (tmp_path / "file").write_text("mine")
    told = said(capsys, taken, "--out", tmp_path / where, code=3)
    assert where in told.err
    assert told.out == ""
    assert {path.name for path in tmp_path.iterdir()} == {"file", taken.name}


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="this user may write everywhere")
def test_a_folder_without_permission_gives_three(capsys, taken, tmp_path):
    (tmp_path / "closed").mkdir(mode=0o500)
    said(capsys, taken, "--out", tmp_path / "closed" / "out", code=3)


def test_a_recording_of_the_demo(capsys):
    text = said(capsys, MODEM, "--order", "2").out
    whole = quantity(cell(text, "mean of the aligned periods").split("  ")[0], "V")
    note = (MODEM.parent / "README.md").read_text(encoding="utf-8")
    stated = quantity(re.search(r"\| brick-modem\.csv \|.*\| ([\d.]+ m?V) \|", note)[1], "V")
    assert whole == pytest.approx(stated, rel=0.03, abs=0)  # second method: the simulation behind the file
    assert cell(text, "bandwidth") == "20 MHz"
