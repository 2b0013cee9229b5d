"""Coupled inductors as rows that keep perfect coupling exact.

The matrix of inductances is factored as L = U D U^T, from the ratios of coupling, where D holds what each winding has of
its own in addition to those before it: 1 - k^2 of a pair. With k = 1 that is exactly 0, and the row of the second winding then
says v2 = n v1 and nothing else. A winding with more than `LOOSE` of its own has the plain row v = s M i: nothing much cancels in
it, and it knows its neighbours alone, where a row of 1/U knows all before it and a long ladder would fill in.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.equations.pattern import Group, Groups
from filterlib.network.netlist import Netlist, Value

LOOSE = 0.25  # of its inductance a winding's own share: less than two bits are lost


class Law(NamedTuple):
    """One row: v of the winding plus ``voltages`` times those of others is s times ``henries`` [H] times currents; by place in the group."""

    voltages: dict[int, Value]
    henries: dict[int, Value]


def coupled_inductors(netlist: Netlist) -> list[list[str]]:
    """Names of the inductors that couple, group by group."""
    groups: list[set[str]] = []
    for element in netlist.couples:
        touched = [g for g in groups if g & set(element.nodes)]
        groups = [g for g in groups if not g & set(element.nodes)] + [set(element.nodes).union(*touched)]
    return [[e.name for e in netlist.elements if e.name in group] for group in groups]


def shapes(groups: list[list[str]], coupled: list[list[Law]]) -> Groups:
    """The groups with what their laws hold: alike where circuits differ in values alone, but for perfect coupling."""
    return tuple(
        Group(tuple(names), tuple((tuple(law.voltages), tuple(law.henries)) for law in rows))
        for names, rows in zip(groups, coupled, strict=True)
    )


def laws(netlist: Netlist, group: list[str]) -> list[Law]:
    """The law of every winding of a group, in its order; that of a loose one keeps to those it is coupled with.

    Raises
    ------
    CircuitError
        For couplings that cannot all be true at once.
    """
    by_name = {e.name: e for e in netlist.elements}
    ratios = {frozenset(e.nodes): e.number for e in netlist.couples}
    henries = [by_name[name].number for name in group]
    coupled = [  # by winding: the ratios to those before it, where there are any
        {
            j: _ratio(henries[i], henries[j], ratios[pair])
            for j in range(i)
            if (pair := frozenset((name, group[j]))) in ratios
        }
        for i, name in enumerate(group)
    ]
    unit, rest = _factored(group, coupled)
    found = [Law({}, {k: henry}) for k, henry in enumerate(henries)]
    for i, row in enumerate(coupled):
        for j, ratio in row.items():
            found[i].henries[j] = found[j].henries[i] = ratio * np.sqrt(henries[i] * henries[j])
    for k in range(len(group)):
        if np.any(rest[k] < LOOSE):
            found[k] = _tight(k, henries, unit, rest[k])
    return found


def _tight(k: int, henries: list[Value], unit: list[dict[int, Value]], rest: Value) -> Law:
    """Row k of (1/U) v = s D U^T i: what the winding has in addition to those before it."""
    back: dict[int, Value] = {}  # of the inverse of U
    for j in range(k - 1, -1, -1):
        total = -unit[k].get(j, 0.0) - sum(back[m] * unit[m][j] for m in back if j in unit[m])
        if np.any(total):
            back[j] = total
    voltages = {j: ratio * _turns(henries[k], henries[j]) for j, ratio in back.items()}
    own = rest * henries[k]
    later = {j: own * unit[j][k] * _turns(henries[j], henries[k]) for j in range(k + 1, len(henries)) if k in unit[j]}
    return Law(voltages, {k: own, **later})


def _factored(group: list[str], coupled: list[dict[int, Value]]) -> tuple[list[dict[int, Value]], list[Value]]:
    """U, below its diagonal, and D of the matrix of coupling ratios: nothing cancels but 1 - k^2.

    Raises
    ------
    CircuitError
        For couplings that cannot all be true at once.
    """
    unit: list[dict[int, Value]] = []
    rest: list[Value] = []
    for i, ratios in enumerate(coupled):
        unit.append({})
        for j in range(min(ratios, default=i), i):
            residue = ratios.get(j, 0.0) - sum(unit[i][m] * rest[m] * unit[j][m] for m in unit[i] if m in unit[j])
            if np.any(residue):
                unit[i][j] = _share(group, i, residue, rest[j])
        only = next(iter(unit[i].values())) if len(unit[i]) == 1 and i == 1 else None
        left = (1 - only) * (1 + only) if only is not None else 1 - sum(u**2 * rest[m] for m, u in unit[i].items())
        if np.any(np.asarray(left) < -1e-12):
            raise _impossible(group[i])
        rest.append(_plain(np.where(np.asarray(left) < 1e-14, 0.0, left)))
    return unit, rest


def _ratio(first: Value, second: Value, ratio: Value) -> Value:
    """What has no inductance couples nothing."""
    return _plain(np.where(np.equal(first, 0) | np.equal(second, 0), 0.0, ratio))


def _impossible(name: str) -> CircuitError:
    return CircuitError(f"{name}: its couplings cannot all be true at once (no inductances are coupled so)")


def _share(group: list[str], i: int, residue: Value, rest: Value) -> Value:
    """residue / rest, where a winding without leakage of its own (rest 0) has nothing left to share."""
    residue, rest = np.broadcast_arrays(residue, rest)
    if np.any((rest == 0) & (abs(residue) > 1e-12)):
        raise _impossible(group[i])
    return _plain(np.where(rest == 0, 0.0, residue / np.where(rest == 0, 1.0, rest)))


def _turns(first: Value, second: Value) -> Value:
    """The ratio of turns, and 0 where an inductance of zero couples nothing."""
    first, second = np.broadcast_arrays(first, second)
    none = (first == 0) | (second == 0)
    return _plain(np.where(none, 0.0, np.sqrt(first / np.where(none, 1.0, second))))


def _plain(value: np.ndarray) -> Value:
    return float(value) if value.ndim == 0 else value
