"""The panel of the pi filter: what it shows is what the analyses say, at once and when the sliders rest."""

from __future__ import annotations

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.exploration import explore, refined
from filterlib.analysis.ripple.ripple import ripple
from filterlib.show.explore.pi_filter import pi_panel
from filterlib.show.explore.tide_gauge import demo
from filterlib.system.solution import solve
from filterlib.system.sources.source_spectra import ScaleError

BRICK = "Skerry brick (invented)"


@pytest.fixture(scope="module")
def panel():
    return pi_panel()


def test_it_starts_from_the_demo(panel):
    """second method: the full ripple of the demo's own file."""
    clean = demo("clean")
    assert panel.design.replace(name=clean.name, note=clean.note) == clean
    full = ripple(solve(clean), interval=False).figures["modem", "20MHz"]
    assert panel.result.nominal.peak_to_peak == pytest.approx(full.peak_to_peak, rel=1e-9, abs=0)


def test_the_brick_is_the_brick(panel):
    """A converter that is chosen brings its own values to the sliders, those within it too."""
    other = pi_panel()
    other.move("converter", BRICK)
    assert other.design.converter == demo("brick").converter
    assert other.values["converter.ripple.peak_to_peak"] == 0.75
    other.move("converter.ripple.peak_to_peak", "0.8 V")
    assert other.design.converter.ripple.peak_to_peak == 0.8
    assert other.design.converter.spike == demo("brick").converter.spike


def test_a_setting_that_contradicts_itself_is_said_in_words(panel):
    """A spike of 1.6 V alone reads more than that through the ripple's bandwidth: no such converter."""
    other = pi_panel()
    other.move("converter", BRICK)
    good = other.png
    with pytest.raises(ScaleError):
        other.move("converter.ripple.peak_to_peak", "0.1 V")
    assert "a spike of 1.6 V alone" in other.error
    assert other.old
    assert other.png == good


def test_at_rest_the_verdict_is_the_reviews(panel):
    """second method: the review of the same design, whose range is another test's."""
    shares = []
    panel.draw(panel.calculation.refine(panel.design, panel.result, shares.append))
    assert len(shares) > 3
    wanted = next(one for one in panel.result.verdicts if one.kind == "ripple" and one.load == "modem")
    assert panel.readings[0].verdict == wanted.verdict == "met"
    assert " to " in panel.readings[1].value
    panel.update()


def test_an_unstable_setting_says_so_and_draws_no_ripple(panel):
    """second method: the poles of the same design; without its electrolytic the modem is not held up."""
    bare = panel.design.replace(
        loads=tuple(one.replace(input_capacitor=None, loop_bandwidth=500e3) for one in panel.design.loads)
    )
    shown = explore(bare, "modem")
    rested = refined(bare, shown, lambda share: None)
    for one in (shown, rested):
        assert not one.nominal.stable
        panel.draw(one)
        assert "unstable" in panel.sentence
        assert panel.readings[0].verdict == ""
        assert "UNSTABLE" in panel.display.alarm(panel.result)
        assert np.ptp(one.nominal.ripple_before) > 0.05  # the unfiltered curve stays
        assert not list(panel.picture.faults())
    panel.update()


def test_the_saved_design_is_reviewed_alike(panel, tmp_path):
    path = panel.save_design(tmp_path)
    assert load_design(path) == panel.design


def test_every_slider_does_something(panel):
    """The whole check runs in the notebook; here each slider, one step from its start."""
    for name, slider in panel.state.sliders():
        value = slider.values[min(panel.state.place(name) + 3, len(slider.values) - 1)]
        other = panel.at({name: value}).nominal
        assert not np.array_equal(other.with_filter, panel.result.nominal.with_filter) or (
            other.peak_to_peak != panel.result.nominal.peak_to_peak
        ), name


def test_any_design_file_is_on_sliders_with_its_own_parts(tmp_path):
    """Another name, load and filter; saved, its comments stay."""
    file = tmp_path / "pump.toml"
    file.write_text(OWN)
    own = pi_panel(file)
    assert {"filter.Cin.capacitance", "filter.Ldm.inductance", "load.pump.current"} <= set(own.state.controls)
    assert [name for name, one in own.state.controls.items() if not one.more] == [
        "filter.Cin.capacitance", "filter.Ldm.inductance", "converter.ripple.peak_to_peak",
    ]  # fmt: skip
    assert "no limit" in own.readings[0].note
    assert own.readings[0].verdict == ""
    own.move("load.pump.current", "1 A")
    text = own.save_design(tmp_path).read_text(encoding="utf-8")
    assert 'current = "1 A"' in text
    assert "# bought" in text


OWN = """
format = 1
name = "Pump"
[converter]
name = "Brick (invented)"
output_voltage = "12 V"
switching_frequency = "300 kHz"
ripple = { peak_to_peak = "80 mV", bandwidth = "20 MHz" }
[[filter]]
kind = "capacitor"
name = "Cin"            # bought
part = "film-1u0-63V"
[[filter]]
kind = "differential_choke"
name = "Ldm"
part = "dm-10u-6A"
[[load]]
name = "pump"
kind = "constant_current"
current = "0.6 A"
"""
