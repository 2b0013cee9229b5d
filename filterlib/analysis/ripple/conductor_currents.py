"""Every current of three conductors, plus, return and chassis, in an octave about one frequency, from one solution."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from filterlib.analysis.described import Amperes, Hertz, Ratio, Volts
from filterlib.analysis.linear.two_lines import modal_currents
from filterlib.analysis.ripple.spectra import driven, from_transfers
from filterlib.network.circuit import Current, Output
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.system.solution import Solution

HALF_OCTAVE = np.sqrt(2)  # an octave reaches from the frequency over this to the frequency times this
TOP = 2e8  # [Hz]
DRIVEN = "coupling"  # the tap by which the switching node drives current into the chassis
Terms: TypeAlias = tuple[tuple[str, int, Ratio[float]], ...]
"""Element, winding, sign; an element that is not there carries nothing."""


@dataclass(frozen=True)
class Layout:
    """Whose currents add up to the current at each place of a design.

    ``load``, ``choke``: their names. ``lines``: section -> plus line and return line, both towards the load; ``taps``: what
    reaches the chassis, from left to right, into the chassis; ``across``: what is from line to line.
    """

    load: str
    choke: str
    lines: Mapping[str, tuple[Terms, Terms]]
    taps: Mapping[str, Terms]
    across: Mapping[str, Terms]


@dataclass(frozen=True)
class ConductorCurrents:
    """Rms currents of the harmonics within an octave about ``frequency``.

    ``differential``, ``common``: by section, as in `CONVENTION` (``common`` is empty where nothing reaches the chassis);
    ``taps``: into the chassis at each place that reaches it; ``chassis``: in it, between each tap and the next; ``across``:
    from line to line. ``voltage`` at the load. ``common_spectra``, ``tap_spectra``: the same common-mode and chassis currents
    harmonic by harmonic, (h,) rms. ``direct``, ``saturation``: direct current that returns past the choke through the chassis,
    and that at which the choke saturates. ``directions``: 1 or -1, whether currents flow with the one that the node drives into the
    chassis or against it, most of the octave long: of taps into the chassis, of sections towards the load, and "chassis 0", "chassis 1" ...
    towards the next tap.
    """

    frequency: Hertz[float]
    differential: Amperes[Mapping[str, float]]
    common: Amperes[Mapping[str, float]]
    taps: Amperes[Mapping[str, float]]
    chassis: Amperes[tuple[float, ...]]
    across: Amperes[Mapping[str, float]]
    voltage: Volts[float]
    harmonics: Hertz[np.ndarray]
    common_spectra: Amperes[Mapping[str, np.ndarray]]
    tap_spectra: Amperes[Mapping[str, np.ndarray]]
    direct: Amperes[float]
    saturation: Amperes[float]
    directions: Ratio[Mapping[str, float]]


def conductor_currents(solution: Solution, layout: Layout, frequency: float) -> ConductorCurrents:
    """The currents at every place of a layout; ``frequency`` [Hz] in the middle of the octave.

    Raises FilterlibError for an unknown load, ScaleError where the converter's stated figures contradict each other.
    """
    design, state, read = solution.design, solution.state, _Reader(solution, layout)
    taps = {name: read(terms) for name, terms in layout.taps.items() if read.present(terms)}
    modes = {name: modal_currents(read(plus), read(minus)) for name, (plus, minus) in layout.lines.items()}
    common = {name: current for name, (_, current) in modes.items()} if taps else {}
    octave = _octave(read.harmonics, frequency)

    def rms(coefficients: np.ndarray) -> float:
        return float(np.sqrt(2 * np.sum(np.abs(coefficients[octave]) ** 2)))

    shared = [*np.cumsum(list(taps.values()), axis=0)[:-1]] if taps else []
    moving = {**taps, **common, **{f"chassis {place}": current for place, current in enumerate(shared)}}
    driven_by = taps.get(DRIVEN, np.zeros_like(read.harmonics))

    def direction(current: np.ndarray) -> float:
        return float(np.sign(np.sum((current * np.conj(driven_by)).real[octave])))

    chokes = {stage.name: stage.part for stage in design.filter if isinstance(stage.part, CommonModeChoke)}
    return ConductorCurrents(
        frequency=frequency,
        differential={name: rms(current) for name, (current, _) in modes.items()},
        common={name: rms(current) for name, current in common.items()},
        taps={name: rms(current) for name, current in taps.items()},
        chassis=tuple(rms(current) for current in shared),
        across={name: rms(read(terms)) for name, terms in layout.across.items()},
        voltage=rms(read.volts),
        harmonics=read.harmonics,
        common_spectra={name: np.sqrt(2) * np.abs(current) for name, current in common.items()},
        tap_spectra={name: np.sqrt(2) * np.abs(current) for name, current in taps.items()},
        direct=abs(float(state.unbalance(layout.choke))),
        saturation=float(np.min(chokes[layout.choke].saturation_current)),
        directions={name: direction(current) for name, current in moving.items()},
    )


def _octave(harmonics: np.ndarray, frequency: float) -> np.ndarray:
    """Which harmonics lie within it; the nearest where none does."""
    inside = (harmonics >= frequency / HALF_OCTAVE) & (harmonics <= frequency * HALF_OCTAVE)
    away = np.abs(harmonics - frequency)
    return np.asarray(inside | (away == np.min(away)))


class _Reader:
    """Coefficients (h,) of sums of elements' currents [A], all sources together."""

    def __init__(self, solution: Solution, layout: Layout) -> None:
        design, circuit = solution.design, solution.with_filter(True)
        harmonics = solution.source_spectra.frequencies[1:]
        self.harmonics = harmonics[harmonics <= TOP]
        self._names = {element.name for element in circuit.elements}
        sums = [
            *(terms for pair in layout.lines.values() for terms in pair),
            *layout.taps.values(),
            *layout.across.values(),
        ]
        keys = list(
            dict.fromkeys((name, winding) for terms in sums for name, winding, _ in terms if name in self._names)
        )
        outputs: list[Output] = [*(Current(*key) for key in keys), design.named_load(layout.load).port]
        rows = circuit.transfer(self.harmonics, driven(design), outputs)
        by_source = from_transfers(solution, [*keys, layout.load], rows)
        self._whole: dict[object, np.ndarray] = {}
        for (place, _), coefficients in by_source.items():
            self._whole[place] = self._whole.get(place, 0.0) + coefficients
        self.volts = self._whole[layout.load]

    def present(self, terms: Terms) -> bool:
        return any(name in self._names for name, _, _ in terms)

    def __call__(self, terms: Terms) -> np.ndarray:
        currents = (sign * self._whole[name, winding] for name, winding, sign in terms if name in self._names)
        return sum(currents, np.zeros(len(self.harmonics), complex))
