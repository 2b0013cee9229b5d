"""The inside of a converter from two recordings, whatever bank it has: its impedance, how well that is known, and the converter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from filterlib.bench.branches import (
    Array,
    Complex,
    Loop,
    Search,
    capacitance_of,
    capacitance_shares,
    element_slopes,
    parts,
    terms,
)
from filterlib.bench.inside import Estimate, FitError
from filterlib.bench.readings import Readings
from filterlib.system.inside.bank import OF_THE_NOISE, OF_THE_TEST, Bank, BankConverter, Move, bank_impedance
from filterlib.system.inside.converter import Converter
from filterlib.system.ranges.ranged import Ranged, default
from filterlib.units import format_quantity

MISFIT = 0.3
"""Share of what the test capacitor moved, over all harmonics, from which on no passive inside makes both readings."""
_LEFT = 2.0
"""Times as much left over as noise makes, from which on it is asked whether the test capacitor's inductance is another one than was stated."""
_OTHERS, _FAR = (-2.0, -1.0, 1.0, 2.0), 3.0  # of its standard uncertainties, that are tried; and how far it may be off
_UNKNOWN = 1.0  # standard uncertainty of the logarithm of an element of which the readings say nothing
_ROUNDS, _SETTLED = 8, 1e-3  # until the capacitance moves by less, as a logarithm
_TWO_SIGMA, _HALVINGS = 4.0, 4  # of chi-square at two standard uncertainties; of an uncertainty that is too large
_ROUGH, _NEAR = (
    0.02,
    0.1,
)  # where a factor is moved: share to which the readings are made again, and how far elements go
_ESL, _CLOSE = "test_esl", {"xatol": 1e-3}
_LARGEST_ESL = 1e-6  # [H] that a converter may state


@dataclass(frozen=True, eq=False)
class BankFit:
    """What two recordings tell of a converter's inside, whatever is in it.

    Attributes
    ----------
    bank : Bank
        Passive branches, with the ranges of what the recordings leave open.
    capacitance : Estimate
        Of the whole bank [F].
    orders, frequencies : array (h,)
        Harmonics that were used [1], [Hz].
    impedance, uncertainty : array (h,)
        Of the bank with its lead [ohm]: complex, and its standard uncertainty.
    measured : array (h,)
        The same straight from the two readings: Z_test (V_bare / V_loaded - 1) where nothing else stands there [ohm].
    strongest : int
        Index of the strongest harmonic.
    delay : float
        By which the loaded recording's period must be read later to fit the bare one's [s].
    chi_square, degrees : float, int
        Sum of squares over the noise's variance, and how much it should be about.
    misfit : float
        Share of what the test capacitor moved that the branches leave unexplained.
    """

    bank: Bank
    capacitance: Estimate
    orders: np.ndarray
    frequencies: np.ndarray
    impedance: np.ndarray
    uncertainty: np.ndarray
    measured: np.ndarray
    strongest: int
    delay: float
    chi_square: float
    degrees: int
    misfit: float

    def inside(self, converter: Converter) -> BankConverter:
        """The converter with this bank in place of its one capacitor.

        ESR and ESL are told as of one capacitor that does the same at the strongest harmonic. Raises InputError where a
        value is beyond what a converter may have.
        """
        why = f"from two recordings, {self.orders.size} harmonics"
        z, spread = complex(self.impedance[self.strongest]), 2 * float(self.uncertainty[self.strongest])
        w, whole = 2 * np.pi * float(self.frequencies[self.strongest]), self.capacitance
        esl = min(max(z.imag / w + 1 / (w**2 * whole.value), 0.0), _LARGEST_ESL)
        kept = {name: getattr(converter, name) for name in converter.model_fields_set}
        told = {
            "output_capacitance": Ranged(whole.value, whole.low, whole.high, why=why),
            "output_esr": Ranged(z.real, max(z.real - spread, 0.0), z.real + spread, why=why),
            "output_esl": Ranged(esl, max(esl - spread / w, 0.0), esl + spread / w, why=why),
            "lead_inductance": default(0.0, 0.0, 0.0, "its inductance is in that of the bank"),
        }
        return BankConverter(**kept | told, bank=self.bank)


def fit_bank(readings: Readings) -> BankFit:
    """The passive bank that makes both readings, with as many branches as they ask for.

    Parameters
    ----------
    readings : Readings
        Harmonics of both, and how they were taken: see `filterlib.bench.fit.readings_of`.

    Returns
    -------
    BankFit

    Raises
    ------
    FitError
        Where no passive bank makes both readings: they are of two converters or loads, or of another capacitor.

    Notes
    -----
    At each harmonic two readings give the impedance, Z_test (V_bare / V_loaded - 1) where nothing else stands at the
    probe. The delay between the recordings is sought together with the bank: it is the one with which the impedance is
    passive. The test capacitor is taken as stated: then a filter that begins with this same capacitor sees exactly the
    second reading; with another inductance where that explains what is left over. What the stated capacitor, the scales,
    the loop and the noise leave open moves all elements together, to first order: JCGM 100:2008 (GUM), section 5.1, from
    memory; an element of which the readings say nothing has a standard uncertainty of a factor of e.
    """
    found = _best_bank(readings)
    if found.excess > _LEFT:
        found = _of_another_inductance(found)
    if found.misfit > MISFIT:
        raise FitError(_contradiction(found.misfit))
    return found.told()


def _best_bank(readings: Readings, esl_off: float = 0.0) -> _Found:
    """The best bank, with ``esl_off`` as the logarithm of the test capacitor's inductance over the stated one."""
    readings = _with_esl(readings, esl_off)
    search = Search(readings, terms(readings, None))
    return _settled(search, *search.best(), esl_off)


def _with_esl(readings: Readings, off: float) -> Readings:
    setup = readings.setup
    return replace(readings, setup=replace(setup, test=setup.capacitor({_ESL: off})))


def _settled(search: Search, chi: float, unknown: Array, esl_off: float) -> _Found:
    """With a loop that goes by the bank that was found."""
    for _ in range(_ROUNDS):
        search = Search(search.readings, terms(search.readings, search.loop(unknown)))
        before, (chi, unknown) = capacitance_of(unknown), search.near(unknown, _UNKNOWN)
        if abs(np.log(capacitance_of(unknown) / before)) < _SETTLED:
            break
    return _Found(search, unknown, chi, esl_off)


def _of_another_inductance(stated: _Found) -> _Found:
    """The likeliest bank, where the test capacitor's inductance may be off by as much as one is known to.

    Next to the capacitor's resonance it is most of what the capacitor moves, and it is known worst.
    """
    from scipy.optimize import minimize_scalar

    readings, spread = stated.search.readings, stated.search.readings.setup.held[_ESL]
    several = [stated, *(_best_bank(readings, times * spread) for times in _OTHERS)]
    excess = min(one.excess for one in several)

    def unlikely(one: _Found) -> float:
        return one.chi / excess + (one.esl_off / spread) ** 2

    best = min(several, key=unlikely)

    def near(off: float) -> _Found:
        moved = replace(best.search, readings=_with_esl(readings, off))
        return _settled(moved, best.chi, best.unknown, off)

    ends = (max(best.esl_off - spread, -_FAR * spread), min(best.esl_off + spread, _FAR * spread))
    closer = minimize_scalar(lambda off: unlikely(near(off)), bounds=ends, method="bounded", options=_CLOSE)
    return min((best, near(float(closer.x))), key=unlikely)


@dataclass(frozen=True, eq=False)
class _Found:
    """The best unknown of a search, and what is open of it; ``esl_off``: logarithm of the test capacitor's inductance over the stated one."""

    search: Search
    unknown: Array
    chi: float
    esl_off: float = 0.0

    @cached_property
    def impedance(self) -> Complex:
        return self.search.impedance(self.unknown)

    @cached_property
    def misfit(self) -> float:
        readings, ratio = self.search.readings, self.search.terms.ratio(self.impedance)
        late = readings.late({"delay": self.unknown[-1]})
        apart = np.sum(np.abs(readings.bare - ratio * late) ** 2 - readings.variance(ratio))
        return float(np.sqrt(max(apart, 0.0) / np.sum(np.abs((ratio - 1) * late) ** 2)))

    @property
    def degrees(self) -> int:
        return 2 * self.search.readings.orders.size - len(self.unknown)

    @property
    def excess(self) -> float:
        """Of the residual's variance over that of the noise: what the branches do not explain counts as noise."""
        return max(1.0, self.chi / max(self.degrees, 1))

    @cached_property
    def noise(self) -> Array:
        """Covariance of the unknown by noise, and by what is known of the elements beforehand."""
        slopes = self.search.slopes(self.unknown)
        beforehand = np.append(np.full(len(self.unknown) - 1, _UNKNOWN**-2), 0.0)
        return np.asarray(np.linalg.inv(slopes.T @ slopes / self.excess + np.diag(beforehand)))

    @cached_property
    def shares(self) -> Array:
        """Of each unknown in the logarithm of the whole capacitance."""
        return capacitance_shares(self.unknown)

    @cached_property
    def whole(self) -> Estimate:
        """Capacitance of the bank [F], by noise; no further than to where chi-square says no."""
        value, spread = capacitance_of(self.unknown), float(np.sqrt(self.shares @ self.noise @ self.shares))
        for _ in range(_HALVINGS):
            if max(chi for chi, _ in self.at_whole(value, spread)) < self.chi + _TWO_SIGMA * self.excess:
                break
            spread /= 2
        return Estimate(value, value * spread)

    def at_whole(self, value: float, spread: float) -> list[tuple[float, Array]]:
        """Chi-square and unknown two standard uncertainties of the whole capacitance below and above."""
        ends = (value * np.exp(-2 * spread), value * np.exp(2 * spread))
        return [self._with(self.search.loop(self.unknown, end)).near(self.unknown, _UNKNOWN, whole=end) for end in ends]

    def _with(self, loop: Loop, held: Mapping[str, float] | None = None) -> Search:
        return Search(self.search.readings, terms(self.search.readings, loop, held), _ROUGH if held else 0.0)

    @cached_property
    def by_held(self) -> dict[str, Move]:
        """How all elements move with each factor that is held."""
        return {name: self._by_held(name) for name in self.search.readings.setup.held}

    def _by_held(self, name: str) -> Move:
        setup, own = self.search.readings.setup, self.search.loop(self.unknown)
        ends = (-2 * setup.held[name], 2 * setup.held[name])
        if name == "loop":
            loop = setup.usual.loop_bandwidth
            ends = float(np.log(loop.low / loop.value)), float(np.log(loop.high / loop.value))
        move = self._move(ends, [self._with(own, {name: end}).near(self.unknown, _NEAR)[1] for end in ends])
        return move.replace(nominal=self.esl_off) if name == _ESL else move

    def _move(self, ends: tuple[float, float], unknowns: list[Array]) -> Move:
        low, high = ((one - self.unknown)[:-1].tolist() for one in unknowns)
        return Move(low=min(ends[0], -_SETTLED), high=max(ends[1], _SETTLED), at_low=tuple(low), at_high=tuple(high))

    @cached_property
    def by_noise(self) -> list[Move]:
        """Moves of two standard uncertainties, those that change the impedance most over the octaves."""
        by_whole = self.noise @ self.shares / np.sqrt(self.shares @ self.noise @ self.shares)
        values, vectors = np.linalg.eigh(self.noise - np.outer(by_whole, by_whole))
        root = vectors * np.sqrt(np.maximum(values, 0))
        slopes = element_slopes(self.unknown[:-1], self.search.s) / self.impedance[:, None]
        effect = slopes @ root[:-1] / np.sqrt(self.search.readings.orders)[:, None]
        moves = np.linalg.svd(parts(effect), full_matrices=False)[2][: len(OF_THE_NOISE)] @ root.T
        return [self._move((-2.0, 2.0), [self._as_far(-2 * one), self._as_far(2 * one)]) for one in moves]

    def _as_far(self, move: Array) -> Array:
        """The unknown moved, and no further than to where chi-square says no."""
        for _ in range(_HALVINGS):
            if np.sum(np.abs(self.search.residual(self.unknown + move)) ** 2) < self.chi + 2 * _TWO_SIGMA * self.excess:
                break
            move = move / 2
        return np.asarray(self.unknown + move)

    def bank(self) -> Bank:
        setup, whole = self.search.readings.setup, self.whole
        by_whole = self._move((np.log(whole.low / whole.value), np.log(whole.high / whole.value)),
                              [one for _, one in self.at_whole(whole.value, whole.relative)])  # fmt: skip
        return Bank(
            logarithms=tuple(self.unknown[:-1].tolist()),
            moves=(*(self.by_held[name] for name in OF_THE_TEST), *self.by_noise, by_whole, self.by_held["loop"]),
            capacitance=whole.value,
            loop_bandwidth=float(setup.usual.loop_bandwidth.value),
            loop_inductance=self.search.loop(self.unknown).inductance,
            **{name: _factor(setup.held[name], self.esl_off if name == _ESL else 0.0) for name in OF_THE_TEST},
            **dict.fromkeys(
                OF_THE_NOISE, default(0.0, -2.0, 2.0, "noise of the recordings, two standard uncertainties")
            ),
        )

    def told(self) -> BankFit:
        readings, late = self.search.readings, self.search.readings.late({"delay": self.unknown[-1]})
        bank, fundamental = self.bank(), float(readings.frequencies[0] / readings.orders[0])
        return BankFit(
            bank=bank,
            capacitance=self.whole,
            orders=readings.orders,
            frequencies=readings.frequencies,
            impedance=self.impedance,
            uncertainty=_uncertainty(bank, self.search.s),
            measured=self.search.terms.impedance(readings.bare / late),
            strongest=int(np.argmax(np.abs(readings.bare))),
            delay=float(np.mod(self.unknown[-1] / (2 * np.pi), 1) / fundamental),
            chi_square=self.chi,
            degrees=self.degrees,
            misfit=self.misfit,
        )


def _uncertainty(bank: Bank, s: Complex) -> Array:
    """Standard, of the impedance [ohm] (h,): a quarter of the way between both ends of each move, the loop's aside."""
    ends = np.array([[one.at_low, one.at_high] for one in bank.moves[:-1]])
    z = bank_impedance(np.exp(bank.logarithms + ends), s)
    return np.asarray(np.sqrt(np.sum(np.abs(z[:, 1] - z[:, 0]) ** 2, axis=0)) / 4)


def _factor(spread: float, off: float) -> Ranged:
    """Two standard uncertainties about 1, or about another value, a logarithm ``off``."""
    ends = float(np.exp(off - 2 * spread)), float(np.exp(off + 2 * spread))
    factor = default(1.0, *ends, "how well a test capacitor is known (common practice, no source)")
    return factor.moved(float(np.exp(off))) if off else factor


def _contradiction(misfit: float) -> str:
    return (
        f"no passive inside makes both readings: {format_quantity(100 * misfit, '')} % of what the capacitor moved is left over. "
        "Are they of the same converter and load, was this the capacitor that was fitted, and were the two not swapped?"
    )
