"""A passive one-port for an impedance curve: positive elements, sought by their logarithms, section after section."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from filterlib.errors import refused
from filterlib.parts.curves.impedance_curve import ImpedanceCurve, refuse_steep
from filterlib.parts.curves.one_port import Complex, OnePort, Section
from filterlib.units import format_quantity

Array = NDArray[np.float64]

RMS_ERROR, LARGEST_ERROR = 0.5, 3.0  # [dB] between network and curve; a curve that is further away is refused
DECIBELS = 20 / np.log(10)  # for each unit of ln|Z|
UNSEEN = 1e-3  # share of the least |Z| below which a series inductance is left out
GOOD = 0.003  # rms of ln|Z| at which no further section is sought
GAIN = 0.8  # a further section is kept where it leaves less than this share of the rms
PATIENCE = 2  # sections that may bring less before the search ends
MOST_SECTIONS = 8
MOST_POINTS = 160  # on which the elements are sought; the error is taken over all
_SPREAD = 1e4  # how far beyond the band's own scales an element is sought, as a ratio


@dataclass(frozen=True)
class Layout:
    """Which elements are sought: of what ``blocks``, L, C and R in series, else a ``fixed`` resistance [ohm]; ``kinds`` of sections."""

    fixed: float
    blocks: bool
    kinds: tuple[str, ...] = ()

    def with_section(self, kind: str) -> Layout:
        return Layout(self.fixed, self.blocks, (*self.kinds, kind))

    def evaluate(self, logs: Array, f: Array) -> tuple[Complex, Complex]:
        """Impedance (f,) and its derivative after each logarithm (f, p)."""
        values, jw = np.exp(logs), 2j * np.pi * f
        total, slopes = np.full(f.shape, self.fixed, dtype=complex), []
        if self.blocks:
            inductive, capacitive = jw * values[0], 1 / (jw * values[1])
            total = inductive + capacitive + values[2]
            slopes = [inductive, -capacitive, np.full(f.shape, values[2], dtype=complex)]
        for kind, (peak, at, quality) in self._triples(values):
            term, slope = _section(kind, peak, f / at, quality)
            total = total + term
            slopes += slope
        return total, np.stack(slopes, axis=-1)

    def _triples(self, values: Array) -> Iterator[tuple[str, Array]]:
        """Kind of each section with resistance [ohm], corner or resonance [Hz] and quality factor (1 where it has none)."""
        place = 3 * self.blocks
        for kind in self.kinds:
            size = _SIZES[kind]
            yield kind, np.append(values[place : place + size], [1.0, 1.0])[:3]
            place += size

    def one_port(self, logs: Array) -> OnePort:
        """The elements."""
        values = np.exp(logs)
        inductance, capacitance, resistance = values[:3].tolist() if self.blocks else (0.0, None, self.fixed)
        triples = list(self._triples(values))
        inductance += sum(float(peak) / (2 * np.pi) for kind, (peak, *_) in triples if kind == "L")
        sections = tuple(_elements(kind, *triple) for kind, triple in triples if kind != "L")
        return OnePort(resistance, inductance, capacitance, sections)


_PRICES = {"L": 1.0, "RC": 1.0, "RL": 1.0, "RLC": 1.15}
_SIZES = {"L": 1, "RC": 2, "RL": 2, "RLC": 3}


def _section(kind: str, peak: float, x: Array, quality: float) -> tuple[np.ndarray, list[np.ndarray]]:
    """Impedance at x = f / corner, and its derivatives after the logarithms of peak, corner and quality factor.

    A plain inductance has its reactance at 1 Hz for a peak, and no corner.
    """
    if kind == "L":
        return peak * 1j * x, [peak * 1j * x]
    if kind == "RC":
        z = peak / (1 + 1j * x)
        return z, [z, z * 1j * x / (1 + 1j * x)]
    if kind == "RL":
        z = peak * 1j * x / (1 + 1j * x)
        return z, [z, -z / (1 + 1j * x)]
    detuned = 1j * quality * (x - 1 / x)
    z = peak / (1 + detuned)
    return z, [z, z * 1j * quality * (x + 1 / x) / (1 + detuned), -z * detuned / (1 + detuned)]


def _elements(kind: str, peak: float, at: float, quality: float) -> Section:
    w = 2 * np.pi * at
    if kind == "RC":
        return Section(float(peak), capacitance=float(1 / (w * peak)))
    if kind == "RL":
        return Section(float(peak), float(peak / w))
    return Section(float(peak), float(peak / (w * quality)), float(quality / (w * peak)))


class _Search:
    """Elements for one curve; every bound is a scale of the curve itself."""

    def __init__(self, curve: ImpedanceCurve) -> None:
        self.curve = curve.thinned(MOST_POINTS)
        f, z = self.curve.frequencies, self.curve.magnitude
        self.low, self.high, self.least, self.most = f[0], f[-1], z.min(), z.max()
        self.sharpest = 2 / float(np.median(np.diff(np.log(f))))
        weight = np.sqrt(np.gradient(np.log(f)))
        weight /= np.sqrt(np.mean(weight**2))
        self.weight = np.tile(weight, 1 + self.curve.has_phase)

    def bounds(self, layout: Layout) -> tuple[Array, Array]:
        w0, w1 = 2 * np.pi * self.low, 2 * np.pi * self.high
        small, large = self.least / _SPREAD, self.most * _SPREAD
        pairs = []
        if layout.blocks:
            pairs = [(small / w1, self.most / w0), (1 / (w1 * self.most), 1 / (w0 * small)), (small, self.most)]
        corner, peak = (self.low, self.high), (small, large)
        for place, kind in enumerate(layout.kinds):
            first = place == 0 and not layout.blocks  # any other that is sharper hides between two points
            resonance = [peak, (self.low, 10 * self.high), (0.1, 1e4 if first else max(self.sharpest, 1.0))]
            pairs += {"L": [(small / self.high, self.most / self.low)], "RLC": resonance}.get(kind, [peak, corner])
        low, high = np.log(np.array(pairs)).T
        return low, high

    def solve(self, layout: Layout, start: Array, tries: int) -> tuple[float, Array]:
        """Rms of the misses and the logarithms at which it is least."""
        from scipy.optimize import least_squares

        curve, weight = self.curve, self.weight
        last: dict[bytes, tuple[Complex, Complex]] = {}

        def at(logs: Array) -> tuple[Complex, Complex]:
            key = logs.tobytes()
            if key not in last:
                last.clear()
                last[key] = layout.evaluate(logs, curve.frequencies)
            return last[key]

        def misses(logs: Array) -> Array:
            return weight * curve.misses(at(logs)[0])

        def slopes(logs: Array) -> Array:
            z, dz = at(logs)
            relative = dz / z[:, None]
            both = np.concatenate([relative.real, relative.imag]) if curve.has_phase else relative.real
            slope: Array = weight[:, None] * both
            return slope

        low, high = self.bounds(layout)
        inside = np.clip(start, low + 1e-6, high - 1e-6)
        solution = least_squares(misses, inside, slopes, bounds=(low, high), max_nfev=tries, x_scale=1.0)
        return float(np.sqrt(np.mean(solution.fun**2))), solution.x

    def starts(self, layout: Layout, logs: Array) -> Iterator[tuple[Layout, Array]]:
        """One more section: of each kind, at places spread over the band and where the miss is greatest."""
        f, z = self.curve.frequencies, self.curve.magnitude
        miss = np.abs(self.curve.misses(layout.evaluate(logs, f)[0])[: len(f)])
        places = np.append(np.geomspace(self.low, self.high, 7)[1:-1], f[miss.argmax()])
        for at in places:
            size = float(np.interp(np.log(at), np.log(f), z))
            for kind, more in (("RC", (0.3,)), ("RL", (0.3,)), ("RLC", (0.5, 1.0)), ("RLC", (0.5, 10.0))):
                new = [more[0] * size, at, *more[1:]]
                yield layout.with_section(kind), np.append(logs, np.log(new))
        rises = z[-1] > np.interp(
            np.log(f[-1] / 2), np.log(f), z
        )  # else an inductance would promise more beyond the band
        if rises and not layout.blocks and "L" not in layout.kinds:
            for share in (0.1, 0.9):
                yield layout.with_section("L"), np.append(logs, np.log(share * z[-1] / self.high))


@dataclass(frozen=True)
class FittedCurve:
    """A measured curve and the passive network that is equivalent to it.

    ``rms_error``, ``largest_error`` (at ``worst_frequency`` [Hz]) [dB]: of |Z|, or of the complex impedance where its phase is known:
    20 lg e |ln(network / curve)|. ``band``: lowest and highest frequency of the curve [Hz].
    """

    one_port: OnePort
    rms_error: float
    largest_error: float
    worst_frequency: float
    curve: ImpedanceCurve = field(compare=False, repr=False)

    @property
    def band(self) -> tuple[float, float]:
        """Where the curve says what the part does; beyond it the network is continued."""
        return float(self.curve.frequencies[0]), float(self.curve.frequencies[-1])

    @cached_property
    def resistance_error(self) -> tuple[float, float]:
        """Largest error of the resistance [dB], 20 lg of the ratio, and where it is [Hz]; NaN without a phase.

        Loss and damping follow it: a magnitude that is near says little of a resistance that is small against the reactance.
        Points at which noise makes the measured resistance negative are left out.
        """
        known = np.flatnonzero(np.real(self.curve.impedance) > 0) if self.curve.has_phase else np.array([], int)
        if not known.size:
            return np.nan, np.nan
        f = self.curve.frequencies[known]
        error = 20 * np.abs(np.log10(self.one_port.impedance(f).real / np.real(self.curve.impedance[known])))
        worst = int(error.argmax())
        return float(error[worst]), float(f[worst])

    @property
    def errors(self) -> Array:
        """Of the network at each point of the curve (f,) [dB]."""
        return _errors(self.curve, self.one_port)

    def __str__(self) -> str:
        low, high = (format_quantity(end, "Hz") for end in self.band)
        return f"a network within {self.largest_error:.2g} dB ({self.rms_error:.2g} dB rms), {low} to {high}"


def fit_one_port(curve: ImpedanceCurve, *, blocks: bool, resistance: float = 0.0) -> FittedCurve:
    """The passive one-port that is nearest to a curve.

    Parameters
    ----------
    curve : ImpedanceCurve
        With or without phase.
    blocks : bool
        True for a capacitor: R, L and C in series; False where direct current passes.
    resistance : float
        In series, of what passes direct current: the curve rarely shows it [ohm].

    Raises
    ------
    InputError
        Where even the nearest is further away than `RMS_ERROR` or `LARGEST_ERROR`: with the line, and what is wrong there.

    Notes
    -----
    Least squares of ln(network / curve), evenly weighted over ln f, in the logarithms of the elements, so that none can be negative.
    Sections are added one by one, each time from several starts, while they bring something.
    """
    search = _Search(curve)
    layout, rms, logs = min(_first(search, blocks, resistance), key=lambda candidate: candidate[1])
    best, waited = (rms, logs, layout), 0
    while best[0] > GOOD and len(layout.kinds) < MOST_SECTIONS:
        if waited >= PATIENCE and DECIBELS * best[0] < RMS_ERROR:  # a curve is not refused before all was tried
            break
        trials = sorted(
            ((*search.solve(more, start, 12), more) for more, start in search.starts(layout, logs)), key=_price
        )
        candidate = min(((*search.solve(more, start, 200), more) for _, start, more in trials[:3]), key=_price)
        _, logs, layout = candidate
        better = candidate[0] < GAIN ** (waited + 1) * best[0]
        best, waited = (candidate, 0) if better else (best, waited + 1)
    return _judged(curve, _pruned(best[2].one_port(best[1]), curve))


def _pruned(port: OnePort, curve: ImpedanceCurve) -> OnePort:
    """Without a series inductance that is nowhere visible."""
    matters = 2 * np.pi * curve.frequencies[-1] * port.inductance > UNSEEN * curve.magnitude.min()
    return port if matters else replace(port, inductance=0.0)


def _errors(curve: ImpedanceCurve, port: OnePort) -> Array:
    miss = curve.misses(port.impedance(curve.frequencies)).reshape(-1, len(curve.frequencies))
    errors: Array = DECIBELS * np.sqrt(np.sum(miss**2, axis=0))
    return errors


def _judged(curve: ImpedanceCurve, port: OnePort) -> FittedCurve:
    size = _errors(curve, port)
    worst, rms = int(size.argmax()), float(np.sqrt(np.mean(size**2)))
    if rms > RMS_ERROR or size[worst] > LARGEST_ERROR:
        _refuse_far(curve, rms, float(size[worst]), worst)
    return FittedCurve(port, rms, float(size[worst]), float(curve.frequencies[worst]), curve)


def _refuse_far(curve: ImpedanceCurve, rms: float, largest: float, worst: int) -> None:
    """Raises InputError with what is wrong: a jump, the slope, or one point."""
    error = f"the nearest passive network is up to {largest:.1f} dB away ({rms:.2f} dB rms, {LARGEST_ERROR:g} and {RMS_ERROR:g} are allowed)"
    beyond = DECIBELS * (np.abs(np.diff(np.log(curve.magnitude))) - np.diff(np.log(curve.frequencies)))
    jumps = np.flatnonzero(beyond > beyond.max() / 6)
    if beyond.max() > LARGEST_ERROR and len(jumps) <= 2:  # into a point, and perhaps out of it again
        jump = int(jumps[0])
        before, after = (format_quantity(float(one), "ohm") for one in curve.magnitude[jump : jump + 2])
        why = f"|Z| jumps from {before} to {after} here, as no part's does; noise, or a point that was misread? {error}"
        raise refused(curve.file, why, curve.place(jump + 1))
    refuse_steep(curve)
    at = format_quantity(float(curve.frequencies[worst]), "Hz")
    raise refused(
        curve.file, f"{error}, most at {at}: not the curve of such a part, or misread there", curve.place(worst)
    )


def _price(trial: tuple[float, Array, Layout]) -> float:
    """Rms, and a little more for a section of more elements: it may stand for one of fewer."""
    return trial[0] * _PRICES[trial[2].kinds[-1]]


def _first(search: _Search, blocks: bool, fixed: float) -> Iterator[tuple[Layout, float, Array]]:
    """The fewest elements that such a part has, from several starts."""
    f, z = search.curve.frequencies, search.curve.magnitude
    w = 2 * np.pi * f
    if blocks:
        for inductance in (z[-1] / w[-1], 0.01 * z[-1] / w[-1]):
            layout = Layout(0.0, True)
            start = np.log([inductance, 1 / (w[0] * z[0]), z.min()])
            yield (layout, *search.solve(layout, start, 200))
        return
    inductance = np.sqrt(max(z[0] ** 2 - fixed**2, 1e-4 * z[0] ** 2)) / w[0]
    for at in dict.fromkeys((f[z.argmax()], f[-1] * 3, np.sqrt(f[0] * f[-1]))):
        for quality in (0.5, 5.0):
            layout = Layout(fixed, False, ("RLC",))
            peak = quality * 2 * np.pi * at * inductance
            yield (layout, *search.solve(layout, np.log([peak, at, quality]), 200))
