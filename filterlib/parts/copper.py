"""Copper: its resistivity, and how that rises with temperature."""

from __future__ import annotations

from filterlib.parts.values import ROOM, Value

COPPER_RESISTIVITY = 1.7241e-8  # ohm m at 20 °C, 100 % IACS; IEC 60028 (from memory)
COPPER_COEFFICIENT = 0.00393  # 1/K at 20 °C; IEC 60028 (from memory)


def copper_factor(temperature: Value) -> Value:
    """Resistance of copper at ``temperature`` [K] over that at 20 °C.

    Valid from about -50 to 150 °C, where the resistivity is linear. Source: IEC 60028 (from memory).

    >>> round(copper_factor(273.15 + 100), 4)
    1.3144
    """
    return 1 + COPPER_COEFFICIENT * (temperature - ROOM)
