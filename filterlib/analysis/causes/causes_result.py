"""What causes what is left at a load, and what each change to a design would leave."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.described import Decibels, Hertz, InUnit, Unit, Volts, Watts
from filterlib.analysis.stress.stress_check import Rating

Kind = Literal["part", "source", "load"]
Rule = Rating | Literal["leakage", "low voltage", "unstable", "no chassis", "impossible"]


@dataclass(frozen=True)
class Cause:
    """One cause of what fails.

    ``kind``; ``name``: of the part, source or load; ``what``: which of its properties, "" where all of it counts; ``left``: the
    figure that fails, were that gone; ``falls``: by how much nearer it is to what is asked then, in ``step``, which for a level
    is dB.
    """

    kind: Kind
    name: str
    what: str
    left: InUnit[float]
    falls: Annotated[float, Unit("{step}")]
    unit: str
    step: str


@dataclass(frozen=True)
class BandReason:
    """What carries the rest from ``low`` to ``high``, the upper end included.

    ``rms`` in the band; ``differential``, ``common``: rms of what the sources between the lines make, and of what
    the common-mode drive makes by conversion; ``mode``: the larger, or "" where nothing lies in the band; ``source``: name
    of the one that makes most; ``element``: the part whose parasitic counts most, "" where none does; ``what``: which
    parasitic; ``without``: the rms with that one ideal; ``formula``: with all of them ideal.
    """

    low: Hertz[float]
    high: Hertz[float]
    rms: Volts[float]
    differential: Volts[float]
    common: Volts[float]
    mode: str
    source: str
    element: str
    what: str
    without: Annotated[float, Unit("V", "rms without it")]
    formula: Annotated[float, Unit("V", "rms of ideal parts")]


@dataclass(frozen=True)
class Deviation:
    """Where the filter of ideal parts and the real one part company.

    ``frequency`` from which the real response is more than `DEVIATES` times that of ideal parts, NaN where it never is;
    ``element``, ``what``: the parasitic that makes most of it there; ``resonance``: the nearest one, or None.
    """

    frequency: Annotated[float, Unit("Hz", key="deviation")]
    element: str
    what: str
    resonance: Resonance | None


NEVER = Deviation(np.nan, "", "", None)


@dataclass(frozen=True)
class Source:
    """What one source makes at a load.

    Peak to peak, in 20 MHz and in full bandwidth: ``ripple_alone``, ``spike_alone`` with every other source silent;
    ``ripple_falls``, ``spike_falls``: by how much the whole falls without it, negative where it cancels others.
    ``coefficients`` (h,) complex c_1 .. c_h; ``power`` (h,): 2 Re(c whole*), which over all sources adds up to the whole's;
    ``power_alone`` (h,): 2 |c|². ``waveform`` (t,): one switching period in full bandwidth; of a load's own ripple, which
    has another period, None.
    """

    name: str
    ripple_alone: Annotated[float, Unit("V", "alone, 20 MHz", "*_pp")]
    ripple_falls: Annotated[float, Unit("V", "the total is lower without it by", "*_pp")]
    spike_alone: Annotated[float, Unit("V", "alone, full bandwidth", "*_pp")]
    spike_falls: Annotated[float, Unit("V", "the total is lower without it by", "*_pp")]
    frequencies: Annotated[np.ndarray, Unit("Hz", key=None)]
    coefficients: Annotated[np.ndarray, Unit("V", key=None)]
    power: Annotated[np.ndarray, Unit("V²", key=None)]
    power_alone: Annotated[np.ndarray, Unit("V²", key=None)]
    waveform: Annotated[np.ndarray | None, Unit("V", key=None)]

    @property
    def rms(self) -> Volts[float]:
        """Of what it makes alone, in full bandwidth [V]."""
        return float(np.sqrt(np.sum(self.power_alone)))


@dataclass(frozen=True)
class Parasitic:
    """One parasitic of one part made ideal.

    ``name``: of the part; ``what``: which of its parasitics; ``element``: of the circuit, that it belongs to;
    ``ripple``, ``spike``: peak to peak at the load with it ideal, in 20 MHz and in full bandwidth; ``ripple_falls``,
    ``spike_falls``: by how much they fall, negative where the parasitic helps; ``fundamental``: amplitude at the
    ripple's frequency alone, with it ideal.
    """

    name: str
    what: str
    element: str
    ripple: Annotated[float, Unit("V", "20 MHz, peak to peak", "*_pp")]
    spike: Annotated[float, Unit("V", "full bandwidth, peak to peak", "*_pp")]
    ripple_falls: Annotated[float, Unit("V", key="*_pp")]
    spike_falls: Annotated[float, Unit("V", key="*_pp")]
    fundamental: Annotated[float, Unit("V", "at the ripple's frequency, amplitude", "*_amplitude")]

    @property
    def words(self) -> str:
        """What is ideal, as a phrase."""
        return f"{self.what} of {self.name}"


@dataclass(frozen=True)
class Costs:
    """What a change costs beside the design as it is.

    More ``parts``; more direct voltage lost to the load; more ``heat``, of direct current; ``leakage`` to the chassis, of all Y
    capacitors, the larger of input and output voltage taken as alternating, rms, at 60 Hz: the worst; more ``charge`` to be
    brought in when switched on; ``peak`` of the response from the converter's emf to the load, and where it is.
    """

    parts: int
    drop: Volts[float]
    heat: Watts[float]
    leakage: Annotated[float, Unit("A", "earth leakage")]
    charge: Annotated[float, Unit("C")]
    peak: Decibels[float]
    peak_frequency: Annotated[float, Unit("Hz", key="peak")]


@dataclass(frozen=True)
class Mitigation:
    """One change, or two together, as tried.

    ``ripple``, ``spike`` at the load, nominal, in 20 MHz and in full bandwidth; ``refused``: the rule that it breaks, or None.
    Figures are NaN where it could not be tried.
    """

    names: tuple[str, ...]
    kinds: tuple[str, ...]
    ripple: Annotated[float, Unit("V", "20 MHz", "*_pp")]
    spike: Annotated[float, Unit("V", "full bandwidth", "*_pp")]
    costs: Costs | None
    refused: Refusal | None = None

    @property
    def words(self) -> str:
        """The change as an instruction."""
        return ", and ".join(self.names)

    def figure(self, label: str) -> float:
        """Ripple ("20MHz") or spike ("full") [V]."""
        return self.ripple if label == "20MHz" else self.spike


@dataclass(frozen=True)
class Resonance:
    """A resonance: the parts that hold most magnetic and most electric energy, and their shares of it.

    ``inductive``, ``capacitive``: names of elements, a pair of wires or a choke being one; ``height`` of the response there.
    """

    frequency: Hertz[float]
    height: Decibels[float]
    inductive: str
    capacitive: str
    inductive_share: Annotated[float, Unit("", key="*_ratio")]
    capacitive_share: Annotated[float, Unit("", key="*_ratio")]


@dataclass(frozen=True)
class Refusal:
    """The ``rule`` that a change breaks; ``subject``: the part, load or point (of "impossible": why); ``value`` against ``limit``."""

    rule: Rule
    subject: str = ""
    value: InUnit[float] = np.nan
    limit: InUnit[float] = np.nan
    unit: str = "A"
