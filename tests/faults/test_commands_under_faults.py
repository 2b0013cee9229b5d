"""A fault at any call of the file system while a whole command runs: what it writes is there whole, or as it was, and nothing is left over."""

import json
import os
from pathlib import Path

import pytest

from filterlib import cli, load_design
from filterlib.errors import OutputError
from filterlib.parts.tables import data_folder
from filterlib.show.folder import run_of
from filterlib.show.keys import key_page, schema
from filterlib.show.notebook_pages.notebooks import fresh_copies, own_notebook
from tests.faults import injected

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork")
NEW = [
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
    "--filter",
    "1 µF film",
]
CLEAN = data_folder() / "designs" / "tide-gauge-clean.toml"
PROFILE = '\n[load.profile]\nidle = "15 %"\nburst = "5 ms"\nperiod = "2 s"\nlowest_voltage = "22 V"\n'
RATING = '\n[converter.rating]\noutput_current = "3 A"\n'
OWN_FILES = 98  # the program cannot read a template of its own: a fault, and said to be one


@pytest.fixture(autouse=True)
def _quick(monkeypatch):
    """Texts that are always the same are made once."""
    schema_text, key_html = schema.schema_text(), key_page.key_html()
    monkeypatch.setattr(os, "fsync", lambda descriptor: None)
    monkeypatch.setattr(schema, "schema_text", lambda: schema_text)
    monkeypatch.setattr(key_page, "key_html", lambda: key_html)


def command(*arguments):
    """A command as a piece of work for `injected`. Raises what its exit code says."""
    code = cli.main([str(one) for one in arguments])
    if code in (2, 3):
        raise OutputError("refused")
    if code == 130:
        raise KeyboardInterrupt
    assert code in (0, 1)


def inside(folder):
    return {str(path.relative_to(folder)): path.read_text() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("fault", [injected.fail, injected.interrupt, injected.die])
def test_a_first_design_file_is_there_with_its_schema_or_not_at_all(fault, tmp_path, capfd):
    def new(at):
        command("new", tmp_path / str(at) / "boost", *NEW)

    for name in ("whole", *map(str, range(60))):
        (tmp_path / name).mkdir()
    new("whole")
    whole, ends = inside(tmp_path / "whole"), set()
    for at, code in injected.at_every_call(new, fault):
        found = {
            name: text for name, text in inside(tmp_path / str(at)).items() if code != injected.KILLED or name in whole
        }
        assert all(text == whole[name] for name, text in found.items()), at
        assert len(found) in {injected.WHOLE: (2,), injected.UNREACHED: (2,), injected.KILLED: (0, 1, 2)}.get(
            code, (0,)
        ), (at, code)
        assert "boost.toml" not in found or len(found) == 2
        ends.add(code)
    assert at > 10
    assert OWN_FILES not in ends


@pytest.mark.parametrize("fault", [injected.fail, injected.interrupt, injected.die])
def test_keys_and_schema_are_each_the_old_or_the_new_one(fault, tmp_path, capfd):
    command("schema", tmp_path)
    whole, ends = inside(tmp_path), set()
    for _, code in injected.at_every_call(lambda at: command("schema", tmp_path), fault):
        found = inside(tmp_path)
        assert {name: text for name, text in found.items() if not name.startswith(".")} == whole
        assert code == injected.KILLED or found == whole
        for name in set(found) - set(whole):
            (tmp_path / name).unlink()
        ends.add(code)
    assert OWN_FILES not in ends


@pytest.mark.parametrize("fault", [injected.fail, injected.die])
def test_a_bank_is_one_whole_run(fault, tmp_path, capfd, monkeypatch):
    from filterlib.analysis.hold_up import burst_bank

    board, out = tmp_path / "board.toml", tmp_path / "out"
    text = CLEAN.read_text(encoding="utf-8")
    at = text.index("[[", text.index("[[load]]") + 1)
    board.write_text(text[:at] + PROFILE + "\n" + text[at:] + RATING, encoding="utf-8")
    results = burst_bank.bank(load_design(board))
    monkeypatch.setattr(burst_bank, "bank", lambda design: results)
    command("bank", board, "--out", out)
    old = json.loads((out / "bank.json").read_text())["run"]
    for _, code in injected.at_every_call(lambda at: command("bank", board, "--out", out), fault, step=7):
        listed = json.loads((out / "bank.json").read_text())
        assert {run_of(out / name) for name in listed["files"]} == {listed["run"]}
        assert set(inside(out)) == set(listed["files"])
        assert code in (injected.REFUSED, injected.KILLED, injected.WHOLE, injected.UNREACHED, OWN_FILES)
        assert code not in (injected.REFUSED, OWN_FILES) or listed["run"] == old
        old = listed["run"]
    assert {path.name for path in tmp_path.iterdir()} == {"board.toml", "out"}


@pytest.mark.parametrize("fault", [injected.fail, injected.die])
def test_a_learned_design_is_written_whole_or_not_at_all(fault, tmp_path, capfd, monkeypatch):
    from filterlib.bench.answers import answer, explanation, learned
    from filterlib.show.bench_page import bench_command

    found = answer.bench(CLEAN, readings=["modem 20MHz 4.1 mV"])
    why = explanation.explain(found)
    one = learned.Narrowed("converter.output_esr", "ESR", "ohm", 3.6e-3, 8.4e-3, 6e-3, 5e-3, 7e-3)
    monkeypatch.setattr(answer, "bench", lambda *_, **__: found)
    monkeypatch.setattr(bench_command, "_explained", lambda *_: why)
    monkeypatch.setattr(learned, "learn", lambda _: learned.Learned((one,), 50.0))
    both = learned.both_ranges(found)
    whole = learned.learned_text(CLEAN, both, [])
    monkeypatch.setattr(learned, "both_ranges", lambda _: both)
    monkeypatch.setattr(learned, "learned_text", lambda *_: whole)
    for at, code in injected.at_every_call(
        lambda at: command("bench", CLEAN, "--reading", "modem 20MHz 4.1 mV", "--learned", tmp_path / f"{at}.toml"),
        fault,
    ):
        file = tmp_path / f"{at}.toml"
        assert code in (injected.REFUSED, injected.KILLED, injected.WHOLE, injected.UNREACHED, OWN_FILES)
        assert not file.exists() or file.read_text(encoding="utf-8") == whole
        assert code not in (injected.WHOLE, injected.UNREACHED) or file.exists()


@pytest.mark.parametrize("fault", [injected.fail, injected.die])
def test_copies_of_the_notebooks_are_whole_each(fault, tmp_path, capfd):
    def lab(at):
        fresh_copies(tmp_path / str(at))
        own_notebook(tmp_path / str(at), CLEAN)

    lab("whole")
    whole = inside(tmp_path / "whole")
    for at, code in injected.at_every_call(lab, fault, step=5):
        found = inside(tmp_path / str(at)) if (tmp_path / str(at)).exists() else {}
        assert all(text == whole.get(name) for name, text in found.items() if not name.startswith("."))
        assert code == injected.KILLED or not any(name.startswith(".") for name in found)
        assert code != OWN_FILES


def test_no_link_that_leads_nowhere_is_followed(tmp_path, capsys):
    away = tmp_path / "away"
    here = tmp_path / "here"
    here.mkdir()
    for name in ("filter-design.schema.json", "design-keys.html", "sliders-tide-gauge-clean.ipynb"):
        (here / name).symlink_to(away / name)
    away.mkdir()
    assert cli.main(["new", str(here / "boost"), *NEW]) == 0
    assert cli.main(["schema", str(here)]) == 3
    assert "a link that leads nowhere" in capsys.readouterr().err
    assert own_notebook(here, CLEAN).is_symlink()
    assert list(away.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "code", "words"), [("", 2, "NAME is empty"), ("a/b", 3, "a/b.toml"), ("a" * 300, 2, "1 to 120 characters")]
)
def test_a_name_that_cannot_be_is_refused_with_that_name(name, code, words, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert cli.main(["new", name, *NEW]) == code
    assert words in capsys.readouterr().err
    assert list(Path().iterdir()) == []
