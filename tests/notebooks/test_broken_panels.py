"""A notebook whose panel is broken fails under nbmake, however well the fault hides; a sound one passes."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest

ROOT = Path(__file__).parents[2]
START = "from dataclasses import replace\nfrom tests.show import panel_maker as maker\n"
SOUND = "panel = maker.panel()"
CELLS = {
    "sound": SOUND,
    "first_draw": "panel = maker.panel(compute=lambda pair: 1 / 0)",
    "one_end": "panel = maker.panel(compute=lambda pair: maker.compute(pair) if pair.ohms < 9e3 else 1 / 0)",
    "dead_control": "panel = maker.panel(controls=lambda: [*maker.controls(), maker.Control('spare', 'spare', 'ohm', 1, 9, 2)])",
    "start_outside": "panel = maker.panel(controls=lambda: [maker.Control('ohms', 'resistance', 'ohm', 1, 9, 1e3)])",
    "while_drawing": "panel = maker.panel(picture=lambda: maker.picture(lambda a: (maker.FREQUENCIES, a.level[: int(a.corner)])))",
}
WORDS = {
    "first_draw": "ZeroDivisionError",
    "one_end": "resistance at its high end, 10 kΩ: ZeroDivisionError",
    "dead_control": "spare: does nothing",
    "start_outside": "outside its range, 1 Ω to 9 Ω",
    "while_drawing": "resistance at its high end",
}


@pytest.fixture(scope="module")
def outcome(tmp_path_factory):
    """What nbmake says of a sound notebook and of a broken one: name -> (passed, report)."""
    folder = tmp_path_factory.mktemp("broken")
    for name in ("sound", "one_end"):
        cells = [nbformat.v4.new_code_cell(text) for text in (START + CELLS[name], "panel", "panel.check()")]
        book = nbformat.v4.new_notebook(cells=cells)
        book.metadata.kernelspec = {"name": "python3", "display_name": "Python 3", "language": "python"}
        nbformat.write(book, folder / f"{name}.ipynb")
    command = [
        sys.executable,
        "-m",
        "pytest",
        "--nbmake",
        "-p",
        "no:cacheprovider",
        "-rA",
        str(folder),
        "--rootdir",
        folder,
    ]
    path = os.pathsep.join([str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])])
    done = subprocess.run(command, capture_output=True, text=True, check=False, env={**os.environ, "PYTHONPATH": path})
    return done.stdout


def test_nbmake_fails_on_a_broken_panel_and_on_no_other(outcome):
    assert re.search(r"^PASSED .*sound\.ipynb", outcome, re.MULTILINE), outcome
    assert re.search(r"^FAILED .*one_end\.ipynb", outcome, re.MULTILINE), outcome
    assert WORDS["one_end"] in outcome


@pytest.mark.parametrize("name", WORDS)
def test_the_check_says_what_is_wrong(name):
    """As the notebook's last cell does, whose error is what nbmake reports."""
    names = {}
    with (
        pytest.raises(Exception, match=re.escape(WORDS[name]))
        if name != "first_draw"
        else pytest.raises(ZeroDivisionError)
    ):
        exec(START + CELLS[name] + "\npanel.check()", names)
