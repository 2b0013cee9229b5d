"""Panel of the notebook on emissions: what a receiver would read on either line of the converter, against limits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TypeAlias

import numpy as np

from filterlib.analysis.emission.emission_result import EmissionResult, EmissionTest, Side
from filterlib.analysis.emission.estimate import emissions
from filterlib.analysis.emission.margin import Margin
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.show import panels as ui
from filterlib.show.explore.lessons import EMISSION
from filterlib.show.explore.tide_gauge import Y_CAPACITORS, as_it_is, by_keys, demo, demo_text
from filterlib.show.figures.plots import thinned
from filterlib.show.panels.marks import Numbers
from filterlib.show.style import BLACK, BLUE, DASHES, GREEN, ORANGE, PURPLE, VERMILION
from filterlib.system.design import Design
from filterlib.system.limits import find_limit
from filterlib.system.solution import solve
from filterlib.words.emission_sentences import ESTIMATE, margin_sentence
from filterlib.words.labels import detector_words
from filterlib.words.quantities import capital, level_unit
from filterlib.words.stability_sentences import reason_text

LIMITS = ("dc-telecom-network", "mains-class-b", "wired-class-b")
DETECTORS = {"quasi_peak": "-", "average": (0, (8, 3))}
LINES, MODES = ("plus", "return"), ("differential", "common")
RANGE = "range (uncertain parameters)"
Mark: TypeAlias = ui.Curve[EmissionResult]
_CIRCUIT = (
    ui.Drawn("source", "brick", ("edges", "converter.common_mode.coupling", "bond")),
    ui.Drawn("capacitor", "C1", value="2.2 µF"),
    ui.Drawn("common-mode choke", "L1", ("filter.L1.part",)),
    ui.Drawn("capacitor", "C2", ("filter.C2.capacitance",)),
    ui.Drawn("load", "receiver", ("side", "limit")),
)


@dataclass(frozen=True)
class Measured:
    """A design, and what is measured: the ``side`` of its converter, against the ``limit`` of that name."""

    design: Design
    side: Side = "output"
    limit: str = LIMITS[0]

    @property
    def test(self) -> EmissionTest:
        """The same as a test."""
        return EmissionTest(self.side, "", (self.limit,), self.design.input_side if self.side == "input" else None)


def _nominal(what: Measured) -> EmissionResult:
    """Levels and margins; none where the circuit is unstable."""
    return emissions(solve(what.design), what.test, interval=False)


def _with_range(what: Measured, shown: EmissionResult, tick: Callable[[float], None]) -> EmissionResult:
    """The same with its range over the uncertainty."""
    return shown if shown.reason else emissions(solve(what.design), what.test, progress=tick)


# ---- the panel ------------------------------------------------------------------------------------------------------


_BOTH_EDGES = ("converter.common_mode.rise_time", "converter.common_mode.fall_time")


def _changed(what: Measured, values: ui.Values) -> Measured:
    """Parts and sliders first, then what is joined to the chassis."""
    keys = {key: value for key, value in values.items() if "." in key}
    keys |= dict.fromkeys(_BOTH_EDGES, values["edges"]) if "edges" in values else {}
    design = by_keys(keys)(what.design)
    for name in ("bond", "y"):
        design = values.get(name, as_it_is)(design)
    return Measured(design, values.get("side", what.side), values.get("limit", what.limit))


def emission_panel() -> ui.Panel[Measured, EmissionResult]:
    """Emission of the brick's lines."""
    brick = demo("brick").replace(name="Tide gauge, emission", note="Saved from a notebook")
    test, board, brick_group = "The test", "The board", "The brick"
    chokes = {word: part for word, part in ui.parts(CommonModeChoke).items() if part.rated_current >= 4}
    controls: list[ui.Control | ui.Choice] = [
        ui.Choice("side", "line", {"at the output": "output", "at the input": "input"}, group=test),
        ui.Choice("limit", "limit", {find_limit(name).limit.title: name for name in LIMITS}, group=test),
        ui.Choice("filter.L1.part", "choke", chokes, "cm-1m0-5A", group=board),
        ui.Choice("y", "Y capacitors", Y_CAPACITORS, group=board),
        ui.Control("filter.C2.capacitance", "C2", "F", "100 nF", "100 µF", 2.2e-6, group=board),
        ui.Control("converter.common_mode.coupling", "node to chassis", "F", "10 pF", "1 nF", 120e-12, group=brick_group),
        ui.Control("edges", "node's edges take", "s", "5 ns", "500 ns", 12e-9, group=brick_group),
        ui.Choice("bond", "battery's pole", {"wire of 600 nH": as_it_is, "floats": by_keys({"converter.bond": None})}, group=brick_group),
    ]  # fmt: skip
    calculation = ui.Calculation(Measured(brick), _nominal, _with_range, _changed, demo_text("brick"))
    every = ui.in_front(controls, ("side", "y", "bond", "edges"))
    display = ui.Display(_picture(), _readings, _sentence, circuit=_CIRCUIT, lesson=EMISSION)
    return ui.Panel("Emissions before the test house", calculation, every, display)


def _picture() -> ui.Picture[EmissionResult]:
    lines: tuple[Mark, ...] = (
        ui.Curve("plus line", partial(_level, "plus"), BLUE, "-", kept=True),
        ui.Curve("return line", partial(_level, "return"), VERMILION, DASHES[1]),
    )
    modes: tuple[Mark, ...] = (
        ui.Curve("differential, v+ − v−", partial(_level, "differential"), GREEN, DASHES[2]),
        ui.Curve("common, (v+ + v−)/2", partial(_level, "common"), PURPLE, "-", kept=True),
    )
    plots = [
        ui.Plot(
            title,
            ui.Axis("frequency", "Hz", "log", limits=(1e5, 4e7)),
            ui.Axis("peak level", "dBµV", limits=(0, 120)),
            (
                *marks,
                *(ui.Curve(f"limit, {detector_words(one)}", partial(_limit, of, one), BLACK, dash) for one, dash in DETECTORS.items()),
                ui.Curve("highest over the uncertainty", partial(_high, places), ORANGE, DASHES[3]),
                ui.Curve("nearest to the limit", partial(_decides, places), BLACK, marker="D"),
            ),
        )
        for title, marks, of, places in (
            ("Each line to chassis", lines, "line", LINES),
            ("The same as modes", modes, "common_mode", MODES),
        )
    ]  # fmt: skip
    return ui.Picture(plots, name="Emissions before the test house", size=ui.HIGH)


def _level(place: str, r: EmissionResult) -> Numbers:
    return None if r.reason else thinned(r.frequencies, r.levels[place, "peak"])


def _limit(of: str, detector: str, r: EmissionResult) -> Numbers:
    """Corner by corner, where this limit is of what these axes show."""
    limit = r.limits[0].limit
    pieces = [piece for piece in limit.pieces if piece.detector == detector and limit.of == of]
    if not pieces:
        return None
    x, y = (np.array([ends for piece in pieces for ends in getattr(piece, name)]) for name in ("frequencies", "levels"))
    return x, y


def _high(places: tuple[str, ...], r: EmissionResult) -> Numbers:
    return thinned(r.frequencies, np.max([r.high[place] for place in places], axis=0)) if r.high else None


def _decides(places: tuple[str, ...], r: EmissionResult) -> Numbers:
    worst = r.worst
    return ([worst.frequency], [worst.level]) if worst is not None and worst.place in places else None


def _readings(r: EmissionResult) -> tuple[ui.Reading, ...]:
    worst = r.worst
    if worst is None:
        return tuple(
            ui.Reading(label, "none")
            for label in ("quasi-peak", "average", "nearest to the limit", "mode there", RANGE)
        )
    over = r.common_over_differential(worst.line)
    mode = "common mode" if over > 0 else "differential mode"
    rows = [
        ui.Reading(detector_words(one.detector), _distance(one.margin), verdict=one.verdict if r.high else "")
        for one in r.margins
    ]
    return (
        *rows,
        ui.Reading("nearest to the limit", worst.frequency, "Hz", note=f"{worst.level:.1f} of {worst.limit_level:.0f} {level_unit(worst.unit)}"),
        ui.Reading("mode there", mode, note=f"{abs(over):.0f} dB above the other on each line"),
        ui.Reading(RANGE, _range(worst) if r.high else "a moment later", note=worst.depends_on and f"mostly from the {worst.depends_on}"),
    )  # fmt: skip


def _distance(margin: float) -> str:
    return f"{abs(margin):.1f} dB {'below' if margin >= 0 else 'above'}"


def _range(worst: Margin) -> str:
    """From the worst to the best."""
    if (worst.low < 0) == (worst.high < 0):
        near, far = sorted((abs(worst.low), abs(worst.high)))
        return f"{near:.0f} to {far:.0f} dB {'below' if worst.low >= 0 else 'above'}"
    return f"{-worst.low:.0f} dB above to {worst.high:.0f} below"


def _sentence(r: EmissionResult) -> str:
    worst = r.worst
    text = margin_sentence(worst) if worst is not None else "no harmonic is where there is a limit"
    return f"{capital(reason_text(r.reason) or text)}. {ESTIMATE}"
