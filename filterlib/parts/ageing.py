"""What time does to a capacitor: class 2 ceramics lose capacitance, electrolytics dry out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from filterlib.errors import QuantityError
from filterlib.parts.values import Value

YEAR = 8766 * 3600.0  # [s]
SEAL_LIFE = 15 * YEAR
"""[s] of life beyond which the seal of an electrolytic decides, and not its electrolyte: common practice, no source."""
THOUSAND_HOURS = 3.6e6  # s, the age at which makers state a class 2 ceramic: EIA-198-1-F, section 1.1.2


def aged_capacitance(capacitance: Value, age: Value, rate: Value, reference: Value = THOUSAND_HOURS) -> Value:
    """Capacitance [F] of a class 2 ceramic at an ``age`` [s] since it was last heated above its Curie point.

    C (1 - rate log10(age/reference)): ``rate`` (a ratio) is lost in each decade of time, ``capacitance`` being that at
    the age ``reference``. Valid from one hour on; soldering sets the age back to zero.
    Source: EIA-198-1-F, section 1.1.2, and EIA-521, as quoted in the note "Aging characteristic" of NIC Components.

    >>> float(round(aged_capacitance(10e-6, 3.6e8, 0.025) * 1e6, 6))   # two decades beyond 1000 h
    9.5
    """
    return capacitance * (1 - rate * np.log10(age / reference))


def electrolytic_life(rated_life: Value, rated_temperature: Value, temperature: Value) -> Value:
    """Life [s] at the core's ``temperature`` [K] of an electrolytic that lives ``rated_life`` at ``rated_temperature``.

    L0 2**((T0 - T)/10): twice as long for every 10 K less. Agrees with the law of Arrhenius from 70 to 90 °C and
    departs from it below 60 and above 105 °C; beyond some 15 years the seal decides (common practice, no source).
    Source: Rubycon, Technical notes for electrolytic capacitor, section 5-1.

    >>> round(electrolytic_life(1000.0, 378.15, 318.15))   # hours in, hours out
    64000
    """
    return rated_life * 2 ** ((rated_temperature - temperature) / 10)


def mission_life(shares: Sequence[float], lives: Sequence[Value]) -> Value:
    """Life of a part that spends ``shares`` of its time in states in which it would live ``lives``; any unit of time.

    The shares are scaled to add to one. Raises QuantityError where there is none, one is negative, or all are zero.
    Source: Cosel, Q&A a0057, "How to calculate electrolytic capacitor lifetime in case ambient temperature changing".

    >>> round(mission_life((8, 8, 8), (64e3, 32e3, 16e3)), 1)
    27428.6
    """
    if not len(shares) or len(shares) != len(lives) or min(shares) < 0 or not sum(shares):
        raise QuantityError("as many shares of time as lives are needed, none negative, not all zero", value=shares)
    used = sum(share / life for share, life in zip(shares, lives, strict=True))
    return sum(shares) / used


def equivalent_temperature(rated_life: Value, rated_temperature: Value, life: Value) -> Value:
    """The constant temperature [K] at which an electrolytic has this ``life``: the reverse of `electrolytic_life`.

    >>> float(round(equivalent_temperature(1000.0, 378.15, 27428.571) - 273.15, 3))
    57.224
    """
    return rated_temperature - 10 * np.log2(life / rated_life)


def esr_growth(used: Value, factor: Value) -> Value:
    """ESR of an electrolytic over that when new, after a share ``used`` of its life; ``factor`` at its end.

    1/(1 - used (1 - 1/factor)): the conductance falls in proportion to time. Valid to the end of life, constant beyond it.
    Source: K. Harada, A. Katsuki and M. Fujiwara, "Use of ESR for deterioration diagnosis of electrolytic capacitor",
    IEEE Transactions on Power Electronics 8 (1993) 355-361 (from memory).

    >>> [round(float(esr_growth(used, 2.0)), 4) for used in (0, 0.5, 1)]
    [1.0, 1.3333, 2.0]
    """
    return 1 / (1 - np.clip(used, 0, 1) * (1 - 1 / factor))
