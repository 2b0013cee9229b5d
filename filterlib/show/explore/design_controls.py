"""The controls of any design, and the circuit beside them: its converter, the stages of its filter, its loads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Literal, TypeAlias

from filterlib.parts.base import Part
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.curves.measured import MeasuredCapacitor, MeasuredChoke
from filterlib.show import panels as ui
from filterlib.system.design import Design
from filterlib.system.inside.converter import Converter
from filterlib.system.line.load import Load
from filterlib.system.line.stages import AcrossLines, ChassisCapacitor, ChokeStage, CommonModeStage, Stage
from filterlib.system.ranges.changes import value
from filterlib.system.requirements import RippleRequirement

Controls: TypeAlias = "list[ui.Control | ui.Choice]"
SPARE = 1.25  # of a capacitor's rated voltage above the line's that is offered: a quarter above it, common practice
LARGE = 4  # controls that are not folded away
_DRAWS = {
    "constant_power": ("power", "W", "10 W", "150 W"),
    "constant_current": ("current", "A", "10 mA", "10 A"),
    "resistive": ("resistance", "ohm", "1 ohm", "1 kohm"),
}


def controls(design: Design, converters: Mapping[str, Converter], *, large: Sequence[str] = ()) -> Controls:
    """Every control of a design, those named ``large`` (else the first ones of filter and converter) in front.

    ``converters``: to be chosen from; no choice where it is one.
    """
    every = [*_converter(design, converters), *_filter(design), *_loads(design)]
    wanted = [one for one in large if one in {control.name for control in every}] or _largest(every)
    return ui.in_front(every, wanted)


def _largest(every: Controls) -> list[str]:
    sliders = [one.name for one in every if isinstance(one, ui.Control) and one.group != "Converter"]
    kept = [name for name in sliders if name.startswith("filter.") and not name.endswith((".esr", ".dc_resistance"))]
    return [*kept[: LARGE - 1], next(one.name for one in every if isinstance(one, ui.Control))]


def _control(
    design: Design,
    name: str,
    label: str,
    unit: str,
    low: str,
    high: str,
    *,
    group: str,
    scale: Literal["log"] | None = None,
    steps: int = 100,
) -> ui.Control:
    """A slider whose usual range is wide enough for what the design has."""
    control, own = (
        ui.Control(name, label, unit, low, high, scale=scale, steps=steps, group=group),
        float(value(design, name)),
    )
    if control.low <= own <= control.high:
        return control
    ends = (own if own < control.low else low), (own if own > control.high else high)
    return ui.Control(name, label, unit, *ends, scale=scale, steps=steps, group=group)


def _converter(design: Design, converters: Mapping[str, Converter]) -> Iterator[ui.Control | ui.Choice]:
    group = "Converter"
    if len(converters) > 1:
        yield ui.Choice("converter", "converter", converters, group=group)
    if design.converter.ripple.recording is None:
        yield _control(
            design, "converter.ripple.peak_to_peak", "converter's ripple", "V", "10 mV", "1 V", scale="log", group=group
        )
        yield _control(
            design, "converter.switching_frequency", "switching frequency", "Hz", "50 kHz", "1 MHz", group=group
        )
    yield _control(design, "converter.output_capacitance", "capacitance inside", "F", "2.2 µF", "470 µF", group=group)
    yield _control(design, "converter.output_esr", "ESR inside", "ohm", "1 mΩ", "200 mΩ", group=group)


def _filter(design: Design) -> Iterator[ui.Control | ui.Choice]:
    for stage in design.filter:
        if isinstance(stage, AcrossLines | ChassisCapacitor):
            yield from _capacitor(design, stage)
        elif isinstance(stage, ChokeStage):
            yield from _choke(design, stage)
        else:
            yield _control(
                design,
                f"filter.{stage.name}.length",
                f"{stage.name} length",
                "m",
                "10 cm",
                "20 m",
                group="Choke and wire",
            )


def _capacitor(design: Design, stage: AcrossLines | ChassisCapacitor) -> Iterator[ui.Control | ui.Choice]:
    name, group, part = stage.name, stage.name, stage.part
    if isinstance(part, MeasuredCapacitor):
        return
    least = SPARE * float(design.converter.output_voltage)
    rated = {word: one for word, one in ui.parts(Capacitor).items() if one.rated_voltage >= least}
    yield ui.Choice(f"filter.{name}.part", f"{name} part", _with_own(rated, part), group=group)
    yield _control(design, f"filter.{name}.capacitance", f"{name} capacitance", "F", "10 nF", "1 mF", group=group)
    yield _control(design, f"filter.{name}.esr", f"{name} constant ESR", "ohm", "1 mΩ", "2 ohm", group=group)


def _choke(design: Design, stage: ChokeStage) -> Iterator[ui.Control | ui.Choice]:
    name, group, part = stage.name, "Choke and wire", stage.part
    if isinstance(part, MeasuredChoke):
        return
    common = isinstance(stage, CommonModeStage)
    bought: Mapping[str, Part] = ui.parts(CommonModeChoke) if common else ui.parts(DifferentialChoke)
    yield ui.Choice(f"filter.{name}.part", f"{name} part", _with_own(bought, part), group=group)
    if common:
        yield _control(design, f"filter.{name}.loop_leakage", f"{name} leakage", "H", "470 nH", "470 µH", group=group)
        yield _control(
            design, f"filter.{name}.dc_resistance", f"{name} copper per winding", "ohm", "2 mΩ", "500 mΩ", group=group
        )
    else:
        yield _control(design, f"filter.{name}.inductance", f"{name} inductance", "H", "470 nH", "1 mH", group=group)
        yield _control(design, f"filter.{name}.dc_resistance", f"{name} copper", "ohm", "2 mΩ", "500 mΩ", group=group)


def _with_own(parts: Mapping[str, Part], own: Part) -> dict[str, Part]:
    """The table's parts, and first the design's own where it is none of them."""
    return dict(parts) if own in parts.values() else {own.name or "as in the file": own, **parts}


def _loads(design: Design) -> Iterator[ui.Control | ui.Choice]:
    group = "Loads and surroundings"
    for load in design.loads:
        if load.lead is not None:
            yield _control(
                design, f"load.{load.name}.length", f"wire to {load.name}", "m", "10 cm", "20 m", group=group
            )
    for load in design.loads:
        field, unit, low, high = _DRAWS[load.kind]
        yield _control(design, f"load.{load.name}.{field}", f"{field} of {load.name}", unit, low, high, group=group)
    if design.operating_points:
        name = f"point.{design.operating_points[0].name}.temperature"
        yield _control(design, name, "temperature", "K", "-20 °C", "60 °C", steps=80, group=group)


# ---- the circuit ----------------------------------------------------------------------------------------------------


def circuit(design: Design, load: str, every: Sequence[ui.Control | ui.Choice]) -> list[ui.Drawn]:
    """The converter, the stages and one load, each with those of the controls that belong to it."""
    names = [one.name for one in every]
    front = [one.name for one in every if not one.more]

    def belonging(start: str) -> tuple[str, ...]:
        own = [name for name in names if name == start.rstrip(".") or name.startswith(start)]
        return tuple(sorted(own, key=lambda name: (name == "converter", name not in front, name.endswith(".part"))))

    drawn = [("source", "converter", belonging("converter."))]
    for stage in design.filter:
        drawn.append((_symbol(stage), stage.name, belonging(f"filter.{stage.name}.")))
    chosen = design.named_load(load)
    own = belonging(f"load.{load}.")
    wire = tuple(name for name in own if name.endswith(".length"))
    if chosen.lead is not None and wire:
        drawn.append(("wire", "wire", wire))
    drawn.append(("load", load, tuple(name for name in own if name not in wire)))
    return [ui.Drawn(symbol, name, own) for symbol, name, own in drawn if own]  # type: ignore[arg-type]


def _symbol(stage: Stage) -> str:
    kind = getattr(stage, "kind", "")
    symbols = {"capacitor": "capacitor", "damping": "shunt", "capacitor_to_chassis": "capacitor", "wire": "wire"}
    return {"common_mode_choke": "common-mode choke", "differential_choke": "choke"}.get(kind) or symbols.get(
        kind, "box"
    )


def watched(design: Design) -> Load:
    """The load whose ripple the design asks about first; the first load where it asks about none."""
    asked = next((one.load for one in design.requirements if isinstance(one, RippleRequirement)), "")
    return next((one for one in design.loads if one.name == asked), design.loads[0])
