"""Stability over the uncertainty: how damped the circuit is wherever its values may be, and what turns it unstable.

Everything but the loads of constant power is passive, and cannot become unstable: the poles that they see decide.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from filterlib.analysis.stability.stability import (
    LOWEST,
    by_least_damped,
    least_damped,
    least_damping,
    poles_in_band,
    top,
)
from filterlib.analysis.stability.stability_result import OverUncertainty, Turn
from filterlib.analysis.uncertainty import moved_alone
from filterlib.analysis.uncertainty.moved_alone import Key, leading
from filterlib.analysis.uncertainty.sampling import latin_hypercube
from filterlib.errors import CircuitError
from filterlib.parts.values import Value
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution, powered_loads

ENDS = (0.0, 1.0)  # where each parameter is tried alone
SOME = 32  # frequencies at which it is seen which of very many parameters lead
DRAWS = 64  # plausible cases that every design is tried in
MORE = 512  # of a design of which one of those is unstable, or close to it
CLOSE = 0.1  # damping ratio below which it is looked at more closely
OFF = 1e-4  # how far a damping ratio may be off that is found without poles; 1e-5 was seen
HALVES = 24  # values tried between two, twice, to find where it turns: to 1/600 of the way
LADDERS, HALVINGS = 0.2, 7  # share of the way back to nominal, in which poles turn it, and how often that is halved
AROUND = 32  # cases tried around the least damped so far, three times


def stability_over(solution: Solution) -> OverUncertainty | None:
    """Stability over the uncertainty at one operating point; None where nothing can turn it: no load of constant power, no range.

    Parameters: ``solution`` of one design; its cases are linearised at its DC state.
    Returns: OverUncertainty; damping ratios without unit, frequencies [Hz].
    Raises: nothing.
    Valid where resonances at a load are more than a thirtieth of a decade apart; a narrow region of instability in the middle of
    the ranges can be missed: each value alone at its ends, the worse ends together, and many cases are tried.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "transmitting")
    >>> over = stability_over(solution)
    >>> over.stable, over.share
    (True, 0.0)
    """
    solution = solution.with_measured_output
    box = uncertain_parameters(solution.design)
    if not box or not powered_loads(solution):
        return None
    cases, rng, count = _Cases(solution, box), np.random.default_rng(1), len(box)
    nominal, places = moved_alone.nominal(box), list(leading(box, cases.sizes))
    moved = cases.add(moved_alone.alone(box, ENDS, places))
    ends, worse = moved[1:].reshape(-1, 2), nominal.copy()
    worse[places] = np.argmin(ends, axis=1)
    plausible = cases.add(np.concatenate([worse[None], latin_hypercube(rng, DRAWS, count)]))[1:]
    if cases.damping.min() < CLOSE:
        plausible = np.append(plausible, cases.add(latin_hypercube(rng, MORE, count)))
        for width in (0.2, 0.1, 0.05):
            worst = cases.shares[np.argmin(cases.damping)]
            cases.add(np.clip(worst + width * rng.standard_normal((AROUND, count)), 0, 1))
    worst = int(np.argmin(cases.damping))
    least, frequency = (
        cases.exactly(worst) if cases.damping[worst] < CLOSE else (cases.damping[worst], cases.frequency[worst])
    )
    cases.border = max(0.0, float(cases.damping[worst])) if least <= 0 else 0.0
    turned = least <= 0 < moved[0]
    alone = _alone(cases, nominal, places, ends) if turned else ()
    return OverUncertainty(
        stable=bool(least > 0),
        share=float(np.mean(plausible <= cases.border)) if least <= 0 else 0.0,
        damping=float(least),
        frequency=float(frequency),
        cases=len(plausible),
        alone=alone,
        together=_together(cases, nominal) if turned and not alone else (),
        case=tuple(_turn(one, share) for one, share in zip(box, cases.shares[worst], strict=True)),
    )


def like_over(solution: Solution, other: OverUncertainty | None) -> OverUncertainty | None:
    """A first look at a changed design: unstable in the least damped ``case`` of the design that it was; None where it is not, or was not.

    Of what was changed itself, the nearest value that its new range allows.
    """
    if other is None or other.stable:
        return None
    known = {one.key: one for one in uncertain_parameters(solution.design)}
    of = ((one.value, known[one.key]) for one in other.case if one.key in known)
    values = {one.key: float(np.clip(value, one.low, one.high)) for value, one in of}
    found = by_least_damped(solution.varied(values))
    if found.stable:
        return None
    return OverUncertainty(False, np.nan, -1.0, found.frequency, 1, other.alone, other.together, other.case)


def where_stable(solution: Solution, figures: Mapping[Key, Value]) -> dict[Key, Value]:
    """Figures of many designs, (designs, 1) each, NaN where the circuit is unstable or next to it; ``solution`` has a load of constant power."""
    stable = least_damping(solution)[0][:, None] > OFF
    return {key: np.where(stable, np.reshape(figure, (-1, 1)), np.nan) for key, figure in figures.items()}


class _Cases:
    """Every case that was tried: ``shares`` (cases, parameters) of the ranges, ``damping`` and ``frequency`` (cases,).

    ``border``: the damping, as found without poles, up to which a case counts as unstable: 0, or more where the poles say so.
    """

    border = 0.0

    def __init__(self, solution: Solution, box: tuple[UncertainParameter, ...]) -> None:
        self.solution, self.box = solution, box
        self.shares, self.damping, self.frequency = np.zeros((0, len(box))), np.zeros(0), np.zeros(0)

    def add(self, shares: np.ndarray) -> np.ndarray:
        """Try some more; gives their damping."""
        values = {one.key: one.at(shares[:, [place]]) for place, one in enumerate(self.box)}
        damping, frequency = (
            np.broadcast_to(part, len(shares)) for part in least_damping(self.solution.varied(values))
        )
        self.shares = np.concatenate([self.shares, shares])
        self.damping, self.frequency = np.append(self.damping, damping), np.append(self.frequency, frequency)
        return np.asarray(damping)

    def sizes(self, values: Mapping[str, np.ndarray]) -> np.ndarray:
        """Logarithms (designs, figures) of what the loads of constant power see, at some frequencies."""
        many = self.solution.varied(values)
        loads = powered_loads(many)
        frequencies = np.geomspace(LOWEST, top(loads), SOME)
        rows = many.circuit.transfer(frequencies, [one.source for one in loads], [one.port for one in loads])
        return np.asarray(np.log(np.hstack([np.abs(np.atleast_2d(rows[at][at])) for at in range(len(loads))])))

    def exactly(self, case: int) -> tuple[float, float]:
        """Damping ratio and frequency [Hz] of the least damped pole pair of one case, in the band of the grid; as found without poles."""
        try:
            near = poles_in_band(self._case(self.shares[case]))
        except CircuitError:
            near = np.zeros(0)
        if not near.size:
            return self.damping[case], self.frequency[case]
        ratios = -near.real / np.abs(near)
        at = int(np.argmin(ratios))
        return float(ratios[at]), float(np.abs(near[at]) / (2 * np.pi))

    def unstable(self, shares: np.ndarray) -> bool:
        """Whether the least damped poles of any shares (parameters,) are; False where a part has no ladder."""
        try:
            return bool((least_damped(self._case(shares)).real >= 0).any())
        except CircuitError:
            return False

    def _case(self, shares: np.ndarray) -> Solution:
        return self.solution.varied(
            {one.key: float(one.at(share)) for one, share in zip(self.box, shares, strict=True)}
        )

    def turn(self, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
        """Shares (pairs, parameters) where it turns unstable on the way from stable to unstable cases."""
        for _ in range(2):
            way = np.linspace(0, 1, HALVES)[None, :, None]
            walked = starts[:, None] + way * (ends - starts)[:, None]
            bad = self.add(walked.reshape(-1, len(self.box))).reshape(walked.shape[:2]) <= self.border
            first = np.clip(np.argmax(bad, axis=1), 1, None)
            every = np.arange(len(walked))
            starts, ends = walked[every, first - 1], walked[every, first]
        return np.asarray((starts + ends) / 2)

    def by_poles(self, start: np.ndarray, turned: np.ndarray, end: np.ndarray) -> np.ndarray:
        """Where it turns as the poles have it, near where it was found to: ladders of lossy parts are off by a few percent, and poles are shown."""
        bad = self.unstable
        near = turned + LADDERS * (start - turned)
        left, right = ((start if bad(near) else near), turned) if bad(turned) else (turned, end)
        if not bad(right):
            return turned
        for _ in range(HALVINGS):
            middle = (left + right) / 2
            left, right = (left, middle) if bad(middle) else (middle, right)
        self.border = max(self.border, float(self.add(right[None])[0]))
        return right


def _alone(cases: _Cases, nominal: np.ndarray, moved: list[int], ends: np.ndarray) -> tuple[Turn, ...]:
    """Every parameter at the places ``moved`` that alone turns the circuit unstable at an end of its range, and where; the nearest first."""
    bad = np.flatnonzero(ends.ravel() <= cases.border)
    if not bad.size:
        return ()
    rows = moved_alone.alone(cases.box, ENDS, moved)[1:][bad]
    places = [moved[at // 2] for at in bad]
    turned = cases.turn(np.repeat(nominal[None], len(rows), axis=0), rows)
    turned = np.array([cases.by_poles(nominal, row, end) for row, end in zip(turned, rows, strict=True)])
    turns = [
        (abs(row[place] - nominal[place]), _turn(cases.box[place], row[place]))
        for row, place in zip(turned, places, strict=True)
    ]
    return tuple(turn for _, turn in sorted(turns, key=lambda pair: pair[0]))


def _together(cases: _Cases, nominal: np.ndarray) -> tuple[Turn, ...]:
    """The parameters of the nearest combination that turns the circuit unstable, those left out that it does not need."""
    bad = cases.shares[cases.damping <= cases.border]
    row = bad[np.argmin(np.linalg.norm(bad - nominal, axis=1))].copy()
    left = np.argsort(np.abs(row - nominal))
    # each in turn is put back unless it is needed: up to the first of those, all that follow in one go
    while left.size:
        without = np.repeat(row[None], len(left), axis=0)
        for number, place in enumerate(left):
            without[number:, place] = nominal[place]
        needed = cases.add(without) > cases.border
        first = int(np.argmax(needed)) if needed.any() else len(left)
        row = without[first - 1] if first else row
        left = left[first + 1 :]
    (turned,) = cases.turn(nominal[None], row[None])
    moved = sorted(np.flatnonzero(row != nominal), key=lambda place: -abs(row[place] - nominal[place]))
    return tuple(_turn(cases.box[place], turned[place]) for place in moved)


def _turn(one: UncertainParameter, share: float) -> Turn:
    value = float(one.at(share))
    return Turn(one.key, one.label, one.unit, value, value > one.nominal)
