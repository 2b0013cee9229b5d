"""Branches that their own current changes: a thermistor (NTC) that warms, a fuse that melts; as rules of a switched branch."""

from __future__ import annotations

import math
from typing import Annotated, TypeAlias

from filterlib.errors import CircuitError
from filterlib.network.netlist import Current
from filterlib.network.nonlinear.bend import Bend
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit, Rule

__all__ = ["fuse", "thermistor", "thermistor_resistance"]
OPEN = 1e7  # [ohm] of a fuse that has melted; its arc is left out
Kelvin: TypeAlias = Annotated[float, "K"]


def thermistor_resistance(cold: float, beta: Kelvin, temperature: Kelvin, reference: Kelvin = 298.15) -> float:
    """Resistance [ohm] of a thermistor that has ``cold`` ohm at ``reference``: R exp(B (1/T - 1/T0)).

    Source: IEC 60539-1 (from memory).

    >>> round(thermistor_resistance(10.0, 3000.0, 373.15), 3)
    1.323
    """
    return cold * math.exp(beta * (1 / temperature - 1 / reference))


def thermistor(
    circuit: PiecewiseCircuit,
    name: str,
    nodes: tuple[str, str],
    cold: float,
    beta: Kelvin,
    heat_capacity: float,
    *,
    ambient: Kelvin = 298.15,
    hottest: Kelvin = 498.15,
    pieces: int = 32,
) -> PiecewiseCircuit:
    """Add a thermistor of ``cold`` ohm at 25 °C that its own heat warms: ``heat_capacity`` [J/K].

    Its resistance falls in steps, each over the heat that warms it by one share of the way from ``ambient`` to
    ``hottest``, where it stays. What it gives to the air is left out: valid for a time far below its thermal time
    constant, which is tens of seconds.

    Raises
    ------
    CircuitError
        For a value that is not above zero, and for a ``hottest`` temperature that is not above ``ambient``.
    """
    if not (min(cold, beta, heat_capacity, ambient) > 0 and hottest > ambient and pieces > 1):
        raise CircuitError(f"{name}: a thermistor has values above zero, and its hottest temperature is above ambient")
    step = (hottest - ambient) / pieces
    middles = [ambient + step * (k + 0.5) for k in range(pieces)]
    ohms = [thermistor_resistance(cold, beta, middle) for middle in middles]
    warmer = [Rule(str(k), str(k + 1), nodes, heat_capacity * step, times=Current(name)) for k in range(pieces - 1)]
    curves = {str(k): _resistance(value) for k, value in enumerate(ohms)}
    return circuit.switched(name, *nodes, curves, "0", warmer)


def fuse(circuit: PiecewiseCircuit, name: str, nodes: tuple[str, str], ohms: float, melting: float) -> PiecewiseCircuit:
    """Add a fuse of ``ohms`` [ohm] that opens once its I squared t has reached ``melting`` [A2s].

    It loses no heat meanwhile: valid for pulses of some milliseconds. The arc after melting is left out, so that an
    inductance drives its voltage up: give it a clamp beside.

    Raises CircuitError for a resistance or a melting integral that is not above zero.
    """
    if not min(ohms, melting) > 0:
        raise CircuitError(f"{name}: {ohms!r} ohm and {melting!r} A2s; numbers above zero are right")
    curves = {"whole": _resistance(ohms), "melted": _resistance(OPEN)}
    return circuit.switched(
        name, *nodes, curves, "whole", [Rule("whole", "melted", Current(name), melting, times=Current(name))]
    )


def _resistance(ohms: float) -> Bend:
    return Bend((0.0,), (0.0,), 1 / ohms, 1 / ohms)
