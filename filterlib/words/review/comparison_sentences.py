"""The opening of a comparison: what differs between two designs, and the ripple that remains at each load, in plain sentences."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from filterlib.analysis.comparison.comparison_result import LABELS, ComparisonResult, LoadComparison
from filterlib.analysis.comparison.differences import Difference
from filterlib.system.design import Design
from filterlib.words.labels import source_phrase
from filterlib.words.quantities import capital, joined, number
from filterlib.words.stability_sentences import reason_text

ALIKE = 1.05  # ratio below which two figures are called about the same: in two digits it is 1
MOST = 4  # keys that a sentence lists
_SEVERAL = ("load", "operating_point", "requirement", "emission", "coupling", "accepted")
_SECTIONS = {
    "load": "loads",
    "operating_point": "operating points",
    "requirement": "requirements",
    "emission": "required emissions",
    "input_side": "the converter's input",
    "coupling": "couplings",
    "accepted": "accepted ratings",
    "chassis": "the chassis",
    "insulation": "the chassis' insulation",
    "clip": "the oscilloscope's clip",
    "service_life": "the service life",
}


def comparison_sentences(result: ComparisonResult) -> tuple[str, ...]:
    """All of it: what differs, then the ripple that remains at every load."""
    return (*opening(result), *(sentence for one in result.loads for sentence in what_is_left(result, one)))


def in_short(result: ComparisonResult) -> tuple[str, ...]:
    """Two sentences: what differs, and how much more is left in which, at the first load of both."""
    first = opening(result)[0]
    one = result.loads[0]
    if any(left.reason is not None for left in one.lefts):
        return first, next(what_is_left(result, one))
    a, b = (left.ripple for left in one.lefts)
    figures = f"{number(a, 'V')} in A, {number(b, 'V')} in B (20 MHz)"
    if not (a and b) or _alike(a, b):
        return first, f"At {one.load} both leave about the same: {figures}."
    more, ratio = ("B", b / a) if b > a else ("A", a / b)
    return first, f"At {one.load} {more} leaves {_round(ratio)} times as much ripple: {figures}."


def opening(result: ComparisonResult) -> tuple[str, ...]:
    """What differs."""
    return tuple(what_differs(result.designs, result.differences))


def what_is_left(result: ComparisonResult, one: LoadComparison) -> Iterator[str]:
    """The ripple that remains at a load in each, and what makes most of it; of designs that do not differ, one figure tells both."""
    unstable = [(label, left) for label, left in zip(LABELS, one.lefts, strict=True) if left.reason is not None]
    if unstable:
        for label, left in unstable:
            yield f"At {one.load}, {label} has no steady ripple at {left.point}: it is {reason_text(left.reason)}."
        return
    identical = not result.differences
    points = [left.point for left in one.lefts]
    at = points[0] if points[0] == points[1] else f"A: {points[0]}, B: {points[1]}"
    narrow = _pair([left.ripple for left in one.lefts], [left.ripple_before for left in one.lefts], identical)
    wide = _pair([left.spike for left in one.lefts], [left.spike_before for left in one.lefts], identical)
    yield f"At {one.load} ({at}), in 20 MHz {narrow}; in full bandwidth {wide}."
    if not identical:
        yield from _from_where(one)


def what_differs(designs: tuple[Design, Design], differences: tuple[Difference, ...]) -> Iterator[str]:
    """Which parts of two designs differ, by what their files state differently."""
    if not differences:
        yield "Both files state the same design, so every figure is the same in A and in B."
        return
    sections = {one.section for one in differences}
    first, second = (design.converter.name for design in designs)
    chains = [_chain(design) for design in designs]
    if not sections & {"filter", "converter"}:
        yield f"A and B have the same converter, {first}, and the same filter ({chains[0]})."
    elif "filter" not in sections:
        yield f"It is the same filter ({chains[0]}) on two converters: {_converters(first, second, differences)}."
    elif "converter" not in sections:
        yield f"They are two filters on the same converter, {first}: {_filters(chains, differences)}."
    else:
        yield (
            f"Converter and filter both differ: A has {chains[0]} behind {first}, B has {chains[1]} behind {second}; what "
            "follows compares the whole of each, and neither part alone."
        )
    others = [name for name in dict.fromkeys(one.section for one in differences) if name not in ("converter", "filter")]
    if others:
        verb = "differ" if len(others) > 1 or others[0] in _SEVERAL else "differs"
        also = "also" if sections & {"converter", "filter"} else "alone"
        keys = [one.key for one in differences if one.section == "load"]
        where = f" ({', '.join(keys)})" if 0 < len(keys) <= 4 else ""
        yield f"{capital(joined([_SECTIONS.get(name, name) for name in others]))} {also} {verb}{where}."


def _converters(first: str, second: str, differences: tuple[Difference, ...]) -> str:
    own = [one.key for one in differences if one.section == "converter"]
    if first == second:
        return f"both are called {first}, but differ in {_listed(key.removeprefix('converter.') for key in own)}"
    alone = ", which differ in their names alone" if own == ["converter.name"] else ""
    return f"A behind {first}, B behind {second}{alone}"


def _filters(chains: list[str], differences: tuple[Difference, ...]) -> str:
    if chains[0] != chains[1]:
        return f"A has {chains[0]}, B has {chains[1]}"
    own = [one for one in differences if one.section == "filter"]
    values = (f"{one.key.removeprefix('filter.')} ({one.first} in A, {one.second} in B)" for one in own)
    return f"both have {chains[0]}, and differ in {_listed(values)}"


def _listed(words: Iterable[str]) -> str:
    """The first few, and how many more."""
    items = list(words)
    more = [f"{len(items) - MOST} more"] if len(items) > MOST else []
    return joined([*items[:MOST], *more])


def _chain(design: Design) -> str:
    return ", ".join(stage.name for stage in design.filter) or "no filter"


def _pair(after: list[float], before: list[float], identical: bool) -> str:
    a, b = (_one(left, bare) for left, bare in zip(after, before, strict=True))
    if identical:
        return f"both leave {a}"
    return f"A leaves {a} and B {b}{_ratio(*after)}"


def _one(left: float, bare: float) -> str:
    return f"{number(left, 'V')} of {number(bare, 'V')} ({_change(left, bare)})"


def _change(left: float, bare: float) -> str:
    """What the filter does to a figure.

    >>> _change(1.0, 25.0), _change(3.0, 2.0), _change(1.0, 1.0)
    ('divided by 25', 'multiplied by 1.5', 'about as much as without the filter')
    """
    if not left:
        return "nothing is left"
    if _alike(left, bare):
        return "about as much as without the filter"
    return f"divided by {_round(bare / left)}" if left < bare else f"multiplied by {_round(left / bare)}"


def _ratio(first: float, second: float) -> str:
    if not (first and second):
        return ""
    if _alike(first, second):
        return ", about the same"
    more, ratio = ("B", second / first) if second > first else ("A", first / second)
    return f", so that {_round(ratio)} times as much is left in {more}"


def _alike(first: float, second: float) -> bool:
    return max(first, second) < ALIKE * min(first, second)


def _round(ratio: float) -> str:
    """Two digits, without a power of ten.

    >>> _round(1.234), _round(16.4), _round(5432.0)
    ('1.2', '16', '5400')
    """
    return f"{float(f'{ratio:.2g}'):.10g}"


def _from_where(one: LoadComparison) -> Iterator[str]:
    """The source that makes most in 20 MHz, alone."""
    first, second = (reasons.sources[0] for reasons in one.reasons)
    alone = [number(source.ripple_alone, "V") for source in (first, second)]
    if first.name == second.name:
        yield f"In both most of it comes from {source_phrase(first.name)} (alone {alone[0]} in A, {alone[1]} in B)."
    else:
        yield (
            f"In A most of it comes from {source_phrase(first.name)} (alone {alone[0]}), in B from {source_phrase(second.name)} "
            f"(alone {alone[1]})."
        )
