"""What the README says works: its first file and its example design give an answer with its interval, its code runs, its commands are there."""

import json
import re
import shlex
from pathlib import Path

import pytest

from filterlib import cli, load_design, solve
from filterlib.analysis.ripple.nominal import nominal
from tests.reviews import review_kept

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language):
    return re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)


EXAMPLES = README.split("<!-- examples -->\n```sh\n")[1].split("```")[0].strip().splitlines()


def test_from_an_empty_folder_to_a_verdict_on_a_design_of_ones_own(tmp_path, monkeypatch, capsys):
    """A boost from 12 V to 19 V at 3 A and 150 kHz, with 300 mV in 20 MHz, spikes of 0.9 V, a pi filter and a load of 35 W."""
    new, review = README.split("<!-- first file -->\n```sh\n")[1].split("```")[0].strip().splitlines()
    monkeypatch.chdir(tmp_path)
    assert cli.main(shlex.split(new)[1:]) == 0
    assert capsys.readouterr().out.strip().endswith(f"Next: {review}")
    assert cli.main(shlex.split(review)[1:]) in (0, 1)
    design = load_design("boost.toml")
    assert (design.converter.ripple.load_current, design.loads[0].power) == (3.0, 35.0)
    numbers = json.loads((tmp_path / "boost-review" / "results.json").read_text(encoding="utf-8"))
    (verdict,) = numbers["requirements"]
    assert 0 < verdict["low_V"] < verdict["value_V"] < verdict["high_V"]
    assert verdict["limit_V"] == pytest.approx(30e-3, rel=1e-9, abs=0)  # hand: a tenth of 300 mV
    assert "ESL of C1" in (tmp_path / "boost-review" / "review.html").read_text(encoding="utf-8")


def test_example_design_gives_an_answer(tmp_path):
    (example,) = blocks("toml")
    path = tmp_path / "least.toml"
    path.write_text(example, encoding="utf-8")
    assert nominal(solve(load_design(path)), "modem").ripple.max() > 0


@pytest.mark.parametrize("code", blocks("python"))
def test_code_runs(code, monkeypatch):
    monkeypatch.chdir(ROOT)
    exec(compile(code, "README.md", "exec"), {})


def test_commands_are_marked():
    """CI takes the test command from here; both stand on one line, ready to be copied."""
    for mark in ("main command", "test command"):
        command = README.split(f"<!-- {mark} -->\n```sh\n")[1].split("```")[0].strip()
        assert command.startswith("python3 -m venv")
        assert "\n" not in command


@pytest.mark.parametrize("line", EXAMPLES)
def test_an_example_of_a_command_runs(line, tmp_path, monkeypatch, capsys):
    words = line.split()
    assert words[0] == "filterlib"
    out = words[words.index("--out") + 1]
    monkeypatch.chdir(tmp_path)
    review_kept(monkeypatch)
    given = [str(ROOT / word) if word.startswith("data/") else word for word in words[1:]]
    assert cli.main(given) == (1 if words[1] in ("compare", "bench") else 0)  # the brick misses its requirements
    assert capsys.readouterr().out.endswith(".html\n")
    assert (tmp_path / out).is_dir()


def test_every_command_has_its_line_and_its_example():
    commands = set(re.findall(r"^\| `(\w+)` \|", README, flags=re.MULTILINE))
    assert {line.split()[1] for line in EXAMPLES} == {"review", "compare", "recording", "part", "verify", "bench"}
    assert commands == {
        "new",
        "schema",
        "review",
        "compare",
        "recording",
        "part",
        "verify",
        "bench",
        "damp",
        "bank",
        "lab",
        "pages",
    }


def test_links_lead_somewhere():
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).exists(), target
