"""Ageing: decades of time, lives, what the end of a life leaves; and the fields of a part that state them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from filterlib.errors import InputError, QuantityError
from filterlib.parts.ageing import (
    aged_capacitance,
    electrolytic_life,
    equivalent_temperature,
    esr_growth,
    mission_life,
)
from filterlib.parts.capacitor import Capacitor

HOUR = 3600.0


def can(**changes):
    stated = {"kind": "aluminium", "capacitance": "47 µF", "rated_voltage": "63 V", "loss_angle": 0.05, "esl": "10 nH"}
    stated |= {"esr": "0.3 Ω", "rated_life": "5000 h", "maximum_temperature": "105 °C", "reference_frequency": "120 Hz"}
    return Capacitor(**stated | changes)


def ceramic(**changes):
    stated = {"kind": "ceramic_class_2", "capacitance": "10 µF", "rated_voltage": "50 V", "loss_angle": 0.02, "esl": 0}
    return Capacitor(**stated | {"ageing_rate": "2.5 %"} | changes)


def test_each_decade_takes_the_same_share_of_the_stated_capacitance():
    # hand: 1 % a decade from one hour on
    left = [aged_capacitance(1.0, hours * HOUR, 0.01, HOUR) for hours in (1, 10, 100, 1000)]
    assert_allclose(left, [1.0, 0.99, 0.98, 0.97], rtol=1e-12, atol=0)
    young = aged_capacitance(1e-6, 10 * HOUR, 0.03)
    assert young == pytest.approx(1.06e-6, rel=1e-12, abs=0)  # hand: two decades before 1000 h


def test_ten_kelvin_less_is_twice_the_life_and_back():
    assert electrolytic_life(5000.0, 378.15, 368.15) == pytest.approx(1e4, rel=1e-12, abs=0)  # hand
    assert electrolytic_life(5000.0, 378.15, 388.15) == pytest.approx(2500, rel=1e-12, abs=0)  # hand
    assert equivalent_temperature(5000.0, 378.15, 1e4) == pytest.approx(368.15, rel=1e-12, abs=0)  # hand


@given(st.lists(st.tuples(st.floats(0.01, 10), st.floats(250, 380)), min_size=1, max_size=6))
def test_a_mission_lies_between_its_worst_and_its_best_state_and_nearer_the_worst_than_the_mean(states):
    shares, temperatures = zip(*states, strict=True)
    lives = [electrolytic_life(5000.0, 378.15, t) for t in temperatures]
    life = mission_life(shares, lives)
    assert min(lives) * (1 - 1e-12) <= life <= max(lives) * (1 + 1e-12)
    mean = np.average(temperatures, weights=shares)
    # hand: the logarithm of a mean of powers of two is no less than the mean of the exponents (Jensen)
    assert equivalent_temperature(5000.0, 378.15, life) >= mean - 1e-9


@pytest.mark.parametrize(("shares", "lives"), [((), ()), ((1, 1), (5,)), ((2, -1), (5, 5)), ((0, 0), (5, 5))])
def test_a_mission_that_is_none_is_refused(shares, lives):
    with pytest.raises(QuantityError, match="shares of time"):
        mission_life(shares, lives)


def test_the_conductance_of_a_drying_electrolyte_falls_evenly():
    used = np.linspace(0, 1, 5)
    # hand: 1, 7/8, 6/8, 5/8, 4/8 of the new part's conductance
    assert_allclose(1 / esr_growth(used, 2.0), [1, 0.875, 0.75, 0.625, 0.5], rtol=1e-12, atol=0)
    assert esr_growth(3.0, 2.0) == pytest.approx(2.0, rel=1e-12, abs=0)  # held beyond the end


def test_an_electrolytic_grows_old_at_the_pace_of_its_temperature():
    new, at = can(), 368.15  # 95 °C: 10,000 h
    half, worn, gone = (new.aged(hours * HOUR, at) for hours in (5000, 10000, 50000))
    assert half.esr == pytest.approx(0.3 / 0.75, rel=1e-12, abs=0)  # hand: half of the way from 1 to 1/2
    assert half.capacitance == pytest.approx(0.9 * 47e-6, rel=1e-12, abs=0)  # hand
    assert worn.esr == pytest.approx(0.6, rel=1e-12, abs=0)  # hand
    assert worn.loss_angle == pytest.approx(0.1, rel=1e-12, abs=0)  # hand
    assert worn.capacitance == pytest.approx(0.8 * 47e-6, rel=1e-12, abs=0)  # hand
    assert (gone.esr, gone.capacitance) == (worn.esr, worn.capacitance)
    assert new.aged(0.0, at).esr == new.esr


def test_a_class_2_ceramic_loses_its_decades_and_is_never_better_than_stated():
    old = ceramic().aged(1e5 * HOUR)
    assert old.capacitance == pytest.approx(9.5e-6, rel=1e-12, abs=0)  # hand: two decades beyond 1000 h
    assert ceramic().aged(10 * HOUR).capacitance == 10e-6
    several = ceramic().aged(np.array([[10 * HOUR], [1e5 * HOUR]]))
    assert_allclose(several.capacitance, [[10e-6], [9.5e-6]], rtol=1e-12, atol=0)


def test_a_part_that_states_nothing_of_ageing_stays_as_it_is():
    part = ceramic(ageing_rate=None)
    assert part.aged(1e6 * HOUR) is part
    assert part.life_at(300.0) is None


@pytest.mark.parametrize(
    ("part", "key", "value"),
    [
        (can, "ageing_rate", "2 %"),
        (can, "insulation_time", "500 s"),
        (can, "insulation_resistance", "1 GΩ"),
        (ceramic, "rated_life", "5000 h"),
        (ceramic, "leakage_factor", 0.01),
        (ceramic, "leakage_least", "3 µA"),
        (ceramic, "life_end_esr", 2.0),
        (ceramic, "life_end_capacitance", 0.8),
    ],
)
def test_what_belongs_to_another_kind_is_refused(part, key, value):
    with pytest.raises(InputError, match="only") as caught:
        part(**{key: value})
    assert [problem.key for problem in caught.value.problems] == [key]


def test_a_life_needs_its_temperature():
    with pytest.raises(InputError, match="rated_life holds") as caught:
        can(maximum_temperature=None)
    assert [problem.key for problem in caught.value.problems] == ["maximum_temperature"]


def test_an_aged_part_ends_where_such_parts_do():
    """Found by the sweep: a class 2 capacitor at both its tolerance's and its ageing's end was refused without file and key."""
    tiny = ceramic(capacitance="0.1 pF", ageing_rate=0.19).aged(1e5 * HOUR)
    assert tiny.capacitance == pytest.approx(1e-13, rel=1e-9, abs=0)  # the least that such a part has
    worn = can(esr=900.0).aged(1e6 * HOUR)
    assert worn.esr == pytest.approx(1000, rel=1e-9, abs=0)  # the most
    assert can(esr=0).aged(1e6 * HOUR).esr == 0
