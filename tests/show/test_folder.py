"""Several files into a folder as one: all or none, nothing foreign touched, whatever stops the work."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from filterlib.errors import OutputError
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

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(OutputError, match="No space left on device"):
        write_files(tmp_path / "a" / "b", files("one"), last="results.json")
    assert list(tmp_path.iterdir()) == []


def test_a_link_to_a_folder_is_followed(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    write_files(tmp_path / "link", files("one"), last="results.json")
    assert set(written(tmp_path / "real")) == set(NAMES)
    assert (tmp_path / "link").is_symlink()


def test_an_error_while_moving_brings_the_old_files_back(tmp_path, monkeypatch):
    write_files(tmp_path / "out", files("one", (*NAMES, "steps.svg", "old/1.toml")), last="results.json")
    before = written(tmp_path / "out")
    real, calls = os.replace, []

    def breaks(source, target):
        calls.append(target)
        if len(calls) == 2:
            raise KeyboardInterrupt
        real(source, target)

    monkeypatch.setattr(os, "replace", breaks)
    with pytest.raises(KeyboardInterrupt):
        write_files(tmp_path / "out", files("two", (*NAMES, "new.svg", "more/1.toml")), last="results.json")
    assert written(tmp_path / "out") == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


CALLS = ("replace", "link", "fsync", "unlink", "rmdir", "mkdir")


def killed_after(folder, steps):
    """Exit code of a process of its own that dies before its next call once it has made ``steps`` calls."""
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    left = [steps]
    for name in CALLS:
        setattr(os, name, _dying(getattr(os, name), left))
    try:
        write_files(folder, files("two", (*NAMES, "new.svg", "more/1.toml")), last="results.json")
        os._exit(0)
    finally:
        os._exit(98)


def _dying(real, left):
    def call(*arguments, **options):
        if left[0] == 0:
            os._exit(99)
        left[0] -= 1
        return real(*arguments, **options)

    return call


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork")
def test_a_kill_at_any_step_leaves_old_results_or_new_or_a_mixture_that_shows_and_the_next_run_mends_it(tmp_path):
    """Killed before each call of the operating system in turn, until one run comes through."""
    codes = []
    for steps in range(200):
        folder = tmp_path / str(steps) / "out"
        write_files(folder, files("one", (*NAMES, "steps.svg", "old/1.toml")), last="results.json")
        old = written(folder)
        codes.append(killed_after(folder, steps))
        after = written(folder)
        if after != old:
            claimed = {name: run_of(folder / name) for name in json.loads(after["results.json"])["files"]}
            whole = set(claimed.values()) == {run_of(folder / "results.json")}
            assert whole == ("two" in after["results.json"]), steps
        mended_by_a_run_that_fails(folder, after)
        write_files(folder, files("three"), last="results.json")
        assert set(written(folder)) == set(NAMES), steps
        assert [path.name for path in folder.parent.iterdir()] == ["out"]
        if codes[-1] == 0:
            break
    assert set(codes[:-1]) == {99}
    assert codes[-1] == 0
    assert len(codes) > 15


def mended_by_a_run_that_fails(folder, after):
    """Even a run that comes to nothing puts back what a killed one had replaced."""
    with pytest.raises(OutputError):
        write_files(folder, files("four", ("x/y/z.svg", "results.json")), last="results.json")
    text = "two" if "two" in after["results.json"] else "one"
    names = json.loads((folder / "results.json").read_text())["files"]
    assert all(text in (folder / name).read_text() for name in names)
    assert set(written(folder)) == set(names) or text == "two"


def test_two_runs_at_once_into_one_folder_are_refused(tmp_path):
    fcntl = pytest.importorskip("fcntl")
    work = tmp_path / ".out.filterlib-writing"
    work.mkdir()
    with (work / "lock").open("w") as stream:
        fcntl.flock(stream, fcntl.LOCK_EX)
        with pytest.raises(OutputError, match="another run is being written"):
            write_files(tmp_path / "out", files("one"), last="results.json")


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork")
def test_what_a_killed_run_had_replaced_comes_back_whatever_is_written_there_next(tmp_path):
    """Two commands may write into one folder: the second must not sweep away what the first one kept."""
    for steps in range(200):
        folder = tmp_path / str(steps) / "out"
        write_files(folder, files("one", (*NAMES, "steps.svg", "old/1.toml")), last="results.json")
        code = killed_after(folder, steps)
        other = {"sheet.html": f"<!-- {RUN} -->", "sheet.json": json.dumps({"run": RUN, "files": ["sheet.html"]})}
        write_files(folder, other, last="sheet.json")
        text = "two" if "two" in (folder / "results.json").read_text() else "one"
        names = json.loads((folder / "results.json").read_text())["files"]
        assert all(text in (folder / name).read_text() for name in names), steps
        assert (folder / "sheet.json").is_file()
        if code == 0:
            break
    assert code == 0
