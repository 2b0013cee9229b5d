"""Series of preferred values: what parts are sold in."""

from __future__ import annotations

import math

from filterlib.errors import QuantityError
from filterlib.units import quantity

_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
_SERIES = {"E3": 3, "E6": 6, "E12": 12, "E24": 24, "E48": 48, "E96": 96, "E192": 192}


def preferred_values(series: str) -> tuple[float, ...]:
    """The values of one decade, from 1.0 to below 10, of a series of preferred numbers.

    Parameters
    ----------
    series : str
        "E3", "E6", "E12", "E24", "E48", "E96" or "E192".

    Raises
    ------
    QuantityError
        For another series.

    Notes
    -----
    Source: IEC 60063, from memory. Up to E24 the historical two-digit list; above, 10**(i/n) rounded to three digits,
    but for 9.20 in E192, where the formula gives 9.19.

    Examples
    --------
    >>> preferred_values("E6")
    (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
    """
    if series not in _SERIES:
        raise QuantityError(f'unknown series of preferred values "{series}": valid are {", ".join(_SERIES)}')
    count = _SERIES[series]
    if count <= 24:
        return tuple(number / 10 for number in _E24[:: 24 // count])
    values = (round(100 * 10 ** (i / count)) for i in range(count))
    return tuple((920 if value == 919 else value) / 100 for value in values)


def nearest_preferred(value: float, series: str) -> float:
    """The preferred value nearest to a positive value by ratio, in the same unit.

    >>> nearest_preferred(4.4e-6, "E12")
    4.7e-06
    """
    value = quantity(value, "", above=0, name="value")
    decade = math.floor(math.log10(value))
    mantissas = (*preferred_values(series), 10.0)
    best = min(mantissas, key=lambda mantissa: abs(math.log(value / mantissa) - decade * math.log(10)))
    return float(f"{best}e{decade}")
