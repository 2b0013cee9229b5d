"""The first milliseconds of a burst: how far the load's voltage dips until the supply takes over, with a bank and without."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from filterlib.analysis.hold_up.bank_result import Bank, BankResult, Dip, Start
from filterlib.analysis.hold_up.way import USUAL, Branch, Path, across, add_filter, in_series, path_to
from filterlib.network.netlist import Current
from filterlib.network.nonlinear.bend import Bend, constant_power
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit, Rule
from filterlib.network.nonlinear.course import Course, course
from filterlib.system.design import Design
from filterlib.system.inside.input_side import InputSide
from filterlib.system.line.load import Load

__all__ = ["Branch", "Path", "burst_dip", "first_milliseconds", "stiff_dip"]
LONGEST = 3e-3  # [s] that is looked at
BANK_LEAD = (100e-9, 5e-3)  # [H], [ohm] of a bank's own lead, a decimetre: common practice, no source
LIMITED = 1e-5  # [S] of the limit beyond its current: 0.1 mA for 10 V
PIECES = 24  # of a constant power
PLACES = ("converter", "filter", "load")
MOST = 500  # events of a course, after which it is given up
AT_ONCE = 1e-9  # [s] below which it is the step itself
STAIRS = 16  # of a limit that folds back over the voltage
SLACK = 0.75  # of a stair, or of what is across the limit, at which it goes back
LEAST = 1e-3  # [A] that is left for a load where the others take all
SHARE = 0.95  # of the load's current, or of its limit, from which the supply has taken over


def stiff_dip(amperes: float, lead: tuple[float, float], at_load: Branch) -> float:
    """How far [V] a step of current pulls a capacitor down at the end of a ``lead`` [ohm], [H] from a stiff voltage.

    The step response of (R + sL)(1 + s r C) / (1 + s(R + r)C + s^2 LC), from its poles; its highest value is sought on
    them. For no resistance it is I sqrt(L / C).

    >>> round(stiff_dip(2.0, (1e-6, 1e-6), Branch(100e-6, 1e-6)), 3)    # hand: 2 x sqrt(1e-6 / 1e-4)
    0.2
    """
    (ohms, henries), c, r = lead, at_load.farads, at_load.ohms
    poles = np.roots([henries * c, (ohms + r) * c, 1.0]).astype(complex)
    a, b = poles + (poles[0] == poles[1]) * np.array([0.0, 1e-6 * abs(poles[0])])

    def numerator(s: complex) -> complex:
        return (ohms + s * henries) * (1 + s * r * c) / (henries * c)

    slowest = 1 / min(abs(a.real), abs(b.real))
    times = np.linspace(0.0, min(12 * math.pi / max(abs(a), abs(b)), 8 * slowest), 4001)
    first, second = (numerator(p) / (p * (p - q)) for p, q in ((a, b), (b, a)))
    course = ohms + (first * np.exp(a * times) + second * np.exp(b * times)).real
    return amperes * float(max(course.max(), ohms))


def burst_dip(
    path: Path, load: Load, idle: float, *, bank: Branch | None = None, place: str = "", until: float = LONGEST
) -> Dip:
    """The load's voltage from the moment in which it draws all of its power, from a line at rest with its ``idle`` share.

    Parameters: ``idle`` share of its draw; ``place`` of the ``bank``: "converter", "filter" (behind it), "lead" (half way)
    or "load"; ``until`` [s]. Raises CircuitError where events do not end.
    """
    before = _resting(path, load, idle)
    circuit, start = _circuit(path, load, before, bank, place)
    run = course(circuit, until, start, most=MOST)
    settled = float(run.at(until, "load")[0])
    times, volts = run.times, np.append(run.steps("load"), settled)
    lowest, at = run.peak(("0", "load"))
    peak = 0.0 if bank is None else max(run.peak(Current("bank.lead"))[0], 0.0)
    return Dip(place, -lowest, at if at > AT_ONCE else 0.0, settled, _taken_over(run, path, load), peak, times, volts)


def _resting(path: Path, load: Load, share: float) -> float:
    """The current of the load at rest [A]: behind all resistance of the way."""
    amperes = 0.0
    for _ in range(60):
        amperes = float(load.draws(path.volts - path.ohms * amperes, share))
    return amperes


def _circuit(
    path: Path, load: Load, amperes: float, bank: Branch | None, place: str
) -> tuple[PiecewiseCircuit, dict[str, float]]:
    """The whole way with everything at rest, and the load at full draw."""
    damping, integral, delay = path.loop
    circuit = PiecewiseCircuit().voltage_source("regulated", "set", "0", [(0.0, path.volts)])
    _limited(circuit, path)
    circuit.resistor("damping", "a", "b", damping).inductor("integral", "a", "b", integral)
    circuit.inductor("delay", "b", "converter", delay)
    start = {"integral": amperes, "delay": amperes} | add_filter(circuit, path, amperes)
    half = (path.lead[0] / 2, path.lead[1] / 2)
    for before, node in (("filter", "lead"), ("lead", "load")):
        start |= in_series(circuit, node, before, half, amperes)
    circuit.resistor("leakage", "lead", "0", 1e6)  # or inductors alone would meet there
    nodes = {"converter": path.volts - path.output * amperes, "load": path.volts - path.ohms * amperes}
    nodes["filter"] = nodes["load"] + path.lead[0] * amperes
    nodes["lead"] = nodes["load"] + path.lead[0] * amperes / 2
    start |= across(circuit, "load", "load", path.load, nodes["load"])
    if bank is not None:
        circuit.capacitor("bank", "bank.c", "0", bank.farads).resistor("bank.esr", "bank.c", "bank.x", bank.ohms)
        circuit.inductor("bank.lead", "bank.x", place, bank.henries)
        start["bank"] = nodes[place]
    return _drawing(circuit, load, path.volts), start


def _limited(circuit: PiecewiseCircuit, path: Path) -> None:
    """The limit between "set" and "a": constant, in `STAIRS` that follow the output's voltage down and up, or off after a time at it."""
    back = min(path.back, path.limit)
    levels = np.linspace(back, path.limit, STAIRS + 1 if back < path.limit else 1)
    curves = {f"at {k}": _limit(float(amps), path.output) for k, amps in enumerate(levels)}
    last, step = len(levels) - 1, path.volts / STAIRS
    rules = [Rule(f"at {k + 1}", f"at {k}", "converter", (k + SLACK) * step, above=False) for k in range(last)]
    rules += [Rule(f"at {k}", f"at {k + 1}", "converter", (k + 1) * step) for k in range(last)]
    if math.isfinite(path.on):
        curves |= {"limiting": curves[f"at {last}"], "off": Bend((0.0,), (0.0,), LIMITED / 100, LIMITED / 100)}
        across, at = ("set", "a"), path.limit * path.output
        rules += [Rule(f"at {last}", "limiting", across, at), Rule("limiting", "off", after=path.on)]
        rules += [Rule("limiting", f"at {last}", across, SLACK * at, above=False)]
    circuit.switched("limit", "set", "a", curves, f"at {last}", rules)


def _limit(amps: float, ohms: float) -> Bend:
    return Bend((amps * ohms,), (amps,), 1 / ohms, LIMITED)


def _drawing(circuit: PiecewiseCircuit, load: Load, volts: float) -> PiecewiseCircuit:
    if load.resistance is not None:
        return circuit.resistor("draw", "load", "0", float(load.resistance))
    drawn = float(load.draws(volts, 1.0))
    if load.current is not None:  # down to a volt, where it lets go
        return circuit.bend("draw", "load", "0", Bend((1.0,), (drawn,), drawn, 1e-9))
    return circuit.bend("draw", "load", "0", constant_power(drawn * volts, 0.3 * volts, 1.3 * volts, PIECES))


def _taken_over(run: Course, path: Path, load: Load) -> float:
    given, volts = run.steps(Current("limit")), run.steps("load")
    asked = np.array([min(path.limit, float(load.draws(max(v, 1.0), 1.0))) for v in volts])
    there = np.flatnonzero(given >= SHARE * asked)
    return float(run.times[there[0]]) if len(there) else math.inf


def first_milliseconds(design: Design, result: BankResult) -> Start:
    """The start of the bursts of one load, without a bank, and with the first that is proposed (or 30 mF) at each place."""
    load = next(one for one in design.loads if one.name == result.load)
    profile = load.profile
    assert profile is not None  # or there would be no result
    path, until = _limited_path(design, load, result.supply), min(LONGEST, result.length)
    bank = _branch(result.banks[0] if result.banks else None)
    dips = [burst_dip(path, load, profile.idle, until=until)] + [
        burst_dip(path, load, profile.idle, bank=bank, place=place, until=until) for place in PLACES
    ]
    step = float(load.draws(path.volts, 1.0)) - float(load.draws(path.volts, profile.idle))
    sag = path.volts - result.lowest - path.ohms * float(load.draws(path.volts, profile.idle))
    battery, volts = _input(design, load, profile.idle, path.limit)
    return Start(
        load.name, result.lowest, step, path.limit, tuple(dips), stiff_dip(step, path.lead, path.load),
        _least(step, path, sag), sag / step if step else math.inf, _longest(step, path, sag), battery, volts,
    )  # fmt: skip


def _limited_path(design: Design, load: Load, supply: float) -> Path:
    """The way to a load with the limit that the file states, less what all others draw; else with what the rating gives it."""
    limit, volts = design.converter.limit, design.converter.output_voltage
    if limit is None:
        return path_to(design, load, supply)
    others = sum(float(other.draws(volts, 1.0)) for other in design.loads if other is not load)
    most, back = float(limit.current.value) - others, limit.short_circuit_current
    on = float(limit.hiccup_on.value) if limit.hiccups else math.inf
    return replace(
        path_to(design, load, max(most, LEAST)), back=math.inf if back is None else max(back - others, LEAST), on=on
    )


def _branch(bank: Bank | None) -> Branch:
    henries, ohms = BANK_LEAD
    return (
        Branch(USUAL, 2 * ohms, henries) if bank is None else Branch(bank.capacitance, bank.resistance + ohms, henries)
    )


def _least(step: float, path: Path, sag: float) -> float:
    """The least capacitance at the load's end [F] for this lead, with the ESR that is there; inf for none."""
    if stiff_dip(step, path.lead, replace(path.load, farads=1.0)) > sag:
        return math.inf
    low, high = -9.0, 0.0
    for _ in range(40):
        middle = (low + high) / 2
        enough = stiff_dip(step, path.lead, replace(path.load, farads=10**middle)) <= sag
        low, high = (low, middle) if enough else (middle, high)
    return float(10**high)


def _longest(step: float, path: Path, sag: float) -> float:
    """The largest lead inductance [H] at which the load's own capacitor keeps the voltage up; 0 for none."""
    low, high = -10.0, 0.0
    if stiff_dip(step, (path.lead[0], 10**low), path.load) > sag:
        return 0.0
    for _ in range(40):
        middle = (low + high) / 2
        kept = stiff_dip(step, (path.lead[0], 10**middle), path.load) <= sag
        low, high = (middle, high) if kept else (low, middle)
    return float(10**low)


def _input(design: Design, load: Load, idle: float, supply: float) -> tuple[float, float]:
    """The battery at its lowest [V], and the lowest voltage at the converter's input when a burst starts; nan: not known."""
    converter, side = design.converter, design.battery_side
    known = side.battery.volts(converter)
    if known is None:
        return math.nan, math.nan
    volts, ohms, henries = known.low, float(side.resistance), float(side.inductance)
    watts = [
        converter.output_voltage * amperes / float(converter.efficiency.value)
        for amperes in (
            float(load.draws(converter.output_voltage, idle)),
            min(float(load.draws(converter.output_voltage, 1.0)), supply),
        )
    ]
    if volts**2 <= 4 * ohms * watts[1]:
        return volts, 0.0
    amperes = (volts - math.sqrt(volts**2 - 4 * ohms * watts[0])) / (2 * ohms)
    box = design.input_side or InputSide()
    circuit = PiecewiseCircuit().voltage_source("battery", "battery", "0", [(0.0, volts)])
    circuit.resistor("R", "battery", "x", ohms).inductor("L", "x", "input", max(henries, 1e-10))
    circuit.capacitor("C", "input", "e", float(box.capacitance.value)).resistor("E", "e", "0", float(box.esr.value))
    circuit.bend("draw", "input", "0", constant_power(watts[1], 0.3 * volts, 1.5 * volts, PIECES))
    run = course(circuit, LONGEST, most=MOST, start={"L": amperes, "C": volts - ohms * amperes})
    return volts, -run.peak(("0", "input"))[0]
