"""What the bursts of a load ask for, as sentences."""

from __future__ import annotations

from collections.abc import Iterator

from filterlib.analysis.hold_up.burst_bank import MOST_PARTS, BankResult
from filterlib.analysis.hold_up.fuses_and_limits import LIMITS, bleeder
from filterlib.words.quantities import number

__all__ = ["bank_cautions", "bank_sentences"]
SAFE, SOON = 10.0, 30.0  # [V], [s] of the bleed resistor that is named as an example


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
    if not result.banks:
        held = 30e-3 / result.needed * result.length
        yield f"No bank of up to {MOST_PARTS} parts carries {load} through {each}: {number(result.needed, 'F')} are needed."
        yield f"30 mF would hold it for {number(held, 's')}. A converter that gives {number(result.draw, 'A')} needs no bank."
    else:
        best = result.banks[0]
        yield (
            f"{best.count} x {best.part} in parallel carry {load} through {each}, cold, at the end of their life "
            f"and at the low end of their tolerance: they hold {number(best.holds, 's')}."
        )
    yield (
        f"At {volts} {load} draws {number(result.draw, 'A')} and the converter gives it {number(result.supply, 'A')}: "
        f"the bank gives the other {number(result.deficit, 'A')}, at least {number(result.needed, 'F')} without resistance."
    )
    if not result.recharges:
        yield (
            f"The bank never recharges: {load} takes {number(result.mean, 'A')} on average, "
            f"more than the {number(result.supply, 'A')} that the converter can give."
        )
    elif result.banks:
        best = result.banks[0]
        yield f"It is full again {number(best.recharge, 's')} after a burst; its first charge takes {number(best.start, 's')}."
        yield f"Each burst has an I²t of {number(best.pulse, 'A²s')} in a fuse of the bank; {_fuse(result)}."


def _fuse(result: BankResult) -> str:
    melting = result.banks[0].melting
    if melting == melting:
        return f"{result.bursts:.3g} bursts ask for {number(melting, 'A²s')} of nominal melting I²t"
    many = (
        "more bursts than the 100,000 of the catalogue's curve"
        if result.bursts
        else "no service_life says how many bursts"
    )
    return f"{many}: choose at least five times as much, and ask the fuse's maker"


def bank_cautions(result: BankResult) -> Iterator[str]:
    """What a full bank can do, with numbers, beside published limits."""
    if not result.banks:
        return
    best = result.banks[0]
    yield f"The full bank stores {number(best.energy, 'J')} and {number(best.charge, 'C')}. A short circuit of it burns and throws metal: discharge it through a resistor before work."
    for limit in LIMITS:
        stored = best.charge if limit.unit == "C" else best.energy
        relation = "more" if stored > limit.value else "less"
        yield f"That is {relation} than {number(limit.value, limit.unit)}: {limit.source}."
    ohms, watts = bleeder(best.nominal, result.voltage, min(SAFE, 0.5 * result.voltage), SOON)
    yield (
        f"A bleed resistor of {number(ohms, 'ohm')} brings it to {number(min(SAFE, 0.5 * result.voltage), 'V')} in "
        f"{number(SOON, 's')} and takes {number(watts, 'W')} all the time."
    )
    yield "Put a fuse between bank and load, and an isolation diode towards the converter where it must not feed back (common practice, no source)."
    yield "A load that draws constant power at any voltage may hold the first charge down: let it start only above its lowest voltage."
    yield "Local codes and a licensed person decide about batteries, fuses and wires; nothing here replaces them."
