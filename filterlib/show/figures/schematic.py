"""The circuit diagram of a design: converter with its inside, the stages in order, the loads, the chassis line."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil

from filterlib.parts.capacitor import Capacitor
from filterlib.parts.wire import WirePair
from filterlib.show.figures.figure import Values
from filterlib.show.figures.sheet import CHASSIS, MINUS, PLUS, Sheet, text_width
from filterlib.system.design import Design
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.ways import Bond, Supply
from filterlib.system.line.clip import Clip
from filterlib.system.line.load import Load
from filterlib.system.line.stages import (
    AnyStage,
    ChassisCapacitor,
    CommonModeStage,
    Damping,
    SeriesChoke,
    ShuntCapacitor,
    WireStage,
)
from filterlib.system.ranges.ranged import Ranged
from filterlib.units import format_quantity

ROW_WIDTH = 34.0  # [drawing units] before the diagram goes on in a new row
_LINES = {"plus": PLUS, "return": MINUS}
_BESIDE = 0.75  # of what is across a choke, from its line


@dataclass(frozen=True)
class Column:
    """One piece of the diagram: its width [drawing units], how it is drawn from a left edge on, and the ``part`` it shows."""

    width: float
    draw: Callable[[Sheet, float], None]
    part: str = ""


def schematic_svg(design: Design, marks: Mapping[str, str] | None = None) -> str:
    """The diagram as an SVG element; names of the design are text in it, never markup.

    ``marks``: labels of probe points at "terminals" and at loads, by name. A long design goes on in further rows, whose
    ends say where the lines go.
    """
    marks = marks or {}
    loads = [_load(design, load, marks.get(load.name, "")) for load in design.loads]
    columns = [_converter(design, marks.get("terminals", "")), *map(_stage, design.filter), *loads]
    parts = ["converter", *(stage.name for stage in design.filter), *(load.name for load in design.loads)]
    rows = _rows([replace(column, part=part) for column, part in zip(columns, parts, strict=True)])
    sheet = Sheet(chassis=bool(design.chassis))
    for number, row in enumerate(rows):
        x = 0.0
        sheet.start_row(number)
        if number:
            sheet.continued(0.0, f"from row {number}", side="left")
        for column in row:
            sheet.start_part(column.part)
            column.draw(sheet, x)
            x += column.width
        if number + 1 < len(rows):
            sheet.rails(x, x + 0.6)
            sheet.continued(x + 0.6, f"to row {number + 2}", side="right")
    return sheet.svg(f"Circuit diagram of {design.name}")


def _rows(columns: Sequence[Column]) -> list[list[Column]]:
    """As few rows as will do, about equally long."""
    whole = sum(column.width for column in columns)
    most = whole / ceil(whole / ROW_WIDTH)
    rows: list[list[Column]] = [[]]
    for column in columns:
        if rows[-1] and sum(placed.width for placed in rows[-1]) + column.width / 2 > most:
            rows.append([])
        rows[-1].append(column)
    return rows


def _stage(stage: AnyStage) -> Column:
    match stage:
        case ShuntCapacitor():
            return _capacitor(stage)
        case ChassisCapacitor():
            return _chassis_capacitor(stage)
        case Damping():
            return _damping(stage)
        case SeriesChoke():
            return _series_choke(stage)
        case CommonModeStage():
            return _common_mode_choke(stage)
        case WireStage():
            return _wire(stage)


def _capacitor(stage: ShuntCapacitor) -> Column:
    labels = (stage.name, _times(stage.count, _farads(stage.part)))
    width = 0.5 + max(1.5, 0.45 + text_width(labels))

    def draw(sheet: Sheet, x: float) -> None:
        sheet.rails(x, x + width)
        sheet.part("capacitor", (x + 0.5, PLUS), (x + 0.5, MINUS), dots=True)
        sheet.text(x + 0.95, (PLUS + MINUS) / 2 - 0.05, labels, named=True)

    return Column(width, draw)


def _chassis_capacitor(stage: ChassisCapacitor) -> Column:
    lines = [line for line in ("plus", "return") if stage.line in (line, "both")]
    each = " each" if stage.line == "both" else ""
    shared = (f"{_said(stage.bond.inductance, 'H')} shared",) if stage.bond else ()
    labels = (stage.name, f"{_times(stage.count, _farads(stage.part))}{each}", *shared)
    start = 0.9 * len(lines)
    width = start + 0.5 + text_width(labels)

    def draw(sheet: Sheet, x: float) -> None:
        sheet.rails(x, x + width)
        for index, line in enumerate(lines):
            at = x + 0.5 + 0.9 * index
            sheet.line((at, _LINES[line]), (at, MINUS))
            sheet.part("capacitor", (at, MINUS), (at, CHASSIS))
            sheet.dot((at, _LINES[line]))
            sheet.dot((at, CHASSIS))
        sheet.text(x + start + 0.05, (MINUS + CHASSIS) / 2 - 0.05, labels, named=True)

    return Column(width, draw)


def _damping(stage: Damping) -> Column:
    labels = (stage.name, _said(stage.resistance, "ohm"))
    value = (_times(stage.count, _farads(stage.part)),)
    width = 0.5 + max(1.5, 0.45 + text_width(labels + value))

    def draw(sheet: Sheet, x: float) -> None:
        middle = (PLUS + MINUS) / 2
        sheet.rails(x, x + width)
        sheet.part("resistor", (x + 0.5, PLUS), (x + 0.5, middle))
        sheet.part("capacitor", (x + 0.5, middle), (x + 0.5, MINUS))
        sheet.dot((x + 0.5, PLUS))
        sheet.dot((x + 0.5, MINUS))
        sheet.text(x + 0.95, (PLUS + middle) / 2, labels, named=True)
        sheet.text(x + 0.95, (MINUS + middle) / 2, value)

    return Column(width, draw)


def _series(
    symbol: str,
    labels: Sequence[str],
    lines: Sequence[str],
    extra: Callable[[Sheet, float], None] | None = None,
    *,
    least: float = 2.6,
) -> Column:
    """A symbol in series with one line or both, its labels above the plus line (below it for the return alone)."""
    width = max(least, 0.4 + text_width(labels))

    def draw(sheet: Sheet, x: float) -> None:
        centre = x + width / 2
        sheet.rails(x, x + width, skip=lines)
        for line in lines:
            y = _LINES[line]
            sheet.line((x, y), (centre - 0.9, y))
            sheet.part(symbol, (centre - 0.9, y), (centre + 0.9, y))
            sheet.line((centre + 0.9, y), (x + width, y))
        y = (PLUS if "plus" in lines else MINUS) + (0.95 if symbol == "core inductor" else 0.75)
        sheet.text(centre, y, labels, anchor="middle", named=True)
        if extra:
            extra(sheet, centre)

    return Column(width, draw)


def _series_choke(stage: SeriesChoke) -> Column:
    each = " in each line" if stage.line == "both" else ""
    labels = (stage.name, f"{_said(stage.part.inductance, 'H')}{each}")
    if stage.damping is None:
        return _series("inductor", labels, stage.lines)
    second = stage.damping.part
    words = [_said(stage.damping.resistance, "ohm"), *([] if second is None else [_said(second.inductance, "H")])]

    def beside(sheet: Sheet, centre: float) -> None:
        start = centre - 0.9 * len(words)
        for line in stage.lines:
            top = _LINES[line]
            level = top + (_BESIDE if len(stage.lines) == 2 and line == "return" else -_BESIDE)
            for end in (start, start + 1.8 * len(words)):
                sheet.line((end, top), (end, level))
                sheet.dot((end, top))
            for at, symbol in enumerate(("resistor", "inductor")[: len(words)]):
                sheet.part(symbol, (start + 1.8 * at, level), (start + 1.8 * (at + 1), level))
        sheet.text(centre, _LINES[stage.lines[0]] - _BESIDE - 0.45, (" + ".join(words),), anchor="middle")

    return _series("inductor", labels, stage.lines, beside, least=1.8 * len(words) + 0.8)


def _common_mode_choke(stage: CommonModeStage) -> Column:
    labels = (stage.name, f"{_said(stage.part.inductance, 'H')} common mode")

    def core(sheet: Sheet, centre: float) -> None:
        sheet.line((centre, PLUS - 0.3), (centre, MINUS + 0.55), dashed=True)
        for y in (PLUS, MINUS):
            sheet.dot((centre - 0.65, y + 0.16), small=True)

    return _series("core inductor", labels, ("plus", "return"), core)


def _wire(stage: WireStage) -> Column:
    return _series("wire", (stage.name, f"wire pair, {_said(stage.part.length, 'm')}"), ("plus", "return"))


def _converter(design: Design, mark: str) -> Column:
    converter = design.converter
    clip = _clipped(design, "terminals")
    width = 9.4 + 2.0 * bool(clip) + 0.5 * bool(mark)

    def draw(sheet: Sheet, x: float) -> None:
        inner, drive = x + 3.6, x + 1.0
        sheet.part("source", (drive, MINUS), (drive, PLUS))
        sheet.text(drive + 0.6, (PLUS + MINUS) / 2 + 0.05, (_said(converter.output_voltage, "V"),))
        sheet.part("resistor", (drive, PLUS), (inner, PLUS))
        loop = _value(converter.output_resistance, "ohm", "and loop")
        sheet.text((drive + inner) / 2, PLUS + 0.5, (loop,), anchor="middle")
        sheet.part("capacitor", (inner, PLUS), (inner, MINUS), dots=True)
        sheet.text(inner + 0.45, (PLUS + MINUS) / 2, tuple(_inside(converter)))
        sheet.part("ripple source", (inner, PLUS), (inner + 2.0, PLUS))
        sheet.text(inner + 1.0, PLUS + 0.75, ("ripple",), anchor="middle")
        sheet.part("inductor", (inner + 2.0, PLUS), (inner + 3.8, PLUS))
        sheet.text(inner + 2.9, PLUS + 0.5, (_value(converter.lead_inductance, "H"),), anchor="middle")
        sheet.line((inner + 3.8, PLUS), (x + width, PLUS))
        sheet.line((drive, MINUS), (x + width, MINUS))
        _converter_chassis(sheet, converter, x)
        name = f"{converter.name}, {format_quantity(converter.switching_frequency, 'Hz')}"
        sheet.frame((x + 0.1, PLUS + 1.15), (x + 8.6, MINUS - 0.3), name)
        for y in (PLUS, MINUS):
            sheet.dot((x + 8.6, y), hollow=True)
        if mark:
            sheet.probe((x + width - 0.6, PLUS), (x + width - 0.6, MINUS), mark)
        if design.chassis:
            sheet.line((x + 0.5, CHASSIS), (x + width, CHASSIS))
            sheet.chassis_sign((x + 0.5, CHASSIS))
        if clip:
            _to_chassis(sheet, "inductor", x + 9.0, _clip(clip))

    return Column(width, draw)


def _inside(converter: Converter) -> Iterator[str]:
    yield _value(converter.output_capacitance, "F")
    yield f"{_value(converter.output_esr, 'ohm')} ESR"
    yield f"{_value(converter.output_esl, 'H')} ESL"


def _converter_chassis(sheet: Sheet, converter: Converter, x: float) -> None:
    """What reaches the chassis: the drive behind its coupling capacitance, the ways back, and the bond."""
    drive, supply = converter.common_mode, converter.supply
    if supply is not None and converter.isolated:
        _across_the_isolation(sheet, converter, supply, x)
    elif drive is not None:
        top = MINUS - 0.4
        middle = (top + CHASSIS) / 2
        sheet.line((x + 1.6, MINUS), (x + 1.6, top))
        for symbol, words, start, end in (
            ("ripple source", f"{_value(drive.swing, 'V')} swing", top, middle),
            ("capacitor", _value(drive.coupling, "F"), middle, CHASSIS),
        ):
            sheet.part(symbol, (x + 1.6, start), (x + 1.6, end))
            sheet.text(x + 2.2, (start + end) / 2, (words,))
        sheet.dot((x + 1.6, MINUS))
        sheet.dot((x + 1.6, CHASSIS))
    if supply is not None and not converter.isolated:
        _to_chassis(sheet, "inductor", x + 4.3, ("battery", _value(supply.inductance, "H")))
    if converter.bond is not None:
        _bond(sheet, converter.bond, x + 6.5)


def _across_the_isolation(sheet: Sheet, converter: Converter, supply: Supply, x: float) -> None:
    """The drive from the input's side to the return, a capacitor beside it, and the cable from there to the chassis."""
    drive, level, inside = converter.common_mode, MINUS - 1.5, x + 3.9
    if drive is not None:
        sheet.part("capacitor", (x + 1.6, MINUS), (x + 1.6, level))
        sheet.text(x + 2.0, (MINUS + level) / 2, (_value(drive.coupling, "F"),))
        sheet.part("ripple source", (x + 1.6, level), (inside, level))
        sheet.text((x + 1.6 + inside) / 2, level - 0.85, (f"{_value(drive.swing, 'V')} swing",), anchor="middle")
        sheet.dot((x + 1.6, MINUS))
    bridge = converter.bridge
    if bridge is not None and bridge.capacitance is not None:
        sheet.part("capacitor", (inside, MINUS), (inside, level), dots=True)
        sheet.text(inside + 0.4, (MINUS + level) / 2, (_said(bridge.capacitance, "F"),))
    sheet.part("inductor", (inside, level), (inside + 1.7, level))
    sheet.text(inside + 0.2, level - 0.75, ("cable", _value(supply.inductance, "H")))
    sheet.line((inside + 1.7, level), (inside + 1.7, CHASSIS))
    sheet.dot((inside + 1.7, CHASSIS))


def _clipped(design: Design, place: str) -> Clip | None:
    """The scope's clip, where it is on at this place."""
    return design.clip if design.clip is not None and design.clip.place == place else None


def _clip(clip: Clip) -> tuple[str, str]:
    return "scope's clip", _value(clip.lead_inductance, "H")


def _bond(sheet: Sheet, bond: Bond, x: float, *, top: float = MINUS) -> None:
    if bond.capacitance is not None:
        _to_chassis(sheet, "capacitor", x, ("bond", _said(bond.capacitance, "F")), top=top)
    else:
        _to_chassis(sheet, "inductor", x, ("bond", _said(bond.inductance, "H")), top=top)


def _to_chassis(sheet: Sheet, symbol: str, x: float, words: Sequence[str], *, top: float = MINUS) -> None:
    """A symbol from the return to the chassis, its words beside it."""
    sheet.line((x, top), (x, MINUS))
    sheet.part(symbol, (x, MINUS), (x, CHASSIS))
    sheet.dot((x, top))
    sheet.dot((x, CHASSIS))
    sheet.text(x + 0.4, (MINUS + CHASSIS) / 2, words)


def _load(design: Design, load: Load, mark: str) -> Column:
    fitted, last = load.input_capacitor, load is design.loads[-1]
    stray = load.stray_capacitance.stated or (design.driven and load.floats)
    clip = _clipped(design, load.name)
    reached = 1.9 if clip else 0.0
    labels = (load.name, _draws(load))
    capacitor = ("input", _times(fitted.count, _farads(fitted.part))) if fitted else ()
    lead = load.lead
    left = 2.1 if lead else 0.5
    box = left + (0.9 + text_width(capacitor) if fitted else 0.0) + 1.0 * bool(mark)
    width = box + 0.8 + max(text_width(labels), reached + 1.5 * bool(clip))

    def draw(sheet: Sheet, x: float) -> None:
        plus, minus = (PLUS - 0.55, MINUS + 0.55) if lead else (PLUS, MINUS)
        ends = x + (0.4 if lead else box)
        sheet.rails(x, ends if last else x + width, skip=("chassis",))
        end = (box if load.bond is not None or stray else 0.0) if not clip else box + reached
        sheet.rails(x, x + (end if last else width), skip=("plus", "return"))
        if lead:
            _leads(sheet, lead, (x, plus, minus), left)
        if fitted:
            sheet.part("capacitor", (x + left, plus), (x + left, minus), dots=True)
            sheet.text(x + left + 0.45, (PLUS + MINUS) / 2 - 0.05, capacitor)
        for y in (plus, minus):
            sheet.line((x + left, y), (x + box, y))
        if mark:
            sheet.probe((x + box - 0.7, plus), (x + box - 0.7, minus), mark)
        sheet.part(load.kind, (x + box, plus), (x + box, minus), dots=True)
        sheet.text(x + box + 0.72, (PLUS + MINUS) / 2, labels, named=True)
        if load.bond is not None:
            _bond(sheet, load.bond, x + box, top=minus)
        elif stray:
            _to_chassis(sheet, "capacitor", x + box, ("stray", _value(load.stray_capacitance, "F")), top=minus)
        if clip:
            sheet.line((x + box, minus), (x + box + reached, minus))
            _to_chassis(sheet, "inductor", x + box + reached, _clip(clip), top=minus)

    return Column(width, draw)


def _leads(sheet: Sheet, lead: WirePair, place: tuple[float, float, float], left: float) -> None:
    """The load's own wires, drawn heavy, from the lines to its terminals."""
    x, plus, minus = place
    for rail, inner in ((PLUS, plus), (MINUS, minus)):
        sheet.dot((x + 0.4, rail))
        sheet.part("wire", (x + 0.4, rail), (x + 0.4, inner))
        sheet.line((x + 0.4, inner), (x + left, inner))
    sheet.text(x + 0.3, (PLUS + MINUS) / 2, ("lead", _said(lead.length, "m")))


def _draws(load: Load) -> str:
    return f"{_said(*load.full_draw)} {load.kind.replace('_', ' ')}"


def _value(ranged: Ranged, unit: str, words: str = "") -> str:
    """A value of the converter; "about" where it is a default or has a range."""
    about = "" if ranged.low == ranged.high else "≈ "
    return f"{about}{_said(ranged.value, unit)} {words}".rstrip()


def _said(value: float | Values, unit: str) -> str:
    """A value of one design with its unit."""
    return format_quantity(float(value), unit)


def _farads(part: Capacitor) -> str:
    return _said(part.capacitance, "F")


def _times(count: int, text: str) -> str:
    return text if count == 1 else f"{count} × {text}"
