"""Two runs on the same input write the same bytes, whatever the order in which Python hashes its texts."""

import os
import subprocess
import sys
from pathlib import Path

from filterlib.parts.tables import data_folder
from tests.faults.test_commands_under_faults import NEW
from tests.fuzz.sweep import RARE, text_of

ROOT = Path(__file__).parents[1]


def written(folder, seed, commands):
    """Every file of commands in a process of its own, each into its folder."""
    folder.mkdir()
    code = f"from filterlib.cli import main\nfor one in {commands!r}: assert main(one) in (0, 1)"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=folder, check=False, capture_output=True, text=True,
        env=os.environ | {"PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_two_runs_write_the_same_bytes(tmp_path):
    board = tmp_path / "board.toml"
    board.write_text(text_of(RARE), encoding="utf-8")
    commands = [
        ["part", "ceramic", "class2-2u2-50V-1206", "--out", "part"],
        ["new", "boost", *NEW],
        ["schema"],
        ["bank", str(board), "--out", "bank"],
        ["recording", str(data_folder() / "recordings" / "clean-modem.csv"), "--out", "recording"],
    ]
    first, second = (written(tmp_path / seed, seed, commands) for seed in ("1", "2"))
    assert {path.parts[0] for path in first} >= {
        "part",
        "boost.toml",
        "design-keys.html",
        "filter-design.schema.json",
        "bank",
        "recording",
    }
    assert first == second
