"""What two recordings of a converter's terminals determine of its inside: values, uncertainties, and the converter with them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from filterlib.bench.readings import esl_share
from filterlib.errors import FilterlibError
from filterlib.system.inside.converter import Converter
from filterlib.system.ranges.ranged import Ranged, default

_FAR = 3.0  # standard uncertainties of the noise, from which on a harmonic disagrees


class FitError(FilterlibError):
    """Two recordings that do not decide what is inside a converter."""


@dataclass(frozen=True)
class Estimate:
    """A value with its standard uncertainty, both in the value's unit.

    The uncertainty belongs to the logarithm, so that a range stays above zero.

    >>> round(Estimate(10.0, 1.0).low, 2), round(Estimate(10.0, 1.0).high, 2)
    (8.19, 12.21)
    """

    value: float
    uncertainty: float

    @property
    def relative(self) -> float:
        """Uncertainty over value."""
        return self.uncertainty / self.value

    @property
    def low(self) -> float:
        """Two standard uncertainties below."""
        return self.value * float(np.exp(-2 * self.relative))

    @property
    def high(self) -> float:
        """Two standard uncertainties above."""
        return self.value * float(np.exp(2 * self.relative))


@dataclass(frozen=True, eq=False)
class InsideFit:
    """What two recordings determine of a converter's inside.

    Attributes
    ----------
    capacitance, esr, inductance : Estimate
        Output capacitor [F], its ESR [ohm], and ESL and lead together [H]: from outside the two are one.
    correlations : mapping
        Of each two of those names, -1 to 1.
    frequency : float
        Of switching, as recorded [Hz].
    delay : float
        By which the loaded recording's period must be read later to fit the bare one's [s].
    orders, frequencies : array (h,)
        The harmonics that were used [1], [Hz].
    ratio, fitted : array (h,)
        Complex reading without over with the capacitor, as recorded (the delay removed) and as fitted.
    strays : array (h,)
        How far apart the two are, in standard uncertainties of the noise alone.
    chi_square, degrees : float, int
        Sum of squares over variances, those of noise and misfit, and how much it should be about.
    misfit : float
        Share of the inner impedance by which a bank of unequal capacitors must be allowed to differ from one capacitor, so
        that the residuals are explained; it is contained in the uncertainties. 0 where the noise explains them.
    undecided : tuple of str
        Values that the readings leave open, where the caller allowed it.
    """

    capacitance: Estimate
    esr: Estimate
    inductance: Estimate
    correlations: Mapping[tuple[str, str], float]
    frequency: float
    delay: float
    orders: np.ndarray
    frequencies: np.ndarray
    ratio: np.ndarray
    fitted: np.ndarray
    strays: np.ndarray
    chi_square: float
    degrees: int
    misfit: float
    undecided: tuple[str, ...] = ()

    @property
    def moved(self) -> np.ndarray:
        """How much the capacitor moved each reading, as a share of the reading with it, array (h,)."""
        moved: np.ndarray = np.abs(self.fitted - 1)
        return moved

    @property
    def disagreeing(self) -> np.ndarray:
        """Orders of the harmonics that lie far outside their noise."""
        return self.orders[self.strays > _FAR]

    def inside(self, converter: Converter, *, hold_esl: bool = True) -> Converter:
        """The converter with these values and their ranges, two standard uncertainties to each side.

        ESL and lead share their sum as they do in ``converter``, and the range of the sum becomes the lead's. Its own
        range of the ESL matters to the shape of a ripple that is known from its peak to peak alone; ``hold_esl=False``
        keeps it. A value that was left open stays as it was. Raises InputError where a value is beyond what a converter
        may have.
        """
        why = f"from two recordings, {self.orders.size} harmonics"
        esl = self.inductance.value * esl_share(converter)
        changes = {}
        if "capacitance" not in self.undecided:
            changes["output_capacitance"] = _ranged(self.capacitance, why)
        if "esr" not in self.undecided:
            changes["output_esr"] = _ranged(self.esr, why)
            changes["bulk_esr_ratio"] = default(1.0, 1.0, 1.0, "one capacitor explains both recordings")
        if "inductance" not in self.undecided:
            changes["output_esl"] = Ranged(esl, esl, esl, why=why) if hold_esl else _around(converter.output_esl, esl)
            changes["lead_inductance"] = _ranged(self.inductance, why, less=esl)
        return converter.replace(**changes)


def _ranged(estimate: Estimate, why: str, less: float = 0.0) -> Ranged:
    return Ranged(estimate.value - less, max(estimate.low - less, 0.0), estimate.high - less, why=why)


def _around(limits: Ranged, value: float) -> Ranged:
    return Ranged(value, min(limits.low, value), max(limits.high, value), limits.stated, limits.why)
