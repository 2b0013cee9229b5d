"""What every part has: fields that are quantities or curves, checked when it is made, frozen afterwards."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Annotated, Any, ClassVar, Self, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    StrictBool,
    StringConstraints,
    ValidationError,
    model_validator,
)
from pydantic_core import CoreSchema, core_schema

from filterlib.errors import InputError, QuantityError
from filterlib.parts.monotone_cubic import MonotoneCubic
from filterlib.parts.problems import problems_from
from filterlib.parts.values import Points, Stated, Usual, Value
from filterlib.units import format_quantity, quantity, without_form

_V = TypeVar("_V", bound=Value)


@dataclass(frozen=True)
class Quantity:
    """Marks a field as a quantity: ``capacitance: Annotated[Value, Quantity("F", above=0, plausible=(1e-13, 0.1))]``.

    The field then takes text, a number or an array (designs, 1), and holds a float or such an array in SI units.
    ``low``, ``high`` (inclusive), ``above`` and ``below`` say what can be; ``plausible`` what such a thing has: a value
    outside is refused with the question whether a prefix was forgotten. ``form``: "pp" or "rms" where it is that and may say so.
    """

    unit: str
    low: float | None = None
    high: float | None = None
    above: float | None = None
    below: float | None = None
    plausible: tuple[float, float] | None = None
    form: str = ""

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def read(self, value: object) -> Value:
        """The value in SI units. Raises QuantityError: unreadable, wrong unit, out of range, absurd, or wrong shape."""
        if not isinstance(value, np.ndarray) or value.ndim == 0:
            return self._number(value.item() if isinstance(value, np.ndarray | np.generic) else value)
        if value.ndim != 2 or value.shape[1] != 1 or not len(value) or value.dtype.kind not in "fiu":
            raise QuantityError(f"an array of numbers must have the shape (designs, 1), not {value.shape}", value=value)
        array = np.array(value, dtype=float)
        for extreme in (array.min(), array.max()):  # a NaN is the minimum, an infinity one of the two
            self._number(float(extreme))
        array.setflags(write=False)
        return array

    def _number(self, value: object) -> float:
        value = without_form(value, self.form) if isinstance(value, str) else value
        number = quantity(value, self.unit, low=self.low, high=self.high, above=self.above, below=self.below)
        if self.plausible and number and not self.plausible[0] <= abs(number) <= self.plausible[1]:
            low, high = (format_quantity(bound, self.unit) for bound in self.plausible)
            raise QuantityError(
                f"{format_quantity(number, self.unit)} is absurd here, where {low} to {high} is expected; "
                "was a prefix or a unit forgotten?",
                value=value,
            )
        return number

    def kept(self, value: _V) -> _V:
        """A value that follows from others, no further than such a thing has it; 0 stays."""
        return value if self.plausible is None else np.where(value == 0, 0.0, np.clip(value, *self.plausible))[()]  # type: ignore[return-value]


def quantity_among(marks: Iterable[object]) -> Quantity:
    """The quantity among what annotates a field."""
    return next(one for one in marks if isinstance(one, Quantity))


@dataclass(frozen=True)
class Toleranced:
    """Marks a quantity that may be off by the ``tolerance`` in the field of that name, as a share of the value either way.

    ``label`` says what it is; "{owner}" in it becomes the name of what the part is in. ``why``: where the spread comes from
    where the part does not state it; "" where a part that states none is held to the default of its kind.
    """

    tolerance: str
    label: str
    why: str = ""


@dataclass(frozen=True)
class Unequal:
    """Marks a quantity that says how unequal two alike things are; where it is not stated, they may be by ``spread``.

    ``label`` as in `Toleranced`; ``why``: where the spread comes from. It matters where the chassis carries current.
    """

    spread: float
    label: str
    why: str


@dataclass(frozen=True)
class Assumed:
    """Marks a quantity that need not be stated: ``usual`` gives what parts of its kind have, from the fields before it.

    None where those leave nothing to assume. Where one of the fields ``unless`` is stated, the quantity is ``otherwise``, without
    a range. The field's default is `nominal` of the same function. ``label`` as in `Toleranced`.
    """

    usual: Callable[[Stated], Usual | None]
    label: str
    unless: tuple[str, ...] = ()
    otherwise: float | None = None


def nominal(usual: Callable[[Stated], Usual | None]) -> Any:
    """The default of a field that is marked `Assumed`; None where a field that it needs is wrong, which is said of that one."""

    def value(stated: Stated) -> Value | None:
        try:
            return getattr(usual(stated), "value", None)
        except KeyError:
            return None

    return Field(default_factory=value)


@dataclass(frozen=True)
class Curve:
    """Marks a field as a curve [[x, ratio], ...] of rising x, the ratio being 1 (within 5 %) at ``reference``, if any.

    ``zero``: True where a ratio may be 0.
    """

    unit: str
    reference: float | None = None
    low: float | None = None
    high: float | None = None
    zero: bool = False

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def read(self, value: object) -> Points:
        """The points in SI units. Raises QuantityError that names the point."""
        if not isinstance(value, Sequence) or isinstance(value, str) or len(value) < 2:
            raise QuantityError(f"a curve is a list of at least two points [{self.unit}, ratio]", value=value)
        points = tuple(self._point(number, point) for number, point in enumerate(value, start=1))
        for number, (first, second) in enumerate(pairwise(points), start=2):
            if second[0] <= first[0]:
                raise QuantityError(f"point {number} does not lie beyond point {number - 1}", value=value)
        if self.reference is not None and not 0.95 <= float(on_curve(points, self.reference)) <= 1.05:
            at = format_quantity(self.reference, self.unit)
            raise QuantityError(f"the ratio must be 1 at {at}, the curve has {on_curve(points, self.reference):.3g}")
        return points

    def _point(self, number: int, point: object) -> tuple[float, float]:
        if not isinstance(point, Sequence) or isinstance(point, str) or len(point) != 2:
            raise QuantityError(f"point {number} is not a pair [{self.unit}, ratio]", value=point)
        try:
            x = quantity(point[0], self.unit, low=self.low, high=self.high)
            return x, quantity(point[1], "", low=0, above=None if self.zero else 0, high=100)
        except QuantityError as error:
            raise QuantityError(f"point {number}: {error.why}", value=point) from None


def on_curve(points: Points, x: ArrayLike) -> Value:
    """The ratio at ``x``: through every point, without overshoot between them, and constant beyond the first and the last.

    Source: see `filterlib.parts.monotone_cubic.MonotoneCubic`.

    >>> on_curve(((0.0, 1.0), (25.0, 0.5), (50.0, 0.3)), [[25.0], [80.0]]).tolist()
    [[0.5], [0.3]]
    """
    clamped = np.minimum(np.maximum(np.asarray(x, dtype=float), points[0][0]), points[-1][0])
    ratio = _interpolator(points)(clamped)
    return ratio if ratio.ndim else float(ratio)


@lru_cache(maxsize=256)
def _interpolator(points: Points) -> MonotoneCubic:
    return MonotoneCubic.through(*zip(*points, strict=True))


def beyond(points: Points | None, x: ArrayLike) -> bool | NDArray[np.bool_]:
    """Whether ``x`` lies outside the curve's points, where its end value is used; never where there is no curve."""
    x = np.asarray(x, dtype=float)
    outside = np.zeros(x.shape, bool) if points is None else (x < points[0][0]) | (x > points[-1][0])
    return outside if outside.ndim else bool(outside)


def shown(value: Value, unit: str) -> str:
    """A value as text; an array as its range."""
    if isinstance(value, np.ndarray):
        return f"{format_quantity(float(value.min()), unit)} to {format_quantity(float(value.max()), unit)}"
    return format_quantity(value, unit)


@lru_cache(maxsize=64)
def _assumed_marks(part: type[Part]) -> tuple[tuple[str, Assumed], ...]:
    """The fields of a kind of part that are marked `Assumed`, with their marks."""
    fields = part.model_fields.items()
    return tuple((name, one) for name, field in fields for one in field.metadata if isinstance(one, Assumed))


class Part(BaseModel):
    """A part that can be bought: frozen, its fields checked.

    Attributes: ``name`` (as in the table), ``kind``, ``note`` (free text) and ``invented`` (true: no such part is sold,
    its values are only plausible for its kind and size).

    Raises
    ------
    InputError
        When a part is made or changed with a field that is unknown, missing, or cannot be: all of them at once.
    """

    measured: ClassVar[bool] = False  # whether its values come from a measured curve, which has its parasitics in it

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: Annotated[str, StringConstraints(strict=True, pattern=r"^[^\x00-\x1f\x7f]*$", max_length=80)] = ""
    kind: str
    note: Annotated[str, StringConstraints(strict=True)] = ""
    invented: StrictBool = False

    def __init__(self, /, **fields: object) -> None:
        try:
            super().__init__(**fields)
        except ValidationError as error:
            what = " ".join(str(word) for word in (type(self).__name__, fields.get("name", "")) if word)
            raise InputError(problems_from(error, what, model=type(self))) from None

    @model_validator(mode="after")
    def _nothing_usual_beside_what_is_stated(self) -> Self:
        for name, mark in self._assumable():
            if not self.model_fields_set.isdisjoint(mark.unless):
                self.__dict__[name] = mark.otherwise
        return self

    def _assumable(self) -> Iterator[tuple[str, Assumed]]:
        """Fields that are not stated and need not be, with their marks."""
        stated = self.model_fields_set
        yield from (pair for pair in _assumed_marks(type(self)) if pair[0] not in stated)

    @property
    def assumed(self) -> dict[str, Usual]:
        """What was left to defaults of the part's kind, by field, each with its range."""
        values = {name: getattr(self, name) for name in type(self).model_fields}
        free = (pair for pair in self._assumable() if self.model_fields_set.isdisjoint(pair[1].unless))
        return {name: found for name, mark in free if (found := mark.usual(values)) is not None}

    def replace(self, **changes: object) -> Self:
        """A copy with other values, checked like the first; what was assumed beside them stays. Raises InputError."""
        assumed = self.assumed
        beside = [n for n, mark in self._assumable() if n in assumed and not changes.keys().isdisjoint(mark.unless)]
        kept = {name: getattr(self, name) for name in (*self.model_fields_set, *beside)}
        return type(self)(**kept | changes)

    def derived(self, **values: Value) -> Self:
        """A copy with values that follow from its own, such as those of an aged part: none further than such parts have it."""
        return self.replace(**{name: self.kept(name, value) for name, value in values.items()})

    def kept(self, name: str, value: Value) -> Value:
        """What follows from other values, as the value of a field: no further than such parts have it."""
        return quantity_among(type(self).model_fields[name].metadata).kept(value)

    def bounded(self, name: str, low: float, high: float) -> tuple[float, float]:
        """The ends of a value within its tolerance, as far as other values of the part let them go."""
        return low, high

    @property
    def caveat(self) -> str:
        """What to know before this part is trusted, to be read behind its name; "" where there is nothing."""
        return ""

    def describe(self) -> dict[str, str]:
        """Label and text of what a parts list shows."""
        return {"kind": self.kind.replace("_", " ")} | ({"note": self.note} if self.note else {})
