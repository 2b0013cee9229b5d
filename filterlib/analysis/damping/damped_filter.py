"""One damped filter of ideal parts: its impedance nominally and at the worst corners, and what every other resistor would do."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from filterlib.analysis.damping.ideal import (
    TOLERANCES,
    Network,
    corners_of,
    impedance_over_r0,
    peaks,
    robust,
    textbook,
)
from filterlib.analysis.described import Ratio, Unit

FREQUENCIES = np.geomspace(0.1, 10.0, 241)
"""Over that of the filter without damping."""
_ROW = np.geomspace(0.1, 10.0, 41)


@dataclass(frozen=True)
class DampedFilter:
    """A network with its ``ratio`` and ``resistance`` over R0; ``spread``: share of the tolerances of ordinary parts that is taken."""

    network: Network = "R-C across C"
    ratio: Ratio[float] = 2.0
    resistance: Ratio[float] = 0.9129
    spread: Ratio[float] = 1.0


@dataclass(frozen=True)
class FilterResult:
    """Impedance over R0 (f,) over ``frequencies``: ``nominal``, and the ``worst`` of all corners; ``peak`` and ``worst_peak``.

    ``textbook`` and ``robust`` resistance over R0, and for ``row`` of resistances (r,) both peaks (None until sought).
    """

    frequencies: Ratio[np.ndarray]
    nominal: Ratio[np.ndarray]
    worst: Ratio[np.ndarray]
    peak: Annotated[float, Unit("", "peak over R0")]
    worst_peak: Annotated[float, Unit("", "worst peak over R0")]
    resistance: Ratio[float]
    textbook: Annotated[float, Unit("", "textbook's resistance over R0")]
    best_peak: Annotated[float, Unit("", "textbook's peak over R0")]
    row: Ratio[np.ndarray] | None = None
    row_nominal: Ratio[np.ndarray] | None = None
    row_worst: Ratio[np.ndarray] | None = None
    robust: Annotated[float, Unit("", "robust resistance over R0")] = np.nan


def damped_filter(one: DampedFilter) -> FilterResult:
    """Impedances and peaks of a `DampedFilter`.

    Returns: FilterResult, over R0 and f0. Raises: QuantityError as `textbook`.

    >>> found = damped_filter(DampedFilter(ratio=4.0, resistance=0.6124))
    >>> round(found.peak, 3), found.worst_peak > found.peak
    (0.866, True)
    """
    ohms, best = textbook(one.network, one.ratio)
    corners = _corners(one)
    curves = impedance_over_r0(one.network, FREQUENCIES, corners, one.ratio, one.resistance)
    nominal = impedance_over_r0(one.network, FREQUENCIES, np.ones((1, 4)), one.ratio, one.resistance)[0]
    worst = curves.max(axis=0)
    return FilterResult(
        FREQUENCIES, nominal, worst, float(nominal.max()), float(worst.max()), one.resistance, ohms, best
    )


def every_resistor(one: DampedFilter, found: FilterResult) -> FilterResult:
    """The same with the peaks of a row of resistances about the textbook's, and the robust resistance."""
    row = _ROW * found.textbook
    alone = peaks(one.network, one.ratio, row, np.ones((1, 4)))
    worst = peaks(one.network, one.ratio, row, _corners(one))
    tolerances = {name: one.spread * share for name, share in TOLERANCES.items()}
    best = robust(one.network, one.ratio, tolerances).resistance
    return replace(found, row=row, row_nominal=alone, row_worst=worst, robust=best)


def _corners(one: DampedFilter) -> np.ndarray:
    return corners_of({name: one.spread * share for name, share in TOLERANCES.items()})
