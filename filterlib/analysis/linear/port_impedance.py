"""Impedances that decide: what the load sees looking back, what the converter sees, and what the load itself has."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from filterlib.analysis.linear.frequency_response import FREQUENCIES
from filterlib.analysis.stability.stability import input_admittance
from filterlib.system.converter import PLUS, RETURN
from filterlib.system.design import Design
from filterlib.system.state import State


@dataclass(frozen=True)
class ImpedanceResult:
    """Impedances [ohm], complex (f,), over ``frequencies`` (f,) [Hz], at one operating point and load.

    ``seen_by_load``: back from the load's terminals, its own input taken off; ``seen_by_converter``: into filter and
    loads; ``load_input``: the load's own input (infinite for a constant current without a capacitor).
    """

    point: str
    load: str
    frequencies: np.ndarray
    seen_by_load: np.ndarray
    seen_by_converter: np.ndarray
    load_input: np.ndarray


def impedance(design: Design, state: State, load: str, *, frequencies: np.ndarray = FREQUENCIES) -> ImpedanceResult:
    """The three impedances; ``frequencies`` (f,) [Hz]. Raises FilterlibError for a load that is not there."""
    port = design.named_load(load).port
    with np.errstate(divide="ignore", invalid="ignore"):
        load_input = 1 / input_admittance(design, state, load, frequencies)
    return ImpedanceResult(
        point=state.point,
        load=load,
        frequencies=frequencies,
        seen_by_load=design.build(state, open_load=load).impedance(frequencies, *port),
        seen_by_converter=seen_from_converter(design, state, frequencies),
        load_input=load_input,
    )


def seen_from_converter(design: Design, state: State, frequencies: np.ndarray, *, filtered: bool = True) -> np.ndarray:
    """Impedance [ohm], complex (f,), into filter and loads, or into the loads alone; infinite where nothing conducts.

    Taken beside 1 ohm, so that a constant current alone leaves no node in the air.
    """
    circuit = design.build(state, converter=False, filtered=filtered).resistor("beside", PLUS, RETURN, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return 1 / (1 / circuit.impedance(frequencies, PLUS, RETURN) - 1.0)
