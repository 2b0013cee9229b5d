"""What the bench answers, in words: each reading beside what was expected, what explains it, and what to measure next."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from filterlib.bench.answers.answers_result import BARE, FOOLED, Answer, BenchResult, Fault, ScopeView, Station
from filterlib.bench.answers.explained import BothRanges, Exchange, Explained, Explanation
from filterlib.bench.answers.loads import alike
from filterlib.bench.answers.same_converter import bursts_behind, in_bursts
from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.units import format_quantity
from filterlib.words.labels import bandwidth_words
from filterlib.words.quantities import capital, joined, number, range_text, share

_FAULTS = {
    "as designed": "the board as designed",
    "not connected": "{part} is not connected",
    "poor joint": "{part} has a poor joint (1 Ω in series)",
    "long leads": "{part} has long leads (100 nH)",
    "smaller value": "{part} has a tenth of its value",
    "larger value": "{part} has ten times its value",
    "wrong side": "{part} is on the other side of the choke",
    "shorted": "{part} is bridged",
    "winding reversed": "one winding of {part} is reversed, so that the load's current saturates it",
    "loops side by side": "the loops of {part} are side by side (1 nH in common)",
    "load off": "{part} was not on",
    "bonded twice": "the return of {part} is bonded to the chassis too",
    "bursts": "the converter switched in bursts",
    "ground lead": "the probe's ground lead was long (50 cm)",
    "clip": "the scope was earthed, its clip on a return that is earthed elsewhere",
    "factor too high": "the probe attenuates less than the scope was told: readings are ten times too high",
    "factor too low": "the probe attenuates more than the scope was told: readings are a tenth of what they should be",
    "limit off": "the scope's 20 MHz limit was off",
    "limit on": "the scope's 20 MHz limit was on at full bandwidth",
}
SCOPE_TABLE = "What a scope would show, and the ripple that is really there"
_MARKS = {"agrees": "✓", "does not agree": "✗", "cannot tell": "?"}


def fault_words(fault: Fault) -> str:
    """A fault, with its part."""
    return _FAULTS[fault.kind].format(part=fault.part)


def explanation_words(one: Explanation) -> str:
    """A fault, with those that are not told from it and ask for the same."""
    return ", or ".join(fault_words(fault) for fault in one.faults)


def station_words(station: Station) -> str:
    """Place, band and operating point."""
    point = "without filter" if station.point == BARE else station.point
    return f"{station.place}, {bandwidth_words(station.band.label)}, {point}"


def outcome_words(answer: Answer) -> str:
    """The outcome with its mark, and by how much."""
    words = f"{_MARKS[answer.outcome]} {answer.outcome}"
    if answer.why == "noise":
        return f"{words}: the reading is hardly more than noise"
    if answer.why == "bandwidth":
        return f"{words}: the capture reaches to {format_quantity(answer.reading.reach, 'Hz')} alone"
    if answer.why == "spike":
        return f"{words}: the design states no spike, which full bandwidth would show"
    if answer.why == "load":
        return f"{words}: what a burst should read depends on the load, and none is stated (--before-load)"
    if answer.why == "uneven":
        return f"{words}: bursts that do not come evenly have no spectrum to predict from"
    if answer.outcome == "agrees" or answer.times != answer.times:
        return words
    return f"{words}: they differ by {answer.times:.1f} times their uncertainty"


def verdict_words(result: BenchResult, explained: Explained | None = None) -> str:
    """All readings in one sentence, and the fault that harmonics show where every peak to peak agrees."""
    if explained is not None and explained.agree and not explained.sound:
        return f"{_readings_words(result)}; the harmonics point to a fault: {explanation_words(explained.ranked[0])}"
    return _readings_words(result)


def _readings_words(result: BenchResult) -> str:
    by = {kind: [one for one in result.answers if one.outcome == kind] for kind in _MARKS}
    if len(result.answers) == 1 and by["does not agree"]:
        return f"The reading does not agree with the design: {station_words(result.answers[0].station)}"
    if by["does not agree"]:
        first = joined(dict.fromkeys(station_words(one.station) for one in by["does not agree"][:3]))
        count = len(by["does not agree"])
        return f"{count} of {len(result.answers)} readings {'does' if count == 1 else 'do'} not agree with the design: {first}"
    if by["cannot tell"]:
        return f"Nothing disagrees, but {len(by['cannot tell'])} of {len(result.answers)} readings cannot tell"
    return "Every reading agrees with the design" if len(result.answers) > 1 else "The reading agrees with the design"


def answer_sentence(answer: Answer, *, stated: bool = True) -> str:
    """One reading and its expectation; ``stated``: whether the file states what a bare converter reads."""
    reading = answer.reading
    known = "stated" if stated and answer.station.point == BARE else "expected"
    expected = (
        f"{number(answer.expected, 'V', 2)} {known} ({range_text(answer.low, answer.high, 'V', 2)})"
        if answer.expected == answer.expected
        else f"nothing {known}"
    )
    return (
        f"{outcome_words(answer)}: {station_words(answer.station)}: {number(reading.value, 'V')} read "
        f"({range_text(reading.low, reading.high, 'V')}), {expected}"
    )


def remark_sentences(result: BenchResult) -> Iterator[str]:
    """What to know of the readings: their loads, their noise, how often they were taken, and captures without a single period."""
    yield from _load_sentences(result)
    for answer in result.answers:
        yield from _reading_sentences(answer)
    if result.before is not None:
        reach = {
            one.recording.bandwidth for one in (result.before, *(m for _, several in result.captures for m in several))
        }
        if len(reach) > 1:
            lowest = format_quantity(min(one for one in reach if one), "Hz")
            yield f"The captures were taken with different bandwidths: harmonics are compared up to {lowest}."
    yield from _burst_sentences(result)
    compared = {one.station for one in result.spectra}
    for station, several in result.captures:
        for why in dict.fromkeys(one.periods.why for one in several if one.pulses or one.average is None):
            rest = (
                ""
                if station in compared
                else " Peak to peak is read over the whole capture, harmonics are not compared."
            )
            yield f"{capital(station_words(station))}: {why}.{rest}"


def _burst_sentences(result: BenchResult) -> Iterator[str]:
    """What the capture before the filter shows of bursts, and where only one side of the filter has them."""
    before, found = result.before, result.bursts
    if before is None or before.periods.pattern == "none":
        return
    here = in_bursts(before)
    if found is not None:
        known = "The burst that the file states makes" if found.stated else "Such bursts make"
        yield (
            f"Before the filter: {before.periods.why}. To carry {number(found.load_current, 'A')} its pulses are about "
            f"{number(found.peak, 'A', 2)} high. {known} {number(found.expected_pp, 'V', 2)} with the converter's values "
            f"({range_text(found.low, found.high, 'V', 2)})."
        )
    elif here:
        yield f"Before the filter: {before.periods.why}."
    if here and before.average is None:
        yield "What is expected behind the filter is as the file states it, without bursts: take a capture in which they come evenly."
    for station, several in result.captures:
        if any(bursts_behind(before, one) != here for one in several if one.periods.pattern != "none"):
            one, other = (
                ("before the filter", f"at {station_words(station)}")
                if here
                else (f"at {station_words(station)}", "before the filter")
            )
            yield (
                f"The converter bursts {one} and not {other}: were both taken at the same load? What is expected there is "
                f"{'as the file states it' if here else 'of steady switching'}; take both at one load, or name the operating point of each."
            )


def exchange_question(found: Exchange) -> str:
    """Whether captures are exchanged, with both explanations."""
    return (
        f"{_levels(found)}: are the two exchanged? Exchanged, the board as designed explains them best; as they are given, the likeliest "
        f"is that {fault_words(found.fault)}. If they are not exchanged, add --as-stated"
    )


def exchange_sentence(found: Exchange) -> str:
    """That a capture behind the filter shows more than the one before it, and which explanation is better."""
    other = "of the board as designed" if found.fault.none else f"if {fault_words(found.fault)}"
    why = (
        "Exchanged, the board as designed would explain them better; they are taken as stated."
        if found.asks
        else f"That is likelier {other} than of captures that are exchanged."
    )
    return f"{capital(station_words(found.station))}: {_levels(found)}. {why}"


def _levels(found: Exchange) -> str:
    return f"{number(found.behind, 'V')} rms behind the filter, {number(found.before, 'V')} before it"


def _reading_sentences(answer: Answer) -> Iterator[str]:
    """What noise added to a reading, where that matters, and how well a mean of several is known."""
    reading, at = answer.reading, capital(station_words(answer.station))
    if reading.bias >= 0.01 * reading.shown:
        yield (
            f"{at}: {number(reading.shown, 'V')} is on the screen; about {number(reading.bias, 'V', 2)} of it is noise and was "
            "subtracted."
        )
    if reading.times > 1:
        yield (
            f"{at}: mean of {reading.times:.0f} readings. Standard uncertainty: {number(reading.by_repeats, 'V', 2)} as they scatter "
            f"(type A), {number(reading.by_instrument, 'V', 2)} from scope and probe (type B)."
        )


def _load_sentences(result: BenchResult) -> Iterator[str]:
    """Which readings were taken at another load than the design's own, and what was made of that."""
    amps, stated = result.before_taken.load_current, result.stated
    at = stated.converter.ripple.load_current or stated.full_current
    if amps is not None and result.bursts is None and not alike(amps, at):
        yield (
            f"The capture before the filter was taken at {format_quantity(amps, 'A')}. From it, the converter's model "
            "predicts each operating point."
        )
    own = {point.name for point in stated.operating_points}
    moved = dict.fromkeys(one.station.point for one in result.answers if one.station.point not in {*own, BARE})
    for point in moved:
        yield f"{point}: the reading was taken at another current, so every load is scaled to it by the same factor."


def scope_columns(scope: ScopeErrors) -> tuple[tuple[str, Callable[[ScopeView], str]], ...]:
    """Heads and cells of the table of `ScopeView`, one row a station, peak to peak."""
    short, long = (format_quantity(length, "m") for length in scope.lead)
    return (
        ("Where", lambda one: station_words(one.station)),
        ("There", lambda one: number(one.there, "V")),
        (f"Ground lead of {short}", lambda one: number(one.short, "V")),
        (f"Ground lead of {long}", lambda one: number(one.long, "V")),
        ("Earthed scope, clip on the return", lambda one: number(one.clipped, "V")),
        ("Its tip on its own clip", lambda one: number(one.own_clip, "V")),
    )


def fooled_sentences(views: Iterable[ScopeView]) -> Iterator[str]:
    """Where a reading would be another than what is there, and what to do about it."""
    for one in views:
        at, there = capital(station_words(one.station)), number(one.there, "V", 2)
        if one.clipped == one.clipped and abs(one.clipped / one.there - 1) > FOOLED:
            yield (
                f"{at}: {there} is there, and an earthed scope with its clip on the return reads {number(one.clipped, 'V', 2)}. Use a "
                "differential probe, or a scope that runs on its battery."
            )
        elif abs(one.long / one.there - 1) > FOOLED:
            yield f"{at}: {there} is there, and the long ground lead makes {number(one.long, 'V', 2)} of it. Use a spring at the tip."


def learned_sentences(both: BothRanges) -> Iterator[str]:
    """What the readings narrowed, and the probable range at a station as the file states it and with that."""
    if not both.learned.narrowed:
        yield "The readings narrow no range of the converter."
        return
    yield f"Narrowed: {', '.join(one.label for one in both.learned.narrowed)}."
    old, new = (range_text(one.probable_low, one.probable_high, "V", 2) for one in (both.before, both.after))
    yield f"{capital(station_words(both.station))}: {old} as the file states it, {new} with the narrowed ranges."


def explained_sentences(result: BenchResult, explained: Explained) -> Iterator[str]:
    """What explains the readings, what they do not tell apart, and what to measure next."""
    best, alike = explained.ranked[0], explained.alike
    if explained.exchange is not None:
        yield exchange_sentence(explained.exchange)
    if explained.sound:
        yield (
            "No fault that is known here explains the readings better than the board as designed does."
            if not explained.agree
            else "The board as designed explains all readings."
            if best.explains
            else "All readings agree with the design; harmonics deviate more than usual, and no fault explains them much better."
        )
        rest = [one for one in alike if not one.fault.none]
        if rest:
            yield f"The readings would not show it if {_any_of(rest)}."
    elif not any(one.explains for one in explained.ranked):
        yield "No single fault that is known here explains all readings. Nearest: " + explanation_words(best) + "."
    else:
        yield f"Likeliest: {explanation_words(best)} ({share(best.likely) if best.likely < 0.995 else 'over 99 %'})."
        rest = [one for one in alike[1:] if one.explains]
        if rest:
            yield f"The readings do not distinguish it from these: {_any_of(rest)}."
    if explained.next_reading is not None and explained.pair is not None:
        one, other = explained.pair
        found = explained.next_reading
        yield (
            f"Measure next: {station_words(found.station)}. It reads about {number(found.first, 'V', 2)} {_if(one)}, about "
            f"{number(found.second, 'V', 2)} {_if(other)}."
        )


def _any_of(several: list[Explanation]) -> str:
    return ", or ".join(explanation_words(one) for one in several[:4])


def _if(one: Explanation) -> str:
    return "as designed" if one.fault.none else f"if {explanation_words(one)}"


def bench_text(result: BenchResult, explained: Explained | None) -> str:
    """For a terminal."""
    stated = (
        result.before is None or not in_bursts(result.before) or (result.bursts is not None and result.bursts.stated)
    )
    lines = [f"{verdict_words(result, explained)}.", *(answer_sentence(one, stated=stated) for one in result.answers)]
    lines += remark_sentences(result)
    return "\n".join([*lines, *(explained_sentences(result, explained) if explained else ())])
