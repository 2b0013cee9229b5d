"""Conducted emission as a figure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from filterlib.errors import FilterlibError
from filterlib.show.figures.figure import Axis, Curve, Figure, Look, Mark, Note, Plot, joint_extent
from filterlib.show.figures.plots import HARMONICS, thinned, untrusted
from filterlib.show.style import BLACK, BLUE, DASHES, FINE, GREY, PURPLE, SOLID, VERMILION, Dash
from filterlib.units import format_quantity
from filterlib.words.emission_sentences import ESTIMATE
from filterlib.words.labels import detector_words
from filterlib.words.stability_sentences import reason_text

if TYPE_CHECKING:
    from filterlib.analysis.emission.emission_result import EmissionResult
    from filterlib.analysis.emission.margin import Margin
    from filterlib.system.limits import Limit

BELOW_LIMIT = 60.0  # [dB] below the lowest limit at which the figure ends
_ROWS = (  # title, (place, words) drawn in it, unit
    ("each line to chassis", (("plus", "plus line"), ("return", "return line")), "dBµV"),
    ("modes", (("differential", "differential, v+ − v−"), ("common", "common, (v+ + v−)/2")), "dBµV"),
    ("common-mode current", (("common_current", "i+ + i−"),), "dBµA"),
)
_LOOKS = (
    Look(BLUE, width=1.0, marker="o", size=4.8),
    Look(VERMILION, width=1.0, marker="s", size=8.6, hollow=True),
)
_HIGHEST = Look(GREY, FINE, 1.2)
_WORST = Look(marker="o", size=14.0, hollow=True)
_DETECTORS: dict[str, Dash] = {"peak": SOLID, "quasi_peak": DASHES[1], "average": DASHES[3]}
_NAMED_AT = (0.96, 0.6, 0.3)  # of the axis, where the name of each limit ends
_LIMITS = (BLACK, PURPLE, "#777777")


def emissions_figure(result: EmissionResult) -> Figure:
    """Levels of an `EmissionResult` over the logarithm of the frequency, lines and modes, with its limits drawn in.

    The peak detector is drawn; the worst distance to a limit is written beside its harmonic. A row of current is there only
    where a limit of current is. Raises FilterlibError where there is nothing to draw, with the reason.
    """
    if result.reason:
        raise FilterlibError(reason_text(result.reason))
    currents = any(one.limit.unit == "dBuA" for one in result.limits)
    rows = tuple((_plot(result, number),) for number in range(3 if currents else 2))
    title = f"Conducted emission at the {result.side}, {result.network}"
    return Figure(title, rows, share="x", foot=ESTIMATE)


def _plot(result: EmissionResult, number: int) -> Plot:
    words, places, unit = _ROWS[number]
    levels = [
        Curve(*thinned(result.frequencies, result.levels[place, "peak"]), look, label)
        for (place, label), look in zip(places, _LOOKS, strict=False)
    ]
    names = [place for place, _ in places]
    limits = [one.limit for one in result.limits if _row(one.limit) == number]
    right = float(result.frequencies[-1]) * 1.15
    x = Axis(HARMONICS, "Hz", log=True, limits=(float(result.frequencies[0]) / 1.15, right))
    highest = list(_highest(result, names))
    shaded = untrusted(result.trusted_to, right) if result.trusted_to < right / 1.2 else ()
    marks = (
        *shaded, *levels, *highest, *_limit_marks(limits, x),
        *_worst([margin for margin in result.margins if margin.place in names], x),
    )  # fmt: skip
    y = Axis(f"{words}\npeak level", unit, limits=_ends(levels, [*levels, *highest], limits))
    return Plot(x, y, marks, height=240.0, legend=True)


def _row(limit: Limit) -> int:
    return 0 if limit.of == "line" else 2 if limit.unit == "dBuA" else 1


def _highest(result: EmissionResult, places: Sequence[str]) -> Iterator[Curve]:
    """What the highest of these places may reach over the uncertainty."""
    if result.high:
        highest = np.max([result.high[place] for place in places], axis=0)
        yield Curve(*thinned(result.frequencies, highest), _HIGHEST, "highest over the uncertainty")


def _limit_marks(limits: Sequence[Limit], x: Axis) -> Iterator[Mark]:
    """Every piece, and its name on it; the names of several limits are at different frequencies."""
    left, right = np.log(np.array(x.limits, float))
    for number, limit in enumerate(limits):
        at = float(np.exp(left + _NAMED_AT[number % len(_NAMED_AT)] * (right - left)))
        for detector in limit.detectors:
            pieces = [piece for piece in limit.pieces if piece.detector == detector]
            gaps = [(*zip(piece.frequencies, piece.levels, strict=True), (np.nan, np.nan)) for piece in pieces]
            look = Look(_LIMITS[number % len(_LIMITS)], _DETECTORS[detector], 2.4)
            frequencies, levels = np.concatenate(gaps).T
            yield Curve(frequencies, levels, look)
            level = float(limit.at(at, detector))
            if np.isfinite(level):
                words = f"{limit.title}, {detector_words(detector)}" + " (from memory)" * limit.from_memory
                yield Note(at, level, words, (0.0, 5.0), "end")


def _ends(levels: Sequence[Curve], drawn: Sequence[Curve], limits: Sequence[Limit]) -> tuple[float, float]:
    """Ends that hold every limit, and of what is drawn no more than `BELOW_LIMIT` below the lowest of them."""
    stated = [level for limit in limits for piece in limit.pieces for level in piece.levels]
    top = max([joint_extent(drawn, "y")[1], *stated])
    bottom = max(joint_extent(levels, "y")[0], min(stated, default=top - 40) - BELOW_LIMIT)
    return min([bottom, *stated]) - 5, top + 9


def _worst(margins: Sequence[Margin], x: Axis) -> Iterator[Mark]:
    """The harmonic that comes nearest to a limit, or lies above one, with its distance in words."""
    if not margins:
        return
    worst = min(margins, key=lambda margin: margin.margin)
    above = worst.margin < 0
    left = np.log(worst.frequency) > np.mean(np.log(np.array(x.limits, float)))
    distance = f"{abs(worst.margin):.1f} dB {'ABOVE' if above else 'below'} the limit"
    yield Curve(np.array([worst.frequency]), np.array([worst.level]), _WORST, joined=False)
    yield Note(
        worst.frequency, worst.level, f"{distance} at {format_quantity(worst.frequency, 'Hz')}",
        (-14.0 if left else 14.0, 14.0), "end" if left else "start", bold=above,
    )  # fmt: skip
