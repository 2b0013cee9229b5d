"""A circuit of straight pieces: linear elements, bends, and branches that switch by rules, each between named nodes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from filterlib.errors import CircuitError
from filterlib.network.netlist import REFERENCE, Output
from filterlib.network.nonlinear.bend import Bend

__all__ = ["Branch", "PiecewiseCircuit", "Rule"]


@dataclass(frozen=True)
class Rule:
    """When a switched branch changes from one of its curves to another.

    Attributes: ``leaves``, ``enters`` (names of curves); ``output`` (a node, a pair of nodes or a `Current`), which is
    compared with ``threshold``, ``above`` it or below; without an output ``after`` [s] since it entered. With ``times``,
    a second output, it is the integral over time of their product since it entered that reaches ``threshold``: heat [J]
    of a voltage times a current, I squared t [A2s] of a current times itself.
    """

    leaves: str
    enters: str
    output: Output | None = None
    threshold: float = 0.0
    above: bool = True
    after: float = math.inf
    times: Output | None = None


@dataclass(frozen=True)
class Branch:
    """One element between two nodes.

    Attributes: ``kind``, ``name``, ``a``, ``b``; ``value`` [ohm], [F] or [H] where it is linear; ``curves`` by name
    where it bends ("" where it has one), ``rules`` and ``start`` where it switches; ``corners`` (n, 2) of a source.
    """

    kind: str
    name: str
    a: str
    b: str
    value: float = math.nan
    curves: Mapping[str, Bend] = field(default_factory=dict)
    rules: tuple[Rule, ...] = ()
    start: str = ""
    corners: np.ndarray = field(default_factory=lambda: np.zeros((0, 2)))


@dataclass
class PiecewiseCircuit:
    """Built as a `filterlib.Circuit` is: each method adds one branch and returns the same circuit.

    Capacitors keep their charge and inductors their flux linkage, so that both are conserved where they bend. Sources
    are straight lines between corners (time [s], value); two corners at one time are a jump. Before the first corner
    the value is the first, after the last the last.

    Raises
    ------
    CircuitError
        Naming the branch: a name that exists, a value that is not positive and finite, a bend of a conductor that
        does not go through the origin, an unknown name, coupled inductors that bend.

    Examples
    --------
    >>> circuit = PiecewiseCircuit().voltage_source("V", "in", "0", [(0, 0), (0, 24)])
    >>> circuit = circuit.resistor("R", "in", "out", 0.5).capacitor("C", "out", "0", 1e-3)
    >>> circuit.names
    ('V', 'R', 'C')
    """

    branches: dict[str, Branch] = field(default_factory=dict)
    coupled: dict[tuple[str, str], float] = field(default_factory=dict)
    joined: dict[str, str] = field(default_factory=dict)  # further names of nodes, for outputs

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the branches in the order in which they were added."""
        return tuple(self.branches)

    def of(self, *kinds: str) -> list[Branch]:
        """The branches of some kinds."""
        return [branch for branch in self.branches.values() if branch.kind in kinds]

    @property
    def nodes(self) -> tuple[str, ...]:
        """The names of the nodes, without the reference "0"."""
        named = dict.fromkeys(node for branch in self.branches.values() for node in (branch.a, branch.b))
        return tuple(node for node in named if node != REFERENCE)

    def resistor(self, name: str, a: str, b: str, ohms: float) -> PiecewiseCircuit:
        """Add a resistance [ohm], above zero."""
        return self._add(Branch("resistor", name, a, b, _positive(name, ohms, "ohm")))

    def conductance(self, name: str, a: str, b: str, siemens: float) -> PiecewiseCircuit:
        """Add a conductance [S], not zero; a negative one is a load of constant power near its operating point."""
        if not (math.isfinite(siemens) and siemens):
            raise CircuitError(f"{name}: {siemens!r} S; a finite number that is not zero is right")
        return self._add(Branch("resistor", name, a, b, value=1 / siemens))

    def capacitor(self, name: str, a: str, b: str, farads: float | Bend) -> PiecewiseCircuit:
        """Add a capacitance [F], or its voltage over its charge as a `Bend`."""
        return self._add(_store("capacitor", name, (a, b), farads, "F"))

    def inductor(self, name: str, a: str, b: str, henries: float | Bend) -> PiecewiseCircuit:
        """Add an inductance [H], or its current over its flux linkage as a `Bend`."""
        return self._add(_store("inductor", name, (a, b), henries, "H"))

    def couple(self, first: str, second: str, k: float) -> PiecewiseCircuit:
        """Couple two inductors by a ratio between -1 and 1; the dots are at their first nodes."""
        for name in (first, second):
            branch = self.branches.get(name)
            if branch is None or branch.kind != "inductor" or branch.curves:
                raise CircuitError(f"{name}: coupled are inductors that do not bend, and it is none")
        if not -1 < k < 1 or first == second:
            raise CircuitError(
                f"{first} and {second}: coupled by {k!r}; a ratio between -1 and 1 of two inductors is right"
            )
        self.coupled[first, second] = k
        return self

    def bend(self, name: str, a: str, b: str, curve: Bend) -> PiecewiseCircuit:
        """Add a conductor by its current [A] over its voltage [V]: a diode, a limit, a constant power."""
        return self._add(Branch("bend", name, a, b, curves={"": _through_origin(name, curve)}))

    def switched(
        self, name: str, a: str, b: str, curves: Mapping[str, Bend], start: str, rules: Sequence[Rule]
    ) -> PiecewiseCircuit:
        """Add a conductor with several curves, of which the rules choose one: a load with lock-out, a fuse, a switch."""
        for rule in rules:
            if missing := {rule.leaves, rule.enters} - set(curves):
                raise CircuitError(f"{name}: no curve is named {sorted(missing)[0]!r}; there are {', '.join(curves)}")
        if start not in curves:
            raise CircuitError(f"{name}: no curve is named {start!r}; there are {', '.join(curves)}")
        checked = {key: _through_origin(name, curve) for key, curve in curves.items()}
        return self._add(Branch("bend", name, a, b, curves=checked, rules=tuple(rules), start=start))

    def voltage_source(self, name: str, a: str, b: str, corners: Sequence[tuple[float, float]]) -> PiecewiseCircuit:
        """Add a source of corners (time [s], volts [V]); ``a`` is positive."""
        return self._add(Branch("voltage_source", name, a, b, corners=_course(name, corners)))

    def current_source(self, name: str, a: str, b: str, corners: Sequence[tuple[float, float]]) -> PiecewiseCircuit:
        """Add a source of corners (time [s], amperes [A]); the current flows out of ``a`` into the circuit."""
        return self._add(Branch("current_source", name, a, b, corners=_course(name, corners)))

    def _add(self, branch: Branch) -> PiecewiseCircuit:
        if branch.name in self.branches:
            raise CircuitError(f"{branch.name}: the circuit already has an element of that name")
        if branch.a == branch.b:
            raise CircuitError(f'{branch.name}: both ends are on node "{branch.a}"')
        self.branches[branch.name] = branch
        return self


def _positive(name: str, value: float, unit: str) -> float:
    if not (isinstance(value, (int, float)) and math.isfinite(value) and value > 0):
        raise CircuitError(f"{name}: {value!r} {unit}; a finite number above zero is right")
    return float(value)


def _store(kind: str, name: str, nodes: tuple[str, str], value: float | Bend, unit: str) -> Branch:
    if not isinstance(value, Bend):
        return Branch(kind, name, *nodes, value=_positive(name, value, unit))
    if not all(value.line(piece)[0] > 0 for piece in range(len(value.x) + 1)):
        raise CircuitError(f"{name}: its curve has to rise everywhere")
    return Branch(kind, name, *nodes, curves={"": _through_origin(name, value)})


def _through_origin(name: str, curve: Bend) -> Bend:
    if abs(curve(0.0)) > 1e-9 * max(map(abs, curve.y)):
        raise CircuitError(f"{name}: its curve is {curve(0.0):g} at zero, and has to go through the origin")
    return curve


def _course(name: str, corners: Sequence[tuple[float, float]]) -> np.ndarray:
    course = np.array(corners, dtype=float)
    if course.ndim != 2 or course.shape[1] != 2 or not np.isfinite(course).all() or (np.diff(course[:, 0]) < 0).any():
        raise CircuitError(f"{name}: corners are pairs of time and value, finite and in the order of time")
    return course
