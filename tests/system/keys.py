"""The keys of a design file as its models have them: unit, default and range of each, as the note on them writes it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from filterlib.parts.base import Quantity
from filterlib.system import requirements
from filterlib.system.accepted import AcceptedRating
from filterlib.system.burst import Burst
from filterlib.system.chassis import Bond, CommonMode, NodeRing, Supply
from filterlib.system.clip import Clip
from filterlib.system.converter import (
    Bandwidth,
    Converter,
    FixtureCapacitor,
    Ripple,
    Spike,
    WithCapacitor,
)
from filterlib.system.couplings import Coupling
from filterlib.system.design import Design
from filterlib.system.emission import EmissionEstimate
from filterlib.system.input_side import InputSide
from filterlib.system.load import InputCapacitor, Load, ReflectedRipple
from filterlib.system.ranged import Ranged, RangedQuantity
from filterlib.system.rating import ConverterRating
from filterlib.system.requirements import OperatingPoint
from filterlib.system.stages import KINDS
from filterlib.units import format_quantity, format_temperature

REQUIREMENTS = {
    "ripple": requirements.RippleRequirement,
    "spike": requirements.SpikeRequirement,
    "voltage": requirements.VoltageRequirement,
    "drop": requirements.DropRequirement,
    "step": requirements.StepRequirement,
    "emission": requirements.EmissionRequirement,
}
SECTIONS: dict[str, type[BaseModel]] = {
    "The file itself": Design,
    "`[converter]`": Converter,
    "`[converter.ripple]`": Ripple,
    "`with_capacitor` of `[converter.ripple]`": WithCapacitor,
    "`[converter.spike]`": Spike,
    "`[converter.rating]`": ConverterRating,
    "`[converter.burst]`": Burst,
    "`capacitors` of ripple and spike": FixtureCapacitor,
    "`[converter.common_mode]`": CommonMode,
    "`ring` of `[converter.common_mode]`": NodeRing,
    "`[converter.supply]`": Supply,
    "`bond` of battery, converter, load and capacitors, and `bridge`": Bond,
    **{f'`[[filter]]` with `kind = "{kind}"`': stage for kind, stage in KINDS.items()},
    "`[[load]]`": Load,
    "`input_capacitor` of a load": InputCapacitor,
    "`ripple` of a load": ReflectedRipple,
    "`[[operating_point]]`": OperatingPoint,
    **{f'`[[requirement]]` with `kind = "{kind}"`': wanted for kind, wanted in REQUIREMENTS.items()},
    "`[[emission]]`": EmissionEstimate,
    "`[input_side]`": InputSide,
    "`[[coupling]]`": Coupling,
    "`[[accepted]]`": AcceptedRating,
    "`[clip]`": Clip,
}
"""Heading in the note -> model."""


def rows(model: type[BaseModel]) -> Iterator[tuple[str, str, str, str]]:
    """Key, unit, default and range of each field, as text."""
    for name, field in model.model_fields.items():
        found = list(marks(field))
        mark = next((m for m in found if isinstance(m, Quantity | RangedQuantity | Bandwidth)), None)
        unit = "Hz" if isinstance(mark, Bandwidth) else getattr(mark, "unit", None)
        default = '"full"' if isinstance(mark, Bandwidth) and field.default is None else written_default(field, unit)
        yield f"`{field.alias or name}`", written_unit(unit, field), default, written_range(mark, field, found)


def marks(field: Any) -> Iterator[Any]:
    """What annotates a field, also inside "or None" and inside a table of such values."""
    for mark in (
        *field.metadata,
        *(m for inner in get_args(field.annotation) for m in getattr(inner, "__metadata__", ())),
    ):
        yield from mark.metadata if isinstance(mark, FieldInfo) else [mark]


def written_unit(unit: str | None, field: Any) -> str:
    """Unit, or the kind of value."""
    if unit is not None:
        return {"": "ratio", "ohm": "Ω", "K": "°C or K"}.get(unit, unit)
    held = (
        field.annotation,
        *(get_args(inner)[0] for inner in get_args(field.annotation) if hasattr(inner, "__metadata__")),
    )
    return next(
        (word for kind, word in ((str, "text"), (bool, "true or false"), (int, "whole number")) if kind in held), "-"
    )


def written_default(field: Any, unit: str | None) -> str:
    """What stands where the file says nothing."""
    if field.is_required():
        return "**needed**"
    if field.default_factory is not None:
        return "see below" if field.default_factory_takes_validated_data else _shown(field.default_factory(), unit)
    return _shown(field.default, unit)


def _shown(value: Any, unit: str | None) -> str:
    if isinstance(value, Ranged):
        return f"{_shown(value.value, unit)} ({_shown(value.low, unit)} to {_shown(value.high, unit)})"
    if value is None or value in ("", (), {}):
        return "-"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return str(value) if unit is None else _quantity(value, unit)
    if isinstance(value, BaseModel):
        return "a strap"
    return f'"{value}"' if isinstance(value, str) else "one at full load"


def _quantity(value: float, unit: str) -> str:
    return format_temperature(value) if unit == "K" else format_quantity(value, unit)


def written_range(mark: Any, field: Any, found: list[Any]) -> str:
    """What the key may hold."""
    if isinstance(mark, Bandwidth):
        return '1 kHz to 100 GHz, or "full"'
    kinds = (field.annotation, *get_args(field.annotation))
    choices = [choice for kind in kinds if get_origin(kind) is Literal for choice in get_args(kind)]
    if choices:
        return ", ".join(f'"{choice}"' if isinstance(choice, str) else str(choice) for choice in choices)
    limits = [str(getattr(m, key)) for key in ("ge", "le") for m in found if getattr(m, key, None) is not None]
    if mark is None:
        return " to ".join(limits) or "-"
    low, above = mark.low, getattr(mark, "above", None)
    start = _quantity(low, mark.unit) if low is not None else f"above {_quantity(above, mark.unit)}"
    return f"{start} to {_quantity(mark.high, mark.unit)}"
