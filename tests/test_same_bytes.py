"""Two runs on the same input write the same bytes, whatever the order in which Python hashes its texts."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]


def written(folder, seed):
    """Every file of a run in a process of its own."""
    command = [sys.executable, "-m", "filterlib.cli", "part", "ceramic", "class2-2u2-50V-1206", "--out", str(folder)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True, env=os.environ | {"PYTHONHASHSEED": seed})
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_two_runs_write_the_same_bytes(tmp_path):
    first, second = written(tmp_path / "first", "1"), written(tmp_path / "second", "2")
    assert len(first) > 2
    assert first == second
