"""What is not known exactly of a design: ranges of the converter's inside, tolerances of the parts, couplings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, cast

from filterlib.parts.base import Part
from filterlib.parts.wire import WirePair
from filterlib.system.converter import Converter
from filterlib.system.design import Design
from filterlib.system.places import path, rebuilt
from filterlib.system.ranged import Ranged
from filterlib.system.stages import ChassisCapacitor, SeriesChoke
from filterlib.system.uncertain_parameter import UncertainParameter

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
    "spike.ring_frequency": ("Hz", "ring frequency"),
    "spike.ring_cycles": ("", "cycles of the ring"),
    "common_mode.swing": ("V", "switching node's swing"),
    "common_mode.coupling": ("F", "coupling to the chassis"),
    "common_mode.resistance": ("ohm", "losses of the way through the chassis"),
    "common_mode.rise_time": ("s", "rise time of the switching node"),
    "common_mode.fall_time": ("s", "fall time of the switching node"),
    "common_mode.ring.frequency": ("Hz", "ring frequency of the switching node"),
    "common_mode.ring.cycles": ("", "cycles of the switching node's ring"),
    "common_mode.ring.overshoot": ("", "overshoot of the switching node"),
    "supply.inductance": ("H", "inductance of the input cable to the chassis"),
    "supply.resistance": ("ohm", "resistance of the input cable's return"),
}
_CLIP = {
    "lead_inductance": ("H", "lead of the scope's clip"),
    "earth_inductance": ("H", "way from the scope to the chassis"),
    "earth_resistance": ("ohm", "resistance from the scope to the chassis"),
}
_TOLERANCED = {  # field of a part: (field of its tolerance, unit, words)
    "capacitance": ("tolerance", "F", "capacitance"),
    "inductance": ("tolerance", "H", "inductance"),
    "leakage": ("leakage_tolerance", "H", "leakage inductance"),
}


_UNLIKE = {  # field of a part: (its usual spread, what is compared, the kind of part)
    "leakage_imbalance": (0.1, "leakage of the two windings", "windings laid by hand or by sector"),
    "capacitance_imbalance": (0.2, "capacitance across the two windings", "turns never lie twice alike"),
    "imbalance": (0.05, "length of the two conductors", "leads cut by hand"),
}
"""Where nothing is stated the two are alike, and unlike within this: it matters where the chassis is driven."""


def uncertain_parameters(design: Design, *, tolerances: bool = True) -> tuple[UncertainParameter, ...]:
    """Everything with a range: the converter's, couplings, strays and imbalances, and (``tolerances``) the parts'."""
    found = [*_converter_unknowns(design), *_coupling_unknowns(design), *_chassis_unknowns(design)]
    if tolerances:
        found += _part_unknowns(design)
    return tuple(unknown for unknown in found if unknown.low < unknown.high)


def with_values(design: Design, values: Mapping[str, Any]) -> Design:
    """The design with other values under the keys of `uncertain_parameters`: floats, or arrays (designs, 1).

    Not checked again, so that many designs cost little. Keys of the input side are passed over: `InputSide.at` takes them.
    Raises FilterlibError for another key that leads nowhere.
    """
    design = design.model_copy(update={"couplings": design.all_couplings})
    places = {path(design, key): value for key, value in values.items() if not key.startswith("input_side.")}
    return cast(Design, rebuilt(design, places, _unchecked))


def _unchecked(model: Any, values: dict[str, Any]) -> Any:
    """A model with other values as they are; a range keeps its ends. Parts check theirs: that costs little."""
    old = {name: getattr(model, name) for name in values}
    new = {name: old[name].at(one) if isinstance(old[name], Ranged) else one for name, one in values.items()}
    return model.replace(**new) if isinstance(model, Part) else model.model_copy(update=new)


def _unknown(key: str, label: str, unit: str, value: Ranged) -> UncertainParameter:
    return UncertainParameter(key, label, unit, float(value.value), value.low, value.high, value.stated, value.why)


def _converter_unknowns(design: Design) -> Iterator[UncertainParameter]:
    told = _told_by_a_recording(design.converter)
    for name, (unit, label) in _CONVERTER.items():
        if name in told:
            continue
        yield _unknown(f"converter.{name}", label, unit, getattr(design.converter, name))
    for fields, (unit, label) in _NESTED.items():
        held: Any = design.converter
        for step in fields.split("."):
            held = getattr(held, step, None)
        if held is not None:
            yield _unknown(f"converter.{fields}", label, unit, held)


def _told_by_a_recording(converter: Converter) -> tuple[str, ...]:
    """What a recording of the ripple leaves without effect, where no other source needs it."""
    others = converter.spike is not None or converter.common_mode is not None
    return () if converter.ripple.recording is None or others else ("duty", "edge_time")


def _coupling_unknowns(design: Design) -> Iterator[UncertainParameter]:
    for one in design.all_couplings:
        label = f"coupling of the loops of {one.first} and {one.second}"
        yield _unknown(f"coupling.{one.name}", label, "H", one.mutual)


def _chassis_unknowns(design: Design) -> Iterator[UncertainParameter]:
    """Strays, and what two lines have in unequal measure: defaults only where something drives the chassis."""
    for stage in design.filter:
        if isinstance(stage, ChassisCapacitor | SeriesChoke) and stage.line == "both":
            yield from _unlike_stage(stage, design.driven)
        if design.driven:
            yield from _unlike(f"filter.{stage.name}", stage.name, stage.part)
    for load in design.loads:
        if load.stray_capacitance.stated or (design.driven and load.floats):
            label = f"stray capacitance of {load.name} to the chassis"
            yield _unknown(f"load.{load.name}.stray_capacitance", label, "F", load.stray_capacitance)
        if design.driven and load.lead is not None:
            yield from _unlike(f"load.{load.name}.lead", f"the lead of {load.name}", load.lead)
    if design.clip is not None:
        for name, (unit, label) in _CLIP.items():
            yield _unknown(f"clip.{name}", label, unit, getattr(design.clip, name))


def _unlike_stage(stage: ChassisCapacitor | SeriesChoke, driven: bool) -> Iterator[UncertainParameter]:
    if driven or stage.imbalance.stated:
        label = f"{stage.name} in one line over that in the other"
        yield _unknown(f"filter.{stage.name}.imbalance", label, "", stage.imbalance)


def _unlike(key: str, whose: str, part: Part) -> Iterator[UncertainParameter]:
    """What is alike in both lines for want of a statement, and may not be."""
    names = _UNLIKE if isinstance(part, WirePair) else tuple(_UNLIKE)[:2]
    for name in names:
        if name in type(part).model_fields and name not in part.model_fields_set:
            spread, what, why = _UNLIKE[name]
            label, why = f"{what} of {whose}, one over the other", f"{why} (common practice, no source)"
            yield UncertainParameter(f"{key}.{name}", label, "", 0.0, -spread, spread, False, why)


def _part_unknowns(design: Design) -> Iterator[UncertainParameter]:
    for stage in design.filter:
        for name, (tolerance, unit, label) in _TOLERANCED.items():
            value, spread = getattr(stage.part, name, None), getattr(stage.part, tolerance, None)
            if name in type(stage.part).model_fields and value is not None and spread:
                low, high = value * (1 - spread), value * (1 + spread)
                yield UncertainParameter(
                    f"filter.{stage.name}.{name}", f"{label} of {stage.name}", unit, value, low, high, True, "tolerance"
                )
