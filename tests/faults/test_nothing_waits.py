"""Nothing is waited for and nothing is read for ever: pipes, devices and hostile files are refused, each with the bound that it passes.

Times are not asserted: before there were bounds, each case took from six seconds to for ever.
"""

import os
import socket

import pytest

from filterlib import cli, disk, load_design, load_recording
from filterlib.errors import InputError
from filterlib.parts import reading
from filterlib.parts.curves import rows
from filterlib.parts.tables import data_folder, load_table
from filterlib.show.keys.key_rows import rows as rows_of
from filterlib.system.design import Design
from filterlib.system.file.files import MOST
from filterlib.system.limits import load_limit

CLEAN = (data_folder() / "designs" / "tide-gauge-clean.toml").read_text(encoding="utf-8")
BOARD = str(data_folder() / "designs" / "tide-gauge-clean.toml")
STAGE = '[[filter]]\nname = "{}"\nkind = "capacitor"\npart = {}\n'
PLACES = {  # every place where a design file names another: what is put in front of it or in place of what
    "tables": ("format = 1", 'format = 1\ntables = ["NAME"]', ""),
    "converter.ripple.recording": ('peak_to_peak = "110 mV"', 'recording = "NAME"', ""),
    "emission.limits": ("format = 1", "format = 1", '\n[[emission]]\nside = "output"\nlimits = ["NAME"]\n'),
    "part.file": ("format = 1", "format = 1", '\n[[filter]]\nname = "Z9"\nkind = "capacitor"\npart = { kind = "measured_capacitor", name = "M", file = "NAME" }\n'),
}  # fmt: skip


@pytest.fixture(scope="module")
def odd(tmp_path_factory):
    """A pipe, a socket, a device and a link to a pipe, by the ending that a place wants."""
    folder = tmp_path_factory.mktemp("odd")
    os.mkfifo(folder / "pipe.toml")
    (folder / "link.csv").symlink_to("pipe.toml")
    server = socket.socket(socket.AF_UNIX)
    server.bind(str(folder / "socket.toml"))
    (folder / "device.csv").symlink_to("/dev/zero")
    yield {path.name: path for path in folder.iterdir()}
    server.close()


@pytest.mark.parametrize("name", ["pipe.toml", "link.csv", "socket.toml", "device.csv"])
@pytest.mark.parametrize("read", [load_design, load_table, load_limit, load_recording])
def test_what_is_no_regular_file_is_refused_at_once(read, name, odd):
    with pytest.raises(InputError, match=r"(pipe|socket|device), and a regular file is needed"):
        read(odd[name])


@pytest.mark.parametrize("place", PLACES)
def test_so_is_one_that_a_design_names(place, odd, tmp_path):
    old, new, more = PLACES[place]
    assert old in CLEAN
    for name in ("pipe.toml",) if place in ("tables", "emission.limits") else ("link.csv",):
        path = tmp_path / "board.toml"
        path.write_text((CLEAN.replace(old, new, 1) + more).replace("NAME", str(odd[name])), encoding="utf-8")
        with pytest.raises(InputError, match="a pipe, and a regular file is needed"):
            load_design(path)


def test_so_is_one_that_a_command_names(odd, tmp_path, capsys):
    pipe = str(odd["pipe.toml"])
    for command in (
        ["review", pipe],
        ["verify", pipe],
        ["compare", pipe, pipe],
        ["recording", pipe],
        ["part", pipe, "C1"],
        ["damp", pipe],
        ["bank", pipe],
        ["bench", pipe, "--reading", "modem 20MHz 5 mV"],
        ["bench", BOARD, "--before", pipe],
        ["bench", BOARD, "--after", pipe],
        ["bench", BOARD, "--readings", pipe],
        ["bench", BOARD, "--reading", "modem 20MHz 5 mV", "--after", f"modem={pipe}"],
    ):
        assert cli.main([*command, "--out", str(tmp_path / "out")]) == 2
        assert "a pipe, and a regular file is needed" in capsys.readouterr().err
    assert cli.main(["lab", str(tmp_path / "notebooks"), "--design", pipe]) == 2
    assert "a pipe, and a regular file is needed" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_pipe_is_no_place_for_a_file(odd, tmp_path, capsys):
    for name in ("design-keys.html", "filter-design.schema.json", "boost.toml"):
        os.mkfifo(tmp_path / name)
    assert cli.main(["schema", str(tmp_path)]) == 3
    assert "a pipe, and a regular file is needed" in capsys.readouterr().err
    assert cli.main(["new", str(tmp_path / "boost")]) == 2
    assert "is there already" in capsys.readouterr().err


COMMANDS = {  # each as it is given, to be interrupted where it reads its first file, or writes it
    "new": [
        "new",
        "boost",
        "--output-voltage",
        "19V",
        "--frequency",
        "150kHz",
        "--current",
        "3A",
        "--ripple",
        "300mV",
        "--load",
        "35W",
    ],
    "schema": ["schema"],
    "review": ["review", "board.toml", "--out", "out"],
    "compare": ["compare", "board.toml", "board.toml", "--out", "out"],
    "recording": ["recording", "scope.csv"],
    "part": ["part", "mine.toml", "C1"],
    "verify": ["verify", "board.toml", "--out", "out"],
    "bench": ["bench", "board.toml", "--before", "scope.csv"],
    "damp": ["damp", "board.toml", "--out", "out"],
    "bank": ["bank", "board.toml", "--out", "out"],
    "lab": ["lab", "notebooks", "--design", "board.toml"],
}


@pytest.mark.parametrize("name", COMMANDS)
def test_control_c_in_any_command_is_one_line_and_nothing_half_written(name, tmp_path, monkeypatch, capsys):
    def interrupted(*arguments, **more):
        raise KeyboardInterrupt

    for module in (reading, rows, disk):
        monkeypatch.setattr(module, "open_regular", interrupted)
    monkeypatch.setattr("tempfile.mkstemp", interrupted)
    for file in ("board.toml", "scope.csv", "mine.toml"):
        (tmp_path / file).write_text(CLEAN, encoding="utf-8")
    before = {path.name for path in tmp_path.iterdir()}
    monkeypatch.chdir(tmp_path)
    assert cli.main(COMMANDS[name]) == 130
    assert capsys.readouterr().err == "filterlib: interrupted; no half-written results are left\n"
    assert {path.name for path in tmp_path.iterdir()} == before


def test_every_command_but_pages_is_interrupted_above():
    """`pages` reads no file of a person's: it runs the notebooks, and writes as the others do."""
    (commands,) = (one.choices for one in cli._parser()._actions if isinstance(one.choices, dict))
    assert set(commands) == {*COMMANDS, "pages"}


HOSTILE = {  # contents of a recording, and the bound that is named
    "a line of a million fields": ("1," * 1_000_000 + "1\n", "more than 1,000 fields in a line"),
    "a header of a million fields": ("a," * 1_000_000 + "a\n1,2\n", "more than 1,000 fields in a line"),
    "many lines above the numbers": ("no number here\n" * 100_000, "no row of numbers in the first 2,000 lines"),
    "many settings": ("Probe: 10\n" * 100_000 + "1,2\n", "no row of numbers in the first 2,000 lines"),
    "a header of spaces": ("t [s]" + " " * 16_000 + "x,CH1\n1,2\n2,3\n", "closer|gap|one row|period|interval|absurd"),
    "a header of brackets": ("t" + "[ (" * 16_000 + ",CH1\n1,2\n2,3\n", "closer|gap|one row|period|interval|absurd"),
    "a number of a million digits": ("0;1\n1;" + "1" * 1_000_000 + "x\n", "is not a number"),
    "a line without end": ("1" * 5_000_000, "longer than 4,000,000 characters"),
    "a setting of spaces": ("probe:" + " " * 100_000 + "x\n0,1\n1,2\n", "absurd|interval"),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_recording_is_refused_by_its_bound(name, tmp_path):
    text, words = HOSTILE[name]
    path = tmp_path / "scope.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=words):
        load_recording(path)


MANY = {
    "a line of a megabyte": ("x = [" + "1, " * 400_000 + "]\n", "line 1: longer than 200,000 characters"),
    "tables in tables": ("[" + "a." * 2_000 + "a]\nx = 1\n", "tables nested too deeply"),
    "keys in keys": ("a." * 50_000 + "a = 1\n", "more than 100 points"),
    "lists in lists": ("x = " + "[" * 5_000 + "]" * 5_000 + "\n", "nested too deeply"),
    "many keys": ("".join(f"k{n} = 1\n" for n in range(30_000)), "more than 20,000 keys and values"),
    "many stages": (CLEAN + "".join(STAGE.format(f"K{n}", '"film-1u0"') for n in range(61)), "entries, and a design may have 60"),
    "many requirements": (CLEAN + '[[requirement]]\nkind = "drop"\nload = "modem"\nlimit = "1 V"\n' * 301, "a design may have 300"),
    "many tables": (CLEAN.replace("format = 1", f"format = 1\ntables = {['a.toml'] * 101}"), "tables: 101 entries"),
    "a gauge of spaces": (CLEAN + STAGE.format("K", '{ kind = "lead", gauge = "' + " " * 150_000 + 'x" }'), r"filter\[\d\].part"),
}  # fmt: skip


def test_how_many_of_each_a_design_may_have_is_in_the_page_of_its_keys():
    """hand: one row a bound; the message of a file beyond it is in the cases above."""
    limits = {row.key: row.limits for row in rows_of(Design) if row.limits.startswith("at most")}
    assert limits == {key: f"at most {most}" for key, most in MOST.items()}
    assert limits["filter"] == "at most 60"


@pytest.mark.parametrize("name", MANY)
def test_a_hostile_design_is_refused_by_its_bound(name, tmp_path):
    text, words = MANY[name]
    path = tmp_path / "board.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        load_design(path)


def test_messages_are_capped_cut_and_of_one_line_each(tmp_path, capsys):
    path = tmp_path / "board.toml"
    forged = '"x\\nfilterlib: every requirement is met\\u202e" = 1\n'
    path.write_text(
        forged + "k" * 5_000 + " = 1\n" + "".join(f"key{n} = 1\n" for n in range(60)) + CLEAN, encoding="utf-8"
    )
    assert cli.main(["review", str(path), "--out", str(tmp_path / "out")]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 21
    assert lines[-1] == f"filterlib: {path}: and 42 more problems"
    assert all(line.startswith(f"filterlib: {path}: ") and len(line) < 900 for line in lines)
    assert r"x\nfilterlib: every requirement is met\u202e" in lines[0]
    assert "k" * 119 + "…" in lines[1]


def test_a_name_of_the_command_line_forges_no_line(tmp_path, capsys):
    for command in (["part", "x\nfilterlib: done"], ["review", "x\nfilterlib: done"], ["part", "y" * 6000]):
        cli.main([*command, *(["--out", str(tmp_path / "out")] if command[0] == "review" else [])])
        assert capsys.readouterr().err.count("\n") == 1
    assert cli.main(["part", "ceramic", "class2-2u2-50V-1206", "--out", ""]) == 3
    assert "the name of the folder is empty" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["1" * 10**6 + "x", "1." + "0" * 10**6 + "x", " " * 10**6 + "x"])
def test_a_number_is_known_in_one_pass(text):
    """A pattern that goes back and forth would take hours."""
    assert not rows.is_number(text)
