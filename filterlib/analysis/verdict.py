"""One requirement and what became of it: its worst operating point, its range, and whether it is met."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal, TypeAlias

import numpy as np

from filterlib.analysis.described import InUnit, Ratio, Unit
from filterlib.analysis.emission.margin import Margin
from filterlib.analysis.uncertainty.plausible import too_wide
from filterlib.system.requirements import (
    DropRequirement,
    RippleRequirement,
    SpikeRequirement,
    StepRequirement,
    VoltageRequirement,
)

Answer = Literal["met", "probably met", "undecided", "not met"]
Accept = Literal["possible", "probable"]
OfVolts: TypeAlias = RippleRequirement | SpikeRequirement | VoltageRequirement | DropRequirement | StepRequirement
Unknown = Literal["unstable", "no ladder", "no harmonic"]
NO_SPIKE, BURST = "converter.spike", "converter.burst_below"  # of which nothing is drawn


@dataclass(frozen=True)
class Verdict:
    """One requirement and what became of it.

    ``value``, ``low``, ``high``: nominal and interval at the worst operating point ``point``; ``depends_on``: key of the
    uncertain parameter that decides, or "", ``label``: what it is; ``band`` of a ripple, else ""; ``margin``: limit / high - 1 (voltage:
    distance to the nearer end of the range, as a share of its width; emission: by how much, as a ratio, the worst level stays
    below the requirement); ``unknown``: why there is no figure, or None. Of emission ``limit`` is the least margin, and ``value``,
    ``low``, ``high`` are margins. ``probable_low``, ``probable_high``: where nine plausible cases in ten are, at the worst point;
    ``plausible``: share of them that meets it, at least, at the point where it is least; both NaN where nothing is drawn; ``turned``: undecided only because the circuit may be unstable: its figures are those of
    the stable cases; ``nearest``: the margin of the estimate that decides; ``trusted``: whether the model is, at
    its frequency.
    """

    requirement: str
    kind: str
    load: str
    limit: InUnit[float]
    unit: str
    value: Annotated[float, Unit("{unit}", "nominal")]
    low: InUnit[float]
    high: InUnit[float]
    point: str
    verdict: Answer
    depends_on: str
    margin: Ratio[float]
    label: str = ""
    band: str = ""
    unknown: Unknown | None = None
    nearest: Margin | None = None
    trusted: bool = True
    probable_low: InUnit[float] = np.nan
    probable_high: InUnit[float] = np.nan
    plausible: Annotated[float, Unit("", "plausible cases that meet it", "plausible_share")] = np.nan
    turned: bool = False

    @property
    def of_ripple(self) -> bool:
        """Whether its figure is peak to peak, with spikes or without."""
        return self.kind in ("ripple", "spike")

    @property
    def digits(self) -> int:
        """How many digits of its figures say something: a third one does not where the probable interval is wide."""
        return 2 if too_wide(self.probable_low, self.probable_high) else 3
