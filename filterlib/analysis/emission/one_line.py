"""The line that decides an emission: what it is of a changed design, and of each source alone, without all the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from filterlib.analysis.emission.emission_result import EmissionTest, LineSpectra
from filterlib.analysis.emission.levels import amplitudes
from filterlib.analysis.emission.line_spectra import line_spectra
from filterlib.analysis.emission.margin import Margin
from filterlib.errors import FilterlibError
from filterlib.system.solution import Solution
from filterlib.system.sources.source_shapes import SourceSpectra
from filterlib.units import decibels


@dataclass(frozen=True)
class OneLine:
    """The harmonic that a receiver hears most where a margin is least, at one operating point."""

    solution: Solution
    test: EmissionTest
    margin: Margin

    def lowered(self, solutions: Sequence[Solution | FilterlibError]) -> list[float]:
        """By how much the line is lower in each of several changed designs at this point [dB]; NaN where there is none.

        The converter of each is the design's own as to its sources; what may differ is all that is around it.
        """
        now = decibels(self._amplitude(self._spectra(self.solution)))
        return [float(now - self._level(one)) if isinstance(one, Solution) else np.nan for one in solutions]

    def without_source(self) -> dict[str, float]:
        """By how much the line is lower without each source [dB]; minus infinity where that source cancels all others."""
        spectra = self._spectra(self.solution)
        whole = self._amplitude(spectra)
        alone = {source: amplitudes(spectra, source)[self.margin.place][0] for source in spectra.sources}
        return {source: float(decibels(whole) - decibels(whole - one)) for source, one in alone.items()}

    def common_over_differential(self) -> float:
        """By how much, on each line, the common mode exceeds the differential part there [dB]."""
        lines = amplitudes(self._spectra(self.solution))
        return float(decibels(lines["common"][0]) - decibels(lines["differential"][0] / 2))

    def _level(self, solution: Solution) -> float:
        test = self.test
        if test.side == "input":
            test = EmissionTest(test.side, test.network, test.limits, solution.design.input_side)
        try:
            spectra = self._spectra(solution, test, self.solution.steady_spectra)
        except FilterlibError:
            return np.nan
        return float(decibels(self._amplitude(spectra)))

    def _spectra(
        self, solution: Solution, test: EmissionTest | None = None, sources: SourceSpectra | None = None
    ) -> LineSpectra:
        return line_spectra(solution, test or self.test, sources=sources, line=self.margin.line)

    def _amplitude(self, spectra: LineSpectra) -> complex:
        return complex(amplitudes(spectra)[self.margin.place][0])
