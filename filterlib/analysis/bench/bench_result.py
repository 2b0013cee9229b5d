"""What an earthed clip on a return shows, and what a second reading of the terminals would tell of the inside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Amperes, Farads, Ohms, Seconds, Unit, Volts
from filterlib.analysis.linear.two_lines import CONVENTION
from filterlib.system.line.clip import Clip

TELLING = (0.3, 10.0)
"""Impedance of the test capacitor over the inner one, between which it moves the reading by a share that can be read."""


@dataclass(frozen=True)
class ClipFigures:
    """Peak to peak in one band.

    ``seen``: at the place without the clip, what the load sees; ``there``: at the place while the clip is on; ``shown``: by
    the scope, tip on the plus line; ``own_clip``: by the scope, its tip on its own clip; ``difference``: of the waveform
    shown less the waveform seen.
    """

    seen: Volts[float]
    there: Volts[float]
    shown: Volts[float]
    own_clip: Volts[float]
    difference: Volts[float]

    @property
    def too_much(self) -> float:
        """By how much the scope shows more than the load sees [V]; negative where it shows less."""
        return self.shown - self.seen


@dataclass(frozen=True)
class ClippedResult:
    """A reading of a scope with its clip on, at one place and one operating point.

    ``figures``: by "20MHz" and "full"; ``times`` (t,): one switching period; ``waveforms``: (what, band) -> (t,), what being
    "seen", "there", "shown", "own_clip" or "difference", which is shown less seen. ``rms``: by (arrangement, mode) in full
    bandwidth, arrangement "without" or "with" the clip, mode "differential" or "common" (NaN without the clip where nothing
    else reaches the chassis); ``current``, ``current_rms``: peak to peak and rms through the clip's lead. ``convention`` of
    the modes. ``stable``: False where there is no steady state, and so nothing.
    """

    place: str
    point: str
    clip: Clip
    figures: Mapping[str, ClipFigures] = field(default_factory=dict)
    times: Seconds[np.ndarray] = field(default_factory=lambda: np.zeros(0))
    waveforms: Volts[Mapping[tuple[str, str], np.ndarray]] = field(default_factory=dict)
    rms: Volts[Mapping[tuple[str, str], float]] = field(default_factory=dict)
    current: Amperes[float] = np.nan
    current_rms: Amperes[float] = np.nan
    convention: str = CONVENTION
    stable: bool = True


@dataclass(frozen=True)
class SecondReading:
    """A test ``capacitance`` across the terminals, and the ripple expected with it, peak to peak.

    ``impedance`` and ``inner_impedance``: of the capacitor and of the converter at the switching frequency;
    ``value`` with ``low`` and ``high`` over the uncertainty of the inside. ``name``: of the filter's capacitor that it is, or "".
    """

    capacitance: Farads[float]
    impedance: Ohms[float]
    inner_impedance: Ohms[float]
    value: Annotated[float, Unit("V", key=None)]
    low: Annotated[float, Unit("V", key=None)]
    high: Annotated[float, Unit("V", key=None)]
    name: str = ""

    @property
    def telling(self) -> bool:
        """Whether its impedance is near enough to the inner one for the reading to tell the inside."""
        return TELLING[0] <= self.impedance / self.inner_impedance <= TELLING[1]
