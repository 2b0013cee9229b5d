"""How figures of a converter were measured: what was between terminals and probe, and what the scope showed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Annotated, Literal, Self

import numpy as np
from pydantic import GetCoreSchemaHandler, PrivateAttr, ValidationInfo, field_validator
from pydantic_core import core_schema

from filterlib.errors import Problem, QuantityError
from filterlib.parts.base import Quantity
from filterlib.parts.values import Value
from filterlib.system.inside.recorded import Recorded, RecordingField
from filterlib.system.model import Given, Model, Name, Order, read
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, default
from filterlib.units import format_quantity, quantity

AGREES = 0.1
"""Share by which a reading of the bare converter may differ from its file before the file is wrong: common practice, no source."""
ACROSS_AN_INDUCTANCE = (
    0.25  # of its cycle, at which a ring begins there: its current rings from nothing on, its voltage from its peak
)
Look = Literal["triangle", "square", "sawtooth with steps", "rounded"]
_LARGEST = {"rms": ("rms: a square wave's", 0.5), "fundamental": ("at its first harmonic: a square wave's", 2 / np.pi)}
"""Of a wave of 1 peak to peak."""


class FixtureCapacitor(Model):
    """A capacitor across the probe while a figure was measured; ESR and ESL: common practice, no source."""

    capacitance: Annotated[Value, Quantity("F", low=1e-10, high=1e-2)]
    esr: Annotated[Value, Quantity("ohm", low=0, high=10)] = 0.02
    esl: Annotated[Value, Quantity("H", low=0, high=1e-6)] = 5e-9


class Bandwidth:
    """Annotation of a pydantic field that holds a bandwidth [Hz], or None where the file says "full"."""

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """How pydantic reads the field."""
        return core_schema.no_info_plain_validator_function(self.read)

    @staticmethod
    def read(raw: object) -> float | None:
        """A frequency, or "full" for no limit. Raises QuantityError."""
        if raw is None or raw == "full":
            return None
        try:
            return quantity(raw, "Hz", low=1e3, high=1e11)
        except QuantityError as error:
            raise QuantityError(f'{error.why}, or "full" for no limit', value=raw) from None


class Arrangement(Model):
    """How a figure was measured: what was between the terminals and the probe, and the bandwidth of the scope."""

    bandwidth: Annotated[float | None, Bandwidth()] = None
    order: Order = 1
    lead_inductance: Annotated[Value, Quantity("H", low=0, high=1e-5)] = 0.0
    capacitors: tuple[FixtureCapacitor, ...] = ()
    load_current: Annotated[float, Quantity("A", low=0, high=1e3)] | None = None

    _moved_from: float | None = PrivateAttr(None)

    @property
    def moved_from(self) -> float | None:
        """What was stated of the figure [V], where it was `read_as` another one; else None."""
        return self._moved_from

    def read_as(self, volts: float) -> Self:
        """The same with another figure [V], within what a scope may be off; it keeps what was stated."""
        other = self.model_copy(update={"peak_to_peak": volts})
        other._moved_from = float(np.max(read(self, "peak_to_peak")))
        return other

    def with_added(self, capacitor: FixtureCapacitor) -> Self:
        """The same with one more capacitor at the probe."""
        return self.model_copy(update={"capacitors": (*self.capacitors, capacitor)})


class WithCapacitor(FixtureCapacitor):
    """A second recording of the same terminals, with this capacitor across them: it shows what is inside.

    ``stage``: the filter's capacitor that it was, in its place; see `filterlib.system.line.shared_capacitor`.
    """

    recording: Annotated[Recorded, RecordingField()]
    stage: Name | None = None


class Ripple(Arrangement):
    """Ripple at the terminals, as it was measured (to 20 MHz where nothing is said): its peak to peak, or a recording.

    With a recording ``peak_to_peak`` [V] is what the recording shows, and ``with_capacitor`` may hold a second one. ``rms``
    [V], without the direct part, and ``fundamental`` [V], the amplitude at the switching frequency (1.414 times the rms that
    a scope's spectrum shows), as the same arrangement read them: see `filterlib.system.sources.likelihood`. ``current_swing``: peak to
    peak of an output inductor's current over the load's, where it is known. ``waveform``: how the scope shows it between the spikes.
    """

    peak_to_peak: Annotated[Value, Quantity("V", above=0, high=100, plausible=(1e-9, 100), form="pp")]
    rms: Annotated[float | None, Quantity("V", above=0, high=100, plausible=(1e-9, 100), form="rms")] = None
    fundamental: Annotated[float | None, Quantity("V", above=0, high=100, plausible=(1e-9, 100))] = None
    current_swing: Annotated[float | None, Quantity("", above=0, high=2)] = None
    waveform: Look | None = None
    bandwidth: Annotated[float | None, Bandwidth()] = 20e6
    recording: Annotated[Recorded, RecordingField()] | None = None
    with_capacitor: WithCapacitor | None = None

    @classmethod
    def _across(cls, fields: Given) -> Iterator[Problem]:
        if "with_capacitor" in fields and "recording" not in fields:
            why = "a second recording says nothing without the first: name that under recording"
            yield Problem("", "with_capacitor", None, why)
        if fields.get("waveform") is not None and "recording" in fields:
            yield Problem("", "waveform", fields["waveform"], "a recording shows the waveform itself; leave this out")

    @field_validator("rms", "fundamental")
    @classmethod
    def _within_the_peak_to_peak(cls, value: float | None, others: ValidationInfo) -> float | None:
        whole = others.data.get("peak_to_peak")
        what, most = _LARGEST[str(others.field_name)]
        if value is not None and whole is not None and value > most * float(np.max(whole)):
            limit = format_quantity(most * float(np.max(whole)), "V")
            raise QuantityError(
                f"no wave of that peak_to_peak has more than {limit} {what}: is it a peak to peak itself?"
            )
        return value


class Spike(Arrangement):
    """Peak to peak with the spikes at the switching edges, as it was measured (in full bandwidth)."""

    peak_to_peak: Annotated[Value, Quantity("V", above=0, high=1000, plausible=(1e-9, 1000), form="pp")]
    ring_frequency: Annotated[Ranged, RangedQuantity("Hz", "ring frequency", low=1e6, high=1e9)] = default(
        50e6, 25e6, 100e6, "spikes ring at 25 to 100 MHz (common practice, no source)"
    )
    ring_cycles: Annotated[Ranged, RangedQuantity("", "cycles of the ring", low=0.2, high=50)] = default(
        2.0, 1.0, 5.0, "the ring falls to 1/e in one to five cycles (common practice, no source)"
    )
    ring_start: Annotated[
        Ranged, RangedQuantity("", "part of its cycle at which the ring begins", low=-0.5, high=0.5)
    ] = default(
        0.0,
        -0.5,
        0.5,
        "the ring begins at nothing, as across a capacitance, or anywhere in its cycle (common practice, no source)",
    )
    second_edge: Annotated[
        Ranged, RangedQuantity("", "ring at the second edge over that at the first", low=-10, high=10)
    ] = default(
        1.0, -1.0, 1.0, "both edges ring alike, or one less, or the other way round (common practice, no source)"
    )

    @property
    def begins_high(self) -> bool:
        """Whether the ring begins at its peak, as across an inductance whose current rings, and not at nothing, as across a capacitance."""
        return bool(np.all(self.ring_start.value == ACROSS_AN_INDUCTANCE))

    def across_an_inductance(self) -> Self:
        """The same whose ring begins at its peak: its mean is nothing, and a limit leaves less of it."""
        return self.model_copy(update={"ring_start": self.ring_start.at(ACROSS_AN_INDUCTANCE)})

    def ringing_at_one_edge(self) -> Self:
        """The same whose ring comes at the first edge alone."""
        return self.model_copy(update={"second_edge": self.second_edge.at(0.0)})

    def of_the_edges(self) -> Self:
        """The same as the edges themselves make it, which the inductor's winding passes: faster than the ring that is seen."""
        usual, seen = (
            type(self).model_fields["ring_frequency"].default,
            format_quantity(float(self.ring_frequency.value), "Hz"),
        )
        why = f"the edges themselves: a ring at the stated {seen} does not agree with both figures (common practice, no source)"
        return self.model_copy(update={"ring_frequency": replace(usual, why=why)})
