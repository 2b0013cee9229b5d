"""What stays charged, and the resistor that takes it out."""

from __future__ import annotations

import math

import pytest

from filterlib.analysis.stress.stored_energy import MARGIN, MOST_POWER, PATIENCE, Store, bleeder, discharge_time, stores
from filterlib.preferred import preferred_values
from tests import designs


def test_discharge_of_ten_millifarad():
    """hand: 10 mF through 1 kohm from 57 V to 10 V: 10 s x ln 5.7."""
    assert discharge_time(1e3, 10e-3, 57, 10) == pytest.approx(17.40, rel=1e-3, abs=0)
    assert discharge_time(1e3, 10e-3, 57, 57 / math.e) == pytest.approx(10, rel=1e-9, abs=0)  # hand: one time constant
    assert discharge_time(1e3, 10e-3, 0.5, 1.0) == 0  # it is safe already


def test_every_capacitor_counts_as_large_as_it_may_be():
    load = designs.resistive(input_capacitor={"part": designs.film("10 µF", tolerance="20 %"), "count": 3})
    found = stores(designs.design(designs.shunt("2 µF", count=2), designs.series(), load=load))
    held = {store.name: store for store in found}
    assert held["C1"].capacitance == pytest.approx(2 * 2e-6 * 1.05, rel=1e-9, abs=0)  # hand: 5 % tolerance
    assert held["input of modem"].capacitance == pytest.approx(3 * 10e-6 * 1.2, rel=1e-9, abs=0)  # hand
    inside = next(store for name, store in held.items() if "converter" in name)
    assert inside.capacitance == pytest.approx(470e-6, rel=1e-9, abs=0)  # the end of the default's range
    assert inside.energy == pytest.approx(0.5 * 470e-6 * 28**2, rel=1e-9, abs=0)  # hand
    assert len(held) == 3  # the choke holds no charge


@pytest.mark.parametrize("volts", [5.0, 28.0, 57.0, 400.0, 900.0])
@pytest.mark.parametrize("farads", [1e-7, 76e-6, 4.7e-3, 0.1])
def test_a_bleeder_is_of_a_series_and_survives_a_supply_that_was_left_on(volts, farads):
    chosen = bleeder([Store("a", farads / 2, volts), Store("b", farads / 2, volts)])
    mantissa = chosen.resistance / 10 ** math.floor(math.log10(chosen.resistance))
    assert min(abs(mantissa / value - 1) for value in (*preferred_values("E12"), 10.0)) < 1e-6
    assert chosen.start_power == pytest.approx(volts**2 / chosen.resistance, rel=1e-9, abs=0)  # hand: Ohm
    assert chosen.start_power <= MOST_POWER * 1.0001
    assert chosen.power_rating >= MARGIN * chosen.start_power * 0.9999
    assert chosen.voltage_rating == MARGIN * volts
    held = chosen.voltage * math.exp(-chosen.time / (chosen.resistance * farads))
    assert held == pytest.approx(chosen.safe, rel=1e-6, abs=0)  # second method: the voltage at that time
    if volts**2 / MOST_POWER < PATIENCE / farads / math.log(volts) / 1.5:
        assert chosen.time <= PATIENCE * 1.0001


@pytest.mark.parametrize(("least", "taken"), [(810.0, 820.0), (910.0, 1000.0), (9100.0, 10_000.0)])
def test_a_bleeder_is_rounded_up_to_the_next_of_its_series_also_into_the_next_decade(least, taken):
    """hand: E12 ends at 8.2; a large bank, so that the power decides."""
    bank = Store("bank", 10.0, math.sqrt(least * MOST_POWER))
    assert bleeder([bank]).resistance == pytest.approx(taken, rel=1e-9, abs=0)


def test_what_lies_below_the_safe_voltage_needs_no_time():
    assert bleeder([Store("a", 1e-3, 0.8)]).time == 0
