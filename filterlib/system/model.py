"""The base of everything that a design file holds: frozen, strict, and changed by making a new one."""

from __future__ import annotations

from typing import Any, Self

from pydantic import BaseModel, ConfigDict, ValidationError

from filterlib.errors import InputError
from filterlib.parts.reading import problems_from


class Model(BaseModel):
    """Frozen; unknown keys are refused; quantities may be text, numbers, or arrays (designs, 1)."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    def replace(self, **changes: Any) -> Self:
        """A copy with other values, checked again; what was left to defaults stays so. Raises InputError."""
        kept = {name: getattr(self, name) for name in self.model_fields_set}
        try:
            return type(self)(**(kept | changes))
        except ValidationError as error:
            raise InputError(problems_from(error, type(self).__name__, model=type(self))) from None
