"""From the loads back to the battery: current, energy and run time; wire, fuse and switch against the rule that binds each."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator

from filterlib.analysis.bench.bench_safety import FUSE_MARGIN
from filterlib.analysis.supply.reflected import reflected
from filterlib.analysis.supply.rules import Check, check
from filterlib.analysis.supply.supply_result import BatteryRun, PointDraw
from filterlib.analysis.supply.wires import AMPACITY_SOURCE, FUSE_SOURCES, ampacity, least_gauge, opens_within
from filterlib.errors import FilterlibError
from filterlib.system.design import Design
from filterlib.system.line.battery_side import BatterySide
from filterlib.system.ranges.ranged import Ranged
from filterlib.system.solution import Solution

__all__ = ["battery_run", "line_current"]
DAY = 86400.0
_LIMITED = (
    ("state battery.ripple_limit to judge it; conducted emission has limits of its own", "none"),
    ("ripple limit of the battery's line", "the design file"),
)


def line_current(watts: float, volts: float, ohms: float) -> float:
    """Current [A] that a constant power takes of a battery of ``volts`` behind ``ohms``; NaN where the line cannot deliver it.

    >>> round(line_current(96.0, 24.0, 0.25), 6), line_current(600.0, 24.0, 0.25)     # by hand: E I - R I^2 = P
    (4.182195, nan)
    """
    inside = volts**2 - 4 * ohms * watts
    return 2 * watts / (volts + math.sqrt(inside)) if inside >= 0 else math.nan


def battery_run(solutions: Iterable[Solution]) -> BatteryRun:
    """What a design, solved at its operating points, takes of its battery, and what wire, fuse and switch make of it.

    Returns: BatteryRun in SI units.
    Raises: FilterlibError where no voltage of the battery is known.
    """
    solved = tuple(solutions)
    design = solved[0].design
    side, volts = design.battery_side, design.battery_side.battery.volts(design.converter)
    if volts is None:
        raise FilterlibError("battery.voltage: missing: currents follow from it; state it, or converter.input_voltage")
    at, lowest, efficiency = float(volts.value), volts.low, design.converter.efficiency
    powers = [float(one.state.terminal_voltage * one.state.converter_current) for one in solved]
    ohms = float(side.resistance)
    full = min(max(design.full_current * design.converter.output_voltage, *powers), _let_through(design))

    def taken(power: float, battery: float) -> float:
        """Power at the converter's input [W]."""
        share = power / full if full else 0.0
        return power / min(float(efficiency.value) * design.converter.efficiency_ratio(share, battery), 1.0)

    draws = tuple(
        PointDraw(one.point, power, *(line_current(taken(power, battery), battery, ohms) for battery in (at, lowest)))
        for one, power in zip(solved, powers, strict=True)
    )
    currents = _over(full / design.converter.efficiency_ratio(1.0, lowest), efficiency, volts, side)
    mean = _mean(design, solved, powers, lambda power: taken(power, at))
    runs = _runs(side, at, mean)
    gauge = _gauge(side, currents[0], lowest)
    return BatteryRun(
        draws, at, lowest, currents[0], currents[0] * ohms, mean, mean * DAY, *runs, gauge,
        tuple(_checks(design, currents, lowest)),
    )  # fmt: skip


def _let_through(design: Design) -> float:
    """The most that the converter's limit lets through [W], at the high end of its range; inf where none is stated."""
    limit = design.converter.limit
    return math.inf if limit is None else limit.current.high * design.converter.output_voltage


def _over(full: float, efficiency: Ranged, volts: Ranged, side: BatterySide) -> tuple[float, float, float]:
    """The largest current at the lowest voltage [A]: nominal, and at the two ends of efficiency and resistance."""
    high, low = (
        side.at(
            {
                f"{key}.resistance": getattr(getattr(side, name).resistance, end)
                for key, name in (("battery", "battery"), ("fuse", "fuse"), ("switch", "switch"))
            }
        )
        for end in ("high", "low")
    )
    return (
        line_current(full / float(efficiency.value), volts.low, float(side.resistance)),
        line_current(full / efficiency.low, volts.low, float(high.resistance)),
        line_current(full / efficiency.high, volts.low, float(low.resistance)),
    )


def _mean(design: Design, solved: tuple[Solution, ...], powers: list[float], taken: Callable[[float], float]) -> float:
    """Mean power at the input [W]: over the points' shares of time, else over the loads' bursts; NaN where nothing says it."""
    shares = [design.point(one.point).share_of_time for one in solved]
    known = [(share, power) for share, power in zip(shares, powers, strict=True) if share is not None]
    if len(known) == len(powers):
        return sum(share * taken(power) for share, power in known) / max(sum(share for share, _ in known), 1e-12)
    if any(load.profile is not None for load in design.loads):
        return _over_bursts(design, taken)
    return taken(powers[0]) if len(powers) == 1 else math.nan


def _over_bursts(design: Design, taken: Callable[[float], float]) -> float:
    """Of loads that burst at times of their own: every one beside the mean of the others."""
    volts = design.converter.output_voltage
    steady = {
        load.name: volts * float(load.draws(volts, load.profile.mean if load.profile else 1.0)) for load in design.loads
    }
    whole = sum(steady.values())
    mean = taken(whole)
    for load in design.loads:
        if load.profile is not None:
            rest, share = whole - steady[load.name], load.profile.burst / load.profile.period
            full, idle = (volts * float(load.draws(volts, scale)) for scale in (1.0, load.profile.idle))
            mean += share * taken(rest + full) + (1 - share) * taken(rest + idle) - taken(whole)
    return mean


def _runs(side: BatterySide, volts: float, mean: float) -> tuple[float, float]:
    """Run time [s], nominal and at the least usable share of the capacity; NaN where no capacity is stated, or nothing drawn."""
    if side.battery.capacity is None or not mean:
        return math.nan, math.nan
    energy = side.battery.capacity * volts
    return energy * float(side.battery.usable.value) / mean, energy * side.battery.usable.low / mean


def _gauge(side: BatterySide, current: float, lowest: float) -> float:
    """The thinnest wire that will do; NaN where none will, or where nothing is drawn."""
    found = (
        least_gauge(current, float(side.wire.length.value), side.wire.drop * lowest, hot=_hot(side))
        if current > 0
        else None
    )
    return math.nan if found is None else float(found)


def _hot(side: BatterySide) -> bool:
    return side.wire.place == "engine_space"


def _checks(design: Design, currents: tuple[float, float, float], lowest: float) -> Iterator[Check]:
    side = design.battery_side
    amps = [math.inf if math.isnan(one) else one for one in currents]
    yield check(
        "battery.delivers",
        "battery and its line",
        "largest current",
        "A",
        amps,
        lowest / (2 * float(side.resistance)),
        "the most that can be drawn: V / (2 R)",
        "largest power from a source with a resistance",
    )
    ripple = reflected(design, lowest)
    yield check(
        "battery.ripple",
        "battery and its line",
        "ripple current at the switching frequency, peak to peak",
        "A",
        (ripple.peak_to_peak, ripple.low, ripple.high),
        side.battery.ripple_limit,
        *_LIMITED[side.battery.ripple_limit is not None],
    )
    if _wire_known(side):
        yield from _of_wire(side, amps, lowest)
    if side.fuse.rated_current is not None:
        yield from _of_fuse(design, side, side.fuse.rated_current, amps)
    yield from _of_switch(design, side, amps)


def _of_wire(side: BatterySide, amps: list[float], lowest: float) -> Iterator[Check]:
    lost = [float(side.wire.resistance()) * one / lowest for one in amps]
    yield check(
        "wire.drop",
        "supply wire",
        "voltage lost there and back",
        "",
        lost,
        side.wire.drop,
        "share of the battery's lowest voltage",
        "3 % for electronics (ABYC E-11, a dealer's table)",
    )
    bears = ampacity(float(side.wire.cross_section.value), hot=_hot(side))
    yield check("wire.current", "supply wire", "largest current", "A", amps, bears, "ampacity", AMPACITY_SOURCE)


def _of_fuse(design: Design, side: BatterySide, rated: float, amps: list[float]) -> Iterator[Check]:
    yield from _fuse_under_load(design, side, rated, amps)
    if _wire_known(side):
        bears, what = (
            ampacity(float(side.wire.cross_section.value), hot=_hot(side)),
            "ampacity of the wire that it protects",
        )
        yield check("fuse.wire", "fuse", "rated current", "A", [rated], bears, what, AMPACITY_SOURCE)
    if side.fuse.rated_voltage is not None:
        volts, what = _battery_volts(design, side), "DC voltage that it interrupts"
        yield check(
            "fuse.voltage", "fuse", "battery voltage", "V", volts, side.fuse.rated_voltage, what, "the design file"
        )


def _fuse_under_load(design: Design, side: BatterySide, rated: float, amps: list[float]) -> Iterator[Check]:
    """Steady loads against what it bears for ever; bursts above its rating against the least time in which it opens."""
    bursts = [load.profile.burst for load in design.loads if load.profile is not None]
    most = max((one for one in amps if math.isfinite(one)), default=0.0)
    if not bursts:
        what, source = "80 % of its rated current, for ever", "common practice, no source"
        yield check("fuse.load", "fuse", "largest current", "A", amps, rated / FUSE_MARGIN, what, source)
    elif most > rated:
        least, _ = opens_within(side.fuse.kind, most / rated, rated)
        what = f"the least time in which it opens at {most / rated:.2g} times its rated current"
        source = FUSE_SOURCES[side.fuse.kind]
        yield check("fuse.burst", "fuse", "length of a burst", "s", [max(bursts)], least, what, source)


def _wire_known(side: BatterySide) -> bool:
    return side.wire.cross_section.stated or side.wire.awg is not None


def _battery_volts(design: Design, side: BatterySide) -> list[float]:
    """Nominal, lowest and highest voltage of the battery [V]; NaN where it is not known."""
    volts = side.battery.volts(design.converter)
    return [float(volts.value), volts.low, volts.high] if volts else [math.nan]


def _of_switch(design: Design, side: BatterySide, amps: list[float]) -> Iterator[Check]:
    switch = side.switch
    if switch.rated_current is not None:
        yield check(
            "switch.current",
            "switch",
            "largest current",
            "A",
            [one / switch.count for one in amps],
            switch.rated_current,
            "rated current of each",
            "the design file",
        )
    if switch.kind == "transistor" and switch.avalanche_energy is not None:
        energies = [
            float(one) * current**2 / 2
            for one, current in zip((side.inductance, _most_henries(side), side.inductance), amps, strict=True)
        ]
        yield check(
            "switch.avalanche",
            "switch",
            "energy of the line when it opens",
            "J",
            energies,
            switch.avalanche_energy,
            "single avalanche pulse",
            "the design file",
        )
    if switch.rated_voltage is not None and side.battery.volts(design.converter) is not None:
        volts, what = _battery_volts(design, side), "rated voltage"
        yield check(
            "switch.voltage", "switch", "battery voltage", "V", volts, switch.rated_voltage, what, "the design file"
        )


def _most_henries(side: BatterySide) -> float:
    return side.wire.inductance.high + side.battery.inductance.high
