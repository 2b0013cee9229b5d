"""What converters usually are inside where a design file says nothing: duty cycle, edges, capacitors, loop, each with its range."""

from __future__ import annotations

import numpy as np

from filterlib.system.inside.ways import Supply
from filterlib.system.model import Validated
from filterlib.system.ranges.ranged import Ranged, default

LONGEST_EDGE = 0.2  # of the switching period
OF_ONE_KIND = 0.5  # lower end of that ratio: below 1 there are no ceramics, as in a fifth of all converters (no source)
MOST_SPIKES = 0.8  # of a ripple's reading: a ring four times as large, common practice, no source
UNEQUAL = 20.0  # an electrolytic's ESR over that of it and its ceramics, at most: common practice, no source


def edge(data: Validated) -> Ranged:
    """8 to 90 ns, and less where the period is too short for that."""
    share = min(1.0, LONGEST_EDGE / 90e-9 / data.get("switching_frequency", 1e5))
    why = "switching edges take 8 to 90 ns, and less at several megahertz (common practice, no source)"
    return default(30e-9 * share, 8e-9 * share, 90e-9 * share, why)


def supply(data: Validated) -> Supply | None:
    """Behind an isolated converter the current closes through the input cable, whatever the file says of it."""
    crosses = data.get("common_mode") is not None or data.get("bridge") is not None
    return Supply() if data.get("isolated") and crosses else None


def loop(data: Validated) -> Ranged:
    switching = float(np.max(data.get("switching_frequency", 1e5)))
    why = "a twentieth of the switching frequency; a fiftieth to an eighth is usual (common practice, no source)"
    return default(switching / 20, switching / 50, switching / 8, why)


def bulk(data: Validated) -> Ranged:
    """One kind of capacitor where its inductance is stated, else ceramics may stand beside the large one."""
    if (esl := data.get("output_esl")) is not None and esl.stated:
        return default(1.0, 1.0, 1.0, "one capacitor, whose inductance is stated")
    why = "capacitors of one kind, or an electrolytic with ceramics beside it (common practice, no source)"
    return default(1.0, OF_ONE_KIND, UNEQUAL, why)


def spikes(data: Validated) -> Ranged:
    """What a reading without a spike beside it holds of the ring at the edges; a spike or a recording tells."""
    ripple = data.get("ripple")
    if data.get("spike") is not None or ripple is None or ripple.recording is not None:
        return default(0.0, 0.0, 0.0, "the readings tell of the ring")
    why = "no spike is stated: a ring of 0 to 4 times the ripple may be in its reading (common practice, no source)"
    return default(0.0, 0.0, MOST_SPIKES, why)


def fall(data: Validated) -> Ranged:
    """A pulse's current falls by the inductor's ripple; flat where the duty cycle is stated and nothing is said of it."""
    duty = data.get("duty")
    if data.get("shape") == "triangle" or (duty is not None and duty.stated):
        return default(0.0, 0.0, 0.0, "a flat top")
    why = "a diode's current falls with the inductor's, by all of it where conduction just ceases (common practice, no source)"
    return default(0.0, 0.0, 1.0, why)


def duty(data: Validated) -> Ranged:
    """Duty from the voltages where they fix it: an ideal step-up or step-down stage without isolation."""
    supply, output = data.get("input_voltage") or 0.0, data.get("output_voltage") or 0.0
    shape = "pulse" if output > supply else "triangle"
    if not supply or not output or supply == output or data.get("isolated") or data.get("shape") not in (None, shape):
        return default(0.45, 0.15, 0.85, "nothing fixes the duty cycle (common practice, no source)")
    assert supply is not None and output is not None  # noqa: PT018  or there would be no shape
    duty = float(np.clip(1 - supply / output if shape == "pulse" else output / supply, 0.02, 0.98))
    spread = min(0.05, duty / 2, (1 - duty) / 2)
    return default(duty, duty - spread, duty + spread, "from the voltages of an ideal stage (conservation of flux)")
