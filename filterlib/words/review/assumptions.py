"""What a design left to defaults, in words: every value that carries the result without being stated."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from filterlib.analysis.review_result import ReviewResult
from filterlib.analysis.uncertainty.plausible import BEYOND
from filterlib.system.design import Design
from filterlib.system.ranges.uncertain_parameter import SHAPE, SHAPE_LABEL, UncertainParameter
from filterlib.system.sources.scales import INSTRUMENTS
from filterlib.units import format_quantity


@dataclass(frozen=True)
class Assumption:
    """One default: ``key``, what it is, value and range as text, and where they come from."""

    key: str
    label: str
    value: str
    low: str
    high: str
    why: str


def assumptions(result: ReviewResult) -> tuple[Assumption, ...]:
    """Every default that carries the result: values with a range first, then what is left out or joined."""
    return (*map(_ranged, result.assumed), *_others(result.design))


def _ranged(one: UncertainParameter) -> Assumption:
    value, low, high = (format_quantity(v, one.unit) for v in (one.nominal, one.low, one.high))
    if one.moved_from is None:
        return Assumption(one.key, one.label, value, low, high, one.why)
    moved = f"{value} taken in place of {format_quantity(one.moved_from, one.unit)}, so that all readings agree"
    return Assumption(one.key, one.label, value, low, high, f"{moved}; {one.why}" if one.why else moved)


def _readings(design: Design) -> Iterator[Assumption]:
    """Figures that were taken otherwise than they are stated, so that they agree."""
    for name in ("ripple", "spike"):
        figure = getattr(design.converter, name)
        if figure is not None and figure.moved_from is not None:
            taken, stated = (format_quantity(volts, "V") for volts in (figure.peak_to_peak, figure.moved_from))
            why = (
                f"{taken} taken in place of {stated}, so that all readings agree: figures of a scope may differ by "
                f"{100 * INSTRUMENTS:.0f} % (common practice, no source)"
            )
            yield Assumption(f"converter.{name}.peak_to_peak", f"measured {name}", taken, stated, taken, why)


def _ring(design: Design) -> Iterator[Assumption]:
    """That the spikes ring at one edge alone, or from their peak on, where the figures agree only so."""
    spike = design.converter.spike
    if spike is not None and spike.second_edge.value == 0:
        why = "taken in place of both edges alike, so that all readings agree"
        yield Assumption("converter.spike", "where the spikes ring", "at one switching edge", "", "", why)
    if spike is not None and spike.begins_high:
        why = "taken in place of a ring across a capacitance, so that all readings agree: the ripple's bandwidth keeps more of it out"
        yield Assumption("converter.spike", "how the spikes ring", "as across an inductance", "", "", why)


def _others(design: Design) -> Iterator[Assumption]:
    converter = design.converter
    yield from _readings(design)
    yield from _ring(design)
    if converter.shape is None:
        yield Assumption(SHAPE, SHAPE_LABEL, "triangle", "triangle", "pulse", "not stated")
    if not design.has_chassis:
        why = "stated: a plastic box; there is no place for Y capacitors, and no common mode is modelled"
        yield Assumption("chassis", "chassis", "none", "", "", why)
    elif design.chassis:
        text = format_quantity(float(design.insulation), "ohm")
        yield Assumption(
            "insulation", "insulation from chassis to the load's return", text, text, text, "so that no node floats"
        )
    elif converter.common_mode is None:
        why = "nothing in the design reaches one: no common mode is modelled"
        yield Assumption("chassis", "chassis", "none", "", "", why)
    if converter.supply is not None and "supply" not in converter.model_fields_set:
        text = format_quantity(float(converter.supply.bond.inductance), "H")
        why = "a short strap at the battery (common practice, no source)"
        yield Assumption("converter.supply.bond", "bond of the battery to the chassis", text, text, text, why)
    if design.chassis and converter.common_mode is None:
        yield Assumption("converter.common_mode", "common-mode drive", "none", "", "", "not stated, and not modelled")
    further = f"{BEYOND:g} times as far, in the logarithm"
    why = "no converter is as simple inside as the model; counted on simulated ones that are less simple"
    yield Assumption(
        "probable", "how far from the middle probable ripple and emission lie, over the model's", further, "", "", why
    )
