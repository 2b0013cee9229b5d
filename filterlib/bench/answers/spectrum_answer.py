"""Attenuation harmonic by harmonic: of two captures, beside what the design makes of the first of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from filterlib.analysis.described import Unit
from filterlib.analysis.ripple.ripple import RippleResult
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.uncertainty.plausible import ENDS, Plausible
from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.bench.answers.stations import Station
from filterlib.bench.harmonics import Harmonics, harmonics
from filterlib.bench.measurement import Measurement
from filterlib.system.design import Design
from filterlib.system.solution import Solution, solve
from filterlib.system.uncertain_parameters import with_values

_CASES = 64  # plausible cases that stand for all
_TWICE = 1.96  # standard uncertainties to 19 times in 20


@dataclass(frozen=True, eq=False)
class SpectrumAnswer:
    """Harmonics (h,) that the capture before the filter shows clearly.

    ``before``, ``after``: peak of each sine; ``after_low``, ``after_high``: with noise and gain, 19 times in 20; ``clear``: whether
    that behind the filter is above its noise. ``expected`` behind the filter, and where nine plausible cases in ten are.
    """

    station: Station
    frequencies: Annotated[np.ndarray, Unit("Hz", key="harmonic")]
    before: Annotated[np.ndarray, Unit("V", key="before_peak")]
    after: Annotated[np.ndarray, Unit("V", key="after_peak")]
    after_low: Annotated[np.ndarray, Unit("V", key="after_peak_low")]
    after_high: Annotated[np.ndarray, Unit("V", key="after_peak_high")]
    clear: np.ndarray
    expected: Annotated[np.ndarray, Unit("V", key="expected_peak")]
    expected_low: Annotated[np.ndarray, Unit("V", key="expected_peak_low")]
    expected_high: Annotated[np.ndarray, Unit("V", key="expected_peak_high")]

    @property
    def attenuation(self) -> Annotated[np.ndarray, Unit("dB", "attenuation", "attenuation")]:
        """From before the filter to behind it, (h,)."""
        return np.asarray(20 * np.log10(self.before / np.maximum(self.after, 1e-12)))

    @property
    def expected_attenuation(self) -> Annotated[np.ndarray, Unit("dB", "expected attenuation", "expected_attenuation")]:
        """As the design has it, (h,)."""
        return np.asarray(20 * np.log10(self.before / np.maximum(self.expected, 1e-12)))


def spectrum_answer(
    design: Design, station: Station, after: Measurement, before: Measurement, result: RippleResult, scope: ScopeErrors
) -> SpectrumAnswer:
    """Two captures of one unit, each harmonic that the first shows clearly.

    ``result``: the ripple at the station's operating point, whose plausible cases the intervals are of.
    """
    first, second = harmonics(before), harmonics(after)
    limit = station.band.response(first.frequencies)
    count = min(len(first.orders), len(second.orders), result.frequencies.size)
    chosen = np.flatnonzero(first.clear[:count])
    seen, noise = second.amplitudes[chosen], np.sqrt(2) * second.noise[chosen]
    reach = _TWICE * np.hypot(noise, scope.spread * seen)
    wave = spectra(solve(design, station.point)).whole(station.place)[:count]
    low, high = _plausible_ends(design, station, result, count)
    scale = 2 * np.abs(limit[:count])
    return SpectrumAnswer(
        station,
        first.frequencies[chosen],
        first.amplitudes[chosen],
        _without_noise(second)[chosen],
        np.maximum(seen - reach, 0.0),
        seen + reach,
        second.clear[chosen],
        (scale * np.abs(wave))[chosen],
        (scale * low)[chosen],
        (scale * high)[chosen],
    )


def _without_noise(lines: Harmonics) -> np.ndarray:
    """Amplitudes less what noise adds to them in the mean of squares."""
    squares = np.abs(lines.coefficients) ** 2 - lines.noise**2
    return np.asarray(2 * np.sqrt(np.maximum(squares, 0.0)))


def _plausible_ends(
    design: Design, station: Station, result: RippleResult, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """Of the magnitude of each coefficient (count,), NaN where no plausible cases were drawn."""
    columns = drawn_columns(design, result, _CASES)
    if not columns:
        return np.full(count, np.nan), np.full(count, np.nan)
    moved = Solution(with_values(design, columns), solve(design, station.point).state)
    many = np.abs(spectra(moved).whole(station.place))[:, :count]
    low, high = np.nanquantile(many, ENDS, axis=0)
    return low, high


def drawn_cases(design: Design, result: RippleResult) -> Plausible | None:
    """The plausible cases of an operating point, of the design's own shape; None where there are none."""
    drawn = next((one.plausible for one in result.extents.values()), None)
    if drawn is not None and "converter.shape" in drawn.values:
        return drawn.where("converter.shape", design.converter.shape)
    return drawn


def drawn_columns(design: Design, result: RippleResult, count: int) -> Mapping[str, Any]:
    """Some of the plausible cases, as often as each weighs: key -> (count, 1); nothing where there are none."""
    drawn = drawn_cases(design, result)
    if drawn is None:
        return {}
    some = drawn.some(count)
    return {key: one[some][:, None] for key, one in drawn.values.items() if key != "converter.shape"}
