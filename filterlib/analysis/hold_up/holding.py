"""How long a bank holds a load up, and how much capacitance a burst asks for: charge balance, exact for every kind of load.

The bank, C behind R, gives what the load draws beyond the supply: i(v) = I(v) - I_s at the terminals' voltage v. Its own
voltage is v + R i(v), so that C (1 + R i'(v)) dv = -i(v) dt, and the time between two voltages is an integral over v.
For constant power and no supply it is C (v0^2 - v1^2) / (2 P) - R C ln(v0 / v1).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from filterlib.analysis.described import Amperes, Ratio
from filterlib.errors import FilterlibError
from filterlib.system.line.load import Load

__all__ = ["Demand", "after", "held", "needed", "pulse", "recharged"]
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)
NEVER = math.inf


@dataclass(frozen=True)
class Demand:
    """What a load draws of the bank: ``load`` at ``scale`` of its full draw, less what the ``supply`` gives [A]."""

    load: Load
    scale: Ratio[float]
    supply: Amperes[float]

    def current(self, volts: float) -> float:
        """What the bank has to give at the terminals' voltage [A]; negative where it is charged."""
        return float(self.load.draws(volts, self.scale)) - self.supply

    def slope(self, volts: float) -> float:
        """Its derivative after the voltage [S]."""
        return float(self.load.slope(volts, self.scale))

    def currents(self, volts: np.ndarray) -> np.ndarray:
        """`current` at many voltages [V]."""
        return 0.0 * volts + self.load.draws(volts, self.scale) - self.supply

    def slopes(self, volts: np.ndarray) -> np.ndarray:
        """`slope` at many voltages [V]."""
        return 0.0 * volts + self.load.slope(volts, self.scale)

    def begins(self, volts: float, ohms: float) -> float:
        """The terminals' voltage just after the load starts, with the bank at ``volts`` behind ``ohms``; nan for none.

        Of two voltages at which a constant power is drawn it is the upper one: Newton's way down from above.
        """
        v = volts + ohms * max(self.supply, 0.0)
        for _ in range(100):
            error = v + ohms * self.current(v) - volts
            slope = 1 + ohms * self.slope(v)
            if slope <= 0 or v <= 0:
                return math.nan
            step = error / slope
            v -= step
            if abs(step) <= 1e-15 * volts:
                return v if v > 0 else math.nan
        return math.nan


def held(farads: float, ohms: float, volts: float, lowest: float, demand: Demand) -> float:
    """Time [s] until the terminals are at ``lowest`` [V], from a bank of ``farads`` behind ``ohms`` charged to ``volts``.

    0 where they are below it at once, infinite where the supply carries the load above ``lowest``.

    Raises
    ------
    FilterlibError
        For a capacitance, or a lowest voltage, that is not above zero, and for a lowest one not below ``volts``.

    Examples
    --------
    30 mF from 28 V lose 6 V in 0.18 s at 1 A (by hand):

    >>> deficit = Demand(Load(name="radio", kind="constant_current", current="1 A"), 1.0, 0.0)
    >>> round(held(30e-3, 0.0, 28.0, 22.0, deficit), 9)
    0.18
    """
    if not (farads > 0 and 0 < lowest < volts and ohms >= 0):
        raise FilterlibError(
            f"{farads:g} F behind {ohms:g} ohm from {volts:g} V to {lowest:g} V: above zero, and the lowest voltage below the first"
        )
    start = demand.begins(volts, ohms)
    if not start > lowest:
        return 0.0
    return farads * _charge(demand, ohms, start, lowest)


def needed(seconds: float, time_constant: float, volts: float, lowest: float, demand: Demand) -> float:
    """Capacitance [F] that holds a burst of ``seconds``, of a kind whose R C is ``time_constant`` [s].

    Parts of one kind in parallel keep R C. Infinite never: with R = tau / C the terminals begin the higher, the more
    there are. By bisection over decades; raises FilterlibError where none is enough.
    """
    if held(1e9, time_constant / 1e9, volts, lowest, demand) < seconds:
        raise FilterlibError(f"no bank holds this load above {lowest:g} V for {seconds:g} s")
    low, high = -15.0, 9.0
    for _ in range(80):
        middle = (low + high) / 2
        enough = held(10**middle, time_constant / 10**middle, volts, lowest, demand) >= seconds
        low, high = (low, middle) if enough else (middle, high)
    return float(10**high)


def recharged(farads: float, ohms: float, lowest: float, volts: float, idle: Demand) -> float:
    """Time [s] in which the supply brings the bank from ``lowest`` to ``volts`` while the load idles; infinite for never."""
    if idle.currents(np.linspace(lowest, volts, 33)).max() >= 0:
        return NEVER
    return farads * -_integral(lambda v: (1 + ohms * idle.slopes(v)) / -idle.currents(v), volts, lowest)


def after(farads: float, ohms: float, volts: float, seconds: float, lowest: float, demand: Demand) -> float:
    """The terminals' voltage [V] after a time in which the bank stays above ``lowest``."""
    start = demand.begins(volts, ohms)
    low, high = lowest, start
    for _ in range(60):
        middle = (low + high) / 2
        later = farads * _charge(demand, ohms, start, middle) >= seconds
        low, high = (middle, high) if later else (low, middle)
    return (low + high) / 2


def pulse(farads: float, ohms: float, volts: float, seconds: float, lowest: float, demand: Demand) -> float:
    """I squared t [A2s] that the bank gives in a burst of ``seconds``, in which it stays above ``lowest`` [V]."""
    end = after(farads, ohms, volts, seconds, lowest, demand)
    return farads * _integral(
        lambda v: (1 + ohms * demand.slopes(v)) * demand.currents(v), end, demand.begins(volts, ohms)
    )


def _charge(demand: Demand, ohms: float, start: float, lowest: float) -> float:
    """The time over the capacitance: infinite where the supply carries the load at some voltage on the way."""
    if demand.currents(np.linspace(lowest, start, 65)).min() <= 0:
        return NEVER
    return _integral(lambda v: (1 + ohms * demand.slopes(v)) / demand.currents(v), lowest, start)


def _integral(function: Callable[[np.ndarray], np.ndarray], low: float, high: float) -> float:
    middle, half = (low + high) / 2, (high - low) / 2
    return half * float(_WEIGHTS @ function(middle + half * _NODES))
