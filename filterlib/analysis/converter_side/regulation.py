"""The converter's own loop with the filter on: its crossover and margins, sensing before the filter and behind it.

The loop drives a current into the output capacitor and whatever is beside it: T = G Z, Z from that current to the sensed voltage.
G is fixed by what is stated without filter: it crosses over at the bandwidth on the output capacitor alone, with the phase margin
stated there; its integral part acts below a quarter of that, and the rest of its phase is a delay. With the filter on only Z changes.

Source: R. W. Erickson and D. Maksimovic, Fundamentals of Power Electronics, 2nd ed. (2001), chs. 9 and 12 (from memory); the
integral part's share: common practice, no source.
"""

from __future__ import annotations

from contextlib import suppress
from itertools import product

import numpy as np

from filterlib.analysis.converter_side.converter_side_result import Regulation
from filterlib.analysis.stability.minor_loop import Port, loop_margins
from filterlib.analysis.stability.stability import unstable_poles
from filterlib.errors import QuantityError
from filterlib.network.circuit import Circuit
from filterlib.network.multiaffine.characteristic import characteristic
from filterlib.network.netlist import Netlist, Output
from filterlib.system.inside.control import Sensing
from filterlib.system.inside.converter import LOOP_ZERO, RETURN, Converter
from filterlib.system.solution import Solution

_GRID = np.concatenate([np.geomspace(1e-3, 99.0, 51), np.geomspace(100.0, 1e7, 801)])  # [Hz]
_INNER, _DRIVE = ("converter:inner", RETURN), "control"
PLACES: tuple[Sensing, ...] = ("terminals", "load")


def regulation(solution: Solution, *, phase_margin: float | None = None, sensed: Sensing | None = None) -> Regulation:
    """Margins of the converter's loop with the filter on.

    Parameters: ``solution`` of one design; ``phase_margin`` of the converter without filter at its ``loop_bandwidth`` [degrees], and where
    it is ``sensed``, else as the design has them.
    Returns: Regulation.
    Raises: QuantityError for a phase margin that its output capacitor does not leave, or that is none; for another place.
    Valid up to half the switching frequency, for a loop that acts as a current into the output capacitor.
    """
    where = sensed or solution.design.converter.control.sensing
    if where not in PLACES:
        raise QuantityError("a converter senses at its terminals or at the load", name="sensed", value=where)
    return _Opened(solution).closed(where, phase_margin)


def regulations(solution: Solution) -> tuple[Regulation, ...]:
    """Sensing at the terminals and at the load. Raises as `regulation`."""
    opened = _Opened(solution)
    return tuple(opened.closed(place) for place in PLACES)


class _Opened:
    """The opened loop of one solution: what the sensed voltages are for a current into the output capacitor."""

    def __init__(self, solution: Solution) -> None:
        self.solution, self.converter = solution, solution.design.converter
        circuit = _open(solution)
        self.frequencies = _GRID[self.converter.switching_frequency / 2 > _GRID]
        ports: list[Output] = [_INNER, solution.design.loads[0].port]
        self.seen = dict(zip(PLACES, circuit.transfer(self.frequencies, _DRIVE, ports), strict=True))
        self.growing = growing(circuit)

    def closed(self, place: Sensing, phase_margin: float | None = None) -> Regulation:
        """The loop closed at one place."""
        control, crossover = self.converter.control, float(self.converter.loop_bandwidth.value)
        degrees = float(control.phase_margin.value) if phase_margin is None else phase_margin
        loop = self._loop(place, crossover, degrees)
        stable, phase = self._phase(loop)
        gain = loop_margins(loop, greatest_gain(loop))[0] if stable else np.nan
        size = np.abs(loop)
        crossings = np.flatnonzero((size[:-1] > 1) != (size[1:] > 1))
        return Regulation(
            self.solution.point, place, stable, float(self.frequencies[crossings[-1]]) if crossings.size else np.inf, phase, gain,
            crossover, degrees, self._least(place, phase), self.frequencies, loop,
        )  # fmt: skip

    def _loop(self, place: Sensing, crossover: float, degrees: float) -> np.ndarray:
        return np.asarray(_drive(self.converter, crossover, degrees)(self.frequencies) * self.seen[place])

    def _phase(self, loop: np.ndarray) -> tuple[bool, float]:
        """Whether it is stable, and its phase margin [degrees]."""
        stable = _encirclements(loop, self.frequencies) == self.growing
        return stable, loop_margins(loop, 1.0)[1] if stable else np.nan

    def _least(self, place: Sensing, nominal: float) -> float:
        """The least phase margin over the ranges; combinations that the output capacitor does not leave are no converter."""
        bandwidth, margin = self.converter.loop_bandwidth, self.converter.control.phase_margin
        found = [nominal]
        for crossover, degrees in product(
            dict.fromkeys((bandwidth.low, bandwidth.high)), dict.fromkeys((margin.low, margin.high))
        ):
            with suppress(QuantityError):
                found.append(self._phase(self._loop(place, crossover, degrees))[1])
        return float(np.min(found))


def _drive(converter: Converter, crossover: float, phase_margin: float) -> Port:
    """G [S] of frequencies (f,): what is stated without filter."""
    bare = converter.capacitor_impedance(np.array([crossover]))[0]
    lag = -np.angle(bare, deg=True) + np.degrees(np.arctan(LOOP_ZERO))
    delay = (180 - lag - phase_margin) / 360 / crossover  # [s]
    if not (phase_margin > 0 and delay >= 0):
        why = f"of a loop of {crossover:g} Hz on this output capacitor it lies above 0 and at most at {180 - lag:.0f} degrees"
        raise QuantityError(why, name="phase_margin", value=phase_margin)

    def integral(f: np.ndarray) -> np.ndarray:
        return 1 + LOOP_ZERO * crossover / (1j * f)

    gain = 1 / abs(bare * integral(np.array([crossover]))[0])
    return lambda f: gain * integral(f) * np.exp(-2j * np.pi * f * delay)


def _open(solution: Solution) -> Circuit:
    """Filter, loads and output capacitor, driven by a current in place of the loop."""
    kept = tuple(one for one in solution.circuit.elements if one.name not in ("converter.loop", "regulated"))
    return Circuit.of(Netlist(kept).laddered()).current_source(_DRIVE, *_INNER)


def growing(circuit: Circuit) -> int:
    """How many natural frequencies grow while the loop is open: a constant power's, which the loop has to hold."""
    roots = characteristic(circuit.netlist, ()).factors(np.zeros((1, 0))).roots[0]
    return len(unstable_poles(roots[np.isfinite(roots)]))


def _encirclements(loop: np.ndarray, frequencies: np.ndarray) -> int:
    """Turns of 1 + T about the origin, both halves of the axis, counted against the clock's hands.

    T grows towards zero frequency as 1/s or 1/s^2: on the way round zero to the axis it turns back by a right angle for each.
    """
    turned = 1 + loop
    order = round(float(np.log(abs(loop[0] / loop[1])) / np.log(frequencies[1] / frequencies[0])))
    squared = loop[0] * 1j**order
    start = np.angle(turned[0] * 1j**order * np.sign(squared.real)) - order * np.pi / 2
    return round(float(np.sum(np.angle(turned[1:] / turned[:-1])) + start) / np.pi)


def greatest_gain(loop: np.ndarray) -> float:
    """The least factor that puts T on -1."""
    at = np.flatnonzero((loop.imag[:-1] >= 0) != (loop.imag[1:] >= 0))
    share = loop.imag[at] / (loop.imag[at] - loop.imag[at + 1])
    real = loop.real[at] + share * (loop.real[at + 1] - loop.real[at])
    beyond = -real[(real < 0) & (real > -1)]
    return float(1 / beyond.max()) if beyond.size else np.inf
