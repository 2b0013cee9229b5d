"""One row for each key of a design file: what it is, unit, default, range and example, as its model has them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from filterlib.errors import QuantityError
from filterlib.parts.base import Assumed, Curve, Part, Quantity
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.wire import WirePair
from filterlib.show.keys.key_sections import words_of
from filterlib.system.design import Design
from filterlib.system.file.files import MOST
from filterlib.system.inside.arrangement import Bandwidth
from filterlib.system.inside.burst import LoadThresholdField
from filterlib.system.inside.recorded import RecordingField
from filterlib.system.inside.ways import Bond
from filterlib.system.ranges.ranged import Ranged, RangedQuantity
from filterlib.units import format_quantity, format_temperature

NEEDED = "needed"
_BY_UNIT = {
    "V": "28 V", "A": "3 A", "W": "35 W", "Hz": "180 kHz", "F": "22 µF", "ohm": "20 mΩ", "H": "10 nH", "s": "30 ns", "": "20 %",
    "K": "25 °C", "m": "0.4 m", "m2": "0.75 mm2", "K/W": "60 K/W", "dB": "6 dB", "m3": "760 mm3", "W/m3": "380 kW/m3", "T": "100 mT",
    "1/s": "0.01 1/s", "C": "40 Ah", "A2 s": "60 A2s", "J": "50 mJ", "deg": "60 deg",
}  # fmt: skip
_BY_KEY = {
    "service_life": "87600 h", "age": "50000 h", "rated_life": "5000 h", "ageing_reference": "1000 h", "insulation_time": "5000 s",
    "period": "200 µs", "insulation": "10 MΩ", "insulation_resistance": "30 GΩ", "duty": "45 %", "resistance": "10 ohm",
    "parallel_resistance": "5 kΩ", "leakage_resistance": "7 kΩ", "inductance": "10 µH", "leakage": "11 µH", "mutual": "0.3 nH",
    "relaxation_frequency": "1 MHz", "self_resonance": "20 MHz", "winding_capacitance": "10 pF", "interwinding_capacitance": "8 pF",
    "chassis_capacitance": "50 pF", "stray_capacitance": "50 pF", "coupling": "30 pF", "ring_frequency": "50 MHz", "ring_cycles": 2.0, "ring_start": 0.25, "second_edge": -0.5, "edge_ratio": 2.0,
    "cycles": 2.0, "turns": 15, "core_area": "19.7 mm2", "core_frequency_exponent": 1.45, "core_flux_exponent": 2.55,
    "relaxation_exponent": 0.8, "life_end_esr": 2.0, "saturation_current": "6 A", "spacing": "3 mm", "height": "20 mm",
    "diameter": "1 mm", "temperature": "-20 °C", "maximum_temperature": "105 °C", "rise_time": "30 ns", "fall_time": "30 ns",
    "loss_angle": 0.007, "ageing_rate": "2.5 %", "imbalance": "1 %", "leakage_least": "3 µA", "loop_bandwidth": "15 kHz",
    "voltage": "24 V ± 15 %", "length": "2 m", "soft_start": "5 ms", "hiccup_on": "5 ms", "hiccup_off": "100 ms", "ramp": "1 ms", "usable": "60 %", "drop": "3 %",
    "rated_current": "10 A", "starts_at": "23 V", "stops_at": "21 V",
    "burst": "5 ms", "lowest_voltage": "22 V", "efficiency": "92 %", "bulk_esr_ratio": "4", "pulse_fall": "30 %", "saturation_ratio": "70 %", "voltage_derating": "80 %", "life_end_capacitance": "80 %", "input_voltage": "24 V",
    "rated_voltage": "50 V", "low": "26 V", "high": "30 V", "core_loss_frequency": "100 kHz", "reference_frequency": "1 kHz",
    "load": "15 %", "above": "150 kHz", "limit": "15 mV", "peak_to_peak": "110 mV", "rms": "30 mV", "fundamental": "40 mV", "frequency": "200 kHz", "esl": "5 nH",
}  # fmt: skip
"""Examples that the unit alone would not give."""


@dataclass(frozen=True)
class Row:
    """One key: its name in the file, what it is, unit or kind of value, default, range or choice, and an example, as text."""

    key: str
    words: str
    unit: str
    default: str
    limits: str
    example: str


def rows(model: type[BaseModel]) -> Iterator[Row]:
    """A row for each key of a model, those left out that follow from a measured file."""
    words = words_of(model)
    fields = sorted(model.model_fields.items(), key=_place) if issubclass(model, Part) else model.model_fields.items()
    for name, field in fields:
        if name in getattr(model, "COMPUTED", ()):
            continue
        key, found = field.alias or name, list(marks(field))
        mark = next((m for m in found if isinstance(m, Quantity | RangedQuantity | Bandwidth)), None)
        unit = "Hz" if isinstance(mark, Bandwidth) else getattr(mark, "unit", None)
        default = '"full"' if isinstance(mark, Bandwidth) and field.default is None else written_default(field, unit)
        limits = f"at most {MOST[key]}" if model is Design and key in MOST else written_range(mark, field, found)
        yield Row(
            key, words.get(key, ""), written_unit(unit, field, found), default, limits, example(key, field, found)
        )


def _place(item: tuple[str, FieldInfo]) -> int:
    """What is needed of a part first, then what its kind usually has."""
    _, field = item
    return 0 if field.is_required() else 1 if any(isinstance(mark, Assumed) for mark in field.metadata) else 2


def example(key: str, field: FieldInfo, found: list[object]) -> str:
    """A value as it could be written in a file, or "-" for what is a section of its own."""
    choices = choices_of(field)
    if choices:
        return f"{key} = {_toml(choices[0])}"
    if key in _WHOLE:
        return f"{key} = {_WHOLE[key]}"
    mark = next(
        (one for one in found if type(one) in _BY_MARK or isinstance(one, Quantity | RangedQuantity | Curve)), None
    )
    if isinstance(mark, Quantity | RangedQuantity):
        return f"{key} = {_toml(_value(key, mark))}"
    if isinstance(mark, Curve):
        ends = _CURVES[mark.unit]
        return f"{key} = [[{_toml(ends[0])}, 1.0], [{_toml(ends[1])}, 0.8]]"
    if mark is not None:
        return f"{key} = {_toml(_BY_MARK[type(mark)])}"
    of_part = next((text for kind, text in _PARTS.items() if kind in kinds_of(field)), None)
    return f"{key} = {of_part}" if of_part else _by_kind(key, kinds_of(field))


def _value(key: str, mark: Quantity | RangedQuantity) -> object:
    """The example of a key where it can be one, else that of its unit, else "-"."""
    read = mark.parse if isinstance(mark, RangedQuantity) else mark.read
    for one in (_BY_KEY.get(key, ""), _BY_UNIT[mark.unit], "50 MHz"):
        try:
            read(one)
        except QuantityError:
            continue
        return one
    return "-"


_BY_MARK = {Bandwidth: "20 MHz", RecordingField: "terminals.csv", LoadThresholdField: "10 %"}
_WHOLE = {
    "loads": '{ modem = "15 %" }', "tables": '["own-parts.toml"]', "limits": '["mains-class-b"]', "name": '"a name"',
    "note": '"a few words"', "efficiency_over_load": '[["10 %", "75 %"], ["100 %", "90 %"]]',
    "efficiency_over_input": '[["18 V", "86 %"], ["24 V", "90 %"]]',
}  # fmt: skip
_PARTS = {
    Capacitor: '{ kind = "film", capacitance = "1 µF", rated_voltage = "63 V" }',
    DifferentialChoke: '{ inductance = "10 µH", rated_current = "5 A", dc_resistance = "20 mΩ" }',
    CommonModeChoke: '{ inductance = "1 mH", rated_current = "5 A", dc_resistance = "15 mΩ" }',
    WirePair: '{ length = "0.4 m", cross_section = "0.75 mm2", spacing = "3 mm" }',
}
_CURVES = {"V": ("0 V", "25 V"), "K": ("25 °C", "85 °C"), "Hz": ("100 kHz", "1 MHz")}
_TEXTS = {
    "load": "modem",
    "first": "C1",
    "second": "C2",
    "stage": "C1",
    "part": "L1",
    "place": "modem",
    "network": "50uH",
    "file": "film-470n.csv",
}
_TEXTS |= {"package": "1206", "kind": "film"}


def _by_kind(key: str, kinds: tuple[object, ...]) -> str:
    if bool in kinds:
        return f"{key} = true"
    if int in kinds:
        return f"{key} = {24 if key == 'awg' else 2}"
    return f'{key} = "{_TEXTS.get(key, "modem" if key == "name" else "a few words")}"' if str in kinds else "-"


def _toml(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value).lower()


def kinds_of(field: FieldInfo) -> tuple[object, ...]:
    """The types that a field may hold, those inside "or None" and inside annotations too."""
    inner = tuple(get_args(one)[0] for one in get_args(field.annotation) if hasattr(one, "__metadata__"))
    return (field.annotation, *get_args(field.annotation), *inner)


def choices_of(field: FieldInfo) -> list[object]:
    """What a field of a few choices may hold, else nothing."""
    return [choice for kind in kinds_of(field) if get_origin(kind) is Literal for choice in get_args(kind)]


def marks(field: FieldInfo) -> Iterator[object]:
    """What annotates a field, also inside "or None" and inside a table of such values."""
    for mark in (
        *field.metadata,
        *(m for inner in get_args(field.annotation) for m in getattr(inner, "__metadata__", ())),
    ):
        yield from mark.metadata if isinstance(mark, FieldInfo) else [mark]


_UNITS = {"": "ratio", "ohm": "Ω", "K": "°C or K", "m2": "mm2 or m2", "m3": "mm3 or m3", "C": "Ah or C", "A2 s": "A2s"}


def written_unit(unit: str | None, field: FieldInfo, found: list[object]) -> str:
    """Unit, or the kind of value."""
    if unit is not None:
        return _UNITS.get(unit, unit)
    curve = next((mark for mark in found if isinstance(mark, Curve)), None)
    if curve is not None:
        return f"[[{_UNITS.get(curve.unit, curve.unit)}, ratio], ...]"
    held, names = kinds_of(field), ((str, "text"), (bool, "true or false"), (int, "whole number"))
    return "-" if choices_of(field) else next((word for kind, word in names if kind in held), "-")


def written_default(field: FieldInfo, unit: str | None) -> str:
    """What stands where the file says nothing."""
    if field.is_required():
        return NEEDED
    if any(isinstance(mark, Assumed) for mark in field.metadata):
        return "usual of its kind, with a range"
    if field.default_factory is not None:
        follows = field.default_factory_takes_validated_data
        return "see below" if follows else _shown(field.get_default(call_default_factory=True), unit)
    return _shown(field.default, unit)


def _shown(value: object, unit: str | None) -> str:
    if isinstance(value, Ranged):
        return f"{_shown(value.value, unit)} ({_shown(value.low, unit)} to {_shown(value.high, unit)})"
    if value is None or value in ("", (), {}):
        return "-"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return str(value) if unit is None else _quantity(value, unit)
    if isinstance(value, BaseModel):
        return "a strap" if isinstance(value, Bond) else "its defaults"
    return f'"{value}"' if isinstance(value, str) else "one at full load"


def _quantity(value: Any, unit: str) -> str:
    return format_temperature(value) if unit == "K" else format_quantity(value, unit)


def written_range(mark: Any, field: FieldInfo, found: list[object]) -> str:
    """What the key may hold."""
    if isinstance(mark, Bandwidth):
        return '1 kHz to 100 GHz, or "full"'
    choices = choices_of(field)
    if choices:
        return ", ".join(f'"{choice}"' if isinstance(choice, str) else str(choice) for choice in choices)
    limits = [str(getattr(m, key)) for key in ("ge", "le") for m in found if getattr(m, key, None) is not None]
    if mark is None:
        return " to ".join(limits) or "-"
    low, high = mark.low, mark.high
    above, below, plausible = (getattr(mark, name, None) for name in ("above", "below", "plausible"))
    if plausible:
        low, high, above = (plausible[0] if low is None and above is None else low), plausible[1], above
    start = _quantity(low, mark.unit) if low is not None else f"above {_quantity(above, mark.unit)}"
    return (
        f"{start} to {_quantity(high, mark.unit)}"
        if high is not None
        else f"{start} to below {_quantity(below, mark.unit)}"
    )
