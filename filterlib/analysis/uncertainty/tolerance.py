"""How the ripple at a load spreads over what is bought: many designs, each with its own parts, some at a time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Unit, Volts
from filterlib.analysis.ripple.ripple_result import Band, bands
from filterlib.analysis.ripple.spectra import spectra
from filterlib.errors import FilterlibError, did_you_mean
from filterlib.system.ranges.uncertain_parameter import Columns
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution

POINTS = 2**17  # designs times harmonics in memory at a time


@dataclass(frozen=True)
class ToleranceResult:
    """The ripple of many designs at one load and operating point.

    ``band``: label of the band of measurement; ``values``: of each part by key of the design file, (designs,), in SI.
    """

    point: str
    load: str
    band: str
    values: Annotated[Mapping[str, np.ndarray], Unit("own")]
    peak_to_peak: Volts[np.ndarray]

    def quantile(self, share: float) -> float:
        """Ripple [V] that a share 0 .. 1 of the designs does not exceed."""
        return float(np.quantile(self.peak_to_peak, share))

    def within(self, limit: float) -> float:
        """Share of the designs whose ripple is at most ``limit`` [V]."""
        return float(np.mean(self.peak_to_peak <= limit))


def tolerance(
    solution: Solution, load: str, *, designs: int = 1000, top: float | None = None, seed: int = 1
) -> ToleranceResult:
    """The ripple in 20 MHz at a load, of designs whose parts lie anywhere within their tolerances.

    Uncertain parameters of the converter keep their nominal values: over those, see `filterlib.analysis.ripple.ripple`. The
    parts have the bias and current of the nominal design.

    Parameters: ``solution`` of one design; ``load``: its name; ``designs``: how many, each part's value drawn evenly over its
    range, and independently: an assumption, no source; ``top`` [Hz]: leave out harmonics above the first that reaches it, see
    `peak_to_peak`; ``seed`` of the draw.
    Returns: ToleranceResult, its ripple (designs,) [V].
    Raises: FilterlibError for an unknown load, or a design of which no part states a tolerance.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> result = tolerance(solution, "modem", designs=100)
    >>> result.peak_to_peak.shape, bool(4e-3 < result.quantile(0.5) < 6e-3)  # [V]
    ((100,), True)
    """
    design = solution.design
    loose = [one for one in uncertain_parameters(design) if one.key.startswith("filter.")]
    if not loose:
        raise FilterlibError("no part of the filter states a tolerance, so nothing spreads")
    shares = np.random.default_rng(seed).random((len(loose), designs, 1))
    values = {one.key: one.at(share) for one, share in zip(loose, shares, strict=True)}
    band = bands(design)[0]
    return ToleranceResult(
        point=solution.point,
        load=design.named_load(load).name,
        band=band.label,
        values={key: drawn[:, 0] for key, drawn in values.items()},
        peak_to_peak=peak_to_peak(solution, load, values, band=band, top=top),
    )


def peak_to_peak(
    solution: Solution,
    load: str,
    values: Columns,
    *,
    band: Band | None = None,
    top: float | None = None,
) -> np.ndarray:
    """Ripple at a load of many designs, in memory that does not grow with their number.

    Parameters
    ----------
    values : by key of `filterlib.system.ranges.uncertain_parameters.uncertain_parameters`, arrays (designs, 1)
        What each design has; all other values are those of ``design``.
    band : Band, optional
        Of measurement; 20 MHz where None.
    top : float, optional
        Leave out the converter's harmonics above the first that reaches this frequency [Hz]: a triangle in 20 MHz loses
        next to nothing with ``top`` there; spikes and fast edges ask for all (None).

    Returns
    -------
    array (designs,) [V]; NaN where the values contradict what was measured at the converter

    Raises
    ------
    FilterlibError
        For an unknown load, or an unknown key.
    """
    design = solution.design
    known = [one.key for one in uncertain_parameters(design)]
    for key in values:
        if key not in known:
            raise FilterlibError(f'no value "{key}" has a range; {did_you_mean(key, known)}')
    place, band = design.named_load(load).name, band or bands(design)[0]
    count = len(next(iter(values.values())))
    harmonics = len(spectra(solution, top=top).frequencies)
    step = max(1, POINTS // harmonics)
    ripple = np.empty(count)
    for start in range(0, count, step):
        chosen = slice(start, start + step)
        one = solution.varied({key: value[chosen] for key, value in values.items()})
        ripple[chosen] = np.ravel(spectra(one, top=top).peak_to_peak(place, band))
    return ripple
