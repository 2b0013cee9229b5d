"""A reviewed design: all results by operating point, why this much is left, and what would help."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

import numpy as np

from filterlib.analysis.causes.causes_result import (
    NEVER,
    BandReason,
    Cause,
    Deviation,
    Mitigation,
    Parasitic,
    Resonance,
    Source,
)
from filterlib.analysis.converter_side.converter_side_result import ConverterSide, Oscillator
from filterlib.analysis.described import Joules, Unit
from filterlib.analysis.failing import Failing
from filterlib.analysis.judged import Clash, Judgement, PointJudgement, Proposal
from filterlib.analysis.linear.linear_result import BodeResult, ImpedanceResult, InsertionResult, StepsResult
from filterlib.analysis.stability.stability_result import Margin, PartLimits
from filterlib.analysis.stress.stress_check import StressCheck
from filterlib.analysis.uncertainty.measurement_result import MeasurementValues
from filterlib.analysis.verdict import Accept, Answer, Verdict
from filterlib.system.design import Design
from filterlib.system.ranges.uncertain_parameter import UncertainParameter


@dataclass(frozen=True)
class ReasonsResult:
    """Why this much is left at one load, at one operating point.

    ``figure``: "20MHz" or "full", the one that decides, and its ``limit``, nan where none is stated. Peak to peak: ``ripple``
    (20 MHz) and ``spike`` (full bandwidth) at the load, ``..._before`` without the filter, ``..._ideal`` with every parasitic
    gone; ``fundamental``, ``fundamental_ideal``: amplitude at the ripple's frequency alone.
    ``sources``: the largest first; their waveforms add up to ``waveform`` (t,) (one switching period at ``times`` (t,), full
    bandwidth), and their ``power`` to the whole's. ``parasitics``: that which costs most first. ``resonances`` of the response
    from the converter's emf to the load. ``mitigations``: single changes at nominal values, best first, refused last; ``pairs``
    of the best. ``judgement`` of the design, None where its changes are not judged; ``proposals``: those that are.
    ``stable``: False where there is no steady state, and so nothing but ``proposals``. ``worst``: what fails worst, whatever it is, None
    where nothing does; ``causes`` of it, where it is no ripple: that which costs most first; ``clash``: of an instability, where there is one.
    """

    point: str
    load: str
    figure: str = "20MHz"
    limit: Annotated[float, Unit("V", key=None)] = np.nan
    ripple: Annotated[float, Unit("V", "20 MHz, peak to peak", "*_pp")] = np.nan
    spike: Annotated[float, Unit("V", "full bandwidth, peak to peak", "*_pp")] = np.nan
    ripple_before: Annotated[float, Unit("V", key="*_pp")] = np.nan
    spike_before: Annotated[float, Unit("V", key="*_pp")] = np.nan
    ripple_ideal: Annotated[float, Unit("V", key="*_pp")] = np.nan
    spike_ideal: Annotated[float, Unit("V", key="*_pp")] = np.nan
    fundamental: Annotated[float, Unit("V", key="*_amplitude")] = np.nan
    fundamental_ideal: Annotated[float, Unit("V", key="*_amplitude")] = np.nan
    times: Annotated[np.ndarray, Unit("s", key=None)] = field(default_factory=lambda: np.zeros(0))
    waveform: Annotated[np.ndarray, Unit("V", key=None)] = field(default_factory=lambda: np.zeros(0))
    sources: tuple[Source, ...] = ()
    parasitics: tuple[Parasitic, ...] = ()
    bands: tuple[BandReason, ...] = ()
    deviation: Deviation = NEVER
    resonances: tuple[Resonance, ...] = ()
    mitigations: tuple[Mitigation, ...] = ()
    pairs: tuple[Mitigation, ...] = ()
    judgement: Judgement | None = None
    proposals: tuple[Proposal, ...] = ()
    stable: bool = True
    worst: Failing | None = None
    causes: tuple[Cause, ...] = ()
    clash: Clash | None = None

    @property
    def now(self) -> float:
        """The figure that decides, as it is [V]."""
        return self.ripple if self.figure == "20MHz" else self.spike


@dataclass(frozen=True, kw_only=True)
class PointResult(PointJudgement):
    """All results at one operating point: what is judged there, and ``bode``, ``impedance`` and ``steps`` by load.

    ``margins``: how far from ringing each load of constant power is.
    """

    bode: Mapping[str, BodeResult]
    impedance: Mapping[str, ImpedanceResult]
    insertion: InsertionResult
    steps: Mapping[str, StepsResult]
    margins: tuple[Margin, ...] = ()


@dataclass(frozen=True)
class ReviewResult:
    """A reviewed design.

    ``judgement``: stability, requirements and ratings; its ``points`` are `PointResult`. ``assumed``: uncertain
    parameters that no file states; ``stored_energy`` in all capacitors. ``reasons``: why this much is left
    at the load and point that decide, and what would change it. ``closing``: which measurement would narrow the interval of
    the ripple that decides, None where it has no steady ripple. ``accept``: what was asked: that requirements are met over the
    whole range, or in 95 % of the plausible cases. ``converter_side``: its loop with the filter on, where most is drawn, what it starts
    into, and the line that feeds it. ``part_limits``: what of the parts keeps the load with the least margin from ringing, None without one.
    """

    judgement: Judgement
    assumed: tuple[UncertainParameter, ...]
    stored_energy: Joules[float]
    closing: MeasurementValues | None = None
    reasons: ReasonsResult | None = None
    accept: Accept = "possible"
    converter_side: ConverterSide | None = None
    part_limits: PartLimits | None = None

    @property
    def design(self) -> Design:
        """The design."""
        return self.judgement.design

    @property
    def points(self) -> tuple[PointResult, ...]:
        """All results, by operating point."""
        return self.judgement.points  # type: ignore[return-value]

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """One a requirement."""
        return self.judgement.verdicts

    @property
    def lives(self) -> tuple[StressCheck, ...]:
        """Of the electrolytics over all operating points, where each states its share of time."""
        return self.judgement.lives

    @property
    def exceeded(self) -> tuple[tuple[str, StressCheck], ...]:
        """Operating point and check of every rating that is exceeded, or may be."""
        return self.judgement.exceeded

    def point_to_show(self, load: str | None = None) -> PointResult:
        """The operating point to look at first: see `Judgement.point_to_show`."""
        return self.judgement.point_to_show(load)  # type: ignore[return-value]

    @property
    def outcome(self) -> Answer:
        """That of the judgement; "not met" where the converter itself oscillates with the filter on, at best "undecided" where it may."""
        if self.oscillates:
            return "not met"
        found = self.judgement.outcome
        return "undecided" if self.may_oscillate and found in ("met", "probably met") else found

    @property
    def oscillates(self) -> Oscillator:
        """Whether the converter's loop does with the filter on, or the line that feeds it, by what the file states or measured."""
        return "" if self.converter_side is None else self.converter_side.oscillates

    @property
    def may_oscillate(self) -> Oscillator:
        """Whether it does, or does in a part of its range."""
        return self.oscillates or ("" if self.converter_side is None else self.converter_side.may_oscillate)

    @property
    def exit_code(self) -> int:
        """0 where every requirement is met as asked, every point stable and no rating exceeded unaccepted, else 1."""
        return 0 if self.judgement.holds(self.accept) and not self.may_oscillate else 1
