"""Whether a circuit stays up, and what to know of its parts at an operating point, in words."""

from __future__ import annotations

import math

from filterlib.analysis.bench.clipped import ClippedResult
from filterlib.analysis.stability.operating_point import PartNote
from filterlib.analysis.stability.stability import NAMED, Stability
from filterlib.units import format_quantity
from filterlib.words.quantities import number

UNSTABLE = "unstable: there is no steady state"
NO_DRIVE = "the converter states no common-mode drive (converter.common_mode), so there is no real effect to compare with the test"
NO_SPIKE = "no spike is stated (converter.spike): the figure in full bandwidth is the ripple alone, a lower bound"
LITTLE = 0.01  # share of what is there that nobody sees on a screen: common practice, no source
_NOTES = {
    "overcurrent": "{name} carries {value}, more than the {limit} it is rated for",
    "overvoltage": "{name} is biased at {value}, above its rating of {limit}",
    "no bias curve": "{name} is a class 2 ceramic without a bias curve: its capacitance at {value} may be half",
    "beyond curve": "{name} is biased beyond the end of its curve; the last value is taken",
    "unbalance": (
        "{name}: {value} returns past the second winding, through bonds to the chassis; it magnetises the core, which "
        "saturates at {limit}: {left} of {full} is left to the common mode"
    ),
    "beyond saturation": (
        "{name} carries {value} of direct current, {times:.2g} times its saturation current: its inductance there is a guess, "
        "for the model of its saturation is good to about twice that current"
    ),
}


def stability_sentence(stability: Stability) -> str:
    """What the poles, or the Nyquist count, say."""
    if stability.stable:
        return _stable(stability)
    if stability.method == "nyquist":
        return f"unstable: the Nyquist curve at {stability.load} encircles -1"
    where = f"at {number(stability.frequency, 'Hz')}" if stability.frequency else "without ringing"
    return (
        f"unstable: {stability.count} pole{'s' * (stability.count > 1)} in the right half plane, {where}, growing by e every "
        f"{number(stability.growth, 's')}; there is no steady state, so no ripple and no step is given. Damping across the filter's "
        "last capacitor, or more resistance in series, takes it away"
    )


def _stable(stability: Stability) -> str:
    if stability.method == "nyquist":
        return "no Nyquist curve at a load encircles -1 (a part has no ladder, so no poles)"
    if math.isnan(stability.frequency):
        return f"every pole is in the left half plane, and none below {format_quantity(NAMED, 'Hz')} rings"
    return f"every pole is in the left half plane; the least damped rings at {number(stability.frequency, 'Hz')} with Q = {stability.quality:.3g}"


def reason_text(reason: Stability | str | None) -> str:
    """Why there is no figure; "" where there is one."""
    return stability_sentence(reason) if isinstance(reason, Stability) else reason or ""


def part_note(note: PartNote) -> str:
    """What to know of a part at an operating point."""
    value, limit = (format_quantity(v, note.unit) for v in (note.value, note.limit))
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
        f"At {result.place} the scope with its clip on shows {shown} peak to peak in full bandwidth where {without} is without it; its tip "
        f"on its own clip alone shows {own}, along a lead of {number(float(result.clip.lead_inductance.value), 'H')}."
    )
