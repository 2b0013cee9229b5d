"""What is wrong between the parts of a design file: names, references, couplings; judged on the file's own values.

These checks read what the file says and not what it became, so that they run although something else is wrong:
everything is said at once.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import cast

from filterlib.errors import FilterlibError, InputError, Problem, did_you_mean
from filterlib.system.file.accepted import without_rating
from filterlib.system.line.conductors import to_chassis
from filterlib.system.line.couplings import Coupling, loops, possible
from filterlib.system.line.stages import KINDS, Damping, ShuntCapacitor, Stage
from filterlib.system.model import Given, is_name, read
from filterlib.system.ranges.ranged import RangedQuantity
from filterlib.system.sense.twice import said_twice
from filterlib.units import format_quantity, quantity

RESERVED = (
    "chassis", "clip", "common_mode", "converter", "insulation", "link", "load", "measured", "probe", "regulated",
    "ripple", "spike", "terminals", "tip_on_clip",
)  # fmt: skip
"""Names that the circuit or the results use themselves; so are "stage1" ..., and all that end in "_before"."""

_ROUNDED = 0.005  # by which shares may miss their sum, each rounded to a percent


def named(stages: Sequence[object]) -> list[object]:
    """Stages as the file has them, each without a name given the next free one of its kind: C1, C2, L1 ..."""
    taken = {name for stage in stages if isinstance(name := read(stage, "name"), str)}
    counts: Counter[str] = Counter()
    done = []
    for stage in stages:
        prefix = _prefix(stage)
        if prefix and not ("name" in stage if isinstance(stage, Mapping) else read(stage, "name")):
            counts[prefix] += 1
            while f"{prefix}{counts[prefix]}" in taken:
                counts[prefix] += 1
            name = f"{prefix}{counts[prefix]}"
            stage = {**stage, "name": name} if isinstance(stage, Mapping) else cast(Stage, stage).replace(name=name)
        done.append(stage)
    return done


def problems_across(fields: Given) -> Iterator[Problem]:
    """Everything that concerns more than one entry of a design file."""
    stages = named(_entries(fields, "filter"))
    loads = _entries(fields, "load", "loads")
    points = _entries(fields, "operating_point", "operating_points")
    yield from _names([*_numbered("filter", stages), *_numbered("load", loads)])
    yield from _duplicates(_numbered("operating_point", points), "")
    yield from _inputs(fields.get("converter"), points)
    yield from _sags(fields.get("converter"), loads)
    yield from _no_input(fields)
    yield from _battery_side(fields, loads)
    yield from _idle_beyond_limit(fields.get("converter"), loads)
    yield from _shares_of_time(points)
    yield from said_twice(_entries(fields, "requirement", "requirements"), _entries(fields, "emission", "emissions"))
    yield from to_chassis(fields, stages, loads, points)
    yield from without_rating(_entries(fields, "accepted"), stages, loads, fields.get("converter"))
    known = [read(load, "name") for load in loads]
    if known and all(map(is_name, known)):
        yield from _unknown_loads(_entries(fields, "requirement", "requirements"), points, known)
        yield from _no_such_place(read(fields.get("clip"), "place"), ["terminals", *known])
    if all(_prefix(stage) and is_name(read(stage, "name")) for stage in stages):
        yield from _couplings(_entries(fields, "coupling", "couplings"), stages)


def _entries(fields: Given, *keys: str) -> Sequence[object]:
    entries = next((fields[key] for key in keys if key in fields), ())
    return entries if isinstance(entries, list | tuple) else ()


def _prefix(stage: object) -> str:
    """Letter of a stage's kind, "" where that is unknown."""
    kind = read(stage, "kind")
    return KINDS[kind].prefix if isinstance(kind, str) and kind in KINDS else ""


def _numbered(key: str, items: Sequence[object]) -> list[tuple[str, str]]:
    """Key in the file and name, of those whose name is text."""
    named_ones = ((f"{key}[{number}].name", read(item, "name")) for number, item in enumerate(items, 1))
    return [(place, name) for place, name in named_ones if isinstance(name, str)]


def _names(names: list[tuple[str, str]]) -> Iterator[Problem]:
    yield from _duplicates(names, " among the filter's stages and the loads")
    for key, name in names:
        if name in RESERVED or re.fullmatch(r"stage[0-9]+|.*_before", name):
            why = f'this name is taken by the program; so are {", ".join(RESERVED)}, "stage1" and "..._before"'
            yield Problem("", key, name, why)


def _duplicates(names: list[tuple[str, str]], where: str) -> Iterator[Problem]:
    seen = Counter(name for _, name in names)
    for key, name in names:
        if seen[name] > 1:
            yield Problem("", key, name, f"this name is used more than once{where}; each needs its own")


def _unknown_loads(requirements: Sequence[object], points: Sequence[object], known: list[str]) -> Iterator[Problem]:
    for number, wanted in enumerate(requirements, 1):
        name = read(wanted, "load")
        if isinstance(name, str) and name not in known and read(wanted, "kind") != "emission":  # which is at a line
            yield Problem("", f"requirement[{number}].load", name, f"no such load; {did_you_mean(name, known)}")
    for number, point in enumerate(points, 1):
        shares = read(point, "loads")
        for name in shares if isinstance(shares, Mapping) else ():
            if name not in known:
                key = f"operating_point[{number}].loads." + (name or '""')
                yield Problem("", key, shares[name], f"no such load; {did_you_mean(name, known)}")


def _no_such_place(place: object, places: list[str]) -> Iterator[Problem]:
    if isinstance(place, str) and place not in places:
        yield Problem("", "clip.place", place, f"no such place; {did_you_mean(place, places)}")


def _inputs(converter: object, points: Sequence[object]) -> Iterator[Problem]:
    """Another input voltage says something only where the converter's own is known."""
    for number, point in enumerate(points, 1):
        voltage = read(point, "input_voltage")
        if voltage is not None and converter is not None and read(converter, "input_voltage") is None:
            why = "state converter.input_voltage too, at which the ripple was measured"
            yield Problem("", f"operating_point[{number}].input_voltage", voltage, why)


def _sags(converter: object, loads: Sequence[object]) -> Iterator[Problem]:
    """The lowest voltage of a burst is below what the converter gives."""
    volts = _number(read(converter, "output_voltage"), "V") if converter is not None else 0.0
    for number, load in enumerate(loads, 1):
        lowest = read(read(load, "profile"), "lowest_voltage")
        if volts and _number(lowest, "V") >= volts:
            why = f"below the converter's {volts:g} V is right: the difference is the sag that a burst is allowed"
            yield Problem("", f"load[{number}].profile.lowest_voltage", lowest, why)


def _shares_of_time(points: Sequence[object]) -> Iterator[Problem]:
    """No more than all of the time."""
    shares = [_number(read(point, "share_of_time"), "") for point in points]
    whole = sum(shares)
    if whole > 1 + _ROUNDED:
        number = next(n for n in range(len(shares), 0, -1) if shares[n - 1])
        why = f"the shares of time of all operating points add to {100 * whole:.4g} %, and 100 % is all there is"
        yield Problem("", f"operating_point[{number}].share_of_time", read(points[number - 1], "share_of_time"), why)


def _number(raw: object, unit: str) -> float:
    """A quantity as a file has it; 0 where it cannot be read, which is said elsewhere."""
    try:
        return 0.0 if raw is None else quantity(raw, unit)
    except FilterlibError:
        return 0.0


def _no_input(fields: Given) -> Iterator[Problem]:
    """Emission at the input is estimated from the current that is drawn there, and that from the input voltage."""
    wanted = [one for one in _entries(fields, "requirement", "requirements") if read(one, "kind") == "emission"]
    estimated = any(read(one, "side") == "input" for one in (*wanted, *_entries(fields, "emission", "emissions")))
    converter = fields.get("converter")
    known = read(fields.get("input_side"), "ripple_current") is not None
    needed = read(converter, "isolated") or read(converter, "shape") != "triangle"
    if estimated and converter is not None and needed and not known and read(converter, "input_voltage") is None:
        why = "missing: emission at the input is estimated from it; state it, or the ripple_current of [input_side]"
        yield Problem("", "converter.input_voltage", None, why)


def _battery_side(fields: Given, loads: Sequence[object]) -> Iterator[Problem]:
    """A battery of no voltage, or of one that the converter is not stated at; a fuse that cannot carry what the loads take."""
    battery, converter = fields.get("battery"), fields.get("converter")
    volts = _ends(read(battery, "voltage")) or _ends(read(converter, "input_voltage"))
    sides = [key for key in ("battery", "supply_wire", "fuse", "switch") if fields.get(key) is not None]
    if sides and converter is not None and volts is None and read(battery, "voltage") is None:
        why = f"missing: nothing says at which voltage [{sides[0]}] feeds the converter; state it, or converter.input_voltage"
        yield Problem("", "battery.voltage", None, why)
    rated = _number(read(fields.get("fuse"), "rated_current"), "A")
    if volts is None or not rated:
        return
    least = sum(_mean_power(load, _number(read(converter, "output_voltage"), "V")) for load in loads) / volts[1]
    if rated < least:
        drawn = f"{format_quantity(least, 'A')} at {format_quantity(volts[1], 'V')}, without any loss"
        why = f"less than the loads draw from the battery on average, {drawn}: it would blow; a fuse above that, and a wire that carries it, is right"
        yield Problem("", "fuse.rated_current", read(fields.get("fuse"), "rated_current"), why)


def _idle_beyond_limit(converter: object, loads: Sequence[object]) -> Iterator[Problem]:
    """A current limit below what loads with bursts draw between them: no bank would ever be full again."""
    limit, volts = read(read(converter, "limit"), "current"), _number(read(converter, "output_voltage"), "V")
    most = _ends(limit, "A")
    bursting = [load for load in loads if read(load, "profile") is not None]
    idle = sum(_draws(load, volts) * _number(read(read(load, "profile"), "idle"), "") for load in bursting)
    if most is not None and volts and most[1] * volts < idle:
        drawn = f"{format_quantity(idle / volts, 'A')} at {format_quantity(volts, 'V')}"
        why = f"less than the loads draw between their bursts, {drawn}: the output cannot come up; a limit above that is right"
        yield Problem("", "converter.limit.current", limit, why)


def _ends(raw: object, unit: str = "V") -> tuple[float, float] | None:
    """The lowest and highest of a value with a range as a file has it; None where it cannot be read."""
    try:
        found = RangedQuantity(unit, above=0).parse(raw)
    except FilterlibError:
        return None
    return found.low, found.high


def _mean_power(load: object, volts: float) -> float:
    """What a load draws on average [W] at the output voltage, as the file has it; 0 where that cannot be read."""
    profile = read(load, "profile")
    burst, period = (_number(read(profile, key), "s") for key in ("burst", "period"))
    idle = _number(read(profile, "idle"), "") if profile is not None else 1.0
    share = idle + (1 - idle) * burst / period if 0 < burst < period else idle
    return share * _draws(load, volts)


def _draws(load: object, volts: float) -> float:
    """What a load draws at full [W]."""
    power, current = _number(read(load, "power"), "W"), _number(read(load, "current"), "A")
    ohms = _number(read(load, "resistance"), "ohm")
    return power + current * volts + (volts**2 / ohms if ohms else 0.0)


def _couplings(couplings: Sequence[object], stages: Sequence[object]) -> Iterator[Problem]:
    """Loops that do not exist, couple to themselves or twice, or more closely than is possible."""
    names = [read(stage, "name") for stage in stages if read(stage, "kind") in ("capacitor", "damping")]
    seen: dict[frozenset[str], int] = {}
    for number, coupling in enumerate(couplings, 1):
        ends = [(end, read(coupling, end)) for end in ("first", "second")]
        for end, name in ends:
            if isinstance(name, str) and name not in names:
                why = f"no such capacitor between the lines; {did_you_mean(name, names)}"
                yield Problem("", f"coupling[{number}].{end}", name, why)
        (_, first), (_, second) = ends
        if not isinstance(first, str) or not isinstance(second, str):
            continue
        earlier = seen.setdefault(frozenset((first, second)), number)
        if first == second:
            yield Problem("", f"coupling[{number}].second", second, "a loop does not couple to itself")
        elif earlier != number:
            yield Problem(
                "", f"coupling[{number}].second", second, f"this pair is stated already, in coupling[{earlier}]"
            )
    yield from _impossible(couplings, stages)


def _impossible(couplings: Sequence[object], stages: Sequence[object]) -> Iterator[Problem]:
    inductances = loops([stage for raw in stages if (stage := _stage(raw)) is not None])
    valid: list[Coupling] = []
    for number, raw in enumerate(couplings, 1):
        coupling = _coupling(raw)
        if (
            coupling is None
            or coupling.first == coupling.second
            or not {coupling.first, coupling.second} <= set(inductances)
        ):
            continue
        if possible([coupling], inductances):
            valid.append(coupling)
        else:
            why = "more than the geometric mean of the two loops' inductances: no such coupling exists"
            yield Problem("", f"coupling[{number}].mutual", read(raw, "mutual"), why)
    if len(valid) > 1 and not possible(valid, inductances):
        why = "each of these couplings could be, all together cannot: the loops would store negative energy"
        yield Problem("", "coupling", None, f"{why}; state less")


def _stage(raw: object) -> Stage | None:
    """The stage as an object where it can be made, else None: what is wrong with it is said elsewhere."""
    if not isinstance(raw, Mapping) or read(raw, "kind") not in ("capacitor", "damping"):
        return raw if isinstance(raw, ShuntCapacitor | Damping) else None
    try:
        return KINDS[raw["kind"]](**raw)
    except FilterlibError:
        return None


def _coupling(raw: object) -> Coupling | None:
    if isinstance(raw, Coupling) or not isinstance(raw, Mapping):
        return raw if isinstance(raw, Coupling) else None
    try:
        return Coupling(**raw)
    except InputError:
        return None
