"""The converter's ripple once more, with a capacitor across its terminals: which size tells most, and what it should read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from filterlib.analysis.described import Farads, Ohms, Unit
from filterlib.analysis.ripple.ripple import shapes
from filterlib.analysis.uncertainty.interval import search
from filterlib.system.converter import FixtureCapacitor
from filterlib.system.design import Design
from filterlib.system.source_spectra import reading, source_spectra
from filterlib.system.uncertain_parameters import uncertain_parameters, with_values
from filterlib.units import nearest_preferred

LEAST, LARGEST = 1e-7, 1e-3  # [F] of a test capacitor that one holds across terminals: common practice, no source
TELLING = (0.3, 10.0)
"""Impedance of the test capacitor over the inner one, between which it moves the reading by a share that can be read."""


@dataclass(frozen=True)
class SecondReading:
    """A test ``capacitance`` across the terminals, and the ripple expected with it, peak to peak.

    ``impedance`` and ``inner_impedance``: of the capacitor and of the converter at the switching frequency;
    ``value`` with ``low`` and ``high`` over the uncertainty of the inside.
    """

    capacitance: Farads[float]
    impedance: Ohms[float]
    inner_impedance: Ohms[float]
    value: Annotated[float, Unit("V", key=None)]
    low: Annotated[float, Unit("V", key=None)]
    high: Annotated[float, Unit("V", key=None)]

    @property
    def telling(self) -> bool:
        """Whether its impedance is near enough to the inner one for the reading to tell the inside."""
        return TELLING[0] <= self.impedance / self.inner_impedance <= TELLING[1]


def second_reading(design: Design, capacitor: FixtureCapacitor | None = None) -> SecondReading:
    """The reading, in the arrangement of the ripple's own figure, with a capacitor across the terminals.

    ``capacitor``: without one, that of the series E6 whose impedance at the switching frequency is nearest to the inner one,
    with the ESR and inductance that a `FixtureCapacitor` has.
    """
    at, inner = design.converter.switching_frequency, inner_impedance(design)
    size = float(np.clip(1 / (2 * np.pi * at * inner), LEAST, LARGEST))
    capacitor = capacitor or FixtureCapacitor(capacitance=nearest_preferred(size, "E6"))
    intervals = [search(_metric(one, capacitor), uncertain_parameters(one, tolerances=False)) for one in shapes(design)]
    value = float(np.max(_reading(design, capacitor)))
    ends = [(one["reading"].low, one["reading"].high) for one in intervals if one] or [(value, value)]
    return SecondReading(
        capacitance=float(capacitor.capacitance),
        impedance=float(1 / (2 * np.pi * at * capacitor.capacitance)),
        inner_impedance=inner,
        value=value,
        low=min(value, *(low for low, _ in ends)),
        high=max(value, *(high for _, high in ends)),
    )


def inner_impedance(design: Design) -> float:
    """Magnitude [ohm] behind the converter's terminals at the switching frequency, its lead included."""
    converter, at = design.converter, design.converter.switching_frequency
    return float(np.abs(converter.terminal_impedance(np.array([at]))[0]))


def _metric(design: Design, capacitor: FixtureCapacitor) -> Any:
    def metric(values: Mapping[str, Any]) -> dict[str, np.ndarray]:
        count = len(next(iter(values.values())))
        return {"reading": np.broadcast_to(np.ravel(_reading(with_values(design, values), capacitor)), (count,))}

    return metric


def _reading(design: Design, capacitor: FixtureCapacitor) -> np.ndarray:
    """Peak to peak [V] through the ripple's own arrangement with one capacitor more; NaN where the figures contradict."""
    converter, current = design.converter, design.full_current
    return reading(converter, converter.ripple.with_added(capacitor), source_spectra(converter, current), current)
