"""One resistor that damps a filter of L and C: the optimum in closed form, and the one that is best over tolerances.

Three networks, each with a reactance beside the resistor that is ``ratio`` times what it damps:

- "R-C across C": a resistor in series with a capacitor, across the filter's capacitor;
- "R-L across L": a resistor in series with an inductance, across the choke;
- "R-L in series": a resistor with an inductance across it, in series with the choke.

Resistances and impedances are in units of R0 = sqrt(L/C), frequencies of f0 = 1/(2 pi sqrt(L C)). The peak is that of the
impedance back from the filter's output, its input shorted. In closed form it is least; over tolerances the greatest peak at
their corners is least, for which the resistor of "R-C across C" is a quarter to a third larger.

Source: R. W. Erickson, Optimal Single Resistor Damping of Input Filters, IEEE APEC 1999, pp. 1073-1079; R. W. Erickson and
D. Maksimovic, Fundamentals of Power Electronics, 2nd ed. (2001), section 10.4.1 (from memory; each row checked by search).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.described import Ratio, Unit
from filterlib.errors import QuantityError

Network = Literal["R-C across C", "R-L across L", "R-L in series"]
NETWORKS: tuple[Network, ...] = ("R-C across C", "R-L across L", "R-L in series")
TOLERANCES = {"inductance": 0.2, "capacitance": 0.2, "added": 0.2, "resistance": 0.1}
"""Of ordinary parts: common practice, no source."""
_FREQUENCIES = np.geomspace(0.05, 20.0, 1500)
_TRIED, _ROUNDS = 25, 6  # resistances in a row, and how often the row is narrowed


@dataclass(frozen=True)
class Damper:
    """A resistor over R0 and the greatest ``peak`` over R0: nominally, and at the ``worst`` corner of the tolerances."""

    network: Network
    ratio: Ratio[float]
    resistance: Annotated[float, Unit("", "resistance over R0")]
    peak: Annotated[float, Unit("", "peak over R0")]
    worst: Annotated[float, Unit("", "worst peak over R0")]


def textbook(network: Network, ratio: float) -> tuple[float, float]:
    """Optimum resistance and its peak, over R0, in closed form.

    Raises QuantityError for another network and for a ratio that is not positive.

    >>> [round(x, 4) for x in textbook("R-C across C", 4)]
    [0.6124, 0.866]
    """
    n = _checked(network, ratio)
    if network == "R-C across C":
        return float(np.sqrt((2 + n) * (4 + 3 * n) / (2 * n**2 * (4 + n)))), float(np.sqrt(2 * (2 + n)) / n)
    if network == "R-L across L":
        resistance = np.sqrt(n * (3 + 4 * n) * (1 + 2 * n) / (2 * (1 + 4 * n)))
        return float(resistance), float(np.sqrt(2 * n * (1 + 2 * n)))
    turned = (1 + 1 / n) * np.sqrt(2 * (1 + n) * (4 + n) / ((2 + n) * (4 + 3 * n)))
    return float(1 / turned), float(np.sqrt(2 * (1 + n) * (2 + n)) / n)


def ratio_for(peak: float) -> float:
    """Least ratio of "R-C across C" whose optimum has a peak, over R0.

    Raises QuantityError for a peak that is not positive.

    >>> round(ratio_for(1.0 / 0.838), 2)
    2.52
    """
    if not peak > 0:
        raise QuantityError("a peak is positive", name="peak", value=peak)
    return float((1 + np.sqrt(1 + 4 * peak**2)) / peak**2)


def robust(network: Network, ratio: float, tolerances: Mapping[str, float] | None = None) -> Damper:
    """The resistance whose greatest peak at the corners of the tolerances is least.

    Parameters: ``ratio`` of the added reactance; ``tolerances`` by "inductance", "capacitance", "added" and "resistance", as
    shares, 0 to below 1; those left out are 0; by default `TOLERANCES`.
    Returns: Damper; R0 and f0 are of the nominal parts.
    Raises: QuantityError for another network, a ratio that is not positive, and for a tolerance that is none.

    >>> found = robust("R-C across C", 2)
    >>> round(found.resistance, 3), round(found.worst, 3)
    (1.191, 1.951)
    """
    _checked(network, ratio)
    corners = corners_of(TOLERANCES if tolerances is None else tolerances)
    row = np.geomspace(0.02, 50.0, 4 * _TRIED) * textbook(network, ratio)[0]
    for _ in range(_ROUNDS):
        worst = peaks(network, ratio, row, corners)
        at = int(np.argmin(worst))
        best, least = float(row[at]), float(worst[at])
        row = np.geomspace(row[max(at - 1, 0)], row[min(at + 1, len(row) - 1)], _TRIED)
    alone = peaks(network, ratio, np.array([best]), np.ones((1, 4)))
    return Damper(network, ratio, best, float(alone[0]), least)


def peaks(network: Network, ratio: float, resistances: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """Greatest peak over R0, (r,), of each of the ``resistances`` (r,) over R0 at any of the ``corners``.

    ``corners`` (c, 4): factors of choke, capacitor, added reactance and resistor.
    """
    coarse = np.array([impedance_over_r0(network, _FREQUENCIES, corners, ratio, r) for r in resistances])
    at = np.clip(np.argmax(coarse, axis=2), 1, len(_FREQUENCIES) - 2)[:, :, None]
    below, top, above = (np.take_along_axis(coarse, at + step, axis=2)[:, :, 0] for step in (-1, 0, 1))
    bend = below - 2 * top + above
    found = top - np.where(bend < 0, (above - below) ** 2 / (8 * np.where(bend < 0, bend, -1.0)), 0.0)
    return np.asarray(np.maximum(found, top).max(axis=1))


def impedance_over_r0(
    network: Network, f: np.ndarray, corners: np.ndarray, ratio: float, resistance: float
) -> np.ndarray:
    """Size of the impedance over R0, (c, f), at frequencies over f0 and at corners (c, 4) as in `peaks`."""
    choke, capacitor, more, factor = (corners[:, place, None] for place in range(4))
    added, ohms = ratio * more, resistance * factor
    s = 1j * f
    if network == "R-C across C":
        return np.asarray(np.abs(1 / (s * capacitor + 1 / (s * choke) + 1 / (ohms + 1 / (s * added)))))
    if network == "R-L across L":
        return np.asarray(np.abs(1 / (s * capacitor + 1 / (s * choke) + 1 / (ohms + s * added))))
    return np.asarray(np.abs(1 / (s * capacitor + 1 / (s * choke + 1 / (1 / ohms + 1 / (s * added))))))


def corners_of(tolerances: Mapping[str, float]) -> np.ndarray:
    """Factors (c, 4) of choke, capacitor, added reactance and resistor at every corner. Raises QuantityError for what is no tolerance."""
    for name, share in tolerances.items():
        if name not in TOLERANCES or not 0 <= share < 1:
            raise QuantityError(
                f"a tolerance is of {', '.join(TOLERANCES)}, and a share from 0 to below 1", name=name, value=share
            )
    ends = [sorted({1 - tolerances.get(name, 0.0), 1 + tolerances.get(name, 0.0)}) for name in TOLERANCES]
    return np.array(list(product(*ends)))


def _checked(network: str, ratio: float) -> float:
    if network not in NETWORKS:
        raise QuantityError(f"unknown network; valid: {', '.join(NETWORKS)}", name="network", value=network)
    if not (np.isfinite(ratio) and ratio > 0):
        raise QuantityError("what is added over what it damps: a positive number", name="ratio", value=ratio)
    return float(ratio)
