"""One stress of one part against what it is rated for, the heat of one part, and the worst of several operating points."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.against_limit import AgainstLimit
from filterlib.analysis.described import Ratio, Unit, Volts
from filterlib.analysis.stability.stability_result import Stability

Kind = Literal[
    "rms", "winding rms", "magnetising peak", "unbalanced peak", "peak", "ripple rms", "usable voltage", "life", "leakage",
    "highest temperature", "ceramic rise", "converter",
]  # fmt: skip
Rating = Literal["saturation current", "unbalance", "rated current", "usable voltage"]


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
class StressCheck(AgainstLimit):
    """One stress of one part: ``name`` of its element, ``what`` as "ripple current", "voltage".

    ``low`` and ``high``: least and greatest while each uncertain parameter moves alone to the ends of its range (of very many, `OTHERS` at once);
    ``basis``: whose its limit is, or why there is none; ``depends_on``: key of the uncertain parameter that decides where it is undecided, else "",
    and its ``label``.
    """

    basis: Basis
    depends_on: str = ""
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


def worst(results: Iterable[StressResult]) -> tuple[tuple[str, StressCheck], ...]:
    """Every stress with the operating point at which it has least margin (where it has no limit: at which it is most)."""
    at_worst: dict[tuple[str, str], tuple[str, StressCheck]] = {}
    for result in results:
        for check in result.checks:
            key = check.name, check.what
            if key not in at_worst or _severity(check) > _severity(at_worst[key][1]):
                at_worst[key] = result.point, check
    return tuple(at_worst.values())


def _severity(check: StressCheck) -> float:
    value = -check.value if check.at_least else check.value
    return float(np.nan_to_num(value if np.isnan(check.margin) else -check.margin, nan=-np.inf))


def exceeded(results: Iterable[StressResult], lives: Iterable[StressCheck] = ()) -> tuple[tuple[str, StressCheck], ...]:
    """Every rating that is exceeded, or may be, at its worst operating point; those exceeded first.

    A life over all operating points ("") counts instead of the lives at each.
    """
    whole = {life.name: life for life in lives}
    pairs = [pair for pair in worst(results) if pair[1].what != "life" or pair[1].name not in whole]
    pairs += [("", life) for life in whole.values()]
    return tuple(pair for answer in ("not met", "undecided") for pair in pairs if pair[1].verdict == answer)
