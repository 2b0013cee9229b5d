"""One design explored at one load: nominal figures at once; range, verdicts and the poles' word on stability later."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from filterlib.analysis.described import Volts
from filterlib.analysis.judged import PointJudgement
from filterlib.analysis.judgement import verdicts
from filterlib.analysis.ripple.nominal import NominalResult, nominal
from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.ripple.ripple_result import Figure
from filterlib.analysis.stability.operating_point import operating
from filterlib.analysis.stability.stability_result import Stability
from filterlib.analysis.stress.stress_check import StressResult
from filterlib.analysis.verdict import Verdict
from filterlib.system.design import Design
from filterlib.system.requirements import RippleRequirement
from filterlib.system.solution import solve


@dataclass(frozen=True)
class Explored:
    """The first operating point at one load.

    ``limit`` of the ripple there, peak to peak, of the design's own requirement; NaN where it has none. From `refined`: ``figure``, that ripple with
    its range; ``verdicts``; ``decided_by``: the uncertain parameter that decides the range; ``unstable``: why there is no
    ripple, where the poles say it.
    """

    nominal: NominalResult
    limit: Volts[float]
    figure: Figure | None = None
    verdicts: tuple[Verdict, ...] = ()
    decided_by: str = ""
    unstable: Stability | None = None


def explore(design: Design, load: str) -> Explored:
    """The nominal figures at a load, in the band of its first requirement on ripple; to 20 MHz where there is none."""
    wanted = next((one for one in design.requirements if isinstance(one, RippleRequirement) and one.load == load), None)
    if wanted is None:
        return Explored(nominal(solve(design), load), np.nan)
    return Explored(nominal(solve(design), load, band=wanted.label), wanted.limit)


def refined(design: Design, shown: Explored, tick: Callable[[float], None]) -> Explored:
    """The same with range and verdicts; ``tick`` takes the share that is done."""
    solution = solve(design)
    at = operating(solution)
    tick(0.0)
    if not at.stable:
        nothing = np.zeros(0)
        quiet = replace(shown.nominal, stable=False, step=nothing, ripple=nothing, peak_to_peak=np.nan)
        return replace(shown, nominal=quiet, unstable=at.reason)
    full = ripple(solution, progress=tick)
    tick(1.0)
    place = shown.nominal.load, shown.nominal.band.label
    judged = verdicts(design, [PointJudgement(solution, at, full, StressResult(at.point), ())])
    decided = next((one.label for one in full.uncertain_parameters if one.key == full.depends[place]), "")
    return replace(shown, figure=full.figures[place], verdicts=judged, decided_by=decided)
