"""A place in a design, named by its key as in the design file: what is there, and the design with something else there."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import reduce
from typing import Any, TypeAlias

from pydantic import BaseModel

from filterlib.errors import FilterlibError, did_you_mean
from filterlib.parts.common_mode_choke import CommonModeChoke

Path: TypeAlias = tuple[str | int, ...]
"""The way from a design to a place: fields by name, entries of a list by their number."""
Write: TypeAlias = Callable[[BaseModel, dict[str, object]], object]
"""Makes a model (or part) with other values of the fields named, from the old one."""

LOOP = "loop_leakage"  # of a common-mode choke: both windings in series, however the part states its leakage
_SECTIONS = ("converter", "clip", "input_side", "battery", "supply_wire", "fuse", "switch")
_LISTS = {"filter": "filter", "load": "loads", "point": "operating_points", "coupling": "couplings"}
_WITHIN = ("part", "input_capacitor", "lead")  # searched too, where a model has no such field itself
_NOWHERE = (
    "leads to no value; a key begins with converter, clip, input_side, battery, supply_wire, fuse, switch, filter.NAME, load.NAME, point.NAME or "
    "coupling.NAME-NAME"
)


def path(design: BaseModel, key: str) -> Path:
    """The way to the place that a key names.

    Parameters
    ----------
    design : BaseModel
        A `Design`.
    key : str
        "converter.FIELD", "converter.SECTION.FIELD", "clip.FIELD", "input_side.FIELD", "battery.FIELD" and so on, "filter.NAME.FIELD" (of the
        stage, or of its part), "load.NAME.FIELD" (of the load, its lead, its input capacitor's part),
        "point.NAME.FIELD", "coupling.NAME-NAME"; "converter" and "filter.NAME.part" are the whole converter and part.

    Raises
    ------
    FilterlibError
        For a key that leads nowhere, with the nearest one.
    """
    head, *names = key.split(".")
    if key == "converter":
        return ("converter",)
    if head == "coupling" and len(names) == 1:
        names.append("mutual")
    if head in _SECTIONS and names:
        start: Path = (head,)
    elif head in _LISTS and len(names) > 1:
        start = (_LISTS[head], _number(getattr(design, _LISTS[head]), names.pop(0), key))
    else:
        raise FilterlibError(f"{key}: {_NOWHERE}")
    for count, name in enumerate(names):
        model = at(design, start)
        if not isinstance(model, BaseModel):
            above = key.removesuffix("." + ".".join(names[count:]))
            why = f"the design has no {above}; state it first" if model is None else f"{above} is one value"
            raise FilterlibError(f"{key}: {why}")
        start += _steps(model, name, key)
    return start


def at(design: BaseModel, path: Path) -> Any:
    """What is at a place."""
    return reduce(_step, path, design)


def rebuilt(whole: Any, values: Mapping[Path, object], write: Write) -> Any:
    """The design (or model) with other values at the ends of paths; each model on the way is written once."""
    if () in values:
        return values[()]
    below: dict[Any, dict[Path, object]] = {}
    for (step, *rest), value in values.items():
        below.setdefault(step, {})[tuple(rest)] = value
    new = {step: rebuilt(_step(whole, step), some, write) for step, some in below.items()}
    if not isinstance(whole, tuple):
        return write(whole, new)
    same = all(new[number] is whole[number] for number in new)
    return whole if same else tuple(new.get(number, entry) for number, entry in enumerate(whole))


def _step(whole: Any, step: str | int) -> Any:
    return whole[step] if isinstance(step, int) else getattr(whole, step)


def _number(entries: Iterable[Any], name: str, key: str) -> int:
    names = [entry.name for entry in entries]
    if name not in names:
        raise FilterlibError(f'{key}: nothing is called "{name}"; {did_you_mean(name, names)}')
    return names.index(name)


def _steps(model: BaseModel, name: str, key: str) -> Path:
    """From a model to the field of that name: its own, or one of what is within it."""
    steps = _within(model, name)
    if steps is None:
        inner = [getattr(model, one) for one in _WITHIN if getattr(model, one, None) is not None]
        known = {field for one in (model, *inner) for field in type(one).model_fields}
        raise FilterlibError(f'{key}: no value called "{name}"; {did_you_mean(name, known)}')
    return steps


def _within(model: BaseModel, name: str) -> Path | None:
    if name in type(model).model_fields or (name == LOOP and isinstance(model, CommonModeChoke)):
        return (name,)
    for inner in _WITHIN:
        if getattr(model, inner, None) is not None and (steps := _within(getattr(model, inner), name)) is not None:
            return (inner, *steps)
    return None
