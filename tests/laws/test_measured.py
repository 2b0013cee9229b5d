"""Laws of measured parts: a fitted network is passive, comes back from its own curve, and does not depend on spelling."""

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from filterlib.errors import InputError
from filterlib.network.circuit import Circuit
from filterlib.parts.curves.curve_file import read_impedance_curve
from filterlib.parts.curves.impedance_curve import ImpedanceCurve, minimum_phase
from filterlib.parts.curves.measured import add_sections
from filterlib.parts.curves.one_port import OnePort, Section
from filterlib.parts.curves.one_port_fit import LARGEST_ERROR, RMS_ERROR, fit_one_port

EVERYWHERE = np.geomspace(1e-3, 1e13, 401)
SLOW = settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much]
)


def logs(low, high):
    return st.floats(np.log10(low), np.log10(high)).map(lambda x: float(10**x))


@st.composite
def capacitors(draw):
    """A network of the fitted structure, its section's corner well inside 1 kHz to 100 MHz."""
    farads, ohms = draw(logs(1e-8, 1e-4)), draw(logs(3e-3, 0.3))
    port = OnePort(ohms, draw(logs(5e-10, 2e-8)), farads)
    kind, size, at = draw(st.sampled_from(["none", "RC", "RL"])), draw(logs(0.2, 5)), draw(logs(1e4, 1e7))
    peak, w = size * float(np.abs(port.impedance([at])[0])), 2 * np.pi * at
    extra = {"RC": (Section(peak, capacitance=1 / (w * peak)),), "RL": (Section(peak, peak / w),)}
    return OnePort(ohms, port.inductance, farads, extra.get(kind, ()))


@st.composite
def chokes(draw):
    """A tank, its resonance between 300 kHz and 30 MHz, behind a resistance; with a section of R and L."""
    henries, at, quality = draw(logs(1e-6, 1e-4)), draw(logs(3e5, 3e7)), draw(logs(0.5, 20))
    w = 2 * np.pi * at
    tank = Section(quality * w * henries, henries, 1 / (w * w * henries))
    corner = 2 * np.pi * draw(logs(3e4, 3e5))
    small = Section(corner * henries / 5, henries / 5)
    return OnePort(draw(logs(3e-3, 0.05)), 0.0, None, (tank, small) if draw(st.booleans()) else (tank,))


@SLOW
@given(
    port=st.one_of(capacitors(), chokes()),
    phase=st.booleans(),
    noise=st.floats(0, 0.03),
    seed=st.integers(0, 2**32 - 1),
)
def test_a_fitted_network_is_passive_at_every_frequency_and_as_near_as_it_says(port, phase, noise, seed):
    f = np.geomspace(1e3, 1e8, 60)
    z = port.impedance(f) * np.exp(np.random.default_rng(seed).normal(0, noise, f.size))
    fitted = _fit(ImpedanceCurve(f, z if phase else np.abs(z)), port)
    found = fitted.one_port.impedance(EVERYWHERE)
    assert np.all(found.real > -1e-12 * np.abs(found))
    elements = [fitted.one_port.resistance, fitted.one_port.inductance, fitted.one_port.capacitance or 0.0]
    for one in fitted.one_port.sections:
        elements += [one.resistance, one.inductance, one.capacitance]
    assert min(elements) >= 0
    assert fitted.rms_error <= RMS_ERROR
    assert fitted.largest_error <= LARGEST_ERROR


def _fit(curve, port):
    blocks = port.capacitance is not None
    try:
        return fit_one_port(curve, blocks=blocks, resistance=0.0 if blocks else port.resistance)
    except (
        InputError
    ):  # a refusal is allowed, for noise; a network that is not passive or further away than it says is not
        assume(False)


@SLOW
@given(port=st.one_of(capacitors(), chokes()), phase=st.booleans())
def test_the_curve_of_a_known_network_comes_back_within_one_percent(port, phase):
    f = np.geomspace(1e3, 1e8, 100)
    z = port.impedance(f)
    blocks = port.capacitance is not None
    found = fit_one_port(
        ImpedanceCurve(f, z if phase else np.abs(z)), blocks=blocks, resistance=0.0 if blocks else port.resistance
    ).one_port.impedance(f)
    miss = np.abs(found / z - 1) if phase else np.abs(np.abs(found / z) - 1)
    assert np.max(miss) < 0.01


@SLOW
@given(port=st.one_of(capacitors(), chokes()))
def test_the_ladder_is_the_network(port):
    ladder = add_sections(port, Circuit(), "b", "0") if port.sections else None
    assume(ladder is not None)
    f = np.geomspace(1, 1e9, 60)
    assert_allclose(ladder.impedance(f, "b"), port.behind(2j * np.pi * f), rtol=1e-9, atol=0)
    poles = ladder.poles()
    assert np.all(poles.real <= 1e-9 * np.abs(poles))


@settings(max_examples=25, deadline=None)
@given(port=st.one_of(capacitors(), chokes()))
def test_the_phase_of_a_passive_network_follows_from_its_magnitude(port):
    """second method: the phase of the elements themselves."""
    f = np.geomspace(1e2, 1e9, 1401)
    inside = f[400:1001:50]
    low, high = minimum_phase(f, np.abs(port.impedance(f)), inside)
    phase = np.degrees(np.angle(port.impedance(inside)))
    assert np.all((phase > low - 4) & (phase < high + 4))


@settings(max_examples=60, deadline=None)
@given(
    data=st.lists(st.tuples(logs(1.13, 1.4), logs(1e-3, 1e6), st.floats(-90, 90)), min_size=20, max_size=40),
    start=logs(10, 1e4),
    separator=st.sampled_from([";", ",", "\t"]),
    decimal=st.sampled_from([".", ","]),
    unit=st.sampled_from([("Hz", 1.0), ("kHz", 1e3), ("MHz", 1e6)]),
    ohm=st.sampled_from([("ohm", 1.0), ("mΩ", 1e-3), ("kohm", 1e3)]),
    end=st.sampled_from(["\n", "\r\n"]),
    phase=st.booleans(),
)  # fmt: skip
def test_the_same_numbers_whatever_separator_decimal_sign_and_unit(
    data, start, separator, decimal, unit, ohm, end, phase, tmp_path_factory
):  # fmt: skip
    assume(separator != decimal)
    f = start * np.cumprod([ratio for ratio, _, _ in data])
    z, degrees = np.array([z for _, z, _ in data]), np.array([p for _, _, p in data])
    columns = [f / unit[1], z / ohm[1], *([degrees] if phase else [])]
    titles = [f"frequency [{unit[0]}]", f"|Z| [{ohm[0]}]", *(["phase [deg]"] if phase else [])]
    rows = [separator.join(repr(float(v)).replace(".", decimal) for v in row) for row in zip(*columns, strict=True)]
    path = tmp_path_factory.getbasetemp() / "spelling.csv"
    path.write_text(end.join(["Quay part (invented)", separator.join(titles), *rows, ""]), encoding="utf-8", newline="")
    curve = read_impedance_curve(path)
    assert curve.has_phase == phase
    assert_allclose(curve.frequencies, f, rtol=1e-12, atol=0)
    assert_allclose(curve.impedance, z * np.exp(1j * np.radians(degrees)) if phase else z, rtol=1e-12, atol=0)
    assert list(curve.lines) == list(range(3, 3 + len(f)))


@pytest.mark.parametrize("power", [-2.0, -1.5, 1.6, 2.0])
def test_no_network_is_found_for_what_is_steeper_than_any(power):
    """hand: a slope of two is a phase of 180 degrees."""
    f = np.geomspace(1e3, 1e8, 60)
    with pytest.raises(InputError, match="not a passive one-port"):
        fit_one_port(ImpedanceCurve(f, 10 * (f / 1e5) ** power), blocks=power < 0)
