"""The course of a circuit of straight pieces: exact from event to event, each event located, nothing stepped by a guess."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from filterlib.errors import CircuitError
from filterlib.network.netlist import Output
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit, Rule
from filterlib.network.nonlinear.linear_piece import ORDER, Layout, LinearPiece
from filterlib.network.nonlinear.within_step import LEVELS, clear, falls_through_zero, inside, integral, left, moved

__all__ = ["Course", "course"]
AWAKE = 1e-9  # of the largest charge or flux: what a mode adds, below which its turns are not looked for
BEYOND = 1e-10  # of a curve's span: what counts as beyond its line
REACHED = 1e-12  # of a rule's integral: what counts as reached
MOST_STEPS, MOST_EVENTS, MOST_SWITCHES = 400_000, 20_000, 200
POWERS = np.arange(ORDER)


@dataclass(frozen=True, eq=False)
class Course:
    """What a circuit did from time 0 on.

    Attributes: ``times`` (steps + 1,) [s], the last is the end; ``pieces`` and ``states`` (steps,), the equations and
    w at the beginning of each step; ``events``, pairs of time [s] and text; ``ended`` (size,), w at the end; ``curves``,
    on which each bent conductor then is, by name; ``known``, all equations that were needed.
    """

    times: np.ndarray
    pieces: list[LinearPiece]
    states: list[np.ndarray]
    ended: np.ndarray
    events: list[tuple[float, str]]
    curves: dict[str, str]
    known: dict[object, LinearPiece]

    def at(self, times: ArrayLike, output: Output) -> np.ndarray:
        """An output at some times (t,) [s], in the order in which they are given."""
        at = np.atleast_1d(np.asarray(times, dtype=float))
        steps = np.clip(np.searchsorted(self.times, at, side="right") - 1, 0, len(self.states) - 1)
        values = []
        for time, step in zip(at, steps, strict=True):
            piece, w = self.pieces[step], self.states[step]
            values.append(piece.output(output) @ (w + piece.move(float(time - self.times[step])) @ w))
        return np.array(values)

    def steps(self, output: Output) -> np.ndarray:
        """An output at the beginning of every step (steps,): close enough together to draw the course."""
        rows = {id(piece): piece.output(output) for piece in self.pieces}
        return np.array([rows[id(piece)] @ w for piece, w in zip(self.pieces, self.states, strict=True)])

    def drawn(self, *outputs: Output, parts: int = 4) -> tuple[np.ndarray, ...]:
        """Times [s], and outputs there, each step in so many ``parts``: as smooth as a picture needs."""
        times, found = [], []
        for start, end, piece, w in zip(self.times, self.times[1:], self.pieces, self.states, strict=False):
            move, rows = piece.move((end - start) / parts), np.array([piece.output(one) for one in outputs])
            for k in range(parts):
                times.append(start + k * (end - start) / parts)
                found.append(rows @ w)
                w = w + move @ w
        return np.array(times), *np.array(found).T

    def peak(self, output: Output) -> tuple[float, float]:
        """The highest value of an output and its time [s], exact within the step that holds it."""
        best = (-math.inf, 0.0)
        for start, end, piece, w in zip(self.times, self.times[1:], self.pieces, self.states, strict=False):
            row = piece.output(output)
            rate, after = row @ piece.matrix, w + piece.move(end - start) @ w
            for time, value in ((start, row @ w), (end, row @ after)):
                best = max(best, (float(value), float(time)))
            if rate @ w > 0 > rate @ after:
                h = falls_through_zero(partial(moved, piece, w, rate), end - start)
                best = max(best, (moved(piece, w, row, h), float(start + h)))
        return best

    def integral(self, first: Output, second: Output | None = None, until: float = math.inf) -> float:
        """The integral over time of an output, or of the product of two: charge, heat, I squared t."""
        steps = zip(self.times, self.times[1:], self.pieces, self.states, strict=False)
        return sum(
            integral(piece, w, min(end, until) - start, first, second)
            for start, end, piece, w in steps
            if start < until
        )


def course(
    circuit: PiecewiseCircuit, until: float, start: dict[str, float] | None = None, *,
    most: int = MOST_EVENTS, stop: str = "", behind: Course | None = None, awake: float = AWAKE,
) -> Course:  # fmt: skip
    """What a circuit does from time 0 on, from capacitors and inductors that are empty unless ``start`` says otherwise.

    Parameters
    ----------
    until : float
        [s]
    start : dict, optional
        Voltages [V] of capacitors and currents [A] of inductors, by name.
    most : int, optional
        Events (a corner of a bend, a rule), after which it gives up; a ring between them may take any number of steps.
    stop : str, optional
        The event, "BRANCH: CURVE", with which the course ends.
    behind : Course, optional
        Of the same circuit: this one goes on with the charges, fluxes and curves of its end; the sources begin again.
    awake : float, optional
        Of the largest charge or flux: what a mode adds, below which its turns are not looked for, and integrals take it for straight.

    Raises
    ------
    CircuitError
        For a circuit without answer, a start of what has none, and where events do not end.
    """
    if not (math.isfinite(until) and until > 0):
        raise CircuitError(f"until {until!r} s: a finite time above zero is right")
    return _Run(circuit, until, start or {}, most, stop, behind, awake).run()


@dataclass
class _Run:
    circuit: PiecewiseCircuit
    until: float
    start: dict[str, float]
    most: int
    stop: str
    behind: Course | None = None
    awake: float = AWAKE
    times: list[float] = field(default_factory=list)
    pieces: list[LinearPiece] = field(default_factory=list)
    states: list[np.ndarray] = field(default_factory=list)
    events: list[tuple[float, str]] = field(default_factory=list)
    spent: dict[tuple[int, Rule], float] = field(default_factory=dict)  # integrals of rules, each since it entered

    def __post_init__(self) -> None:
        self.layout = self.behind.pieces[0].layout if self.behind else Layout(self.circuit)
        self.known: dict[object, LinearPiece] = self.behind.known if self.behind else {}
        curves = self.behind.curves if self.behind else {}
        self.curves = [curves.get(branch.name, branch.start) for branch in self.layout.bends]
        self.entered = [0.0] * len(self.curves)
        self.rules = self._leaving()
        self.watched: dict[LinearPiece, np.ndarray] = {}
        self.breaks = sorted(
            {float(t) for s in self.layout.sources for t in s.corners[:, 0] if 0 <= t < self.until} | {0.0}
        )

    def run(self) -> Course:
        w, time = self._first(), 0.0
        piece = self._ruled(self._settled(w, None), w, 0.0)
        switches = turns = 0
        while time < self.until and not self._stopped():
            following = min((t for t in (*self.breaks, *self._dwells(), self.until) if t > time), default=self.until)
            room = following - time
            h = min(room, self._dyadic(piece.pace(w, self.awake)))
            after, h, beyond = self._step(piece, w, h)
            crossed = bool(beyond.any())
            if (spent := self._spend(piece, w, h)) < h:
                after, h, crossed = w + piece.move(spent) @ w, spent, False
            self._keep(time, piece, w)
            time = following if h == room else time + h
            w = after
            switches = switches + 1 if crossed and h <= 1e-13 * self.until else 0
            turns += crossed
            if switches > MOST_SWITCHES or turns + len(self.events) > self.most or len(self.times) > MOST_STEPS:
                raise CircuitError(
                    f"events do not end at {time:.4g} s: {turns} of {len(self.times)} steps; a shorter time, or fewer fast parts"
                )
            if crossed:
                piece = self._crossed(piece, beyond)
            if time in self.breaks:
                self._drive(w, time)
                piece = self._settled(w, piece)
            piece = self._ruled(piece, w, time)
        times, curves = np.array([*self.times, min(time, self.until)]), zip(self.layout.bends, self.curves, strict=True)
        named = {branch.name: curve for branch, curve in curves}
        return Course(times, self.pieces, self.states, w, self.events, named, self.known)

    def _stopped(self) -> bool:
        """Whether the event has come that ends it, behind a first step."""
        return bool(self.times) and any(text == self.stop for _, text in self.events)

    def _keep(self, time: float, piece: LinearPiece, w: np.ndarray) -> None:
        self.times.append(time)
        self.pieces.append(piece)
        self.states.append(w)

    def _first(self) -> np.ndarray:
        layout = self.layout
        if self.behind:
            w = self.behind.ended.copy()
            self._drive(w, 0.0)
            return w
        w = np.zeros(layout.size)
        w[-1] = 1.0
        for name in self.start:
            if name not in {b.name for b in layout.stores}:
                raise CircuitError(f"{name}: a start has a capacitor or an inductor, and it is none")
        count = len(layout.capacitors)
        currents = np.array([0.0 if b.curves else self.start.get(b.name, 0.0) for b in layout.inductors])
        for k, branch in enumerate(layout.capacitors):
            w[k] = self.start.get(branch.name, 0.0) * layout.root[k]
        if len(currents):
            w[count : len(layout.stores)] = np.linalg.solve(layout.inverse_inductance, currents) / layout.root[count:]
        for k, branch in enumerate(layout.stores):
            if branch.curves and branch.name in self.start:
                w[k] = branch.curves[""].back(self.start[branch.name]) / layout.root[k]
        self._drive(w, 0.0)
        return w

    def _drive(self, w: np.ndarray, time: float) -> None:
        """The sources and their slopes just after a time."""
        first, count = len(self.layout.stores), len(self.layout.sources)
        for k, source in enumerate(self.layout.sources):
            corners = source.corners
            after = int(np.searchsorted(corners[:, 0], time, side="right"))
            value, slope = corners[max(after - 1, 0), 1], 0.0
            if 0 < after < len(corners):
                (t0, v0), (t1, v1) = corners[after - 1], corners[after]
                slope = (v1 - v0) / (t1 - t0)
                value = v0 + slope * (time - t0)
            w[first + k], w[first + count + k] = value, slope

    def _piece(self, places: tuple[int, ...]) -> LinearPiece:
        key = (places, tuple(self.curves))
        if key not in self.known:
            self.known[key] = LinearPiece(self.layout, *key)
        return self.known[key]

    def _settled(self, w: np.ndarray, near: LinearPiece | None) -> LinearPiece:
        """The piece that agrees with charges, fluxes and sources: Newton's way over straight lines.

        A line that was reached twice is left by the worst branch alone, one corner at a time.
        """
        places = (
            near.pieces
            if near
            else tuple(0 for b in (*self.layout.stores, *self.layout.bends) if b.kind == "bend" or b.curves)
        )
        seen: set[tuple[int, ...]] = set()
        for _ in range(1000):
            piece = self._piece(places)
            wanted = tuple(
                place
                if inside(b, curve := piece.curve[b.name], place, x := float(piece.argument(b) @ w))
                else curve.piece(x)
                for b, place in zip(piece.bent, places, strict=True)
            )
            if wanted == places:
                return piece
            if wanted in seen:
                worst = max(range(len(places)), key=lambda k: (abs(wanted[k] - places[k]), -k))
                step = int(np.sign(wanted[worst] - places[worst]))
                wanted = (*places[:worst], places[worst] + step, *places[worst + 1 :])
            seen.add(places)
            places = wanted
        raise CircuitError(
            "no answer was found in which every bend is on one of its lines; a load that takes constant power needs a capacitor beside it"
        )

    def _step(self, piece: LinearPiece, w: np.ndarray, h: float) -> tuple[np.ndarray, float, np.ndarray]:
        """As far as nothing is beyond its line and no rule holds, at most ``h``: the state, the time, and what of the watched ended it."""
        watched = self._watched(piece, w)
        none = np.zeros(len(watched[0]), dtype=bool)
        after = w + piece.move(h) @ w
        if clear(watched, piece, w, after, h):
            return after, h, none
        done, part = 0.0, h
        while not piece.tight(part):
            part /= 2
            tried = w + piece.move(part) @ w
            if clear(watched, piece, w, tried, part):
                done, w = done + part, tried
        rows, floor = watched
        while (rows @ (after := w + piece.move(part) @ w) >= floor).all():
            if clear(watched, piece, w, after, part):
                return after, done + part, none
            part /= 2
        course, low, high = piece.series(w, rows), 0.0, part
        for _ in range(LEVELS):
            middle = (low + high) / 2
            inside = (course @ middle**POWERS >= floor).all()
            low, high = (middle, high) if inside else (low, middle)
        return w + piece.move(high) @ w, done + high, course @ high**POWERS < floor

    def _spend(self, piece: LinearPiece, w: np.ndarray, h: float) -> float:
        """Adds what a step gives to the integrals of the rules, up to where the first is reached: that time."""
        rules = [(k, rule) for k, rule in self.rules if rule.times is not None]
        for k, rule in rules:
            rest = partial(left, piece, w, rule, rule.threshold - self.spent.get((k, rule), 0.0))
            h = h if rest(h) > 0 else falls_through_zero(rest, h)
        for k, rule in rules:
            more = rule.threshold - left(piece, w, rule, rule.threshold, h)
            self.spent[k, rule] = self.spent.get((k, rule), 0.0) + more
        return h

    def _watched(self, piece: LinearPiece, w: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        if piece not in self.watched:  # a piece has its curves, and so its rules
            compared = (rule for _, rule in self.rules if rule.output is not None and rule.times is None)
            rules = [self._rule_row(piece, rule.output, rule) for rule in compared if rule.output is not None]
            self.watched[piece] = np.array([*piece.margins, *rules]).reshape(-1, self.layout.size)
        rows = self.watched[piece]
        return rows, np.minimum(rows @ w, 0.0) - BEYOND

    def _rule_row(self, piece: LinearPiece, output: Output, rule: Rule) -> np.ndarray:
        """Not below zero while a rule does not hold."""
        row = piece.output(output).copy()
        row[-1] -= rule.threshold
        return (-row if rule.above else row) / max(abs(rule.threshold), 1e-9)

    def _crossed(self, piece: LinearPiece, beyond: np.ndarray) -> LinearPiece:
        """The piece behind the corners that ended a step; not asked of the state again, whose rounding may hide it."""
        places = list(piece.pieces)
        for (branch, step), there in zip(piece.room, beyond[: len(piece.room)], strict=True):
            if there:
                places[piece.bent.index(branch)] += step
        return self._piece(tuple(places))

    def _ruled(self, piece: LinearPiece, w: np.ndarray, time: float) -> LinearPiece:
        """The piece after every rule that holds now."""
        for _ in range(MOST_SWITCHES):
            holding = next(((k, r) for k, r in self.rules if self._holds(k, r, piece, w, time)), None)
            if holding is None:
                return piece
            self._enter(*holding, time)
            piece = self._settled(w, None)
        raise CircuitError(f"rules contradict each other at {time:.4g} s: each leads to the other without end")

    def _leaving(self) -> list[tuple[int, Rule]]:
        """The rules that leave the curves of now, with the place of their branch."""
        bends = enumerate(self.layout.bends)
        return [(k, rule) for k, branch in bends for rule in branch.rules if rule.leaves == self.curves[k]]

    def _holds(self, k: int, rule: Rule, piece: LinearPiece, w: np.ndarray, time: float) -> bool:
        if rule.output is None:
            return bool(self.entered[k] + rule.after <= time)
        if rule.times is not None:
            return self.spent.get((k, rule), 0.0) >= rule.threshold * (1 - REACHED)
        return bool(self._rule_row(piece, rule.output, rule) @ w < 0)

    def _enter(self, k: int, rule: Rule, time: float) -> None:
        self.curves[k], self.entered[k] = rule.enters, time
        self.rules = self._leaving()
        self.spent = {key: value for key, value in self.spent.items() if key[0] != k}
        self.events.append((time, f"{self.layout.bends[k].name}: {rule.enters}"))

    def _dwells(self) -> list[float]:
        return [self.entered[k] + rule.after for k, rule in self.rules if rule.output is None]

    def _dyadic(self, h: float) -> float:
        """The time divided by a power of two that is not above ``h``: few different steps, kept ready."""
        if h >= self.until:
            return self.until
        return math.ldexp(self.until, -math.ceil(math.log2(self.until / h)))
