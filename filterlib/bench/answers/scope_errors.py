"""By how much an oscilloscope and its probe may read wrong: each error stated, or a default with a range."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Hertz, Ratio, Unit, Volts

INDUCTANCE = 0.9e-6
"""Of a ground lead [H/m]: 0.8 to 1 µH/m, common practice, no source."""
_DAMPING = 50.0  # [ohm] in series with lead and probe: of tip, cable and source together, common practice, no source
SURE = 1.960  # standard uncertainties of 19 times in 20
_LEADS = (0.01, 0.15)  # [m] a spring at the tip, and the lead that comes with a probe
_CAPACITANCE = {1.0: 100e-12, 10.0: 12e-12}  # [F] of a probe by its factor, common practice, no source


@dataclass(frozen=True)
class ScopeErrors:
    """What is known of oscilloscope and probe; a limit is one that the true error is inside of, evenly likely.

    ``gain``, ``probe_gain``: limits of the gain's error; ``bits`` over the ``full_scale`` of its screen, at the tip; None where
    not stated; ``noise``: peak to peak that it shows with the tip on its own clip; ``probe``: 1 or 10; ``capacitance`` of the
    probe, None for that of its kind; ``lead``: shortest and longest length that its ground lead may have; ``corner``: limit of the
    error of its low-pass; ``jitter`` of its trigger, standard deviation; ``averages`` behind a figure on its screen;
    ``repeatability``: standard deviation of readings that are taken again, as a share, as well known as of ten of them.
    An offset moves no peak to peak. Defaults: common practice, no source.

    >>> round(1e-6 * ScopeErrors().resonance(0.15)), round(1e-6 * ScopeErrors(probe=1.0).resonance(0.15))  # [MHz]
    (125, 43)
    """

    gain: Ratio[float] = 0.03
    probe_gain: Ratio[float] = 0.02
    bits: int = 8
    full_scale: Volts[float | None] = None
    noise: Volts[float] = 1e-3
    probe: Annotated[float, Unit("", "probe", "probe_factor")] = 10.0
    capacitance: Annotated[float | None, Unit("F", "capacitance of the probe", "probe_capacitance")] = None
    lead: Annotated[tuple[float, float], Unit("m", "ground lead", "ground_lead")] = _LEADS
    corner: Ratio[float] = 0.2
    jitter: Annotated[float, Unit("s", "jitter of the trigger", "trigger_jitter")] = 1e-9
    averages: Annotated[float, Unit("", "averages", "averages")] = 1.0
    repeatability: Ratio[float] = 0.01

    @property
    def loading(self) -> Annotated[float, Unit("F", key=None)]:
        """Capacitance of the tip [F]."""
        return _CAPACITANCE.get(self.probe, _CAPACITANCE[10.0]) if self.capacitance is None else self.capacitance

    @property
    def spread(self) -> Annotated[float, Unit("", key=None)]:
        """Standard uncertainty of the gain, as a share: both limits evenly likely."""
        return float(np.hypot(self.gain, self.probe_gain) / np.sqrt(3))

    def resonance(self, length: float) -> Hertz[float]:
        """At which a ground lead of a length [m] resonates with the tip's capacitance [Hz]."""
        return 1 / (2 * np.pi * float(np.sqrt(INDUCTANCE * length * self.loading)))

    def response(self, frequencies: np.ndarray, length: float) -> np.ndarray:
        """What the scope sees of what is at the tip, complex (f,): lead and tip's capacitance as a damped divider.

        Validity: the probe as one capacitance, the source's impedance inside the damping.
        """
        s = 2j * np.pi * np.asarray(frequencies, float)
        return np.asarray(1 / (1 + s * self.loading * (_DAMPING + s * INDUCTANCE * length)))

    def gains(self, random: np.random.Generator, count: int) -> np.ndarray:
        """What readings are multiplied with, drawn, array (count,)."""
        evenly = random.uniform(-1, 1, (2, count))
        return np.asarray((1 + self.gain * evenly[0]) * (1 + self.probe_gain * evenly[1]))
