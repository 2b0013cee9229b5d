"""A converter with several unequal capacitors inside, as two recordings tell it: branches in parallel behind a lead."""

from __future__ import annotations

from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from filterlib.network.wiring import Wiring
from filterlib.parts.values import Value
from filterlib.system.inside.converter import Converter, WithCapacitor
from filterlib.system.inside.unequal import by_part
from filterlib.system.model import Model
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, default

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

OF_THE_TEST = ("test_capacitance", "test_esr", "test_esl", "scale")
OF_THE_NOISE = ("noise_1", "noise_2", "noise_3")
MOVES = (*OF_THE_TEST, *OF_THE_NOISE, "capacitance", "loop")
"""What moves the elements, in the order of `Bank.moves`."""
REPLACED = ("output_capacitance", "output_esr", "output_esl", "bulk_esr_ratio", "lead_inductance")
"""Values of one capacitor: with another of them a converter has no bank any more."""


def branch_admittances(elements: Array, s: Complex) -> Complex:
    """Each branch's [S], (..., branches, f), of elements (..., 2 + 3 branches) at s = j 2 pi f.

    Elements: resistance [ohm] and inductance [H] of the lead, then capacitance [F], ESR [ohm] and ESL [H] of each branch.

    >>> branch_admittances(np.array([0.0, 0.0, 1e-6, 0.0, 0.0]), np.array([1e6j])).round(6)
    array([[0.+1.j]])
    """
    by_branch = elements[..., 2:].reshape(*elements.shape[:-1], -1, 3, 1)
    farads, ohms, henries = by_branch[..., 0, :], by_branch[..., 1, :], by_branch[..., 2, :]
    return np.asarray(s * farads / (1 + s * farads * (ohms + s * henries)))


def bank_impedance(elements: Array, s: Complex) -> Complex:
    """All branches in parallel, behind the lead [ohm], (..., f); elements and s as in `branch_admittances`; infinite at 0.

    >>> two = np.array([0.0, 0.0, 1e-6, 0.01, 0.0, 1e-6, 0.01, 0.0])   # half of one
    >>> bank_impedance(two, np.array([1e6j])).round(6)
    array([0.005-0.5j])
    """
    siemens = np.sum(branch_admittances(elements, s), axis=-2)
    still = siemens == 0
    behind = np.where(still, np.inf, 1 / np.where(still, 1, siemens))
    return np.asarray(behind + elements[..., 0:1] + s * elements[..., 1:2])


def _factor(value_of: str) -> RangedQuantity:
    return RangedQuantity("", value_of, above=0)


def _exactly(value: float) -> Ranged:
    return Field(default_factory=lambda: default(value, value, value, ""))


class Move(Model):
    """By how much logarithms of elements move with something, at its ``low`` end (below 0) and at its ``high`` end (above).

    Both ends are counted from its ``nominal`` value, where nothing moves.

    >>> Move(low=-1.0, high=1.0, at_low=(0.1,), at_high=(0.3,)).by(np.array([[-1.0], [0.0], [1.0]])).tolist()
    [[0.1], [0.0], [0.3]]
    """

    low: float
    high: float
    at_low: tuple[float, ...]
    at_high: tuple[float, ...]
    nominal: float = 0.0

    def by(self, amount: Value) -> Array:
        """A parabola through nothing and both ends, and no further: (elements,), or (designs, elements) of (designs, 1)."""
        x, low, high = np.clip(amount - self.nominal, self.low, self.high), self.low, self.high
        up, down = x * (x - low) / (high * (high - low)), x * (x - high) / (low * (low - high))
        return np.asarray(up * np.array(self.at_high) + down * np.array(self.at_low))


class Bank(Model):
    """Branches in parallel behind a lead, and how they move with what the recordings leave open.

    ``logarithms``: of the elements, as in `branch_admittances`, nominal; ``moves``: of them, with the logarithm of each of
    `MOVES` (with noise: in standard uncertainties). ``capacitance`` [F] and ``loop_bandwidth`` [Hz]: the converter's, of
    which the nominal elements hold; ``loop_inductance`` [H] of the regulating branch, at least: the loop does nothing at the
    switching frequency. No element is ever negative, so the bank is passive at every frequency.

    >>> still = Move(low=-1.0, high=1.0, at_low=(0.0,) * 5, at_high=(0.0,) * 5)
    >>> one = Bank(logarithms=(-9.0, -18.0, -11.0, -4.0, -20.0), moves=(still,) * 9, capacitance=17e-6, loop_bandwidth=9e3,
    ...            loop_inductance=1e-6)
    >>> float(one.elements(17e-6, 9e3)[2].round(7))
    1.67e-05
    """

    logarithms: tuple[float, ...]
    moves: tuple[Move, ...]
    capacitance: float
    loop_bandwidth: float
    loop_inductance: float
    test_capacitance: Annotated[Ranged, _factor("test capacitor of the second recording, its C over the stated")] = (
        _exactly(1.0)
    )
    test_esr: Annotated[Ranged, _factor("test capacitor of the second recording, its ESR over the stated")] = _exactly(
        1.0
    )
    test_esl: Annotated[Ranged, _factor("test capacitor of the second recording, its ESL over the stated")] = _exactly(
        1.0
    )
    scale: Annotated[Ranged, _factor("scale of the second recording over that of the first")] = _exactly(1.0)
    noise_1: Annotated[Ranged, RangedQuantity("", "noise of the two recordings, what it moves most")] = _exactly(0.0)
    noise_2: Annotated[Ranged, RangedQuantity("", "noise of the two recordings, what it moves second")] = _exactly(0.0)
    noise_3: Annotated[Ranged, RangedQuantity("", "noise of the two recordings, what it moves third")] = _exactly(0.0)

    @property
    def branches(self) -> int:
        """How many."""
        return (len(self.logarithms) - 2) // 3

    def elements(self, capacitance: Value, loop_bandwidth: Value) -> Array:
        """(2 + 3 branches,) or (designs, 2 + 3 branches), of a converter with these values."""
        moved = [np.log(getattr(self, name).value) for name in OF_THE_TEST]
        moved += [getattr(self, name).value for name in OF_THE_NOISE]
        moved += [np.log(capacitance / self.capacitance), np.log(loop_bandwidth / self.loop_bandwidth)]
        by_move = (move.by(amount) for move, amount in zip(self.moves, moved, strict=True))
        return np.asarray(np.exp(sum(by_move, np.array(self.logarithms))))


class BankConverter(Converter):
    """A converter whose bank two recordings tell; its lead is in the bank.

    ``output_capacitance`` is that of the whole bank; ``output_esr`` and ``output_esl`` are those of one capacitor that
    would do the same at the strongest harmonic, for the reader: they move nothing.
    """

    bank: Bank

    def ineffective(self, driven: bool) -> tuple[str, ...]:
        """As of any recorded converter; and what is told of the bank as of one capacitor."""
        return (*super().ineffective(driven), "output_esr", "output_esl", "bulk_esr_ratio", "lead_inductance")

    def replace(self, **changes: object) -> Any:
        """A copy with other values; with one of `REPLACED` it has one capacitor in place of the bank."""
        if not set(changes) & set(REPLACED) or "bank" in changes:
            return super().replace(**changes)
        kept = {name: getattr(self, name) for name in self.model_fields_set - {"bank"}}
        return Converter(**(kept | changes))

    @property
    def bank_measured_with(self) -> WithCapacitor | None:
        """What was across the terminals in the second recording."""
        return self.ripple.with_capacitor

    @property
    def bank_factors(self) -> dict[str, Value]:
        """Of each value of it, over what is stated."""
        return {name: getattr(self.bank, name).value for name in OF_THE_TEST}

    @property
    def loop_elements(self) -> tuple[Value, Value, Value]:
        """As of any converter, but with the bank's least inductance."""
        damping, inductance, delay = super().loop_elements
        return damping, inductance, np.maximum(delay, self.bank.loop_inductance)

    @property
    def elements(self) -> Array:
        """Of the bank, with the values that the converter has now."""
        return self.bank.elements(self.output_capacitance.value, self.loop_bandwidth.value)

    def capacitor_impedance(self, frequencies: np.ndarray) -> np.ndarray:
        """The bank with its lead [ohm]; (f,) or (designs, f); infinite at f = 0."""
        return bank_impedance(self.elements, 2j * np.pi * np.asarray(frequencies, float))

    def capacitor_voltages(self, frequencies: np.ndarray) -> dict[str, np.ndarray]:
        """Resistive, capacitive and inductive part of it."""
        return by_part(self.capacitor_impedance(frequencies))

    @property
    def unequal(self) -> None:
        """Its branches are those of the bank."""

    def _capacitor_ladder(self) -> Wiring:
        elements = self.elements[..., None]
        ladder = Wiring().resistor("lead_r", "a", "x", _value(elements, 0))
        ladder.inductor("lead_l", "x", "y", _value(elements, 1))
        for n in range(self.bank.branches):
            farads, ohms, henries = (_value(elements, 2 + 3 * n + k) for k in range(3))
            ladder.capacitor(f"c{n}", "y", f"p{n}", farads).resistor(f"r{n}", f"p{n}", f"q{n}", ohms)
            ladder.inductor(f"l{n}", f"q{n}", "b", henries)
        return ladder


def _value(elements: Array, n: int) -> Value:
    one = elements[..., n, :]
    return float(one[0]) if one.ndim == 1 else one
