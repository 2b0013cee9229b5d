"""The quick figures of a panel against the full analyses: the same ripple, close steps, the same verdict on stability."""

from __future__ import annotations

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.linear.fourier import step_from_response
from filterlib.analysis.linear.frequency_response import bode
from filterlib.analysis.linear.steps import steps
from filterlib.analysis.ripple.nominal import FREQUENCIES, nominal
from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.stability.stability import stability
from filterlib.errors import FilterlibError
from filterlib.parts.tables import data_folder
from filterlib.system.ranges.changes import changed
from filterlib.system.solution import solve
from tests.designs import KNOWN, converter, design, film, resistive, series, shunt

DEMOS = {name: load_design(data_folder() / "designs" / f"tide-gauge-{name}.toml") for name in ("clean", "brick")}
STIFF = converter(shape="triangle", output_capacitance="470 µF", output_esr="10 mΩ", output_resistance="2 mΩ")


@pytest.mark.parametrize("name", DEMOS)
@pytest.mark.parametrize("load", ["modem", "logger"])
def test_ripple_is_that_of_the_full_analysis(name, load):
    """second method: `ripple`, which solves harmonics alone and for every place."""
    one, state = DEMOS[name], DEMOS[name].state()
    full, quick = ripple(solve(one, state), interval=False), nominal(solve(one), load)
    for label, found in ((load, quick.ripple), (f"{load}_before", quick.ripple_before)):
        np.testing.assert_allclose(found, full.waveforms[label, "20MHz"], rtol=0, atol=1e-9 * np.ptp(found))
    assert quick.peak_to_peak == pytest.approx(full.figures[load, "20MHz"].peak_to_peak, rel=1e-9, abs=0)


def test_step_without_the_filter_is_there_where_the_filter_oscillates():
    """hand: half of 60 W / 24 V through 50 milliohm at rest; second method: the same load behind a filter that is stable."""
    source = converter(**(KNOWN | {"output_resistance": "50 mΩ"}))
    load = {"name": "modem", "kind": "constant_power", "power": "60 W"}
    bad = nominal(solve(design(series("47 µH", "5 mΩ"), shunt("2.2 µF"), source=source, load=load)), "modem")
    good = nominal(solve(design(series("1 µH", "0.5 Ω"), shunt("2.2 µF"), source=source, load=load)), "modem")
    assert (bad.stable, good.stable) == (False, True)
    each = [one.step_before / one.step_current for one in (bad, good)]
    assert each[0][-1] == pytest.approx(-50e-3, rel=0, abs=0.05 * np.abs(each[0]).max())  # ohm; it rings on a little
    np.testing.assert_allclose(*each, rtol=0.03, atol=1e-3)  # ohm


def test_what_is_lost_on_the_way_by_ohms_law():
    """hand: 2.8 A of a load of 10 ohm at 28 V through a choke of 0.2 ohm; the load sees 28 V of 10.2 ohm in series."""
    one = design(series(resistance="0.2 ohm"), source=converter(output_resistance=0), load=resistive("10 ohm"))
    found = nominal(solve(one), "modem")
    assert found.voltage + found.drop == pytest.approx(28.0, rel=1e-12, abs=0)
    assert found.drop == pytest.approx(28.0 * 0.2 / 10.2, rel=1e-2, abs=0)


@pytest.mark.parametrize("name", DEMOS)
def test_response_is_that_of_the_full_analysis(name):
    """second method: `bode`, asked at the same frequencies."""
    found = bode(solve(DEMOS[name], DEMOS[name].state()), "modem", frequencies=FREQUENCIES)
    quick = nominal(solve(DEMOS[name]), "modem")
    np.testing.assert_allclose(quick.with_filter, found.load_over_source, rtol=1e-9, atol=0)
    np.testing.assert_allclose(quick.with_filter / quick.without_filter, found.with_over_without, rtol=1e-8, atol=0)


@pytest.mark.parametrize("name", DEMOS)
@pytest.mark.parametrize("changes", [{}, {"filter.C2.capacitance": "47 µF"}, {"load.modem.length": "5 m"}])
def test_step_is_that_of_the_poles(name, changes):
    """second method: `steps`, from poles and residues, exact; the difference against the greatest excursion."""
    one = changed(DEMOS[name], changes)
    exact, quick = steps(solve(one), "modem"), nominal(solve(one), "modem")
    assert quick.step_current == pytest.approx(exact.step_current, rel=1e-12, abs=0)
    inside = quick.times <= exact.times[-1]
    there = np.interp(quick.times[inside], exact.times, exact.load_step)
    assert np.abs(quick.step[inside] - there).max() < 0.02 * np.abs(exact.load_step).max()


def test_step_of_a_resonance():
    """hand: 1 - exp(-d t) (cos(w t) + d/w sin(w t)) of a second-order low-pass of Q = 5 at 10 kHz."""
    w0, q = 2 * np.pi * 1e4, 5.0
    f, t = np.logspace(1, 7, 361), np.linspace(1e-6, 5e-4, 200)
    s = 2j * np.pi * f
    found = step_from_response(f, w0**2 / (s**2 + s * w0 / q + w0**2), t)
    d = w0 / (2 * q)
    w = np.sqrt(w0**2 - d**2)
    np.testing.assert_allclose(found, 1 - np.exp(-d * t) * (np.cos(w * t) + d / w * np.sin(w * t)), rtol=0, atol=0.01)


def modem(power, bandwidth="500 kHz"):
    return {"name": "modem", "kind": "constant_power", "power": power, "loop_bandwidth": bandwidth}


@pytest.mark.parametrize("power", ["2 W", "5 W", "10 W", "20 W", "40 W", "112 W", "300 W"])
@pytest.mark.parametrize("extra", [(), ({"kind": "damping", "part": film("10 µF"), "resistance": "2 ohm"},)])
def test_verdict_on_stability_is_that_of_the_poles(power, extra):
    """second method: the poles."""
    one = design(shunt(), series(), shunt(), *extra, source=STIFF, load=modem(power))
    assert nominal(solve(one), "modem").stable == stability(solve(one)).stable


def test_both_verdicts_occur():
    """hand: 112 W behind 10 uH and 1 uF grows, and 2 W does not: see test_stability."""
    found = [
        nominal(solve(design(shunt(), series(), shunt(), source=STIFF, load=modem(p))), "modem")
        for p in ("112 W", "2 W")
    ]
    assert [one.stable for one in found] == [False, True]
    assert not len(found[0].ripple)
    assert np.isnan(found[0].peak_to_peak)


def test_two_loads_of_constant_power():
    """second method: the poles; a small load is held up, and a large one beside it is not."""
    second = modem("1 W") | {"name": "second"}
    verdicts = []
    for loads in ([modem("1 W")], [modem("1 W"), second], [modem("60 W"), second]):
        one = design(shunt(), series(), shunt(), source=STIFF, load=loads)
        verdicts.append(nominal(solve(one), "modem").stable)
        assert verdicts[-1] == stability(solve(one)).stable
    assert verdicts[0]
    assert not verdicts[-1]


def test_what_is_kept_is_told_apart():
    """The side without filter is kept while only the filter moves; a load that moves makes it anew."""
    clean = DEMOS["clean"]
    first = nominal(solve(clean), "modem")
    assert nominal(solve(changed(clean, {"filter.C1.capacitance": "10 µF"})), "modem").ripple_before is not None
    other = nominal(solve(changed(clean, {"load.modem.length": "4 m"})), "modem")
    fresh = ripple(solve(changed(clean, {"load.modem.length": "4 m"}), clean.state()), interval=False)
    assert other.peak_to_peak_before != first.peak_to_peak_before
    assert other.peak_to_peak_before == pytest.approx(
        fresh.figures["modem_before", "20MHz"].peak_to_peak, rel=1e-3, abs=0
    )


def test_a_load_that_is_not_there():
    with pytest.raises(FilterlibError, match="modem"):
        nominal(solve(DEMOS["clean"]), "modme")


def test_a_band_that_is_not_there_is_named_with_the_nearest():
    one = design(shunt(), series(), shunt())
    with pytest.raises(FilterlibError, match='no band "20Mhz"; did you mean "20MHz"'):
        nominal(solve(one), "modem", band="20Mhz")
