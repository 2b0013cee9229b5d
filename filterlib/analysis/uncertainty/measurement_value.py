"""What would narrow the interval: by how much each measurement would narrow the figure that decides, the best one first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from filterlib.analysis.bench.second_reading import own_first
from filterlib.analysis.ripple.ripple_result import Band, measurement
from filterlib.analysis.ripple.spectra import ports, spectra
from filterlib.analysis.uncertainty.added_capacitor import added_capacitor
from filterlib.analysis.uncertainty.interval import in_chunks, shapes
from filterlib.analysis.uncertainty.measurement_result import (
    INSIDE,
    LEAST,
    Measurement,
    MeasurementValues,
)
from filterlib.analysis.uncertainty.plausible import Interval, width
from filterlib.parts.values import Value
from filterlib.system.design import Design
from filterlib.system.ranges.uncertain_parameter import SHAPE, Columns, UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution
from filterlib.system.state import State

TOGETHER: Mapping[str, tuple[str, ...]] = {
    INSIDE: (
        "converter.output_capacitance", "converter.output_esr", "converter.output_esl", "converter.bulk_esr_ratio",
        "converter.lead_inductance",
    ),
    "common mode": (
        "converter.common_mode.swing", "converter.common_mode.coupling", "converter.common_mode.resistance",
    ),
    "switching node": ("converter.duty", "converter.edge_time", "converter.common_mode."),
    "output": ("converter.output_resistance", "converter.loop_bandwidth"),
}  # fmt: skip
"""Uncertain parameters that one measurement settles together, by the beginnings of their keys, the first that fits. Each part of the
filter is a group of its own; the rest go by `filterlib.analysis.ripple.ripple_result.measurement`."""
_NEAR = 8  # points around the best of each end, in each round
_ROUNDS = (
    0.0,
    0.5,
    0.25,
    0.1,
)  # of refinement: their spreads, as shares of the ranges; 0: along the strongest uncertain parameter
_MOVED = 0.3  # share of the uncertain parameters that each such point moves
MOST = 24  # measurements that are looked at: of more, those whose parameters move the figure most


def measurement_values(solution: Solution, load: str, band: Band, extent: Interval | None) -> MeasurementValues:
    """How much each measurement would narrow the interval of the ripple at a load.

    Each measurement's uncertain parameters keep their nominal values, and the ends of the interval are sought again: from the
    points that make them now, from the ends that lower or raise the figure alone, and around the best of those. So few points
    find about nine tenths of what is left; so what a measurement takes away may come out a little too large.

    Parameters: ``solution`` of one design at a stable operating point; ``load``: its name; ``band`` in which the ripple is read;
    ``extent``: interval of that ripple, as in `RippleResult.extents`; None: nothing is uncertain.
    Returns: MeasurementValues, the interval [V] as it is and after each measurement.
    Raises: FilterlibError for an unknown load.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> from filterlib.analysis.ripple.ripple_result import bands
    >>> result, band = filterlib.ripple(solution), bands(solution.design)[0]
    >>> values = measurement_values(solution, "modem", band, result.extents["modem", "20MHz"])
    >>> values.measurements[0].name, round(values.measurements[0].narrows, 2)
    ('spike', 0.55)
    """
    design, state = solution.design, solution.state
    if extent is None or width((extent.low, extent.high)) == 0.0:
        ends = (np.nan, np.nan) if extent is None else (extent.low, extent.high)
        return MeasurementValues(state.point, load, band.label, *ends)
    search = _Search(design, state, load, band, extent)
    whole = width((extent.low, extent.high))
    measurements = []
    for name, (low, high) in search.ends().items():
        narrows = max(0.0, 1 - width((low, high)) / whole)
        keys = search.groups[name]
        measurements.append(Measurement(name, keys, low, high, narrows))
    ranked = tuple(sorted(measurements, key=lambda one: -one.narrows))
    inside = any(one.name == INSIDE for one in ranked)
    capacitor = added_capacitor(design.converter, design.full_current, own_first(design)) if inside else None
    return MeasurementValues(state.point, load, band.label, extent.low, extent.high, ranked, capacitor)


def _groups(keys: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """Keys of uncertain parameters by the measurement that settles them.

    >>> _groups(["converter.duty", "filter.L1.leakage", "filter.L1.inductance"])
    {'switching node': ('converter.duty',), 'part L1': ('filter.L1.leakage', 'filter.L1.inductance')}
    """
    groups: dict[str, tuple[str, ...]] = {}
    for key in keys:
        name = _group(key)
        groups[name] = (*groups.get(name, ()), key)
    return groups


def _leading(groups: Mapping[str, tuple[str, ...]], interval: Interval) -> dict[str, tuple[str, ...]]:
    """At most `MOST` of them, in their order."""
    size = {name: max(width(interval.effects[key]) for key in keys) for name, keys in groups.items()}
    first = sorted(groups, key=lambda name: -np.nan_to_num(size[name]))[:MOST]
    return {name: keys for name, keys in groups.items() if name in first}


def _group(key: str) -> str:
    if key == SHAPE:
        return SHAPE
    return next((name for name, starts in TOGETHER.items() if key.startswith(starts)), measurement(key))


class _Search:
    """The ends of the interval with each group of uncertain parameters at its nominal values."""

    def __init__(self, design: Design, state: State, load: str, band: Band, interval: Interval) -> None:
        self.variants, self.state, self.load, self.band, self.interval = shapes(design), state, load, band, interval
        self.box: tuple[UncertainParameter, ...] = uncertain_parameters(design)
        self.groups = _leading(_groups(interval.effects), interval)
        self.nominal = np.array([one.share(one.nominal) for one in self.box])
        self.fixed = {name: np.array([one.key in keys for one in self.box]) for name, keys in self.groups.items()}

    def ends(self) -> dict[str, tuple[float, float]]:
        """Low and high [V] by group, inside the interval as it is."""
        random = np.random.default_rng(1)
        points = {name: self.first(fixed) for name, fixed in self.fixed.items()}
        values = self.figures(points)
        for spread in _ROUNDS:
            near = {name: self.around(name, points[name], values[name], spread, random) for name in self.open(values)}
            for name, more in (self.figures(near) if near else {}).items():
                points[name] = np.concatenate([points[name], near[name]])
                values[name] = np.concatenate([values[name], more], axis=-1)
        return {name: self.end(name, figures) for name, figures in values.items()}

    def open(self, values: Mapping[str, np.ndarray]) -> list[str]:
        """Groups that still seem to narrow the interval; the others certainly do not."""
        whole = width((self.interval.low, self.interval.high))
        return [name for name, figures in values.items() if width(self.end(name, figures)) < (1 - LEAST) * whole]

    def first(self, fixed: np.ndarray) -> np.ndarray:
        """The points that make the interval's ends, and the corners of what lowers and raises alone; (4, uncertain parameters)."""
        at = [self.interval.at_low, self.interval.at_high]
        rows = [[one.share(end[one.key]) for one in self.box] for end in at]
        return np.where(fixed, self.nominal, np.array([*rows, self.corner(0), self.corner(1)]))

    def corner(self, end: int) -> list[float]:
        """Every uncertain parameter at the end of its range where it alone lowers (0) or raises (1) the figure."""
        raising = [self.raises(one) for one in self.box]
        return [float(up if end else not up) for up in raising]

    def raises(self, one: UncertainParameter) -> bool:
        """Whether the uncertain parameter is larger at the interval's high end than at its low end."""
        return self.interval.at_high[one.key] >= self.interval.at_low[one.key]

    def around(
        self, name: str, points: np.ndarray, values: np.ndarray, spread: float, random: np.random.Generator
    ) -> np.ndarray:
        known = np.isfinite(values)
        least, most = np.where(known, values, np.inf).min(axis=0), np.where(known, values, -np.inf).max(axis=0)
        best = [int(np.argmin(least)), int(np.argmax(most))]
        centres = np.repeat(points[best], _NEAR, axis=0)
        free = np.flatnonzero(~self.fixed[name])
        if not free.size:
            return centres
        near = centres.copy()
        if spread:
            moved = random.random(centres.shape) < _MOVED
            moved[np.arange(len(centres)), random.choice(free, len(centres))] = True
            near = np.clip(centres + spread * moved * random.standard_normal(centres.shape), 0, 1)
        else:
            strongest = max(free, key=lambda n: width(self.interval.effects.get(self.box[n].key, (0.0, 0.0))))
            near[:, strongest] = np.tile((np.arange(_NEAR) + 0.5) / _NEAR, 2)
        return np.where(self.fixed[name], self.nominal, near)

    def figures(self, points: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
        """Of all groups' points in one go, (shapes that may be, points) each."""
        shares = np.concatenate(list(points.values()))
        batch = {one.key: one.at(shares[:, [n]]) for n, one in enumerate(self.box)}
        figures = np.array([in_chunks(variant, self.measured)(batch)["figure"] for variant in self.variants])
        stops = np.cumsum([len(rows) for rows in points.values()])[:-1]
        parts = dict(zip(points, np.split(figures, stops, axis=-1), strict=True))
        return {name: values[:1] if name == SHAPE else values for name, values in parts.items()}

    def measured(self, moved: Design, _: Columns) -> dict[str, Value]:
        harmonics = spectra(Solution(moved, self.state), outputs=ports(moved, [self.load]), thinned=True)
        return {"figure": harmonics.peak_to_peak(self.load, self.band, rough=True)}

    def end(self, name: str, figures: np.ndarray) -> tuple[float, float]:
        alone = [ends for key, ends in self.interval.effects.items() if key not in self.groups[name]]
        low = np.nanmin([*figures.flat, *(ends[0] for ends in alone), self.interval.nominal])
        high = np.nanmax([*figures.flat, *(ends[1] for ends in alone), self.interval.nominal])
        return max(float(low), self.interval.low), min(float(high), self.interval.high)
