"""Impedances that decide: what the load sees looking back, what the converter sees, and what the load itself has."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from filterlib.analysis.linear.frequency_response import FREQUENCIES
from filterlib.analysis.linear.linear_result import ImpedanceResult
from filterlib.analysis.stability.stability import input_admittance
from filterlib.network.circuit import Circuit
from filterlib.system.inside.converter import PLUS, RETURN
from filterlib.system.solution import SHUNT, Solution


def impedance(solution: Solution, load: str, *, frequencies: np.ndarray = FREQUENCIES) -> ImpedanceResult:
    """Impedance that the load sees, that the converter sees, and that the load itself has.

    Parameters: ``solution``; ``load``: its name; ``frequencies`` (f,) [Hz], not negative.
    Returns: ImpedanceResult, its impedances complex (f,) [ohm].
    Raises: FilterlibError for an unknown load; CircuitError for frequencies that are not (f,), finite and not negative.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> abs(impedance(solution, "modem", frequencies=np.array([1e3, 180e3])).seen_by_load).round(2).tolist()
    [0.45, 0.43]
    """
    return impedance_at(solution, [load], frequencies=frequencies)[load]


def impedance_at(
    solution: Solution, loads: Sequence[str], *, frequencies: np.ndarray = FREQUENCIES
) -> dict[str, ImpedanceResult]:
    """`impedance` at each of several loads; the converter sees the same from all of them."""
    every = [solution.design.named_load(load) for load in loads]
    seen_by_converter = seen_from_converter(solution.without_converter, frequencies)
    with np.errstate(divide="ignore", invalid="ignore"):
        inputs = [1 / input_admittance(solution, one, frequencies) for one in every]
    return {
        one.name: ImpedanceResult(
            point=solution.point,
            load=one.name,
            frequencies=frequencies,
            seen_by_load=solution.with_load_open(one).impedance(frequencies, *one.port),
            seen_by_converter=seen_by_converter,
            load_input=load_input,
        )
        for one, load_input in zip(every, inputs, strict=True)
    }


def seen_from_converter(circuit: Circuit, frequencies: np.ndarray) -> np.ndarray:
    """Impedance [ohm], complex (f,), between the terminals of a circuit less `SHUNT`; infinite where nothing conducts."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return 1 / (1 / circuit.impedance(frequencies, PLUS, RETURN) - 1 / SHUNT)
