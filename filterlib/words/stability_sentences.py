"""Whether a circuit stays up, and what to know of its parts at an operating point, in words."""

from __future__ import annotations

import math

from filterlib.analysis.bench.bench_result import ClippedResult
from filterlib.analysis.stability.stability_result import NAMED, OverUncertainty, PartNote, Stability, Turn
from filterlib.units import format_quantity
from filterlib.words.quantities import capital, joined, number, share, stress_number

UNSTABLE = "unstable: there is no steady state"
NO_DRIVE = "the converter states no common-mode drive (converter.common_mode), so there is no real effect to compare with the test"
NO_SPIKE = "no spike is stated (converter.spike): the figure in full bandwidth is the ripple alone, a lower bound"
NOTHING_TURNS = "nothing uncertain can turn it unstable"
RINGS = 10.0  # Q above which a circuit gets a caution: common practice, no source
MOST_TURNS = 3  # that a sentence names
LITTLE = 0.01  # share of what is there that nobody sees on a screen: common practice, no source
_NOTES = {
    "overcurrent": "{name} carries {value}, more than the {limit} it is rated for",
    "overvoltage": "{name} is biased at {value}, above its rating of {limit}",
    "no bias curve": "{name} is a class 2 ceramic without a bias curve: its capacitance at {value} may be half",
    "beyond curve": "{name} is biased beyond the end of its curve; the last value is taken",
    "unbalance": (
        "{name}: {value} returns through bonds to the chassis instead of the second winding. It magnetises the core, which "
        "saturates at {limit}: {left} of {full} remains for the common mode"
    ),
    "beyond saturation": (
        "{name} carries {value} of direct current, {times:.2g} times its saturation current: its inductance there is a guess, "
        "because the model of saturation holds up to about twice that current"
    ),
}


def stability_sentence(stability: Stability) -> str:
    """What the poles, or the Nyquist count, say."""
    if stability.stable:
        return _stable(stability)
    if stability.method == "nyquist":
        return f"unstable: the Nyquist curve at {stability.load} encircles −1"
    what = f"it oscillates at {number(stability.frequency, 'Hz')}" if stability.frequency else "its voltage runs away"
    return (
        f"unstable: {what}, and that grows 2.7-fold every {number(stability.growth, 's')} "
        f"({stability.count} pole{'s' * (stability.count > 1)} in the right half plane); there is no steady state, so no ripple and no step is given. Damping across the filter's "
        "last capacitor, or more resistance in series, takes it away"
    )


def _stable(stability: Stability) -> str:
    if stability.method == "nyquist":
        return "no Nyquist curve at a load encircles −1 (a part has no ladder, so no poles)"
    if math.isnan(stability.frequency):
        return f"every pole is in the left half plane, and none below {format_quantity(NAMED, 'Hz')} rings"
    return f"every pole is in the left half plane; the least damped rings at {number(stability.frequency, 'Hz')} with Q = {stability.quality:.3g}"


def over_sentence(over: OverUncertainty | None, stable: bool = True) -> str:
    """Stability over the uncertainty, of a circuit that is ``stable`` at nominal values or not; "" where nothing can turn it."""
    if over is None:
        return ""
    if over.stable:
        return f"stable over the whole range; {_least_damped(over)}"
    many = f"in {likelihood(over)}"
    if not stable:
        return f"unstable at nominal values, and {many}"
    return f"stable at nominal values, unstable for {turns(over)}: {many}. {capital(_least_damped(over))}"


def likelihood(over: OverUncertainty) -> str:
    """How many of the plausible cases are unstable."""
    return f"{share(over.share) if over.share else f'fewer than 1 in {over.cases}'} of the plausible cases"


def turns(over: OverUncertainty) -> str:
    """What turns a circuit unstable: each value alone, or several together.

    >>> from filterlib.analysis.stability.stability_result import Turn
    >>> turn = Turn("filter.L1.inductance", "inductance of L1", "H", 48.5e-6, above=True)
    >>> turns(OverUncertainty(False, 0.4, -0.01, 2e3, 576, alone=(turn,)))
    'L1 above 48.5 µH'
    """
    if over.alone:
        return " or ".join(_turn(turn, "above" if turn.above else "below") for turn in over.alone[:MOST_TURNS])
    if not over.together:
        return "some combinations of values within their ranges"
    more = [f"{len(over.together) - MOST_TURNS} more"] if len(over.together) > MOST_TURNS else []
    return joined([*(_turn(turn, "at") for turn in over.together[:MOST_TURNS]), *more]) + " together"


def _turn(turn: Turn, where: str) -> str:
    place, name, field = (*turn.key.split("."), "", "")[:3]
    named = place == "filter" and field in ("inductance", "capacitance")
    return f"{name if named else turn.label} {where} {number(turn.value, turn.unit)}"


def _least_damped(over: OverUncertainty) -> str:
    """How damped the least damped case is."""
    if over.damping < 0 and over.frequency > 0:
        growth = 1 / (-over.damping * 2 * math.pi * over.frequency)
        return f"the worst case oscillates at {number(over.frequency, 'Hz')} and grows 2.7-fold every {number(growth, 's')}"
    if math.isinf(over.damping):
        return "no case rings with a Q above 2"
    return f"the least damped case rings at {number(over.frequency, 'Hz')} with Q = {over.quality:.3g}"


def ringing(stability: Stability) -> str:
    """A caution about a circuit that rings too long at nominal values; "" where it does not."""
    if not stability.stable or not stability.quality > RINGS:
        return ""
    return (
        f"it rings at {number(stability.frequency, 'Hz')} with Q = {stability.quality:.3g}, which makes a disturbance there "
        f"{stability.quality:.2g} times as large. To damp it, put a larger capacitor with a resistor in series across the one that rings: "
        "several times its capacitance"
    )


def reason_text(reason: Stability | str | None) -> str:
    """Why there is no figure; "" where there is one."""
    return stability_sentence(reason) if isinstance(reason, Stability) else reason or ""


def part_note(note: PartNote) -> str:
    """What to know of a part at an operating point."""
    value, limit = stress_number(note.value, note.unit, note.limit), format_quantity(note.limit, note.unit)
    left, full = (format_quantity(v, "H") for v in (note.left, note.full))
    return _NOTES[note.kind].format(
        name=note.name, value=value, limit=limit, left=left, full=full, times=note.value / note.limit
    )


def clip_sentence(result: ClippedResult) -> str:
    """What a scope with its clip on reads, beside what is there without it."""
    if not result.stable:
        return f"{UNSTABLE}, so there is nothing to read"
    at = result.figures["full"]
    shown, without, own = (number(volts, "V") for volts in (at.shown, at.seen, at.own_clip))
    if at.difference < LITTLE * at.seen:
        return f"At {result.place} an earthed clip changes nothing that one would see: {without} peak to peak in full bandwidth."
    return (
        f"At {result.place} the scope with its clip on shows {shown} peak to peak in full bandwidth, and {without} would be there without the clip. Its tip "
        f"on its own clip shows {own}, along a lead of {number(float(result.clip.lead_inductance.value), 'H')}."
    )
