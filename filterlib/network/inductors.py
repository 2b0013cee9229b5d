"""Coupled inductors as rows that keep perfect coupling exact.

The matrix of inductances is factored as L = U D U^T, from the ratios of coupling, where D holds what each winding has of
its own in addition to those before it: 1 - k^2 of a pair. With k = 1 that is exactly 0, and the row of the second winding then
says v2 = n v1 and nothing else.
"""

from __future__ import annotations

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.netlist import Netlist, Value


def coupled_inductors(netlist: Netlist) -> list[list[str]]:
    """Names of the inductors that couple, group by group."""
    groups: list[set[str]] = []
    for element in netlist.elements:
        if element.kind == "couple":
            touched = [g for g in groups if g & set(element.nodes)]
            groups = [g for g in groups if not g & set(element.nodes)] + [set(element.nodes).union(*touched)]
    return [[e.name for e in netlist.elements if e.name in group] for group in groups]


def factor(netlist: Netlist, group: list[str]) -> tuple[list[list[Value]], list[list[Value]], list[Value]]:
    """L = U D U^T of coupled inductances, and the inverse of U, from the coupling ratios: nothing cancels but 1 - k^2.

    Raises
    ------
    CircuitError
        For couplings that cannot all be true at once.
    """
    by_name = {e.name: e for e in netlist.elements}
    size = len(group)
    k: dict[frozenset[str], Value] = {frozenset(e.nodes): e.number for e in netlist.elements if e.kind == "couple"}
    henries = [by_name[name].number for name in group]
    unit: list[list[Value]] = [[0.0] * size for _ in range(size)]  # of the matrix of ratios
    rest: list[Value] = [1.0] * size
    for i in range(size):
        for j in range(i):
            none = np.equal(henries[i], 0) | np.equal(henries[j], 0)  # what has no inductance couples nothing
            ratio = _plain(np.where(none, 0.0, k.get(frozenset((group[i], group[j])), 0.0)))
            residue = ratio - sum(unit[i][m] * rest[m] * unit[j][m] for m in range(j))
            unit[i][j] = _share(group, i, residue, rest[j])
        if i == 1:
            rest[i] = (1 - unit[i][0]) * (1 + unit[i][0])
        else:
            rest[i] = 1 - sum(unit[i][m] ** 2 * rest[m] for m in range(i))
        if np.any(np.asarray(rest[i]) < -1e-12):
            raise CircuitError(f"{group[i]}: its couplings cannot all be true at once (no inductances are coupled so)")
        rest[i] = _plain(np.where(np.asarray(rest[i]) < 1e-14, 0.0, rest[i]))
    turns = [[_turns(henries[i], henries[j]) for j in range(size)] for i in range(size)]
    inverse: list[list[Value]] = [[0.0] * size for _ in range(size)]
    for i in range(size):
        for j in range(i):
            inverse[i][j] = -unit[i][j] - sum(unit[i][m] * inverse[m][j] for m in range(j + 1, i))
    scaled = [[unit[i][j] * turns[i][j] for j in range(size)] for i in range(size)]
    back = [[inverse[i][j] * turns[i][j] for j in range(size)] for i in range(size)]
    return scaled, back, [rest[i] * henries[i] for i in range(size)]


def _share(group: list[str], i: int, residue: Value, rest: Value) -> Value:
    """residue / rest, where a winding without leakage of its own (rest 0) has nothing left to share."""
    residue, rest = np.broadcast_arrays(residue, rest)
    if np.any((rest == 0) & (abs(residue) > 1e-12)):
        raise CircuitError(f"{group[i]}: its couplings cannot all be true at once (no inductances are coupled so)")
    return _plain(np.where(rest == 0, 0.0, residue / np.where(rest == 0, 1.0, rest)))


def _turns(first: Value, second: Value) -> Value:
    """The ratio of turns, and 0 where an inductance of zero couples nothing."""
    first, second = np.broadcast_arrays(first, second)
    none = (first == 0) | (second == 0)
    return _plain(np.where(none, 0.0, np.sqrt(first / np.where(none, 1.0, second))))


def _plain(value: np.ndarray) -> Value:
    return float(value) if value.ndim == 0 else value
