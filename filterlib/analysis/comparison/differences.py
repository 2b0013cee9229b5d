"""What two design files state differently: key by key, as the files have it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TypeGuard

from filterlib.system.design import Design
from filterlib.system.file.writing import stated
from filterlib.system.ranges.ranged import ENDS
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.units import format_quantity

NOTHING = "not stated"
LONGEST = 160  # characters of a value before it is cut
_WHERE = ("load", "side", "first", "second")
_ASIDE = {"name", "note", "format", "tables"}  # of the file itself: no property of the circuit


@dataclass(frozen=True)
class Difference:
    """One ``key`` of the design file, stages and loads by their names, and what each file has there, as text."""

    key: str
    first: str
    second: str

    @property
    def section(self) -> str:
        """The section of the design file: "converter", "filter", "load" ..."""
        return self.key.partition(".")[0]


def differences(first: Design, second: Design) -> tuple[Difference, ...]:
    """Everything that two files state differently, in the order of the file; titles and notes aside.

    Where one file is silent and a default with a range is used, that is listed too. Other defaults are not.

    >>> from filterlib.parts.tables import data_folder
    >>> from filterlib import load_design
    >>> one = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> differences(one, one.replace(service_life="43800 h"))
    (Difference(key='service_life', first='87600 h', second='43800 h'),)
    >>> differences(one, one.replace(name="another name"))
    ()
    """
    stated_values = [{key: value for key, value in stated(one).items() if key not in _ASIDE} for one in (first, second)]
    defaults = [{u.key: _range(u) for u in uncertain_parameters(one) if not u.stated} for one in (first, second)]
    return tuple(_with_default(one, defaults) for one in _differ("", *stated_values) if not one.key.endswith(".note"))


def _with_default(one: Difference, defaults: list[dict[str, str]]) -> Difference:
    """With the default that is used where a file is silent."""
    texts = (
        f"{NOTHING}: {known[one.key]}" if text == NOTHING and one.key in known else text
        for text, known in zip((one.first, one.second), defaults, strict=True)
    )
    return Difference(one.key, *texts)


def _range(parameter: UncertainParameter) -> str:
    nominal, low, high = (
        format_quantity(v, parameter.unit) for v in (parameter.nominal, parameter.low, parameter.high)
    )
    return f"{nominal} ({low} to {high})"


def _differ(key: str, first: object, second: object) -> Iterator[Difference]:
    if first == second:
        return
    one, two = _by_name(first), _by_name(second)
    if not (_table(one) and _table(two)):
        yield Difference(key, *_texts(first, second))
        return
    for name in dict.fromkeys((*one, *two)):
        yield from _differ(f"{key}.{name}" if key else name, one.get(name), two.get(name))
    shared = [[name for name in names if name in one and name in two] for names in (one, two)]
    if key == "filter" and shared[0] != shared[1]:
        yield Difference("filter", *(f"in the order {', '.join(names)}" for names in shared))


def _by_name(value: object) -> object:
    """A list of tables as a table: each by its name, else by its kind and its place, else by its number."""
    if not isinstance(value, list) or not value or not all(isinstance(one, dict) for one in value):
        return value
    table: dict[str, object] = {}
    for number, one in enumerate(value, 1):
        name = _text(one["name"]) if "name" in one else " ".join(_text(one[k]) for k in ("kind", *_WHERE) if k in one)
        table[f"{name} {number}".strip() if not name or name in table else name] = one
    return table


def _table(value: object) -> TypeGuard[Mapping[str, object]]:
    """True for what is looked into; a range is one value."""
    return isinstance(value, Mapping) and set(value) != set(ENDS)


def _texts(first: object, second: object) -> tuple[str, str]:
    """Both as one reads them: long decimals are cut, unless only they tell the two apart."""
    texts = _text(first), _text(second)
    cut = tuple(re.sub(r"\d+\.\d{4,}", lambda match: f"{float(match[0]):.4g}", text) for text in texts)
    return (cut[0], cut[1]) if cut[0] != cut[1] else texts


def _text(value: object) -> str:
    """A value as one reads it."""
    if value is None:
        return NOTHING
    if isinstance(value, Mapping) and set(value) == set(ENDS):
        return f"{_text(value['value'])} ({_text(value['low'])} to {_text(value['high'])})"
    text = str(value)
    if isinstance(value, Mapping):
        phrases = [
            f"{name.replace('_', ' ')} {_text(one)}" for name, one in value.items() if name not in ("name", "note")
        ]
        text = ", ".join(phrases) or "stated, with its defaults"
    elif isinstance(value, list):
        text = ("; " if any(isinstance(one, dict) for one in value) else ", ").join(map(_text, value)) or "none"
    elif text.startswith('"'):
        text = str(json.loads(text))
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"
