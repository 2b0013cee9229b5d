"""One requirement read at every operating point, and the verdict that follows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from filterlib.analysis.described import Volts
from filterlib.analysis.uncertainty.plausible import MOST_OF_THEM, Plausible
from filterlib.analysis.verdict import BURST, NO_SPIKE, Answer, OfVolts, Unknown, Verdict
from filterlib.system.design import Design
from filterlib.system.ranges.uncertain_parameter import SHAPE, SHAPE_LABEL
from filterlib.system.ranges.uncertain_parameters import label_of
from filterlib.system.requirements import VoltageRequirement

LABORATORY = "emission.laboratory"
LABELS = {
    LABORATORY: "laboratory that measures, and its network",
    NO_SPIKE: "converter's spikes, which are not stated",
    SHAPE: SHAPE_LABEL,
    BURST: "converter's light load: whether it bursts",
}


@dataclass(frozen=True)
class Reading:
    """What one operating point says of one requirement: value, interval, and the uncertain parameter that decides.

    ``turned_by``: what turns the circuit unstable there, away from nominal values; "" where nothing does.
    """

    point: str
    value: Volts[float]
    low: Volts[float]
    high: Volts[float]
    depends_on: str = ""
    unknown: Unknown | None = None
    turned_by: str = ""
    plausible: Plausible | None = None


def verdict_of(design: Design, wanted: OfVolts, readings: list[Reading]) -> Verdict:
    """What a requirement's readings at all operating points come to: the worst of them is judged.

    >>> from filterlib.parts.tables import data_folder
    >>> from filterlib import load_design
    >>> design = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> verdict_of(design, design.requirements[0], [Reading("listening", 5e-3, 4e-3, 1.0)]).verdict
    'undecided'
    """
    low_limit, limit = (wanted.low, wanted.high) if isinstance(wanted, VoltageRequirement) else (-np.inf, wanted.limit)
    worst = max(readings, key=lambda r: np.inf if np.isnan(r.value) else _excess(r, low_limit, limit))
    plausible = min((_share(one, low_limit, limit) for one in readings), key=lambda share: np.nan_to_num(share, nan=-1))
    answer, depends = _answer(worst, low_limit, limit, plausible)
    low, high = worst.plausible.ends() if worst.plausible else (np.nan, np.nan)
    turned_by = next((one.turned_by for one in readings if one.turned_by), "")
    turned = answer in ("met", "probably met") and bool(turned_by)
    if turned:  # where it is unstable nothing holds
        answer, depends = "undecided", turned_by
    return Verdict(
        requirement=wanted.words, kind=wanted.kind, load=wanted.load, limit=limit, unit="V",
        value=worst.value, low=worst.low, high=worst.high, point=worst.point,
        verdict=answer, depends_on=depends, margin=_margin(worst, low_limit, limit),
        label=label_of(design, depends) or LABELS.get(depends, depends), band=getattr(wanted, "label", ""), unknown=worst.unknown,
        probable_low=low, probable_high=high, plausible=plausible, turned=turned,
    )  # fmt: skip


def _share(reading: Reading, low_limit: float, limit: float) -> float:
    """Share of the plausible cases within the limits, at least, at one operating point; NaN where none are drawn."""
    if reading.depends_on == NO_SPIKE:
        return np.nan
    if low_limit <= reading.low and reading.high <= limit:
        return 1.0
    return reading.plausible.least_share(low_limit, limit) if reading.plausible else np.nan


def _margin(reading: Reading, low_limit: float, limit: float) -> float:
    """Share of the limit (of the range, where there are two ends) that is left at the worst; below 0 it is not met."""
    if np.isfinite(low_limit):
        return min(reading.low - low_limit, limit - reading.high) / (limit - low_limit)
    return limit / reading.high - 1 if reading.high else np.inf


def _excess(reading: Reading, low_limit: float, limit: float) -> float:
    return max(reading.high - limit, low_limit - reading.low)


def _answer(reading: Reading, low_limit: float, limit: float, plausible: float) -> tuple[Answer, str]:
    if np.isnan(reading.value):
        return "not met" if reading.unknown == "unstable" else "undecided", ""
    if low_limit <= reading.low and reading.high <= limit:
        return ("undecided", NO_SPIKE) if reading.depends_on == NO_SPIKE else ("met", "")
    if reading.low > limit or reading.high < low_limit:
        return "not met", ""
    return "probably met" if plausible >= MOST_OF_THEM else "undecided", reading.depends_on
