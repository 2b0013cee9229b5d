"""Damages one at a time in a copy of the tree, and runs the tests nearest to what is damaged, then all that call it."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, partial
from hashlib import sha256
from importlib.util import cache_from_source
from pathlib import Path
from queue import SimpleQueue
from typing import Any

from tests.damage.damages import ROOMS, Damage, imports
from tests.damage.equivalent import EQUIVALENT

ELSEWHERE = {"show", "words", "browser", "notebooks", "benchmarks", "damage"}
"""Folders of tests that are left out, as are the files beside them, which run commands: slow, and none of the physics' own."""
SLOWER = 4.0  # how much longer than without damage tests may take, and so the share of the limit that they may ask for
START = 120.0  # [s] to begin with
PYTEST = (
    "-m pytest -q --rootdir=. --override-ini=addopts= --import-mode=importlib --doctest-modules "
    "-p no:cacheprovider -p damage_watch"
)
WITHOUT = shutil.ignore_patterns(".*", "__pycache__", "*.egg-info", "build", "dist", "screens")
Outcome = str  # "caught", "survived", "equivalent", "time limit", "not called"


@dataclass(frozen=True)
class Test:
    """A test without damage: its name and file, seconds, and the functions it calls, each by file and first line."""

    name: str
    seconds: float
    calls: frozenset[tuple[str, int]]

    @property
    def file(self) -> str:
        """Of a doctest, the module."""
        return self.name.split("::")[0]


@dataclass(frozen=True)
class Result:
    """What became of a damage: ``why`` names the test that failed, or says why it is told apart; ``tests`` were run."""

    damage: Damage
    outcome: Outcome
    why: str = ""
    tests: int = 0


class Copy:
    """A copy of the tree in a folder of its own."""

    def __init__(self, root: Path, folder: Path) -> None:
        self.folder, self.tree = folder, folder / "tree"
        shutil.copytree(root, self.tree, ignore=WITHOUT)
        shutil.copy(Path(__file__).with_name("watch.py"), folder / "damage_watch.py")

    def run(
        self, files: Iterable[str], tests: list[str] | None, limit: float | None, without: Iterable[str] = ()
    ) -> tuple[int, dict[str, Any]]:
        """pytest's exit code on some files (tests of them alone), and its report; -1 where it ran into the limit."""
        report, names = self.folder / "report.json", self.folder / "tests.json"
        report.unlink(missing_ok=True)
        names.write_text(json.dumps(tests), encoding="utf-8")
        environment = {key: value for key, value in os.environ.items() if not key.startswith("PYTEST_")}
        environment |= {
            "PYTHONPATH": os.pathsep.join((str(self.tree), str(self.folder))),
            "OPENBLAS_NUM_THREADS": "1",
            "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1",  # seconds of start
            "DAMAGE_REPORT": str(report),
            "DAMAGE_TESTS": "" if tests is None else str(names),
        }
        command = [sys.executable, *PYTEST.split(), *([] if tests is None else ["-x"]), *files]
        command += [f"--deselect={name}" for name in sorted(without)]
        quiet = subprocess.DEVNULL
        with subprocess.Popen(
            command, cwd=self.tree, env=environment, stdout=quiet, stderr=quiet, start_new_session=True
        ) as started:
            try:
                code = started.wait(limit)
            except subprocess.TimeoutExpired:
                os.killpg(started.pid, signal.SIGKILL)
                return -1, {}
        return code, json.loads(report.read_text(encoding="utf-8")) if report.exists() else {}

    @contextmanager
    def damaged(self, damage: Damage) -> Iterator[None]:
        """With the damage in the tree."""
        text = (self.tree / damage.path).read_bytes()
        self.write(damage.path, damage.applied(text))
        try:
            yield
        finally:
            self.write(damage.path, text)

    def write(self, path: str, text: bytes) -> None:
        """Change a module; its compiled form, which a change within a second would leave, goes."""
        there = self.tree / path
        there.write_bytes(text)
        Path(cache_from_source(str(there))).unlink(missing_ok=True)


def groups(tree: Path) -> list[list[str]]:
    """What is run together without damage: the examples in docstrings, and each file of fast tests by itself."""
    modules = (path for room in ROOMS for path in sorted((tree / "filterlib" / room).rglob("*.py")))
    examples = [path for path in modules if ">>> " in path.read_text(encoding="utf-8")]
    found = [examples] if examples else []
    return [[path.relative_to(tree).as_posix() for path in group] for group in found + [[path] for path in fast(tree)]]


def fast(tree: Path) -> list[Path]:
    """The files of fast tests."""
    return [
        path for path in sorted(tree.glob("tests/*/**/test_*.py")) if not set(path.relative_to(tree).parts) & ELSEWHERE
    ]


def nearest(damage: Damage, tree: Path) -> list[str]:
    """The files whose tests are nearest to a damage: the module's own examples, the tests named after it, those that import
    it, those that import what imports it, those of its folder or of the next one above that has any; of each the shortest first."""
    module, place = _module(damage.path), Path(damage.path)
    users = {_module(path) for path in _library(tree) if module in _imports(tree / path)}
    files = {path: path.relative_to(tree) for path in fast(tree)}
    folders = [Path("tests", *place.parts[1:end]) for end in range(len(place.parts) - 1, 0, -1)]
    folder = next((one for one in folders if one in {path.parent for path in files.values()}), None)

    def rank(path: Path) -> tuple[bool, bool, bool, bool, int]:
        named = files[path] == folders[0] / f"test_{place.name}"
        known = _imports(path)
        return not named, module not in known, not users & known, files[path].parent != folder, path.stat().st_size

    own = [damage.path] if ">>> " in (tree / damage.path).read_text(encoding="utf-8") else []
    return own + [files[path].as_posix() for path in sorted(files, key=rank) if not all(rank(path)[:4])]


@cache
def _imports(path: Path) -> set[str]:
    return imports(path)


@cache
def _library(tree: Path) -> list[str]:
    return [path.relative_to(tree).as_posix() for path in (tree / "filterlib").rglob("*.py")]


def _module(path: str) -> str:
    return path.removesuffix(".py").replace("/", ".").removesuffix(".__init__")


def known_tests(copy: Copy, group: list[str], common: str, told: Callable[[str], None]) -> list[Test]:
    """The tests of some files, each with what it calls, from one run without damage, which is kept until they change.

    ``common`` stands for all else that they hang on. Tests that fail without damage are left out, and told.
    """
    own = _digest((copy.tree / path for path in group), copy.tree)
    kept = Path(tempfile.gettempdir()) / "filterlib-damage" / f"{common}-{own}.json"
    if not kept.exists():
        code, report = copy.run(group, None, None)
        if not report:
            raise RuntimeError(f"{group}: pytest ended with {code}")
        kept.parent.mkdir(exist_ok=True)
        kept.write_text(json.dumps(report), encoding="utf-8")
        told(f"without damage: {group[0] if len(group) == 1 else 'examples in docstrings'}")
    report = json.loads(kept.read_text(encoding="utf-8"))
    for name in sorted(set(report["failed"])):
        told(f"fails without damage and is left out: {name}")
    return [
        Test(name, one["seconds"], frozenset((path, line) for path, line in one["calls"]))
        for name, one in report["tests"].items()
        if name not in report["failed"]
    ]


def _common(tree: Path) -> str:
    """Stands for library, data and what tests share: all but the tests' own files, and this package."""
    files = (path for folder in ("filterlib", "data", "tests") for path in sorted((tree / folder).rglob("*")))
    own = tree / "tests" / "damage"
    shared = (path for path in files if path.suffix != ".pyc" and path.name[:5] != "test_" and own not in path.parents)
    return _digest((path for path in shared if path.is_file()), tree)


def _digest(paths: Iterable[Path], tree: Path) -> str:
    whole = sha256()
    for path in paths:
        whole.update(str(path.relative_to(tree)).encode() + b"\0" + path.read_bytes())
    return whole.hexdigest()[:24]


def stages(damage: Damage, tests: list[Test], tree: Path) -> list[list[Test]]:
    """The tests for one damage, fastest first: those of files that import the module; then all that call the function,
    and what else their files hold (a value kept since an earlier test is called but once)."""
    first, last = damage.body
    callers = [one for one in tests if any(path == damage.path and first <= n <= last for path, n in one.calls)]
    files = {one.file for one in callers}
    module = _module(damage.path)
    near = {file for file in files if file == damage.path or module in imports(tree / file)}
    named = {one.name for one in callers}
    order = sorted((one for one in tests if one.file in files), key=lambda one: (one.name not in named, one.seconds))
    close = [one for one in order if one.file in near and one.name in named]
    rest = [one for one in order if one not in set(close)]
    return [stage for stage in (close, rest) if stage]


def tried_near(copy: Copy, damage: Damage, limit: float, checked: dict[str, bool]) -> Result:
    """What becomes of one damage among the nearest tests. ``checked``: which tests pass without damage, as far as is known."""
    same = EQUIVALENT.get((damage.function, damage.old, damage.new))
    if same:
        return Result(damage, "equivalent", same)
    while True:
        broken = [name for name, passes in checked.items() if not passes]
        near = nearest(damage, copy.tree)
        with copy.damaged(damage):
            code, report = copy.run(near, [], limit, broken) if near else (5, {})
        if code in (-1, 0, 5):
            return Result(damage, "survived", "of the nearest tests" + ", within the time limit" * (code == -1))
        name = next(iter(report.get("failed", [])), "")
        if name and name not in checked:
            checked[name] = copy.run([name.split("::")[0]], [name], None)[0] == 0
        if not name or checked[name]:
            return Result(damage, "caught", name or "does not load")


def tried(copy: Copy, damage: Damage, tests: list[Test], limit: float) -> Result:
    """What becomes of one damage among all tests that call it."""
    plan, count, left = stages(damage, tests, copy.tree), 0, limit / SLOWER
    if not plan:
        return Result(damage, "not called", "no fast test calls it")
    with copy.damaged(damage):
        for stage in plan:
            some = list(_within(stage, left))
            if not some:
                continue
            seconds = sum(one.seconds for one in some)
            left, count = left - seconds, count + len(some)
            code, report = copy.run(
                sorted({one.file for one in some}), [one.name for one in some], START + SLOWER * seconds
            )
            if code == 5:
                raise RuntimeError(f"{damage}: pytest found none of {some}")
            if code == -1:
                return Result(damage, "time limit", f"{START + SLOWER * seconds:.0f} s", count)
            if code:
                return Result(damage, "caught", next(iter(report.get("failed", [])), "does not load"), count)
    more = sum(map(len, plan)) - count
    return Result(damage, "survived", f"{more} tests more than the time limit allows" if more else "", count)


def _within(tests: Iterable[Test], seconds: float) -> Iterator[Test]:
    for one in tests:
        seconds -= one.seconds
        if seconds < 0:
            return
        yield one


def results(
    root: Path,
    damages: list[Damage],
    *,
    jobs: int = 1,
    limit: float = 600.0,
    near: bool = False,
    told: Callable[[str], None] = print,
) -> Iterator[Result]:
    """The damages one after the other (``jobs`` at a time), in their order; the tree at ``root`` stays as it is.

    ``limit`` [s]: for the tests of one damage. ``near``: what the nearest tests do not notice survives; else all are asked.
    """
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(jobs) as pool:
        idle: SimpleQueue[Copy] = SimpleQueue()
        for number in range(jobs):
            idle.put(Copy(root, Path(folder) / str(number)))

        def on_a_copy(work: Callable[[Copy, Any], Any], item: Any) -> Any:
            copy = idle.get()
            try:
                return work(copy, item)
            finally:
                idle.put(copy)

        @cache
        def tests() -> list[Test]:
            common = on_a_copy(lambda copy, _: _common(copy.tree), None)
            watch = partial(on_a_copy, lambda copy, group: known_tests(copy, group, common, told))
            return [test for found in map(watch, groups(root)) for test in found]

        watching, checked = threading.Lock(), dict[str, bool]()

        def result(damage: Damage) -> Result:
            found: Result = on_a_copy(lambda copy, one: tried_near(copy, one, limit, checked), damage)
            if near or found.outcome != "survived":
                return found
            with watching:
                known = tests()
            return on_a_copy(lambda copy, one: tried(copy, one, known, limit), damage)

        yield from pool.map(result, damages)
