"""Unequal capacitors inside a converter: a large one, and ceramics beside it, which a bridge reads as one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from filterlib.network.extremes import Harmonics
from filterlib.network.wiring import Wiring
from filterlib.parts.values import Value

ESL = 1e-9  # [H] of the ceramics, which stand where the switches are: common practice, no source
ESR = 0.2  # of the ceramics, over that of all together: common practice, no source
LEAST = 1e-12  # [ohm], for a large one that is stated without resistance at a frequency where its reactance is gone
MOST = 0.9  # of all capacitance that is in the ceramics


@dataclass(frozen=True)
class Unequal:
    """A large capacitor, and ceramics before it; numbers or (designs, 1).

    ``capacitance`` [F], ``esr`` [ohm] and ``esl`` [H] of the large one; the track between both has as much inductance.
    ``ceramic`` [F] and ``ceramic_esr`` [ohm] of the ceramics.
    """

    capacitance: Value
    esr: Value
    esl: Value
    ceramic: Value
    ceramic_esr: Value

    def impedance(self, s: np.ndarray) -> Harmonics:
        """Of both, seen from the large one [ohm], at ``s`` = j 2 pi f above 0."""
        large = self.esr + s * self.esl + 1 / (s * self.capacitance)
        ceramics = self._ceramics(s)
        return np.asarray(1 / (1 / large + ceramics / (1 + ceramics * s * self.esl)))

    def passed(self, s: np.ndarray) -> Harmonics:
        """Share of the switches' current, which begins at the ceramics, that leaves by the track into a short."""
        return np.asarray(1 / (1 + self._ceramics(s) * s * self.esl))

    def _ceramics(self, s: np.ndarray) -> np.ndarray:
        """Admittance [S]."""
        return s * self.ceramic / (1 + s * self.ceramic * (self.ceramic_esr + s * ESL))

    def ladder(self) -> Wiring:
        """The same as a circuit of terminals a and b."""
        ladder = Wiring().capacitor("c", "a", "x", self.capacitance)
        ladder.resistor("esr", "x", "y", self.esr).inductor("esl", "y", "b", self.esl)
        ladder.inductor("track", "a", "p", self.esl).capacitor("ceramic", "p", "q", self.ceramic)
        return ladder.resistor("ceramic_esr", "q", "r", self.ceramic_esr).inductor("ceramic_esl", "r", "b", ESL)


def by_part(z: np.ndarray) -> dict[str, np.ndarray]:
    """An impedance [ohm] of several branches as its resistive part, and its reactance as that of a capacitance or an inductance."""
    reactance = 1j * z.imag
    return {
        "ripple_c": np.where(z.imag < 0, reactance, 0),
        "ripple_esr": z.real + 0j,
        "ripple_esl": np.where(z.imag < 0, 0, reactance),
    }


def unequal(capacitance: Value, esr: Value, esl: Value, ratio: Value, frequency: float) -> Unequal:
    """The large capacitor and the ceramics that are together what a bridge reads.

    Parameters
    ----------
    capacitance, esr : float or array (designs, 1)
        Of all together: capacitance [F] at low frequency, resistance [ohm] at ``frequency``.
    esl : float or array (designs, 1)
        Of the large one [H].
    ratio : float or array (designs, 1)
        The large one's own ESR over that of all together; up to 1 there are no ceramics.
    frequency : float
        At which the ripple repeats [Hz].

    Notes
    -----
    Beside R + jX the susceptance B leaves the resistance R / ((1 - B X)² + (B R)²), which is R / ratio where
    (ratio - 1) / B = sqrt(X² + (R² + X²)(ratio - 1)) - X; the ceramics' own resistance, the track, and an X above 0 are left out of that.

    Examples
    --------
    >>> bank = unequal(220e-6, 20e-3, 5e-9, 4.0, 200e3)   # an electrolytic of 80 mohm that reads 20 mohm
    >>> float(round(1e6 * bank.ceramic, 1))
    16.8
    >>> float(round(1e3 * bank.impedance(np.array([2j * np.pi * 200e3]))[0].real, 1))
    18.2
    """
    w, ratio = 2 * np.pi * frequency, np.maximum(ratio, 1.0)
    large = ratio * esr
    reactance = np.minimum(w * esl - 1 / (w * capacitance), 0.0)
    more = ratio - 1
    ohms = np.maximum(np.sqrt(reactance**2 + (large**2 + reactance**2) * more) - reactance, LEAST)
    ceramic = np.clip(more / (w * ohms + w**2 * ESL * more), 0.0, MOST * capacitance)
    return Unequal(capacitance - ceramic, large, esl, ceramic, ESR * esr)
