"""What every part carries: direct current and bias, ripple harmonic by harmonic, and the heat that they make in it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from filterlib.analysis.ripple.spectra import Spectra, spectra
from filterlib.network.circuit import Circuit, Current
from filterlib.network.extremes import largest_magnitude
from filterlib.system.design import Design
from filterlib.system.state import State

Lines = list[tuple[np.ndarray, np.ndarray]]  # frequencies (h,) [Hz] and coefficients (designs, h), one pair a source


@dataclass(frozen=True)
class Branch:
    """One element of the circuit that carries current: name, winding, direct current [A], resistance to it [ohm]."""

    element: str
    winding: int = 1
    direct: Any = 0.0
    ohms: Any = 0.0


@dataclass(frozen=True)
class Fitted:
    """One part as it is fitted.

    ``name``: as its element; ``words``: as a reader knows it; ``kind``: "capacitor", "choke", "common_mode_choke",
    "wire" or "resistor"; ``part`` (None of a resistor); ``count`` alike in parallel, among which current and heat are
    shared; ``branches``; ``bias`` [V] of a capacitor.
    """

    name: str
    words: str
    kind: str
    part: Any
    branches: tuple[Branch, ...]
    count: int = 1
    bias: Any = 0.0


def fitted(design: Design, state: State) -> tuple[Fitted, ...]:
    """Every part of the filter in its order, then the loads' input capacitors."""
    found = [one for stage in design.filter for one in _of_stage(stage, state)]
    for load in design.loads:
        if load.input_capacitor is not None:
            held, name = load.input_capacitor, f"{load.name}.capacitor"
            bias = np.abs(state.voltage(load.name))
            found.append(_capacitor(name, f"input of {load.name}", held.part, held.count, bias))
    return tuple(found)


def _of_stage(stage: Any, state: State) -> Iterator[Fitted]:
    name, first, second = stage.name, *_line_currents(stage, state)
    if stage.kind in ("capacitor", "damping"):
        yield _capacitor(name, name, stage.part, stage.count, state.bias(name))
    elif stage.kind == "capacitor_to_chassis":
        for line in ("plus", "return") if stage.line == "both" else (stage.line,):
            own = f"{name}.{line}"
            yield _capacitor(own, f"{name}, {line} line", stage.part, stage.count, state.bias(own))
        if stage.bond is not None:
            yield _resistor(f"{name}.bond.resistance", f"{name}, bond")
    elif stage.kind == "differential_choke":
        ohms, single = stage.part.resistance_at(state.temperature), len(stage.lines) == 1
        for line, current in zip(stage.lines, (first, second), strict=False):
            own, words = (name, name) if single else (f"{name}.{line}", f"{name}, {line} line")
            yield Fitted(own, words, "choke", stage.part_in(line), (Branch(own, 1, current, ohms),))
    elif stage.kind == "common_mode_choke":
        ohms = stage.part.resistance_at(state.temperature)
        windings = Branch(name, 1, first, ohms), Branch(name, 2, second, ohms)
        yield Fitted(name, name, stage.kind, stage.part, windings)
    elif stage.kind == "wire":
        ohms, longer = stage.part.resistance(state.temperature), stage.part.imbalance / 2
        wires = (
            Branch(f"{name}.r1", 1, first, (1 + longer) * ohms),
            Branch(f"{name}.r2", 1, second, (1 - longer) * ohms),
        )
        yield Fitted(name, name, "wire", stage.part, wires)
    if stage.kind == "damping":
        yield _resistor(f"{name}.resistor", f"{name}, resistor")


def _line_currents(stage: Any, state: State) -> tuple[Any, Any]:
    """Direct currents [A] of a stage's lines, each towards the load."""
    balanced, whole = state.current(stage.name), state.unbalance(stage.name)
    return (balanced + whole / 2, whole / 2 - balanced) if len(stage.lines) == 2 else (balanced, balanced)


def _resistor(name: str, words: str) -> Fitted:
    return Fitted(name, words, "resistor", None, (Branch(name),))


def _capacitor(name: str, words: str, part: Any, count: int, bias: Any) -> Fitted:
    return Fitted(name, words, "capacitor", part, (Branch(name),), count, bias)


@dataclass(frozen=True)
class Loading:
    """What one part carries; numbers are arrays (designs, 1), currents and heat those of one of ``count`` in parallel.

    ``currents``, ``voltages``: for every branch its harmonics by source of another frequency, see `Lines`;
    ``direct_heat``, ``ripple_heat`` [W]: in the part as the circuit has it.
    """

    fitted: Fitted
    currents: tuple[Lines, ...]
    voltages: tuple[Lines, ...]
    direct_heat: np.ndarray
    ripple_heat: np.ndarray

    @property
    def rms(self) -> np.ndarray:
        """Ripple current of the branch that carries most [A]."""
        return np.asarray(np.max([root_sum(lines) for lines in self.currents], axis=0))

    @property
    def rms_with_direct(self) -> np.ndarray:
        """The same with its direct current [A]."""
        pairs = zip(self.currents, self.fitted.branches, strict=True)
        return np.asarray(np.max([np.hypot(root_sum(lines), branch.direct) for lines, branch in pairs], axis=0))

    @property
    def copper_heat(self) -> np.ndarray:
        """Ripple heat of the windings' resistance to direct current alone [W]."""
        pairs = zip(self.currents, self.fitted.branches, strict=True)
        return np.asarray(np.sum([branch.ohms * root_sum(lines) ** 2 for lines, branch in pairs], axis=0))


def loadings(design: Design, state: State) -> tuple[Loading, ...]:
    """What every part carries at an operating point, which must be stable.

    Raises ScaleError where the converter's stated figures contradict each other.
    """
    parts = fitted(design, state)
    circuit = design.build(state)
    branches = [branch for one in parts for branch in one.branches]
    outputs: dict[Any, Any] = {("i", b): Current(b.element, b.winding) for b in map(_key, branches)}
    outputs |= {("v", b): _across(circuit, b) for b in map(_key, branches)}
    found = spectra(design, state, outputs=outputs)
    return tuple(_loading(one, found) for one in parts)


def _key(branch: Branch) -> Branch:
    return Branch(branch.element, branch.winding)


def _across(circuit: Circuit, branch: Branch) -> tuple[str, str]:
    nodes = next(element.nodes for element in circuit.elements if element.name == branch.element)
    return nodes[2:] if branch.winding == 2 else nodes[:2]  # type: ignore[return-value]


def _loading(one: Fitted, found: Spectra) -> Loading:
    currents = tuple(_lines(found, ("i", _key(branch)), 1 / one.count) for branch in one.branches)
    voltages = tuple(_lines(found, ("v", _key(branch)), 1.0) for branch in one.branches)
    direct = np.sum([np.reshape(branch.direct, (-1, 1)) ** 2 * branch.ohms for branch in one.branches], axis=0)
    pairs = zip(voltages, currents, strict=True)
    heat = np.sum([_power(u, i) for us, both in pairs for u, i in zip(us, both, strict=True)], axis=0)
    return Loading(one, currents, voltages, direct, heat)


def _lines(found: Spectra, label: Any, share: float) -> Lines:
    lines = [(found.frequencies, found.whole(label))]
    lines += [(found.reflected_frequencies[s], c) for (at, s), c in found.reflected.items() if at == label]
    return [(frequencies, share * np.atleast_2d(c)) for frequencies, c in lines]


def _power(voltage: tuple[np.ndarray, np.ndarray], current: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    return np.asarray(2 * np.sum(np.real(voltage[1] * np.conj(current[1])), axis=-1, keepdims=True))


def root_sum(lines: Lines) -> np.ndarray:
    """Root mean square (designs, 1) of all harmonics."""
    return np.asarray(np.sqrt(sum(2 * np.sum(np.abs(c) ** 2, axis=-1, keepdims=True) for _, c in lines)))


def peak(lines: Lines, direct: Any = 0.0) -> np.ndarray:
    """Largest magnitude (designs, 1) over a period, with a direct part; sources of other frequencies add their peaks."""
    (_, first), *others = lines
    return sum((largest_magnitude(c) for _, c in others), largest_magnitude(first, direct))


def integral(lines: Lines) -> Lines:
    """The integral over time, without its mean."""
    return [(frequencies, c / (2j * np.pi * frequencies)) for frequencies, c in lines]


def core_voltage(one: Loading, state: State) -> Lines:
    """Voltage across the core's inductance [V]: of a choke without its resistance, of the mean winding of two."""
    part, ohms = one.fitted.part, one.fitted.branches[0].ohms
    if one.fitted.kind == "choke":
        return [(f, u - ohms * i) for (f, u), (_, i) in zip(one.voltages[0], one.currents[0], strict=True)]
    name, pairs = one.fitted.name, zip(*one.currents, strict=True)
    inductance = part.magnetising_at(state.unbalance(name), state.current(name), state.temperature)
    return [(f, part.core_voltage(f, first, second, inductance)) for (f, first), (_, second) in pairs]
