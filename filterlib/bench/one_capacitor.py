"""One capacitor inside, with ESR and inductance, that makes one reading out of the other: likelihood and uncertainty of its values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from filterlib.bench.readings import LARGEST_MISFIT, VALUES, Readings
from filterlib.parts.values import Values
from filterlib.system.sources.measuring import probe_transfer

if TYPE_CHECKING:
    from lmfit import Parameters
    from lmfit.minimizer import MinimizerResult

FITTED = (*VALUES, "delay")
_MISFITS = tuple(LARGEST_MISFIT * 0.6 ** np.arange(9))  # that are tried, besides none
_DECADES, _POINTS = 1.0, 9  # of the values that are tried first, on each side of what the design says
_ROOM = 10.0  # beyond those, for the fit
_BEST = 6  # of them, from which a fit begins
_TRIES = 100  # of each fit, at most
_STEP = 1e-4  # of a logarithm


@dataclass(frozen=True)
class OneCapacitor:
    """The inside as one capacitor, sought from two ``readings``."""

    readings: Readings

    def ratio(self, values: Values) -> np.ndarray:
        """Reading without the test capacitor over the reading with it, (h,) or (designs, h)."""
        setup = self.readings.setup
        inside, test = setup.inside(values), setup.capacitor(values)
        bare, loaded = (
            probe_transfer(inside, arrangement, self.readings.frequencies, setup.load_current)
            for arrangement in (setup.seen, setup.seen.with_added(test))
        )
        ratio: np.ndarray = np.exp(values.get("scale", 0.0)) * bare / loaded
        return ratio

    @cached_property
    def alike(self) -> np.ndarray:
        """Correlation of the misfit of two harmonics, 1/e at an octave's distance; (h, h)."""
        octaves = np.log2(self.readings.frequencies)
        correlation: np.ndarray = np.exp(-np.abs(octaves[:, None] - octaves))
        return correlation

    def whitened(self, values: Values, misfit: float) -> tuple[np.ndarray, float]:
        """Residual (h,), real and imaginary parts with a variance of 1 each, and the logarithm of the volume it had."""
        ratio, late = self.ratio(values), self.readings.late(values)
        by_inside = (ratio - 1) * late
        apart = (self.readings.bare - ratio * late) * np.exp(-1j * np.angle(by_inside))
        variance = np.diag(self.readings.variance(ratio)) + misfit**2 * self.alike * np.outer(*[np.abs(by_inside)] * 2)
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
        uncertainties = self.readings.setup.held
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
        tried = {name: self.readings.setup.centre[name] + grid[:, [n]] for n, name in enumerate(VALUES)}
        cost, delays = self.readings.delays(self.ratio(tried))
        begun = (
            self.parameters({name: tried[name][n, 0] for name in VALUES}, delays[n]) for n in np.argsort(cost)[:_BEST]
        )
        return min((self.fitted(one, LARGEST_MISFIT) for one in begun), key=lambda fit: fit.chisqr).params

    def parameters(self, values: Mapping[str, float], delay: float) -> Parameters:
        """For lmfit, with the range in which it may look."""
        import lmfit

        begun, reach = lmfit.Parameters(), _DECADES * np.log(10) + np.log(_ROOM)
        for name, centre in self.readings.setup.centre.items():
            begun.add(name, float(values[name]), min=centre - reach, max=centre + reach)
        begun.add("delay", float(delay))
        return begun


def _parts(values: np.ndarray) -> np.ndarray:
    return np.concatenate([values.real, values.imag])
