"""The command that compares a built board with its design."""

import json
import os
from pathlib import Path

import pytest

from filterlib.cli import main
from filterlib.parts.tables import data_folder

CLEAN = str(data_folder() / "designs" / "tide-gauge-clean.toml")
RECORDINGS = data_folder() / "recordings"


def test_two_captures_in_one_page_out(tmp_path, capsys):
    before, after = (str(RECORDINGS / f"clean-{place}.csv") for place in ("terminals", "modem"))
    assert (
        main(
            ["bench", CLEAN, "--before", before, "--after", f"modem@transmitting={after}", "--out", str(tmp_path / "a")]
        )
        == 0
    )
    said = capsys.readouterr().out
    assert "Every reading agrees with the design" in said
    assert "The board as designed explains all readings" in said
    numbers = json.loads((tmp_path / "a" / "bench.json").read_text())
    assert [one["outcome"] for one in numbers["answers"]] == ["agrees", "agrees"]
    assert numbers["answers"][1]["station"] == "modem 20MHz transmitting"
    assert len(numbers["harmonics"][0]["attenuation_dB"]) == len(numbers["harmonics"][0]["clear"])
    page = (tmp_path / "a" / "bench.html").read_text()
    assert "Photographs" in page
    assert page.count("<svg") == 2


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ((), "nothing to compare"),
        (("--after", "no.csv"), "no.csv"),
        (("--reading", "antenna 20MHz 3 mV"), "antenna"),
        (("--readings", "no.toml"), "no.toml"),
        (("--reading", "modem 20MHz 4,8 mV"), "the decimal sign is a point"),
        (("--reading", "modem 20MHz 4.8 mV", "--before-load", "2 A"), "give --before, too"),
        (("--before", str(RECORDINGS / "brick-terminals.csv"), "--reading", "modem 20MHz 4 mV"), "another converter"),
    ],
)
def test_bad_input_is_one_clear_error(capsys, options, words):
    assert main(["bench", CLEAN, *options]) == 2
    said = capsys.readouterr()
    assert words in said.err
    assert "Traceback" not in said.err


def test_a_clipped_capture_is_refused_with_its_line(tmp_path, capsys):
    """Cut at both ends of the full scale that the file states."""
    text = (RECORDINGS / "clean-modem.csv").read_text(encoding="utf-8").replace("Full scale;10 mV", "Full scale;4 mV")
    head, rows = text.split("CH1 [mV]\n")
    cut = (f"{min(max(float(row.replace(',', '.')), -2.0), 2.0):.3f}".replace(".", ",") for row in rows.split())
    file = tmp_path / "clipped.csv"
    file.write_text("\n".join([f"{head}CH1 [mV]", *cut]), encoding="utf-8")
    assert main(["bench", CLEAN, "--before", str(RECORDINGS / "clean-terminals.csv"), "--after", str(file)]) == 2
    assert "line 116: CH1 is clipped" in capsys.readouterr().err


def test_a_figure_that_does_not_agree_is_exit_code_1(capsys):
    assert main(["bench", CLEAN, "--reading", "modem 20MHz 300 mV"]) == 1
    assert "does not agree" in capsys.readouterr().out


def test_nothing_is_learned_of_a_board_with_a_fault(tmp_path, capsys):
    before, after = (str(RECORDINGS / f"clean-{place}.csv") for place in ("terminals", "modem-bridged"))
    new = tmp_path / "new.toml"
    assert main(["bench", CLEAN, "--before", before, "--after", after, "--learned", str(new)]) == 2
    said = capsys.readouterr()
    assert "L1 is bridged" in said.out
    assert "nothing is learned" in said.err
    assert not new.exists()


def test_what_is_learned_is_shown_beside_what_was_known_and_kept(tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    before, after = (str(RECORDINGS / f"clean-{place}.csv") for place in ("terminals", "modem"))
    taken = ["bench", CLEAN, "--before", before, "--after", after]
    assert main([*taken, "--learned", str(tmp_path / "new.toml"), "--keep", "heron"]) == 0
    said = capsys.readouterr().out
    assert "narrow no range" in said  # the clean unit states its converter closely
    assert 'kept = "heron" under [converter]' in said
    assert (tmp_path / "filterlib" / "converters" / "heron.toml").read_text().startswith("# ")
    assert main([*taken, "--keep", "heron"]) == 2
    assert "is there already" in capsys.readouterr().err
    assert main([*taken, "--keep", "../heron"]) == 2
    assert "can be no name" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "words"),
    [("", "a file needs a name"), ("pipe.toml", "is there already"), ("nowhere.toml", "is there already")],
)
def test_what_is_learned_has_a_place_before_anything_is_computed(name, words, tmp_path, capsys, monkeypatch):
    """A pipe, a link that leads nowhere, no name: each was found after the work, and the figures were lost."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("filterlib.bench.answers.answer.bench", None)  # fails where anything is computed
    os.mkfifo("pipe.toml")
    Path("nowhere.toml").symlink_to("gone.toml")
    assert main(["bench", CLEAN, "--reading", "modem 20MHz 5 mV", "--learned", name]) == 2
    assert words in capsys.readouterr().err


@pytest.mark.parametrize("line", ["modm 20MHz", "modem 21MHz", "modem 20MHz nowhere"])
def test_a_wrong_line_of_a_readings_file_is_said_with_that_file(line, tmp_path, capsys):
    """It was said of the design file, which has no such line."""
    file = tmp_path / "readings.toml"
    file.write_text(f'[readings]\n"modem 20MHz" = "4.8 mV"\n"{line}" = "5 mV at 2 A"\n', encoding="utf-8")
    assert main(["bench", CLEAN, "--readings", str(file)]) == 2
    assert capsys.readouterr().err.startswith(f'filterlib: {file}: readings: reading "{line} 5 mV')
