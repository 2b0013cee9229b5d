"""The command `verify`, and how the commands share a folder."""

from __future__ import annotations

import json

import pytest

from filterlib import cli
from filterlib.parts.tables import data_folder

CLEAN = data_folder() / "designs" / "tide-gauge-clean.toml"


@pytest.fixture
def quick(monkeypatch):
    """The review without its bands' search: a tenth of the time, and enough for what is tested here."""
    import filterlib.analysis.review as module
    from filterlib.analysis.uncertainty import interval as band

    monkeypatch.setattr(band, "SPREAD", 2)
    monkeypatch.setattr(band, "ROUNDS", 1)
    return module


def said(capsys, *arguments, code=0):
    assert cli.main(["verify", *map(str, arguments)]) == code
    return capsys.readouterr()


def test_the_sheet_is_written_and_its_first_step_said(quick, capsys, tmp_path):
    told = said(capsys, CLEAN, "--out", tmp_path / "out")
    assert told.err == ""
    assert "Before touching: 34.4 mJ stay" in told.out  # hand: 26.4 + 2 x 2.42 + 56.4 µF at 28 V
    assert told.out.endswith(f"Page: {tmp_path / 'out' / 'verify.html'}\n")
    found = json.loads((tmp_path / "out" / "verify.json").read_text(encoding="utf-8"))
    first = found["stations"][0]["checks"][0]
    assert first["expected_V"] == pytest.approx(0.110, rel=1e-6, abs=0)  # hand: the design file
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        "verify.html", "verify.json", "verify-circuit.svg", "readings.toml"
    }  # fmt: skip


def test_review_and_verify_share_a_folder(quick, capsys, tmp_path):
    out = tmp_path / "out"
    cli.main(["review", str(CLEAN), "--out", str(out)])
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    said(capsys, CLEAN, "--out", out)
    assert all((out / name).read_bytes() == contents for name, contents in before.items())
    cli.main(["review", str(CLEAN), "--out", str(out)])
    assert (out / "verify.html").is_file()
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


BROKEN = {
    "not TOML": (b"[converter\n", "line 1"),
    "NUL": (CLEAN.read_bytes() + b"\0", "zero byte"),
    "UTF-16": (CLEAN.read_text(encoding="utf-8").encode("utf-16"), "not text"),
    "binary": (bytes(range(256)), "not text"),
    "empty": (b"", "empty"),
    "unknown key": (CLEAN.read_bytes().replace(b"duty =", b"dutty ="), "duty"),
    "wrong unit": (CLEAN.read_bytes().replace(b'"110 mV"', b'"110 mA"'), "110 mA"),
    "decimal comma": (CLEAN.read_bytes().replace(b'"110 mV"', b'"0,11 V"'), "0,11"),
    "unknown part": (CLEAN.read_bytes().replace(b"cm-1m0-5A", b"cm-1m0-5B"), "cm-1m0-5A"),
    "no load": (CLEAN.read_bytes().split(b"[[load]]")[0], "load"),
    "not finite": (CLEAN.read_bytes().replace(b'"110 mV"', b"nan"), "peak_to_peak"),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_a_broken_design_gives_two_and_leaves_nothing(capsys, tmp_path, kind):
    content, words = BROKEN[kind]
    path = tmp_path / "design.toml"
    path.write_bytes(content)
    told = said(capsys, path, "--out", tmp_path / "out", code=2)
    assert words in told.err
    assert "Traceback" not in told.err
    assert all(str(path) in line for line in told.err.splitlines())
    assert told.out == ""
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize("where", ["nowhere.toml", "."])
def test_what_is_no_file_gives_two(capsys, tmp_path, where):
    assert str(tmp_path / where) in said(capsys, tmp_path / where, "--out", tmp_path / "out", code=2).err


@pytest.mark.parametrize("where", ["file", "file/below", "/proc/nowhere/out"])
def test_a_folder_that_cannot_be_written_gives_three(quick, capsys, tmp_path, where):
    (tmp_path / "file").write_text("mine")
    told = said(capsys, CLEAN, "--out", tmp_path / where, code=3)
    assert where in told.err
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_a_foreign_file_of_the_same_name_is_never_replaced(quick, capsys, tmp_path):
    (tmp_path / "verify.html").write_text("mine")
    told = said(capsys, CLEAN, "--out", tmp_path, code=3)
    assert "verify.html: is there already" in told.err
    assert [path.name for path in tmp_path.iterdir()] == ["verify.html"]


def test_an_interruption_leaves_nothing(quick, capsys, tmp_path, monkeypatch):
    import filterlib.show.verify as module

    def interrupted(sheet, folder):
        raise KeyboardInterrupt

    monkeypatch.setattr(module, "write_sheet", interrupted)
    assert "no half-written results" in said(capsys, CLEAN, "--out", tmp_path / "out", code=130).err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["review", "recording", "part", "verify"])
def test_every_command_has_help_with_examples_and_exit_codes(capsys, command):
    with pytest.raises(SystemExit) as stopped:
        cli.main([command, "--help"])
    assert stopped.value.code == 0
    text = capsys.readouterr().out
    assert f"filterlib {command} " in text.split("examples:")[1]
    assert "2  the input was refused" in text
    assert "3  the output could not be written" in text
