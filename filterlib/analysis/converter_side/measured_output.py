"""A converter whose output impedance was measured: does it stay up with the filter and its loads on?

The loop is the measured impedance over that into the filter. Its turns about -1 say how many natural frequencies grow, beside
those of filter and loads on an ideal source.
"""

from __future__ import annotations

import numpy as np

from filterlib.analysis.converter_side.converter_side_result import MeasuredOutput
from filterlib.analysis.converter_side.regulation import greatest_gain, growing
from filterlib.analysis.linear.port_impedance import seen_from_converter
from filterlib.analysis.stability.minor_loop import loop_margins
from filterlib.errors import QuantityError
from filterlib.parts.curves.impedance_curve import ImpedanceCurve
from filterlib.system.inside.converter import PLUS, RETURN
from filterlib.system.solution import Solution
from filterlib.units import format_quantity

_POINTS = 2001


def measured_output(solution: Solution, curve: ImpedanceCurve) -> MeasuredOutput:
    """Margins of a measured output impedance on a filter with its loads.

    Parameters: ``solution`` of one design, whose own converter is left out; ``curve``: measured at the converter's terminals without
    filter, with its phase, as `read_impedance_curve` and `impedance_of` a Touchstone file give it.
    Returns: MeasuredOutput.
    Raises: QuantityError for a curve without phase, with a negative resistance, and for a band that ends where the ratio is above 1.
    Valid where nothing happens outside the band that was measured.
    """
    if not curve.has_phase:
        raise QuantityError("a margin needs the phase too; |Z| alone says only how large the ratio is")
    wrong = np.flatnonzero(np.real(curve.impedance) < 0)
    if wrong.size:
        at = format_quantity(float(curve.frequencies[wrong[0]]), "Hz")
        raise QuantityError(f"its resistance is negative at {at}: no converter has that while its output is steady")
    f = np.geomspace(curve.frequencies[0], curve.frequencies[-1], _POINTS)
    loop = curve.at(f) / seen_from_converter(solution.without_converter, f)
    if max(abs(loop[0]), abs(loop[-1])) > 1:
        raise QuantityError("the band ends where it is above the filter's impedance: measure further")
    shorted = (
        solution.design.build(solution.state, converter=False).laddered().resistor("ideal source", PLUS, RETURN, 0.0)
    )
    turned = 1 + loop
    turns = round(float(np.sum(np.angle(turned[1:] / turned[:-1])) + np.angle(turned[0])) / np.pi)
    stable = turns == growing(shorted)
    gain, phase = loop_margins(loop, greatest_gain(loop)) if stable else (np.nan, np.nan)
    top = int(np.argmax(np.abs(loop)))
    return MeasuredOutput(solution.point, stable, gain, phase, float(abs(loop[top])), float(f[top]))
