"""What both kinds of choke share: a core that loses energy and warms, and a winding that warms with it."""

from __future__ import annotations

from math import gamma, pi, sqrt
from typing import Annotated, Literal, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import model_validator

from filterlib.errors import QuantityError
from filterlib.parts.base import Curve, Part, Quantity, beyond, on_curve
from filterlib.parts.copper import COPPER_COEFFICIENT, copper_factor
from filterlib.parts.values import ROOM, Points, Value

Saturation = Literal["soft", "hard"]
SATURATION_EXPONENT = {"soft": 2, "hard": 10}  # common practice, no source: powder cores and gapped ferrites
SATURATION_VALID = 2.0  # times the saturation current, to which that law is good: common practice, no source

Inductance = Annotated[Value, Quantity("H", above=0, plausible=(1e-9, 1.0))]
Capacitance = Annotated[Value, Quantity("F", low=0, plausible=(1e-14, 1e-6))]
Current = Annotated[Value, Quantity("A", above=0, plausible=(1e-4, 1e3))]
Resistance = Annotated[Value, Quantity("ohm", low=0, plausible=(1e-6, 1e3))]
CoreResistance = Annotated[Value, Quantity("ohm", above=0, plausible=(1e-2, 1e7))]
Frequency = Annotated[Value, Quantity("Hz", above=0, plausible=(1e3, 1e10))]
Tolerance = Annotated[Value, Quantity("", low=0, below=1)]
Ratio = Annotated[Value, Quantity("", above=0, below=1)]

CORE = (
    "core_volume", "core_area", "turns", "core_loss", "core_loss_frequency", "core_loss_flux",
    "core_frequency_exponent", "core_flux_exponent",
)  # fmt: skip
"""Fields that are stated together: geometry, one point of the loss, and its two exponents."""


def saturated(current: Value, saturation_current: Value, ratio: Value, saturation: Saturation) -> Value:
    """What is left of the small-signal inductance at a DC ``current`` [A]: ``ratio`` at ``saturation_current``.

    1/(1 + (I/Isat)**n (1/ratio - 1)), n = 2 (soft: powder cores) or 10 (hard: flat, then steep: gapped ferrites).
    Valid to about `SATURATION_VALID` times the saturation current; further out a real choke keeps its air inductance.
    Source: common practice, no source.

    >>> [round(float(saturated(i, 4.0, 0.7, "hard")), 3) for i in (2.0, 4.0, 5.0)]
    [1.0, 0.7, 0.2]
    """
    return 1 / (1 + (current / saturation_current) ** SATURATION_EXPONENT[saturation] * (1 / ratio - 1))


class Steinmetz(NamedTuple):
    """Loss density k f**alpha B**beta [W/m3] of a core at a frequency [Hz] and a peak flux density [T]."""

    k: Value
    alpha: float
    beta: float

    def sine(self, frequency: Value, flux: Value) -> Value:
        """Loss density [W/m3] under a sine of the peak flux density ``flux`` [T], without DC flux.

        Source: C. P. Steinmetz, "On the law of hysteresis", Transactions of the AIEE 9 (1892) 3, with a power of
        frequency as data sheets state it.

        >>> round(Steinmetz(10.0, 1.4, 2.5).sine(100e3, 0.1))
        316228
        """
        return self.k * frequency**self.alpha * flux**self.beta

    def waveform(self, slopes: NDArray[np.float64], swing: Value) -> Value:
        """Loss density [W/m3] under any periodic flux: the improved generalised Steinmetz equation.

        Parameters
        ----------
        slopes : array (..., n)
            dB/dt [T/s] at equal steps over one period.
        swing : float or array (..., 1)
            Flux density peak to peak [T].

        Returns
        -------
        float or array (..., 1)
            The mean over the period of k_i |dB/dt|**alpha swing**(beta - alpha).

        Notes
        -----
        Equal to `sine` under a sine. Valid where one loop dominates (minor loops are not split off), for the range of
        frequency and flux in which the coefficients were fitted, without much DC flux, which raises the loss.
        Source: K. Venkatachalam, C. R. Sullivan, T. Abdallah and H. Tacca, "Accurate prediction of ferrite core loss
        with nonsinusoidal waveforms using only Steinmetz parameters", IEEE Workshop on Computers in Power Electronics
        (2002) 36-41, doi 10.1109/CIPE.2002.1196712 (the equation from memory).

        Examples
        --------
        A triangle of 0.2 T peak to peak at 100 kHz, duty cycle one half, loses less than a sine of the same swing:

        >>> slopes = np.array([0.2, -0.2]) / 5e-6
        >>> material = Steinmetz(10.0, 1.4, 2.5)
        >>> round(material.waveform(slopes, 0.2) / material.sine(100e3, 0.1), 3)
        0.932
        """
        scale = self.k / ((2 * pi) ** (self.alpha - 1) * _mean_cosine(self.alpha) * 2 ** (self.beta - self.alpha))
        mean = np.mean(np.abs(slopes) ** self.alpha, axis=-1, keepdims=np.ndim(slopes) > 1)
        loss = scale * mean * np.asarray(swing) ** (self.beta - self.alpha)
        return loss if np.ndim(loss) else float(loss)


def _mean_cosine(alpha: float) -> float:
    """Integral of |cos x|**alpha over a whole turn."""
    return 2 * sqrt(pi) * gamma((alpha + 1) / 2) / gamma(alpha / 2 + 1)


def temperature_rise(copper: Value, rest: Value, thermal_resistance: Value, temperature: Value = ROOM) -> Value:
    """Rise [K] of a wound part above the ``temperature`` [K] around it; infinite where it runs away.

    ``copper`` and ``rest`` [W] are the heat of the winding, at the surroundings' temperature, and of everything else;
    the copper's grows with the rise: R_th (P_cu (1 + a rise) + P_rest). Valid where one temperature and one thermal
    resistance [K/W] describe the part. Source: conservation of energy; the coefficient: IEC 60028 (from memory).

    >>> round(float(temperature_rise(1.0, 0.5, 20.0)), 2)   # 30 K, and 0.393 % of copper's 20 K a kelvin more
    32.56
    """
    growth = thermal_resistance * copper * COPPER_COEFFICIENT / copper_factor(temperature)
    with np.errstate(divide="ignore"):
        rise = thermal_resistance * (copper + rest) / (1 - np.minimum(growth, 1))
    return np.where(growth >= 1, np.inf, rise)[()]


class Wound(Part):
    """Fields of a part with a winding on a core; all are optional.

    Attributes
    ----------
    temperature_curve : [[temperature, ratio], ...] of the core's inductance, 1 at 25 °C
    maximum_temperature : that winding and core may have [K]
    thermal_resistance : from winding and core to the surroundings [K/W]
    core_volume, core_area, turns : effective volume [m3] and section [m2]; turns of one winding
    core_loss, core_loss_frequency, core_loss_flux : loss density [W/m3] of a sine of that frequency [Hz] and that peak
        flux density [T], at the temperature at which the part works
    core_frequency_exponent, core_flux_exponent : Steinmetz's alpha and beta there
    """

    temperature_curve: Annotated[Points, Curve("K", reference=298.15, low=200, high=500)] | None = None
    maximum_temperature: Annotated[Value, Quantity("K", low=300, high=500)] | None = None
    thermal_resistance: Annotated[Value, Quantity("K/W", above=0, plausible=(0.1, 1e3))] | None = None
    core_volume: Annotated[Value, Quantity("m3", above=0, plausible=(1e-10, 1e-2))] | None = None
    core_area: Annotated[Value, Quantity("m2", above=0, plausible=(1e-8, 1e-1))] | None = None
    turns: Annotated[Value, Quantity("", above=0, plausible=(0.5, 1e4))] | None = None
    core_loss: Annotated[Value, Quantity("W/m3", above=0, plausible=(1e-9, 1e9))] | None = None
    core_loss_frequency: Annotated[Value, Quantity("Hz", above=0, plausible=(1, 1e8))] | None = None
    core_loss_flux: Annotated[Value, Quantity("T", above=0, plausible=(1e-4, 2))] | None = None
    core_frequency_exponent: Annotated[float, Quantity("", low=0.8, high=3)] | None = None
    core_flux_exponent: Annotated[float, Quantity("", low=1.2, high=4)] | None = None

    @model_validator(mode="after")
    def _whole_core(self) -> Self:
        missing = [name for name in CORE if getattr(self, name) is None]
        if 0 < len(missing) < len(CORE):
            raise QuantityError(f"missing: the core's loss needs all of {', '.join(CORE)}", name=missing[0])
        return self

    @property
    def steinmetz(self) -> Steinmetz | None:
        """The core's coefficients, or None where its loss is not stated."""
        loss, frequency, flux, alpha, beta = (getattr(self, name) for name in CORE[3:])
        return None if loss is None else Steinmetz(loss / (frequency**alpha * flux**beta), alpha, beta)

    def warm_factor(self, temperature: Value = ROOM) -> Value:
        """The core's inductance at ``temperature`` [K] over that at 25 °C."""
        return on_curve(self.temperature_curve, temperature) if self.temperature_curve else 1.0

    def beyond_curve(self, temperature: Value = ROOM) -> bool | NDArray[np.bool_]:
        """Whether ``temperature`` [K] lies outside the curve, so that the last stated ratio is used."""
        return beyond(self.temperature_curve, temperature)

    def core_heat(self, volts: NDArray[np.float64], volt_seconds: Value) -> Value:
        """Heat of the core [W] under a periodic voltage across the winding; NaN where its loss is not stated.

        Parameters
        ----------
        volts : array (..., n)
            Across the winding without its resistance [V], at equal steps over one period.
        volt_seconds : float or array (..., 1)
            Its integral over time, peak to peak [V s].
        """
        volume, area, turns = (getattr(self, name) for name in CORE[:3])
        if self.steinmetz is None:
            return np.nan
        heat: Value = volume * self.steinmetz.waveform(volts / (turns * area), volt_seconds / (turns * area))
        return heat
