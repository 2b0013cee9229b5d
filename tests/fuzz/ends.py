"""Every quantity of a design file at the ends of its documented range, found from the marks of the models."""

import math
from typing import get_args

from pydantic import BaseModel

from filterlib.parts.base import Quantity
from filterlib.parts.problems import _models_in
from filterlib.parts.tables import KINDS as PARTS
from filterlib.system.design import Design
from filterlib.system.inside.converter import Bandwidth
from filterlib.system.model import marks
from filterlib.system.ranges.ranged import RangedQuantity

JUST, LEAST = 1e-9, 1e-12  # of a bound, by which a value is inside it; what stands for "above 0"


def ends(mark):
    """Lowest and highest value [SI] that a mark allows, as far as it has bounds."""
    if isinstance(mark, Bandwidth):
        return 1e3, 1e11
    low, above, high, below = (getattr(mark, name, None) for name in ("low", "above", "high", "below"))
    plausible = getattr(mark, "plausible", None) or (None, None)
    if above is not None:
        low = above * (1 + JUST) if above else None if plausible[0] else LEAST
    if below is not None:
        high = below * (1 - JUST)
    lows = [one for one in (low, plausible[0]) if one is not None]
    highs = [one for one in (high, plausible[1]) if one is not None]
    return (max(lows) if lows else None), (min(highs) if highs else None)


def held(tree, model=Design, path=()):
    """Triples of the path of a table in a tree, that table, and the model that it is written for; the tree itself first."""
    yield path, tree, model
    for name, field in model.model_fields.items():
        key = field.alias or name
        value = tree.get(key)
        for step, inner in enumerate(value) if isinstance(value, list) else [(None, value)]:
            if isinstance(inner, dict) and (chosen := model_of(field.annotation, inner)):
                yield from held(inner, chosen, (*path, key) if step is None else (*path, key, step))


def places(tree):
    """Pairs of the path of a quantity in a tree and its mark: of every key that the models of the tree know, stated there or not."""
    for path, table, model in held(tree):
        for name, field in model.model_fields.items():
            key = field.alias or name
            value = table.get(key)
            mark = next((m for m in marks(model)[name] if isinstance(m, Quantity | RangedQuantity | Bandwidth)), None)
            if isinstance(value, dict) and mark is not None:
                yield from (((*path, key, inner), mark) for inner in value)
            elif mark is not None and not isinstance(value, list):
                yield (*path, key), mark


def every_model(model=Design):
    """All models that a design may hold."""
    found, left = set(), [model]
    while left:
        one = left.pop()
        if one not in found:
            found.add(one)
            left += [
                m
                for field in one.model_fields.values()
                for m in _models_in(field.annotation)
                if issubclass(m, BaseModel)
            ]
    return found


def model_of(annotation, tree):
    """The model among those of an annotation that a tree is written for, by its kind; None for none."""
    kind = tree.get("kind")
    models = [m for m in _models_in(annotation) if issubclass(m, BaseModel)]
    by_kind = [m for m in models if "kind" in m.model_fields and kind in get_args(m.model_fields["kind"].annotation)]
    if by_kind:
        return by_kind[0]
    return PARTS.get(kind) if kind in PARTS else models[0] if models else None


def at_ends(tree):
    """Pairs of a path and a value at one end of what may be there; of ratios in percent and times bare numbers will do."""
    for path, mark in places(tree):
        for value in ends(mark):
            if value is not None and math.isfinite(value):
                yield path, value
