"""Branches of R, L and C that make one reading out of the other: sought by their logarithms, branch after branch."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from filterlib.bench.readings import Readings, Setup
from filterlib.system.inside.bank import bank_impedance, branch_admittances
from filterlib.system.inside.converter import Arrangement
from filterlib.system.sources.measuring import probe_transfer

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

MOST_BRANCHES = 6
_LEAST = (1e-6, 1e-11), (1e-10, 1e-5, 1e-12)  # elements: R and L of the lead; C, R and L of a branch
_MOST = (1.0, 1e-6), (0.1, 30.0, 1e-4)
_USUAL = (1e-3, 1e-8), (3e-5, 0.02, 5e-9)
_USUAL_SPREAD = float(np.log(30))  # standard deviation, as a logarithm: common practice, no source
LETS_GO = 40.0
"""Impedance of the regulating branch over that of a bank, at the switching frequency, at least: the loop does nothing there."""
_GAIN = 8.0  # of chi-square, for which one more branch is kept
_TRIES, _FINE = 60, 1e-6  # of each fit, and where it ends
_FIRST, _STARTS = 12, 5  # fits of the first branch, and with one more
_HELD = 1e-3  # of a logarithm that is held
_FARADS, _OHMS, _HENRIES = (  # of the branch that is tried first
    np.geomspace(1e-6, 2e-3, 8), np.geomspace(1e-3, 0.5, 6), np.geomspace(2e-9, 1e-7, 4)
)  # fmt: skip
_PLACES, _SHARPNESS = (
    24,
    (0.1, 0.3, 1.0, 3.0),
)  # of a further branch: resonances over the band, reactance over resistance


@dataclass(frozen=True)
class Terms:
    """The reading is the open bank's voltage over t + Z q, (h,) each, bare and loaded; the regulating loop is in q."""

    bare_t: Complex
    bare_q: Complex
    loaded_t: Complex
    loaded_q: Complex
    scale: float

    def ratio(self, z: Complex) -> Complex:
        """Bare reading over the loaded one, with the bank's impedance Z [ohm]."""
        return np.asarray(self.scale * (self.loaded_t + z * self.loaded_q) / (self.bare_t + z * self.bare_q))

    def slope(self, z: Complex) -> Complex:
        """Of the ratio with Z [1/ohm]."""
        crossed = self.loaded_q * self.bare_t - self.loaded_t * self.bare_q
        return np.asarray(self.scale * crossed / (self.bare_t + z * self.bare_q) ** 2)

    def impedance(self, ratio: Complex) -> Complex:
        """Z [ohm] of a ratio: Z_test (ratio - 1) where nothing else stands at the probe."""
        one = ratio / self.scale
        return np.asarray((one * self.bare_t - self.loaded_t) / (self.loaded_q - one * self.bare_q))


@dataclass(frozen=True)
class Loop:
    """What the regulating branch goes by: ``capacitance`` of the bank [F], ``inductance`` that the branch has at least [H]."""

    capacitance: float
    inductance: float

    def admittance(self, setup: Setup, f: Array, factor: float) -> Complex:
        """Of the branch [S], (f,), its bandwidth ``factor`` times the nominal."""
        usual = setup.usual
        usual = usual.model_copy(update={
            "output_capacitance": usual.output_capacitance.at(self.capacitance),
            "loop_bandwidth": usual.loop_bandwidth.at(usual.loop_bandwidth.value * factor),
        })  # fmt: skip
        more = max(self.inductance - float(usual.loop_elements[2]), 0.0)
        return np.asarray(1 / (usual.loop_impedance(f) + 2j * np.pi * f * more))


def terms(readings: Readings, loop: Loop | None, held: Mapping[str, float] | None = None) -> Terms:
    """Of the two arrangements; ``held``: logarithms of factors that `Setup.held` names."""
    setup, f, by = readings.setup, readings.frequencies, held or {}
    regulating = 0j if loop is None else loop.admittance(setup, f, float(np.exp(by.get("loop", 0.0))))

    def pair(arrangement: Arrangement) -> tuple[Complex, Complex]:
        t, t_and_q = (
            1 / probe_transfer(setup.usual, arrangement, f, setup.load_current, behind=np.full(f.shape, ohms, complex))
            for ohms in (0.0, 1.0)
        )
        return t, np.asarray(t_and_q - t + t * regulating)

    return Terms(
        *pair(setup.seen), *pair(setup.seen.with_added(setup.capacitor(by))), float(np.exp(by.get("scale", 0.0)))
    )


@dataclass(frozen=True)
class Search:
    """Two readings and the terms of their arrangements. Unknown: logarithms of elements, then the delay [rad of a period].

    ``floor``: share of what the test capacitor moves that counts as noise too.
    """

    readings: Readings
    terms: Terms
    floor: float = 0.0

    @cached_property
    def s(self) -> Complex:
        """j 2 pi f of each harmonic, (h,)."""
        return np.asarray(2j * np.pi * self.readings.frequencies)

    def impedance(self, unknown: Array) -> Complex:
        """Of the bank [ohm], (h,)."""
        return bank_impedance(np.exp(unknown[:-1]), self.s)

    def loop(self, unknown: Array, whole: float | None = None) -> Loop:
        """What the regulating branch goes by with a bank: it lets go well below the switching frequency; ``whole`` [F]."""
        w = 2 * np.pi * self.readings.frequencies[0] / self.readings.orders[0]
        ohms = float(np.abs(bank_impedance(np.exp(unknown[:-1]), np.array([1j * w]))[0]))
        return Loop(capacitance_of(unknown) if whole is None else whole, LETS_GO * ohms / w)

    def per_ratio(self, unknown: Array) -> Complex:
        """By how much the residual changes with the ratio, (h,)."""
        late, ratio = self.readings.late({"delay": unknown[-1]}), self.terms.ratio(self.impedance(unknown))
        variance = self.readings.variance(ratio) + np.abs(self.floor * (ratio - 1) * late) ** 2
        return np.asarray(-late / np.sqrt(variance / 2))

    def residual(self, unknown: Array) -> Complex:
        """Bare reading less ratio times loaded one, over the noise's deviation in each part, (h,)."""
        ratio = self.terms.ratio(self.impedance(unknown))
        late = self.readings.late({"delay": unknown[-1]})
        return np.asarray((ratio - self.readings.bare / late) * self.per_ratio(unknown))

    def slopes(self, unknown: Array) -> Array:
        """Of the residual's two parts with each unknown, (2 h, unknowns); the noise's deviation taken as it is."""
        z, per = self.impedance(unknown), self.per_ratio(unknown)
        by_delay = per * self.terms.ratio(z) * 1j * self.readings.orders
        by_elements = (per * self.terms.slope(z))[:, None] * element_slopes(unknown[:-1], self.s)
        return parts(np.column_stack([by_elements, by_delay]))

    def solve(self, start: Array) -> tuple[float, Array]:
        """Chi-square, and the unknown at which it is least; an element that does not matter is of a usual size."""
        return self.near(
            np.append(np.log([*_USUAL[0], *_USUAL[1] * (len(start) // 3 - 1)]), 0.0), _USUAL_SPREAD, start=start
        )

    def near(
        self, centre: Array, spread: float, *, whole: float | None = None, start: Array | None = None
    ) -> tuple[float, Array]:
        """The same with elements within ``spread``, as a logarithm, of ``centre``; ``whole``: capacitance of the bank [F]."""
        rows = np.eye(len(centre))[:-1] / spread

        def residual(x: Array) -> Array:
            held = [] if whole is None else [np.log(capacitance_of(x) / whole) / _HELD]
            return np.concatenate([parts(self.residual(x)), rows @ (x - centre), held])

        def slopes(x: Array) -> Array:
            held = np.zeros((0, len(x))) if whole is None else capacitance_shares(x)[None] / _HELD
            return np.concatenate([self.slopes(x), rows, held])

        found = _least(residual, slopes, centre if start is None else start)
        return float(np.sum(np.abs(self.residual(found)) ** 2)), found

    def best(self) -> tuple[float, Array]:
        """The same with as many branches as lower chi-square."""
        chi, unknown = min((self.solve(one) for one in self._first()), key=_chi)
        while (len(unknown) - 3) // 3 < MOST_BRANCHES:
            more = min((self.solve(one) for one in self._one_more(unknown)), key=_chi, default=(chi, unknown))
            if more[0] > chi - _GAIN:
                break
            chi, unknown = more
        return chi, unknown

    def _first(self) -> Iterator[Array]:
        """One branch and a lead, from the best of many, each with the delay that suits it best."""
        grid = np.stack(np.meshgrid(_FARADS, _OHMS, _HENRIES), axis=-1).reshape(-1, 3)
        farads, ohms, henries = grid.T[..., None]
        cost, delays = self.readings.delays(self.terms.ratio(ohms + self.s * henries + 1 / (self.s * farads)))
        for n in np.argsort(cost)[:_FIRST]:
            c, r, inductance = grid[n]
            yield np.append(np.log([0.01 * r, 0.7 * inductance, c, r, 0.3 * inductance]), delays[n])

    def _one_more(self, unknown: Array) -> Iterator[Array]:
        """With one more branch: those that lower chi-square most to first order, while the other unknowns may move."""
        at, sharp = (np.ravel(one) for one in np.meshgrid(self._places, _SHARPNESS))
        x = self.readings.frequencies / at[:, None]
        lead = np.exp(unknown[0]) + self.s * np.exp(unknown[1])
        z = self.impedance(unknown)
        by_siemens = -((z - lead) ** 2) * self.terms.slope(z) * self.per_ratio(unknown)
        columns = parts((by_siemens / (1 + 1j * sharp[:, None] * (x - 1 / x))).T)
        free = np.linalg.qr(self.slopes(unknown))[0]
        columns = columns - free @ (free.T @ columns)
        size = np.sum(columns**2, axis=0)
        siemens = -(columns.T @ parts(self.residual(unknown))) / size
        gains = np.where(siemens > 0, siemens**2 * size, 0.0)
        for n in np.argsort(-gains)[:_STARTS][siemens[np.argsort(-gains)[:_STARTS]] > 0]:
            reactance, w = sharp[n] / siemens[n], 2 * np.pi * at[n]
            more = np.log([1 / (w * reactance), 1 / siemens[n], reactance / w])
            yield np.concatenate([unknown[:-1], more, unknown[-1:]])

    @property
    def _places(self) -> Array:
        f = self.readings.frequencies
        return np.geomspace(f[0] / 4, 1.5 * f[-1], _PLACES)


def capacitance_of(unknown: Array) -> float:
    """Of the whole bank [F]."""
    return float(np.sum(np.exp(unknown[2:-1:3])))


def capacitance_shares(unknown: Array) -> Array:
    """Of each unknown in the logarithm of the whole capacitance, (unknowns,)."""
    shares = np.zeros(len(unknown))
    shares[2:-1:3] = np.exp(unknown[2:-1:3]) / capacitance_of(unknown)
    return shares


def element_slopes(logarithms: Array, s: Complex) -> Complex:
    """Of the bank's impedance with the logarithm of each element [ohm], (f, elements)."""
    elements = np.exp(logarithms)
    y = branch_admittances(elements, s)
    shares = (y / np.sum(y, axis=0)) ** 2
    columns = [np.full(s.shape, elements[0], complex), s * elements[1]]
    for (farads, ohms, henries), share in zip(elements[2:].reshape(-1, 3), shares, strict=True):
        columns += [-share / (s * farads), share * ohms, share * s * henries]
    return np.column_stack(columns)


def parts(values: Complex) -> Array:
    """Real, then imaginary parts: (h, ...) -> (2 h, ...)."""
    return np.concatenate([values.real, values.imag])


def _least(residual: Callable[[Array], Array], slopes: Callable[[Array], Array], start: Array) -> Array:
    """The unknown at which the sum of squares is least."""
    from scipy.optimize import least_squares

    low, high = (_bound(len(start), *ends) for ends in ((_LEAST, -1e3), (_MOST, 1e3)))
    inside = np.clip(start, low + 1e-6, high - 1e-6)
    found = least_squares(residual, inside, slopes, bounds=(low, high), max_nfev=_TRIES, ftol=_FINE, xtol=_FINE)
    return np.asarray(found.x)


def _bound(unknowns: int, elements: tuple[tuple[float, ...], tuple[float, ...]], delay: float) -> Array:
    lead, branch = elements
    return np.append(np.log([*lead, *branch * ((unknowns - 3) // 3)]), delay)


def _chi(found: tuple[float, Array]) -> float:
    return found[0]
