"""What a design file says twice, or against itself: the same requirement, windows of voltage without a common part, a limit named again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from filterlib.errors import FilterlibError, Problem
from filterlib.system.model import Given, read
from filterlib.units import quantity


def said_twice(requirements: Sequence[object], emissions: Sequence[object]) -> Iterator[Problem]:
    """Problems with requirements and estimates as the file has them, each at the later place of the two."""
    for number, wanted in enumerate(requirements):
        for earlier, other in enumerate(requirements[:number], 1):
            if _alike(wanted) == _alike(other):
                yield Problem(
                    "", f"requirement[{number + 1}]", None, f"the same as requirement[{earlier}]: leave one out"
                )
            elif _apart(wanted, other):
                why = f"no voltage is in this window and in that of requirement[{earlier}]; both are for the same load"
                yield Problem("", f"requirement[{number + 1}]", None, why)
            else:
                continue
            break
    for number, estimate in enumerate(emissions, 1):
        limits = read(estimate, "limits")
        for place, limit in enumerate(limits if isinstance(limits, list | tuple) else ()):
            if limit in limits[:place]:
                shown = limit if isinstance(limit, str) else None
                why = f"the same as limits[{limits.index(limit) + 1}]: leave one out"
                yield Problem("", f"emission[{number}].limits[{place + 1}]", shown, why)
                break


def _alike(wanted: object) -> object:
    """What a requirement asks, without its note; an object of its own where that is no table."""
    fields: Given = wanted if isinstance(wanted, dict) else getattr(wanted, "__dict__", {"": object()})
    return {key: value for key, value in fields.items() if key != "note"}


def _apart(wanted: object, other: object) -> bool:
    """True for two windows of voltage at one load that have nothing in common."""
    if not all(read(one, "kind") == "voltage" for one in (wanted, other)) or read(wanted, "load") != read(
        other, "load"
    ):
        return False
    try:
        ends = [quantity(read(one, end), "V") for one in (wanted, other) for end in ("low", "high")]
    except FilterlibError:
        return False  # said elsewhere
    return ends[1] < ends[2] or ends[3] < ends[0]
