"""What a design file asks of the chassis, judged on the file's own values: that there is one, and what may reach it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from filterlib.errors import Problem, QuantityError
from filterlib.system.inside.ways import HAZARDOUS
from filterlib.system.model import Given, read
from filterlib.units import format_quantity, quantity

CLASSES = ("Y1", "Y2")
_NO_CHASSIS = "there is no chassis (chassis = false)"
_PARALLEL = {  # what of the converter asks for a chassis: why it cannot be without one
    "common_mode": "the switching node's swing drives no current where no way leads back",
    "bond": "nothing to be bonded to",
    "bridge": "what crosses the isolation has no way back",
    "supply": "the battery's pole has nothing to be bonded to",
}


def to_chassis(
    fields: Given, stages: Sequence[object], loads: Sequence[object], points: Sequence[object]
) -> Iterator[Problem]:
    """What asks for a chassis that is not there; capacitors to it without a safety class on a hazardous voltage."""
    converter = fields.get("converter")
    if fields.get("chassis", fields.get("has_chassis", True)) is False:
        yield from _without_chassis(fields, converter, stages, loads)
    yield from _without_class(converter, stages, loads, points)


def _without_chassis(
    fields: Given, converter: object, stages: Sequence[object], loads: Sequence[object]
) -> Iterator[Problem]:
    for number, stage in enumerate(stages, 1):
        if read(stage, "kind") == "capacitor_to_chassis":
            why = f"{_NO_CHASSIS}: a plastic box has no place for Y capacitors; leave the stage out, or the key chassis"
            yield Problem("", f"filter[{number}].kind", "capacitor_to_chassis", why)
        yield from _plane(f"filter[{number}].part", read(stage, "part"))
    for key, why in _PARALLEL.items():
        if read(converter, key) is not None:
            yield Problem("", f"converter.{key}", None, f"{_NO_CHASSIS}: {why}; leave it out, or the key chassis")
    for number, load in enumerate(loads, 1):
        if read(load, "bond") is not None:
            why = f"{_NO_CHASSIS}: nothing to be bonded to; leave it out, or the key chassis"
            yield Problem("", f"load[{number}].bond", None, why)
        stray = read(load, "stray_capacitance")
        if stray is not None and getattr(stray, "stated", True):
            why = f"{_NO_CHASSIS}: nothing that a capacitance could reach; leave it out, or the key chassis"
            yield Problem("", f"load[{number}].stray_capacitance", None, why)
        yield from _plane(f"load[{number}].lead", read(load, "lead"))
    if fields.get("clip") is not None:
        why = f"{_NO_CHASSIS}: an earthed oscilloscope needs an earth that the design knows; leave one of the two out"
        yield Problem("", "clip", None, why)


def _plane(key: str, pair: object) -> Iterator[Problem]:
    for name in ("height", "chassis_capacitance"):
        if read(pair, name) is not None:
            why = f"{_NO_CHASSIS}: no plane under the wires; leave it out, or the key chassis"
            yield Problem("", f"{key}.{name}", None, why)


def _without_class(
    converter: object, stages: Sequence[object], loads: Sequence[object], points: Sequence[object]
) -> Iterator[Problem]:
    output, supply = _volts(converter, "output_voltage"), _volts(converter, "input_voltage")
    supply = max([supply, *(_volts(point, "input_voltage") for point in points)])
    lines = output if read(converter, "isolated") is True else max(output, supply)
    for number, stage in enumerate(stages, 1):
        if read(stage, "kind") == "capacitor_to_chassis":
            part = read(stage, "part")
            yield from _unsafe(f"filter[{number}].part", part, lines, name=read(part, "name"))
    bonds = {"converter.bond": (read(converter, "bond"), lines), "converter.supply.bond": (read(converter, "supply", "bond"), supply),
             "converter.bridge": (read(converter, "bridge"), max(output, supply))}  # fmt: skip
    bonds |= {f"load[{number}].bond": (read(load, "bond"), lines) for number, load in enumerate(loads, 1)}
    for key, (bond, volts) in bonds.items():
        if read(bond, "capacitance") is not None:
            yield from _unsafe(f"{key}.safety_class", bond, volts)


def _unsafe(key: str, part: object, volts: float, *, name: str | None = None) -> Iterator[Problem]:
    """A capacitor whose failure would put a hazardous voltage on the chassis, or across an isolation."""
    safety_class = read(part, "safety_class")
    if volts <= HAZARDOUS or safety_class in CLASSES or part is None or isinstance(part, str):
        return
    yield Problem(
        "", key, safety_class or name or None,
        f"on {format_quantity(volts, 'V')} a capacitor to the chassis or across an isolation must be of safety class "
        f"{' or '.join(CLASSES)} (IEC 60384-14): above {format_quantity(HAZARDOUS, 'V')} DC one that breaks down makes "
        "what people touch dangerous; local codes and a licensed person have the last word",
    )  # fmt: skip


def _volts(item: object, key: str) -> float:
    """A voltage as the file has it [V]; 0 where there is none or it cannot be read: that is said elsewhere."""
    volts = read(item, key)
    try:
        return 0.0 if volts is None else quantity(volts, "V")
    except QuantityError:
        return 0.0
