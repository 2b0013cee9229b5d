"""Reviews of the demonstrations, made once a process: files that use them run on one worker (see `tests/conftest.py`)."""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import pytest

from filterlib import load_design
from filterlib.analysis import review as reviewing
from filterlib.analysis.review import review
from filterlib.analysis.review_result import ReviewResult
from filterlib.network.counts import COUNTS
from filterlib.network.solver import forget
from filterlib.parts.tables import data_folder
from filterlib.system.design import Design

NAMES = ("clean", "brick")


class Reviewed(NamedTuple):
    """A review, and how many structures, elimination plans and solvers it made in a process that knew none."""

    result: ReviewResult
    structures: int
    plans: int
    solvers: int


@cache
def demo(name: str) -> Design:
    """A demonstration: "clean" or "brick"."""
    return load_design(data_folder() / "designs" / f"tide-gauge-{name}.toml")


@cache
def reviewed(name: str) -> Reviewed:
    """Its review."""
    design = demo(name)  # before the counts
    forget()
    COUNTS.reset()
    result = review(design)
    return Reviewed(result, COUNTS.structures, COUNTS.plans, COUNTS.solvers)


def review_kept(patch: pytest.MonkeyPatch) -> None:
    """Let a comparison take the reviews that are there of the demonstrations."""

    def found(design, **options):
        name = next((name for name in NAMES if demo(name) == design), None)
        return review(design, **options) if name is None else reviewed(name).result

    patch.setattr(reviewing, "review", found)
