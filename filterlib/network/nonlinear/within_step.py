"""What is asked of one step of a course: whether a margin ends within it, when an output falls through zero, and its integrals."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from filterlib.network.netlist import Output
from filterlib.network.nonlinear.bend import Bend
from filterlib.network.nonlinear.circuit_in_pieces import Branch, Rule
from filterlib.network.nonlinear.linear_piece import LinearPiece, span_of

__all__ = ["LEVELS", "clear", "falls_through_zero", "inside", "integral", "left", "moved"]
LEVELS = 46  # halvings of a step to locate an event: to 1e-14 of it
BOOLE = np.array([7, 32, 12, 32] * 4 + [7]) + np.array([0] + ([0] * 3 + [7]) * 3 + [0] * 4)


def moved(piece: LinearPiece, w: np.ndarray, row: np.ndarray, h: float) -> float:
    """An output after a time."""
    return float(row @ (w + piece.move(h) @ w))


def integral(piece: LinearPiece, w: np.ndarray, h: float, first: Output, second: Output | None = None) -> float:
    """The integral of an output over a step, or of the product of two, by Boole's rule over sixteen parts."""
    move, inside = piece.move(h / 16), [w]
    for _ in range(16):
        inside.append(inside[-1] + move @ inside[-1])
    a = np.array(inside) @ piece.output(first)
    b = 1.0 if second is None else np.array(inside) @ piece.output(second)
    return float(BOOLE @ (a * b)) * h / 16 * 2 / 45


def left(piece: LinearPiece, w: np.ndarray, rule: Rule, amount: float, h: float) -> float:
    """What is left of an amount after a step, of which the rule's product takes its part."""
    assert rule.output is not None  # as its caller has seen
    return amount - integral(piece, w, h, rule.output, rule.times)


def clear(
    watched: tuple[np.ndarray, np.ndarray], piece: LinearPiece, w: np.ndarray, after: np.ndarray, h: float
) -> bool:
    """Whether no margin is below its floor after a step, nor went there and came back within it.

    It did not where the tangents at both ends meet above the floor.
    """
    rows, floor = watched
    begins, ends = rows @ w - floor, rows @ after - floor
    if (ends < 0).any():
        return False
    falls, rises = rows @ (piece.matrix @ w), rows @ (piece.matrix @ after)
    turns = (falls < 0) & (rises > 0)
    if not turns.any():
        return True
    begins, ends, falls, rises = (values[turns] for values in (begins, ends, falls, rises))
    return bool((begins + falls * (ends - begins - rises * h) / (falls - rises) >= 0).all())


def inside(branch: Branch, curve: Bend, place: int, x: float) -> bool:
    low, high = curve.limits(place)
    slack = 1e-9 * span_of(branch, curve)
    return bool(low - slack <= x <= high + slack)


def falls_through_zero(function: Callable[[float], float], high: float) -> float:
    low = 0.0
    for _ in range(LEVELS):
        middle = (low + high) / 2
        low, high = (middle, high) if function(middle) > 0 else (low, middle)
    return (low + high) / 2
