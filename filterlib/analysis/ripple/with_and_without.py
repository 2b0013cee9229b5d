"""One load with the filter and without it, at one operating point: waveforms, their sizes, and each source alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Hertz, Seconds, Unit, Volts
from filterlib.analysis.ripple.at_load import seen
from filterlib.analysis.ripple.ripple_result import narrow_and_wide
from filterlib.analysis.ripple.spectra import spectra
from filterlib.system.solution import Solution
from filterlib.units import decibels

MICROVOLT = 1e-6
LEAST = 1e-15  # [V] amplitude that counts as none


@dataclass(frozen=True)
class WithAndWithout:
    """A load over one period, in full bandwidth, with the filter and without it.

    ``before``, without filter, and ``after`` (n,); peak to peak: ``spike_before``, ``spike`` in full bandwidth,
    ``ripple_before``, ``ripple`` in 20 MHz. With the filter, by source: ``alone`` peak to peak in full bandwidth, ``levels``
    (h,) rms at the harmonics ``frequencies`` (h,).
    """

    times: Seconds[np.ndarray]
    before: Volts[np.ndarray]
    after: Volts[np.ndarray]
    spike_before: Volts[float]
    spike: Volts[float]
    ripple_before: Volts[float]
    ripple: Volts[float]
    alone: Volts[Mapping[str, float]]
    frequencies: Hertz[np.ndarray]
    levels: Annotated[Mapping[str, np.ndarray], Unit("dBuV")]


def with_and_without(solution: Solution, load: str) -> WithAndWithout:
    """A load with and without the filter, under the same sources. Raises FilterlibError as `seen`."""
    design, at_load = solution.design, seen(solution, load)
    now = at_load.spectra
    then = spectra(solution, filtered=False, outputs={load: design.named_load(load).port})
    narrow, wide = narrow_and_wide(design)
    after, sources = now.waveform(load, wide), now.sources(load)
    return WithAndWithout(
        times=np.arange(len(after)) * solution.period / len(after),
        before=then.waveform(load, wide),
        after=after,
        spike_before=float(then.peak_to_peak(load, wide)),
        spike=float(at_load.spike),
        ripple_before=float(then.peak_to_peak(load, narrow)),
        ripple=float(at_load.ripple),
        alone={source: float(now.alone(load, source, wide)) for source in sources},
        frequencies=now.frequencies,
        levels={at: _level(now.by_source[load, at]) for at in sources if (load, at) in now.by_source},
    )


def _level(coefficients: np.ndarray) -> np.ndarray:
    return decibels(np.maximum(np.sqrt(2) * np.abs(coefficients), LEAST) / MICROVOLT)
