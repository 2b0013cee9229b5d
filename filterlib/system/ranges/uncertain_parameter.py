"""One value that is not known exactly, how its range is walked, and which of them a model has."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel

from filterlib.parts.base import Assumed, Part, Toleranced, Unequal, quantity_among
from filterlib.parts.values import Usual
from filterlib.system.model import Model, marks
from filterlib.system.ranges.ranged import Ranged, RangedQuantity

Columns: TypeAlias = Mapping[str, NDArray[np.float64]]
"""Values of uncertain parameters of many designs, by key: (designs, 1) each."""
SHAPE, SHAPE_LABEL = "converter.shape", "shape of the switching current"
"""Key and label of the one that is no number: "triangle" or "pulse", where the file does not state it."""
_Share = TypeVar("_Share", float, NDArray[np.float64])


@dataclass(frozen=True)
class UncertainParameter:
    """One value with its range: ``key`` in the design file, ``low`` to ``high`` in ``unit``.

    ``logarithmic`` says how the range is walked; ``stated`` is False for a default, whose origin is ``why``. ``moved_from``:
    what was nominal before it was moved so that all readings agree.
    """

    key: str
    label: str
    unit: str
    nominal: float
    low: float
    high: float
    stated: bool
    why: str
    moved_from: float | None = None

    @property
    def logarithmic(self) -> bool:
        """True where the range is walked in ratios."""
        return self.low > 0 and self.high > 2 * self.low

    @property
    def _growth(self) -> float:
        """Of a default's range from zero, towards whose low end its nominal is: the ratio of what is above that to what is below; else 1."""
        if self.stated or self.low or not 0 < self.nominal < self.high / 2:
            return 1.0
        return self.high / self.nominal - 1

    def at(self, share: _Share) -> _Share:
        """The value at a share 0 .. 1 of the range (an array gives an array).

        A default's range from zero is walked so that as many values are below its nominal as above: far above in ratios.

        >>> one = UncertainParameter("", "", "H", 0.2, 0.0, 1.0, False, "")   # four times as far to the top
        >>> one.at(np.array([0, 0.5, 1])).round(9), one.share(np.array([0, 0.2, 1])).round(9)
        (array([0. , 0.2, 1. ]), array([0. , 0.5, 1. ]))
        """
        walked: _Share = self.low + (self.high - self.low) * share
        if self.logarithmic:
            walked = self.low * (self.high / self.low) ** share
        elif (growth := self._growth) > 1:
            walked = self.high * (growth ** (2 * share) - 1) / (growth**2 - 1)
        return walked

    def share(self, value: _Share) -> _Share:
        """The share of the range of a value (an array gives an array): the other way round."""
        walked: _Share = (value - self.low) / (self.high - self.low)
        if self.logarithmic:
            walked = np.log(value / self.low) / np.log(self.high / self.low)
        elif (growth := self._growth) > 1:
            walked = np.log1p(walked * (growth**2 - 1)) / (2 * np.log(growth))
        return walked


def ranges(key: str, model: BaseModel, *, owner: str = "", driven: bool = False) -> Iterator[UncertainParameter]:
    """Every range of a model, and of the sections and parts in it: the model's own first, in the order of its fields.

    ``key`` of the model in the design file; ``owner``: its name in the labels; ``driven``: something drives the chassis, so that
    strays and what is unequal in the two lines count. A range without extent is left out.
    """
    unused = model.ineffective(driven) if isinstance(model, Model) else ()
    for name, found in marks(type(model)).items():
        value = getattr(model, name)
        for mark in found if name not in unused else ():
            if isinstance(mark, RangedQuantity) and isinstance(value, Ranged) and value.low < value.high:
                yield _of_range(f"{key}.{name}", mark, value, owner)
            elif isinstance(mark, Unequal) and driven and name not in model.model_fields_set:
                yield _of_two(f"{key}.{name}", mark, owner)
            elif isinstance(mark, Assumed) and isinstance(model, Part) and name in model.assumed:
                yield _of_kind(f"{key}.{name}", mark, found, model.assumed[name], owner)
    for name in type(model).model_fields:
        inner = getattr(model, name)
        if name == "part" and inner is not None:
            yield from ranges(key, inner, owner=owner, driven=driven)
        elif isinstance(inner, BaseModel):
            whole = f"the {name.replace('_', ' ')}" + (f" of {owner}" if owner else "")
            yield from ranges(f"{key}.{name}", inner, owner=whole, driven=driven)


def one_range(key: str, model: BaseModel, name: str) -> Iterator[UncertainParameter]:
    """The range of one field of a model, whatever `Model.ineffective` says of it; nothing where it has no extent."""
    mark = next(mark for mark in marks(type(model))[name] if isinstance(mark, RangedQuantity))
    if (value := getattr(model, name)).low < value.high:
        yield _of_range(f"{key}.{name}", mark, value, "")


def toleranced(key: str, part: Part, *, owner: str) -> Iterator[UncertainParameter]:
    """Every value of a part that has a tolerance; the range ends where such a part's values do."""
    for name, found in marks(type(part)).items():
        for mark in found:
            value = getattr(part, name)
            stated = name in part.model_fields_set and bool(np.all(value))
            if stated and isinstance(mark, Toleranced) and (spread := getattr(part, mark.tolerance)):
                quantity = quantity_among(found)
                ends = part.bounded(name, quantity.kept(value * (1 - spread)), quantity.kept(value * (1 + spread)))
                stated = mark.tolerance in part.model_fields_set or not mark.why
                label, why = mark.label.format(owner=owner), "tolerance" if stated else mark.why
                yield UncertainParameter(f"{key}.{name}", label, quantity.unit, value, *ends, stated, why)


def _of_range(key: str, mark: RangedQuantity, value: Ranged, owner: str) -> UncertainParameter:
    label = mark.label.format(owner=owner)
    return UncertainParameter(
        key, label, mark.unit, float(value.value), value.low, value.high, value.stated, value.why, value.moved_from
    )


def _of_kind(key: str, mark: Assumed, found: tuple[object, ...], usual: Usual, owner: str) -> UncertainParameter:
    unit, value = quantity_among(found).unit, float(np.mean(usual.value))
    return UncertainParameter(key, mark.label.format(owner=owner), unit, value, usual.low, usual.high, False, usual.why)


def _of_two(key: str, mark: Unequal, owner: str) -> UncertainParameter:
    label = mark.label.format(owner=owner)
    return UncertainParameter(key, label, "", 0.0, -mark.spread, mark.spread, False, mark.why)
