"""Panel of the notebook on two converters: one board behind both, and the causes of what is left, to be switched off."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any

import numpy as np

from filterlib.analysis.ripple.at_load import Seen, narrow_and_wide, seen
from filterlib.analysis.ripple.spectra import Spectra, spectra
from filterlib.show.explore.pi_filter import LOAD, WITH, WITHOUT, demo
from filterlib.show.panels import (
    Axis,
    Calculation,
    Choice,
    Control,
    Curve,
    Display,
    Level,
    Panel,
    Picture,
    Plot,
    Reading,
)
from filterlib.show.plots import thinned
from filterlib.show.style import AFTER, BEFORE, DASHES, GREEN, ORANGE, PURPLE
from filterlib.system.changes import changed
from filterlib.system.design import Design
from filterlib.units import decibels
from filterlib.words.quantities import number

POINTS = 512  # of a waveform, each with the lowest and the highest of its stretch
MICROVOLT = 1e-6
EDGES = 2e-6  # [s] from the first edge on, in which both edges of the brick ring out
CAUSE = "cause."
AS_IT_IS, GONE = "as it is", "gone"
SOURCES = {
    "ripple": ("ripple current alone", PURPLE, DASHES[1]),
    "spike": ("spikes alone", GREEN, DASHES[2]),
    "common_mode": ("common-mode drive alone", ORANGE, DASHES[0]),
}
Off = Callable[[Design], Design]


@dataclass(frozen=True)
class Line:
    """Voltage of one load over a period at ``times`` (n,) [s], in full bandwidth: ``before``, without filter, and ``after``
    (n,) [V]. ``spike``, ``spike_before``, ``ripple``, ``ripple_before`` [V] peak to peak, in full bandwidth and in 20 MHz."""

    times: np.ndarray
    before: np.ndarray
    after: np.ndarray
    spike_before: float
    spike: float
    ripple_before: float
    ripple: float


@dataclass(frozen=True)
class TwoBoards:
    """The modem behind the ``clean`` converter and behind the ``brick``; ``limit`` [V] of its ripple in 20 MHz.

    Of the brick: ``levels``: source -> frequencies [Hz] and levels [dBµV], the highest of each fortieth of a decade;
    ``alone``: source -> peak to peak of what it makes alone, in full bandwidth [V]; 0 where it is gone.
    """

    clean: Line
    brick: Line
    limit: float
    levels: Mapping[str, tuple[np.ndarray, np.ndarray]]
    alone: Mapping[str, float]


def see(design: Design, load: str = LOAD) -> Seen:
    """What a load sees at the first operating point."""
    return seen(design, design.state(), load)


def compared(design: Design) -> TwoBoards:
    """The brick's board as it stands, beside the clean one."""
    found = see(design)
    _, wide = narrow_and_wide(design)
    acting = found.spectra.sources(LOAD)
    return TwoBoards(
        _clean(), _line(design, found),
        next(one.limit for one in design.requirements if one.kind == "ripple" and one.load == LOAD),
        {source: _levels(found.spectra, source) for source in SOURCES if source in acting},
        {source: float(found.spectra.alone(LOAD, source, wide)) if source in acting else 0.0 for source in SOURCES},
    )  # fmt: skip


@lru_cache(maxsize=1)
def _clean() -> Line:
    clean = demo("clean")
    return _line(clean, see(clean))


def _line(design: Design, found: Seen) -> Line:
    state = design.state()
    before = spectra(
        design, state, filtered=False, outputs={LOAD: design.named_load(LOAD).port}, forces=found.spectra.source_spectra
    )
    narrow, wide = narrow_and_wide(design)
    then, now = (stretched(one.waveform(LOAD, wide)) for one in (before, found.spectra))
    return Line(
        np.arange(len(now)) * design.converter.period / len(now), then, now,
        float(before.peak_to_peak(LOAD, wide)), found.spike, float(before.peak_to_peak(LOAD, narrow)), found.ripple,
    )  # fmt: skip


def stretched(wave: np.ndarray) -> np.ndarray:
    """A waveform (n,) of a power of two of samples as `POINTS` stretches, each with its lowest and highest value in their order.

    >>> wave = np.sin(np.arange(8192))
    >>> len(stretched(wave)), float(np.ptp(stretched(wave)) / np.ptp(wave))
    (1024, 1.0)
    """
    if len(wave) <= 2 * POINTS:
        return wave
    stretches = wave.reshape(POINTS, -1)
    places = np.sort(np.column_stack((stretches.argmin(axis=1), stretches.argmax(axis=1))), axis=1)
    return np.take_along_axis(stretches, places, axis=1).ravel()


def _levels(found: Spectra, source: str) -> tuple[np.ndarray, np.ndarray]:
    """Rms levels of a source at the modem."""
    amplitude = np.sqrt(2) * np.abs(found.by_source[LOAD, source])
    return thinned(found.frequencies, decibels(np.maximum(amplitude, 1e-15) / MICROVOLT))


# ---- causes ---------------------------------------------------------------------------------------------------------


def off(keys: Mapping[str, Any]) -> Off:
    """A change of a design by keys, as a function."""
    return partial(changed, values=dict(keys))


_ZERO_LOOP = {f"filter.{name}.{field}": 0.0 for name in ("C1", "C2") for field in ("mounting_loop", "esl")}
CAUSES: dict[str, tuple[str, str, str, Off]] = {  # key: label, as it is, gone, what takes it away; by group
    "coupling": ("node to chassis", "120 pF", "none", off({"converter.common_mode": None})),
    "spike": ("spikes", AS_IT_IS, GONE, off({"converter.spike": None})),
    "bond": ("battery bond", "bonded", "off", off({"converter.bond": None})),
    "winding": ("winding capacitance", AS_IT_IS, GONE,
                off({"filter.L1.winding_capacitance": 0.0, "filter.L1.interwinding_capacitance": 0.0})),
    "imbalance": ("imbalance", AS_IT_IS, GONE,
                  off({f"filter.L1.{name}": 0.0 for name in ("imbalance", "leakage_imbalance", "capacitance_imbalance")})),
    "loops": ("loops of C1, C2", AS_IT_IS, GONE, off(_ZERO_LOOP)),
    "coax": ("antenna coax", "bonded", "off", off({"load.modem.bond": None})),
    "lead": ("lead", AS_IT_IS, GONE, off({"load.modem.lead": None})),
    "input": ("capacitor's loop", AS_IT_IS, GONE,
              off({"load.modem.input_capacitor.mounting_loop": 0.0, "load.modem.input_capacitor.esl": 0.0})),
}  # fmt: skip
_GROUPS = {
    "The brick: switch off": ("coupling", "spike", "bond"),
    "The board: switch off": ("winding", "imbalance", "loops"),
    "The modem: switch off": ("coax", "lead", "input"),
}


def as_it_is(design: Design) -> Design:
    """The same."""
    return design


def switched(design: Design, values: Mapping[str, Any]) -> Design:
    """A design with sliders' values, and then with the causes gone that are switched off."""
    design = changed(design, {key: given for key, given in values.items() if not key.startswith(CAUSE)})
    for key, gone in values.items():
        if key.startswith(CAUSE):
            design = gone(design)
    return design


# ---- the panel ------------------------------------------------------------------------------------------------------


def causes_panel() -> Panel:
    """One board behind two converters, the causes behind the brick on switches."""
    start = demo("brick").replace(name="Tide gauge, causes switched off", note="Saved from a notebook")
    controls: list[Control | Choice] = []
    for group, keys in _GROUPS.items():
        for key in keys:
            label, here, gone, change = CAUSES[key]
            controls.append(Choice(f"{CAUSE}{key}", label, {here: as_it_is, gone: change}, group=group))
        controls.append(_sliders()[group])
    display = Display(_picture(), _readings, _sentence)
    return Panel("One board, two converters", Calculation(start, compared, change=switched), controls, display)


def _sliders() -> dict[str, Control]:
    return {
        "The brick: switch off": Control(
            "converter.common_mode.coupling", "that coupling", "F", "1 pF", "1 nF", group="The brick: switch off"
        ),
        "The board: switch off": Control(
            "filter.L1.inductance", "choke's inductance", "H", "100 µH", "10 mH", group="The board: switch off"
        ),
        "The modem: switch off": Control(
            "load.modem.lead.length", "lead's length", "m", "5 cm", "5 m", group="The modem: switch off"
        ),
    }


def _picture() -> Picture:
    clean, brick = (
        Plot(
            f"Modem behind the {name}",
            Axis("time", "s", limits=(0, EDGES) if which == "brick" else None),
            Axis("ripple and spikes", "V"),
            (
                Curve(WITHOUT, partial(_wave, which, "before"), BEFORE, (0, (5, 2))),
                Curve(WITH, partial(_wave, which, "after"), AFTER, "-", kept=which == "brick"),
                Level("required, in 20 MHz", lambda r: (-r.limit / 2, r.limit / 2), counts=True),
            ),
        )
        for name, which in (("clean converter", "clean"), ("brick, both edges", "brick"))
    )
    made = Plot(
        "Who makes it, behind the brick",
        Axis("frequency", "Hz", "log", limits=(1e5, 2e8)),
        Axis("level", "dBµV", span=100),
        tuple(Curve(words, partial(_level, source), colour, dash) for source, (words, colour, dash) in SOURCES.items()),
    )
    return Picture([clean, brick, made], name="One board, two converters", size=(924, 320))


def _wave(which: str, name: str, r: TwoBoards) -> tuple[np.ndarray, np.ndarray]:
    line = getattr(r, which)
    return line.times, getattr(line, name)


def _level(source: str, r: TwoBoards) -> tuple[np.ndarray, np.ndarray] | None:
    return r.levels.get(source)


def _readings(r: TwoBoards) -> tuple[Reading, ...]:
    clean, brick = r.clean, r.brick
    side = "within" if brick.ripple <= r.limit else "above"
    return (
        Reading("clean: left at the modem", clean.spike, "V", note=_of(clean.spike_before, clean.spike)),
        Reading("brick: left, full bandwidth", brick.spike, "V", note=_of(brick.spike_before, brick.spike)),
        Reading("brick: left, in 20 MHz", brick.ripple, "V", note=f"{side} the {number(r.limit, 'V')} required"),
        Reading("common-mode drive alone", r.alone["common_mode"], "V", note="full bandwidth"),
        Reading("ripple current alone", r.alone["ripple"], "V", note=f"spikes alone {number(r.alone['spike'], 'V')}"),
    )


def _of(before: float, after: float) -> str:
    return f"of {number(before, 'V')}: 1/{number(before / after, '', 2)}"


def _sentence(r: TwoBoards) -> str:
    most = max(r.alone, key=lambda source: r.alone[source])
    side = "within" if r.brick.ripple <= r.limit else "above"
    return (
        f"Behind the clean converter {number(r.clean.spike, 'V')} of {number(r.clean.spike_before, 'V')} are left, behind the brick "
        f"{number(r.brick.spike, 'V')} of {number(r.brick.spike_before, 'V')}, of which the {SOURCES[most][0]} makes "
        f"{number(r.alone[most], 'V')}; in 20 MHz {number(r.brick.ripple, 'V')}, {side} the {number(r.limit, 'V')} required."
    )
