"""What the README says works: its example design gives an answer with its band, its code runs, its commands are there."""

import re
from pathlib import Path

import pytest

from filterlib import cli, load_design
from filterlib.analysis.review import review

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language):
    return re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)


EXAMPLES = README.split("<!-- examples -->\n```sh\n")[1].split("```")[0].strip().splitlines()


def test_example_design_gives_an_answer_with_its_band(tmp_path):
    (example,) = blocks("toml")
    path = tmp_path / "least.toml"
    path.write_text(example, encoding="utf-8")
    result = review(load_design(path))
    verdict = result.verdicts[0]
    assert verdict.low < verdict.value < verdict.high
    assert verdict.verdict in ("met", "probably met", "undecided", "not met")


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
    given = [str(ROOT / word) if word.startswith("data/") else word for word in words[1:]]
    assert cli.main(given) == (1 if words[1] == "compare" else 0)  # the brick misses its requirements
    assert capsys.readouterr().out.endswith(".html\n")
    assert (tmp_path / out).is_dir()


def test_every_command_has_its_line_and_its_example():
    commands = set(re.findall(r"^\| `(\w+)` \|", README, flags=re.MULTILINE))
    assert {line.split()[1] for line in EXAMPLES} == {"review", "compare", "recording", "part", "verify"}
    assert commands == {"review", "compare", "recording", "part", "verify", "lab", "pages"}


def test_links_lead_somewhere():
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).exists(), target
