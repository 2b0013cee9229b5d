"""The population: converters, and behind each a filter and a load, as README.md states them; a seed and a number give one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

TOPOLOGIES = ("buck", "boost", "flyback", "flyback with a second LC", "forward", "half bridge", "ringing")
ISOLATED = ("flyback", "flyback with a second LC", "forward", "half bridge")
PULSE = ("boost", "flyback", "flyback with a second LC", "ringing")
LEAST_RIPPLE, MOST_RIPPLE = 2e-3, 0.05
"""[V], and share of the output voltage, between which a bare terminal's ripple in 20 MHz lies; others are drawn again."""


class Draw:
    """Random numbers by how they are spread."""

    def __init__(self, *seeds: int) -> None:
        self.random = np.random.default_rng(seeds)

    def log(self, low: float, high: float) -> float:
        """Evenly in ratios."""
        return float(low * (high / low) ** self.random.random())

    def even(self, low: float, high: float) -> float:
        return float(self.random.uniform(low, high))

    def chance(self, share: float) -> bool:
        return bool(self.random.random() < share)

    def near(self, value: float, share: float) -> float:
        """A part's true value, from the one that is stated."""
        return value * self.even(1 - share, 1 + share)

    def one(self, *choices: Any, weights: tuple[float, ...] | None = None) -> Any:
        return choices[int(self.random.choice(len(choices), p=weights))]


@dataclass(frozen=True)
class Branch:
    """A capacitor of the bank: ``slow`` [ohm] in parallel with ``corner`` [F] falls away with frequency, as an electrolyte's."""

    capacitance: float
    esr: float
    esl: float
    slow: float = 0.0
    corner: float = 1.0


@dataclass(frozen=True)
class Series:
    """What is in series between two places: [H] and [ohm]."""

    inductance: float
    resistance: float


@dataclass(frozen=True)
class Ring:
    """Bursts at both edges; ``ratio``: alone in full bandwidth over the ripple alone in 20 MHz, peak to peak."""

    ratio: float
    frequencies: tuple[float, float]
    cycles: tuple[float, float]
    second: float  # the later burst over the earlier, with its sign
    place: str


@dataclass(frozen=True)
class Chassis:
    """Switching node, ``coupling`` [F] and ``loss`` [ohm] to the chassis, ``strap`` from the converter's side to it.

    ``load_bond``: of the load's return, or None where ``stray`` [F] alone leads there.
    """

    coupling: float
    loss: float
    strap: Series
    load_bond: Series | None
    stray: float


@dataclass(frozen=True)
class Converter:
    """One converter. ``frequency`` of the ripple and ``base`` of its whole period [Hz]; ``duty`` of the switch."""

    topology: str
    input_voltage: float
    output_voltage: float
    current: float
    frequency: float
    base: float
    duty: float
    edges: tuple[float, float]
    swing: float  # of the inductor's current, or fall of the diode's, as a share of it
    recovery: float  # of the diode's peak current
    unlike: float  # the second pulse of a half bridge over the first, less one
    winding: float  # capacitance of the inductor [F]
    bank: tuple[Branch, ...]
    tracks: tuple[Series, ...]
    second_choke: Series | None
    second_bank: tuple[Branch, ...]
    lead: Series
    lead_share: float  # of it in the plus conductor
    ring: Ring | None
    chassis: Chassis | None

    @property
    def isolated(self) -> bool:
        return self.topology in ISOLATED

    @property
    def shape(self) -> str:
        return "pulse" if self.topology in PULSE else "triangle"

    @property
    def node_swing(self) -> float:
        """Of the switching node [V]: the input's or the output's voltage, or what is above both."""
        if self.topology in ("boost", "ringing"):
            return self.output_voltage
        return self.input_voltage * (1.8 if "flyback" in self.topology else 1.0)


def converter(draw: Draw, topology: str) -> Converter:
    """One of a topology, whether its ripple is usual or not."""
    voltage = draw.one(3.3, 5.0, 12.0, 15.0, 24.0, 28.0, 48.0)
    current = min(draw.log(5.0, 100.0) / voltage, 10.0)
    frequency = draw.log(60e3, 1.2e6)
    duty, supply = _duty(draw, topology, voltage)
    edges = tuple(draw.log(6e-9, min(90e-9, 0.08 / frequency)) for _ in range(2))
    bank = _bank(draw, current, frequency, topology in PULSE)
    second = topology == "flyback with a second LC"
    return Converter(
        topology, supply, voltage, current, frequency,
        base=frequency / 2 if topology == "half bridge" else frequency,
        duty=duty,
        edges=(edges[0], edges[1]),
        swing=draw.log(0.12, 0.9) if topology not in PULSE else draw.even(0.08, 1.0),
        recovery=draw.even(0.0, 0.3) if topology == "boost" else 0.0,
        unlike=draw.even(-0.04, 0.04) if topology == "half bridge" else 0.0,
        winding=draw.log(3e-12, 25e-12),
        bank=bank,
        tracks=tuple(Series(draw.log(0.5e-9, 12e-9), draw.log(0.2e-3, 2e-3)) for _ in bank[1:]),
        second_choke=Series(draw.log(0.47e-6, 3.3e-6), draw.log(4e-3, 20e-3)) if second else None,
        second_bank=_bank(draw, current, frequency, False)[:2] if second else (),
        lead=Series(draw.log(3e-9, 60e-9), draw.log(0.5e-3, 5e-3)),
        lead_share=draw.even(0.4, 0.7),
        ring=_ring(draw, topology),
        chassis=_chassis(draw, topology),
    )  # fmt: skip


def _duty(draw: Draw, topology: str, voltage: float) -> tuple[float, float]:
    """Duty of the switch, and the input voltage; losses move it a little from the ideal stage's."""
    if topology == "buck":
        duty = draw.even(0.15, 0.8)
        return duty, round(voltage / duty * draw.even(1.0, 1.08), 1)
    if topology in ("boost", "ringing"):
        duty = draw.even(0.15, 0.7)
        return duty, round(voltage * (1 - duty) * draw.even(1.0, 1.08), 1)
    supply = draw.one(12.0, 24.0, 48.0)
    return draw.even(0.5, 0.92) if topology == "half bridge" else draw.even(0.2, 0.5), supply


def _bank(draw: Draw, current: float, frequency: float, pulse: bool) -> tuple[Branch, ...]:
    """One to three unequal branches, sized for their current: more for a pulse, less at a high frequency."""
    charge = current / frequency * (0.4 if pulse else 0.1)
    bulk = charge / draw.log(0.02, 0.15)
    kinds = draw.one(
        ("ceramic",), ("polymer",), ("wet",), ("ceramic", "wet"), ("ceramic", "polymer"), ("wet", "wet"),
        ("ceramic", "polymer", "wet"), ("ceramic", "wet", "wet"), ("ceramic", "ceramic", "polymer"),
        weights=(0.16, 0.07, 0.07, 0.2, 0.12, 0.08, 0.1, 0.12, 0.08),
    )  # fmt: skip
    return tuple(_branch(draw, kind, bulk) for kind in kinds)


def _branch(draw: Draw, kind: str, bulk: float) -> Branch:
    if kind == "ceramic":
        return Branch(
            float(np.clip(bulk * draw.log(0.1, 0.8), 0.5e-6, 60e-6)), draw.log(1.5e-3, 9e-3), draw.log(0.4e-9, 2e-9)
        )
    if kind == "polymer":
        return Branch(float(np.clip(bulk * draw.log(1, 8), 22e-6, 680e-6)), draw.log(7e-3, 35e-3), draw.log(2e-9, 6e-9))
    c = float(np.clip(bulk * draw.log(2, 12), 33e-6, 1200e-6))
    esr = float(np.clip(draw.log(6e-6, 20e-6) / c, 12e-3, 0.35))
    return Branch(c, 0.7 * esr, draw.log(5e-9, 22e-9), slow=draw.even(0.3, 1.2) * esr, corner=draw.log(30e-6, 200e-6))


def _ring(draw: Draw, topology: str) -> Ring | None:
    """None in a tenth; one at a low-cost converter is several times the ripple, slow and long."""
    low_cost = topology == "ringing"
    if draw.chance(0.0 if low_cost else 0.1):
        return None
    first = draw.log(9e6, 40e6) if low_cost else draw.log(18e6, 130e6)
    return Ring(
        draw.log(2.5, 9.0) if low_cost else draw.log(0.2, 5.0),
        (first, first * draw.log(0.7, 1.4)),
        (draw.log(2.0, 8.0), draw.log(2.0, 8.0)) if low_cost else (draw.log(0.7, 5.0), draw.log(0.7, 5.0)),
        draw.one(-1, 1) * draw.log(0.15, 1.0),
        draw.one("first capacitor", "lead", "current", weights=(0.4, 0.3, 0.3)),
    )


def _chassis(draw: Draw, topology: str) -> Chassis | None:
    """In a fifth there is a metal cabinet."""
    if not draw.chance(0.2):
        return None
    isolated = topology in ISOLATED
    return Chassis(
        draw.log(15e-12, 150e-12) if isolated else draw.log(5e-12, 80e-12),
        draw.log(6.0, 40.0),
        Series(draw.log(0.3e-6, 2.5e-6) if isolated else draw.log(50e-9, 600e-9), draw.log(3e-3, 40e-3)),
        Series(draw.log(50e-9, 300e-9), 8e-3) if draw.chance(0.4) else None,
        draw.log(15e-12, 150e-12),
    )


@dataclass(frozen=True)
class Capacitor:
    """Stated values, and the true ones of one that was bought; ``loss``: tan(delta), as stated."""

    kind: str
    stated: Branch
    true: Branch
    loss: float
    tolerance: float
    left: float  # of the capacitance at the output voltage, as the data sheet's curve says
    loop: float  # true mounting loop [H]; none is stated


@dataclass(frozen=True)
class Choke:
    """Loop leakage of a common-mode choke, or a differential choke's inductance, in ``stated`` and ``true``."""

    kind: str
    stated: Series
    true: Series
    tolerance: float
    common: float  # inductance of one winding [H], 0 where there is one winding only
    across: tuple[float, float]  # capacitance of a winding, stated and true [F]
    loss: tuple[float, float]  # resistance across it, stated and true [ohm]
    unlike: tuple[float, float]  # leakage and capacitance of winding 1 over those of 2, less one


@dataclass(frozen=True)
class Filter:
    """Capacitor, choke, capacitor; ``mutual`` [H] between the capacitors' loops, and whether the layout was computed."""

    first: Capacitor
    choke: Choke
    second: Capacitor
    mutual: float
    computed: bool


@dataclass(frozen=True)
class Load:
    """Behind a pair of wires; ``true_length`` and ``unlike`` are what the pair really has."""

    kind: str
    capacitor: Capacitor | None
    length: float
    true_length: float
    unlike: float
    section: float
    spacing: float
    loop_bandwidth: float


def filter_for(draw: Draw, converter: Converter) -> Filter:
    """Resonant well below the ripple's frequency, as whoever designs one takes care of."""
    while True:
        first, second = _filter_capacitor(draw, False), _filter_capacitor(draw, draw.chance(0.35))
        choke = _choke(draw)
        small = min(one.stated.capacitance * one.left for one in (first, second))
        if 2.5 / (2 * np.pi * np.sqrt(choke.stated.inductance * small)) < converter.frequency:
            most = 0.3 * min(first.true.esl + first.loop, second.true.esl + second.loop)
            return Filter(first, choke, second, min(draw.log(0.03e-9, 0.8e-9), most), draw.chance(2 / 3))


def _filter_capacitor(draw: Draw, wet: bool) -> Capacitor:
    kind = "aluminium" if wet else draw.one("film", "ceramic_class_2")
    if kind == "film":
        stated = Branch(draw.one(1e-6, 2.2e-6, 4.7e-6, 10e-6), draw.log(3e-3, 15e-3), draw.log(6e-9, 15e-9))
    elif kind == "aluminium":
        stated = Branch(draw.one(47e-6, 100e-6, 220e-6), draw.log(0.05, 0.4), draw.log(8e-9, 16e-9))
    else:
        stated = Branch(draw.one(2.2e-6, 4.7e-6, 10e-6, 22e-6), draw.log(1.5e-3, 5e-3), draw.log(0.6e-9, 1.5e-9))
    tolerance = {"film": 0.1, "aluminium": 0.2, "ceramic_class_2": draw.one(0.1, 0.2)}[kind]
    loss = {"film": 0.006, "aluminium": 0.05, "ceramic_class_2": 0.02}[kind]
    left = draw.even(0.4, 0.9) if kind == "ceramic_class_2" else 1.0
    return bought(draw, kind, stated, loss, tolerance, left, parasitics=0.25)


def bought(
    draw: Draw, kind: str, stated: Branch, loss: float, tolerance: float, left: float, *, parasitics: float
) -> Capacitor:
    """One of those that are sold under the stated values: ESR, ESL and its mounting by ``parasitics`` off at most."""
    true = Branch(
        left * draw.near(stated.capacitance, tolerance),
        draw.near(stated.esr, parasitics),
        draw.near(stated.esl, parasitics),
    )
    return Capacitor(kind, stated, true, loss, tolerance, left, draw.near(4e-9, 0.3))


def _choke(draw: Draw) -> Choke:
    """A common-mode choke's leakage in six of ten, 30 % either way; a differential choke, 20 % either way."""
    common = draw.chance(0.6)
    tolerance = 0.3 if common else 0.2
    stated = Series(
        draw.one(0.9e-6, 2.2e-6, 4.7e-6, 10e-6, 15e-6) if common else draw.one(1e-6, 2.2e-6, 4.7e-6, 10e-6, 22e-6),
        draw.log(4e-3, 25e-3),
    )
    across, loss = draw.log(4e-12, 25e-12), draw.log(600.0, 5e3)
    return Choke(
        "common_mode_choke" if common else "differential_choke",
        stated,
        Series(draw.near(stated.inductance, tolerance), draw.near(stated.resistance, 0.1)),
        tolerance,
        stated.inductance * draw.log(60.0, 250.0) if common else 0.0,
        (across, draw.near(across, 0.2)),
        (loss, draw.near(loss, 0.2)),
        (draw.even(-0.09, 0.09), draw.even(-0.18, 0.18)),
    )


def load_for(draw: Draw, converter: Converter, filter: Filter) -> Load:
    """Most have a capacitor of their own; constant power only where it is far from starting to oscillate."""
    capacitor = _filter_capacitor(draw, draw.chance(0.5)) if draw.chance(0.85) else None
    length = draw.log(0.08, 1.0)
    kind = draw.one("resistive", "constant_current", "constant_power")
    if kind == "constant_power" and not _damped(converter, filter, capacitor):
        kind = "constant_current"
    return Load(
        kind, capacitor, length, draw.near(length, 0.08), draw.even(-0.04, 0.04),
        draw.one(0.5e-6, 0.75e-6, 1.5e-6), draw.even(2e-3, 5e-3), draw.log(5e3, 25e3),
    )  # fmt: skip


def _damped(converter: Converter, filter: Filter, capacitor: Capacitor | None) -> bool:
    """An electrolytic whose ESR is three times what a constant power needs."""
    if capacitor is None or capacitor.kind != "aluminium":
        return False
    ohms = converter.output_voltage / converter.current
    return 3 * filter.choke.stated.inductance / capacitor.stated.capacitance / ohms < capacitor.stated.esr < ohms / 3
