"""Proposed changes as design files: the next command reviews one, and its lines can be pasted into the file at hand."""

import json
import tomllib

import pytest

from filterlib import cli, load_design, save_design
from filterlib.analysis.causes.reasons import reasons
from filterlib.analysis.judgement import judge
from filterlib.parts.choke import DifferentialChoke
from filterlib.show.review_page.change_files import change_files
from filterlib.system.design import Design
from filterlib.system.file.writing import changed_sections
from filterlib.system.inside.recorded import Recorded
from filterlib.system.solution import solve_all
from tests.designs import KNOWN, converter, design, film, series, shunt

COOL = DifferentialChoke(
    name="cool",
    kind="differential_choke",
    inductance="47 µH",
    dc_resistance="5 mohm",
    saturation_current="30 A",
    rated_current="30 A",
    winding_capacitance="10 pF",
)


def asked(limit="3 mV"):
    limits = [{"kind": "ripple", "load": "modem", "bandwidth": "20 MHz", "limit": limit}]
    stages = shunt(name="C1"), series(name="L1"), shunt(name="C2", part=film(name="own"))
    return design(*stages, source=converter(**KNOWN), requirement=limits)


@pytest.fixture(scope="module")
def found():
    was = judge(solve_all(asked()))
    return reasons(was.points[0].solution, "modem", parts={"cool": COOL}, judgement=was)


def test_the_next_command_reviews_the_change(tmp_path, capsys):
    """The terminal names the file; that file is read, and meets everything, as the page promised."""
    save_design(asked(), tmp_path / "now.toml")
    assert cli.main(["review", str(tmp_path / "now.toml"), "--out", str(tmp_path / "review")]) == 1
    (line,) = [line for line in capsys.readouterr().out.splitlines() if "Change first: filterlib review" in line]
    file = line.split("Change first: filterlib review ")[1].split(" --out")[0]
    assert file.startswith(str(tmp_path / "review" / "changes" / "1-"))
    listed = json.loads((tmp_path / "review" / "results.json").read_text())
    assert file.removeprefix(f"{tmp_path / 'review'}/") in listed["files"]
    assert cli.main(["review", file, "--out", str(tmp_path / "after")]) == 0
    after = json.loads((tmp_path / "after" / "results.json").read_text())
    promised = listed["reasons"]["proposals"][0]["requirements"][0]
    assert after["requirements"][0]["high_V"] == pytest.approx(promised["high_V"], rel=1e-6, abs=0)


def test_a_file_is_the_judged_design(found, tmp_path):
    first, best = change_files(found)[0], found.proposals[0]
    (tmp_path / "one.toml").write_text(first.text)
    read = load_design(tmp_path / "one.toml")
    assert read.replace(name="x") == best.design.replace(name="x")
    assert read.name == "test, change 1"


def test_a_change_is_put_into_the_persons_own_text(found, tmp_path):
    """Comments, units and the line of the schema stay; what an earlier run said of the file goes."""
    save_design(asked(), tmp_path / "now.toml")
    text = (tmp_path / "now.toml").read_text()
    own = f"#:schema ./keys.json\n# filterlib-run-0123456789abcdef\n# told before\n\n# my note\n{text}# the end\n"
    (tmp_path / "now.toml").write_text(own)
    first = change_files(found, tmp_path / "now.toml")[0].text
    assert first.startswith(f"#:schema {tmp_path / 'keys.json'}\n# filterlib-run-pending\n# Fit cool")
    assert "# my note" in first
    assert "# the end" in first
    assert "told before" not in first
    (tmp_path / "changed.toml").write_text(first)
    assert load_design(tmp_path / "changed.toml").filter == found.proposals[0].design.filter


def test_lines_pasted_into_the_old_file_make_the_new_one(found):
    """second method: every section that differs, parsed by itself, is what the judged design has there."""
    first, best = change_files(found)[0], found.proposals[0]
    (text,) = first.sections
    assert text.startswith("# before L1:\n[[filter]]\n")
    (stage,) = tomllib.loads(text)["filter"]
    kept = [one for one in best.design.filter if one.name != stage["name"]]
    assert kept == list(asked().filter)
    assert [one.name for one in best.design.filter] == ["C1", stage["name"], "L1", "C2"]


def test_what_breaks_something_has_no_file(found):
    words = {one.words.lower() for one in change_files(found)}
    assert not words & {one.words.lower() for one in found.proposals if one.broken}


def test_a_recorded_converter_has_lines_to_paste_and_says_why_it_has_no_file(found):
    """hand: the recording stays in the file that names it."""
    one = asked()
    heard = Recorded("terminals.csv", 180e3, (0.02 + 0j, 0j, 0.01j))
    ripple = one.converter.ripple.model_copy(update={"recording": heard})
    recorded: Design = one.model_copy(update={"converter": one.converter.model_copy(update={"ripple": ripple})})
    more = recorded.model_copy(update={"filter": found.proposals[0].design.filter})
    assert changed_sections(recorded, more) == change_files(found)[0].sections
