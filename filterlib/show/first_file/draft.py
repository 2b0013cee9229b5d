"""The first design file as text: what was answered, with a note at each key, and what would narrow the answer, commented out."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator

from filterlib.show.first_file.answers import TOPOLOGIES, Answers
from filterlib.show.first_file.spoken_parts import Line, LoadAnswer, PartAnswer, text_of
from filterlib.units import format_quantity

SHARE = (
    0.1  # of the ripple that was read: what the load is taken to bear where nothing is said; common practice, no source
)
_COLUMN = 36  # at which notes begin


def draft(name: str, said: Answers, schema: str) -> str:
    """A design file of what was answered (`filterlib.show.first_file.answers.answers`), called ``name``.

    ``schema``: path of the JSON schema that its first line names, for editors.
    """
    head = [
        *([f"#:schema {schema}"] if schema else []),
        '# Quantities as on paper: "4.7 µF", "300 mV", "22 µF ± 20 %". What is left out is a default with a range: the review',
        "# lists it. A line behind # is not read: take the # away and put your value. Every key is explained by: filterlib schema",
        "",
    ]
    lines: list[str] = [*head, *_written([Line("name", json.dumps(name, ensure_ascii=False), "title of the review")])]
    for title, section in (
        ("[converter]", _converter(said)),
        ("[converter.ripple]", _ripple(said)),
        ("[converter.spike]", _spike(said)),
    ):
        lines += ["", *_headed(title, section)]
    for number, part in enumerate(said["filter"] or (), 1):
        lines += ["", *(["# The filter, from the converter to the load"] if number == 1 else []), *_stage(part)]
    lines += ["", *_load(said["load"], said["load_capacitor"]), "", *_requirement(said)]
    return "\n".join(lines) + "\n"


def _written(lines: Iterable[Line]) -> list[str]:
    return [
        f"{f'{one.key} = {one.value}':{_COLUMN}}  # {one.note}" if one.note else f"{one.key} = {one.value}"
        for one in lines
    ]


def _headed(title: str, lines: Iterable[Line]) -> list[str]:
    """A section; one of which every key is commented out is commented out whole."""
    written = _written(lines)
    silent = all(line.startswith("#") for line in written)
    return [f"# {title}" if silent else title, *written]


def _given(said: Answers, name: str, key: str, unit: str, note: str, example: str = "") -> Iterator[Line]:
    """What was answered, or the key commented out with an example."""
    value = said[name]
    if value is not None or example:
        mark = "" if value is not None else "# "
        yield Line(f"{mark}{key}", text_of(value, unit) if value is not None else f'"{example}"', note)


def _converter(said: Answers) -> Iterator[Line]:
    yield Line("name", json.dumps(f"{said['kind'] or 'the'} converter"))
    yield from _given(said, "input_voltage", "input_voltage", "V", "where the ripple was read", "12 V")
    yield from _given(said, "output_voltage", "output_voltage", "V", "regulated")
    yield from _given(said, "frequency", "switching_frequency", "Hz", "")
    shape, isolated = TOPOLOGIES.get(said["kind"], (None, False))
    what = 'current into its output capacitor: "pulse" (step-up, flyback), "triangle" (step-down, forward)'
    yield Line("shape" if shape else "# shape", f'"{shape or "pulse"}"', what)
    if isolated:
        yield Line("isolated", "true")
    yield Line(
        "# output_capacitance", '"22 µF ± 20 %"', "inside: this and the next narrow the answer most, if you know them"
    )
    yield Line("# output_esr", '"20 mΩ ± 50 %"', "of that capacitor")
    if said["current"]:
        yield Line(
            "# rating",
            f"{{ output_current = {text_of(said['current'], 'A')} }}",
            "what it may deliver: judged, where stated",
        )


def _ripple(said: Answers) -> Iterator[Line]:
    yield from _given(said, "ripple", "peak_to_peak", "V", "at its terminals, without the filter")
    band = said["bandwidth"]
    full = band is None and said["bandwidth_said"]
    yield Line("bandwidth", '"full"' if full else text_of(band or 20e6, "Hz"), "of the scope")
    yield from _given(said, "current", "load_current", "A", "while it was read", "1 A")
    yield Line(
        "# rms", text_of(said["ripple"] / 4, "V"), "of the same reading, if the scope shows it: narrows the answer"
    )


def _spike(said: Answers) -> Iterator[Line]:
    example = format_quantity(3 * said["ripple"], "V", 2)
    yield from _given(said, "spike", "peak_to_peak", "V", "with the spikes, in full bandwidth", example)
    if said["spike"] is not None:
        yield from _given(said, "current", "load_current", "A", "while it was read", "1 A")


def _stage(part: PartAnswer) -> list[str]:
    if part.name:
        return [
            "[[filter]]",
            *_written([Line("kind", f'"{part.stage}"'), Line("part", f'"{part.name}"', "of filterlib's tables")]),
        ]
    return [
        "[[filter]]",
        *_written([Line("kind", f'"{part.stage}"')]),
        *_written(Line(f"part.{one.key}", one.value, one.note) for one in part.lines),
    ]


def _load(load: LoadAnswer, capacitor: PartAnswer | None) -> list[str]:
    steady = {"constant_power": "as a converter draws it", "constant_current": "", "resistive": ""}[load.kind]
    lines = [
        Line("name", '"device"'),
        Line("kind", f'"{load.kind}"', steady),
        Line(load.key, text_of(load.value, load.unit)),
    ]
    start = "input_capacitor.part"
    if capacitor is None:
        lines.append(
            Line(f"# {start}", '{ kind = "aluminium", capacitance = "470 µF", rated_voltage = "35 V" }', "at its input")
        )
    elif capacitor.name:
        lines.append(Line(start, f'"{capacitor.name}"', "of filterlib's tables"))
    else:
        lines += [Line(f"{start}.{one.key}", one.value, one.note) for one in capacitor.lines]
    return ["[[load]]", *_written(lines)]


def _requirement(said: Answers) -> list[str]:
    limit = said["limit"] or SHARE * said["ripple"]
    note = (
        "peak to peak" if said["limit"] else "not given: a tenth of the ripple that was read; put what your load allows"
    )
    lines = [
        Line("kind", '"ripple"'),
        Line("load", '"device"'),
        Line("limit", text_of(float(f"{limit:.3g}"), "V"), note),
    ]
    return ["[[requirement]]", *_written([*lines, Line("bandwidth", '"20 MHz"')])]
