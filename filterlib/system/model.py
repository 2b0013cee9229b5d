"""The base of everything that a design file holds: frozen, strict, and changed by making a new one."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Annotated, Any, ClassVar, Self, TypeAlias, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from filterlib.errors import InputError, Problem
from filterlib.parts.problems import problems_from

Given: TypeAlias = Mapping[str, Any]
"""Fields as a file or a caller gives them: text, numbers, tables, models."""
Validated: TypeAlias = dict[str, Any]
"""Fields that were read already, for a default that depends on them."""
_LONGEST_TITLE, _LONGEST_NOTE = 120, 5000


def is_name(text: object) -> bool:
    """True for what can name a stage, a load or an operating point."""
    return isinstance(text, str) and bool(re.fullmatch(r"[^\W\d_](?:[\w -]{0,38}\w)?", text))


def _name(text: str) -> str:
    if not is_name(text):
        raise ValueError("a name begins with a letter, then letters, digits, spaces, - and _; at most 40 characters")
    return text


def _title(text: str) -> str:
    if not text.strip() or len(text) > _LONGEST_TITLE or not text.isprintable():
        raise ValueError(f"one line of text is needed, 1 to {_LONGEST_TITLE} characters")
    return text


def _note(text: str) -> str:
    if len(text) > _LONGEST_NOTE or not all(c.isprintable() or c in "\n\t" for c in text):
        raise ValueError(f"plain text is needed, at most {_LONGEST_NOTE} characters")
    return text


Name = Annotated[str, AfterValidator(_name)]
"""Name of a stage, a load or an operating point: it names elements, keys of results and labels."""
Title = Annotated[str, AfterValidator(_title)]
Note = Annotated[str, AfterValidator(_note)]
Count = Annotated[int, Field(strict=True, ge=1, le=1000)]
Order = Annotated[int, Field(strict=True, ge=1, le=8)]
"""Order of a low-pass."""


def read(item: object, *keys: str) -> Any:
    """What is under keys of nested tables or models, as a file or a caller gives them; None where nothing is."""
    for key in keys:
        item = item.get(key) if isinstance(item, Mapping) else getattr(item, key, None)
    return item


class Model(BaseModel):
    """Frozen; unknown keys are refused; quantities may be text, numbers, or arrays (designs, 1).

    Raises
    ------
    InputError
        When made or changed with a field that is unknown, missing, or cannot be: all of them at once.
    """

    ELSEWHERE: ClassVar[Mapping[str, str]] = {}  # unknown keys that have a place, and where

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    def __init__(self, /, **fields: object) -> None:
        problems = list(self._across(fields))
        try:
            super().__init__(**fields)
        except ValidationError as error:
            problems = [*problems_from(error, "", model=type(self)), *problems]
        if problems:
            raise InputError(problems)

    @classmethod
    def _across(cls, fields: Given) -> Iterator[Problem]:
        """What is wrong between fields as given, said together with what is wrong in each."""
        yield from ()

    def ineffective(self, driven: bool) -> tuple[str, ...]:
        """Fields whose range changes nothing as the model is; ``driven``: where something drives the chassis."""
        return ()

    def replace(self, **changes: object) -> Self:
        """A copy with other values, checked again; what was left to defaults stays so. Raises InputError."""
        return type(self)(**({name: getattr(self, name) for name in self.model_fields_set} | changes))


@lru_cache(maxsize=256)
def marks(model: type[BaseModel]) -> Mapping[str, tuple[object, ...]]:
    """What annotates each field of a model, such as its `Quantity`; also inside "or None" and inside a tuple."""
    return {name: (*field.metadata, *_inside(field.annotation)) for name, field in model.model_fields.items()}


def _inside(annotation: object) -> Iterator[object]:
    yield from getattr(annotation, "__metadata__", ())
    for inner in get_args(annotation):
        yield from _inside(inner)
