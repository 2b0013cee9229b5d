"""After switch-on: the course of the output until the loads run: soft start, current limit, foldback or hiccups, loads that wait.

The way is that of the first milliseconds of a burst, with every load at the end of its own lead. The loop itself is left out: its time is
short beside a start. Each pause of a hiccup begins another attempt from what is left in the capacitors.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from filterlib.analysis.hold_up.way import Branch, across, add_filter, in_series, path_to
from filterlib.analysis.supply.supply_result import End, LoadStart, Ramp, Starting
from filterlib.network.netlist import Current
from filterlib.network.nonlinear.bend import Bend, constant_power
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit, Rule
from filterlib.network.nonlinear.course import Course, course
from filterlib.system.design import Design
from filterlib.system.line.load import Load

__all__ = ["share_at_start", "starting"]
STOPS = 0.9  # of the voltage at which a load starts: below it draws nothing again, where stops_at is not stated: common practice, no source
LONGEST = 20.0  # [s] that is looked at
MOST_ATTEMPTS, MOST_FALLS = 60, 3
EVENTS = 2000
AWAKE = 1e-7  # of the largest charge: a ring so small switches nothing that the start would not switch at once
AGAIN = "limit: again"
OPEN, BACK = 1e-7, 1e-6  # [S] of a converter that is off, and of one whose output is above its own voltage
UP = 0.95  # of the nominal voltage, from which a load that never waits runs
PIECES = 16  # of a constant power
LEAST_GAIN = 1e-4  # of the energy from pause to pause, below which hiccups go on for ever
SLACK = 0.98  # of a voltage at which it switches: where it switches back
NOTHING = Bend((0.0,), (0.0,), 1e-9, 1e-9)  # next to nothing drawn


def share_at_start(load: Load) -> float:
    """Of its full draw: a load with bursts starts between them, and has its idle share."""
    return 1.0 if load.profile is None else load.profile.idle


def starting(design: Design, ramp: Ramp, bank: Branch | None = None, *, most: int = MOST_ATTEMPTS) -> Starting:
    """One start of a design, from empty capacitors; with a ``bank`` behind its filter.

    Returns: Starting in SI units; it is followed for `LONGEST` seconds, or so many attempts at the ``most``.
    Raises: CircuitError where events do not end.
    """
    circuit, runs = _circuit(design, ramp, bank), list[Course]()
    while len(runs) < most:
        runs.append(course(circuit, LONGEST, most=EVENTS, stop=AGAIN, behind=_again(runs), awake=AWAKE))
        if not _paused(runs[-1]) or (len(runs) > 1 and not _gained(*runs[-2:])):
            break
    return _told(design, runs)


def _again(runs: list[Course]) -> Course | None:
    """The last attempt, with no fall counted, and the converter about to begin."""
    if not runs:
        return None
    curves = {
        name: f"{curve.rpartition(' ')[0]} 0" if " " in curve else curve for name, curve in runs[-1].curves.items()
    }
    return replace(runs[-1], curves=curves | {"limit": "again"})


def _paused(run: Course) -> bool:
    return any(text == AGAIN for _, text in run.events)


def _gained(before: Course, after: Course) -> bool:
    """Whether the capacitors are fuller behind a pause than behind the one before: else every attempt is like the last."""
    return float(np.sum(after.ended[: _held(after)] ** 2) / np.sum(before.ended[: _held(after)] ** 2)) > 1 + LEAST_GAIN


def _held(run: Course) -> int:
    return len(run.pieces[0].layout.capacitors)


def _told(design: Design, runs: list[Course]) -> Starting:
    last, clock = runs[-1], np.cumsum([0.0, *(run.times[-1] for run in runs)])
    hiccups = _paused(last)
    loads = tuple(_load(load, last, float(clock[-2]), hiccups) for load in design.loads)
    up = _since(last, "output", ("up",))
    held = float(last.at(last.times[-1], "converter")[0])
    if not hiccups and all(math.isfinite(one.runs) for one in loads) and math.isfinite(up):
        end: End = "starts"
    elif hiccups:
        end, held = "hiccups", max(float(run.steps("converter").max()) for run in runs[-2:])
    else:
        end = "falls out" if any(one.falls > MOST_FALLS for one in loads) else "held down"
    times = np.concatenate([start + run.times[:-1] for start, run in zip(clock, runs, strict=False)])
    back = np.concatenate([run.steps("converter") for run in runs])
    amps = np.concatenate([run.steps(Current("limit")) - run.steps(Current("foldback")) for run in runs])
    first = max([up, *(one.runs - float(clock[-2]) for one in loads)]) + float(clock[-2])
    return Starting(end, first if end == "starts" else math.inf, len(runs), held, loads, times, back, amps)


def _load(load: Load, run: Course, clock: float, hiccups: bool) -> LoadStart:
    volts, name = float(run.at(run.times[-1], f"load.{load.name}")[0]), f"draw.{load.name}"
    if not run.curves.get(name):  # it never waits
        since = _since(run, "output", ("up",))
        return LoadStart(load.name, math.inf if hiccups else clock + since, 0, volts)
    falls = sum(text.startswith(f"{name}: ") and "draws" not in text for _, text in run.events)
    since = math.inf if hiccups else _since(run, name, ("draws",))
    return LoadStart(load.name, clock + since, falls, volts)


def _since(run: Course, name: str, curves: tuple[str, ...]) -> float:
    """Since when [s] a branch is on one of its curves; inf where it is not."""
    if run.curves[name].partition(" ")[0] not in curves:
        return math.inf
    return max((time for time, text in run.events if text.startswith(f"{name}: ")), default=0.0)


def _circuit(design: Design, ramp: Ramp, bank: Branch | None) -> PiecewiseCircuit:
    """The converter, the filter, and each load behind its lead."""
    paths = {load.name: path_to(design, load, ramp.limit) for load in design.loads}
    path, volts = next(iter(paths.values())), design.converter.output_voltage
    circuit = PiecewiseCircuit().voltage_source("regulated", "set", "0", [(0.0, 0.0), (ramp.soft, volts)])
    _limited(circuit, ramp, path.output, volts)
    circuit.switched("output", "converter", "0", {"low": NOTHING, "up": NOTHING}, "low", _meter(UP * volts))
    add_filter(circuit, path if ramp.follows_rings else path.without_rings)
    if bank is not None:
        across(circuit, "bank", "filter", bank)
    for load in design.loads:
        node = f"load.{load.name}"
        in_series(circuit, node, "filter", paths[load.name].lead)
        across(circuit, node, node, paths[load.name].load)
        shaken = 0.0 if ramp.follows_rings or not ramp.shaken else paths[load.name].ring
        _draw(circuit, load, node, volts, ramp.begins, shaken)
    return circuit


def _limited(circuit: PiecewiseCircuit, ramp: Ramp, ohms: float, volts: float) -> None:
    """The limit between the converter's own voltage and its output.

    A limit that folds back is what is left of it at 0 V, and beside it a current that rises with the output's voltage.
    """
    folds = ramp.back < ramp.limit
    on = Bend((0.0, ramp.back * ohms), (0.0, ramp.back), 1 / ohms if folds else BACK, BACK)
    pause = Bend((0.0,), (0.0,), OPEN, OPEN)
    across, at = ("set", "converter"), ramp.back * ohms
    rules = [Rule("limiting", "regulating", across, SLACK * at, above=False)]
    rules += [Rule(name, "limiting", across, at) for name in ("regulating", "again")]
    if math.isfinite(ramp.on):
        rules += [Rule("limiting", "off", after=ramp.on), Rule("off", "again", after=ramp.off)]
    curves = {"regulating": on, "limiting": on, "again": on, "off": pause}
    circuit.switched("limit", "set", "converter", curves, "regulating", rules)
    circuit.conductance("foldback", "converter", "0", -(ramp.limit - ramp.back) / volts or OPEN)


def _meter(volts: float) -> list[Rule]:
    return [Rule("low", "up", "converter", volts), Rule("up", "low", "converter", SLACK * volts, above=False)]


def _draw(circuit: PiecewiseCircuit, load: Load, node: str, volts: float, begins: float, shaken: float) -> None:
    """What a load draws at its start: at once, or, of constant power and where it says so, from a voltage on.

    ``shaken``: a ring [V] that may reach that voltage earlier, and the one at which it stops, too.
    """
    share, name = share_at_start(load), f"draw.{load.name}"
    drawn = float(load.draws(volts, share))
    if drawn == 0:
        return
    if load.power is None and load.starts_at is None:
        circuit.bend(name, node, "0", _curve(load, drawn, volts, volts))
        return
    starts = load.starts_at or begins * volts
    stops = load.stops_at or STOPS * starts
    starts = max(starts - shaken, starts / 2)
    stops = min(stops + shaken, SLACK * starts)
    draws = _curve(load, drawn, volts, stops)
    curves = {"gives up 0": NOTHING}
    rules = list[Rule]()
    for k in range(MOST_FALLS + 1):
        behind = f"waits {k + 1}" if k < MOST_FALLS else "gives up 0"
        curves |= {f"waits {k}": NOTHING, f"draws {k}": draws}
        rules += [Rule(f"waits {k}", f"draws {k}", node, starts), Rule(f"draws {k}", behind, node, stops, above=False)]
    circuit.switched(name, node, "0", curves, "waits 0", rules)


def _curve(load: Load, drawn: float, volts: float, stops: float) -> Bend:
    if load.resistance is not None:
        return Bend((0.0,), (0.0,), drawn / volts, drawn / volts)
    if load.current is not None:  # down to a volt, where it lets go
        return Bend((1.0,), (drawn,), drawn, 1e-9)
    return constant_power(drawn * volts, 0.9 * min(stops, volts), 1.2 * volts, PIECES)
