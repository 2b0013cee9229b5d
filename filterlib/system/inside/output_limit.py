"""How a converter starts and how it limits its output current: constant, folded back, or in hiccups."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from filterlib.errors import Problem
from filterlib.parts.base import Quantity
from filterlib.system.model import Given, Model
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, usual

__all__ = ["OutputLimit"]


class OutputLimit(Model):
    """The output's limit: ``current`` [A] at full voltage; ``kind``, what it does beyond; ``soft_start`` [s], the rise of its voltage.

    ``kind``: "constant" keeps the current; "foldback" lets it fall to ``short_circuit_current`` [A] at 0 V; "hiccup" switches off after
    ``hiccup_on`` [s] at the limit and tries again after ``hiccup_off`` [s].
    """

    current: Annotated[Ranged, RangedQuantity("A", "current limit of the converter", above=0, high=1e4)]
    kind: Literal["constant", "foldback", "hiccup"] = "constant"
    short_circuit_current: Annotated[float, Quantity("A", above=0, high=1e4)] | None = None
    hiccup_on: Annotated[Ranged, RangedQuantity("s", "time at the limit before a hiccup", above=0, high=10)] = usual(
        5e-3, 1e-3, 50e-3, "converters that hiccup bear an overload for milliseconds"
    )
    hiccup_off: Annotated[Ranged, RangedQuantity("s", "pause of a hiccup", above=0, high=100)] = usual(
        100e-3, 20e-3, 1.0, "ten times as long as they try"
    )
    soft_start: Annotated[Ranged, RangedQuantity("s", "soft start of the converter", low=0, high=100)] = usual(
        5e-3, 1e-3, 50e-3, "most converters ramp within milliseconds"
    )

    @property
    def hiccups(self) -> bool:
        """Whether it switches off at the limit, and tries again."""
        return self.kind == "hiccup"

    @classmethod
    def _across(cls, fields: Given) -> Iterator[Problem]:
        own = {"short_circuit_current": "foldback", "hiccup_on": "hiccup", "hiccup_off": "hiccup"}
        for key, kind in own.items():
            if fields.get(key) is not None and fields.get("kind") != kind:
                yield Problem(
                    "", key, fields[key], f'belongs to kind = "{kind}"; leave this key out, or state that kind'
                )
        if fields.get("kind") == "foldback" and fields.get("short_circuit_current") is None:
            yield Problem(
                "", "short_circuit_current", None, "missing: a limit that folds back says what is left at 0 V"
            )
