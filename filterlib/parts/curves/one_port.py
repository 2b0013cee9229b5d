"""Passive one-ports of positive elements: R, L and C in series, with sections of R, L and C in parallel behind them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from filterlib.parts.values import Value

Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Section:
    """R, L and C in parallel: ``resistance`` [ohm], ``inductance`` [H] (inf: none), ``capacitance`` [F] (0: none)."""

    resistance: float
    inductance: float = np.inf
    capacitance: float = 0.0

    def impedance(self, s: Complex, *, inductive: Value = 1.0, capacitive: Value = 1.0) -> Complex:
        """At s = j 2 pi f [ohm]; the inductance is multiplied by ``inductive``, a section without one by 1/``capacitive``."""
        if np.isinf(self.inductance):
            return self.resistance / (1 + s * self.resistance * self.capacitance) / capacitive
        reactance = s * self.inductance * inductive
        return reactance / (1 + reactance * (1 / self.resistance + s * self.capacitance))


@dataclass(frozen=True)
class OnePort:
    """R, L and C in series with sections: passive at every frequency, because no element is negative.

    Attributes
    ----------
    resistance, inductance : in series [ohm], [H]
    capacitance : in series [F]; None where direct current passes
    sections : of R, L and C in parallel, all in series

    Notes
    -----
    Sections of L and C alone realise every lossless one-port; with losses they cover what parts do: dielectrics that relax
    (R and C), skin effect and cores (R and L), resonances (all three).
    Source: R. M. Foster, "A Reactance Theorem", Bell System Technical Journal 3 (1924) 259-267 (from memory).

    Examples
    --------
    At the resonance of 1 µF and 1 nH the resistance is left:

    >>> port = OnePort(resistance=5e-3, inductance=1e-9, capacitance=1e-6)
    >>> float(abs(port.impedance([1 / (2 * np.pi * 1e-15**0.5)])[0]).round(9))
    0.005
    """

    resistance: float
    inductance: float = 0.0
    capacitance: float | None = None
    sections: tuple[Section, ...] = ()

    @property
    def low_frequency_inductance(self) -> float:
        """Of all inductances in series [H]."""
        return self.inductance + sum(one.inductance for one in self.sections if np.isfinite(one.inductance))

    def impedance(self, frequencies: object) -> Complex:
        """At frequencies [Hz] (f,) above zero [ohm]."""
        s = 2j * np.pi * np.asarray(frequencies, dtype=float)
        blocked = 0.0 if self.capacitance is None else 1 / (s * self.capacitance)
        return self.resistance + s * self.inductance + blocked + self.behind(s)

    def behind(self, s: Complex, *, inductive: Value = 1.0, capacitive: Value = 1.0) -> Complex:
        """The sections alone [ohm], inductances and capacitors changed by ratios as in `Section.impedance`."""
        parts = [one.impedance(s, inductive=inductive, capacitive=capacitive) for one in self.sections]
        return sum(parts, np.zeros(s.shape, dtype=complex))
