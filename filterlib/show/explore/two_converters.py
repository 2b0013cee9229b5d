"""Panel of the notebook on two converters: one board behind both, and the causes of what is left, to be switched off."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np

from filterlib.analysis.ripple.with_and_without import WithAndWithout, with_and_without
from filterlib.show import panels as ui
from filterlib.show.explore.lessons import TWO_CONVERTERS
from filterlib.show.explore.tide_gauge import (
    EDGES,
    LOAD,
    WITH,
    WITHOUT,
    Change,
    as_it_is,
    by_keys,
    demo,
    demo_text,
)
from filterlib.show.figures.plots import thinned
from filterlib.show.style import AFTER, BEFORE, DASHES, GREEN, ORANGE, PURPLE
from filterlib.system.design import Design
from filterlib.system.ranges.changes import changed
from filterlib.system.requirements import RippleRequirement
from filterlib.system.solution import solve
from filterlib.words.quantities import number

CAUSE = "cause."
COUPLING, LENGTH = "converter.common_mode.coupling", "load.modem.lead.length"
_LARGE = ("cause.coupling", "cause.input", "cause.loops", "filter.L1.inductance")
_CIRCUIT = (
    ui.Drawn("source", "brick", (COUPLING, "cause.coupling", "cause.spike", "cause.bond")),
    ui.Drawn("capacitor", "C1", ("cause.loops",)),
    ui.Drawn("common-mode choke", "L1", ("filter.L1.inductance", "cause.winding", "cause.imbalance")),
    ui.Drawn("capacitor", "C2", ("cause.loops",)),
    ui.Drawn("wire", "lead", (LENGTH, "cause.lead")),
    ui.Drawn("load", "modem", ("cause.input", "cause.coax")),
)
AS_IT_IS, GONE = "as it is", "gone"
SOURCES = {
    "ripple": ("ripple current alone", PURPLE, DASHES[1]),
    "spike": ("spikes alone", GREEN, DASHES[2]),
    "common_mode": ("common-mode drive alone", ORANGE, DASHES[0]),
}


@dataclass(frozen=True)
class TwoBoards:
    """The modem behind the ``clean`` converter and behind the ``brick``; ``limit`` [V] of its ripple in 20 MHz; ``off``: sliders of
    what is switched off."""

    clean: WithAndWithout
    brick: WithAndWithout
    limit: float
    off: tuple[str, ...]


def compared(design: Design) -> TwoBoards:
    """The brick's board as it is now, and the clean one."""
    wanted = next(one for one in design.requirements if isinstance(one, RippleRequirement) and one.load == LOAD)
    sliders = {COUPLING: design.converter.common_mode, LENGTH: design.named_load(LOAD).lead}
    off = tuple(name for name, there in sliders.items() if there is None)
    return TwoBoards(_clean(), with_and_without(solve(design), LOAD), wanted.limit, off)


@lru_cache(maxsize=1)
def _clean() -> WithAndWithout:
    clean = demo("clean")
    return with_and_without(solve(clean), LOAD)


# ---- causes ---------------------------------------------------------------------------------------------------------

_ZERO_LOOP = {f"filter.{name}.{field}": 0.0 for name in ("C1", "C2") for field in ("mounting_loop", "esl")}
CAUSES: dict[str, tuple[str, str, str, Change]] = {  # key: label, as it is, gone, what takes it away; by group
    "coupling": ("node to chassis", "120 pF", "none", by_keys({"converter.common_mode": None})),
    "spike": ("spikes", AS_IT_IS, GONE, by_keys({"converter.spike": None})),
    "bond": ("battery bond", "bonded", "off", by_keys({"converter.bond": None})),
    "winding": ("winding capacitance", AS_IT_IS, GONE,
                by_keys({"filter.L1.winding_capacitance": 0.0, "filter.L1.interwinding_capacitance": 0.0})),
    "imbalance": ("imbalance", AS_IT_IS, GONE,
                  by_keys({f"filter.L1.{name}": 0.0 for name in ("imbalance", "leakage_imbalance", "capacitance_imbalance")})),
    "loops": ("loops of C1, C2", AS_IT_IS, GONE, by_keys(_ZERO_LOOP)),
    "coax": ("antenna coax", "bonded", "off", by_keys({"load.modem.bond": None})),
    "lead": ("lead", AS_IT_IS, GONE, by_keys({"load.modem.lead": None})),
    "input": ("capacitor's loop", AS_IT_IS, GONE,
              by_keys({"load.modem.input_capacitor.mounting_loop": 0.0, "load.modem.input_capacitor.esl": 0.0})),
}  # fmt: skip
_GROUPS = {
    "The brick: switch off": ("coupling", "spike", "bond"),
    "The board: switch off": ("winding", "imbalance", "loops"),
    "The modem: switch off": ("coax", "lead", "input"),
}


def switched(design: Design, values: ui.Values) -> Design:
    """A design with sliders' values, and then with the causes gone that are switched off."""
    design = changed(design, {key: value for key, value in values.items() if not key.startswith(CAUSE)})
    for key, gone in values.items():
        if key.startswith(CAUSE):
            design = gone(design)
    return design


# ---- the panel ------------------------------------------------------------------------------------------------------


def causes_panel() -> ui.Panel[Design, TwoBoards]:
    """One board behind two converters, the causes behind the brick on switches."""
    start = demo("brick").replace(name="Tide gauge, causes switched off", note="Saved from a notebook")
    controls: list[ui.Control | ui.Choice] = []
    for group, keys in _GROUPS.items():
        for key in keys:
            label, here, gone, change = CAUSES[key]
            controls.append(ui.Choice(f"{CAUSE}{key}", label, {here: as_it_is, gone: change}, group=group))
        controls.append(_sliders()[group])
    display = ui.Display(_picture(), _readings, _sentence, circuit=_CIRCUIT, lesson=TWO_CONVERTERS, off=lambda r: r.off)
    calculation = ui.Calculation(start, compared, change=switched, text=demo_text("brick"))
    return ui.Panel("One board, two converters", calculation, ui.in_front(controls, _LARGE), display)


def _sliders() -> dict[str, ui.Control]:
    return {
        "The brick: switch off": ui.Control(
            COUPLING, "that coupling", "F", "1 pF", "1 nF", group="The brick: switch off"
        ),
        "The board: switch off": ui.Control(
            "filter.L1.inductance", "choke's inductance", "H", "100 µH", "10 mH", group="The board: switch off"
        ),
        "The modem: switch off": ui.Control(LENGTH, "lead's length", "m", "5 cm", "5 m", group="The modem: switch off"),
    }


def _picture() -> ui.Picture[TwoBoards]:
    boards: list[ui.Plot[TwoBoards]] = [
        ui.Plot(
            f"Modem behind the {name}",
            ui.Axis("time", "s", limits=(0, EDGES) if which == "brick" else None),
            ui.Axis("ripple and spikes", "V"),
            (
                ui.Curve(WITHOUT, partial(_wave, which, "before"), BEFORE, (0, (5, 2))),
                ui.Curve(WITH, partial(_wave, which, "after"), AFTER, "-", kept=which == "brick"),
                ui.Level("limit in 20 MHz", lambda r: (-r.limit / 2, r.limit / 2), counts=True),
            ),
        )
        for name, which in (("clean converter", "clean"), ("brick, both edges", "brick"))
    ]
    by_source: ui.Plot[TwoBoards] = ui.Plot(
        "By source, behind the brick",
        ui.Axis("frequency", "Hz", "log", limits=(1e5, 2e8)),
        ui.Axis("level", "dBµV", span=100),
        tuple(
            ui.Curve(words, partial(_level, source), colour, dash) for source, (words, colour, dash) in SOURCES.items()
        ),
    )
    return ui.Picture([*boards, by_source], name="One board, two converters", size=ui.HIGH)


def _wave(which: str, name: str, r: TwoBoards) -> tuple[np.ndarray, np.ndarray]:
    board = getattr(r, which)
    return ui.envelope(board.times, getattr(board, name))


def _level(source: str, r: TwoBoards) -> tuple[np.ndarray, np.ndarray] | None:
    return thinned(r.brick.frequencies, r.brick.levels[source]) if source in r.brick.levels else None


def _readings(r: TwoBoards) -> tuple[ui.Reading, ...]:
    clean, brick = r.clean, r.brick
    alone = {source: brick.alone.get(source, 0.0) for source in SOURCES}
    side = "within" if brick.ripple <= r.limit else "above"
    return (
        ui.Reading("clean: left at the modem", clean.spike, "V", note=_of(clean.spike_before, clean.spike)),
        ui.Reading("brick: left, full bandwidth", brick.spike, "V", note=_of(brick.spike_before, brick.spike)),
        ui.Reading("brick: left, in 20 MHz", brick.ripple, "V", note=f"{side} the {number(r.limit, 'V')} allowed"),
        ui.Reading("common-mode drive alone", alone["common_mode"], "V", note="full bandwidth"),
        ui.Reading("ripple current alone", alone["ripple"], "V", note=f"spikes alone {number(alone['spike'], 'V')}"),
    )


def _of(before: float, after: float) -> str:
    return f"of {number(before, 'V')}, a factor of {number(before / after, '', 2)}"


def _sentence(r: TwoBoards) -> str:
    most = max(SOURCES, key=lambda source: r.brick.alone.get(source, 0.0))
    side = "within" if r.brick.ripple <= r.limit else "above"
    return (
        f"Behind the clean converter the filter leaves {number(r.clean.spike, 'V')} of {number(r.clean.spike_before, 'V')}, behind "
        f"the brick {number(r.brick.spike, 'V')} of {number(r.brick.spike_before, 'V')}; there the {SOURCES[most][0]} makes "
        f"{number(r.brick.alone[most], 'V')}. In 20 MHz {number(r.brick.ripple, 'V')} are left, {side} the {number(r.limit, 'V')} allowed."
    )
