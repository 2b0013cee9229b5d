"""How far from ringing, in words: the power that a load could draw, what rules would allow, and what to measure."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from filterlib.analysis.stability.stability_result import Margin, Rule, RuleName
from filterlib.system.design import Design
from filterlib.system.inside.converter import Converter
from filterlib.words.quantities import number, plain, share

SAFE = 0.5  # share of more power below which a filter is asked to be damped: common practice, no source
RULES: dict[RuleName, str] = {
    "0 dB": "source impedance below the load's at every frequency (0 dB)",
    "6 dB": "source impedance below half of the load's (6 dB)",
    "gain and phase": "6 dB, or 60° of phase where it is more (forbidden region)",
    "opposing argument": "the part of the ratio that opposes below one half",
}


def more_power(more: float) -> str:
    """How much more power a load may draw before the circuit rings.

    >>> more_power(0.38), more_power(2.5), more_power(-0.2), more_power(float("inf"))
    ('38 % more power', '3.5 times its power', '20 % less power', 'any power')
    """
    if math.isinf(more):
        return "any power"
    if more >= 1:
        return f"{plain(1 + more, 2)} times its power"
    return f"{share(abs(more))} {'more' if more >= 0 else 'less'} power"


def margin_sentence(one: Margin) -> str:
    """How much more power one load may draw.

    >>> from types import SimpleNamespace
    >>> at = SimpleNamespace(load="modem", point="full load", more=0.38, critical_power=83.0, critical_frequency=3.4e3, stable=True)
    >>> margin_sentence(at)
    'Stable at full load with nominal values: modem could draw 38 % more power, 83 W, before the line rings at 3.4 kHz.'
    """
    if math.isinf(one.critical_power):
        return f"Stable at {one.point} with nominal values, whatever {one.load} draws."
    rings = (
        f"rings at {number(one.critical_frequency, 'Hz')}" if one.critical_frequency else "collapses without ringing"
    )
    if not one.stable:
        return f"Unstable at {one.point} with nominal values: {one.load} draws {number(one.power, 'W')}, and from {number(one.critical_power, 'W')} on the line {rings}."
    return f"Stable at {one.point} with nominal values: {one.load} could draw {more_power(one.more)}, {number(one.critical_power, 'W')}, before the line {rings}."


def margin_title(one: Margin) -> str:
    """The same in a heading, which the range may contradict."""
    if math.isinf(one.critical_power):
        return f"at nominal values stable, whatever {one.load} draws"
    return f"at nominal values {one.load} {f'could draw {more_power(one.more)}' if one.stable else 'draws more than is stable'}"


def rule_sentence(rules: Iterable[Rule]) -> str:
    """What rules about impedances would allow, beside the exact answer."""
    allowed = {one.name: one for one in rules if math.isfinite(one.power)}
    if not allowed:
        return ""
    listed = ", ".join(f"{name} {share(one.share)}" for name, one in allowed.items())
    return f"Impedance rules would allow this share of that power: {listed}. They are safe, and stricter than stability needs."


def margin_sentences(margins: Iterable[Margin], design: Design) -> Iterator[str]:
    """The least margin first, then the other operating points, rules, and what to measure."""
    ordered = sorted(margins, key=lambda one: one.more)
    if not ordered:
        yield "No load draws a constant power, so nothing can make the line ring."
        return
    yield from map(margin_sentence, ordered)
    worst = ordered[0]
    if math.isfinite(worst.damping):
        yield f"The least damped resonance that {worst.load} sees is at {number(worst.frequency, 'Hz')}, damping ratio {worst.damping:.2g}."
    if rules := rule_sentence(worst.rules):
        yield rules
    if worst.more < SAFE:
        yield "Little or no margin: with half as much power again it rings. `filterlib damp` proposes damping."
    yield from _inside(design.converter)


def _inside(converter: Converter) -> Iterator[str]:
    """What of the converter's inside the margin was worked out with."""
    measured = converter.control.output_impedance
    if measured is not None:
        network, why = measured.fit
        yield (
            f"The converter's output impedance is not as measured here but as assumed: {why}."
            if network is None
            else f"The converter's output impedance is as measured; its poles are those of {network}."
        )
    elif not converter.loop_bandwidth.stated:
        yield (
            "The converter's loop bandwidth is not stated. Measure its output impedance from 100 Hz to 100 kHz: "
            "the frequency from which it falls is the bandwidth."
        )
