"""What a design has to hold, and where: requirements and operating points."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, ClassVar, Literal

from pydantic import Field, ValidationInfo, field_validator

from filterlib.errors import QuantityError
from filterlib.parts.base import Quantity
from filterlib.system.emission import EmissionRequirement
from filterlib.system.inside.converter import Bandwidth
from filterlib.system.model import Model, Name, Note, Order
from filterlib.system.state import ROOM, State
from filterlib.units import format_quantity

Volts = Annotated[float, Quantity("V", above=0, high=1000, plausible=(1e-9, 1000))]
PeakToPeak = Annotated[float, Quantity("V", above=0, high=1000, plausible=(1e-9, 1000), form="pp")]
Share = Annotated[float, Quantity("", low=0, high=2, plausible=(1e-9, 2))]


class OperatingPoint(Model):
    """One state that the design must hold in: how much the loads draw, how warm and how old it is, what the input has."""

    name: Name = "full load"
    load: Share = 1.0
    loads: dict[str, Share] = Field(default_factory=dict)
    temperature: Annotated[float, Quantity("K", low=173.15, high=473.15)] = ROOM
    input_voltage: Annotated[float, Quantity("V", low=0.5, high=1000)] | None = None
    age: Annotated[float, Quantity("s", low=0, high=5e9)] = 0.0
    share_of_time: Annotated[float, Quantity("", low=0, high=1)] | None = None

    def scale(self, load: str) -> float:
        """Share of its full draw that the named load takes here."""
        return self.loads.get(load, self.load)

    def start(self, supply: float, loads: Iterable[str]) -> State:
        """The state before anything flows: every load at the ``supply`` [V], with its share of the draw."""
        shares = {name: self.scale(name) for name in loads}
        return State(self.name, self.temperature, supply, self.input_voltage, self.age, load_scale=shares)


class _Requirement(Model):
    load: str
    note: Note = ""


class RippleRequirement(_Requirement):
    """At most ``limit`` [V] peak to peak at a load, between ``above`` [Hz] (first order) and ``bandwidth`` [Hz]."""

    kind: Literal["ripple"]
    limit: PeakToPeak
    bandwidth: Annotated[float | None, Bandwidth()] = 20e6
    order: Order | None = None  # None: as the converter's own figure was measured
    above: Annotated[float, Quantity("Hz", low=0, high=1e9)] = 0.0

    @field_validator("above")
    @classmethod
    def _below_the_bandwidth(cls, above: float, others: ValidationInfo) -> float:
        bandwidth = others.data.get("bandwidth")
        if bandwidth is not None and above >= bandwidth:
            raise QuantityError(f"must be below the bandwidth, {format_quantity(bandwidth, 'Hz')}")
        return above

    @property
    def label(self) -> str:
        """Key of the band, as in a table of results: "20MHz", "full", "150kHz_to_30MHz"."""
        return band_label(self.above, self.bandwidth, self.order)

    @property
    def words(self) -> str:
        """The requirement as a phrase."""
        return (
            f"ripple at {self.load} {band_words(self.above, self.bandwidth)}, at most {_volts(self.limit)} peak to peak"
        )


class SpikeRequirement(_Requirement):
    """At most ``limit`` [V] peak to peak at a load in full bandwidth, spikes included."""

    kind: Literal["spike"]
    limit: PeakToPeak
    bandwidth: ClassVar[None] = None
    order: ClassVar[None] = None
    above: ClassVar[float] = 0.0
    label: ClassVar[str] = "full"

    @property
    def words(self) -> str:
        """The requirement as a phrase."""
        return f"ripple with spikes at {self.load} in full bandwidth, at most {_volts(self.limit)} peak to peak"


OfRipple = RippleRequirement | SpikeRequirement


class VoltageRequirement(_Requirement):
    """DC voltage at a load between ``low`` and ``high`` [V]."""

    kind: Literal["voltage"]
    low: Volts
    high: Volts

    @field_validator("high")
    @classmethod
    def _above_low(cls, high: float, others: ValidationInfo) -> float:
        low = others.data.get("low")
        if low is not None and low >= high:
            raise QuantityError(f"must be above low, {format_quantity(low, 'V')}")
        return high

    @property
    def words(self) -> str:
        """The requirement as a phrase."""
        return f"voltage at {self.load} between {_volts(self.low)} and {_volts(self.high)}"


class DropRequirement(_Requirement):
    """At most ``limit`` [V] lost between the regulated voltage and a load."""

    kind: Literal["drop"]
    limit: Volts

    @property
    def words(self) -> str:
        """The requirement as a phrase."""
        return f"DC drop to {self.load} at most {_volts(self.limit)}"


class StepRequirement(_Requirement):
    """At most ``limit`` [V] deviation at a load after a step of its current by ``current`` [A]."""

    kind: Literal["step"]
    limit: Volts
    current: Annotated[float, Quantity("A", above=0, high=1000)]
    rise_time: Annotated[float, Quantity("s", low=1e-9, high=1.0)] = 1e-6  # common practice, no source

    @property
    def words(self) -> str:
        """The requirement as a phrase."""
        step = format_quantity(self.current, "A")
        return f"deviation at {self.load} after a step of {step} at most {_volts(self.limit)}"


Requirement = Annotated[
    RippleRequirement | SpikeRequirement | VoltageRequirement | DropRequirement | StepRequirement | EmissionRequirement,
    Field(discriminator="kind"),
]


def band_label(above: float, bandwidth: float | None, order: int | None = None) -> str:
    """Key of a band of measurement.

    >>> band_label(0, 20e6), band_label(0, None), band_label(150e3, 30e6), band_label(0, 20e6, 2)
    ('20MHz', 'full', '150kHz_to_30MHz', '20MHz_order2')
    """
    top = "full" if bandwidth is None else _compact(bandwidth)
    low = f"{_compact(above)}_to_" if above else ""
    return f"{low}{top}" + (f"_order{order}" if bandwidth is not None and order is not None else "")


def _compact(frequency: float) -> str:
    return format_quantity(frequency, "Hz", digits=4).replace(" ", "")


def band_words(above: float, bandwidth: float | None) -> str:
    """The band as a phrase.

    >>> band_words(0, 20e6), band_words(150e3, None)
    ('to 20 MHz', 'from 150 kHz in full bandwidth')
    """
    top = "in full bandwidth" if bandwidth is None else f"to {format_quantity(bandwidth, 'Hz')}"
    return f"from {format_quantity(above, 'Hz')} {top}" if above else top


def _volts(value: float) -> str:
    return format_quantity(value, "V")
