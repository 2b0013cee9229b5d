"""What is not known exactly of a design: ranges of the converter's inside, tolerances of the parts, couplings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from filterlib.system.converter import Converter
from filterlib.system.design import Design
from filterlib.system.ranged import Ranged

_CONVERTER = {
    "duty": ("", "duty cycle"),
    "edge_time": ("s", "edge time"),
    "output_capacitance": ("F", "capacitance inside the converter"),
    "output_esr": ("ohm", "ESR inside the converter"),
    "output_esl": ("H", "ESL inside the converter"),
    "lead_inductance": ("H", "lead inside the converter"),
    "output_resistance": ("ohm", "output resistance"),
    "loop_bandwidth": ("Hz", "loop bandwidth"),
}
_NESTED = {
    ("spike", "ring_frequency"): ("Hz", "ring frequency"),
    ("spike", "ring_cycles"): ("", "cycles of the ring"),
    ("common_mode", "swing"): ("V", "switching node's swing"),
    ("common_mode", "coupling"): ("F", "coupling to the chassis"),
    ("common_mode", "resistance"): ("ohm", "losses of the way through the chassis"),
}
_TOLERANCED = {  # field of a part: (field of its tolerance, unit, words)
    "capacitance": ("tolerance", "F", "capacitance"),
    "inductance": ("tolerance", "H", "inductance"),
    "leakage": ("leakage_tolerance", "H", "leakage inductance"),
}


@dataclass(frozen=True)
class Unknown:
    """One value that may lie elsewhere: ``key`` in the design file, ``low`` to ``high`` in ``unit``.

    ``logarithmic`` says how the range is walked; ``stated`` is False for a default, whose origin is ``why``.
    """

    key: str
    label: str
    unit: str
    nominal: float
    low: float
    high: float
    stated: bool
    why: str

    @property
    def logarithmic(self) -> bool:
        """True where the range is walked in ratios."""
        return self.low > 0 and self.high > 2 * self.low

    def at(self, share: Any) -> Any:
        """The value at a share 0 .. 1 of the range (an array gives an array)."""
        if self.logarithmic:
            return self.low * (self.high / self.low) ** share
        return self.low + (self.high - self.low) * share


def unknowns(design: Design, *, tolerances: bool = True) -> tuple[Unknown, ...]:
    """Everything with a range: the converter's, couplings, and (``tolerances``) the parts'."""
    found = [*_converter_unknowns(design), *_coupling_unknowns(design)]
    if tolerances:
        found += _part_unknowns(design)
    return tuple(unknown for unknown in found if unknown.low < unknown.high)


def with_values(design: Design, values: Mapping[str, Any]) -> Design:
    """The design with other values under the keys of `unknowns`: floats, or arrays (designs, 1)."""
    converter = {key.split(".", 1)[1]: value for key, value in values.items() if key.startswith("converter.")}
    stages = tuple(_with_part(stage, values) for stage in design.filter)
    couplings = tuple(
        one.replace(mutual=one.mutual.at(values[key])) if (key := _coupling_key(one)) in values else one
        for one in design.all_couplings
    )
    return design.model_copy(
        update={"converter": _with_converter(design.converter, converter), "filter": stages, "couplings": couplings}
    )


def _with_converter(converter: Any, values: dict[str, Any]) -> Any:
    update = {name: getattr(converter, name).at(value) for name, value in values.items() if "." not in name}
    for name, value in values.items():
        outer, _, inner = name.partition(".")
        if inner:
            held = update.get(outer, getattr(converter, outer))
            update[outer] = held.model_copy(update={inner: getattr(held, inner).at(value)})
    return converter.model_copy(update=update)


def _with_part(stage: Any, values: Mapping[str, Any]) -> Any:
    start = f"filter.{stage.name}."
    changes = {key[len(start) :]: value for key, value in values.items() if key.startswith(start)}
    return stage.model_copy(update={"part": stage.part.replace(**changes)}) if changes else stage


def _unknown(key: str, label: str, unit: str, value: Ranged) -> Unknown:
    return Unknown(key, label, unit, float(value.value), value.low, value.high, value.stated, value.why)


def _converter_unknowns(design: Design) -> Iterator[Unknown]:
    told = _told_by_a_recording(design.converter)
    for name, (unit, label) in _CONVERTER.items():
        if name in told:
            continue
        yield _unknown(f"converter.{name}", label, unit, getattr(design.converter, name))
    for (outer, inner), (unit, label) in _NESTED.items():
        held = getattr(design.converter, outer)
        if held is not None:
            yield _unknown(f"converter.{outer}.{inner}", label, unit, getattr(held, inner))


def _told_by_a_recording(converter: Converter) -> tuple[str, ...]:
    """What a recording of the ripple leaves without effect, where no other source needs it."""
    others = converter.spike is not None or converter.common_mode is not None
    return () if converter.ripple.recording is None or others else ("duty", "edge_time")


def _coupling_key(coupling: Any) -> str:
    return f"coupling.{coupling.first}-{coupling.second}"


def _coupling_unknowns(design: Design) -> Iterator[Unknown]:
    for one in design.all_couplings:
        yield _unknown(_coupling_key(one), f"coupling of the loops of {one.first} and {one.second}", "H", one.mutual)


def _part_unknowns(design: Design) -> Iterator[Unknown]:
    for stage in design.filter:
        for name, (tolerance, unit, label) in _TOLERANCED.items():
            value, spread = getattr(stage.part, name, None), getattr(stage.part, tolerance, None)
            if name in type(stage.part).model_fields and value is not None and spread:
                low, high = value * (1 - spread), value * (1 + spread)
                yield Unknown(
                    f"filter.{stage.name}.{name}", f"{label} of {stage.name}", unit, value, low, high, True, "tolerance"
                )
