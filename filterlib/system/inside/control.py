"""How a converter regulates: the phase margin of its loop, where it senses, and its output impedance as measured."""

from __future__ import annotations

from functools import cached_property
from typing import Annotated, ClassVar, Literal

from pydantic import InstanceOf

from filterlib.errors import InputError
from filterlib.parts.curves.impedance_curve import ImpedanceCurve
from filterlib.parts.curves.one_port_fit import FittedCurve, fit_one_port
from filterlib.system.model import Model
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, usual

Sensing = Literal["terminals", "load"]


class OutputImpedance(Model):
    """The converter's output impedance as measured: a curve, or scattering parameters of one or two ports, in a ``file``."""

    COMPUTED: ClassVar[tuple[str, ...]] = ("curve",)

    file: str
    connection: Literal["series_through", "shunt_through"] | None = None
    curve: InstanceOf[ImpedanceCurve]

    @cached_property
    def fit(self) -> tuple[FittedCurve | None, str]:
        """The passive network that is nearest to it, sought once; or None and why there is none."""
        if not self.curve.has_phase:
            return None, "a margin needs the phase too; |Z| alone says only how large the ratio is"
        try:
            return fit_one_port(self.curve, blocks=False), ""
        except InputError as error:
            return None, error.problems[0].why


class Control(Model):
    """Regulation of a converter; what is not stated is a default with a range.

    ``phase_margin`` [degrees] of its loop at ``loop_bandwidth`` without filter; ``sensing``: where it senses its output;
    ``output_impedance`` as measured.
    """

    phase_margin: Annotated[Ranged, RangedQuantity("deg", "phase margin of the loop", above=0, high=120)] = usual(
        60.0, 45.0, 75.0, "what loops are designed for"
    )
    sensing: Sensing = "terminals"
    output_impedance: OutputImpedance | None = None

    def ineffective(self, driven: bool) -> tuple[str, ...]:
        """All of it: no ripple sees how the loop is damped."""
        return tuple(type(self).model_fields)
