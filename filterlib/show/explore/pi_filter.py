"""Panel of the notebook that one starts from: converter, capacitor, choke, capacitor, wire and load, all on sliders."""

from __future__ import annotations

from functools import partial

import numpy as np

from filterlib.analysis.exploration import Explored, explore, refined
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.show import panels as ui
from filterlib.show.explore.tide_gauge import LOAD, WITH, WITHOUT, demo, demo_file
from filterlib.show.style import AFTER, BEFORE
from filterlib.system.design import Design
from filterlib.units import decibels
from filterlib.words.quantities import interval_text, number
from filterlib.words.stability_sentences import UNSTABLE, reason_text

LEAST_RATING = 35.0  # [V] of a capacitor on the 28 V line: a quarter above it
RANGE = "range (uncertain parameters)"


def pi_panel() -> ui.Panel[Design, Explored]:
    """The pi filter of the tide gauge on sliders."""
    clean = demo("clean")
    start = clean.replace(name="Tide gauge, from the sliders", note="Saved from a notebook")
    calculation = ui.Calculation(start, partial(explore, load=LOAD), refined, file=demo_file("clean"))
    display = ui.Display(_picture(), _readings, _sentence)
    return ui.Panel("Pi filter of the tide gauge", calculation, _controls(clean), display)


def _controls(clean: Design) -> list[ui.Control | ui.Choice]:
    converters = {one.name: one for one in (clean.converter, demo("brick").converter)}
    source: list[ui.Control | ui.Choice] = [
        ui.Choice("converter", "converter", converters, group="Converter"),
        ui.Control("converter.ripple.peak_to_peak", "its ripple", "V", "10 mV", "1 V", scale="log", group="Converter"),
        ui.Control("converter.switching_frequency", "switching frequency", "Hz", "50 kHz", "1 MHz", group="Converter"),
        ui.Control("converter.output_capacitance", "capacitance inside", "F", "2.2 µF", "470 µF", group="Converter"),
        ui.Control("converter.output_esr", "ESR inside", "ohm", "1 mΩ", "200 mΩ", group="Converter"),
    ]
    choke: list[ui.Control | ui.Choice] = [
        ui.Choice("filter.L1.part", "choke", ui.parts(CommonModeChoke), group="Choke"),
        ui.Control("filter.L1.loop_leakage", "leakage of the loop", "H", "470 nH", "470 µH", group="Choke"),
        ui.Control("filter.L1.dc_resistance", "copper per winding", "ohm", "2 mΩ", "500 mΩ", group="Choke"),
    ]
    load: list[ui.Control | ui.Choice] = [
        ui.Control("load.modem.length", "wire to the modem", "m", "10 cm", "20 m", group="Wire and load"),
        ui.Control("load.modem.power", "modem's power", "W", "10 W", "150 W", group="Wire and load"),
        ui.Control(
            "point.transmitting.temperature", "temperature", "K", "-20 °C", "60 °C", steps=80, group="Wire and load"
        ),
    ]
    return [*source, *_capacitor("C1"), *choke, *_capacitor("C2"), *load]


def _capacitor(name: str) -> list[ui.Control | ui.Choice]:
    """Part, capacitance and ESR of one of the two."""
    rated = {word: part for word, part in ui.parts(Capacitor).items() if part.rated_voltage >= LEAST_RATING}
    group = f"{name}, before the choke" if name == "C1" else f"{name}, behind the choke"
    return [
        ui.Choice(f"filter.{name}.part", f"{name} part", rated, group=group),
        ui.Control(f"filter.{name}.capacitance", f"{name} capacitance", "F", "10 nF", "1 mF", group=group),
        ui.Control(f"filter.{name}.esr", f"{name} constant ESR", "ohm", "1 mΩ", "2 ohm", group=group),
    ]


def _picture() -> ui.Picture[Explored]:
    response: ui.Plot[Explored] = ui.Plot(
        "Modem over ripple source",
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
        ui.Axis("time", "s", zero=True),
        ui.Axis("deviation", "V", zero=True),
        (
            ui.Curve(WITHOUT, lambda r: _over(r.nominal.times, r.nominal.step_before)),
            ui.Curve(WITH, lambda r: _over(r.nominal.times, r.nominal.step), kept=True),
        ),
    )
    before: ui.Plot[Explored] = ui.Plot(
        "Ripple without filter",
        ui.Axis("time", "s"),
        ui.Axis("ripple", "V"),
        (ui.Curve(WITHOUT, lambda r: _over(r.nominal.period, r.nominal.ripple_before)), _limit()),
    )
    after: ui.Plot[Explored] = ui.Plot(
        "Ripple with filter",
        ui.Axis("time", "s"),
        ui.Axis("ripple", "V"),
        (
            ui.Range(RANGE, lambda r: _range(r, 1)),
            ui.Range(RANGE, lambda r: _range(r, -1)),
            ui.Curve(WITH, lambda r: _over(r.nominal.period, r.nominal.ripple), kept=True),
            _limit(),
        ),
    )
    return ui.Picture([response, step, (before, after)], name="Pi filter of the tide gauge", size=(924, 330))


def _limit() -> ui.Level[Explored]:
    return ui.Level("requirement", lambda r: (-r.limit / 2, r.limit / 2), counts=True)


def _over(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
    return (x, y) if len(y) else None


def _range(r: Explored, side: int) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Where the peaks of one side lie, from the narrowest to the widest ripple."""
    if r.figure is None or not len(r.nominal.ripple):
        return None
    middle = (r.nominal.ripple.max() + r.nominal.ripple.min()) / 2
    ends = (middle + side * r.figure.low / 2, middle + side * r.figure.high / 2)
    return r.nominal.period[[0, -1]], np.full(2, min(ends)), np.full(2, max(ends))


def _readings(r: Explored) -> tuple[ui.Reading, ...]:
    one = r.nominal
    frequency, height, _ = max(one.resonances, key=lambda peak: peak[1], default=(np.nan, np.nan, ""))
    left = number(one.peak_to_peak_before / one.peak_to_peak, "", 2) if one.stable else ""
    return (
        ui.Reading(
            "modem's ripple, to 20 MHz",
            one.peak_to_peak,
            "V",
            _verdict(r, "ripple"),
            f"at most {number(r.limit, 'V')}",
        ),
        ui.Reading(RANGE, _range_text(r), note=r.decided_by and f"mostly from the {r.decided_by}"),
        ui.Reading("without the filter", one.peak_to_peak_before, "V", note=f"{left} times as much" if left else ""),
        ui.Reading("highest peak", frequency, "Hz", note=f"{height:+.1f} dB" if np.isfinite(height) else ""),
        ui.Reading(
            "DC drop to the modem", one.drop, "V", _verdict(r, "voltage"), f"{number(one.voltage, 'V')} at the modem"
        ),
    )


def _verdict(r: Explored, kind: str) -> str:
    return next((one.verdict for one in r.verdicts if one.kind == kind and one.load == LOAD), "")


def _range_text(r: Explored) -> str:
    if not r.nominal.stable:
        return "none"
    return "a moment later" if r.figure is None else interval_text(r.figure.low, r.figure.high, "V")


def _sentence(r: Explored) -> str:
    one = r.nominal
    if not one.stable:
        return f"The circuit is {reason_text(r.unstable) or UNSTABLE}."
    side = "within" if one.peak_to_peak <= r.limit else "above"
    deepest = one.step[np.argmax(np.abs(one.step))]
    return (
        f"The filter leaves {number(one.peak_to_peak, 'V')} of {number(one.peak_to_peak_before, 'V')} of ripple at the modem, {side} "
        f"the {number(r.limit, 'V')} allowed; a step of {number(one.step_current, 'A')} moves its voltage by "
        f"{number(abs(float(deepest)), 'V')}."
    )
