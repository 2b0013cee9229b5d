"""One value of a design changed by its key, as in the design file: what a slider does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from filterlib.errors import FilterlibError, did_you_mean
from filterlib.parts.base import Part
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.system.design import Design
from filterlib.system.ranged import Ranged

LOOP = "loop_leakage"
CHANGED = ", changed"  # behind the name of a part whose values were changed


def changed(design: Design, values: Mapping[str, Any]) -> Design:
    """A design with other values, checked again.

    Parameters
    ----------
    design : Design
    values : mapping
        By key: "converter.FIELD", "converter.SECTION.FIELD", "filter.NAME.FIELD" (of the stage, or of its part),
        "load.NAME.FIELD" (of the load, its lead, its input capacitor's part), "point.NAME.FIELD", "clip.FIELD" where
        a clip is on; "converter" and "filter.NAME.part" take a whole converter and a whole part. The field "loop_leakage"
        of a common-mode choke is the leakage of both windings in series, however the part states it. Applied in order.
        Text is read as in a design file; a number where a range stands moves the range with it, in ratio.

    Raises
    ------
    FilterlibError
        For a key that leads nowhere, with the nearest one, and for a value that cannot be.

    Examples
    --------
    >>> from filterlib.parts.tables import data_folder
    >>> from filterlib.system.files import load_design
    >>> design = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> more = changed(design, {"filter.C1.capacitance": "4.7 µF", "converter.output_esr": 0.012})
    >>> value(more, "filter.C1.capacitance"), round(more.converter.output_esr.high, 6)
    (4.7e-06, 0.0168)
    """
    held: dict[str, Any] = {name: getattr(design, name) for name in (*_SINGLE, *_LISTS.values())}
    for key, given in values.items():
        head, *path = key.split(".")
        if key == "converter":
            held[key] = given
        elif head in _SINGLE and path:
            held[head] = _set(_there(held[head], key), path, given, key)
        elif head in _LISTS and len(path) > 1:
            items = held[_LISTS[head]]
            at = _place(items, path[0], key)
            held[_LISTS[head]] = (*items[:at], _set(items[at], path[1:], given, key), *items[at + 1 :])
        else:
            raise FilterlibError(f"{key}: {_NOWHERE}")
    new = {name: one for name, one in held.items() if one is not getattr(design, name)}
    return design.replace(**new) if new else design


def value(design: Design, key: str) -> Any:
    """What stands under a key of `changed`; of a range the nominal value. Raises FilterlibError as `changed`."""
    head, *path = key.split(".")
    if head in _SINGLE and path:
        held = _there(getattr(design, head), key)
    elif head in _LISTS and len(path) > 1:
        items = getattr(design, _LISTS[head])
        held, path = items[_place(items, path[0], key)], path[1:]
    else:
        raise FilterlibError(f"{key}: {_NOWHERE}")
    for name in path:
        held = getattr(_owner(held, name, key), name)
    return held.value if isinstance(held, Ranged) else held


_NOWHERE = "leads to no value; a key begins with converter, clip, filter.NAME, load.NAME or point.NAME"
_SINGLE = ("converter", "clip")
_LISTS = {"filter": "filter", "load": "loads", "point": "operating_points"}
_WITHIN = ("part", "input_capacitor", "lead")  # looked into, where a field is not found


def _there(held: Any, key: str) -> Any:
    if held is None:
        raise FilterlibError(f"{key}: no clip is on; state a clip in the design first")
    return held


def _place(items: Any, name: str, key: str) -> int:
    names = [item.name for item in items]
    if name not in names:
        raise FilterlibError(f'{key}: nothing is called "{name}"; {did_you_mean(name, names)}')
    return names.index(name)


def _owner(held: Any, name: str, key: str) -> Any:
    """What has the field: the thing itself, or what stands within it."""
    if _has(held, name):
        return held
    inner = [getattr(held, one) for one in _WITHIN if getattr(held, one, None) is not None]
    for one in inner:
        if (found := _reach(one, name)) is not None:
            return found
    known = {field for one in (held, *inner) for field in type(one).model_fields}
    raise FilterlibError(f'{key}: no value called "{name}"; {did_you_mean(name, known)}')


def _has(held: Any, name: str) -> bool:
    return name in type(held).model_fields or (name == LOOP and isinstance(held, CommonModeChoke))


def _reach(held: Any, name: str) -> Any:
    if _has(held, name):
        return held
    part = getattr(held, "part", None)
    return _reach(part, name) if part is not None else None


def _set(held: Any, path: list[str], given: Any, key: str) -> Any:
    """What holds a value, with another one; itself where it has that one already."""
    name, *rest = path
    if name == LOOP and isinstance(held, CommonModeChoke):
        loop = {"leakage": given, "leakage_measured": "loop"}
        return held if given == held.loop_leakage else held.replace(**loop, **_renamed(held, name, given))
    if _owner(held, name, key) is not held:
        name = next(
            one for one in _WITHIN if getattr(held, one, None) is not None and _reach(getattr(held, one), path[0])
        )
        rest = path
    old = getattr(held, name)
    new = _set(old, rest, given, key) if rest else _moved(old, given)
    if new is old or (isinstance(old, float) and new == old):
        return held
    return held.replace(**{name: new} | ({} if rest else _renamed(held, name, given)))


def _renamed(held: Any, name: str, given: Any) -> dict[str, str]:
    """A part with another value is not the one of the table any more, and says so."""
    if not isinstance(held, Part) or name == "name" or given == getattr(held, name) or not held.name:
        return {}
    return {"name": held.name if held.name.endswith(CHANGED) else held.name + CHANGED}


def _moved(old: Any, given: Any) -> Any:
    """A number in place of a range takes the range along."""
    if not isinstance(old, Ranged) or not isinstance(given, int | float) or old.known or not old.value:
        return given
    if given == old.value:
        return old
    ratio = given / old.value
    return replace(old, value=given, low=old.low * ratio, high=old.high * ratio, stated=True, why="")
