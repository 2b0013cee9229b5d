"""Damping in words: what each does and costs, and whether it is needed at all."""

from __future__ import annotations

import math

from filterlib.analysis.damping.damping_result import DampedDesign, DampingResult
from filterlib.analysis.judged import Judgement
from filterlib.analysis.stability.stability_result import Proof
from filterlib.words.margin_sentences import more_power
from filterlib.words.quantities import capital, interval_text, joined, number
from filterlib.words.review.proposal_sentences import outcome
from filterlib.words.review.rating_sentences import failing_list
from filterlib.words.stability_sentences import turns

ENOUGH = 1.0  # share of more power from which a circuit is not asked to be damped: common practice, no source
HOT = "The resistor gets hot and may fail open after many starts: take a pulse-rated one."


def damping_opening(result: DampingResult) -> str:
    """What damping comes to for a design."""
    before = _as_it_is(result)
    if not result.dampers:
        return f"{before}. No damping can be judged."
    best = result.dampers[0]
    peak, without = number(best.resistor.peak, "ohm"), number(best.resistor.without, "ohm")
    left = unstable_words(best.proposal.judgement)
    still = f", and it is still {left}" if left else ""
    if any(one.damps for one in result.dampers):
        chosen = f" and {number(best.resistor.chosen, 'ohm', 2)}" if best.resistor.chosen else ""
        return f"{before}. With {best.part}{chosen} {_rings(best.more)}, and the peak at the load falls from {without} to {peak}{still}."
    if unstable_words(result.judgement) or best.was < ENOUGH:
        return (
            f"{before}. Damping does not help: the peak at the load is {without}, and {peak} with the best one{still}."
        )
    return f"It needs no damping: the peak at the load is {without}, and the best damping lowers it to {peak}."


def unstable_words(judgement: Judgement) -> str:
    """Where a circuit is unstable, at nominal values or elsewhere in the range; "" where it is stable in all of it."""
    if judgement.unstable:
        return f"unstable at {joined(one.operating.point for one in judgement.unstable)}"
    if not judgement.turned:
        return ""
    first = judgement.turned[0]
    for_what = f", for {turns(first.over)}" if first.over is not None else ""
    return f"unstable in a part of the range at {first.operating.point}{for_what}"


def _as_it_is(result: DampingResult) -> str:
    """Stability without damping."""
    more, where = result.more, unstable_words(result.judgement)
    if more < 0:
        return f"It is {where}: its load draws {number(1 / (1 + more), '', 2)} times what it may"
    if where:
        return f"It is {where}"
    if math.isinf(more):
        return "No load can turn it unstable"
    needs = ", and needs no damping to be stable" if more > ENOUGH else ""
    return f"{capital(_rings(more))}{needs}"


def damper_lines(one: DampedDesign) -> tuple[str, ...]:
    """What one damping does, and what it costs."""
    found = one.resistor
    lines = [
        f"{capital(one.proposal.words)}: {outcome(one.proposal)}{_open(one)}",
        f"peak {number(found.without, 'ohm')}, with it {number(found.peak, 'ohm')} at {number(found.peak_frequency, 'Hz')}, "
        f"{number(found.worst, 'ohm')} at the worst tolerances; {_rings(one.more)}{_ripple(one.ripple)}",
        f"resistor: {number(found.textbook, 'ohm', 2)} by the textbook, {number(found.nominal, 'ohm', 2)} with the real parts, "
        f"{number(found.robust, 'ohm', 2)} over the tolerances",
        f"heat in the resistor {number(one.heat, 'W', 2)}; at switch-on at most {number(one.switch_on, 'J', 2)}",
        f"size of the part about {1e6 * one.volume:.1g} cm³; {_drop(one)}",
    ]
    if one.conditions:
        rows = (f"{each.words} {number(each.critical_power, 'W')}" for each in one.conditions)
        lines.append(f"critical power with the electrolytic {', '.join(rows)}")
    if one.proposal.broken:
        lines.append(f"breaks: {failing_list(one.proposal.broken)}")
    return tuple(lines)


def _rings(more: float) -> str:
    return "no load makes it ring" if math.isinf(more) else f"it rings at {more_power(more)}"


def _ripple(ratio: float) -> str:
    if math.isnan(ratio):
        return ""
    return (
        "; the ripple stays the same"
        if f"{ratio:.2g}" == "1"
        else f"; the ripple becomes {ratio:.2g} times what it was"
    )


def _open(one: DampedDesign) -> str:
    """Where it is not stable with it."""
    left = unstable_words(one.proposal.judgement)
    return f"; {left}" if left else ""


def _drop(one: DampedDesign) -> str:
    least = 1e-6 * one.design.converter.output_voltage
    return "no more drop" if one.drop < least else f"{number(one.drop, 'V', 2)} less at the load"


def proof_sentence(proof: Proof) -> str:
    """What is proved of a design, or the combination for which it is not stable."""
    if proof.verdict == "unstable":
        values = joined(f"{one.label} {number(one.value, one.unit)}" for one in proof.ranges)
        return f"Unstable at {proof.point} with {values}."
    ranges = joined(f"{one.label} {interval_text(one.low, one.high, one.unit)}" for one in proof.ranges)
    others = (
        ""
        if not proof.held
        else f" The other {len(proof.held)} uncertain parameters are at their nominal values there."
    )
    if proof.verdict == "undecided":
        return f"Not proved at {proof.point} for every combination of {ranges}; none was found that is unstable."
    return f"Proved stable at {proof.point} for every combination of {ranges}.{others}"
