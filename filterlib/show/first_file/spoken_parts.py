"""Parts and loads in a few words: "1 µF film 63 V", "2 x 1 mH 5 A", "35 W"; and what is added where something is not said."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from filterlib.errors import FilterlibError, QuantityError
from filterlib.parts.tables import standard_tables
from filterlib.preferred import nearest_preferred
from filterlib.units import format_quantity, quantity

KIND_WORDS = {
    "film": "film", "polyester": "film", "polypropylene": "film",
    "ceramic": "ceramic_class_2", "mlcc": "ceramic_class_2", "x7r": "ceramic_class_2", "x5r": "ceramic_class_2",
    "c0g": "ceramic_class_1", "np0": "ceramic_class_1",
    "electrolytic": "aluminium", "aluminium": "aluminium", "aluminum": "aluminium", "polymer": "polymer", "hybrid": "polymer",
}  # fmt: skip
BULK = 22e-6  # [F] from which on a capacitor of no stated kind is taken for an electrolytic: common practice, no source
_DRAWS = (("constant_power", "power", "W"), ("constant_current", "current", "A"), ("resistive", "resistance", "ohm"))
_BOTH = re.compile(r"\b2\s*[x×*]\s*(?=[0-9.])", re.IGNORECASE)
_BOTH_WORDS = ("common", "common-mode", "cm")
_FILLING = ("mode", "choke", "capacitor", "class", "in", "of", "a", "an", "with")
_RATED_VOLTAGES = (6.3, 10.0, 16.0, 25.0, 35.0, 50.0, 63.0, 100.0, 160.0, 250.0, 400.0, 630.0, 1000.0)
HEADROOM = (
    1.5  # of rated voltage and current over what the part carries, where neither is said: common practice, no source
)
DROP = 0.06  # [V] across a choke's winding at its rated current, where its resistance is not said: common practice, no source


@dataclass(frozen=True)
class Line:
    """One line of the file: a key, its value as TOML has it, and what to know of it."""

    key: str
    value: str
    note: str = ""


@dataclass(frozen=True)
class PartAnswer:
    """A part as it was said: ``stage``, the kind of stage that it makes, and the keys of the part, or its ``name`` in a table."""

    stage: str
    lines: tuple[Line, ...] = ()
    name: str = ""


@dataclass(frozen=True)
class LoadAnswer:
    """A load as it was said: its ``kind``, and the ``key`` that states what it draws: ``value`` in ``unit``."""

    kind: str
    key: str
    value: float
    unit: str

    def current(self, volts: float) -> float:
        """What it draws [A] at a voltage [V]."""
        return {"A": self.value, "W": self.value / volts, "ohm": volts / self.value}[self.unit]


def load_of(text: str) -> LoadAnswer:
    """A load: "35 W", "3 A" or "6 ohm". Raises QuantityError.

    >>> load_of("35 W").kind
    'constant_power'
    """
    bare = re.fullmatch(r"[0-9.eE+-]+\s*[kKMmµμu]?", text.strip())
    for kind, key, unit in _DRAWS if not bare else ():
        try:
            return LoadAnswer(kind, key, quantity(text, unit, above=0), unit)
        except QuantityError:
            continue
    raise QuantityError(
        'give what it draws with its unit: a power "35 W", a current "3 A" or a resistance "6 ohm"', value=text
    )


def parts_of(text: str, volts: float, amperes: float) -> tuple[PartAnswer, ...]:
    """Parts with + between them, from the converter to the load. Raises FilterlibError as `part_of`.

    >>> [part.stage for part in parts_of("1 µF film + 2 x 1 mH + 1 µF", 19.0, 3.0)]
    ['capacitor', 'common_mode_choke', 'capacitor']
    """
    parts: list[PartAnswer] = []
    for one in re.split(r"[+;]", text):
        parts.append(part_of(one.strip(), volts, amperes, parts))
    return tuple(parts)


def part_of(text: str, volts: float, amperes: float, before: Sequence[PartAnswer] = ()) -> PartAnswer:
    """A part in a few words, or the name of one that comes with the library.

    Parameters: ``volts`` and ``amperes`` that it carries, for ratings that are not said; ``before``: the parts that were said already.
    Raises FilterlibError with what would be right.

    >>> [line.value for line in part_of("1 µF film", 19.0, 3.0).lines]
    ['"film"', '"1 µF"', '"63 V"']
    >>> part_of("2 x 1 mH 5 A 15 mohm", 19.0, 3.0).stage
    'common_mode_choke'
    """
    named = next((part for table in standard_tables() for part in table.values() if part.name == text.strip()), None)
    if named is not None:
        choke = named.kind in ("differential_choke", "common_mode_choke")
        return PartAnswer(named.kind if choke else "capacitor", name=named.name)
    if "," in text:
        raise QuantityError("has a comma: the decimal sign is a point; put + between parts", value=text)
    both = bool(_BOTH.search(text))
    said, words = _said(_BOTH.sub("", text))
    if "H" in said and "F" not in said:
        return _choke(said, both or any(word in _BOTH_WORDS for word in words), amperes)
    if "F" in said and "H" not in said and not both:
        return _capacitor(said, words, volts, before)
    raise FilterlibError(
        f'"{text}" is no part that can be read: write "1 µF film 63 V", "10 µH 5 A 20 mohm", "2 x 1 mH 5 A 15 mohm" (a winding in each '
        'line), or the name of a part that "filterlib part" lists'
    )


def _said(text: str) -> tuple[dict[str, float], list[str]]:
    """Quantities by unit, and the words between them. Raises FilterlibError for what is neither."""
    said, words, left = dict[str, float](), list[str](), text.split()
    while left:
        taken = next((count for count in (2, 1) if _take(said, " ".join(left[:count]))), 0)
        words += [] if taken else [left[0].lower()]
        left = left[taken or 1 :]
    for word in words:
        if word not in KIND_WORDS and word not in (*_BOTH_WORDS, *_FILLING):
            raise FilterlibError(f'"{word}" is not known of a part; kinds: {", ".join(KIND_WORDS)}')
    return said, words


def _take(said: dict[str, float], text: str) -> bool:
    """Whether a text is a quantity that a part may have; it is then put to what was said."""
    for unit in ("F", "H", "V", "A", "ohm"):
        try:
            said[unit] = quantity(text, unit, above=0)
        except QuantityError:
            continue
        return True
    return False


def _capacitor(
    said: Mapping[str, float], words: Sequence[str], volts: float, before: Sequence[PartAnswer]
) -> PartAnswer:
    known = next((KIND_WORDS[word] for word in words if word in KIND_WORDS), None)
    kind = known or _likely(said["F"], before)
    lines = [Line("kind", f'"{kind}"', "" if known else _NOT_SAID)]
    lines.append(Line("capacitance", text_of(said["F"], "F")))
    least = max(HEADROOM * volts, 63.0 if kind == "film" else 0.0)
    rated = said.get("V") or next((one for one in _RATED_VOLTAGES if one >= least), least)
    lines.append(Line("rated_voltage", text_of(rated, "V"), "" if "V" in said else _NOT_SAID))
    return PartAnswer("capacitor", tuple(lines))


_NOT_SAID = "not given: put the value of yours"


def _likely(farads: float, before: Sequence[PartAnswer]) -> str:
    """The kind of a capacitor of which none is said: an electrolytic where it is large, else as the one before it."""
    if farads >= BULK:
        return "aluminium"
    kinds = [
        line.value.strip('"')
        for part in before
        for line in part.lines
        if part.stage == "capacitor" and line.key == "kind"
    ]
    return kinds[-1] if kinds else "ceramic_class_2"


def _choke(said: Mapping[str, float], both: bool, amperes: float) -> PartAnswer:
    rated = said.get("A") or nearest_preferred(HEADROOM * amperes, "E12")
    resistance = said.get("ohm") or nearest_preferred(DROP / rated, "E12")
    return PartAnswer(
        "common_mode_choke" if both else "differential_choke",
        (
            Line("inductance", text_of(said["H"], "H"), "of one winding" if both else ""),
            Line("rated_current", text_of(rated, "A"), "" if "A" in said else _NOT_SAID),
            Line("dc_resistance", text_of(resistance, "ohm"), "" if "ohm" in said else _NOT_SAID),
        ),
    )


def text_of(value: float, unit: str) -> str:
    """A quantity as TOML has it: text in quotes."""
    return f'"{format_quantity(value, unit, 6)}"'
