"""What the bursts of a load ask for, as sentences."""

from __future__ import annotations

import math
from collections.abc import Iterator

from filterlib.analysis.hold_up.bank_result import Bank, BankResult, Bursts, Fittings
from filterlib.analysis.hold_up.burst_bank import MOST_PARTS
from filterlib.analysis.hold_up.fittings import LITTLE
from filterlib.analysis.hold_up.fuses_and_limits import LIMITS
from filterlib.words.quantities import joined, number
from filterlib.words.supply.supply_sentences import check_sentence

__all__ = ["bank_cautions", "bank_line", "bank_sentences", "short_sentence"]
AGREES = 1e-6  # of both methods, below which they are said to agree
OPENS = 3.0  # times its melting I2t that a fuse is given before it is trusted to open: common practice, no source


def bank_line(result: BankResult) -> str:
    """The bursts of one load in one line of a summary."""
    burst = f"{result.load}, {number(result.length, 's')} each {number(result.period, 's')}"
    if result.carried:
        return f"{burst}: the converter carries them without a bank"
    if not result.banks:
        return f"{burst}: {number(result.needed, 'F')} needed, and no bank of our parts carries them"
    return f"{burst}: {number(result.needed, 'F')} needed, for example {result.banks[0].words}"


def short_sentence(found: Bursts) -> str:
    """That there is too little capacitance for the bursts of loads, with what would hold the first of them; or how the first one falls short."""
    first = found.short[0]
    if first.least <= found.fitted:
        return (
            f"{check_sentence(next(one for one in found.checks if one.part == first.load and one.verdict != 'met'))}."
        )
    needed = number(first.needed, "F") if math.isfinite(first.needed) else "more than any capacitor"
    needs = f"Too little capacitance for the bursts of {joined([one.load for one in found.short])}: {first.load} needs {needed}"
    fit = f" For example, fit {first.banks[0].words} at {first.load}." if first.banks else ""
    return f"{needs}, and {number(found.fitted, 'F')} are fitted.{fit}"


def bank_sentences(result: BankResult) -> Iterator[str]:
    """The verdict first, then why, what to fit, and what else it needs."""
    load, volts = result.load, number(result.lowest, "V")
    each = f"a burst of {number(result.length, 's')} each {number(result.period, 's')}"
    if result.carried:
        yield (
            f"No bank is needed: the converter, which can give {load} {number(result.supply, 'A')}, "
            f"holds it above {volts} in {each}."
        )
        return
    yield from _verdict(result, load, each)
    yield (
        f"At {volts} {load} draws {number(result.draw, 'A')} and the converter gives it {number(result.supply, 'A')}: "
        f"the bank gives the other {number(result.deficit, 'A')}. That needs {number(result.needed, 'F')} or more, even of a bank without resistance."
    )
    if not result.recharges:
        yield (
            f"The bank never recharges: {load} takes {number(result.mean, 'A')} on average, "
            f"more than the {number(result.supply, 'A')} that the converter can give."
        )
    elif result.fittings is not None:
        yield from _fitted(result, result.banks[0], result.fittings)


def _verdict(result: BankResult, load: str, each: str) -> Iterator[str]:
    usual = f"30 mF, a bank as it is often built, hold it for {number(result.usual_holds, 's')}"
    if not result.banks:
        yield f"No bank of up to {MOST_PARTS} parts carries {load} through {each}: {number(result.needed, 'F')} are needed."
        yield f"{usual}. A converter that gives {number(result.draw, 'A')} needs no bank."
        return
    best = result.banks[0]
    yield (
        f"{best.words} carry {load} through {each}, cold, at the end of their life "
        f"and at the low end of their tolerance: they hold {number(best.holds, 's')}."
    )
    if all(one.kind == "supercapacitor" for one in result.banks):
        yield f"Only supercapacitors carry it: {usual}. A converter that gives {number(result.draw, 'A')} needs no bank."


def _fitted(result: BankResult, best: Bank, fittings: Fittings) -> Iterator[str]:
    slow = [one.kind for one in fittings.limiters if not one.in_time]
    own = fittings.limiters[0]
    yield (
        f"It is full again {number(best.recharge, 's')} after a burst, charged by the {number(own.current, 'A')} that the "
        f"converter can spare; the first charge takes {number(own.start, 's')}."
    )
    if slow:
        yield f"Through {joined(slow)} it is not full again before the next burst: bypass it once the bank is full."
    if (diode := _other_diode(result)) is not None:
        yield diode
    yield _fuse_sentence(result, fittings)
    error = abs(fittings.in_time.holds / best.holds - 1)
    methods = "charge balance and a simulation in time"
    if error < AGREES:
        yield f"Two methods agree on the {number(best.holds, 's')} to a millionth: {methods}."
    else:
        yield f"Two methods differ on the {number(best.holds, 's')} by {number(100 * error, '')} %: {methods}."


def _other_diode(result: BankResult) -> str | None:
    """What the diode costs, where both kinds leave something of the sag."""
    schottky, ideal = result.isolations[1:3]
    if not math.isfinite(schottky.needed):
        return None
    return (
        f"All this is behind a Schottky diode, which takes {number(schottky.drop, 'V')} of the sag and makes "
        f"{number(schottky.heat, 'W')} of heat in a burst; an ideal diode takes {number(ideal.drop, 'V')}: "
        f"{number(ideal.needed, 'F')} instead of {number(schottky.needed, 'F')}."
    )


def _fuse_sentence(result: BankResult, fittings: Fittings) -> str:
    fuse = fittings.fuse
    rating = f"A fuse of {number(fuse.rating, 'A')} carries the bank's {number(fuse.carried, 'A')}"
    each = f"each burst has an I²t of {number(fuse.pulse, 'A²s')}, the first charge {number(fuse.first, 'A²s')}"
    if not math.isfinite(fuse.melting):
        many = "more bursts than the 100,000 of the catalogue's curve"
        why = many if result.bursts else "no service_life says how many bursts"
        return f"{rating}; {each}, and {why}: choose at least five times as much melting I²t, and ask the fuse's maker."
    opens = "opens" if fuse.short > OPENS * fuse.melting else "may not open"
    return (
        f"{rating}; {each}, and {result.bursts:.3g} bursts ask for {number(fuse.melting, 'A²s')} of nominal melting I²t. "
        f"A short circuit gives {number(fuse.short, 'A²s')}: such a fuse {opens}."
    )


def bank_cautions(result: BankResult) -> Iterator[str]:
    """What a full bank can do, with numbers, beside published limits."""
    if not result.banks or result.fittings is None:
        return
    best = result.banks[0]
    yield f"The full bank stores {number(best.energy, 'J')} and {number(best.charge, 'C')}. A short circuit of it burns and throws metal: discharge it through a resistor before work."
    for limit in LIMITS:
        if result.output > limit.above:
            stored = {"C": best.charge, "F": best.nominal, "J": best.energy}[limit.unit]
            relation = "more" if stored > limit.value else "less"
            yield f"That is {relation} than {number(limit.value, limit.unit)}: {limit.source}."
    bleed = next(one for one in result.fittings.bleeders if one.heat <= LITTLE * 1.001)
    yield (
        f"A bleed resistor of {number(bleed.resistance, 'ohm')} brings it to {number(bleed.safe, 'V')} in "
        f"{number(bleed.seconds, 's')} and takes {number(bleed.heat, 'W')} all the time. Measure before you touch."
    )
    if best.kind == "supercapacitor":
        yield f"Cells in series need balancing: resistors across them take {number(best.balancing, 'W')} all the time. A cell above its voltage vents."
    yield "Put a fuse between bank and load, and an isolation diode towards the converter where it must not feed back (common practice, no source)."
    yield "A load that draws constant power at any voltage may hold the first charge down: let it start only above its lowest voltage."
    yield "Local codes and a licensed person decide about batteries, fuses and wires; nothing here replaces them."
