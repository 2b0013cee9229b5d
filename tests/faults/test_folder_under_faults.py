"""Whatever fails while a run is written, a reader finds all of the old run or all of the new one, and nobody else's file is lost.

As the tests of database engines do it: a fault at the n-th call of the file system, for every n.
"""

import itertools
import os
import random
import signal
import sys
import time
from multiprocessing import get_context

import pytest

from filterlib.show import folder as module
from tests.faults import injected, runs

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork")


@pytest.fixture(autouse=True)
def _quick(monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda descriptor: None)


def with_others(folder):
    """A folder with a run in it, and what others keep there: a file, a folder with a file, a link."""
    runs.write(folder, "first")
    (folder / "notes.txt").write_text("mine")
    (folder / "photos").mkdir()
    (folder / "photos" / "board.txt").write_text("mine")
    (folder / "link").symlink_to("notes.txt")
    return "notes.txt", "photos/board.txt", "link"


@pytest.mark.parametrize("fault", [injected.fail, injected.interrupt, injected.die])
def test_a_fault_at_every_call_leaves_one_whole_run(fault, tmp_path):
    folder, old, ends = tmp_path / "out", "first", set()
    others = with_others(folder)
    for at, code in injected.at_every_call(lambda at: runs.write(folder, f"run{at}"), fault):
        found = runs.text_in(folder, *others)
        new = f"run{at}"
        assert found in (old, new), at
        assert (folder / "photos" / "board.txt").read_text() == (folder / "link").read_text() == "mine"
        if code in (injected.WHOLE, injected.UNREACHED):
            assert found == new, at
        if code == injected.REFUSED:
            assert found == old, at
        old = found
        ends.add(code)
    expected = {
        injected.fail: {injected.REFUSED, injected.WHOLE},
        injected.interrupt: {injected.INTERRUPTED, injected.WHOLE},
        injected.die: {injected.KILLED},
    }
    assert ends - {injected.WHOLE} == expected[fault] - {injected.WHOLE} | {injected.UNREACHED}
    assert at > 50
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("fault", [injected.fail, injected.die])
def test_the_first_run_is_there_whole_or_not_at_all(fault, tmp_path):
    for at, code in injected.at_every_call(
        lambda at: runs.write(tmp_path / str(at) / "a" / "out", "one"), fault, step=2
    ):
        found = runs.text_in(tmp_path / str(at) / "a" / "out")
        assert found in (None, "one")
        assert (found is None) == (code == injected.REFUSED) or code == injected.KILLED
        if code == injected.REFUSED:
            assert not (tmp_path / str(at)).exists()


@pytest.mark.parametrize("fault", [injected.fail, injected.die])
def test_where_folders_cannot_change_places_a_reader_finds_one_run_or_none_and_the_next_run_mends_it(
    fault, tmp_path, monkeypatch
):
    monkeypatch.setattr(module, "swap", lambda one, other: False)
    folder, old = tmp_path / "out", "first"
    others = with_others(folder)
    for at, code in injected.at_every_call(lambda at: runs.write(folder, f"run{at}"), fault, step=2):
        if folder.exists():
            found = runs.text_in(folder, *others)
            assert found in (old, f"run{at}")
            old = found
        else:
            assert code == injected.KILLED
            assert runs.text_in(tmp_path / ".out.filterlib" / "old", *others) == old
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def child(work):
    number = os.fork()
    if not number:
        try:
            work()
        finally:
            os._exit(1)
    return number


def writing(folder, name):
    count = 0
    while True:
        count += 1
        runs.write(folder, f"{name}-{count}")


def kills(folder, others, count, seed=1):
    """That many writers killed at random moments; after each a reader finds one whole run."""
    chance = random.Random(seed)
    for number in range(count):
        writer = child(lambda number=number: writing(folder, f"w{number}"))
        time.sleep(chance.uniform(0, 0.03))
        os.kill(writer, signal.SIGKILL)
        os.waitpid(writer, 0)
        runs.text_in(folder, *others)


def test_kills_at_random_moments_leave_one_whole_run(tmp_path):
    others = with_others(tmp_path / "out")
    kills(tmp_path / "out", others, 15)
    runs.write(tmp_path / "out", "end")
    assert runs.text_in(tmp_path / "out", *others) == "end"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def read_once(folder):
    """The text of all files of one run, read one after the other by their names; None where another run came meanwhile."""
    try:
        before = (folder / runs.LAST).read_text()
        listed = runs.json.loads(before)
        texts = {name: (folder / name).read_text() for name in listed["files"]}
    except FileNotFoundError:
        texts, before = {}, ""
    if (folder / runs.LAST).read_text() != before:
        return None
    assert texts
    assert all(listed["text"] + "\n" in text for name, text in texts.items() if name != runs.LAST)
    return listed["text"]


def at_once(folder, writers, seconds, least=5):
    """Writers and a reader at once for a time, or as long as it takes to find so many runs: their texts, and how each writer ended."""
    start, over = time.monotonic(), get_context("fork").Event()

    def work(name):
        for count in itertools.count(1):
            runs.write(folder, f"w{name}-{count}")
            time.sleep(0.015)  # longer than another one waits between two looks
            if over.is_set():
                os._exit(0)

    children = [child(lambda name=name: work(name)) for name in range(writers)]
    found = set()
    while (took := time.monotonic() - start) < seconds or (len(found - {None}) < least and took < seconds + 60):
        found.add(read_once(folder))
    over.set()
    return found - {None}, [os.waitstatus_to_exitcode(os.waitpid(one, 0)[1]) for one in children]


def test_writers_at_once_each_come_through_and_a_reader_never_sees_two(tmp_path):
    folder = tmp_path / "out"
    others = with_others(folder)
    found, codes = at_once(folder, 4, 0.5)
    assert codes == [0, 0, 0, 0]
    assert len(found) > 4  # on a busy machine after a while
    assert len({text.split("-")[0] for text in found}) > 1
    assert runs.text_in(folder, *others)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_what_somebody_saves_in_the_folder_at_the_last_moment_is_kept(tmp_path, monkeypatch):
    """A new file, and one that an editor replaces, between the second names and the exchange."""
    folder = tmp_path / "out"
    others = with_others(folder)
    real = module.swap

    def late(one, other):
        (folder / "late.txt").write_text("mine")
        (folder / "edited").write_text("newer")
        os.utime(folder / "edited", ns=(time.time_ns() + 10**9,) * 2)
        os.replace(folder / "edited", folder / "notes.txt")
        return real(one, other)

    monkeypatch.setattr(module, "swap", late)
    runs.write(folder, "second")
    assert runs.text_in(folder, *others, "late.txt") == "second"
    assert (folder / "notes.txt").read_text() == "newer"


def test_rights_of_the_folder_stay(tmp_path):
    folder = tmp_path / "out"
    with_others(folder)
    folder.chmod(0o750)
    (folder / "photos").chmod(0o500)
    runs.write(folder, "second")
    assert (folder.stat().st_mode & 0o777, (folder / "photos").stat().st_mode & 0o777) == (0o750, 0o500)
    (folder / "photos").chmod(0o700)


@pytest.mark.skipif(sys.platform != "linux", reason="renameat2 is Linux's")
def test_folders_change_places_in_one_step_here(tmp_path):
    """Else the tests above would look at the other way alone."""
    (tmp_path / "a" / "in a").mkdir(parents=True)
    (tmp_path / "b").mkdir()
    assert module.swap(tmp_path / "a", tmp_path / "b")
    assert [path.name for path in (tmp_path / "b").iterdir()] == ["in a"]
