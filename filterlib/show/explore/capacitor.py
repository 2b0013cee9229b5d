"""Panels of the notebook on capacitors: one alone on its board, and two side by side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from filterlib.network.circuit import Circuit
from filterlib.parts.capacitor import Capacitor, self_resonance
from filterlib.show.panels import (
    Axis,
    Calculation,
    Choice,
    Control,
    Curve,
    Display,
    Level,
    Panel,
    Picture,
    Plot,
    Reading,
    parts,
)
from filterlib.words.quantities import number

SPIKE = 30e6  # [Hz] where a converter's edges ring
SWITCHING = 180e3  # [Hz] of the demo's clean converter
FREQUENCIES = np.geomspace(1e3, 1e9, 401)
BIASES = np.linspace(0, 60, 61)
_OHMS = Axis("impedance", "Ω", "log")
_HERTZ = Axis("frequency", "Hz", "log", limits=(1e3, 1e9))


@dataclass(frozen=True)
class Mounted:
    """A capacitor on its board: ``loop`` [H] of pads, tracks and vias, at a DC ``bias`` [V]."""

    part: Capacitor
    loop: float
    bias: float

    def capacitance(self) -> float:
        """What is left at the bias [F]."""
        return float(self.part.capacitance_at(self.bias))

    def inductance(self) -> float:
        """Part and loop [H]."""
        return float(self.part.esl + self.loop)

    def resonance(self) -> float:
        """Where capacitance and inductance cancel [Hz]."""
        return float(self_resonance(self.capacitance(), self.inductance()))

    def impedance(self, frequencies: np.ndarray) -> np.ndarray:
        """Complex, of part and loop [ohm]; (f,)."""
        return self.part.impedance(frequencies, bias=self.bias, mounting_loop=self.loop)


@dataclass(frozen=True)
class One:
    """One capacitor: magnitude ``impedance`` (f,) [ohm], and its values at the bias."""

    impedance: np.ndarray
    ideal: np.ndarray
    loop: np.ndarray
    capacitance: float
    resonance: float
    at_switching: float
    at_spike: float
    bias: float
    over_bias: np.ndarray


def one(mounted: Mounted) -> One:
    """Impedance of one capacitor over frequency, and its capacitance over bias."""
    found = np.abs(mounted.impedance(np.append(FREQUENCIES, [SWITCHING, SPIKE])))
    return One(
        impedance=found[:-2],
        ideal=1 / (2 * np.pi * FREQUENCIES * mounted.part.capacitance),
        loop=2 * np.pi * FREQUENCIES * mounted.inductance(),
        capacitance=mounted.capacitance(),
        resonance=mounted.resonance(),
        at_switching=float(found[-2]),
        at_spike=float(found[-1]),
        bias=mounted.bias,
        over_bias=np.asarray(mounted.part.capacitance_at(BIASES)) * np.ones_like(BIASES),
    )


@dataclass(frozen=True)
class Pair:
    """Two mounted capacitors across the same lines, ``apart`` [H] of track between them."""

    first: Mounted
    second: Mounted
    apart: float


@dataclass(frozen=True)
class Both:
    """Magnitudes (f,) [ohm] of two capacitors alone and together, and the peak that they make (None: there is none)."""

    first: np.ndarray
    second: np.ndarray
    together: np.ndarray
    peak: tuple[float, float] | None
    better: float
    at_spike: float


def both(pair: Pair) -> Both:
    """Impedance of two capacitors in parallel; ``better``: how many times less than the first alone at `SPIKE`."""
    frequencies = np.append(FREQUENCIES, SPIKE)
    first = pair.first.impedance(frequencies)
    circuit = Circuit().immittance("first", "plus", "0", pair.first.impedance)
    circuit.inductor("track", "plus", "far", pair.apart).immittance("second", "far", "0", pair.second.impedance)
    together = np.abs(circuit.impedance(frequencies, "plus"))
    second = np.abs(pair.second.impedance(FREQUENCIES))
    return Both(
        first=np.abs(first[:-1]),
        second=second,
        together=together[:-1],
        peak=_peak(np.abs(first[:-1]), together[:-1]),
        better=float(np.abs(first[-1]) / together[-1]),
        at_spike=float(together[-1]),
    )


def _peak(first: np.ndarray, together: np.ndarray) -> tuple[float, float] | None:
    """Frequency and height of the highest summit between two dips at which the pair is worse than the first alone."""
    inner = together[1:-1]
    summits = 1 + np.flatnonzero((inner > together[:-2]) & (inner >= together[2:]) & (inner > first[1:-1]))
    if not summits.size:
        return None
    at = summits[np.argmax(together[summits] / first[summits])]
    return float(FREQUENCIES[at]), float(together[at])


def one_panel() -> Panel:
    """One capacitor on sliders: what it is at 180 kHz, and what at 30 MHz."""
    start = {"on": Mounted(parts(Capacitor)["class2-2u2-50V-1206"], 4e-9, 28.0)}
    controls: list[Control | Choice] = [
        Choice("on.part", "capacitor", parts(Capacitor), start="class2-2u2-50V-1206"),
        Control("on.capacitance", "capacitance", "F", "1 nF", "1 mF"),
        Control("on.esr", "constant ESR", "ohm", "1 mΩ", "2 Ω"),
        Control("on.esl", "its inductance", "H", "0.2 nH", "30 nH"),
        Control("on.loop", "mounting loop", "H", "0.2 nH", "100 nH", "4 nH"),
        Control("on.bias", "DC bias", "V", 0, 60, 28, steps=60),
    ]
    plots = (
        Plot(
            "Impedance",
            _HERTZ,
            _OHMS,
            (
                Curve("on the board", lambda r: (FREQUENCIES, r.impedance), kept=True),
                Curve("C alone", lambda r: (FREQUENCIES, r.ideal)),
                Curve("L alone", lambda r: (FREQUENCIES, r.loop)),
                Level("30 MHz", lambda r: (SPIKE,), upright=True),
            ),
        ),
        Plot(
            "What the bias leaves",
            Axis("DC bias", "V", limits=(0, 60)),
            Axis("capacitance", "F", zero=True),
            (
                Curve("C over bias", lambda r: (BIASES, r.over_bias), kept=True),
                Curve("here", lambda r: ([r.bias], [r.capacitance]), marker="o"),
            ),
        ),
    )
    display = Display(Picture(plots, name="one-capacitor", widths=(3, 2)), _one_readings, _one_sentence)
    return Panel(
        "One capacitor on its board", Calculation(start, lambda at: one(at["on"]), change=_changed), controls, display
    )


def _one_readings(r: One) -> tuple[Reading, ...]:
    return (
        Reading("impedance at 180 kHz", r.at_switching, "ohm"),
        Reading("impedance at 30 MHz", r.at_spike, "ohm"),
        Reading("self-resonance on the board", r.resonance, "Hz"),
        Reading("capacitance at the bias", r.capacitance, "F"),
    )


def _one_sentence(r: One) -> str:
    side = "an inductance" if r.resonance < SPIKE else "a capacitance"
    return (
        f"The impedance falls to {number(r.impedance.min(), 'ohm')} near {number(r.resonance, 'Hz')} and rises beyond it; "
        f"at 30 MHz the part acts as {side} of {number(r.at_spike, 'ohm')}. At {number(r.bias, 'V')} of bias "
        f"{number(r.capacitance, 'F')} is left."
    )


def pair_panel() -> Panel:
    """Two capacitors in parallel: the second helps at one frequency and may hurt at another."""
    start = {
        "first": Mounted(parts(Capacitor)["class2-2u2-50V-1206"], 4e-9, 0.0),
        "second": Mounted(parts(Capacitor)["class2-100n-50V-0603"], 2e-9, 0.0),
        "apart": 3e-9,
    }
    controls: list[Control | Choice] = [
        Choice("first.part", "first part", parts(Capacitor), start="class2-2u2-50V-1206", group="First capacitor"),
        Control("first.capacitance", "capacitance", "F", "1 nF", "1 mF", group="First capacitor"),
        Control("first.esr", "constant ESR", "ohm", "1 mΩ", "2 Ω", group="First capacitor"),
        Control("first.loop", "mounting loop", "H", "0.2 nH", "100 nH", "4 nH", group="First capacitor"),
        Choice("second.part", "second part", parts(Capacitor), start="class2-100n-50V-0603", group="Second capacitor"),
        Control("second.capacitance", "second capacitance", "F", "1 nF", "1 mF", group="Second capacitor"),
        Control("second.esr", "second ESR", "ohm", "1 mΩ", "2 Ω", group="Second capacitor"),
        Control("second.loop", "second loop", "H", "0.2 nH", "100 nH", "2 nH", group="Second capacitor"),
        Control("apart", "track between", "H", "0.2 nH", "100 nH", "3 nH", group="Second capacitor"),
    ]
    curves = (
        Curve("both", lambda r: (FREQUENCIES, r.together), kept=True),
        Curve("first alone", lambda r: (FREQUENCIES, r.first)),
        Curve("second alone", lambda r: (FREQUENCIES, r.second)),
        Curve("peak of the pair", lambda r: r.peak and ([r.peak[0]], [r.peak[1]]), marker="v"),
        Level("30 MHz", lambda r: (SPIKE,), upright=True),
    )
    picture = Picture([Plot("Two in parallel", _HERTZ, _OHMS, curves)], name="two-capacitors")
    calculation = Calculation(start, _both_of, change=_changed)
    return Panel("Two capacitors side by side", calculation, controls, Display(picture, _both_readings, _both_sentence))


def _both_of(at: Mapping[str, Any]) -> Both:
    return both(Pair(at["first"], at["second"], at["apart"]))


def _both_readings(r: Both) -> tuple[Reading, ...]:
    where = (number(r.peak[1], "ohm"), f"at {number(r.peak[0], 'Hz')}") if r.peak else ("none", "")
    return (
        Reading("both at 30 MHz", r.at_spike, "ohm"),
        Reading("less than the first alone", f"{r.better:.3g} times", note="at 30 MHz"),
        Reading("peak where both are worse", where[0], note=where[1]),
    )


def _both_sentence(r: Both) -> str:
    told = (
        f"Near {number(r.peak[0], 'Hz')} one is already an inductance while the other is still a capacitance: together they "
        f"make a peak of {number(r.peak[1], 'ohm')}."
        if r.peak
        else "No peak rises above the first alone."
    )
    return f"At 30 MHz both together have {number(r.at_spike, 'ohm')}, {r.better:.3g} times less than the first alone. {told}"


def _changed(start: Mapping[str, Any], values: Mapping[str, Any]) -> dict[str, Any]:
    """What the controls say, by "PLACE.FIELD": a field of what is mounted there, or of its part."""
    now = dict(start)
    for name, given in values.items():
        place, _, field = name.partition(".")
        if not field:
            now[place] = given
        elif field in ("part", "loop", "bias"):
            now[place] = replace(now[place], **{field: given})
        else:
            now[place] = replace(now[place], part=now[place].part.replace(**{field: given}))
    return now


__all__ = ["Both", "Mounted", "One", "Pair", "both", "one", "one_panel", "pair_panel"]
