"""Linear responses of one operating point: frequency response, impedances, insertion loss and steps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.described import Decibels, Hertz, Ohms, Ratio, Unit
from filterlib.analysis.stability.stability_result import Stability

Mode = Literal["symmetrical", "asymmetrical"]
ALIKE = 0.05  # [dB] by which losses differ that are printed alike, with one digit behind the point


@dataclass(frozen=True)
class BodeResult:
    """Ratios at one load, complex (f,), over ``frequencies`` (f,).

    ``load_over_source``: load voltage over the ripple's electromotive force; ``load_over_terminals``: over the voltage at
    the converter's terminals; ``with_over_without``: over the load voltage when the filter is taken away. ``resonances``:
    frequency, height of load over source, and words.
    """

    point: str
    load: str
    frequencies: Hertz[np.ndarray]
    load_over_source: Ratio[np.ndarray]
    load_over_terminals: Ratio[np.ndarray]
    with_over_without: Ratio[np.ndarray]
    resonances: tuple[tuple[Hertz[float], Decibels[float], str], ...]


@dataclass(frozen=True)
class ImpedanceResult:
    """Impedances, complex (f,), over ``frequencies`` (f,), at one operating point and load.

    ``seen_by_load``: back from the load's terminals, its own input taken off; ``seen_by_converter``: into filter and
    loads; ``load_input``: the load's own input (infinite for a constant current without a capacitor).
    """

    point: str
    load: str
    frequencies: Hertz[np.ndarray]
    seen_by_load: Ohms[np.ndarray]
    seen_by_converter: Ohms[np.ndarray]
    load_input: Ohms[np.ndarray]


@dataclass(frozen=True)
class InsertionResult:
    """Insertion loss at one operating point over ``frequencies`` (f,); positive where the filter lowers the voltage.

    ``symmetrical``, ``asymmetrical``: (f,) by test system, see `SYSTEMS` and `in_system`; the parts have the bias,
    current and temperature of the point. ``real_symmetrical``: (f,) by load: the load's voltage without the filter over
    that with it, of the converter's ripple. ``real_asymmetrical``: the same of the mean of both lines against the chassis,
    of the common-mode drive; empty where none is stated. ``converter_impedance``,
    ``load_impedance``: complex (f,), the real impedances at the filter's two ends, from line to line; all loads.
    """

    point: str
    frequencies: Hertz[np.ndarray]
    symmetrical: Decibels[Mapping[str, np.ndarray]]
    asymmetrical: Decibels[Mapping[str, np.ndarray]]
    real_symmetrical: Decibels[Mapping[str, np.ndarray]]
    real_asymmetrical: Decibels[Mapping[str, np.ndarray]]
    converter_impedance: Ohms[np.ndarray]
    load_impedance: Ohms[np.ndarray]


@dataclass(frozen=True)
class StepsResult:
    """Steps at one load and operating point over ``times`` (t,).

    ``converter_step`` (t,): load voltage after a 1 V step of the regulated voltage; ``load_step`` (t,): after the load's
    current rises by ``step_current`` with the time constant ``rise_time``. ``overshoot``: of the converter step, as a share of
    its end value; ``load_dip``: greatest excursion of the load step; ``settling_time`` of the load step. ``reason``: why there
    is nothing (unstable, or what the circuit refused), else None.
    """

    point: str
    load: str
    step_current: Annotated[float, Unit("A", "step of the load's current")]
    rise_time: Annotated[float, Unit("s", key="step_rise")]
    times: Annotated[np.ndarray, Unit("s", key=None)]
    converter_step: Annotated[np.ndarray, Unit("V", key=None)]
    load_step: Annotated[np.ndarray, Unit("V", key=None)]
    overshoot: Annotated[float, Unit("", "overshoot of a voltage step", "*_ratio")]
    load_dip: Annotated[float, Unit("V", "dip", "dip")]
    settling_time: Annotated[float, Unit("s", "settled after", "settling")]
    reason: Stability | str | None = None


def coinciding(curves: Mapping[str, np.ndarray]) -> list[tuple[str, ...]]:
    """The names of curves [dB] (f,) in groups that coincide: nowhere further than `ALIKE` from the first of their group.

    >>> coinciding({"a": np.array([1.0, 40.0]), "b": np.array([1.0, 20.0]), "c": np.array([1.02, 40.0])})
    [('a', 'c'), ('b',)]
    """
    groups: dict[str, tuple[str, ...]] = {}
    for name, curve in curves.items():
        first = next((one for one in groups if np.allclose(curves[one], curve, rtol=0, atol=ALIKE)), name)
        groups[first] = (*groups.get(first, ()), name)
    return list(groups.values())
