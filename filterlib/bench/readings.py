"""Two readings of the same terminals, without a known capacitor and with it: what was connected, harmonics, noise and delay."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from filterlib.parts.values import Values
from filterlib.system.inside.converter import Arrangement, Converter, FixtureCapacitor

PARASITICS = {"test_esr": 5.0, "test_esl": 7.5}
"""Times the tolerance of its capacitance, to which the test capacitor's ESR and ESL are known: common practice, no source."""
LARGEST_MISFIT = 0.1
"""Share of the impedance, beyond which a capacitor with ESR and inductance does not describe the inside."""
_DELAYS = 1024  # that are tried first, in a period
VALUES = {"capacitance": "F", "esr": "ohm", "inductance": "H"}
"""What is identified, with its unit."""


@dataclass(frozen=True)
class Setup:
    """What was connected where. ``usual``: the converter as the design has it, switching as recorded; ``test``: the capacitor of
    the second reading; ``seen``: what was connected at the probe in both; ``load_current`` [A]; ``tolerance`` and ``drift``:
    standard uncertainties, as shares, of the test capacitor and of the ratio of both readings' scales."""

    usual: Converter
    test: FixtureCapacitor
    seen: Arrangement
    load_current: float
    tolerance: float
    drift: float

    @cached_property
    def centre(self) -> dict[str, float]:
        """Logarithms of the values that the design has."""
        inside = self.usual
        start = {
            "capacitance": inside.output_capacitance.value,
            "esr": max(float(inside.output_esr.value), 1e-3),
            "inductance": max(float(inside.output_esl.value) + float(inside.lead_inductance.value), 1e-9),
        }
        return {name: float(np.log(value)) for name, value in start.items()}

    @property
    def held(self) -> dict[str, float]:
        """Standard uncertainty of the logarithm of each factor that the readings do not determine."""
        loop = self.usual.loop_bandwidth
        spreads = {"scale": self.drift, "test_capacitance": self.tolerance}
        spreads |= {name: times * self.tolerance for name, times in PARASITICS.items()}
        return spreads | {"loop": float(np.log(loop.high / loop.low)) / 4}

    def inside(self, values: Values) -> Converter:
        """The converter with logarithms of values, and of the factor of its loop's bandwidth."""
        usual, share = self.usual, esl_share(self.usual)
        changes = {
            "output_capacitance": np.exp(values["capacitance"]),
            "output_esr": np.exp(values["esr"]),
            "output_esl": share * np.exp(values["inductance"]),
            "lead_inductance": (1 - share) * np.exp(values["inductance"]),
            "loop_bandwidth": usual.loop_bandwidth.value * np.exp(values.get("loop", 0.0)),
        }
        return usual.model_copy(update={name: getattr(usual, name).at(value) for name, value in changes.items()})

    def capacitor(self, values: Values) -> FixtureCapacitor:
        """The test capacitor with the logarithms of factors."""
        names = ("capacitance", "esr", "esl")
        changes = {name: getattr(self.test, name) * np.exp(values.get(f"test_{name}", 0.0)) for name in names}
        return self.test.model_copy(update=changes)

    @property
    def resonance(self) -> float:
        """Of the test capacitor [Hz]."""
        square = self.test.capacitance * self.test.esl
        return float(1 / (2 * np.pi * np.sqrt(square))) if square else np.inf


@dataclass(frozen=True)
class Readings:
    """Harmonics without (``bare``) and with the test capacitor (``loaded``) [V], (h,) each, and their noise [V]."""

    setup: Setup
    orders: np.ndarray
    frequencies: np.ndarray
    bare: np.ndarray
    bare_noise: np.ndarray
    loaded: np.ndarray
    loaded_noise: np.ndarray

    def late(self, values: Values) -> np.ndarray:
        """The loaded harmonics, moved by the delay [rad of a period] to where the bare one's period begins."""
        late: np.ndarray = self.loaded * np.exp(1j * self.orders * values["delay"])
        return late

    def variance(self, ratio: np.ndarray) -> np.ndarray:
        """What the noise makes of the complex residual [V²]."""
        variance: np.ndarray = self.bare_noise**2 + np.abs(ratio * self.loaded_noise) ** 2
        return variance

    def delays(self, ratio: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """For each ratio of (designs, h) the least sum of squares, and the delay that makes it [rad of a period].

        A share of each reading is let pass, or the strongest harmonic would outvote all others.
        """
        weight = 1 / (self.variance(ratio) + (LARGEST_MISFIT * np.abs(self.bare)) ** 2)
        alike = np.zeros((len(ratio), max(_DELAYS, 2 * int(self.orders[-1]))), complex)
        alike[:, self.orders] = np.conj(self.bare) * ratio * self.loaded * weight
        gain = np.fft.ifft(alike, axis=-1).real * alike.shape[-1]
        both = np.sum(weight * (np.abs(self.bare) ** 2 + np.abs(ratio * self.loaded) ** 2), axis=-1)
        return both - 2 * gain.max(axis=-1), 2 * np.pi * gain.argmax(axis=-1) / alike.shape[-1]

    def moved(self) -> float:
        """By what share of itself the capacitor moved the reading of any harmonic, beyond three times the noise."""
        unmoved = np.ones((1, self.orders.size))
        late = self.late({"delay": self.delays(unmoved)[1][0]})
        sure = np.abs(self.bare - late) - 3 * np.sqrt(self.variance(unmoved[0]))
        return float(np.max(np.maximum(sure, 0) / np.maximum(np.abs(late), self.loaded_noise)))


def esl_share(converter: Converter) -> float:
    """Of the ESL in ESL and lead together."""
    esl, lead = float(converter.output_esl.value), float(converter.lead_inductance.value)
    return esl / (esl + lead) if esl else 0.0
