"""One stress of one part against what it is rated for, and the heat of one part: as a result has them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.described import InUnit, Ratio, Unit, Volts
from filterlib.analysis.stability.stability_result import Stability

Answer = Literal["met", "undecided", "not met", "no limit", "not known"]
Kind = Literal[
    "rms", "winding rms", "magnetising peak", "unbalanced peak", "peak", "ripple rms", "usable voltage", "life", "leakage",
    "highest temperature", "ceramic rise", "converter",
]  # fmt: skip


@dataclass(frozen=True)
class Basis:
    """What a stress is compared with.

    ``kind``: how it is counted, and whose limit it has; ``missing``: the field that part or design would have to state, ""
    where nothing is missing. ``factors``: against which the part's ripple rating is weighed; ``share`` of the ``rated``
    voltage that is usable, or of the converter's rating that is left at this temperature, ``by_kind`` where no derating is
    stated; ``beyond_seal``: a life that the seal ends before; ``too_hot``: the converter's derating ends below this temperature.
    """

    kind: Kind
    missing: str = ""
    factors: tuple[str, ...] = ()
    share: Ratio[float] = np.nan
    rated: Volts[float] = np.nan
    by_kind: bool = False
    beyond_seal: bool = False
    too_hot: bool = False


@dataclass(frozen=True)
class StressCheck:
    """One stress of one part.

    ``name``: of its element; ``part``: in words; ``what``: "ripple current", "voltage" ...; ``value``, ``low``, ``high``:
    nominal, and least and greatest while each uncertain parameter moves alone to the ends of its range (of very many, `OTHERS` at once); ``limit``, NaN where
    there is none; ``basis``: whose it is, or why there is none; ``at_least``: True where the value must not
    fall below it; ``margin``: limit over the worst value - 1, for "at least" the reverse; ``depends_on``: key of the uncertain
    parameter that decides, or "", and its ``label``.
    """

    name: str
    part: str
    what: str
    unit: str
    value: Annotated[float, Unit("{unit}", key="")]
    low: InUnit[float]
    high: InUnit[float]
    limit: InUnit[float]
    at_least: bool
    margin: Annotated[float, Unit("", key="*_ratio")]
    verdict: Answer
    depends_on: str
    basis: Basis
    label: str = ""


@dataclass(frozen=True)
class Heat:
    """Heat of one part: of direct current, of ripple (as the circuit has it), and of the core by its Steinmetz data.

    ``core`` is NaN where no data are stated; ``rise`` above the surroundings, NaN without a thermal resistance. Of
    the core's two figures, circuit and Steinmetz, the rise holds the larger. ``count`` such parts are in parallel.
    """

    name: str
    part: str
    count: int
    direct: Annotated[float, Unit("W", "of direct current", "*_heat")]
    ripple: Annotated[float, Unit("W", "of ripple", "*_heat")]
    core: Annotated[float, Unit("W", "core, by its Steinmetz data", "*_heat")]
    rise: Annotated[float, Unit("K", "temperature rise", key=None)]


@dataclass(frozen=True)
class StressResult:
    """``checks`` and ``heats`` of all parts at one operating point; none where the circuit is unstable: ``reason``."""

    point: str
    checks: tuple[StressCheck, ...] = ()
    heats: tuple[Heat, ...] = ()
    reason: Stability | None = None


Rating = Literal["saturation current", "unbalance", "rated current", "usable voltage"]
