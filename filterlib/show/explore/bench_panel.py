"""Panel of the notebook on before and after: a capture that disagrees, and the faults that could have made it, on sliders."""

from __future__ import annotations

import numpy as np

from filterlib.bench.answers.answer import bench
from filterlib.bench.answers.answers_result import Capture
from filterlib.bench.answers.one_board import Board, BoardResult, one_board
from filterlib.parts.reading import data_folder
from filterlib.show import panels as ui
from filterlib.show.explore.lessons import BEFORE_AND_AFTER
from filterlib.system.ranges.changes import value
from filterlib.words.quantities import number

CHOKE, SIZE, JOINT = "filter.L1.loop_leakage", "filter.C2.capacitance", "filter.C2.esr"
SHOWN = 15  # harmonics
_PROBES = {"as set": 1.0, "readings ten times too high": 10.0, "readings a tenth": 0.1}
_CIRCUIT = (
    ui.Drawn("source", "converter", value="captured"),
    ui.Drawn("capacitor", "C1", value="2.2 µF"),
    ui.Drawn("choke", "L1", (CHOKE,)),
    ui.Drawn("capacitor", "C2", (SIZE, JOINT)),
    ui.Drawn("load", "modem", ("factor",)),
)


def bench_panel() -> ui.Panel[Board, BoardResult]:
    """The clean unit's capture at the bare converter, that of an invented board with a fault, and four things that may be wrong with it."""
    folder = data_folder()
    before, after = (str(folder / "recordings" / f"clean-{name}.csv") for name in ("terminals", "modem-bridged"))
    read = bench(folder / "designs" / "tide-gauge-clean.toml", before=before, after=[Capture(after)])
    controls: list[ui.Control | ui.Choice] = [
        ui.Control(CHOKE, "L1's leakage inductance", "H", "20 nH", "100 µH", _start(read.design, CHOKE)),
        ui.Control(SIZE, "C2", "F", "22 nF", "22 µF", _start(read.design, SIZE)),
        ui.Control(JOINT, "resistance in C2's joint", "ohm", "1 mΩ", "10 Ω", _start(read.design, JOINT)),
        ui.Choice("factor", "probe and scope", _PROBES),
    ]
    display = ui.Display(_picture(), _readings, _sentence, _alarm, _CIRCUIT, BEFORE_AND_AFTER)
    return ui.Panel("Before and after", ui.Calculation(Board(read), one_board, change=_changed), controls, display)


def _start(design: object, key: str) -> float:
    return float(f"{float(value(design, key)):.3g}")  # type: ignore[arg-type]


def _picture() -> ui.Picture[BoardResult]:
    trace: ui.Plot[BoardResult] = ui.Plot(
        "At the modem, one period",
        ui.Axis("time", "s"),
        ui.Axis("voltage", "V"),
        (
            ui.Curve("captured", lambda r: (r.times, r.read)),
            ui.Curve("with these values", lambda r: (r.times, r.expected), kept=True),
        ),
    )
    lines: ui.Plot[BoardResult] = ui.Plot(
        "Harmonics",
        ui.Axis("frequency", "Hz", "log", limits=(1e5, 4e6)),
        ui.Axis("peak", "V", "log", limits=(1e-6, 1)),
        (
            ui.Curve("before the filter", lambda r: (r.frequencies[:SHOWN], r.before[:SHOWN]), marker="s"),
            ui.Curve("captured harmonics", _captured, marker="o"),
            ui.Curve("with these values", lambda r: (r.frequencies[:SHOWN], r.peaks_expected[:SHOWN]), kept=True),
        ),
    )
    return ui.Picture([trace, lines], name="before-and-after", size=ui.HIGH, widths=(1, 1))


def _captured(r: BoardResult) -> tuple[np.ndarray, np.ndarray]:
    """Harmonics that are above the capture's noise."""
    clear = np.flatnonzero(np.isfinite(r.peaks[:SHOWN]))
    return r.frequencies[clear], r.peaks[clear]


def _readings(r: BoardResult) -> tuple[ui.Reading, ...]:
    return (
        ui.Reading("captured, peak to peak", r.pp, "V"),
        ui.Reading("with these values", r.pp_expected, "V"),
        ui.Reading(
            "deviation over uncertainty", f"{r.misfit:.2g}", note="explains it" if r.explains else "does not explain it"
        ),
    )


def _sentence(r: BoardResult) -> str:
    verdict = "These values explain the capture" if r.explains else "These values do not explain the capture"
    return (
        f"{verdict}: {number(r.pp_expected, 'V')} peak to peak instead of {number(r.pp, 'V')}; the harmonics "
        f"deviate by {r.misfit:.2g} times their uncertainty."
    )


def _alarm(r: BoardResult) -> str:
    return "" if r.explains else "The board is not like this"


def _changed(start: Board, values: ui.Values) -> Board:
    """The controls' values; what is not the probe's is a value of the design."""
    of_board = {key: one for key, one in values.items() if key != "factor"}
    return Board(start.result, {**start.values, **of_board}, values.get("factor", start.factor))
