"""How far one detector stays below one limit, over the uncertainty, and what of that holds in any laboratory."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.described import Decibels, Hertz, InUnit, Unit

Answer = Literal["met", "undecided", "not met"]


@dataclass(frozen=True)
class Margin:
    """How far one detector stays below one limit where it comes nearest; negative means above it.

    ``limit``: the file's name; ``place``: "plus", "return", "common" or "common_current"; ``frequency``: to which the receiver
    is tuned; ``line``: the harmonic that it hears most there, the same but at the end of a limit's piece; ``by_source``: what it
    would read there of each source alone, most first; ``low``, ``high``: the worst and best
    margin over the uncertainty (equal to it where no range was sought), and ``low_at``, ``high_at`` where the receiver is tuned
    to then; ``probable_low``, ``probable_high``: between which nine plausible cases in ten are, NaN where none are drawn; ``laboratory``, ``network``: how much higher another laboratory, and another network (0 where no range was sought), may read it; ``depends_on``: label of the uncertain
    parameter that moves it most, or "".
    """

    limit: str
    title: str
    detector: str
    place: str
    frequency: Annotated[float, Unit("Hz", key="at")]
    line: Hertz[float]
    by_source: Annotated[Mapping[str, float], Unit("{unit}", key=None)]
    level: InUnit[float]
    limit_level: Annotated[float, Unit("{unit}", key="limit")]
    unit: str
    margin: Decibels[float]
    low: Annotated[float, Unit("dB", key="margin_low")]
    high: Annotated[float, Unit("dB", key="margin_high")]
    low_at: Annotated[float, Unit("Hz", key="margin_low_at")]
    high_at: Annotated[float, Unit("Hz", key="margin_high_at")]
    laboratory: Annotated[float, Unit("dB", key="laboratory_uncertainty")]
    network: Annotated[float, Unit("dB", key="network_tolerance")]
    depends_on: str
    from_memory: bool
    probable_low: Annotated[float, Unit("dB", key="margin_probable_low")] = np.nan
    probable_high: Annotated[float, Unit("dB", key="margin_probable_high")] = np.nan

    @property
    def allowance(self) -> Decibels[float]:
        """How far below the limit it has to be to be so in any laboratory: both as independent (common practice, no source).

        A laboratory's uncertainty has some of the network's tolerance in it already: this is on the safe side.
        """
        return float(np.hypot(self.laboratory, self.network))

    def slack(self, asked: float) -> float:
        """How far the least margin exceeds what is ``asked`` for [dB], and what any laboratory has to find: both are not added."""
        return self.low - self.needed(asked)

    def needed(self, asked: float) -> Decibels[float]:
        """How far below the limit it has to stay [dB]."""
        return max(asked, self.allowance)

    def kept(self, asked: float) -> Answer:
        """Whether a margin that is ``asked`` for [dB] is kept."""
        return "met" if self.slack(asked) >= 0 else "not met" if self.high < asked else "undecided"

    @property
    def verdict(self) -> Answer:
        """Against the limit over the whole range, in any laboratory."""
        return self.kept(0.0)
