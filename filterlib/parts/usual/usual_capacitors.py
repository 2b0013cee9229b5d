"""What capacitors of each kind usually have where nothing is stated: loss angle, ESR and ESL, each with its range.

Every figure is common practice, no source; the ESL of ceramics lies about the 0.4 to 1.2 nH that makers state for sizes 0402 to 1206.
"""

from __future__ import annotations

from typing import NamedTuple

from filterlib.parts.values import Stated, Usual, Value

WHY = "usual for {kind} capacitors (common practice, no source)"


class _Kind(NamedTuple):
    """Of one kind: ``loss`` (value, low, high), ``esl`` [H] alike; ESR [ohm] at ``size`` [F], falling with its power of C."""

    loss: tuple[float, float, float]
    esl: tuple[float, float, float]
    esr: float
    size: float
    power: float
    most: float = 3.0  # largest ESR over the usual one


_KINDS = {
    "film": _Kind((5e-3, 2e-4, 15e-3), (8e-9, 3e-9, 20e-9), 12e-3, 1e-6, 0.35),
    "ceramic_class_1": _Kind((5e-4, 1e-4, 15e-4), (1e-9, 0.4e-9, 2e-9), 25e-3, 10e-9, 0.45),
    "ceramic_class_2": _Kind((25e-3, 1e-2, 6e-2), (1e-9, 0.4e-9, 2e-9), 6e-3, 1e-6, 0.35),
    "aluminium": _Kind((6e-2, 3e-2, 0.12), (15e-9, 8e-9, 30e-9), 0.17, 100e-6, 1.0, most=5.0),
    "polymer": _Kind((2e-2, 1e-2, 6e-2), (4e-9, 1.5e-9, 8e-9), 26e-3, 100e-6, 0.62),
}


def loss_angle(stated: Stated) -> Usual:
    """tan(delta) of the dielectric, by ``kind``."""
    return Usual(*_KINDS[stated["kind"]].loss, _why(stated))


def esl(stated: Stated) -> Usual:
    """Inductance [H] of the part alone, by ``kind``: about a nanohenry for each millimetre between its terminals."""
    return Usual(*_KINDS[stated["kind"]].esl, _why(stated))


def esr(stated: Stated) -> Usual:
    """Constant part of the series resistance [ohm], by ``kind`` and ``capacitance`` [F]: larger parts have less.

    >>> [round(esr({"kind": "aluminium", "capacitance": farads}).value, 3) for farads in (47e-6, 470e-6)]
    [0.362, 0.036]
    """
    kind = _KINDS[stated["kind"]]
    usual: Value = kind.esr * (kind.size / stated["capacitance"]) ** kind.power
    middle = float(usual if isinstance(usual, float) else usual.mean())
    return Usual(usual, middle / 3, middle * kind.most, _why(stated))


def _why(stated: Stated) -> str:
    return WHY.format(kind=stated["kind"].replace("_", " "))
