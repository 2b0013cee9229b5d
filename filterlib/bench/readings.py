"""Two readings of the same terminals, and the values inside that make one out of the other: likelihood and uncertainty."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from filterlib.bench.inside import VALUES, esl_share
from filterlib.parts.values import Values
from filterlib.system.inside.converter import Arrangement, Converter, FixtureCapacitor
from filterlib.system.sources.measuring import probe_transfer

if TYPE_CHECKING:
    from lmfit import Parameters
    from lmfit.minimizer import MinimizerResult

FITTED = (*VALUES, "delay")
PARASITICS = {"test_esr": 5.0, "test_esl": 7.5}
"""Times the tolerance of its capacitance, to which the test capacitor's ESR and ESL are known: common practice, no source."""
LARGEST_MISFIT = 0.1
"""Share of the impedance, beyond which a capacitor with ESR and inductance does not describe the inside."""
_MISFITS = tuple(LARGEST_MISFIT * 0.6 ** np.arange(9))  # that are tried, besides none
_DECADES, _POINTS = 1.0, 9  # of the values that are tried first, on each side of what the design says
_ROOM = 10.0  # beyond those, for the fit
_BEST = 6  # of them, from which a fit begins
_DELAYS = 1024  # that are tried first, in a period
_TRIES = 100  # of each fit, at most
_STEP = 1e-4  # of a logarithm


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

    def ratio(self, frequencies: np.ndarray, values: Values) -> np.ndarray:
        """Reading without the test capacitor over the reading with it, (h,) or (designs, h)."""
        inside, test = self.inside(values), self.capacitor(values)
        bare, loaded = (
            probe_transfer(inside, arrangement, frequencies, self.load_current)
            for arrangement in (self.seen, self.seen.with_added(test))
        )
        ratio: np.ndarray = np.exp(values.get("scale", 0.0)) * bare / loaded
        return ratio

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

    @cached_property
    def alike(self) -> np.ndarray:
        """Correlation of the misfit of two harmonics, 1/e at an octave's distance; (h, h)."""
        octaves = np.log2(self.frequencies)
        correlation: np.ndarray = np.exp(-np.abs(octaves[:, None] - octaves))
        return correlation

    def whitened(self, values: Values, misfit: float) -> tuple[np.ndarray, float]:
        """Residual (h,), real and imaginary parts with a variance of 1 each, and the logarithm of the volume it had."""
        ratio, late = self.setup.ratio(self.frequencies, values), self.late(values)
        by_inside = (ratio - 1) * late
        apart = (self.bare - ratio * late) * np.exp(-1j * np.angle(by_inside))
        variance = np.diag(self.variance(ratio)) + misfit**2 * self.alike * np.outer(*[np.abs(by_inside)] * 2)
        root = np.linalg.cholesky(variance / 2)
        return np.linalg.solve(root, apart), 2 * float(np.sum(np.log(np.diag(root))))

    def residual(self, parameters: Parameters, misfit: float) -> np.ndarray:
        """Real, then imaginary parts; (2 h,)."""
        return _parts(self.whitened(parameters.valuesdict(), misfit)[0])

    def slopes(self, values: Values, names: tuple[str, ...], misfit: float) -> np.ndarray:
        """Of the residual with each value, (2 h, names)."""
        columns = []
        for name in names:
            at = values.get(name, 0.0)
            ends = [self.whitened({**values, name: at + step}, misfit)[0] for step in (_STEP, -_STEP)]
            columns.append(_parts(ends[0] - ends[1]) / (2 * _STEP))
        return np.array(columns).T

    def covariance(self, values: Values, misfit: float) -> np.ndarray:
        """Of what is `FITTED`: by noise and misfit, and by the uncertainty of capacitor, scales and loop."""
        inverse = np.linalg.pinv(self.slopes(values, FITTED, misfit))
        uncertainties = self.setup.held
        moved = inverse @ self.slopes(values, tuple(uncertainties), misfit) * np.array(list(uncertainties.values()))
        covariance: np.ndarray = inverse @ inverse.T + moved @ moved.T
        return covariance

    def likeliest(self) -> tuple[dict[str, float], float]:
        """Values and misfit of the greatest likelihood, with the fitted values integrated out."""
        parameters, most = self.begin(), -np.inf
        best: tuple[dict[str, float], float] = ({}, 0.0)
        for misfit in (*_MISFITS, 0.0):
            parameters = self.fitted(parameters, misfit).params
            values = dict(parameters.valuesdict())
            white, volume = self.whitened(values, misfit)
            slopes = self.slopes(values, FITTED, misfit)
            spread = float(np.linalg.slogdet(slopes.T @ slopes)[1]) / 2
            likelihood = -volume - float(np.sum(np.abs(white) ** 2)) / 2 - spread
            if likelihood > most:
                most, best = likelihood, (values, misfit)
        return best

    def fitted(self, parameters: Parameters, misfit: float) -> MinimizerResult:
        """Least squares from there on, by lmfit."""
        import lmfit  # takes half a second to import

        return lmfit.minimize(self.residual, parameters, args=(misfit,), max_nfev=_TRIES)

    def begin(self) -> Parameters:
        """The best fit of those from the best of many values, each with the delay that suits it best."""
        steps = np.linspace(-_DECADES, _DECADES, _POINTS) * np.log(10)
        grid = np.stack(np.meshgrid(*[steps] * len(VALUES), indexing="ij"), axis=-1).reshape(-1, len(VALUES))
        tried = {name: self.setup.centre[name] + grid[:, [n]] for n, name in enumerate(VALUES)}
        cost, delays = self.delays(self.setup.ratio(self.frequencies, tried))
        begun = (
            self.parameters({name: tried[name][n, 0] for name in VALUES}, delays[n]) for n in np.argsort(cost)[:_BEST]
        )
        return min((self.fitted(one, LARGEST_MISFIT) for one in begun), key=lambda fit: fit.chisqr).params

    def parameters(self, values: Mapping[str, float], delay: float) -> Parameters:
        """For lmfit, with the range in which it may look."""
        import lmfit

        begun, reach = lmfit.Parameters(), _DECADES * np.log(10) + np.log(_ROOM)
        for name, centre in self.setup.centre.items():
            begun.add(name, float(values[name]), min=centre - reach, max=centre + reach)
        begun.add("delay", float(delay))
        return begun


def _parts(values: np.ndarray) -> np.ndarray:
    return np.concatenate([values.real, values.imag])
