"""What a design file asks of conducted emission: an estimate at a line, and a margin that has to be kept below a limit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, ClassVar, Literal

from pydantic import BeforeValidator, Field

from filterlib.errors import QuantityError
from filterlib.parts.base import Quantity
from filterlib.system.limits import LimitFile, Network, find_limit
from filterlib.system.model import Model, Note
from filterlib.units import quantity

USUAL_NETWORK = "50uH"


def _limit(raw: object) -> LimitFile:
    if isinstance(raw, LimitFile):
        return raw
    if not isinstance(raw, str):
        raise ValueError("the name of a limit is needed, in quotes, or of a limit file that ends in .toml")
    return find_limit(raw)


def _not_above(raw: object) -> object:
    if quantity(raw, "dB") < 0:
        raise QuantityError("must be 0 dB or more: a negative margin asks for levels above the limit", value=raw)
    return raw


StatedLimit = Annotated[LimitFile, BeforeValidator(_limit)]
"""A `LimitFile`; or the name of one in data/limits."""


def _network(named: str | None, limits: Sequence[LimitFile]) -> str:
    return named or next((one.limit.network for one in limits if one.limit.network is not None), USUAL_NETWORK)


class EmissionEstimate(Model):
    """Conducted emission that is to be estimated: at which line, through which network, with which limits."""

    side: Literal["output", "input"]
    network: Network | None = None
    limits: Annotated[tuple[StatedLimit, ...], Field(min_length=1)]
    note: Note = ""

    @property
    def at(self) -> str:
        """Name of the network: the stated one, else that at which the first limit holds, else `USUAL_NETWORK`."""
        return _network(self.network, self.limits)


class EmissionRequirement(Model):
    """Every level at least ``margin`` [dB] below a limit, at a line, through an artificial network."""

    kind: Literal["emission"]
    load: ClassVar[str] = ""
    side: Literal["output", "input"]
    network: Network | None = None
    limit: StatedLimit
    margin: Annotated[float, Quantity("dB", low=0, high=100), BeforeValidator(_not_above)] = 0.0
    note: Note = ""

    @property
    def at(self) -> str:
        """Name of the network, as of an `EmissionEstimate`."""
        return _network(self.network, (self.limit,))

    @property
    def words(self) -> str:
        """The requirement as a phrase."""
        kept = f"at least {self.margin:g} dB below" if self.margin else "below"
        return f"conducted emission at the {self.side}, {kept} the limit: {self.limit.limit.title}"
