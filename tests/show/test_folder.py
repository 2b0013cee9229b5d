"""Several files into a folder as one: all or none, nothing foreign touched, whatever stops the work."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from filterlib.errors import OutputError
from filterlib.show import folder as folder_module
from filterlib.show.folder import RUN, run_of, write_files

NAMES = ("review.html", "bode.svg", "changes/1.toml", "results.json")


def files(text, names=NAMES):
    made = {name: f"<!-- {RUN} -->{text}\n" for name in names if name != "results.json"}
    return made | {"results.json": json.dumps({"run": RUN, "files": list(names), "text": text})}


def written(folder):
    return {str(path.relative_to(folder)): path.read_text() for path in folder.rglob("*") if path.is_file()}


def test_all_files_carry_one_identifier_and_nothing_is_left_beside(tmp_path):
    run = write_files(tmp_path / "out", files("one"), last="results.json")
    assert {run_of(tmp_path / "out" / name) for name in NAMES} == {run}
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_same_contents_have_the_same_identifier_and_others_another(tmp_path):
    runs = [write_files(tmp_path / name, files(text), last="results.json") for name, text in ("a1", "b1", "c2")]
    assert runs[0] == runs[1] != runs[2]


def test_foreign_files_stay_and_files_of_the_run_before_go(tmp_path):
    write_files(tmp_path, files("one", (*NAMES, "steps.svg", "old/1.toml")), last="results.json")
    (tmp_path / "notes.txt").write_text("mine")
    copy = tmp_path / "review copy.html"
    copy.write_text((tmp_path / "review.html").read_text())
    write_files(tmp_path, files("two"), last="results.json")
    assert set(written(tmp_path)) == {*NAMES, "notes.txt", copy.name}
    assert (tmp_path / "notes.txt").read_text() == "mine"
    assert "two" in (tmp_path / "review.html").read_text()


def _foreign_file(path):
    path.write_text("mine")


def _link(path):
    (path.parent / "elsewhere").write_text("filterlib-run-0123456789abcdef")
    path.symlink_to("elsewhere")


@pytest.mark.parametrize("make", [_foreign_file, Path.mkdir, _link])
def test_a_foreign_thing_under_one_of_our_names_is_never_replaced(tmp_path, make):
    make(tmp_path / "bode.svg")
    before = sorted(path.name for path in tmp_path.iterdir())
    with pytest.raises(OutputError, match=r"bode\.svg: is there already and was not written by filterlib"):
        write_files(tmp_path, files("one"), last="results.json")
    assert sorted(path.name for path in tmp_path.iterdir()) == before


@pytest.mark.parametrize("where", ["file", "file/below", "/proc/nowhere/out"])
def test_a_folder_that_cannot_be_is_refused_by_name_with_nothing_left(tmp_path, where):
    (tmp_path / "file").write_text("mine")
    with pytest.raises(OutputError) as caught:
        write_files(tmp_path / where, files("one"), last="results.json")
    assert where in str(caught.value)
    assert written(tmp_path) == {"file": "mine"}
    assert len(list(tmp_path.iterdir())) == 1


def test_a_folder_below_goes_with_its_last_file_and_stays_with_a_foreign_one(tmp_path):
    write_files(tmp_path, files("one", (*NAMES, "old/1.toml", "mine/1.toml")), last="results.json")
    (tmp_path / "mine" / "notes.txt").write_text("mine")
    write_files(tmp_path, files("two"), last="results.json")
    assert set(written(tmp_path)) == {*NAMES, "mine/notes.txt"}
    assert not (tmp_path / "old").exists()


@pytest.mark.parametrize("make", [_foreign_file, lambda path: path.symlink_to("/tmp")])
def test_what_is_no_folder_is_not_written_into(tmp_path, make):
    make(tmp_path / "changes")
    with pytest.raises(OutputError, match="changes: is there already and is no folder"):
        write_files(tmp_path, files("one"), last="results.json")
    assert [path.name for path in tmp_path.iterdir()] == ["changes"]


@pytest.mark.parametrize("name", ["../outside.svg", "a/b/c.svg", "/outside.svg", "a//b.svg"])
def test_names_in_an_earlier_runs_list_never_lead_outside(tmp_path, name):
    write_files(tmp_path / "out", files("one"), last="results.json")
    listed = tmp_path / "out" / "results.json"
    run = run_of(listed)
    for place in (tmp_path / "outside.svg", tmp_path / "out" / "a" / "b" / "c.svg"):
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(f"<!-- {run} -->")
    listed.write_text(json.dumps({"run": run, "files": [*NAMES, name]}))
    write_files(tmp_path / "out", files("two"), last="results.json")
    assert (tmp_path / "outside.svg").exists()
    assert (tmp_path / "out" / "a" / "b" / "c.svg").exists()


def test_folders_made_for_a_run_that_fails_go_again(tmp_path, monkeypatch):
    def full(source, target):
        raise OSError(28, "No space left on device", str(target))

    monkeypatch.setattr(os, "rename", full)
    with pytest.raises(OutputError, match="No space left on device"):
        write_files(tmp_path / "a" / "b", files("one"), last="results.json")
    assert list(tmp_path.iterdir()) == []


def test_a_link_to_a_folder_is_followed(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    write_files(tmp_path / "link", files("one"), last="results.json")
    assert set(written(tmp_path / "real")) == set(NAMES)
    assert (tmp_path / "link").is_symlink()


def test_two_runs_at_once_take_turns_and_do_not_wait_for_ever(tmp_path, monkeypatch):
    fcntl = pytest.importorskip("fcntl")
    monkeypatch.setattr(folder_module, "PATIENCE", 0.05)
    descriptor = os.open(tmp_path, os.O_RDONLY)
    fcntl.flock(descriptor, fcntl.LOCK_EX)
    with pytest.raises(OutputError, match="another run is being written"):
        write_files(tmp_path / "out", files("one"), last="results.json")
    os.close(descriptor)
    write_files(tmp_path / "out", files("one"), last="results.json")
    assert set(written(tmp_path)) == {f"out/{name}" for name in NAMES}


def test_a_folder_that_cannot_change_places_is_refused_with_what_to_do(tmp_path, monkeypatch):
    """Else the shell that stands in it would be in a folder that is gone."""
    (tmp_path / "here" / "below").mkdir(parents=True)
    (tmp_path / "nowhere").symlink_to("missing")
    monkeypatch.chdir(tmp_path / "here" / "below")
    for given, words in (
        (".", "is the folder that you are in"), ("..", "is the folder that you are in"), ("/proc", "is a mount point"), ("", "is empty"),
        (" ", "is empty"), ("a\0b", "is empty"), (tmp_path / "nowhere", "is a link that leads nowhere"),
    ):  # fmt: skip
        with pytest.raises(OutputError, match=words):
            write_files(given, files("one"), last="results.json")
    assert written(tmp_path) == {}


def test_a_folder_full_of_other_files_is_refused_and_a_few_are_kept(tmp_path, monkeypatch):
    monkeypatch.setattr(folder_module, "MOST_OTHERS", 2)
    for name in ("a", "b"):
        (tmp_path / name).write_text("mine")
    write_files(tmp_path, files("one"), last="results.json")
    (tmp_path / "c").write_text("mine")
    before = written(tmp_path)
    with pytest.raises(OutputError, match="more than 2 other files; give the results a folder of their own"):
        write_files(tmp_path, files("two"), last="results.json")
    assert written(tmp_path) == before


def test_two_commands_may_share_a_folder(tmp_path):
    write_files(tmp_path, files("one"), last="results.json")
    other = {"sheet.html": f"<!-- {RUN} -->", "sheet.json": json.dumps({"run": RUN, "files": ["sheet.html"]})}
    write_files(tmp_path, other, last="sheet.json")
    write_files(tmp_path, files("two"), last="results.json")
    assert set(written(tmp_path)) == {*NAMES, *other}
