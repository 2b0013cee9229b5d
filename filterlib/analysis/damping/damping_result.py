"""Damping branches that a design may get: what each comes to, judged as the design is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from filterlib.analysis.causes.candidates import Candidate
from filterlib.analysis.damping.ideal import Network
from filterlib.analysis.damping.real_parts import FittedResistor
from filterlib.analysis.described import Farads, Ratio, Unit
from filterlib.analysis.judged import Judgement, Proposal
from filterlib.analysis.stability.stability_result import Condition, Proof
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.system.design import Design


@dataclass(frozen=True)
class DampedDesign:
    """One damping as judged, and what it costs.

    ``proposal``: the design with it and its judgement; ``network`` and ``stage`` of the resistor, ``part`` beside it; ``resistor``; ``ratio`` of
    what is added over what it damps; ``more``: power that loads of constant power may add before it rings, as a share, the least of
    all operating points (inf where nothing can turn it), and ``was`` without it; ``ripple`` at the load that decides over that without
    it (NaN where one of them is unstable); ``heat`` in the resistor, the most of all operating points; ``switch_on``: at most that much
    energy at switch-on, of the resistor, with a hard step of the full voltage; ``volume`` of the part, by what such parts usually
    store; ``drop``: direct voltage that it takes from a load, the most of all; ``conditions``: critical power cold, warm and worn,
    where an electrolytic damps.
    """

    proposal: Proposal
    network: Network
    stage: str
    part: str
    resistor: FittedResistor
    ratio: Ratio[float]
    more: Annotated[float, Unit("", "more power before it rings", "more")]
    was: Annotated[float, Unit("", "more power without it", "more_before")]
    ripple: Annotated[float, Unit("", "ripple over that without it", "ripple_ratio")]
    heat: Annotated[float, Unit("W", "heat in the resistor", "heat")]
    switch_on: Annotated[float, Unit("J", "at switch-on, at most", "switch_on")]
    volume: Annotated[float, Unit("m3", "size of the part, about", "volume")]
    drop: Annotated[float, Unit("V", "drop that it adds", "added_drop")]
    conditions: tuple[Condition, ...] = ()

    @property
    def design(self) -> Design:
        """The design with the damping."""
        return self.proposal.design

    @property
    def headroom(self) -> float:
        """The least power that may be added, in any condition, as a share: cold and worn too."""
        return min([self.more, *(one.critical_power / one.power - 1 for one in self.conditions)])

    @property
    def damps(self) -> bool:
        """Whether it takes a tenth or more off the peak."""
        return self.resistor.peak < 0.9 * self.resistor.without


@dataclass(frozen=True)
class DampingResult:
    """What damping does for a design: ``judgement`` of it as it is, and ``dampers``, the best first, by that judgement.

    ``more``: power that loads may add before it rings without damping, as a share.
    ``proofs``: of the best one, at each operating point at which something uncertain moves the circuit and the proof can be had.
    """

    judgement: Judgement
    dampers: tuple[DampedDesign, ...]
    more: Annotated[float, Unit("", "more power before it rings", "more")]
    proofs: tuple[Proof, ...] = ()


@dataclass(frozen=True)
class Branch:
    """A damping to try: its ``candidate``, the ``stage`` that holds its resistor, the ``part`` added, the ``ratio`` of that over
    what it damps, its best ``resistor``; ``charged``: capacitance that is charged through the choke at switch-on."""

    candidate: Candidate
    network: Network
    stage: str
    part: Capacitor | DifferentialChoke
    ratio: Ratio[float]
    resistor: FittedResistor
    charged: Farads[float]
