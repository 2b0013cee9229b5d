"""What a converter does at light load: bursts, stated or suspected, and an inductor's current that falls to zero."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from filterlib.errors import FilterlibError
from filterlib.parts.values import Value
from filterlib.system.inside.burst import Burst, PulseTrain
from filterlib.system.inside.converter import Converter
from filterlib.units import format_quantity

LIGHT = 0.1  # share of full load below which a converter may burst or skip pulses: common practice, no source
PEAK = (
    0.5  # of a burst's pulses, over full load, unless it takes more to carry the threshold: common practice, no source
)
MOST = 1000  # pulses of an estimated burst, as of a stated one: near its threshold it hardly ends
WINDOW = 0.01  # of the output voltage, through which a burst lifts the output capacitor: common practice, no source
SWING = 0.3  # of an output inductor's current, peak to peak over the load's, where it is not stated: common practice, no source
LONGEST = 0.1  # [s] between bursts that are modelled


@dataclass(frozen=True)
class LightLoad:
    """A load below which the converter bursts, or may burst.

    ``drawn``, ``below``, ``full`` [A]: what the loads draw, the threshold, and full load; ``stated``: whether the threshold
    is, or is assumed; ``train``: the burst, None where the loads draw nothing; ``certain``: whether the burst is stated
    too, or estimated.
    """

    drawn: float
    below: float
    full: float
    stated: bool
    certain: bool
    train: PulseTrain | None


@dataclass(frozen=True)
class Discontinuous:
    """A load at which the output inductor's current falls to zero in each period.

    ``drawn`` [A], less than ``half`` of the current's swing [A]; ``share`` of the period in which it flows; ``known``: whether the
    swing is stated, so that its shape can be taken.
    """

    drawn: float
    half: float
    share: float
    known: bool


def discontinuous(converter: Converter, drawn: float, measured: float) -> Discontinuous | None:
    """Where the loads draw less than half of the swing of an output inductor's current; None elsewhere, or where it may reverse.

    ``measured`` [A]: the load's current to which ``ripple.current_swing`` belongs.

    The swing's slopes are fixed by the voltages, so the current flows in a share s of each period, up to s times its swing,
    and carries s^2 of half the swing. Source: Erickson and Maksimović, as `discontinuous_spectra` (from memory).

    >>> one = Converter(name="Tarn", output_voltage=28, switching_frequency=1e5, shape="triangle",
    ...                 ripple={"peak_to_peak": 0.1, "current_swing": 0.4})
    >>> discontinuous(one, 1.0, 4.0)   # hand: half of 1.6 A are 0.8 A
    >>> round(discontinuous(one, 0.2, 4.0).share, 9)   # hand: a quarter of 0.8 A
    0.5
    """
    half = (converter.ripple.current_swing or SWING) * measured / 2
    if converter.shape == "pulse" or converter.synchronous or not 0 < drawn < half:
        return None
    known = (
        converter.ripple.current_swing is not None
        and converter.shape is not None
        and converter.ripple.recording is None
    )
    return Discontinuous(drawn, half, float(np.sqrt(drawn / half)), known)


def full_load(converter: Converter, drawn: float) -> float:
    """Full load [A]: what the converter is rated for, else the larger of the loads' full draw and what it was measured at."""
    rating = converter.rating
    if rating is not None:
        by_power = np.inf if rating.output_power is None else rating.output_power / converter.output_voltage
        return float(min(by_power, rating.output_current or np.inf))
    return max(drawn, converter.ripple.load_current or 0.0)


def light_load(converter: Converter, drawn: float, full: float) -> LightLoad | None:
    """What the converter does while its loads draw ``drawn`` [A] of ``full`` load [A]; None where the load is not light.

    Raises FilterlibError where a stated burst cannot be: its pulses do not fit into its period.

    >>> one = Converter(name="Tarn", output_voltage=28, switching_frequency=1e5, shape="triangle", duty=0.5,
    ...                 ripple={"peak_to_peak": 0.1}, burst_below="10 %", burst={"pulses": 2, "peak": "1 A"})
    >>> light_load(one, 2.0, 4.0)   # half of full load
    >>> light_load(one, 0.1, 4.0).train.period   # hand: two pulses of 1 A x 10 us / 2, as often as 0.1 A ask for
    0.0001
    """
    stated, burst = converter.burst_below, converter.burst
    below = LIGHT * full if stated is None else stated.of(full)
    if not drawn < below:
        return None
    train = _estimated(converter, drawn, full, below) if burst is None else _train(converter, burst, drawn)
    return LightLoad(drawn, below, full, stated is not None, burst is not None, train)


def pulse_charge(converter: Converter) -> Value:
    """Charge [C] of one pulse of 1 A peak: a triangle over the period, or what falls to zero while the switch is open."""
    share = 1 - converter.duty.value if converter.shape == "pulse" else 1.0
    return share * converter.period / 2


def _train(converter: Converter, burst: Burst, drawn: float) -> PulseTrain | None:
    """The stated burst; what it does not state follows from the charge that the loads draw."""
    pulses = burst.pulses or 1  # it states them: see `Burst`
    charge = pulses * pulse_charge(converter)
    period = burst.period
    if period is None:
        if not drawn or burst.peak is None:  # it states a period or a peak: see `Burst`
            return None
        period = float(np.mean(burst.peak * charge / drawn))
    peak = drawn * period / charge if burst.peak is None else burst.peak
    if pulses * converter.period > period * (1 + 1e-9):
        room, asked = (format_quantity(t, "s", 3) for t in (period, pulses * converter.period))
        raise FilterlibError(
            f"converter.burst: {pulses} pulses take {asked}, and a burst comes each {room}"
            + ("" if burst.period else f" while the loads draw {format_quantity(drawn, 'A', 3)}; state a higher peak")
        )
    return PulseTrain(pulses, period, peak, peak * charge / period, burst.recording)


def _estimated(converter: Converter, drawn: float, full: float, below: float) -> PulseTrain | None:
    """Pulses of `PEAK`, as many as lift the capacitor by `WINDOW`, as often as the loads ask for.

    Pulses without a pause carry the load ``below`` which the converter bursts [A], at least.
    """
    charge = float(np.mean(pulse_charge(converter)))
    peak = max(PEAK * full, below * converter.period / charge)
    each = peak * charge
    lifted = WINDOW * converter.output_voltage * float(np.mean(converter.output_capacitance.value))
    pulses = min(max(1, round(lifted / max(each - drawn * converter.period, 1e-3 * each))), MOST)
    if drawn * LONGEST < pulses * each:
        return None
    return PulseTrain(pulses, pulses * each / drawn, peak, drawn)
