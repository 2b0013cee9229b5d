"""Ratings that a person accepts as exceeded: of which part, which rating, and why; and what each kind of part is rated for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Annotated, Literal

from pydantic import AfterValidator

from filterlib.errors import Problem, did_you_mean
from filterlib.system.model import Model, Note, read

Rating = Literal[
    "current", "peak current", "unbalanced current", "balanced current", "ripple current", "voltage", "temperature rise", "life",
    "output current", "output power",
]  # fmt: skip
"""What a part is held against, as the table of stresses names it."""
_CAPACITOR: tuple[Rating, ...] = "ripple current", "voltage", "temperature rise", "life"
RATINGS: dict[str, tuple[Rating, ...]] = {
    "capacitor": _CAPACITOR,
    "capacitor_to_chassis": _CAPACITOR,
    "damping": _CAPACITOR,
    "differential_choke": ("current", "peak current", "temperature rise"),
    "converter": ("output current", "output power"),
    "common_mode_choke": ("current", "unbalanced current", "balanced current", "temperature rise"),
}
"""Ratings by the kind of stage, and of the converter; a wire has none."""


def _reason(text: str) -> str:
    if not text.strip():
        raise ValueError("say in a few words why the rating may be exceeded; the page prints it")
    return text


class AcceptedRating(Model):
    """A ``rating`` of a ``part`` ("converter", a stage, or a load for its input capacitor) that may be exceeded, for this ``reason``.

    >>> AcceptedRating(part="L1", rating="current", reason="bursts of 2 s").covers("L1.plus", "current")
    True
    """

    part: str
    rating: Rating
    reason: Annotated[Note, AfterValidator(_reason)]

    def covers(self, name: str, what: str) -> bool:
        """True for a stress ``what`` of the element ``name``: "L1" covers "L1.plus", and "life" the one over all points."""
        return name.split(".")[0] == self.part and what.startswith(self.rating)


def without_rating(
    accepted: Sequence[object], stages: Sequence[object], loads: Sequence[object], converter: object
) -> Iterator[Problem]:
    """Accepted ratings that no part has, or that are accepted twice; judged on the file's own values."""
    rated = [(_text(one, "name"), RATINGS.get(_text(one, "kind"))) for one in stages]
    rated += [(_text(one, "name"), _CAPACITOR) for one in loads if read(one, "input_capacitor") is not None]
    rated += [("converter", RATINGS["converter"])] if read(converter, "rating") is not None else []
    parts = {name: ratings for name, ratings in rated if name and ratings}
    seen: dict[tuple[str, str], int] = {}
    for number, one in enumerate(accepted, 1):
        part, rating = read(one, "part"), read(one, "rating")
        if not isinstance(part, str) or not isinstance(rating, str):
            continue  # refused by the model
        earlier = seen.setdefault((part, rating), number)
        if part not in parts:
            why = f"no such part, or none that has ratings; {did_you_mean(part, list(parts))}"
            yield Problem("", f"accepted[{number}].part", part, why)
        elif rating not in parts[part]:
            why = f"{part} has no such rating; {did_you_mean(rating, list(parts[part]))}"
            yield Problem("", f"accepted[{number}].rating", rating, why)
        elif earlier != number:
            yield Problem("", f"accepted[{number}].rating", rating, f"accepted already, in accepted[{earlier}]")


def _text(one: object, key: str) -> str:
    text = read(one, key)
    return text if isinstance(text, str) else ""
