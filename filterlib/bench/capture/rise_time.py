"""Rise time and bandwidth: what an oscilloscope makes of an edge."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

RISE_BANDWIDTH = 0.35
"""Rise time from 10 to 90 % times bandwidth, of a single pole: ln(9)/(2 pi) = 0.3497."""


def rise_time(bandwidth: float) -> float:
    """Rise time (10 to 90 %) [s] that a bandwidth [Hz] makes of an ideal edge.

    0.35 over the bandwidth: exact to 0.1 % for a single pole, 0.34 for a Gaussian response.
    Source: D. A. Bell, Solid State Pulse Circuits.

    >>> round(rise_time(20e6) * 1e9, 2)
    17.5
    """
    return RISE_BANDWIDTH / bandwidth


def bandwidth_of(time: float) -> float:
    """Bandwidth [Hz] that makes a rise time (10 to 90 %) [s]: the reverse of `rise_time`.

    >>> round(bandwidth_of(1e-6) / 1e3)
    350
    """
    return RISE_BANDWIDTH / time


def observed_rise_time(*times: ArrayLike) -> np.ndarray:
    """Rise time [s] observed where an edge and what it passes each have one: the root of the sum of squares.

    Exact for Gaussian responses; for single poles within some 10 %. Source: D. A. Bell, Solid State Pulse Circuits.

    >>> float(round(observed_rise_time(10e-6, rise_time(350e3)) * 1e6, 2))
    10.05
    """
    rise: np.ndarray = np.sqrt(sum(np.square(np.asarray(time, float)) for time in times))
    return rise


def rc_rise_time(resistance: float, capacitance: float) -> float:
    """Rise time (10 to 90 %) [s] of a resistance [ohm] that charges a capacitance [F]: 2.2 R C, ln(9) being 2.197.

    >>> round(rc_rise_time(600, 30e-12) * 1e9, 1)
    39.6
    """
    return 2.2 * resistance * capacitance
