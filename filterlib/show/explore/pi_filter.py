"""Panel of the notebook that one starts from: converter, capacitor, choke, capacitor, wire and load, all on sliders."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np

from filterlib.analysis.exploration import Explored, explore, refined
from filterlib.bench.design_copy import changed_text
from filterlib.bench.design_file import load_design
from filterlib.show import panels as ui
from filterlib.show.explore.design_controls import circuit, controls, watched
from filterlib.show.explore.lessons import PI_FILTER
from filterlib.show.explore.tide_gauge import WITH, WITHOUT, demo, demo_file
from filterlib.show.style import AFTER, BEFORE
from filterlib.system.design import Design
from filterlib.units import decibels
from filterlib.words.quantities import number, range_text
from filterlib.words.stability_sentences import UNSTABLE, reason_text

RANGE = "range (uncertain parameters)"
LEAD_IN = 0.06  # of the picture's time, before the step
LONGEST = 100  # letters of a design's name that stay
_LARGE = ("filter.C1.capacitance", "filter.L1.loop_leakage", "filter.C2.capacitance", "converter")


def pi_panel(file: str | Path | None = None, *, lesson: ui.Lesson | None = None) -> ui.Panel[Design, Explored]:
    """The pi filter of the tide gauge on sliders, or any design file with its own converter, filter and loads.

    Raises InputError where the file cannot be read.
    """
    path = demo_file("clean") if file is None else Path(file)
    design = load_design(path)
    start = design.replace(name=f"{design.name[:LONGEST]}, from the sliders")
    converters = [design.converter, *([demo("brick").converter] if file is None else [])]
    every = controls(start, {one.name: one for one in converters}, large=_LARGE)
    load = watched(design).name
    calculation = ui.Calculation(start, partial(explore, load=load), refined, text=partial(changed_text, path))
    display = ui.Display(
        _picture(load), partial(_readings, load), partial(_sentence, load), _alarm, circuit(start, load, every),
        lesson or (PI_FILTER if file is None else ui.Lesson()),
    )  # fmt: skip
    return ui.Panel("Pi filter of the tide gauge" if file is None else design.name, calculation, every, display)


def _picture(load: str) -> ui.Picture[Explored]:
    response: ui.Plot[Explored] = ui.Plot(
        f"{load.capitalize()} over ripple source",
        ui.Axis("frequency", "Hz", "log", limits=(1e2, 1e8)),
        ui.Axis("level", "dB", span=160),
        (
            ui.Curve(
                WITHOUT, lambda r: (r.nominal.frequencies, decibels(r.nominal.without_filter)), BEFORE, (0, (5, 2))
            ),
            ui.Curve(WITH, lambda r: (r.nominal.frequencies, decibels(r.nominal.with_filter)), AFTER, "-", kept=True),
        ),
    )
    step: ui.Plot[Explored] = ui.Plot(
        "After a step of its current",
        ui.Axis("time", "s"),
        ui.Axis("deviation", "V", zero=True),
        (
            ui.Curve(WITHOUT, lambda r: _stepped(r.nominal.times, r.nominal.step_before)),
            ui.Curve(WITH, lambda r: _stepped(r.nominal.times, r.nominal.step), kept=True),
        ),
    )
    ripple: ui.Plot[Explored] = ui.Plot(
        "One period of its ripple",
        ui.Axis("time", "s"),
        ui.Axis("ripple", "V"),
        (
            ui.Range(RANGE, lambda r: _range(r, 1)),
            ui.Range(RANGE, lambda r: _range(r, -1)),
            ui.Curve(WITHOUT, lambda r: _over(r.nominal.period, r.nominal.ripple_before)),
            ui.Curve(WITH, lambda r: _over(r.nominal.period, r.nominal.ripple), kept=True),
            ui.Level(
                "requirement",
                lambda r: (-r.limit / 2, r.limit / 2) if np.isfinite(r.limit) else None,
                counts=True,
            ),
        ),
    )
    return ui.Picture([response, step, ripple], name="Pi filter", size=ui.LOW)


def _over(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
    return (x, y) if len(y) else None


def _stepped(times: np.ndarray, deviation: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
    """A deviation that begins before the step."""
    if not len(deviation):
        return None
    before = np.array([-LEAD_IN * times[-1], 0.0])
    return np.concatenate((before, times)), np.concatenate(([0.0, 0.0], deviation))


def _range(r: Explored, side: int) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Where the peaks of one side lie, from the narrowest to the widest ripple."""
    if r.figure is None or not len(r.nominal.ripple):
        return None
    middle = (r.nominal.ripple.max() + r.nominal.ripple.min()) / 2
    ends = (middle + side * r.figure.low / 2, middle + side * r.figure.high / 2)
    return r.nominal.period[[0, -1]], np.full(2, min(ends)), np.full(2, max(ends))


def _readings(load: str, r: Explored) -> tuple[ui.Reading, ...]:
    one = r.nominal
    frequency, height, _ = max(one.resonances, key=lambda peak: peak[1], default=(np.nan, np.nan, ""))
    left = number(one.peak_to_peak_before / one.peak_to_peak, "", 2) if one.stable else ""
    limit = f"at most {number(r.limit, 'V')}" if np.isfinite(r.limit) else "no limit in the design"
    return (
        ui.Reading(f"{load}'s ripple {one.band.words}", one.peak_to_peak, "V", _verdict(r, "ripple", load), limit),
        ui.Reading("range", _range_text(r), note=_range_note(r)),
        ui.Reading("without the filter", one.peak_to_peak_before, "V", note=f"{left} times as much" if left else ""),
        ui.Reading("highest peak", frequency, "Hz", note=f"{height:+.1f} dB" if np.isfinite(height) else ""),
        ui.Reading(
            f"DC drop to the {load}",
            one.drop,
            "V",
            _verdict(r, "voltage", load),
            f"{number(one.voltage, 'V')} at the {load}",
        ),
    )


def _verdict(r: Explored, kind: str, load: str) -> str:
    """The judgement; while the sliders move, on which side of the limit the nominal figure is."""
    judged = next((one.verdict for one in r.verdicts if one.kind == kind and one.load == load), "")
    if judged or kind != "ripple" or not (r.nominal.stable and np.isfinite(r.limit)):
        return judged
    return f"{'within' if r.nominal.peak_to_peak <= r.limit else 'above'} the limit, nominal"


def _range_text(r: Explored) -> str:
    if not r.nominal.stable:
        return "none"
    one = r.figure
    if one is None:
        return "a moment later"
    return range_text(one.low, one.high, "V", 2 if one.wide else 3)


def _range_note(r: Explored) -> str:
    one = r.figure
    if one is None or not r.nominal.stable:
        return ""
    probable = range_text(one.probable_low, one.probable_high, "V", 2 if one.wide else 3)
    return f"probably {probable}" if probable != "none" else ""


def _alarm(r: Explored) -> str:
    return "" if r.nominal.stable else "✗ UNSTABLE: it oscillates"


def _sentence(load: str, r: Explored) -> str:
    one = r.nominal
    if not one.stable:
        return f"The circuit is {reason_text(r.unstable) or UNSTABLE}."
    side = ""
    if np.isfinite(r.limit):
        side = f", {'within' if one.peak_to_peak <= r.limit else 'above'} the {number(r.limit, 'V')} allowed"
    cause = f" The range is mostly from the {r.decided_by}." if r.decided_by else ""
    deepest = one.step[np.argmax(np.abs(one.step))]
    return (
        f"The filter leaves {number(one.peak_to_peak, 'V')} of {number(one.peak_to_peak_before, 'V')} of ripple at the {load}{side}; "
        f"a step of {number(one.step_current, 'A')} moves its voltage by {number(abs(float(deepest)), 'V')}.{cause}"
    )
