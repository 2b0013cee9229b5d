"""The ripple once more, with a test capacitor: its size, and what it should read."""

from __future__ import annotations

import re

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.bench.second_reading import second_reading
from filterlib.parts.tables import data_folder
from filterlib.system.inside.converter import FixtureCapacitor
from filterlib.units import quantity
from tests import designs

EXACT = {
    "output_capacitance": "22 µF", "output_esr": "6 mΩ", "output_esl": "0 H", "lead_inductance": "1 nH", "duty": "50 %",
    "output_resistance": "20 mΩ", "loop_bandwidth": "1 kHz", "edge_time": "20 ns", "shape": "triangle",
    "spike_share": 0,
}  # fmt: skip


def test_its_impedance_is_near_that_inside():
    inside = designs.converter(**EXACT)
    found = second_reading(designs.design(source=inside))
    reactance = 1 / (2 * np.pi * 180e3 * 22e-6)
    assert found.inner_impedance == pytest.approx(
        abs(6e-3 - 1j * (reactance - 2 * np.pi * 180e3 * 1e-9)), rel=0.03, abs=0
    )  # hand
    assert found.capacitance == pytest.approx(22e-6, rel=1e-9, abs=0)  # hand: of E6 the one nearest to that reactance
    assert found.telling


def test_a_like_capacitor_halves_the_ripple():
    """hand: two equal capacitors share the current; the test capacitor's ESR of 20 mohm keeps it a little above half."""
    found = second_reading(designs.design(source=designs.converter(**EXACT)))
    assert found.value == pytest.approx(0.110 * _shared(), rel=0.03, abs=0)


def _shared():
    """Of the fundamental: the inner capacitor beside the other over the inner one alone; hand."""
    w = 2j * np.pi * 180e3
    inner, lead, other = 6e-3 + 1 / (w * 22e-6), w * 1e-9, 20e-3 + w * 5e-9 + 1 / (w * 22e-6)
    return abs(other / (inner + lead + other))


def test_the_band_holds_the_value_and_narrows_where_the_inside_is_known():
    open_inside = second_reading(designs.design())
    known = second_reading(designs.design(source=designs.converter(**EXACT)))
    assert open_inside.low < open_inside.value < open_inside.high
    assert open_inside.high / open_inside.low > 3
    assert known.high / known.low < 1.02


NOTE = (data_folder() / "recordings" / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "capacitor"),
    [
        ("clean", ("10.2 µF", "5 mΩ", "8 nH")),
        ("brick", ("46 µF", "21 mΩ", "9 nH")),
    ],  # as the note of the recordings says
)
def test_what_an_independent_circuit_reads_lies_in_the_band(name, capacitor):
    """second method: circuits in time with other models, whose figures the note of the recordings states."""
    (volts,) = re.findall(rf"\| {name}-terminals-with-capacitor\.csv \|.*\| ([\d.]+ m?V) \|", NOTE)
    test = FixtureCapacitor(**dict(zip(("capacitance", "esr", "esl"), capacitor, strict=True)))
    found = second_reading(load_design(data_folder() / "designs" / f"tide-gauge-{name}.toml"), test)
    assert found.low < quantity(volts, "V") < found.high
    assert found.value == pytest.approx(quantity(volts, "V"), rel={"clean": 0.2, "brick": 0.5}[name], abs=0)


def test_the_filters_own_first_capacitor_where_it_tells():
    """Standing advice: what the filter will see is then measured. Eight of 4.7 µF beside 22 µF inside tell; one of 100 nF does not."""
    source = designs.converter(**EXACT)
    own = second_reading(designs.design(designs.shunt("4.7 µF", count=8), designs.series(), source=source))
    assert own.name == "C1"
    assert own.capacitance == pytest.approx(8 * 4.7e-6, rel=1e-9, abs=0)  # hand
    assert own.telling
    assert own.value < second_reading(designs.design(source=source)).value  # hand: more of it leaves less
    other = second_reading(designs.design(designs.shunt("100 nF"), designs.series(), source=source))
    assert other.name == ""
    assert other.capacitance == pytest.approx(22e-6, rel=1e-9, abs=0)  # hand: as without a filter
    far = second_reading(designs.design(designs.shunt("22 µF", mounting_loop="1 µH"), designs.series(), source=source))
    assert far.name == ""  # more inductance than an arrangement may have: nobody measures with it
