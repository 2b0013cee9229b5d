"""What a design comes to, in the pieces that a review is made of, cheaply: every number finite, or a reason beside it."""

import dataclasses
from collections.abc import Mapping

import numpy as np

from filterlib.analysis.linear.frequency_response import bode
from filterlib.analysis.linear.insertion_loss import insertion
from filterlib.analysis.linear.port_impedance import impedance
from filterlib.analysis.linear.steps import steps
from filterlib.analysis.ripple.nominal import nominal
from filterlib.analysis.stability.operating_point import operating
from filterlib.analysis.stress.overloads import overloads
from filterlib.analysis.stress.stored_energy import stores
from filterlib.analysis.stress.stress import stress
from filterlib.system.solution import solve


def look(design):
    """Every piece at every operating point but the search over the uncertainty. Raises AssertionError for what is not finite."""
    for point in design.operating_points:
        solution = solve(design, point.name)
        found = operating(solution)
        pieces = [found, insertion(solution), overloads(solution), stores(design)]
        for load in design.loads:
            pieces += [bode(solution, load.name), impedance(solution, load.name)]
            if found.stable:
                pieces += [nominal(solution, load.name), steps(solution, load.name)]
        if found.stable:
            pieces.append(stress(solution, interval=False))
        for piece in pieces:
            for name, value in numbers(piece):
                assert np.all(np.isfinite(value) | allowed(name, value)), f"{point.name}: {name} = {value}"


def allowed(name, value):
    """NaN is what is not there; a level, a loss, a life or a margin may have no end, and so may a temperature that runs away."""
    endless = (
        "Insertion",
        "Bode",
        "margin",
        "life",
        "limit",
        "rise",
        "value",
        "low",
        "high",
        "Q",
        "quality",
        "damping",
    )
    return np.isnan(value) | (np.isinf(value) & any(word in name for word in endless))


def numbers(thing, name=""):
    """Pairs of a name and the numbers there, of a result and of what is in it."""
    if isinstance(thing, float | np.ndarray | complex):
        if np.asarray(thing).dtype.kind in "fc":
            yield name, np.asarray(thing)
    elif dataclasses.is_dataclass(thing) and type(thing).__module__.startswith("filterlib.analysis"):
        for field in dataclasses.fields(thing):
            yield from numbers(getattr(thing, field.name), f"{name or type(thing).__name__}.{field.name}")
    elif isinstance(thing, Mapping):
        for key, value in thing.items():
            yield from numbers(value, f"{name}[{key}]")
    elif isinstance(thing, list | tuple):
        for key, value in enumerate(thing):
            yield from numbers(value, f"{name}[{key}]")
