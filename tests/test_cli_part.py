"""The command `part`: tables of the library and of one's own, by name, and what it refuses."""

from __future__ import annotations

import json

import pytest

from filterlib import cli
from filterlib.parts.tables import standard_tables

TABLE = """title = "Own"
[[part]]
name = "C9"
kind = "film"
capacitance = "470 nF"
rated_voltage = "63 V"
loss_angle = 0.01
esl = "7 nH"
"""


def said(capsys, *arguments, code=0):
    assert cli.main(["part", *map(str, arguments)]) == code
    return capsys.readouterr()


@pytest.fixture
def own(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(TABLE, encoding="utf-8")
    return path


def test_without_a_name_the_parts_are_listed(capsys):
    text = said(capsys, "ceramic").out
    table = next(table for table in standard_tables() if table.file.endswith("ceramic.toml"))
    assert all(name in text for name in table)
    assert text.splitlines()[0] == f"{table.title}: {len(table)} parts"


def test_a_part_of_a_table_of_ones_own(capsys, own, tmp_path):
    text = said(capsys, own, "C9").out
    assert "470 nF" in text
    assert text.endswith("Figures: give --out FOLDER\n")
    assert [path.name for path in tmp_path.iterdir()] == [own.name]
    text = said(capsys, own, "C9", "--out", tmp_path / "out").out
    assert text.endswith(f"Page: {tmp_path / 'out' / 'part.html'}\n")
    found = json.loads((tmp_path / "out" / "part.json").read_text(encoding="utf-8"))
    assert found["values"]["capacitance_F"] == pytest.approx(470e-9, rel=1e-9, abs=0)  # hand


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["ceramix"], 'did you mean "ceramic"?'),
        (["nowhere.toml", "C1"], "no such file"),
        (["ceramic", "class2-2u2-50V-1207"], 'did you mean "class2-2u2-50V-1206"?'),
        (["film", "zzz"], 'no part "zzz"'),
        (["."], "a folder, and a file is needed"),
        (["ceramic", "--out", "list"], "a part's name is needed"),
        ([""], "no such file"),
    ],
)
def test_what_is_not_there_gives_two(capsys, tmp_path, monkeypatch, arguments, words):
    monkeypatch.chdir(tmp_path)
    told = said(capsys, *arguments, code=2)
    assert words in told.err
    assert told.out == ""
    assert list(tmp_path.iterdir()) == []


BROKEN = {
    "not TOML": (b"[[part]\n", "line 1"),
    "NUL": (TABLE.encode() + b"\0", "zero byte"),
    "UTF-16": (TABLE.encode("utf-16"), "not text"),
    "binary": (bytes(range(256)), "not text"),
    "empty": (b"", "empty"),
    "no part": (b'title = "Own"\n', "[[part]]"),
    "wrong unit": (TABLE.replace("470 nF", "470 nH").encode(), "470 nH"),
    "decimal comma": (TABLE.replace("470 nF", "0,47 µF").encode(), "0,47"),
    "unknown key": (TABLE.replace("loss_angle", "loss_angel").encode(), 'did you mean "loss_angle"?'),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_a_broken_table_gives_two_and_names_the_file(capsys, tmp_path, kind):
    content, words = BROKEN[kind]
    path = tmp_path / "own.toml"
    path.write_bytes(content)
    told = said(capsys, path, "C9", "--out", tmp_path / "out", code=2)
    assert words in told.err
    assert all(str(path) in line for line in told.err.splitlines())
    assert not (tmp_path / "out").exists()


def test_a_folder_that_cannot_be_written_gives_three(capsys, own, tmp_path):
    (tmp_path / "file").write_text("mine")
    told = said(capsys, own, "C9", "--out", tmp_path / "file", code=3)
    assert "is a file, not a folder" in told.err
    assert told.out == ""
    assert (tmp_path / "file").read_text() == "mine"
