"""The converter's ripple once more, with a capacitor across its terminals: which size tells most, and what it should read."""

from __future__ import annotations

from contextlib import suppress

import numpy as np

from filterlib.analysis.bench.bench_result import TELLING, SecondReading
from filterlib.analysis.linear.mounted_capacitor import MountedCapacitor
from filterlib.analysis.uncertainty.interval import search, shapes
from filterlib.analysis.uncertainty.points import Metric
from filterlib.errors import InputError
from filterlib.preferred import nearest_preferred
from filterlib.system.design import Design, with_values
from filterlib.system.inside.converter import FixtureCapacitor
from filterlib.system.line.stages import ShuntCapacitor
from filterlib.system.ranges.uncertain_parameter import Columns, UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.sources.source_spectra import reading, source_spectra

LEAST, LARGEST = 1e-7, 1e-3  # [F] of a test capacitor that one holds across terminals: common practice, no source


def second_reading(design: Design, capacitor: FixtureCapacitor | None = None) -> SecondReading:
    """The reading, in the arrangement of the ripple's own figure, with a capacitor across the terminals.

    ``capacitor``: without one, the filter's own first where it tells (see `TELLING`): what the filter will see is then
    measured, whatever is inside. Else that of the series E6 whose impedance at the switching frequency is nearest to the
    inner one, with the ESR and inductance that a `FixtureCapacitor` has.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> found = second_reading(design)      # its C1 is too small to tell much
    >>> found.name, round(found.capacitance * 1e6)
    ('', 47)
    """
    at, inner = design.converter.switching_frequency, inner_impedance(design)
    name = ""
    if capacitor is None:
        name, capacitor = own_first(design) or ("", _preferred(at, inner))
    intervals = [search(_metric(one, capacitor), _inside(one)) for one in shapes(design)]
    value = float(np.max(_reading(design, capacitor)))
    ends = [(one["reading"].low, one["reading"].high) for one in intervals if one] or [(value, value)]
    return SecondReading(
        capacitance=float(capacitor.capacitance),
        impedance=float(1 / (2 * np.pi * at * capacitor.capacitance)),
        inner_impedance=inner,
        value=value,
        low=min(value, *(low for low, _ in ends)),
        high=max(value, *(high for _, high in ends)),
        name=name,
    )


def _inside(design: Design) -> tuple[UncertainParameter, ...]:
    """The converter's own uncertain parameters: its filter is not there."""
    return tuple(one for one in uncertain_parameters(design, tolerances=False) if one.key.startswith("converter."))


def _preferred(at: float, inner: float) -> FixtureCapacitor:
    size = float(np.clip(1 / (2 * np.pi * at * inner), LEAST, LARGEST))
    return FixtureCapacitor(capacitance=nearest_preferred(size, "E6"))


def own_first(design: Design) -> tuple[str, FixtureCapacitor] | None:
    """The filter's first stage, where that is a capacitor that tells: its name, and what it is at the output voltage."""
    stage = design.filter[0] if design.filter else None
    if not isinstance(stage, ShuntCapacitor):
        return None
    at, bias, inner = design.converter.switching_frequency, design.converter.output_voltage, inner_impedance(design)
    mounted = MountedCapacitor(stage.part, float(stage.mounting_loop.value), bias)
    farads, henries = (
        float(one) for one in (stage.part.capacitance_at(bias), stage.part.esl + stage.mounting_loop.value)
    )
    reactance = 1 / (2 * np.pi * at * farads * stage.count)
    if not TELLING[0] <= reactance / inner <= TELLING[1]:
        return None
    ohms = float(mounted.impedance(np.array([at]))[0].real)
    many = stage.count
    with suppress(InputError):  # nobody measures with more ohms or henries than an arrangement may have
        return stage.name, FixtureCapacitor(capacitance=farads * many, esr=ohms / many, esl=henries / many)
    return None


def inner_impedance(design: Design) -> float:
    """Magnitude [ohm] behind the converter's terminals at the switching frequency, its lead included."""
    converter, at = design.converter, design.converter.switching_frequency
    return float(np.abs(converter.terminal_impedance(np.array([at]))[0]))


def _metric(design: Design, capacitor: FixtureCapacitor) -> Metric[str]:
    def metric(values: Columns) -> dict[str, np.ndarray]:
        count = len(next(iter(values.values())))
        return {"reading": np.broadcast_to(np.ravel(_reading(with_values(design, values), capacitor)), (count,))}

    return metric


def _reading(design: Design, capacitor: FixtureCapacitor) -> np.ndarray:
    """Peak to peak [V] through the ripple's own arrangement with one capacitor more; NaN where the figures contradict."""
    converter, current = design.converter, design.full_current
    return reading(converter, converter.ripple.with_added(capacitor), source_spectra(converter, current), current)
