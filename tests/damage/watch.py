"""A plugin of pytest for `tests.damage`, handed to it by name: what each test calls, or some tests alone, in a given order.

DAMAGE_REPORT: file for the report. DAMAGE_TESTS: file with the
names of the tests to run, none for all; without it all run, and are watched.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

import pytest

REPORT, TESTS = os.environ.get("DAMAGE_REPORT", ""), os.environ.get("DAMAGE_TESTS")
ROOT = os.getcwd()
watched: dict[str, Any] = {}
failed: list[str] = []


def pytest_configure() -> None:
    """The damaged copy is what is tested, and nothing that is installed."""
    import filterlib

    assert str(filterlib.__file__).startswith(ROOT), f"{filterlib.__file__} is not in {ROOT}"


def pytest_collection() -> None:
    """Properties get the same examples in every run, and what fails is not made smaller first."""
    from hypothesis import Phase, settings

    settings.register_profile(
        "damage", deadline=None, derandomize=True, database=None, phases=(Phase.explicit, Phase.generate)
    )
    settings.load_profile("damage")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The tests that are asked for, in their order."""
    names = json.loads(Path(TESTS).read_text(encoding="utf-8")) if TESTS else []
    if names:
        order = {name: place for place, name in enumerate(names)}
        items[:] = sorted((one for one in items if one.nodeid in order), key=lambda one: order[one.nodeid])


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """Note the functions of the library that a test and what it stands on call, and how long it takes [s]."""
    codes: set[CodeType] = set()

    def note(frame: FrameType, event: str, arg: object) -> None:
        codes.add(frame.f_code)

    start = time.perf_counter()
    if not TESTS:
        sys.settrace(note)
    try:
        return (yield)
    finally:
        sys.settrace(None)
        home = os.path.join(ROOT, "filterlib", "")
        calls = sorted({(code.co_filename, code.co_firstlineno) for code in codes if code.co_filename.startswith(home)})
        watched[item.nodeid] = {
            "seconds": time.perf_counter() - start,
            "calls": [(Path(path).relative_to(ROOT).as_posix(), line) for path, line in calls],
        }


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Note what fails."""
    if report.failed:
        failed.append(report.nodeid)


def pytest_sessionfinish() -> None:
    """Write the report."""
    Path(REPORT).write_text(json.dumps({"tests": watched, "failed": failed}), encoding="utf-8")
