"""A design changed: one value by its key, as in the design file (what a slider does), or a scope's clip put on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from filterlib.errors import FilterlibError, did_you_mean
from filterlib.parts.base import Part
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.system.design import Design
from filterlib.system.line.clip import TERMINALS, Clip
from filterlib.system.ranges.places import LOOP, at, path, rebuilt
from filterlib.system.ranges.ranged import Ranged

CHANGED = ", changed"  # behind the name of a part whose values were changed


def changed(design: Design, values: Mapping[str, object]) -> Design:
    """A design with other values, checked again.

    Parameters
    ----------
    design : Design
    values : mapping
        By key, as `filterlib.system.ranges.places.path` reads it; the field "loop_leakage" of a common-mode choke is the
        leakage of both windings in series, however the part states it. Applied in order. Text is read as in a design
        file; a number in place of a range moves the range with it, in ratio.

    Raises
    ------
    FilterlibError
        For a key that leads nowhere, with the nearest one, and for a value that cannot be.

    Examples
    --------
    >>> from filterlib.parts.tables import data_folder
    >>> from filterlib import load_design
    >>> design = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> more = changed(design, {"filter.C1.capacitance": "4.7 µF", "converter.output_esr": 0.012})
    >>> value(more, "filter.C1.capacitance"), round(more.converter.output_esr.high, 6)
    (4.7e-06, 0.0168)
    """
    draft = design
    for key, new in values.items():
        draft = with_coupling(draft, key)
        draft = rebuilt(draft, {path(draft, key): new}, _checked)
    fields = {name: getattr(draft, name) for name in type(design).model_fields}
    new = {name: field for name, field in fields.items() if field is not getattr(design, name)}
    return design.replace(**new) if new else design


def value(design: Design, key: str) -> Any:
    """What is under a key of `changed`; of a range the nominal value. Raises FilterlibError as `changed`.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> filterlib.value(design, "converter.duty")
    0.55
    """
    design = with_coupling(design, key)
    there = at(design, path(design, key))
    return there.value if isinstance(there, Ranged) else there


def with_clip(design: Design, place: str, clip: Clip | None = None) -> Design:
    """A design with the clip of an earthed oscilloscope on the return at a place.

    Parameters
    ----------
    design : Design
    place : str
        "terminals", or the name of a load.
    clip : Clip, optional
        Another lead and earth than the defaults.

    Returns
    -------
    Design
        With the clip as one more bond; its ripple then has the places `MEASURED` and `OWN_CLIP` too, and at ``place`` what
        is truly there while the clip is on.

    Raises
    ------
    FilterlibError
        Where there is no such place, or no chassis (`InputError`).
    """
    places = [TERMINALS, *(load.name for load in design.loads)]
    if place not in places:
        raise FilterlibError(f'no place "{place}"; {did_you_mean(place, places)}')
    return design.replace(clip=Clip(place=place) if clip is None else clip.replace(place=place))


def _checked(model: Any, values: dict[str, object]) -> object:
    """A model with other values, checked; itself where it has them already. The design itself is checked once, at the end."""
    new = {name: _moved(getattr(model, name), one) for name, one in values.items()}
    new = {name: one for name, one in new.items() if not _same(getattr(model, name), one)}
    if not new:
        return model
    if isinstance(model, Design):
        return model.model_copy(update=new)
    if isinstance(model, Part):
        new |= _renamed(model, new)
    if isinstance(model, CommonModeChoke) and LOOP in new:
        new |= {"leakage": new.pop(LOOP), "leakage_measured": "loop"}
    return model.replace(**new)


def _same(old: object, new: object) -> bool:
    return new is old or (isinstance(old, float | str) and isinstance(new, float | int | str) and new == old)


def _renamed(part: Part, new: dict[str, object]) -> dict[str, str]:
    """A part with another value is not the one of the table any more, and says so."""
    return {} if "name" in new or not part.name or part.name.endswith(CHANGED) else {"name": part.name + CHANGED}


def _moved(old: object, new: object) -> object:
    """A number in place of a range takes the range along."""
    if not isinstance(old, Ranged) or not isinstance(new, int | float) or old.known or not old.value:
        return new
    if new == old.value:
        return old
    return old.scaled(new)


def with_coupling(design: Design, key: str) -> Design:
    """The design with the coupling that a key names among its own, where it is a default between neighbours."""
    name = key.removeprefix("coupling.").split(".")[0]
    if not key.startswith("coupling.") or name in [one.name for one in design.couplings]:
        return design
    more = tuple(one for one in design.all_couplings if one.name == name)
    return design.model_copy(update={"couplings": (*design.couplings, *more)})
