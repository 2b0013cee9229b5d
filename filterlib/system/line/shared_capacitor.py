"""A capacitor of the filter that was across the terminals while they were recorded: one part, with one deviation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from filterlib.parts.values import Value
from filterlib.system.inside.arrangement import WithCapacitor
from filterlib.system.inside.converter import Converter
from filterlib.system.line.stages import AnyStage, ShuntCapacitor

FACTORS = {"capacitance": "test_capacitance", "esr": "test_esr", "esl": "test_esl"}
"""By each value of the capacitor, the factor in the bank that says how far the measured one may be off."""
NO_OHMS = 1e-6  # [ohm] below which a part has no resistance of its own
NEAR = 0.1  # beyond its tolerance, by which a capacitor may differ from what was measured of it: no source
_EXACT = {"tolerance": 0.0, "esr_tolerance": 0.0, "esl_tolerance": 0.0}


def as_measured(converter: Converter, stages: Sequence[AnyStage]) -> tuple[AnyStage, ...]:
    """The filter with the values that were measured of the capacitor which the second recording names as one of the filter.

    What was across the terminals then is what the filter begins with: how far its values are off moves the inside and the
    filter together, and most of it cancels. As it is where no such capacitor is named, or it is another one by now (its
    capacitance differs by more than its tolerance and `NEAR`).
    """
    stage, test = shared(converter, stages)
    if stage is None or test is None:
        return tuple(stages)
    there = float(stage.part.capacitance_at(converter.output_voltage)) * stage.count
    if abs(float(test.capacitance) / there - 1) > float(stage.part.tolerance) + NEAR:
        return tuple(stages)
    loop = min(float(stage.mounting_loop.value), float(test.esl) * stage.count / 2)  # so that no ESL falls below 0
    factors = {name: converter.bank_factors[factor] for name, factor in FACTORS.items()}
    part = stage.part.replace(**_values(converter, test, stage, loop, factors), **_EXACT)
    known = stage.replace(part=part, mounting_loop=loop)
    return tuple(known if one is stage else one for one in stages)


def shared(converter: Converter, stages: Sequence[AnyStage]) -> tuple[ShuntCapacitor | None, WithCapacitor | None]:
    """The filter's capacitor that was across the terminals, and what was measured of it; None where none is named."""
    test = converter.bank_measured_with
    named = (one for one in stages if test is not None and one.name == test.stage)
    stage = next((one for one in named if isinstance(one, ShuntCapacitor)), None)
    return stage, test


def following(converter: Converter, stages: Sequence[AnyStage], values: Mapping[str, Value]) -> Mapping[str, Value]:
    """Values of uncertain parameters, and those of the shared capacitor that move with them."""
    stage, test = shared(converter, stages)
    factors = {name: values[key] for name, factor in FACTORS.items() if (key := f"converter.bank.{factor}") in values}
    if stage is None or test is None or not factors or stage.part.tolerance:
        return values
    moved = _values(converter, test, stage, stage.mounting_loop.value, factors)
    return {**values, **{f"filter.{stage.name}.{name}": one for name, one in moved.items() if name in factors}}


def _values(
    converter: Converter, test: WithCapacitor, stage: ShuntCapacitor, loop: Value, factors: Mapping[str, Value]
) -> dict[str, Value]:
    """Capacitance without bias, constant part of the ESR, and ESL without its loop, of each of ``count`` equal ones.

    It was measured at the switching frequency, where a lossy dielectric has less than at the frequency of the data sheet.
    """
    part, count = stage.part, stage.count
    volts, frequency = converter.output_voltage, converter.switching_frequency
    reactance = -part.replace(esl=0.0).impedance(np.array([frequency]), bias=volts).imag
    left = float(np.mean(1 / (2 * np.pi * frequency * reactance) / part.capacitance))
    whole = {name: getattr(test, name) * factors.get(name, 1.0) for name in FACTORS}
    capacitance = whole["capacitance"] / count / left
    dielectric = part.replace(capacitance=float(test.capacitance) / count / left, esr=0.0).esr_at(frequency, bias=volts)
    esr = whole["esr"] * count - dielectric
    return {"capacitance": capacitance, "esr": esr * (esr >= NO_OHMS), "esl": whole["esl"] * count - loop}
