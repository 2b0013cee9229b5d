"""Damping branches in words: what each does and costs, and whether damping is needed at all."""

from __future__ import annotations

import math

from filterlib.analysis.damping.dampers import DampedDesign, DampingResult
from filterlib.analysis.stability.proof import Proof
from filterlib.words.margin_sentences import more_power
from filterlib.words.proposal_sentences import failing_list, outcome
from filterlib.words.quantities import capital, interval_text, joined, number

ENOUGH = 1.0  # share of more power from which a circuit is not asked to be damped: common practice, no source
HOT = "The resistor gets hot and may fail open after many starts: take a pulse-rated one."


def damping_opening(result: DampingResult) -> str:
    """What damping comes to for a design."""
    if not result.dampers:
        return "No damping branch can be judged."
    best = result.dampers[0]
    peak, without = number(best.resistor.peak, "ohm"), number(best.resistor.without, "ohm")
    if not any(one.damps for one in result.dampers):
        return f"It needs no damping branch: the peak at the load is {without}, and the best one makes {peak} of it."
    return (
        f"{_as_it_is(best.was)}. With {best.part} and {number(best.resistor.chosen, 'ohm', 2)} it rings at {more_power(best.more)}, "
        f"and the peak at the load falls from {without} to {peak}."
    )


def _as_it_is(more: float) -> str:
    """Stability without a branch."""
    if math.isinf(more):
        return "No load can turn it unstable"
    if more < 0:
        return f"It is unstable: its load draws {number(1 / (1 + more), '', 2)} times what it may"
    needs = ", and needs no damping to be stable" if more > ENOUGH else ""
    return f"It rings at {more_power(more)}{needs}"


def damper_lines(one: DampedDesign) -> tuple[str, ...]:
    """What one branch does, and what it costs."""
    found = one.resistor
    ripple = "" if math.isnan(one.ripple) else f"; the ripple becomes {one.ripple:.2g} times what it was"
    lines = [
        f"{capital(one.proposal.words)}: {outcome(one.proposal)}",
        f"peak {number(found.without, 'ohm')} -> {number(found.peak, 'ohm')} at {number(found.peak_frequency, 'Hz')}, "
        f"{number(found.worst, 'ohm')} at the worst tolerances; rings at {more_power(one.more)}{ripple}",
        f"resistor: {number(found.textbook, 'ohm', 2)} by the textbook, {number(found.nominal, 'ohm', 2)} with the real parts, "
        f"{number(found.robust, 'ohm', 2)} over the tolerances",
        f"heat in the resistor {number(one.heat, 'W', 2)}; at switch-on at most {number(one.switch_on, 'J', 2)}",
    ]
    if one.conditions:
        rows = (f"{each.words} {number(each.critical_power, 'W')}" for each in one.conditions)
        lines.append(f"critical power with the electrolytic {', '.join(rows)}")
    if one.proposal.broken:
        lines.append(f"breaks: {failing_list(one.proposal.broken)}")
    return tuple(lines)


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
        return f"Not proved at {proof.point} for every combination of {ranges}, and none found that is unstable."
    return f"Proved stable at {proof.point} for every combination of {ranges}.{others}"
