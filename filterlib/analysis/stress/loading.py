"""What every part carries: direct current and bias, ripple harmonic by harmonic, and the heat that they make in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from filterlib.analysis.described import Amperes, Hertz, Volts, Watts
from filterlib.analysis.ripple.ripple_result import Spectra
from filterlib.analysis.ripple.spectra import spectra
from filterlib.network.extremes import largest_magnitude
from filterlib.network.netlist import Current, Element, Output
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.values import Value
from filterlib.system.line.components import Branch, Component
from filterlib.system.solution import Solution
from filterlib.system.state import State

Lines = list[tuple[Hertz[np.ndarray], np.ndarray]]  # frequencies (h,) and coefficients (designs, h), one pair a source


@dataclass(frozen=True)
class Loading:
    """What one part carries; numbers are arrays (designs, 1), currents and heat those of one of ``count`` in parallel.

    ``currents``, ``voltages``: for every branch its harmonics by source of another frequency, see `Lines`;
    ``direct_heat``, ``ripple_heat``: in the part as the circuit has it.
    """

    component: Component
    currents: Amperes[tuple[Lines, ...]]
    voltages: Volts[tuple[Lines, ...]]
    direct_heat: Watts[np.ndarray]
    ripple_heat: Watts[np.ndarray]

    @property
    def rms(self) -> np.ndarray:
        """Ripple current of the branch that carries most [A]."""
        return np.asarray(np.max([root_sum(lines) for lines in self.currents], axis=0))

    @property
    def rms_with_direct(self) -> np.ndarray:
        """The same with its direct current [A]."""
        pairs = zip(self.currents, self.component.branches, strict=True)
        return np.asarray(np.max([np.hypot(root_sum(lines), branch.direct) for lines, branch in pairs], axis=0))

    @property
    def copper_heat(self) -> np.ndarray:
        """Ripple heat of the windings' resistance to direct current alone [W]."""
        pairs = zip(self.currents, self.component.branches, strict=True)
        return np.asarray(np.sum([branch.ohms * root_sum(lines) ** 2 for lines, branch in pairs], axis=0))


def loadings(solution: Solution, *, thinned: bool = False) -> tuple[Loading, ...]:
    """What every part carries at an operating point, which must be stable; ``thinned``: roughly, see `spectra`.

    Raises ScaleError where the converter's stated figures contradict each other.
    """
    branches = [branch for one in solution.components for branch in one.branches]
    known = solution.circuit.netlist.by_name
    outputs: dict[tuple[str, Branch], Output] = {("i", b): Current(b.element, b.winding) for b in map(_key, branches)}
    outputs |= {("v", b): _across(known[b.element], b) for b in map(_key, branches) if not _alone(known[b.element])}
    harmonics = spectra(solution, outputs=outputs, thinned=thinned)
    return tuple(_loading(one, harmonics, known) for one in solution.components)


def _key(branch: Branch) -> Branch:
    return Branch(branch.element, branch.winding)


def _across(element: Element, branch: Branch) -> tuple[str, str]:
    return element.nodes[2:] if branch.winding == 2 else element.nodes[:2]  # type: ignore[return-value]


def _loading(one: Component, spectra: Spectra, known: Mapping[str, Element]) -> Loading:
    currents = tuple(_lines(spectra, ("i", _key(branch)), 1 / one.count) for branch in one.branches)
    voltages = tuple(_voltage(spectra, _key(branch), known[branch.element]) for branch in one.branches)
    direct = np.sum([np.reshape(branch.direct, (-1, 1)) ** 2 * branch.ohms for branch in one.branches], axis=0)
    pairs = zip(voltages, currents, strict=True)
    heat = np.sum([_power(u, i) for us, both in pairs for u, i in zip(us, both, strict=True)], axis=0)
    return Loading(one, currents, voltages, direct, heat)


def _voltage(spectra: Spectra, branch: Branch, element: Element) -> Lines:
    """Across a branch: its own impedance times its current, so that nodes inside a part need not be solved for."""
    if not _alone(element):
        return _lines(spectra, ("v", branch), 1.0)
    currents = _lines(spectra, ("i", branch), 1.0)
    return [(f, (element.function(f) if element.of_frequency else element.number) * current) for f, current in currents]


def _alone(element: Element) -> bool:
    """Whether its voltage is its own impedance times its current, and nothing else couples into it."""
    return element.kind in ("resistor", "immittance")


def _lines(spectra: Spectra, label: Any, share: float) -> Lines:
    lines = [(spectra.frequencies, spectra.whole(label))]
    lines += [(spectra.reflected_frequencies[s], c) for (at, s), c in spectra.reflected.items() if at == label]
    return [(frequencies, share * np.atleast_2d(c)) for frequencies, c in lines]


def _power(voltage: tuple[np.ndarray, np.ndarray], current: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    return np.asarray(2 * np.sum(np.real(voltage[1] * np.conj(current[1])), axis=-1, keepdims=True))


def root_sum(lines: Lines) -> np.ndarray:
    """Root mean square (designs, 1) of all harmonics."""
    return np.asarray(np.sqrt(sum(2 * np.sum(np.abs(c) ** 2, axis=-1, keepdims=True) for _, c in lines)))


def peak(lines: Lines, direct: Value = 0.0) -> np.ndarray:
    """Largest magnitude (designs, 1) over a period, with a direct part; sources of other frequencies add their peaks."""
    (_, first), *others = lines
    return sum((largest_magnitude(c) for _, c in others), largest_magnitude(first, direct))


def integral(lines: Lines) -> Lines:
    """The integral over time, without its mean."""
    return [(frequencies, c / (2j * np.pi * frequencies)) for frequencies, c in lines]


def core_voltage(one: Loading, state: State) -> Lines:
    """Voltage across the core's inductance [V]: of a choke without its resistance, of the mean winding of two."""
    part, ohms = one.component.part, one.component.branches[0].ohms
    if not isinstance(part, CommonModeChoke):
        return [(f, u - ohms * i) for (f, u), (_, i) in zip(one.voltages[0], one.currents[0], strict=True)]
    name, pairs = one.component.name, zip(*one.currents, strict=True)
    inductance = part.magnetising_at(state.unbalance(name), state.current(name), state.temperature)
    return [(f, part.core_voltage(f, first, second, inductance)) for (f, first), (_, second) in pairs]
