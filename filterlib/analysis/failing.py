"""One thing that is not as it should be in a judged design: instability, a requirement, a rating, a rule of bursts or supply."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from filterlib.analysis.described import Ratio
from filterlib.analysis.stress.stress_check import StressCheck
from filterlib.analysis.supply.rules import Check
from filterlib.analysis.verdict import Verdict


@dataclass(frozen=True)
class Failing:
    """What is not as it should be at the operating ``point``: a requirement, a rating, a ``rule`` of bursts or supply, or, without any, stability.

    ``turned``: of stability, that it is stable at nominal values, and unstable in a part of the range.
    """

    point: str
    verdict: Verdict | None = None
    check: StressCheck | None = None
    turned: bool = False
    rule: Check | None = None

    @property
    def what(self) -> tuple[str, ...]:
        """What it is, alike in two designs."""
        if self.verdict is not None:
            return "requirement", self.verdict.requirement
        if self.rule is not None:
            return "rule", self.rule.name, self.rule.part
        return ("rating", self.check.name, self.check.what) if self.check is not None else ("unstable", self.point)

    @property
    def kind(self) -> str:
        """Kind of the requirement, "rating", "unstable", or of a rule what it is about: "bursts", "fuse" ..."""
        if self.rule is not None:
            return self.rule.name.partition(".")[0]
        return self.verdict.kind if self.verdict is not None else self.what[0]

    @property
    def sure(self) -> bool:
        """False where it may be, over the uncertainty, and need not."""
        answer = self.verdict or self.check or self.rule
        return not self.turned if answer is None else answer.verdict == "not met"

    @property
    def excess(self) -> Ratio[float]:
        """How far it is from what is asked, at its worst: 1 at the limit, more beyond it."""
        failing = self.verdict or self.check or self.rule
        if failing is None or np.isnan(failing.margin):
            return np.inf
        of_range = isinstance(failing, Verdict) and failing.kind == "voltage"
        return 1 - failing.margin if of_range else 1 / max(1 + failing.margin, 1e-300)
