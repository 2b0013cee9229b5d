"""Proof that a design is stable for every combination of the ranges of its uncertain parameters, or a combination where it is not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from filterlib.analysis.stability.margins import back
from filterlib.analysis.stability.stability import FREQUENCIES, unstable_poles
from filterlib.analysis.stability.stability_result import Proof, ProvedRange
from filterlib.errors import CircuitError, FilterlibError
from filterlib.network.multiaffine.certificate import certify
from filterlib.network.netlist import Netlist
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution, powered_loads

ELEMENTS = 10  # of the circuit that are uncertain at once, unless parameters are named
HALVINGS = 25_000  # of boxes and intervals: some seconds
SAME = 1e-9  # of a value: less is no change


@dataclass(frozen=True)
class _Moved:
    """What a parameter moves: by element of the circuit the values at its ends, low first."""

    parameter: UncertainParameter
    elements: dict[str, tuple[float, float]]


def prove(solution: Solution, keys: Sequence[str] | None = None) -> Proof:
    """Prove a design stable for every combination of ranges at one operating point, or find a combination where it is not.

    Parameters: ``solution`` of one design, its DC state kept; ``keys`` of uncertain parameters, by default those that move
    the critical power most, as many as move `ELEMENTS` elements of the circuit.
    Returns: Proof. A parameter that moves several elements is taken as if each of them moved by itself, so that a proof holds and a
    combination counts only where the design itself is unstable there.
    Raises: FilterlibError for an unknown key, one that moves nothing in the circuit or what has no affine law (a coupling, a value
    that may be 0), for parts without a ladder, where nothing is uncertain, and, without ``keys``, where no load
    draws a constant power.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "transmitting")
    >>> prove(solution, ["converter.output_capacitance", "converter.output_esr"]).verdict
    'stable'
    """
    solution = solution.with_measured_output
    if keys is None and not powered_loads(solution):
        raise FilterlibError(
            f"no load draws a constant power at {solution.point}: all else is passive, and nothing is to be proved"
        )
    every = {one.key: one for one in uncertain_parameters(solution.design)}
    nominal = _values(solution)
    moved = _named(solution, every, keys, nominal) if keys is not None else _chosen(solution, every, nominal)
    if not moved:
        raise FilterlibError("nothing uncertain moves this circuit: there is nothing to prove")
    ends: dict[str, tuple[float, float]] = {}
    for one in moved:
        for name, pair in one.elements.items():
            low, high = sorted(pair)
            known = ends.get(name, (low, high))
            ends[name] = min(low, known[0]), max(high, known[1])
    found = certify(solution.circuit.laddered(), ends, halvings=HALVINGS)
    held = tuple(key for key in every if key not in {one.parameter.key for one in moved})
    verdict, values = found.verdict, dict[str, float]()
    if verdict == "unstable":
        values = {one.parameter.key: _back(one, found.values) for one in moved}
        real = unstable_poles(solution.varied(values).poles).size > 0
        verdict, values = ("unstable", values) if real else ("undecided", {})
    ranges = tuple(
        ProvedRange(p.key, p.label, p.unit, p.low, p.high, values.get(p.key, np.nan))
        for p in (one.parameter for one in moved)
    )
    return Proof(solution.point, verdict, ranges, held, found.boxes)


def _values(solution: Solution) -> dict[str, float]:
    """Every element of the circuit with a law of its own; raises CircuitError where a part has no ladder."""
    netlist: Netlist = solution.circuit.netlist.laddered()
    return {e.name: float(e.number) for e in netlist.elements if not e.kind.endswith("_source")}


def _moves(solution: Solution, parameter: UncertainParameter, nominal: dict[str, float]) -> _Moved:
    """The elements that a parameter moves, and to which values. Raises FilterlibError for what cannot be proved."""
    low, high = (_values(solution.varied({parameter.key: end})) for end in (parameter.low, parameter.high))
    if low.keys() != nominal.keys() or high.keys() != nominal.keys():
        raise FilterlibError(f"{parameter.key}: changes which elements there are")
    names = [
        name
        for name, value in nominal.items()
        if max(abs(low[name] - value), abs(high[name] - value)) > SAME * abs(value)
    ]
    pairs = {name: (low[name], high[name]) for name in names}
    kinds = {e.name: e.kind for e in solution.circuit.netlist.laddered().elements}
    coupled = solution.circuit.netlist.laddered().coupled
    for name, (first, last) in pairs.items():
        if kinds[name] == "couple" or name in coupled or first * last <= 0:
            raise FilterlibError(
                f"{parameter.key}: moves {name}, which is coupled or may be 0: nothing can be proved over it"
            )
    return _Moved(parameter, pairs)


def _named(
    solution: Solution, every: dict[str, UncertainParameter], keys: Sequence[str], nominal: dict[str, float]
) -> list[_Moved]:
    unknown = [key for key in keys if key not in every]
    if unknown:
        raise FilterlibError(f"{unknown[0]}: is not uncertain; uncertain are {', '.join(every)}")
    moved = [_moves(solution, every[key], nominal) for key in keys]
    still = [one.parameter.key for one in moved if not one.elements]
    if still:
        raise FilterlibError(f"{still[0]}: moves nothing in the circuit at {solution.point}")
    return moved


def _chosen(solution: Solution, every: dict[str, UncertainParameter], nominal: dict[str, float]) -> list[_Moved]:
    """Those that move the critical power most, until enough elements are uncertain."""
    chosen: list[_Moved] = []
    count = 0
    for key in _by_influence(solution, every):
        try:
            one = _moves(solution, every[key], nominal)
        except CircuitError:
            raise
        except FilterlibError:
            continue
        if one.elements and count + len(one.elements) <= ELEMENTS:
            chosen.append(one)
            count += len(one.elements)
    return chosen


def _by_influence(solution: Solution, every: dict[str, UncertainParameter]) -> list[str]:
    """Keys by how far the greatest real part of the impedance back from a load moves between a parameter's ends."""
    loads = powered_loads(solution)
    if not every:
        return []
    rows = [(key, end) for key, one in every.items() for end in (one.low, one.high)]
    columns = {key: np.array([[end if key == at else one.nominal] for at, end in rows]) for key, one in every.items()}
    z = back(solution.varied(columns), loads[0]).impedance(FREQUENCIES, *loads[0].port)
    size = np.log(np.maximum(np.atleast_2d(z).real.max(axis=1), 1e-12)).reshape(-1, 2)
    spread = dict(zip(every, np.abs(size[:, 1] - size[:, 0]), strict=True))
    return sorted(every, key=lambda key: -spread[key])


def _back(one: _Moved, values: Mapping[str, float]) -> float:
    """The parameter's value where its first element has a value, on a straight line between its ends."""
    name, (first, last) = next(iter(one.elements.items()))
    share = float(np.clip((values[name] - first) / (last - first), 0, 1))
    return one.parameter.low + share * (one.parameter.high - one.parameter.low)
