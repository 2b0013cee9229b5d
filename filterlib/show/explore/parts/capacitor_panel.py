"""Panels of the notebook on capacitors: one alone on its board, and two in parallel."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

from filterlib.analysis.linear.mounted_capacitor import (
    CapacitorPair,
    CapacitorResult,
    MountedCapacitor,
    PairResult,
    mounted_capacitor,
    parallel_capacitors,
)
from filterlib.parts.capacitor import Capacitor
from filterlib.show import panels as ui
from filterlib.show.explore.lessons import ONE_CAPACITOR, TWO_CAPACITORS
from filterlib.show.explore.tide_gauge import SPIKE, SWITCHING
from filterlib.words.quantities import number

_OHMS = ui.Axis("impedance", "Ω", "log")
_HERTZ = ui.Axis("frequency", "Hz", "log", limits=(1e3, 1e9))
_FIRST, _SECOND = "class2-2u2-50V-1206", "class2-100n-50V-0603"
_BIAS = 28.0  # [V] of the line
_ONE_CIRCUIT = (
    ui.Drawn("choke", "loop", ("on.loop",)),
    ui.Drawn("choke", "its own", ("on.esl",)),
    ui.Drawn("box", "ESR", ("on.esr",)),
    ui.Drawn("capacitor", "C", ("on.capacitance", "on.bias", "on.part")),
)
_PAIR_CIRCUIT = (
    ui.Drawn("capacitor", "first", ("first.capacitance", "first.esr", "first.loop", "first.part", "bias")),
    ui.Drawn("choke", "track", ("track",)),
    ui.Drawn("capacitor", "second", ("second.capacitance", "second.esr", "second.loop", "second.part")),
)


@dataclass(frozen=True)
class Alone:
    """One capacitor on its board."""

    on: MountedCapacitor


S = TypeVar("S", Alone, CapacitorPair)


def one_panel() -> ui.Panel[Alone, CapacitorResult]:
    """One capacitor on sliders: what it is at 180 kHz, and what at 30 MHz."""
    controls: list[ui.Control | ui.Choice] = [
        ui.Choice("on.part", "capacitor", ui.parts(Capacitor), start=_FIRST),
        ui.Control("on.capacitance", "capacitance", "F", "1 nF", "1 mF"),
        ui.Control("on.esr", "constant ESR", "ohm", "1 mΩ", "2 Ω"),
        ui.Control("on.esl", "its inductance", "H", "0.2 nH", "30 nH"),
        ui.Control("on.loop", "mounting loop", "H", "0.2 nH", "100 nH", "4 nH"),
        ui.Control("on.bias", "DC bias", "V", 0, 60, _BIAS, steps=60),
    ]
    calculation: ui.Calculation[Alone, CapacitorResult] = ui.Calculation(
        Alone(MountedCapacitor(ui.parts(Capacitor)[_FIRST], 4e-9, _BIAS)),
        lambda at: mounted_capacitor(at.on, switching=SWITCHING, spike=SPIKE),
        change=_changed,
    )
    return ui.Panel(
        "One capacitor on its board",
        calculation,
        ui.in_front(controls, ("on.part", "on.capacitance", "on.loop", "on.bias")),
        ui.Display(_one_picture(), _one_readings, _one_sentence, circuit=_ONE_CIRCUIT, lesson=ONE_CAPACITOR),
    )


def _one_picture() -> ui.Picture[CapacitorResult]:
    impedance: ui.Plot[CapacitorResult] = ui.Plot(
        "Impedance",
        _HERTZ,
        _OHMS,
        (
            ui.Curve("on the board", lambda r: (r.frequencies, r.impedance), kept=True),
            ui.Curve("C alone", lambda r: (r.frequencies, r.ideal)),
            ui.Curve("L alone", lambda r: (r.frequencies, r.inductive)),
            ui.Level("30 MHz", lambda r: (SPIKE,), upright=True),
        ),
    )
    bias: ui.Plot[CapacitorResult] = ui.Plot(
        "Capacitance left at a DC bias",
        ui.Axis("DC bias", "V", limits=(0, 60)),
        ui.Axis("capacitance", "F", zero=True),
        (
            ui.Curve("C over bias", lambda r: (r.biases, r.over_bias), kept=True),
            ui.Curve("here", lambda r: ([r.bias], [r.capacitance]), marker="o"),
        ),
    )
    return ui.Picture([impedance, bias], name="one-capacitor", size=ui.LOW, widths=(3, 2))


def _one_readings(r: CapacitorResult) -> tuple[ui.Reading, ...]:
    return (
        ui.Reading("impedance at 180 kHz", r.at_switching, "ohm"),
        ui.Reading("impedance at 30 MHz", r.at_spike, "ohm"),
        ui.Reading("self-resonance on the board", r.resonance, "Hz"),
        ui.Reading("capacitance at the bias", r.capacitance, "F"),
    )


def _one_sentence(r: CapacitorResult) -> str:
    side = "an inductance" if r.resonance < SPIKE else "a capacitance"
    return (
        f"The impedance falls to {number(r.impedance.min(), 'ohm')} near {number(r.resonance, 'Hz')} and rises above it; "
        f"at 30 MHz the part acts as {side}, with {number(r.at_spike, 'ohm')}. At a bias of {number(r.bias, 'V')}, "
        f"{number(r.capacitance, 'F')} are left."
    )


def pair_panel() -> ui.Panel[CapacitorPair, PairResult]:
    """Two capacitors in parallel: the second helps at one frequency and may hurt at another."""
    first, second = (ui.parts(Capacitor)[name] for name in (_FIRST, _SECOND))
    controls: list[ui.Control | ui.Choice] = [
        ui.Choice("first.part", "first part", ui.parts(Capacitor), start=_FIRST, group="First capacitor"),
        ui.Control("first.capacitance", "capacitance", "F", "1 nF", "1 mF", group="First capacitor"),
        ui.Control("first.esr", "constant ESR", "ohm", "1 mΩ", "2 Ω", group="First capacitor"),
        ui.Control("first.loop", "mounting loop", "H", "0.2 nH", "100 nH", "4 nH", group="First capacitor"),
        ui.Choice("second.part", "second part", ui.parts(Capacitor), start=_SECOND, group="Second capacitor"),
        ui.Control("second.capacitance", "second capacitance", "F", "1 nF", "1 mF", group="Second capacitor"),
        ui.Control("second.esr", "second ESR", "ohm", "1 mΩ", "2 Ω", group="Second capacitor"),
        ui.Control("second.loop", "second loop", "H", "0.2 nH", "100 nH", "2 nH", group="Second capacitor"),
        ui.Control("track", "track between", "H", "0.2 nH", "100 nH", "3 nH", group="Second capacitor"),
        ui.Control("bias", "DC bias", "V", 0, 60, _BIAS, steps=60, group="Both"),
    ]
    curves: tuple[ui.Curve[PairResult] | ui.Level[PairResult], ...] = (
        ui.Curve("both", lambda r: (r.frequencies, r.together), kept=True),
        ui.Curve("first alone", lambda r: (r.frequencies, r.first)),
        ui.Curve("second alone", lambda r: (r.frequencies, r.second)),
        ui.Curve("peak of the pair", lambda r: r.peak and ([r.peak[0]], [r.peak[1]]), marker="v"),
        ui.Level("30 MHz", lambda r: (SPIKE,), upright=True),
    )
    start = CapacitorPair(MountedCapacitor(first, 4e-9, _BIAS), MountedCapacitor(second, 2e-9, _BIAS), 3e-9)
    calculation = ui.Calculation(start, partial(parallel_capacitors, spike=SPIKE), change=_pair_changed)
    picture = ui.Picture([ui.Plot("Two in parallel", _HERTZ, _OHMS, curves)], name="two-capacitors", size=ui.LOW)
    return ui.Panel(
        "Two capacitors in parallel",
        calculation,
        ui.in_front(controls, ("second.part", "second.esr", "second.loop", "track")),
        ui.Display(picture, _pair_readings, _pair_sentence, circuit=_PAIR_CIRCUIT, lesson=TWO_CAPACITORS),
    )


def _pair_readings(r: PairResult) -> tuple[ui.Reading, ...]:
    height, note = (number(r.peak[1], "ohm"), f"at {number(r.peak[0], 'Hz')}") if r.peak else ("none", "")
    return (
        ui.Reading("both at 30 MHz", r.at_spike, "ohm"),
        ui.Reading("less than the first alone", f"{r.better:.3g} times", note="at 30 MHz"),
        ui.Reading("peak where the pair is worse", height, note=note),
    )


def _pair_sentence(r: PairResult) -> str:
    peak = (
        f"Near {number(r.peak[0], 'Hz')} one is already an inductance while the other is still a capacitance: together they "
        f"make a peak of {number(r.peak[1], 'ohm')}."
        if r.peak
        else "No peak rises above the first alone."
    )
    return f"At 30 MHz both together have {number(r.at_spike, 'ohm')}, {r.better:.3g} times less than the first alone. {peak}"


def _pair_changed(start: CapacitorPair, values: ui.Values) -> CapacitorPair:
    """The controls' values; "bias" is of both."""
    both = {name: values["bias"] for name in ("first.bias", "second.bias") if "bias" in values}
    return _changed(start, {name: value for name, value in values.items() if name != "bias"} | both)


def _changed(start: S, values: ui.Values) -> S:
    """The controls' values, by "PLACE.FIELD": a field of what is mounted there, or of its part."""
    for name, value in values.items():
        place, _, field = name.partition(".")
        if not field:
            start = replace(start, **{place: value})
            continue
        mounted: MountedCapacitor = getattr(start, place)
        own = field in ("part", "loop", "bias")
        new: ui.Values = {field: value} if own else {"part": mounted.part.replace(**{field: value})}
        moved: ui.Values = {place: replace(mounted, **new)}
        start = replace(start, **moved)
    return start
