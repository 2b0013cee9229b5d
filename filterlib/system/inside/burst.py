"""Bursts: what a design file says of a converter that switches in groups of pulses at light load."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from pydantic import GetCoreSchemaHandler
from pydantic_core import core_schema

from filterlib.errors import Problem, QuantityError
from filterlib.parts.base import Quantity
from filterlib.system.inside.recorded import Recorded, RecordingField
from filterlib.system.model import Count, Given, Model
from filterlib.units import quantity


@dataclass(frozen=True)
class LoadThreshold:
    """A load, as a ``share`` of full load or as a ``current`` [A]; the other one is None. ``text``: as the file has it."""

    text: str
    share: float | None = None
    current: float | None = None

    def of(self, full: float) -> float:
        """The current [A], of ``full`` load [A].

        >>> LoadThresholdField.read("10 %").of(4.0), LoadThresholdField.read("0.5 A").of(4.0)
        (0.4, 0.5)
        """
        return self.share * full if self.current is None else self.current  # type: ignore[operator]


class LoadThresholdField:
    """Annotation of a field that holds a `LoadThreshold`: "10 %" of full load, or "0.4 A"."""

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """How pydantic reads the field."""
        return core_schema.no_info_plain_validator_function(self.read)

    @staticmethod
    def read(raw: object) -> LoadThreshold:
        """Raises QuantityError."""
        if isinstance(raw, LoadThreshold):
            return raw
        if not isinstance(raw, str):
            raise QuantityError('write a share of full load, "10 %", or a current, "0.4 A"', value=raw)
        if raw.rstrip().endswith("%"):
            return LoadThreshold(raw, share=quantity(raw, "", low=0, high=1))
        return LoadThreshold(raw, current=quantity(raw, "A", low=0, high=1e3))


class Burst(Model):
    """A group of ``pulses`` at the switching frequency, again each ``period`` [s], each of them up to ``peak`` [A].

    ``peak``: of the current into the output capacitor. Period and peak are both known, or the one that is not follows from
    the load's current, which the pulses carry: see `PulseTrain`. ``recording`` of the terminals, in the arrangement of the
    ripple's figure, from which pulses and period are then taken.
    """

    pulses: Count | None = None
    period: Annotated[float, Quantity("s", low=1e-7, high=0.1)] | None = None
    peak: Annotated[float, Quantity("A", above=0, high=1e4)] | None = None
    recording: Annotated[Recorded, RecordingField()] | None = None

    @classmethod
    def _across(cls, fields: Given) -> Iterator[Problem]:
        if fields.get("pulses") is None:
            yield Problem("", "pulses", None, "missing: how many pulses a burst has, or a recording of bursts")
        elif fields.get("period") is None and fields.get("peak") is None:
            yield Problem("", "period", None, "missing: a burst states its period, the peak of its pulses, or both")


@dataclass(frozen=True)
class PulseTrain:
    """A burst with all its values: ``pulses`` each ``period`` [s] up to ``peak`` [A], that deliver ``delivered`` [A] in the mean.

    ``peak`` and ``delivered`` are floats, or arrays (designs, 1) where the duty cycle is; ``recording``: as the terminals showed it.
    """

    pulses: int
    period: float
    peak: float | np.ndarray
    delivered: float | np.ndarray
    recording: Recorded | None = None
