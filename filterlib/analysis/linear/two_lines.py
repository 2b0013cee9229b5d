"""Two lines and the chassis as differential and common mode: what each mode is of two voltages or currents."""

from __future__ import annotations

from typing import TypeVar

import numpy as np

CONVENTION = "v_dm = v+ − v−, v_cm = (v+ + v−)/2 to chassis, i_dm = (i+ − i−)/2, i_cm = i+ + i−"
Levels = TypeVar("Levels", float, np.ndarray)


def modal_voltages(plus: Levels, minus: Levels) -> tuple[Levels, Levels]:
    """Differential and common-mode voltage [V] of two lines' voltages to chassis (arrays of one shape) [V].

    >>> modal_voltages(3.0, 1.0)
    (2.0, 2.0)
    """
    return plus - minus, (plus + minus) / 2


def modal_currents(plus: Levels, minus: Levels) -> tuple[Levels, Levels]:
    """Differential and common-mode current [A] of two lines' currents in the same direction [A].

    >>> modal_currents(3.0, 1.0)
    (1.0, 4.0)
    """
    return (plus - minus) / 2, plus + minus
