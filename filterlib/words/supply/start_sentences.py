"""How a load's bursts start, as sentences: the dip with a bank and without, and what the sag asks for."""

from __future__ import annotations

import math
from collections.abc import Iterator

from filterlib.analysis.hold_up.bank_result import Dip, Start
from filterlib.words.quantities import number

__all__ = ["PLACES", "start_sentences"]
PLACES = {
    "": "no bank",
    "converter": "at the converter",
    "filter": "behind the filter, where the lead begins",
    "lead": "half way along the lead",
    "load": "at the load's end of the lead",
}


def start_sentences(start: Start) -> Iterator[str]:
    """Without a bank first, then the best place for one, what the sag asks of a capacitor there, and the battery."""
    alone, best = start.dips[0], start.best
    allowed = f"{number(start.allowed, 'V')} allowed"
    step = f"the {number(start.step, 'A')} that {start.load} draws at once"
    if alone.lowest >= start.allowed:
        yield f"Without a bank {step} pull its voltage down to {number(alone.lowest, 'V')}, {allowed}: the start holds."
    else:
        yield f"Without a bank {step} pull its voltage down to {number(alone.lowest, 'V')}, {allowed}: the burst fails at its start."
    if best.place and alone.lowest < start.allowed:
        relation = "enough" if best.lowest >= start.allowed else "not enough"
        yield f"A bank belongs {PLACES[best.place]}: there the voltage stays above {number(best.lowest, 'V')}, which is {relation}. {_over(best)}"
    if start.step:
        yield (
            f"With a stiff voltage at the beginning of the lead the dip would be {number(start.stiff, 'V')} (closed form). The capacitor across "
            f"{start.load} may then have an ESR of {number(start.resistance, 'ohm')} at most{_asked(start)}."
        )
    yield (
        f"This is followed with the {number(start.limit, 'A')} that the converter can give {start.load}: its stated limit less what other loads draw, else its "
        "rating. A bank is sized for what it may give, by its rating."
    )
    if math.isfinite(start.input):
        fails = ": it cannot give that power" if start.input <= 0 else ""
        yield f"From a battery at its lowest, {number(start.battery, 'V')}, the converter's input dips to {number(start.input, 'V')}{fails}."


def _over(dip: Dip) -> str:
    if not math.isfinite(dip.taken_over):
        return "The converter recharges it through the filter; it has not taken over within the time that was followed."
    return f"After {number(dip.taken_over, 's')} the converter gives the load's current, or all it can; it recharges the bank through the filter."


def _asked(start: Start) -> str:
    if not math.isfinite(start.capacitance):
        return "; the lead alone drops more than is allowed, whatever the capacitance"
    return f", and needs {number(start.capacitance, 'F')}; the lead may have {number(start.longest, 'H')} at most"
