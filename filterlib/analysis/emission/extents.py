"""How far lines reach above a limit over the uncertainty: foreseen line by line from single parameters, then tried.

The highest line of a nominal design hides those below it, which another corner of the uncertainty raises above it. So each line
is added up, in decibels, from what every uncertain parameter alone does to it; what that foresees is tried, and where it was
not foreseen within `CLOSE`, parameters move alone again from the best point found. A resonance that is narrow against the
moves can still be missed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Generic, TypeAlias

import numpy as np
from numpy.typing import NDArray

from filterlib.analysis.emission.emission_result import Extent
from filterlib.analysis.uncertainty.moved_alone import Key
from filterlib.analysis.uncertainty.plausible import Plausible
from filterlib.system.ranges.uncertain_parameter import SHAPE, UncertainParameter
from filterlib.units import from_decibels

ALONE = (0.0, 0.5, 1.0)  # shares of its range to which each uncertain parameter is moved alone
LIKELY = 16  # plausible combinations that are tried, where they are drawn, in place of the random points in the box
FLIPS = (0.0, 1.0)  # the same from the best point found
SPREAD = 8  # random points in the box, and as many random corners
TRIED = 3  # lines that may become the highest, each with its own corner
SWEEPS = 5  # through all uncertain parameters, for the least highest line
ROUNDS = 4
CLOSE = {
    1: 0.2,
    -1: 0.5,
}  # [dB] within which what was foreseen came true: at the highest, by which a limit is missed, closer
MATTERS = 0.1  # [dB] below which a parameter that moves alone is let alone afterwards
AROUND, WIDTH = 6, 0.15  # points around each of the best, and how far off, as a share of the range

Array: TypeAlias = NDArray[np.float64]
Lines: TypeAlias = dict[Key, Array]
End: TypeAlias = tuple[Key, int]  # a figure, and an end of its interval: 1 the highest, -1 the lowest
Measure: TypeAlias = Callable[[dict[str, Array]], Lines[Key]]
"""Takes {key: array (designs, 1)}, gives {figure: how far each line is above its limit (designs, lines) [dB]}."""


@dataclass(frozen=True)
class _Moves:
    """Rows in which parameters ``moved`` (their indices) go alone to the shares ``to``, from the row ``origin``."""

    origin: int
    start: int
    moved: NDArray[np.intp]
    to: tuple[float, ...]


def extents(
    measure: Measure[Key],
    parameters: Sequence[UncertainParameter],
    *,
    seed: int = 1,
    told: Callable[[int], None] = lambda _: None,
    drawn: Plausible | None = None,
) -> dict[Key, Extent]:
    """The interval of the highest line of every figure, over the box of the ``parameters``' ranges.

    ``measure``: NaN where a combination contradicts what was stated; ``seed`` of the random points; ``told``: called with
    the number of designs so far; ``drawn``: plausible combinations, whatever figure they were drawn for. Without parameters an empty dict.

    >>> one = UncertainParameter("x", "x", "", 0.5, 0.0, 1.0, True, "")
    >>> found = extents(lambda at: {"level": np.hstack([10 * at["x"], 4 + 0 * at["x"]])}, [one])["level"]
    >>> [round(float(20 * np.log10(end)), 1) for end in (found.low, found.high)], found.high_at
    ([4.0, 10.0], 0)
    """
    if not parameters:
        return {}
    search = _Search(measure, parameters, seed, told, drawn)
    search.run()
    return {name: search.extent(name) for name in search.lines}


def at_ends(
    measure: Measure[Key], parameters: Sequence[UncertainParameter], ends: Sequence[Mapping[str, float]]
) -> dict[Key, Extent]:
    """The same from nothing but these values of the parameters, where nothing is stated the nominal; without effects.

    >>> one = UncertainParameter("x", "x", "", 0.5, 0.0, 1.0, True, "")
    >>> found = at_ends(lambda at: {"level": 20 * at["x"]}, [one], [{"x": 0.0}, {"x": 1.0}])["level"]
    >>> round(found.high, 1), found.at_high
    (10.0, {'x': 1.0})
    """
    rows = [{one.key: float(at.get(one.key, one.nominal)) for one in parameters} for at in ({}, *ends)]
    lines = measure({one.key: np.array([[row[one.key]] for row in rows]) for one in parameters})
    found = {}
    for name, each in lines.items():
        worst = from_decibels(each.max(axis=-1))
        low, high = (int(np.argmin(np.where(np.isnan(worst), np.inf, sign * worst))) for sign in (1, -1))
        places = [int(np.argmax(each[row])) for row in (low, high)]
        found[name] = Extent(float(worst[0]), float(worst[low]), float(worst[high]), rows[low], rows[high], {}, *places)
    return found


def wider(one: Extent, two: Extent) -> Extent:
    """Those of two shapes together; the shape counts as an uncertain parameter, from one nominal figure to the other.

    >>> one, two = (Extent(x, x, 2 * x, {}, {}, {}) for x in (1.0, 3.0))
    >>> (wider(one, two).low, wider(one, two).high), wider(one, two).effects
    ((1.0, 6.0), {'converter.shape': (1.0, 3.0)})
    """
    low, high = (one if one.low <= two.low else two), (one if one.high >= two.high else two)
    shape = min(one.nominal, two.nominal), max(one.nominal, two.nominal)
    both = one.plausible.beside(two.plausible) if one.plausible and two.plausible else None
    return replace(
        one, low=low.low, at_low=low.at_low, low_at=low.low_at, high=high.high, at_high=high.at_high, high_at=high.high_at,
        effects={**one.effects, SHAPE: shape}, plausible=both,
    )  # fmt: skip


class _Search(Generic[Key]):
    """The points tried so far, as shares of the ranges (designs, parameters), and their ``lines``."""

    def __init__(
        self,
        measure: Measure[Key],
        parameters: Sequence[UncertainParameter],
        seed: int,
        told: Callable[[int], None],
        drawn: Plausible | None,
    ) -> None:
        self.measure, self.parameters, self.told, self.drawn = measure, parameters, told, drawn
        self.rng = np.random.default_rng(seed)
        self.shares = np.zeros((0, len(parameters)))
        self.lines: Lines[Key] = {}
        self.levels: dict[End[Key], float] = {}
        nominal = np.array([[one.share(one.nominal) for one in parameters]])
        self.first = _Moves(0, 1, np.arange(len(parameters)), ALONE)
        even = self.rng.random((SPREAD, len(parameters)))
        corners = self.rng.integers(0, 2, (SPREAD, len(parameters)))
        self.likely = None if drawn is None else self.shares_of(drawn)
        if drawn is not None and self.likely is not None:
            even = self.likely[drawn.some(LIKELY)]
        alone = _alone(nominal[0], self.first.moved, ALONE)
        self.typical = slice(1 + len(alone), 1 + len(alone) + len(even))
        self.add(np.concatenate([nominal, alone, even, corners]))
        moves = [np.abs(self.effects(name, self.first)).max(axis=(1, 2)) for name in self.lines]
        self.matter = np.flatnonzero(np.max(moves, axis=0) > MATTERS)

    def run(self) -> None:
        """Rounds of what is foreseen, tried, and learnt anew where it came otherwise and was worth it; then a look around."""
        wanted = {(name, end): self.first for name in self.lines for end in (1, -1)}
        missed = self.tried(wanted)
        for _ in range(ROUNDS):
            missed = {key: miss for key, miss in missed.items() if miss > CLOSE[key[1]]}
            if not missed or not self.matter.size:
                break
            missed = self.tried(self.learnt(missed))
        self.look_around()

    def tried(self, wanted: Mapping[End[Key], _Moves]) -> dict[End[Key], float]:
        """How far off each end was foreseen [dB], after what was foreseen has been tried; left out where that gained little."""
        rows, foreseen = [], {}
        for (name, end), moves in wanted.items():
            effects = np.pad(self.effects(name, moves), ((0, 0), (0, 1), (0, 0)))  # the last choice is to stay
            choose = _highest if end > 0 else self.lowest
            choices, foreseen[name, end] = choose(self.lines[name][moves.origin], effects)
            rows.append(self.placed(moves, choices))
        self.add(np.concatenate(rows))
        gained = {key: abs(self.level(*key) - self.levels.get(key, np.inf)) for key in wanted}
        self.levels |= {key: self.level(*key) for key in wanted}
        return {key: abs(self.levels[key] - foreseen[key]) for key in wanted if gained[key] > CLOSE[key[1]]}

    def learnt(self, missed: Mapping[End[Key], float]) -> dict[End[Key], _Moves]:
        """What single parameters that matter do from the best point of the figure that was missed most, at either end."""
        ends = [[key for key in missed if key[1] == end] for end in (1, -1)]
        origins = [self.best(*max(mine, key=missed.__getitem__)) for mine in ends if mine]
        rows = [_alone(self.shares[origin], self.matter, FLIPS) for origin in origins]
        starts = len(self.shares) + np.cumsum([0, *map(len, rows)])
        self.add(np.concatenate(rows))
        moves = [_Moves(origin, int(start), self.matter, FLIPS) for origin, start in zip(origins, starts, strict=False)]
        return {key: one for one, mine in zip(moves, filter(None, ends), strict=True) for key in mine}

    def look_around(self) -> None:
        """Points near the best ones, along what matters."""
        best = sorted({self.best(name, end) for name in self.lines for end in (1, -1)})
        rows = np.repeat(self.shares[best], AROUND, axis=0)
        moved = WIDTH * self.rng.standard_normal((len(rows), self.matter.size))
        rows[:, self.matter] = np.clip(rows[:, self.matter] + moved, 0, 1)
        self.add(rows)

    def add(self, rows: Array) -> None:
        """Try these points."""
        values = {one.key: one.at(rows[:, [index]]) for index, one in enumerate(self.parameters)}
        for name, lines in self.measure(values).items():
            self.lines[name] = np.concatenate([self.lines[name], lines]) if name in self.lines else lines
        self.shares = np.concatenate([self.shares, rows])
        self.told(len(self.shares))

    def effects(self, name: Key, moves: _Moves) -> Array:
        """What each parameter alone does to every line [dB]: (moved, to, lines); 0 where it contradicts what was stated."""
        lines, count = self.lines[name], len(moves.moved) * len(moves.to)
        with np.errstate(invalid="ignore"):
            change = lines[moves.start : moves.start + count] - lines[moves.origin]
        return np.where(np.isfinite(change), change, 0.0).reshape(len(moves.moved), len(moves.to), -1)

    def lowest(self, base: Array, effects: Array) -> tuple[Sequence[NDArray[np.intp]], float]:
        """Choices that keep the highest line low, from where all stay and from a random start, and how low that would be."""
        found = []
        for start in (effects.shape[1] - 1, None):
            choices = (
                self.rng.integers(0, effects.shape[1], len(effects)) if start is None else np.full(len(effects), start)
            )
            found.append(_descended(base, effects, choices))
        return [choices for choices, _ in found], min(level for _, level in found)

    def placed(self, moves: _Moves, choices: Sequence[NDArray[np.intp]]) -> Array:
        """Rows from the moves' origin with these choices made; the last choice is to stay."""
        rows = np.repeat(self.shares[[moves.origin]], len(choices), axis=0)
        for row, chosen in zip(rows, choices, strict=True):
            row[moves.moved] = np.append(moves.to, np.nan)[chosen]
        return np.where(np.isnan(rows), self.shares[moves.origin], rows)

    def shares_of(self, drawn: Plausible) -> Array:
        """Plausible combinations as shares of the ranges; what was not drawn is spread evenly."""
        even, count = np.random.default_rng(1), len(drawn.weights)
        return np.column_stack(
            [
                one.share(drawn.values[one.key]) if one.key in drawn.values else even.random(count)
                for one in self.parameters
            ]
        )

    def plausible(self, name: Key) -> Plausible | None:
        """The highest line of plausible combinations, as ratio: foreseen, each with what that missed at the next one tried."""
        if self.drawn is None or self.likely is None:
            return None
        with np.errstate(invalid="ignore"):  # where no line is heard at all
            missed = self.worst(name)[self.typical] - self.foreseen(name, self.shares[self.typical])
        tried, missed = self.shares[self.typical][np.isfinite(missed)], missed[np.isfinite(missed)]
        levels = self.foreseen(name, self.likely)
        if missed.size:
            sizes = np.abs(self.effects(name, self.first)).max(axis=(1, 2))
            apart = np.sum((sizes * (self.likely[:, None] - tried)) ** 2, axis=-1)
            levels = levels + missed[np.argmin(apart, axis=1)]
        return self.drawn.of(from_decibels(np.clip(levels, self.level(name, -1), self.level(name, 1))))

    def foreseen(self, name: Key, shares: Array) -> Array:
        """The highest line [dB] at points (n, parameters), every line added up from what single parameters do to it."""
        levels = self.lines[name][0] + np.zeros((len(shares), 1))
        for index, moved in enumerate(self.effects(name, self.first)):
            nodes = np.append(ALONE, self.shares[0, index])
            order = np.argsort(nodes, kind="stable")
            changes = np.vstack([moved, np.zeros_like(moved[:1])])[order]
            hats = [np.interp(shares[:, index], nodes[order], one) for one in np.eye(len(nodes))]
            levels = levels + np.transpose(hats) @ changes
        highest: Array = levels.max(axis=-1)
        return highest

    def worst(self, name: Key) -> Array:
        """The highest line of every point (designs,); NaN where it contradicts what was stated."""
        highest: Array = self.lines[name].max(axis=-1)
        return highest

    def best(self, name: Key, end: int) -> int:
        """The row in which the highest line is highest (``end`` 1) or lowest (-1)."""
        worst = end * self.worst(name)
        return int(np.argmax(np.where(np.isnan(worst), -np.inf, worst)))

    def level(self, name: Key, end: int) -> float:
        """The highest line there [dB]."""
        return float(self.worst(name)[self.best(name, end)])

    def extent(self, name: Key) -> Extent:
        """What was found of one figure."""
        low, high = self.best(name, -1), self.best(name, 1)
        ratio, line = from_decibels(self.worst(name)), [int(np.argmax(self.lines[name][row])) for row in (low, high)]
        at_low, at_high = (
            {one.key: float(one.at(share)) for one, share in zip(self.parameters, self.shares[row], strict=True)}
            for row in (low, high)
        )
        alone = ratio[1 : 1 + len(self.parameters) * len(ALONE)].reshape(len(self.parameters), len(ALONE))
        moved = np.column_stack([alone, np.full(len(alone), ratio[0])])
        effects = {
            one.key: (float(np.fmin.reduce(row)), float(np.fmax.reduce(row)))
            for one, row in zip(self.parameters, moved, strict=True)
        }
        ends = float(ratio[low]), float(ratio[high])
        return Extent(float(ratio[0]), *ends, at_low, at_high, effects, *line, plausible=self.plausible(name))


def _alone(origin: Array, moved: NDArray[np.intp], to: Sequence[float]) -> Array:
    """Rows in which each of the parameters ``moved`` goes alone to each of the shares ``to``."""
    rows = np.repeat(origin[None], len(moved) * len(to), axis=0)
    rows[np.arange(len(rows)), np.repeat(moved, len(to))] = np.tile(to, len(moved))
    return rows


def _highest(base: Array, effects: Array) -> tuple[Sequence[NDArray[np.intp]], float]:
    """For each of the lines that may become the highest what makes it so, and how high the highest would be."""
    foreseen = base + effects.max(axis=1).sum(axis=0)
    lines = np.argsort(-foreseen)[:TRIED]
    return [effects[:, :, line].argmax(axis=1) for line in lines], float(foreseen[lines[0]])


def _descended(base: Array, effects: Array, choices: NDArray[np.intp]) -> tuple[NDArray[np.intp], float]:
    """One parameter after the other to where the highest line is lowest, until none is moved."""
    level = base + effects[np.arange(len(effects)), choices].sum(axis=0)
    for _ in range(SWEEPS):
        before = choices.copy()
        for index, effect in enumerate(effects):
            rest = level - effect[choices[index]]
            choices[index] = (rest + effect).max(axis=-1).argmin()
            level = rest + effect[choices[index]]
        if np.array_equal(before, choices):
            break
    return choices, float(level.max())
