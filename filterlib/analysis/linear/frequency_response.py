"""Three named ratios against frequency: load over source, load over terminals, with the filter over without."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from filterlib.analysis.linear.linear_result import BodeResult
from filterlib.network.netlist import Output
from filterlib.system.inside.converter import PLUS, RETURN
from filterlib.system.solution import Solution
from filterlib.units import decibels

FREQUENCIES = np.logspace(2, 8, 601)  # [Hz]
PROMINENT = 1.0  # [dB] by which a peak stands out to be named


def bode(solution: Solution, load: str, *, frequencies: np.ndarray = FREQUENCIES) -> BodeResult:
    """Load voltage over the source, over the terminals, and over itself without the filter.

    Parameters: ``solution`` of one design; ``load``: its name; ``frequencies`` (f,) [Hz], not negative.
    Returns: BodeResult, its ratios complex (f,).
    Raises: FilterlibError for an unknown load; CircuitError for frequencies that are not (f,), finite and not negative.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> abs(bode(solution, "modem", frequencies=np.array([180e3])).load_over_source).round(4).tolist()
    [0.0438]
    """
    return bode_at(solution, [load], frequencies=frequencies)[load]


def bode_at(
    solution: Solution, loads: Sequence[str], *, frequencies: np.ndarray = FREQUENCIES
) -> dict[str, BodeResult]:
    """`bode` at each of several loads, from one elimination with the filter and one without."""
    ports: list[Output] = [solution.design.named_load(load).port for load in loads]
    *with_filter, at_terminals = solution.circuit.transfer(frequencies, "ripple", [*ports, (PLUS, RETURN)])
    without_filter = solution.without_filter.transfer(frequencies, "ripple", ports)
    return {
        load: BodeResult(
            point=solution.point,
            load=load,
            frequencies=frequencies,
            load_over_source=at_load,
            load_over_terminals=at_load / at_terminals,
            with_over_without=at_load / without,
            resonances=peaks(frequencies, decibels(np.abs(at_load))),
        )
        for load, at_load, without in zip(loads, with_filter, without_filter, strict=True)
    }


def prominent(values: np.ndarray, least: float) -> list[int]:
    """Places of the peaks of values (n,) whose prominence is ``least`` or more, in order.

    Prominence: how far a peak stands above the higher of the two lowest values between it and the next higher ground, or
    the end. (scipy.signal takes a third of a second to import for the same.)

    >>> prominent(np.array([0.0, 3.0, 2.5, 4.0, 0.0]), 1.0)
    [3]
    """
    inner = 1 + np.flatnonzero((values[1:-1] > values[:-2]) & (values[1:-1] >= values[2:]))
    places = []
    for place in inner.tolist():
        higher = np.flatnonzero(values > values[place])
        start = int(np.max(higher[higher < place], initial=-1)) + 1
        stop = int(np.min(higher[higher > place], initial=len(values)))
        if values[place] - max(np.min(values[start:place]), np.min(values[place + 1 : stop])) >= least:
            places.append(place)
    return places


def peaks(frequencies: np.ndarray, level: np.ndarray) -> tuple[tuple[float, float, str], ...]:
    """Frequency [Hz], height [dB] and words of every peak of a level (f,) [dB] that stands out by `PROMINENT`."""
    places = prominent(level, PROMINENT)
    words = ("raises", "lowers less here")
    return tuple((float(frequencies[i]), float(level[i]), words[0] if level[i] > 0 else words[1]) for i in places)


def at_frequency(frequencies: np.ndarray, values: np.ndarray, frequency: float) -> float:
    """A value between the points of a curve, on a logarithmic frequency axis.

    >>> at_frequency(np.array([10.0, 1000.0]), np.array([1.0, 3.0]), 100.0)
    2.0
    """
    return float(np.interp(np.log10(frequency), np.log10(frequencies), values))


def largest_below(frequencies: np.ndarray, values: np.ndarray, frequency: float) -> tuple[float, float]:
    """Where, up to a frequency, a magnitude is largest [Hz], and how large.

    >>> largest_below(np.array([1.0, 2.0, 4.0]), np.array([3.0, -5.0, 9.0]), 2.5)
    (2.0, 5.0)
    """
    index = int(np.argmax(np.where(frequencies <= frequency, np.abs(values), -np.inf)))
    return float(frequencies[index]), float(np.abs(values[index]))
