"""A converter's model that is kept: what is wrong with it is said with its own file."""

import os

import pytest

from filterlib import load_design
from filterlib.errors import InputError
from filterlib.parts.tables import data_folder
from filterlib.system.file.writing import kept_text

CLEAN = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
BOARD = """name = "board"
[converter]
kept = "{}"
{}
[[load]]
name = "modem"
kind = "resistive"
resistance = "14 ohm"
"""


def board(folder, name="model.toml", more=""):
    path = folder / "board.toml"
    path.write_text(BOARD.format(name, more), encoding="utf-8")
    return path


def test_a_kept_model_is_that_of_the_design_that_it_was_kept_from(tmp_path):
    """hand: what the kept file says, and what the design says instead."""
    (tmp_path / "model.toml").write_text(kept_text(CLEAN, ["invented"]), encoding="utf-8")
    found = load_design(board(tmp_path, more='duty = "40 %"')).converter
    assert found.ripple.peak_to_peak == CLEAN.converter.ripple.peak_to_peak
    assert found.output_esr == CLEAN.converter.output_esr
    assert found.duty.value == pytest.approx(0.4, rel=1e-12, abs=0)


def test_what_is_wrong_in_a_kept_model_is_said_of_its_file_and_the_rest_of_the_design(tmp_path):
    """Both were said of the design, which has no such key."""
    text = kept_text(CLEAN, ["invented"]).replace('peak_to_peak = "110 mV"', 'peak_to_peak = "110 V"')
    (tmp_path / "model.toml").write_text(text + "bogus = 3\n", encoding="utf-8")
    with pytest.raises(InputError) as refused:
        load_design(board(tmp_path, more='duty = "500 %"'))
    found = {problem.key: os.path.basename(problem.file) for problem in refused.value.problems}
    assert found == {
        "converter.bogus": "model.toml",
        "converter.duty": "board.toml",
        "converter.ripple.peak_to_peak": "model.toml",
    }


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("pipe.toml", "a pipe, and a regular file is needed"),
        ("gone.toml", "no converter is kept in"),
        ("x" * 300 + ".toml", "no converter is kept in"),
        ("../../etc", "can be no name"),
    ],
)
def test_a_name_without_a_file_is_refused(name, words, tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(InputError, match=words):
        load_design(board(tmp_path, name))
