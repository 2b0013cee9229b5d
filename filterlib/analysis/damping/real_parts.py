"""The damping resistor that is best with the real parts: their ESR, ESL, loss and bias, the leads and the converter, over tolerances."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import Annotated

import numpy as np

from filterlib.analysis.damping.ideal import TOLERANCES, Network
from filterlib.analysis.described import Ohms, Unit
from filterlib.errors import FilterlibError
from filterlib.preferred import nearest_preferred
from filterlib.system.design import with_values
from filterlib.system.line.load import Load
from filterlib.system.line.stages import Damping
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution, powered_loads

SERIES = "E24"
AROUND = 10.0  # times the filter's resonance, and a tenth of it: where the peak is looked for
REACH = 30.0  # times the textbook's resistance, and a thirtieth
NEAR = 20.0  # times less than the textbook's: a resistor that a capacitor's own ESR replaces
_TRIED, _ROUNDS, _POINTS = 17, 3, 161
_OPEN, _SHORT, _NONE = 1e6, 1e-6, np.zeros(1)  # [ohm]


@dataclass(frozen=True)
class FittedResistor:
    """The resistor of a damping branch, and the greatest impedance back from the load about the filter's resonance.

    ``textbook`` resistance for ideal parts; ``nominal``, with the real parts at their nominal values; ``robust``, over the corners of
    their tolerances; ``chosen``: the preferred value nearest to that, with its ``peak`` at ``peak_frequency`` and its ``worst`` peak over the
    tolerances. ``without``: the peak without the damping. ``plain``: the worst peak with the textbook's resistance.
    """

    stage: str
    textbook: Ohms[float]
    nominal: Ohms[float]
    robust: Ohms[float]
    chosen: Ohms[float]
    peak: Annotated[float, Unit("ohm", "peak", "peak")]
    peak_frequency: Annotated[float, Unit("Hz", "peak at", "peak")]
    worst: Annotated[float, Unit("ohm", "worst peak over tolerances", "worst_peak")]
    plain: Annotated[float, Unit("ohm", "worst peak with the textbook's", "textbook_worst_peak")]
    without: Annotated[float, Unit("ohm", "peak without it", "undamped_peak")]


def fitted(
    solution: Solution, stage: str, textbook: float, resonance: float, network: Network = "R-C across C"
) -> FittedResistor:
    """The best resistance of the damping of ``stage``, with the design's real parts at an operating point.

    Parameters: ``solution`` of one design that holds it: a damping branch, or a choke with damping; ``textbook``: the resistance to
    start from [ohm]; ``resonance`` of what it damps [Hz]; ``network``: without damping the resistor is open, and short in series.
    Returns: FittedResistor, in ohm and Hz; where the capacitor's own ESR is the better part of what is needed, ``chosen`` is 0.
    Raises: FilterlibError where the design has no damping of that name.
    Valid where the peak is within `AROUND` of the resonance; the constant powers of loads are taken off: they see the impedance.
    """
    held = next((one for one in solution.design.filter if one.name == stage), None)
    if held is None or not (isinstance(held, Damping) or getattr(held, "damping", None) is not None):
        raise FilterlibError(f'no damping is called "{stage}"')
    key = f"filter.{stage}.{'resistance' if isinstance(held, Damping) else 'damping.resistance'}"
    bench = _Peaks(solution.with_measured_output, key, np.geomspace(resonance / AROUND, resonance * AROUND, _POINTS))
    tolerated = _corners(solution, stage)
    nominal, robust = (bench.best(textbook, corners) for corners in (_NOMINAL, tolerated))
    enough = (
        isinstance(held, Damping)
        and robust < textbook / NEAR
        and bench.worst(_NONE, tolerated) <= bench.worst(np.array([robust]), tolerated)
    )
    chosen = 0.0 if enough else nearest_preferred(robust, SERIES)
    alone = bench.curve(chosen)
    at = int(np.argmax(alone))
    worst, plain = bench.worst(np.array([chosen, textbook]), tolerated)
    without = bench.curve(_SHORT if network == "R-L in series" else _OPEN)
    return FittedResistor(
        stage, textbook, nominal, robust, chosen, float(alone[at]), float(bench.frequencies[at]),
        float(worst), float(plain), float(without.max()),
    )  # fmt: skip


_Corners = list[dict[str, float]]
_NOMINAL: _Corners = [{}]


def _corners(solution: Solution, stage: str) -> _Corners:
    """Ends of the tolerances of the filter's inductances and capacitances, those of the damping first; and the resistor's."""
    every = [
        one
        for one in uncertain_parameters(solution.design)
        if one.key.startswith("filter.")
        and one.why == "tolerance"
        and one.key.split(".")[-1] in ("inductance", "leakage", "capacitance")
    ]
    found = sorted(every, key=lambda one: not one.key.startswith(f"filter.{stage}."))[:4]
    ends = [(one.low, one.high) for one in found]
    return [dict(zip([one.key for one in found], values, strict=True)) for values in product(*ends)]


class _Peaks:
    """Peaks of the impedance back from a load, for rows of resistances and corners at once."""

    def __init__(self, solution: Solution, key: str, frequencies: np.ndarray) -> None:
        design = solution.design
        quiet = tuple(_quiet(load) if load in powered_loads(solution) else load for load in design.loads)
        self.design, self.state = design.model_copy(update={"loads": quiet}), solution.state
        self.port = (powered_loads(solution) or list(design.loads))[0].port
        self.key, self.frequencies = key, frequencies

    def curve(self, resistance: float) -> np.ndarray:
        """Its size over the frequencies [ohm]."""
        return np.asarray(self._sizes({self.key: np.array([[resistance]])})[0])

    def worst(self, resistances: np.ndarray, corners: _Corners) -> np.ndarray:
        """The greatest peak at any corner, and with the resistor at either end of its own tolerance, of each resistance [ohm]."""
        own = TOLERANCES["resistance"] if corners is not _NOMINAL else 0.0
        factors = np.array(sorted({1 - own, 1 + own}))
        rows = [(r * f, corner) for r in resistances for f in factors for corner in corners]
        values = {self.key: np.array([[r] for r, _ in rows])}
        values |= {key: np.array([[corner[key]] for _, corner in rows]) for key in corners[0]}
        return np.asarray(self._sizes(values).max(axis=1).reshape(len(resistances), -1).max(axis=1))

    def best(self, start: float, corners: _Corners) -> float:
        """The resistance whose greatest peak is least."""
        row = np.geomspace(start / REACH, start * REACH, 2 * _TRIED)
        for _ in range(_ROUNDS):
            worst = self.worst(row, corners)
            at = int(np.argmin(worst))
            best = float(row[at])
            row = np.geomspace(row[max(at - 1, 0)], row[min(at + 1, len(row) - 1)], _TRIED)
        return best

    def _sizes(self, values: dict[str, np.ndarray]) -> np.ndarray:
        circuit = with_values(self.design, values).build(self.state)
        return np.atleast_2d(np.abs(circuit.impedance(self.frequencies, *self.port)))


def _quiet(load: Load) -> Load:
    return load.replace(kind="constant_current", power=None, current=0.0)
