"""What a review comes to, in words: the outcome, what is left, what to trust, and what can hurt."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import numpy as np

from filterlib.analysis.causes.parasitics import ENDS, at_the_ends
from filterlib.analysis.review_result import ReviewResult
from filterlib.analysis.ripple.ripple_result import Figure, RippleResult, measurement
from filterlib.analysis.stress.stress_check import StressCheck
from filterlib.analysis.uncertainty.moved_alone import MOST
from filterlib.analysis.verdict import Verdict
from filterlib.system.design import Design
from filterlib.system.inside.bank import BankConverter
from filterlib.system.inside.recorded import Recorded
from filterlib.system.inside.ways import HAZARDOUS
from filterlib.system.line.shared_capacitor import shared
from filterlib.system.ranges.uncertain_parameter import SHAPE
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.sense.odd import odd
from filterlib.units import format_quantity
from filterlib.words.quantities import capital, interval_text, joined, number, plain, range_text
from filterlib.words.review.measurement_sentences import (
    bank_sentence,
    measurement_sentences,
    measurement_words,
    what_to_measure,
)
from filterlib.words.review.rating_sentences import stress_limit, stress_sentence, stress_value
from filterlib.words.review.verdict_sentences import rating_count, rating_lines
from filterlib.words.stability_sentences import over_sentence, part_note, ringing, stability_sentence, turns
from filterlib.words.supply.bank_sentences import short_sentence
from filterlib.words.supply.converter_side_sentences import MAY_OSCILLATE, OSCILLATES
from filterlib.words.supply.light_load_sentences import light_load_sentences
from filterlib.words.supply.supply_sentences import check_sentence, rule_count, supply_cautions

ASKED = 20e6  # [Hz] up to which a recording has to tell of the ripple
READ_TO = 0.95  # of that, from which on nothing is missing
FAR = 1000  # times from end to end, beyond which a figure says nothing
_OUTCOMES = {
    "not met": "not met",
    "undecided": "undecided (to be measured)",
    "probably met": "probably met",
    "met": "met",
}
_SOURCES = {
    "ripple": "the converter's ripple",
    "spike": "its spikes",
    "common_mode": "common-mode current that the leads turn into ripple",
}
_NEARLY_ALL, _MOST = 0.9, 0.5  # shares of a figure from which these words are used


def summary(result: ReviewResult) -> str:
    """What became of the requirements, in one sentence, and of ratings that are exceeded, in another."""
    return " ".join(
        filter(None, (_of_requirements(result), rating_count(result.judgement), rule_count(result.judgement.against)))
    )


def count(result: ReviewResult) -> str:
    """The same without what turns a circuit unstable, for below the headline."""
    if result.judgement.unstable:
        return summary(result)
    return " ".join(filter(None, (_counted(result), rating_count(result.judgement))))


def _of_requirements(result: ReviewResult) -> str:
    unstable = [point.operating.point for point in result.points if not point.operating.stable]
    if unstable:
        return f"The circuit is unstable at {joined(unstable)}: there it has no steady ripple."
    lead = "".join(f"At {joined(names)} the circuit is {words}. " for words, names in _turned(result).items())
    return lead + _counted(result)


def _turned(result: ReviewResult) -> dict[str, list[str]]:
    """What turns the circuit unstable, and at which operating points."""
    points: dict[str, list[str]] = {}
    for point in result.judgement.turned:
        words = f"stable at nominal values, unstable for {turns(point.over)}" if point.over else ""
        points.setdefault(words, []).append(point.operating.point)
    return points


def stability_lines(result: ReviewResult) -> list[str]:
    """A line for each operating point at which the circuit is unstable somewhere in the range."""
    return [
        f"{'◐' if point.turned else '✗'} At {point.operating.point} the circuit is {over_sentence(point.over, point.operating.stable)}."
        for point in result.points
        if point.over is not None and not point.over.stable
    ]


def _counted(result: ReviewResult) -> str:
    count: Counter[str] = Counter(verdict.verdict for verdict in result.verdicts)
    total = len(result.verdicts)
    if not total:
        return "No requirement is stated, so none was judged."
    if count["met"] == total:
        return "Every requirement is met over the whole range, at every operating point."
    if result.accept == "probable" and count["met"] + count["probably met"] == total:
        return "Every requirement is met or probably met, at every operating point. Asked: 95 % of the plausible cases."
    parts = [f"{count[word]} {words}" for word, words in _OUTCOMES.items() if count[word]]
    start = f"Of {total} requirements {joined(parts)}." if total > 1 else f"The requirement is {parts[0][2:]}."
    return start + _asked(result, count)


def _asked(result: ReviewResult, count: Counter[str]) -> str:
    """What exit code 0 asks for, where that makes a difference."""
    if result.accept == "probable":
        return " Asked: 95 % of the plausible cases."
    return " Asked: the whole range." if count["probably met"] else ""


def headline(result: ReviewResult) -> str:
    """Why the outcome is what it is: what is wrong first, or else how much ripple is left, and from where."""
    judgement = result.judgement
    if result.oscillates and not judgement.unstable:
        return f"{capital(OSCILLATES[result.oscillates])}: see the section on stability."
    if result.may_oscillate and not judgement.unstable and _failing(result) is None:
        return f"Undecided: {MAY_OSCILLATE[result.may_oscillate]}. See the section on stability."
    if judgement.unstable:
        point = judgement.unstable[0].operating
        return f"At {point.point} the circuit is {stability_sentence(point.stability)}."
    failing = _failing(result)
    if judgement.turned and (failing is None or failing.verdict != "not met"):
        return " ".join(f"At {joined(names)} the circuit is {words}." for words, names in _turned(result).items())
    if isinstance(failing, StressCheck):
        return rating_reason(failing)
    if failing is None and judgement.against:
        first = judgement.against[0]
        bursting = judgement.bursts if first.name.startswith("bursts.") else None
        return short_sentence(bursting) if bursting is not None else f"{check_sentence(first)}."
    load, label, point_ = judgement.decisive
    figure = point_.ripple.figures[load, label]
    if failing is None or failing.band:
        return f"{_too_wide(result, figure)}{_ripple_left(result, failing)}"
    return _reason(failing)


def rating_reason(check: StressCheck) -> str:
    """What a part carries beyond its rating, or may carry."""
    verb = "exceeds" if check.verdict == "not met" else "may exceed"
    return f"{capital(check.part)} {verb} its rating: {check.what} {stress_value(check)}, {stress_limit(check)}."


def _failing(result: ReviewResult) -> Verdict | StressCheck | None:
    """What is worst off: not met before undecided, requirements before ratings; None where all is met."""
    for answer in ("not met", "undecided"):
        open_ = [one for one in result.verdicts if one.verdict == answer]
        if open_:
            return min(open_, key=lambda one: np.nan_to_num(one.margin))
        if checks := [check for _, check in result.judgement.broken if check.verdict == answer]:
            return checks[0]
    return None


def deciding_measurements(result: ReviewResult) -> Iterator[str]:
    """What to measure to decide what is open: first what turns the circuit unstable, then what a requirement's interval comes from."""
    turning = dict.fromkeys(measurement_words(measurement(key)) for key in turned_by(result))
    for words in filter(None, turning):
        yield f"Measure {words}. It decides whether the circuit is stable."
    wide = (one for one in result.verdicts if one.verdict in ("undecided", "probably met") and not one.turned)
    if result.closing is not None and any(wide):
        yield from measurement_sentences(result.closing)


def turned_by(result: ReviewResult) -> Iterator[str]:
    """Keys of the uncertain parameters that turn the circuit unstable at an operating point: each alone, or several together."""
    for point in result.judgement.turned:
        if point.over is not None:
            yield from (one.key for one in (*point.over.alone, *point.over.together))


def _ripple_left(result: ReviewResult, failing: Verdict | None) -> str:
    load, label, point = result.judgement.decisive
    if failing is not None:
        load, label = failing.load, failing.band
        point = next(one for one in result.points if one.operating.point == failing.point)
    figure, before = (point.ripple.figures[place, label] for place in (load, f"{load}_before"))
    digits = 2 if figure.wide else 3
    left, bare = number(figure.peak_to_peak, "V", digits), number(before.peak_to_peak, "V", digits)
    source = f"{capital(made_of(figure))}."
    if failing is None:
        return f"The filter leaves {left} of {bare} at {load} (while {point.operating.point}). {source}"
    allowed = number(failing.limit, "V")
    if failing.verdict == "not met":
        return f"Too much ripple: {left} at {load}, {allowed} allowed. {source}"
    return f"Ripple at {load}: {range_text(figure.low, figure.high, 'V', digits)}, {allowed} allowed. It depends on the {failing.label}."


def made_of(figure: Figure) -> str:
    """Which source makes most of a figure, by how much the whole falls without it."""
    most = max(figure.by_source, key=lambda name: figure.by_source[name])
    falls = figure.reduction[most] / figure.peak_to_peak if figure.peak_to_peak else 0.0
    if len(figure.by_source) == 1:
        return f"all of it is from {_source(most)}"
    if falls < _MOST:
        return f"it is from several sources, most from {_source(most)}"
    return f"{'nearly all' if falls > _NEARLY_ALL else 'most'} of it is from {_source(most)}"


def _reason(failing: Verdict) -> str:
    """Why a requirement that is not on ripple is not met, or is open."""
    if failing.nearest is not None:
        side = "above" if failing.value < 0 else "below"
        at = format_quantity(failing.nearest.frequency, "Hz")
        asked = f", {number(failing.limit, 'dB')} below it asked" if failing.limit else ""
        return f"Conducted emission: {number(abs(failing.value), 'dB')} {side} the limit at {at}{asked}."
    value = range_text(failing.low, failing.high, failing.unit, failing.digits)
    return f"{capital(failing.requirement)}: it is {value}, worst at {failing.point}."


def _too_wide(result: ReviewResult, figure: Figure) -> str:
    """What to do first where the probable interval is too wide for a number to decide."""
    if not figure.wide:
        return ""
    best = next(iter(result.closing.measurements), None) if result.closing is not None else None
    advice = what_to_measure(best) + shrinks_to(best.ratio) if best is not None else "the ripple, as a recording"
    return f"One number does not decide this: measure {advice}. "


def shrinks_to(ratio: float) -> str:
    """What an interval comes to by a measurement, as an aside.

    >>> shrinks_to(4.2), shrinks_to(2e6)
    (' (the interval shrinks to about 4 : 1)', ' (and more: the interval stays above 1000 : 1)')
    """
    if ratio > FAR:
        return f" (and more: the interval stays above {FAR} : 1)"
    return f" (the interval shrinks to about {plain(ratio, 1)} : 1)"


def _source(name: str) -> str:
    return _SOURCES.get(name, f"the ripple current of {name}")


def broken_ratings(result: ReviewResult) -> list[str]:
    """A sentence for every rating that is exceeded, or may be, and that the design does not accept; those exceeded first."""
    return [stress_sentence(check, point) for point, check in result.judgement.broken]


def ratings(result: ReviewResult) -> str:
    """What the top of the page says of ratings that are exceeded; "" where none is."""
    lines = list(rating_lines(result.judgement))
    more = f" ({len(lines) - 1} more: see Requirements.)" if len(lines) > 1 else ""
    return f"{lines[0]}{more}" if lines else ""


def review_notes(result: ReviewResult) -> list[str]:
    """What is to be known beside the requirements, a line each: odd values, stability, ratings, light loads, an estimate's worst margin."""
    notes = [f"⚠ {sentence}." for sentence in to_check(result)]
    notes += [*stability_lines(result), *rating_lines(result.judgement)]
    notes += [f"⚠ {sentence}." for point in result.points for sentence in light_load_sentences(point)]
    margins = [(margin, test, point) for point in result.points for test in point.emissions for margin in test.margins]
    if margins:
        margin, test, point = min(margins, key=lambda one: one[0].margin)
        side = "below" if margin.margin >= 0 else "above"
        notes.append(
            f"≈ Conducted emission at the {test.side}, an estimate and no test: at worst {number(abs(margin.margin), 'dB')} {side} "
            f"its limit ({margin.title}, at {number(margin.frequency, 'Hz')}, {point.operating.point}); margin over the "
            f"uncertainty: {interval_text(margin.low, margin.high, 'dB')}."
        )
    return notes


def to_check(result: ReviewResult) -> Iterator[str]:
    """What may be true of the design file and is more often a slip: odd values, readings with which no simple inside agrees."""
    for one in odd(result.design):
        yield f"Please check {one.key}{f' ({one.value})' if one.value else ''}: {one.why}"
    off = max((point.ripple.readings_off for point in result.points), default=1.0)
    if off > 1:
        yield (
            f"No simple inside of the converter agrees with all its readings, so they are taken as {off:.2g} times as inexact as "
            "a scope's: please check them, and the load they were taken at; a second filter inside can also be the reason"
        )


def _left_out(design: Design, ripple: RippleResult) -> Iterator[str]:
    """Where a design is too large to look at each uncertain parameter and each stage alone."""
    alone = {one.key for one in ripple.uncertain_parameters} - {SHAPE}
    count = len(uncertain_parameters(design))
    if alone and count > MOST:
        yield (
            f"{count} parameters are uncertain: the {len(alone)} that move the ripple most are each moved alone, the others only all together"
        )
    if at_the_ends(design) != design.filter:
        yield f"The filter has {len(design.filter)} stages: parasitics and changes are looked at for the first {ENDS} and the last {ENDS} of them"


def trust(result: ReviewResult) -> Iterator[str]:
    """Where the model stops being trusted."""
    design, first = result.design, result.points[0].ripple
    yield from to_check(result)
    if first.reason is None:
        yield (
            f"Above {format_quantity(first.trusted_to, 'Hz')} leads, couplings and layout decide, which the file does not state: "
            "figures in full bandwidth are an estimate of the order of magnitude"
        )
        if np.isfinite(first.largest_factor):
            yield (
                f"To remove the effect of the measuring arrangement, the reading was multiplied by up to {first.largest_factor:.3g} "
                f"(at {format_quantity(first.largest_factor_frequency, 'Hz')}); a factor far above 1 depends on the values inside the converter"
            )
    yield from _left_out(design, first)
    bandwidth, recorded = design.converter.ripple.bandwidth, design.converter.ripple.recording
    if recorded is not None:
        yield (
            f"The ripple is that of {recorded.file}: {int(recorded.kept.sum())} of {len(recorded.harmonics)} harmonics are "
            f"above its noise, up to {format_quantity(recorded.highest, 'Hz')}; the others are left out, and beyond "
            f"{format_quantity(bandwidth, 'Hz') if bandwidth else 'them'} the model claims nothing"
        )
        if recorded.stated is not None:
            yield _other_frequency(recorded)
        if bandwidth is not None and recorded.reach < READ_TO * min(bandwidth, ASKED):
            yield (
                f"{recorded.file} has too few samples for {format_quantity(bandwidth, 'Hz')}: its harmonics are known up to "
                f"{format_quantity(recorded.reach, 'Hz', 3)}, and rings above that are missing from every figure, so each is a lower bound; "
                "record with a shorter sample interval"
            )
        if isinstance(design.converter, BankConverter):
            yield bank_sentence(design.converter)
        yield from _second_recording(design)
    elif bandwidth is not None and design.converter.spike is None:
        yield f"Beyond {format_quantity(bandwidth, 'Hz')} nothing was stated of the converter: harmonics there follow its shape alone"
    yield "The circuit is linear at each operating point; large steps, start-up and hot plugging are not covered by it"
    parts = [(stage.name, stage.part) for stage in design.filter]
    parts += [(f"input of {one.name}", one.input_capacitor.part) for one in design.loads if one.input_capacitor]
    yield from (f"{name} {part.caveat}" for name, part in parts if part.caveat)
    for point in result.points:
        yield from (f"{point.operating.point}: {part_note(note)}" for note in point.operating.notes)


def _second_recording(design: Design) -> Iterator[str]:
    """Whether it was of the filter's own capacitor."""
    if (stage := shared(design.converter, design.filter)[0]) is not None and not stage.part.tolerance:
        yield (
            f"{stage.name} itself was across the terminals in the second recording, and its values are measured: what is still "
            "uncertain of them changes the converter's inside and the filter alike"
        )
    elif stage is not None:
        yield f"{stage.name} is not the capacitor of the second recording: its own tolerance counts in addition"


def _other_frequency(recorded: Recorded) -> str:
    """Where a data sheet counts otherwise than the ripple repeats: at half of it, or at twice."""
    stated, found = (format_quantity(one, "Hz", 4) for one in (recorded.stated or 0.0, recorded.frequency))
    if (recorded.stated or 0.0) < recorded.frequency:
        why = "a half or full bridge makes two equal ripples in each period of its switches"
    else:
        why = "every other period differs, as with two phases or halves that are not alike"
    return f"The file states {stated}, and the recording repeats at {found}: {why}. The ripple is taken at {found}"


def has_hazardous_voltage(design: Design) -> bool:
    """Whether the converter's input or output is above 60 V DC, as behind mains: a touch can kill, leakage to earth matters."""
    return max(design.converter.output_voltage, design.converter.input_voltage or 0.0) > HAZARDOUS


def cautions(result: ReviewResult) -> Iterator[str]:
    """What may be a slip, can hurt, or break."""
    design = result.design
    yield from to_check(result)
    yield from (sentence for point in result.points for sentence in light_load_sentences(point))
    yield from (f"A rating is exceeded, or may be: {stress_sentence(check, point)}" for point, check in result.exceeded)
    for point in result.points:
        if words := ringing(point.operating.stability):
            yield f"At {point.operating.point} {words}"
    yield (
        "A battery can feed a short circuit with hundreds of amperes: fuse it at the terminal of the pole that is not earthed, and never work on live "
        "battery leads with bare tools or rings; direct current sustains an arc when a plug is pulled under load"
    )
    yield from supply_cautions(result.judgement.supply)
    yield (
        f"Capacitors keep their charge after switching off (here up to {format_quantity(result.stored_energy, 'J')} in converter, "
        "filter and loads): discharge them through a resistor and measure before touching"
    )
    if has_hazardous_voltage(design):
        yield "Above 60 V DC a touch can kill: insulation, clearances and protection against contact are needed, by a licensed person"
    if design.chassis_capacitors:
        yield (
            "Capacitors to the chassis carry earth-leakage current, and on a hazardous voltage they must be of a safety class "
            "(Y, IEC 60384-14) with a sound earth connection"
        )
    if design.clip is not None:
        yield (
            "The clip of an earthed oscilloscope is a wire to earth: on any conductor that is not earthed already it is a short "
            "circuit through its thin lead; look where earth is before clipping on, or use a probe made for floating circuits"
        )
    yield "Local codes and the judgement of a licensed practitioner come before anything on this page"
