"""What a converter does at light load, in words: where it bursts or may burst, and what that makes of the ripple."""

from __future__ import annotations

from collections.abc import Iterator

from filterlib.analysis.judged import PointJudgement
from filterlib.analysis.stability.stability_result import LightLoadResult
from filterlib.units import format_quantity
from filterlib.words.quantities import number, share

APART = 0.2  # share by which the current that a stated burst carries may miss what the loads draw: common practice, no source
_ADVICE = 'Record the terminals at this load and state [converter.burst], or burst_below = "0 %" where it switches all the time'


def light_load_sentences(point: PointJudgement) -> Iterator[str]:
    """All that is to know of an operating point whose load is light; nothing elsewhere."""
    yield from filter(None, (light_load_sentence(point), discontinuous_sentence(point)))


def discontinuous_sentence(point: PointJudgement) -> str:
    """Where an output inductor's current falls to zero in each period; "" elsewhere."""
    found = point.operating.discontinuous
    if found is None:
        return ""
    start = f"{point.operating.point}: {number(found.drawn, 'A')} are less than half the swing of an output inductor's current"
    if found.known:
        return (
            f"{start} ({number(found.half, 'A')}): it falls to zero after {share(found.share)} of each period, and the ripple is that of such "
            "pulses"
        )
    return (
        f"{start} ({number(found.half, 'A')}, assumed: a swing of 30 % of full load, common practice, no source), so it may fall to "
        "zero in each period; the ripple is given as if it did not. State shape, ripple.current_swing, and synchronous where it may reverse"
    )


def light_load_sentence(point: PointJudgement) -> str:
    """What to know of an operating point at light load; "" where the load is not light."""
    light = point.operating.light_load
    if light is None:
        return ""
    start = f"{point.operating.point}: light load, {number(light.drawn, 'A')}, below {_threshold(light)}."
    if light.certain:
        return f"{start} {_stated(light)}"
    may = "bursts or skips pulses" if light.stated else "may burst or skip pulses"
    return f"{start} There the converter {may}. {_estimate(point, light)}. {_ADVICE}"


def _threshold(light: LightLoadResult) -> str:
    if light.stated:
        return f"the stated {number(light.below, 'A')}"
    return f"{number(light.below, 'A')}, a tenth of full load (assumed: common practice, no source)"


def _stated(light: LightLoadResult) -> str:
    if not light.pulses:
        return "The loads draw nothing, so nothing says how often the converter bursts: its ripple is given as if it switched all the time"
    text = f"The converter bursts: {_train(light)}. The ripple is that of the bursts, as stated"
    if light.drawn and abs(light.delivered / light.drawn - 1) > APART:
        text += (
            f". These pulses carry {number(light.delivered, 'A')} and the loads draw {number(light.drawn, 'A')}: leave period or peak out, "
            "and it follows from the load"
        )
    return text


def _train(light: LightLoadResult) -> str:
    count = f"{light.pulses} pulse{'s' * (light.pulses > 1)} each {number(light.period, 's')}"
    return f"{count}, up to {number(light.peak, 'A')}"


def _estimate(point: PointJudgement, light: LightLoadResult) -> str:
    """How much ripple, at the load where that is most over what it is without bursts."""
    at = {place: volts for (place, label), volts in point.ripple.estimated.items() if label == "20MHz"}
    loads = [name for name in point.operating.load_voltages if name in at]
    if not light.pulses or not loads:
        return "How much ripple that makes is not known"
    figures = point.ripple.figures
    load = max(loads, key=lambda name: at[name] / figures[name, "20MHz"].peak_to_peak)
    without = format_quantity(figures[load, "20MHz"].peak_to_peak, "V", 2)
    return (
        f"Estimated: {format_quantity(at[load], 'V', 2)} at {load} instead of {without}, if {_train(light)}, lift its output capacitor "
        "by 1 % of the output voltage (common practice, no source)"
    )
