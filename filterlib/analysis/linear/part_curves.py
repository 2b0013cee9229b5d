"""One part: its impedance over frequency under several conditions, its curves, and how well its two faces agree."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from filterlib.analysis.described import Hertz, InUnit, Ohms, Unit
from filterlib.network.circuit import Circuit
from filterlib.parts.base import Part, on_curve
from filterlib.parts.constant_phase import LADDER_BAND
from filterlib.parts.fields import Field, fields
from filterlib.parts.values import ROOM
from filterlib.units import format_quantity, format_temperature

LOWEST, HIGHEST, POINTS = 100.0, 1e9, 281  # [Hz], [Hz] of the impedance, 40 points a decade
COLD, HOT = 253.15, 358.15  # [K] at which a part is shown besides room temperature
LIFE_FROM = 313.15  # [K] below which the rule of ten kelvin says nothing: common practice, no source
STEPS = 101  # points of a curve
ALIKE = 1e-6  # share by which a condition must move a value to be worth a curve
NOTICEABLE = 0.01  # share by which a condition must move the impedance somewhere to be worth one
SHARES = (0.5, 1.0)  # of the rating, at which bias and currents are shown

RATINGS = {"bias": "rated_voltage", "current": "rated_current", "unbalance": "saturation_current"}
"""Condition of a part's circuit -> field that says how far it may go."""
UNITS = {"bias": "V", "current": "A", "unbalance": "A", "temperature": "K"}
WORDS = {"bias": "bias", "current": "direct current", "unbalance": "unbalanced current", "temperature": "temperature"}
LAWS = {
    "capacitance_at": ("capacitance", "F"),
    "inductance_at": ("inductance", "H"),
    "magnetising_at": ("magnetising inductance", "H"),
    "leakage_at": ("leakage inductance of a winding", "H"),
    "resistance_at": ("series resistance", "ohm"),
    "life_at": ("life", "s"),
}
"""Method of a part -> what it gives, and in which unit."""
SAID = {
    "bias_curve": ("capacitance_at",),
    "temperature_curve": ("capacitance_at", "inductance_at", "magnetising_at"),
    "esr_temperature_curve": ("resistance_at",),
}
"""Curve of a part -> methods whose curves already show it, where the part has one of them."""


@dataclass(frozen=True, eq=False)
class Impedance:
    """Of one way through a part, under one condition.

    ``mode``: which way, "" where there is only one. ``condition``: "bias", "temperature" ... and ``words`` such as
    "bias 25 V"; both "" at none of them.
    ``exact``, ``ladder``: complex arrays (f,); ``ladder`` is None where the part has none, and the same array
    where nothing in the part is lossy enough to need one.
    """

    mode: str
    condition: str
    words: str
    exact: Ohms[np.ndarray]
    ladder: Ohms[np.ndarray | None]


@dataclass(frozen=True, eq=False)
class PartCurve:
    """How something of a part changes.

    ``label`` of what, in ``unit`` ("" for a ratio); over ``against`` in ``x_unit``: arrays ``x`` and ``y`` (n,);
    ``stated``: points (x, y) that the table holds, none for a law.
    """

    label: str
    unit: str
    against: str
    x_unit: str
    x: Annotated[np.ndarray, Unit("{x_unit}")]
    y: InUnit[np.ndarray]
    stated: Annotated[tuple[tuple[float, float], ...], Unit("own")] = ()


@dataclass(frozen=True, eq=False)
class PartResult:
    """A part as examined: ``impedances`` over ``frequencies`` (f,) (all at no bias and room temperature first in each mode),
    ``curves``, ``fields`` with their units, and ``remark``: why there is no impedance, else ""."""

    part: Part
    fields: tuple[Field, ...]
    frequencies: Hertz[np.ndarray]
    impedances: tuple[Impedance, ...]
    curves: tuple[PartCurve, ...]
    remark: str = ""

    @property
    def modes(self) -> tuple[str, ...]:
        """The ways through the part, in order."""
        return tuple(dict.fromkeys(one.mode for one in self.impedances))

    def difference(self, impedance: Impedance) -> float | None:
        """Largest \\|ladder/exact - 1\\| over `LADDER_BAND`; None without a ladder."""
        if impedance.ladder is None:
            return None
        inside = (self.frequencies >= LADDER_BAND[0]) & (self.frequencies <= LADDER_BAND[1])
        return float(np.max(np.abs(impedance.ladder[inside] / impedance.exact[inside] - 1)))


def examine(part: Part) -> PartResult:
    """Examine a part of any kind.

    Parameters: ``part``: its circuit is used, either from node to node, or along two pairs of nodes (chokes in both lines, wire).
    Returns: PartResult, its impedances complex (f,) [ohm].
    Raises: nothing.

    >>> from filterlib.parts.wire import WirePair
    >>> result = examine(WirePair(length="2 m", awg=24, spacing="1.5 mm"))
    >>> result.modes
    ('both lines together', 'out and back')
    """
    frequencies = np.geomspace(LOWEST, HIGHEST, POINTS)
    impedances: tuple[Impedance, ...] = ()
    ports, remark = _ports(part), ""
    if ports:
        impedances = tuple(_impedances(part, ports, frequencies))
    else:
        remark = f"a part of the kind {part.kind} has no port at which one impedance could be shown"
    return PartResult(part, fields(part), frequencies, impedances, tuple(_curves(part)), remark)


Port = Callable[[Any, Mapping[str, float]], Circuit]


def both_together(part: Any, at: Mapping[str, float]) -> Circuit:
    """A part of two lines between "a" and the reference, its lines side by side, as common-mode current meets them.

    ``part``: with ``add(circuit, name, first, second, ...)``; ``at``: its conditions, such as "current" [A].
    """
    circuit = Circuit().resistor("near", "a", "a2", 0.0).resistor("far", "b2", "0", 0.0)
    part.add(circuit, "part", ("a", "0"), ("a2", "b2"), **at)
    return circuit


def out_and_back(part: Any, at: Mapping[str, float]) -> Circuit:
    """The same part from "a" out through one line and back through the other, as differential current meets it."""
    circuit = Circuit().resistor("far", "b", "b2", 0.0)
    part.add(circuit, "part", ("a", "b"), ("0", "b2"), **at)
    return circuit


def _single(part: Any, at: Mapping[str, float]) -> Circuit:
    circuit = Circuit()
    part.add(circuit, "part", "a", "0", **at)
    return circuit


def _ports(part: Part) -> dict[str, Port]:
    """The ways through a part, each as what makes a circuit of it between node "a" and the reference."""
    add = getattr(part, "add", None)
    names = list(inspect.signature(add).parameters)[2:4] if add else []
    if names == ["a", "b"]:
        return {"": _single}
    return {"both lines together": both_together, "out and back": out_and_back} if names == ["first", "second"] else {}


def _impedances(part: Part, ports: Mapping[str, Port], frequencies: np.ndarray) -> Iterator[Impedance]:
    for mode, port in ports.items():
        shown: list[np.ndarray] = []
        for at in _conditions(part):
            circuit = port(part, at)
            exact = circuit.impedance(frequencies, "a")
            if all(np.max(np.abs(exact / other - 1)) > NOTICEABLE for other in shown):
                shown.append(exact)
                words = ", ".join(f"{WORDS[name]} {_shown(name, value)}" for name, value in at.items())
                yield Impedance(mode, "".join(at), words, exact, _ladder(circuit, frequencies, exact))


def _ladder(circuit: Circuit, frequencies: np.ndarray, exact: np.ndarray) -> np.ndarray | None:
    lossy = [one for one in circuit.elements if one.of_frequency]
    if any(one.ladder is None for one in lossy):
        return None
    return circuit.laddered().impedance(frequencies, "a") if lossy else exact


def _conditions(part: Part) -> Iterator[dict[str, float]]:
    """Nothing at all, then each condition that the part's circuit takes alone at several values."""
    yield {}
    for name in inspect.signature(part.add).parameters:  # type: ignore[attr-defined]
        for value in _values(part, name):
            yield {name: value}


def _values(part: Part, name: str) -> list[float]:
    if name == "temperature":
        return [COLD, HOT]
    most = getattr(part, RATINGS.get(name, ""), None)
    return [] if most is None else [share * float(np.max(most)) for share in SHARES]


def _shown(name: str, value: float) -> str:
    return format_temperature(value) if name == "temperature" else format_quantity(value, UNITS[name])


def _curves(part: Part) -> Iterator[PartCurve]:
    for method, (label, unit) in LAWS.items():
        if hasattr(part, method):
            yield from _laws(part, method, label, unit)
    for field in fields(part):
        if field.curve and not any(hasattr(part, method) for method in SAID.get(field.name, ())):
            yield _stated(field)


def _laws(part: Part, method: str, label: str, unit: str) -> Iterator[PartCurve]:
    """What one method gives over each condition that moves it."""
    law = getattr(part, method)
    for name in inspect.signature(law).parameters:
        if name not in WORDS:
            continue
        x = _range(part, name)
        if method == "life_at" and x is not None:
            x = np.linspace(LIFE_FROM, x[-1], STEPS)
        values = None if x is None else law(**{name: x[:, None]})
        if x is None or values is None:  # the part states nothing of it
            continue
        y = np.broadcast_to(np.asarray(values, float).reshape(-1), x.shape)
        if np.ptp(y) > ALIKE * np.max(np.abs(y)):
            yield PartCurve(label, unit, WORDS[name], UNITS[name], x, y)


def _range(part: Part, name: str) -> np.ndarray | None:
    """From nothing to the rating; temperatures over all that the part's curves state, and from cold to hot at least."""
    if name == "temperature":
        stated = [x for field in fields(part) if field.curve and field.unit == "K" for x, _ in field.value]
        return np.linspace(min([COLD, *stated]), max([HOT, *stated]), STEPS)
    most = getattr(part, RATINGS[name], None)
    return None if most is None else np.linspace(0.0, float(np.max(most)), STEPS)


def _stated(field: Field) -> PartCurve:
    x = np.array([point[0] for point in field.value])
    logarithmic = field.unit == "Hz"
    dense = np.geomspace(x[0], x[-1], STEPS) if logarithmic else np.linspace(x[0], x[-1], STEPS)
    points = tuple((float(np.log10(one)), ratio) for one, ratio in field.value) if logarithmic else field.value
    y = np.asarray(on_curve(points, np.log10(dense) if logarithmic else dense))
    against = {"Hz": "frequency", "K": "temperature", "V": "voltage", "A": "current"}.get(str(field.unit), "")
    label = field.name.removesuffix("_curve").removesuffix(f"_{against}").replace("_", " ")
    return PartCurve(f"ratio: {label}", "", against, str(field.unit), dense, y, tuple(field.value))


__all__ = ["COLD", "HOT", "ROOM", "Impedance", "PartCurve", "PartResult", "examine"]
