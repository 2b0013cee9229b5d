"""The least damped poles followed one by one: those that the eigenvalues of the whole circuit give, without them."""

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.stability import over_uncertainty
from filterlib.analysis.stability.stability import (
    by_least_damped,
    least_damped,
    least_damping,
    poles_in_band,
    stability,
)
from filterlib.network.equations import modes
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import solve
from tests.analysis.stability.test_over_uncertainty import capacitor, choke, feeble
from tests.benchmarks.growth import design as of_size


@pytest.fixture
def no_eigenvalues(monkeypatch):
    """Fails where the poles of a whole circuit are taken."""

    def refuse(*_):
        raise AssertionError("eigenvalues of a whole circuit")

    monkeypatch.setattr(modes, "bands", refuse)


def ladder(folder, stages, watts=56):
    path = folder / f"{stages}.toml"
    path.write_text(of_size(stages=stages, watts=watts), encoding="utf-8")
    return solve(load_design(path))


@pytest.mark.parametrize("watts", [1, 20, 56])
def test_the_least_damped_poles_of_a_long_filter_are_eigenvalues(tmp_path, watts):
    """second method: the eigenvalues of the whole circuit, each within 1e-9 of its size."""
    solution = ladder(tmp_path, 8, watts)
    found, every = least_damped(solution), poles_in_band(solution)
    assert 0 < len(found) < len(every)
    for pole in found:
        assert abs(every - pole).min() < 1e-9 * abs(pole)
    seen = every[np.argmax(every.real / abs(every))] if watts == 56 else found[0]
    assert abs(found - seen).min() < 1e-9 * abs(seen)


def test_no_eigenvalues_are_taken_for_where_a_long_filter_turns(tmp_path, no_eigenvalues):
    """Of its poles only those are followed that a load of constant power sees; the worst case alone takes them all."""
    solution = ladder(tmp_path, 8, 300)
    assert not by_least_damped(solution).stable
    cases = over_uncertainty._Cases(solution, uncertain_parameters(solution.design))
    nominal = np.array([one.share(one.nominal) for one in cases.box])
    assert cases.unstable(nominal)


@pytest.mark.parametrize("inductance", ["20 µH", "47 µH", "60 µH", "200 µH"])
def test_stable_or_not_and_how_fast_it_grows_as_the_eigenvalues_say(inductance):
    """second method: the eigenvalues of the whole circuit; unstable from 48.5 µH."""
    solution = solve(feeble(choke(inductance, tolerance=0), capacitor()))
    quick, whole = by_least_damped(solution), stability(solution)
    assert (quick.stable, quick.count) == (whole.stable, whole.count)
    assert quick.frequency == pytest.approx(whole.frequency, rel=1e-9, abs=0)
    assert quick.growth == pytest.approx(whole.growth, rel=1e-6, abs=0, nan_ok=True)


def test_where_nothing_rings_all_poles_are_given():
    solution = solve(feeble(choke("1 nH", "1 mΩ", tolerance=0), capacitor("1 mF", esr=0.5)))
    assert least_damping(solution)[0][0] == np.inf
    found = least_damped(solution)
    assert set(found) <= set(solution.poles)
    assert len(found) > 0
