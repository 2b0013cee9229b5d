"""The command `compare`: exit codes, what it says, and what is refused."""

from __future__ import annotations

import json

import pytest

from filterlib import cli
from filterlib.analysis.uncertainty import interval as band
from filterlib.parts.tables import data_folder
from tests.reviews import review_kept

DESIGNS = data_folder() / "designs"
CLEAN, BRICK = DESIGNS / "tide-gauge-clean.toml", DESIGNS / "tide-gauge-brick.toml"
LEAST = """
name = "{name}"
[converter]
name = "Gannet (invented)"
output_voltage = "28 V"
switching_frequency = "180 kHz"
shape = "triangle"
ripple = {{ peak_to_peak = "{ripple}" }}
[[load]]
name = "{load}"
kind = "resistive"
resistance = "14 ohm"
[[requirement]]
kind = "ripple"
load = "{load}"
limit = "300 mV"
"""


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(band, "SPREAD", 2)
    monkeypatch.setattr(band, "ROUNDS", 0)


@pytest.fixture
def least(tmp_path):
    def write(file, *, name=None, ripple="110 mV", load="modem"):
        path = tmp_path / f"{file}.toml"
        path.write_text(LEAST.format(name=name or file, ripple=ripple, load=load), encoding="utf-8")
        return path

    return write


def said(capsys, *arguments, code=0):
    assert cli.main(["compare", *map(str, arguments)]) == code
    return capsys.readouterr()


def test_the_demonstrations(capsys, tmp_path, monkeypatch):
    """hand: one filter, two converters, and the brick misses its requirements."""
    review_kept(monkeypatch)
    told = said(capsys, CLEAN, BRICK, "--out", tmp_path / "out", code=1)
    assert told.err == ""
    assert told.out.startswith("It is the same filter (C1, L1, C2) on two converters: A behind Harbour 28-4")
    assert "At modem B leaves" in told.out
    assert "A: ✓ met: Tide gauge, clean converter\nB: ✗ not met: Tide gauge, low-cost brick\n" in told.out
    assert max(map(len, told.out.splitlines()[:-1])) <= 100
    assert len(told.out.splitlines()) <= 12
    assert told.out.endswith(f"Page: {tmp_path / 'out' / 'compare.html'}\n")
    found = json.loads((tmp_path / "out" / "compare.json").read_text(encoding="utf-8"))
    assert set(found["loads"]) == {"modem", "logger"}
    assert found["exit_code"] == 1


@pytest.mark.parametrize(("ripple", "code"), [("120 mV", 0), ("400 mV", 1)])
def test_exit_code_is_the_worse_of_both_reviews(capsys, tmp_path, least, ripple, code):
    first, second = least("first"), least("second", ripple=ripple)
    said(capsys, first, second, "--out", tmp_path / "out", code=code)
    said(capsys, second, first, "--out", tmp_path / "out", code=code)
    alone = [cli.main(["review", str(path), "--out", str(tmp_path / "review")]) for path in (first, second)]
    assert max(alone) == code


def refused(capsys, tmp_path, *words, first, second, code=2):
    before = sorted(path.name for path in tmp_path.iterdir())
    told = said(capsys, first, second, "--out", tmp_path / "out", code=code)
    assert told.out == ""
    assert "Traceback" not in told.err
    for word in words:
        assert word in told.err
    assert sorted(path.name for path in tmp_path.iterdir()) == before


def test_missing_files_are_both_named(capsys, tmp_path, least):
    here, nowhere = least("first"), tmp_path / "nowhere.toml"
    refused(capsys, tmp_path, str(nowhere), first=here, second=nowhere)
    refused(capsys, tmp_path, str(nowhere), str(tmp_path / "other.toml"), first=nowhere, second=tmp_path / "other.toml")


def test_what_is_wrong_in_either_is_said_at_once(capsys, tmp_path, least):
    first, second = least("first", ripple="110 mA"), least("second", ripple="0,1 V")
    refused(capsys, tmp_path, f"{first}: converter.ripple", f"{second}: converter.ripple", first=first, second=second)


def test_no_load_in_common(capsys, tmp_path, least):
    words = "no load has the same name in both designs (first has modem and second has radio)"
    refused(capsys, tmp_path, words, first=least("first"), second=least("second", load="radio"))


def test_one_title_on_two_designs(capsys, tmp_path, least):
    first, second = least("first", name="board"), least("second", name="board", ripple="90 mV")
    refused(capsys, tmp_path, 'both designs are called "board"', first=first, second=second)


def test_one_design_beside_itself(capsys, tmp_path, least):
    path = least("first")
    assert "Both files state the same design" in said(capsys, path, path, "--out", tmp_path / "out").out


def test_a_folder_that_cannot_be_written_gives_three(capsys, tmp_path, least):
    (tmp_path / "out").write_text("mine")
    refused(capsys, tmp_path, "out", first=least("first"), second=least("second"), code=3)
    assert (tmp_path / "out").read_text() == "mine"


def test_it_shares_a_folder_with_review(capsys, tmp_path, least):
    first, out = least("first"), tmp_path / "out"
    cli.main(["review", str(first), "--out", str(out)])
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    said(capsys, first, least("second", ripple="90 mV"), "--out", out)
    assert all((out / name).read_bytes() == contents for name, contents in before.items())
