"""What no recording of a converter can be: steps in time and voltages that come of a forgotten prefix or unit."""

from __future__ import annotations

import numpy as np

from filterlib.bench.capture.recording import Recording
from filterlib.errors import refused
from filterlib.units import format_quantity

INTERVALS = (
    1e-14,
    1e-3,
)  # [s] of a sample: no oscilloscope is faster, and a period of no converter has two slower ones
HIGHEST = 1e6  # [V] that a probe can be at


def refuse_absurd(recording: Recording) -> None:
    """Raises InputError where a recording's sample interval or voltages can be of no converter."""
    file, interval = recording.file or "the recording", recording.sample_interval
    if not INTERVALS[0] <= interval < INTERVALS[1]:
        why = f"a sample interval of {format_quantity(interval, 's')} shows no converter; is the unit of the time right (s, ms, µs, ns)?"
        raise refused(file, why)
    wrong = recording.volts[~(np.abs(recording.volts) <= HIGHEST)]
    if wrong.size:
        why = f"{wrong[0]:.3g} V is absurd here; are the unit of the signal and the probe's factor right?"
        raise refused(file, f"{recording.channel}: {why}")
