"""A system that has no more room, or takes no writing: exit code 3, the old results whole, nothing left over."""

import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from filterlib import cli

ROOT = Path(__file__).parents[2]
COMMAND = ["part", "ceramic", "class2-2u2-50V-1206", "--out"]


def files(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.skipif(not hasattr(resource, "RLIMIT_FSIZE"), reason="this system has no such limit")
def test_files_that_may_not_grow_leave_the_old_results(tmp_path, capsys):
    """The system itself refuses here, at 20 kB of a file, as it does where a disk or a quota is full."""
    out = tmp_path / "out"
    assert cli.main([*COMMAND, str(out)]) == 0
    before = files(out)
    code = f"import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000)); from filterlib.cli import main; sys.exit(main({[*COMMAND, str(out)]!r}))"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 3
    assert done.stderr.startswith(f"filterlib: {out}: cannot be written: File too large")
    assert done.stderr.count("\n") == 1
    assert files(out) == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize(
    "what", ["a file", "a link to nothing", "below a file", "no name", "where nothing can be made"]
)
def test_a_place_that_cannot_be_is_refused_with_exit_code_3(what, tmp_path, capsys):
    (tmp_path / "file").write_text("mine")
    (tmp_path / "link").symlink_to("nowhere")
    place = {
        "a file": "file",
        "a link to nothing": "link",
        "below a file": "file/out",
        "no name": "",
        "where nothing can be made": "/proc/out",
    }[what]
    assert cli.main([*COMMAND, place and os.path.join(tmp_path, place)]) == 3
    assert capsys.readouterr().err.count("\n") == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "link"]
    assert (tmp_path / "file").read_text() == "mine"


WRITERS = {
    "review": ["review", "gone.toml"],
    "verify": ["verify", "gone.toml"],
    "compare": ["compare", "gone.toml", "gone.toml"],
    "damp": ["damp", "gone.toml"],
    "bank": ["bank", "gone.toml"],
    "bench": ["bench", "gone.toml", "--reading", "modem 20MHz 5 mV"],
    "recording": ["recording", "gone.csv"],
    "part": ["part", "gone.toml", "C1"],
    "pages": ["pages"],
}


@pytest.mark.parametrize("command", WRITERS)
@pytest.mark.parametrize("place", ["", " ", "file"])
def test_a_place_is_refused_before_anything_is_read(command, place, tmp_path, capsys, monkeypatch):
    """It was refused after a minute's work, which was then lost."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file").write_text("mine")
    assert cli.main([*WRITERS[command], "--out", place]) == 3
    assert "gone" not in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


@pytest.mark.parametrize(("command", "code"), [("schema", 2), ("lab", 3), ("new", 2)])
def test_so_is_a_folder_or_a_file_without_a_name(command, code, tmp_path, capsys, monkeypatch):
    """`schema` and `lab` took it for the folder that one is in."""
    monkeypatch.chdir(tmp_path)
    assert cli.main([command, ""]) == code
    assert capsys.readouterr().err.count("\n") == 1
    assert not list(tmp_path.iterdir())
