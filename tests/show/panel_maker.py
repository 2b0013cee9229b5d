"""A small panel for the tests: a resistor and a capacitor, one curve; each of its pieces can be replaced by a broken one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from filterlib.show.panels import (
    Axis,
    Calculation,
    Choice,
    Control,
    Curve,
    Display,
    Level,
    Panel,
    Picture,
    Plot,
    Reading,
)

FREQUENCIES = np.logspace(1, 6, 51)


@dataclass(frozen=True)
class Pair:
    """A low-pass: ohms and farads; ``spare`` changes nothing."""

    ohms: float = 1e3
    farads: float = 1e-6
    spare: float = 1.0


@dataclass(frozen=True)
class Answer:
    """Level (f,) [dB] and corner [Hz]."""

    level: np.ndarray
    corner: float


def compute(pair: Pair) -> Answer:
    """First-order low-pass."""
    corner = 1 / (2 * np.pi * pair.ohms * pair.farads)
    return Answer(-10 * np.log10(1 + (FREQUENCIES / corner) ** 2), corner)


def controls():
    """One slider for each value that matters."""
    return [
        Control("ohms", "resistance", "ohm", "100 ohm", "10 kohm", "1 kohm"),
        Control("farads", "capacitance", "F", "100 nF", "10 µF", "1 µF"),
    ]


def picture(numbers=lambda answer: (FREQUENCIES, answer.level)):
    """One pair of axes."""
    plot = Plot(
        "level", Axis("frequency", "Hz", "log", limits=(10, 1e6)), Axis("level", "dB"),
        (Curve("low-pass", numbers, kept=True), Level("corner", lambda answer: (answer.corner,), upright=True)),
    )  # fmt: skip
    return Picture([plot], name="low-pass", size=(500, 300))


def panel(*, start=None, compute=compute, controls=controls, picture=picture, refine=None):
    """The panel, or one with a piece replaced."""
    display = Display(
        picture(),
        lambda answer: (Reading("corner", answer.corner, "Hz", "met"),),
        lambda answer: f"The level falls above {answer.corner:.3g} Hz.",
    )
    return Panel("Low-pass", Calculation(start or Pair(), compute, refine), controls(), display)


__all__ = ["Choice", "panel"]
