"""Dampers of one resistor: the published optima against a search, robust ones, and what is refused."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from filterlib.analysis.damping.ideal import NETWORKS, peaks, ratio_for, robust, textbook
from filterlib.errors import QuantityError
from filterlib.network.circuit import Circuit

# R/R0 and peak/R0 by n. Erickson, IEEE APEC 1999 (formulas from memory, verified by search to four decimals)
PUBLISHED = {
    "R-C across C": {0.5: (2.4721, 4.4721), 1: (1.4491, 2.4495), 2: (0.9129, 1.4142), 4: (0.6124, 0.8660), 10: (0.3817, 0.4899)},
    "R-L across L": {0.25: (0.6124, 0.8660), 0.5: (0.9129, 1.4142), 1: (1.4491, 2.4495), 2: (2.4721, 4.4721), 4: (4.4853, 8.4853)},
    "R-L in series": {0.25: (0.2006, 9.4868), 0.5: (0.3364, 5.4772), 1: (0.5123, 3.4641), 2: (0.7027, 2.4495), 4: (0.8764, 1.9365)},
}  # fmt: skip
# n: textbook R/R0, its worst corner, robust R/R0, worst corner with that; L, C, Cb +-20 %, R +-10 % (computed, min-max by bounded search)
ROBUST = {
    1: (1.4491, 3.8310, 1.9734, 3.4865),
    2: (0.9129, 2.1213, 1.1910, 1.9510),
    10: (0.3817, 0.6762, 0.4689, 0.6311),
}
ALONE = np.ones((1, 4))
CORNERS = np.array(np.meshgrid([0.8, 1.2], [0.8, 1.2], [0.8, 1.2], [0.9, 1.1])).reshape(4, -1).T


@pytest.mark.parametrize("network", NETWORKS)
def test_optimum_is_the_published_one(network):
    for ratio, expected in PUBLISHED[network].items():
        assert textbook(network, ratio) == pytest.approx(expected, abs=5.1e-5)


@pytest.mark.parametrize("network", NETWORKS)
def test_optimum_is_that_of_a_search_and_beats_its_neighbours(network):
    """second method: bounded search over the resistance; law: a tenth more or less has the higher peak."""
    for ratio in (0.5, 2.0):
        ohms, peak = textbook(network, ratio)
        found = minimize_scalar(
            lambda x, ratio=ratio: peaks(network, ratio, np.array([np.exp(x)]), ALONE)[0],
            bounds=(np.log(ohms / 3), np.log(3 * ohms)), method="bounded", options={"xatol": 1e-6},
        )  # fmt: skip
        assert found.fun == pytest.approx(peak, rel=1e-4, abs=0)
        assert np.exp(found.x) == pytest.approx(ohms, rel=2e-3, abs=0)
        less, best, more = peaks(network, ratio, ohms * np.array([0.9, 1.0, 1.1]), ALONE)
        assert best < min(less, more)


@pytest.mark.parametrize("network", NETWORKS)
def test_peak_is_that_of_a_circuit(network):
    """second method: the engine's impedance of the three circuits, L = 10 uH, C = 1 uF, n = 2."""
    henries, farads, ratio = 10e-6, 1e-6, 2.0
    whole = np.sqrt(henries / farads)
    resistance, peak = textbook(network, ratio)
    made = (
        Circuit().capacitor("C", "o", "0", farads).inductor("L", "0" if network != NETWORKS[2] else "m", "o", henries)
    )
    if network == "R-C across C":
        made.resistor("R", "o", "x", resistance * whole).capacitor("B", "x", "0", ratio * farads)
    elif network == "R-L across L":
        made.resistor("R", "0", "x", resistance * whole).inductor("B", "x", "o", ratio * henries)
    else:
        made.resistor("R", "0", "m", resistance * whole).inductor("B", "0", "m", ratio * henries)
    f = np.geomspace(1e3, 1e6, 20001)
    assert np.abs(made.impedance(f, "o")).max() / whole == pytest.approx(peak, rel=1e-4, abs=0)


@pytest.mark.parametrize("ratio", [0.25, 1.0, 4.0])
def test_a_second_choke_across_the_first_loses_attenuation(ratio):
    """published (Erickson, from memory): far above resonance both chokes are in parallel, and (1 + n) / n as much comes through."""
    f = np.array([1e4])
    made = Circuit().voltage_source("V", "i", "0").inductor("L", "i", "o", 1.0).capacitor("C", "o", "0", 1.0)
    bare = abs(made.transfer(f / (2 * np.pi), "V", "o")[0])
    made.resistor("R", "i", "x", textbook("R-L across L", ratio)[0]).inductor("B", "x", "o", ratio)
    assert abs(made.transfer(f / (2 * np.pi), "V", "o")[0]) / bare == pytest.approx(
        (1 + ratio) / ratio, rel=1e-4, abs=0
    )


@pytest.mark.parametrize("ratio", ROBUST)
def test_robust_resistor_is_larger_to_the_published_digits(ratio):
    ohms, worst, better, least = ROBUST[ratio]
    assert textbook("R-C across C", ratio)[0] == pytest.approx(ohms, abs=5.1e-5)
    assert peaks("R-C across C", ratio, np.array([ohms]), CORNERS)[0] == pytest.approx(worst, rel=1e-4, abs=0)
    found = robust("R-C across C", ratio)
    assert found.worst == pytest.approx(least, rel=1e-4, abs=0)
    assert found.resistance == pytest.approx(better, rel=1e-3, abs=0)
    assert 0.225 < found.resistance / ohms - 1 < 0.365


def test_robust_one_has_the_lower_worst_peak_in_every_random_case():
    """law: at the corners of random tolerances it beats the textbook's, and a twentieth more or less. Fewer here than in the benchmark."""
    rng = np.random.default_rng(3)
    for _ in range(8):
        network, ratio = NETWORKS[rng.integers(3)], float(10 ** rng.uniform(-0.5, 1))
        spread = dict(zip(("inductance", "capacitance", "added", "resistance"), rng.uniform(0.05, 0.3, 4), strict=True))
        found = robust(network, ratio, spread)
        ends = np.array(np.meshgrid(*[[1 - one, 1 + one] for one in spread.values()])).reshape(4, -1).T
        rows = np.array([textbook(network, ratio)[0], 0.95 * found.resistance, 1.05 * found.resistance])
        assert np.all(peaks(network, ratio, rows, ends) > found.worst)


def test_textbook_example_of_an_input_filter():
    """330 uH, 470 uF, 1 ohm: n = 2.519, R = 0.666 ohm. Erickson and Maksimovic, 2nd ed., ch. 10, from memory; checked by computation."""
    whole = np.sqrt(330e-6 / 470e-6)
    assert f"{whole:.3f}" == "0.838"
    assert f"{1 / (2 * np.pi * np.sqrt(330e-6 * 470e-6)):.0f}" == "404"
    n = ratio_for(1.0 / whole)
    assert n == pytest.approx(2.519, abs=5e-4)
    assert n * 470e-6 == pytest.approx(1184e-6, rel=5e-4, abs=0)
    assert textbook("R-C across C", n)[0] * whole == pytest.approx(0.666, abs=5e-4)
    assert f"{textbook('R-C across C', n)[0]:.4f}" == "0.7945"  # Q of the branch
    assert textbook("R-C across C", n)[1] * whole == pytest.approx(1.0, rel=1e-12, abs=0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: textbook("R-C", 1.0), "unknown network"),
        (lambda: textbook("R-C across C", 0.0), "positive"),
        (lambda: robust("R-C across C", 1.0, {"inductance": 1.0}), "below 1"),
        (lambda: robust("R-C across C", 1.0, {"choke": 0.1}), "inductance, capacitance"),
        (lambda: ratio_for(-1.0), "positive"),
    ],
)
def test_what_cannot_be_is_said(call, words):
    with pytest.raises(QuantityError, match=words):
        call()
