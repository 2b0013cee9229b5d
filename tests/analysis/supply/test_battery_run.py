"""From the loads back to the battery: the wire table and the fuses row by row, currents by energy balance, rules by hand."""

import math

import numpy as np
import pytest

from filterlib import Circuit, Current, solve_all
from filterlib.analysis.supply.battery_run import battery_run, line_current
from filterlib.analysis.supply.reflected import reflected
from filterlib.analysis.supply.rules import check
from filterlib.analysis.supply.wires import ampacity, gauge_name, least_gauge, opens_within
from filterlib.errors import FilterlibError
from filterlib.parts.wire import awg_diameter
from filterlib.system.design import Design
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.input_side import input_current
from filterlib.system.line.battery_side import Battery, Fuse, SupplyWire, Switch
from filterlib.words.supply.supply_sentences import value_words


def area(gauge):
    return math.pi / 4 * awg_diameter(gauge) ** 2


def design(load=None, points=None, **more):
    converter = Converter(
        name="Skerry (invented)", input_voltage=24, output_voltage=28, switching_frequency=1.5e5, efficiency=0.9,
        output_resistance=0, ripple={"peak_to_peak": 0.1},
    )  # fmt: skip
    given = {"name": "modem", "kind": "constant_power", "power": 84, **(load or {})}
    extra = {"operating_points": points} if points else {}
    return Design(name="fed (invented)", converter=converter, loads=[given], **{"battery": Battery(), **more}, **extra)


def checks(whole):
    return {one.name: one for one in battery_run(solve_all(whole)).checks}


@pytest.mark.parametrize(
    ("gauge", "outside", "inside"),
    [
        (18, 20, 17), (16, 25, 21), (14, 35, 30), (12, 45, 38), (10, 60, 51), (8, 80, 68), (6, 120, 102), (4, 160, 136),
        (2, 210, 178), (1, 245, 208), (0, 285, 242), (-1, 330, 280), (-3, 445, 378),
    ],
)  # fmt: skip
def test_the_wire_table(gauge, outside, inside):
    """ABYC E-11, 105 C insulation, one conductor: a dealer's table, every row."""
    assert ampacity(area(gauge)) == outside
    assert ampacity(area(gauge), hot=True) == inside


def test_drop_of_a_chart():
    """12 V, 10 A, 21 ft there and back: a chart says AWG 16 at 10 %; by hand it loses 7.0 %, and AWG 18 11.2 %."""
    length = 21 * 0.3048 / 2
    assert least_gauge(10.0, length, 0.10 * 12) == 16
    lost = 10 * float(SupplyWire(length=length, awg=16).resistance()) / 12
    assert lost == pytest.approx(0.070, rel=5e-3, abs=0)


def test_a_wire_that_the_table_does_not_have():
    assert least_gauge(1000.0, 2.0, 1.0) is None
    assert gauge_name(14) == "AWG 14"
    assert ampacity(area(24)) == pytest.approx(20 * area(24) / area(18), rel=1e-9, abs=0)
    with pytest.raises(FilterlibError):
        least_gauge(0.0, 2.0, 1.0)


@pytest.mark.parametrize(
    ("kind", "multiple", "least", "longest"),
    [
        ("blade", 1.1, 3.6e5, math.inf), ("blade", 1.35, 0.75, 600), ("blade", 2.0, 0.15, 5), ("blade", 3.5, 0.04, 0.5),
        ("blade", 6.0, 0.02, 0.1), ("ul_248_14", 1.0, math.inf, math.inf), ("ul_248_14", 1.35, 0.0, 3600),
        ("ul_248_14", 2.0, 0.0, 120), ("time_lag", 2.1, 0.0, 120), ("time_lag", 2.75, 0.6, 10), ("time_lag", 4.0, 0.15, 3),
        ("time_lag", 10.0, 0.02, 0.3),
    ],
)  # fmt: skip
def test_the_fuse_classes(kind, multiple, least, longest):
    """ISO 8820-3 and IEC 60127-2 from memory, UL 248-14 from a maker's catalogue: every row."""
    assert opens_within(kind, multiple, 10.0) == (least, longest)


def test_a_larger_fuse_of_its_class_takes_longer():
    assert opens_within("ul_248_14", 2.0, 40.0) == (0.0, 240)  # 35 A to 60 A: 4 minutes, the same catalogue
    assert opens_within("blade", 1.6, 10.0) == (0.15, 600)  # between its points on the safe side of either


@pytest.mark.parametrize(("watts", "volts", "ohms"), [(96.0, 24.0, 0.25), (10.0, 12.0, 0.01), (575.0, 24.0, 0.25)])
def test_current_of_a_constant_power(watts, volts, ohms):
    """Energy balance: what the battery gives is what arrives and what the line loses."""
    amps = line_current(watts, volts, ohms)
    assert volts * amps == pytest.approx(watts + ohms * amps**2, rel=1e-12, abs=0)
    assert amps < volts / (2 * ohms)


def test_run_time_by_hand():
    """84 W for a tenth of the time and 8.4 W else are 15.96 W, at 90 % 17.73 W; 40 Ah at 24 V and 60 % are 576 Wh: 32.5 h."""
    points = [
        {"name": "sending", "share_of_time": 0.1},
        {"name": "idle", "share_of_time": 0.9, "loads": {"modem": 0.1}},
    ]
    found = battery_run(solve_all(design(points=points, battery=Battery(capacity="40 Ah", usable=0.6))))
    assert found.mean == pytest.approx(15.96 / 0.9, rel=1e-4, abs=0)
    assert found.per_day / 3600 == pytest.approx(24 * 15.96 / 0.9, rel=1e-4, abs=0)
    assert found.runs / 3600 == pytest.approx(576 * 0.9 / 15.96, rel=1e-4, abs=0)


def test_bursts_say_the_mean_where_no_shares_do():
    """0.1 + 0.9 / 10 of 84 W at 90 %: by hand; and without either nothing says it of two points."""
    profile = {"idle": 0.1, "burst": 1, "period": 10, "lowest_voltage": 22}
    two = [{"name": "sending"}, {"name": "idle", "loads": {"modem": 0.1}}]
    found = battery_run(solve_all(design({"profile": profile}, two)))
    assert found.mean == pytest.approx(0.19 * 84 / 0.9, rel=1e-9, abs=0)
    assert math.isnan(battery_run(solve_all(design(points=two))).mean)


def test_the_largest_current_is_at_the_lowest_voltage():
    """84 W at 90 % from 21 V behind 50 milliohm and the wire: by the energy balance."""
    fixed = design(
        battery=Battery(voltage={"low": 21, "value": 24, "high": 28}, resistance=30e-3), fuse=Fuse(resistance=8e-3),
        switch=Switch(resistance=12e-3), supply_wire=SupplyWire(length=2, cross_section=1.5e-6),
    )  # fmt: skip
    ohms = 0.05 + 4 * 1.7241e-8 / 1.5e-6
    found = battery_run(solve_all(fixed))
    assert 21 * found.most == pytest.approx(84 / 0.9 + ohms * found.most**2, rel=1e-4, abs=0)
    assert found.lost == pytest.approx(ohms * found.most, rel=1e-4, abs=0)


def test_the_largest_current_over_the_efficiency_that_may_be():
    """84 W at 80 %, 90 % and 95 % from 21 V: by the energy balance."""
    fixed = {"fuse": Fuse(resistance=8e-3), "switch": Switch(resistance=12e-3)}
    one = design(battery=Battery(voltage={"low": 21, "value": 24, "high": 28}, resistance=50e-3), **fixed)
    efficiency = {"low": 0.80, "value": 0.90, "high": 0.95}
    one = one.replace(converter=one.converter.replace(efficiency=efficiency))
    found, ohms = checks(one)["battery.delivers"], float(one.battery_side.resistance)
    for amps, share in ((found.value, 0.90), (found.high, 0.80), (found.low, 0.95)):
        assert 21 * amps == pytest.approx(84 / share + ohms * amps**2, rel=1e-4, abs=0)


def test_a_line_that_cannot_deliver():
    found = battery_run(solve_all(design(battery=Battery(resistance="1.4 ohm"))))
    assert math.isnan(found.most)
    assert {one.name: one.verdict for one in found.checks}["battery.delivers"] == "not met"


def test_fuse_wire_and_switch_against_their_rules():
    """By hand: 4.5 A or so through AWG 18 and a 30 A fuse; the fuse would let the wire burn, and 3 A of the switch are too little."""
    found = checks(
        design(supply_wire=SupplyWire(length=1, awg=18), fuse=Fuse(rated_current=30), switch=Switch(rated_current=3))
    )
    assert found["fuse.wire"].limit == 20
    assert found["fuse.wire"].verdict == "not met"
    assert found["fuse.load"].limit == 24  # 80 % of 30 A
    assert found["fuse.load"].verdict == "met"
    assert found["wire.current"].verdict == "met"
    assert found["switch.current"].verdict == "not met"


def test_a_fuse_that_a_burst_may_blow():
    """4.5 A through a 3 A blade fuse is 1.35 to 2 times: it may open after 0.15 s, and a burst takes 1 s."""
    profile = {"idle": 0.1, "burst": 1, "period": 10, "lowest_voltage": 22}
    one = checks(design({"profile": profile}, fuse=Fuse(rated_current=3)))["fuse.burst"]
    assert one.limit == 0.15
    assert one.verdict == "not met"
    short = {**profile, "burst": 0.1}
    assert checks(design({"profile": short}, fuse=Fuse(rated_current=3)))["fuse.burst"].verdict == "met"


def test_a_fuse_under_bursts_is_judged_at_the_largest_current_that_may_be():
    """hand: 84 W from 24 V are 4.4 A at 80 % and 3.7 A at 95 %; of a 4 A fuse that is 1.1 times what it bears for ever."""
    profile = {"idle": 0.1, "burst": 1, "period": 10, "lowest_voltage": 22}
    line = {"battery": Battery(voltage=24, resistance=1e-3), "supply_wire": SupplyWire(length=0.01, awg=2)}
    line |= {"fuse": Fuse(rated_current=4, resistance=1e-3), "switch": Switch(resistance=1e-3)}
    one = design({"profile": profile}, **line)
    one = one.replace(converter=one.converter.replace(efficiency={"low": 0.80, "value": 0.90, "high": 0.95}))
    assert "1.1 times" in checks(one)["fuse.burst"].rule
    assert "fuse.burst" not in checks(one.replace(fuse=Fuse(rated_current=5)))


def test_a_thick_wire_in_an_engine_space():
    outside = checks(design(supply_wire=SupplyWire(length=1, awg=14), fuse=Fuse(rated_current=32)))
    inside = checks(design(supply_wire=SupplyWire(length=1, awg=14, place="engine_space"), fuse=Fuse(rated_current=32)))
    assert outside["fuse.wire"].verdict == "met"  # 35 A
    assert inside["fuse.wire"].verdict == "not met"  # 30 A


def test_the_energy_of_a_line_when_it_opens():
    """L I^2 / 2 of 3 uH with 4.6 A or so: 32 uJ, by hand."""
    found = checks(
        design(
            battery=Battery(inductance=1e-6), supply_wire=SupplyWire(length=1, inductance=2e-6),
            switch=Switch(kind="transistor", avalanche_energy="20 µJ"),
        )
    )["switch.avalanche"]  # fmt: skip
    assert found.value == pytest.approx(1.5e-6 * checks(design())["battery.delivers"].value ** 2, rel=0.02, abs=0)
    assert found.verdict == "not met"


def test_ripple_reflected_to_the_battery_by_the_circuit():
    """second method: the same three elements and the line as a circuit, its fundamental by `Circuit.transfer`."""
    side = {"capacitance": "10 µF", "esr": "20 mΩ", "esl": "5 nH", "lead_inductance": "50 nH", "ripple_current": "2 A"}
    one = design(
        input_side=side,
        supply_wire=SupplyWire(length="2 m", inductance="1.5 µH", awg=14),
        battery=Battery(inductance="0.5 µH"),
    )
    found = reflected(one, 24.0)
    fed = one.battery_side
    circuit = Circuit().capacitor("C", "a", "b", 10e-6).resistor("R", "b", "c", 20e-3).inductor("E", "c", "0", 5e-9)
    circuit.inductor("L", "a", "d", float(fed.inductance) + 50e-9).resistor("W", "d", "0", float(fed.resistance))
    circuit.current_source("I", "a", "0")
    orders = np.arange(1, 101)
    share = circuit.transfer(orders * 1.5e5, "I", Current("L"))
    drawn = input_current(one.converter, one.input_side, orders, power=84.0, full_power=84.0, voltage=24.0)
    assert found.rms == pytest.approx(float(np.sqrt(2 * np.sum(abs(drawn * share) ** 2))), rel=1e-9, abs=0)
    assert (found.low, found.high) == pytest.approx((found.peak_to_peak,) * 2, rel=1e-9, abs=0)  # all of it is stated
    assert 2 * 2**0.5 * found.rms == pytest.approx(
        found.peak_to_peak, rel=0.2, abs=0
    )  # nearly a sine: the fundamental alone is left


def test_a_larger_input_capacitor_reflects_less():
    """hand: the line keeps 1/(1 - (f/f0)^2) of a harmonic, next to 1/C far above the resonance."""
    small, large = (
        reflected(design(input_side={"capacitance": c, "esr": 0, "esl": 0, "ripple_current": "1 A"}), 24.0).rms
        for c in ("20 µF", "40 µF")
    )
    assert small / large == pytest.approx(2.0, rel=0.05, abs=0)


def curved(points, **more):
    plain = design(points=points, **more)
    curves = {
        "efficiency_over_load": [[0.1, 0.45], [1.0, 0.9]],
        "efficiency_over_input": [["18 V", 0.72], ["24 V", 0.8]],
    }
    return plain, plain.replace(converter=plain.converter.replace(**curves))


def test_efficiency_over_load_and_input_by_hand():
    """hand: at a tenth of the load half of the efficiency, so twice the power; at 18 V nine tenths of it, so 1/0.9 of the power."""
    points = [{"name": "idle", "loads": {"modem": "10 %"}, "share_of_time": "100 %"}]
    battery = Battery(voltage={"low": "18 V", "value": "24 V", "high": "28 V"}, resistance=1e-6)
    wire = SupplyWire(length="1 mm", awg=2)
    plain, bent = (battery_run(solve_all(one)) for one in curved(points, battery=battery, supply_wire=wire))
    assert bent.mean == pytest.approx(2 * plain.mean, rel=1e-9, abs=0)
    assert bent.draws[0].current == pytest.approx(2 * plain.draws[0].current, rel=1e-2, abs=0)
    assert bent.draws[0].most == pytest.approx(2 / 0.9 * plain.draws[0].most, rel=1e-2, abs=0)
    assert bent.most == pytest.approx(plain.most / 0.9, rel=1e-2, abs=0)


def test_the_mean_of_bursts_with_one_efficiency_is_that_of_the_profile():
    """hand: 10 % idle and a tenth of the time at full draw are 19 % of 84 W, over 0.9."""
    profile = {"idle": "10 %", "burst": "1 s", "period": "10 s", "lowest_voltage": "20 V"}
    assert battery_run(solve_all(design({"profile": profile}))).mean == pytest.approx(0.19 * 84 / 0.9, rel=1e-9, abs=0)


def test_an_efficiency_above_1_is_refused():
    with pytest.raises(FilterlibError, match="no efficiency is above 100 %"):
        Converter(
            name="Skerry (invented)", output_voltage=28, switching_frequency=1.5e5, ripple={"peak_to_peak": 0.1},
            efficiency_over_load=[[0.1, 0.7], [1.0, 1.2]],
        )  # fmt: skip


def test_a_line_that_cannot_deliver_at_an_end_of_its_range_says_so():
    """No figure is infinite on a screen."""
    one = check("wire.drop", "supply wire", "voltage lost", "", (0.05, 0.04, math.inf), 0.03, "3 %", "hand")
    assert value_words(one) == "5 % (at an end of the range the line cannot deliver this)"
    assert one.verdict == "not met"


def test_a_limit_of_the_converter_limits_what_the_battery_gives():
    """hand: 2 A at 28 V and 90 % are 62.2 W, of the 84 W that the load asks for; a bank gives the rest of a burst."""
    one = design(battery=Battery(voltage={"low": 21, "value": 24, "high": 28}))
    limited = one.replace(converter=one.converter.replace(limit={"current": "2 A"}))
    found, ohms = battery_run(solve_all(limited)), float(one.battery_side.resistance)
    assert 21 * found.most == pytest.approx(56 / 0.9 + ohms * found.most**2, rel=1e-4, abs=0)
    assert found.most < battery_run(solve_all(one)).most


def test_a_fuse_is_judged_at_what_the_line_can_deliver():
    """At the weak end of the range nothing flows that could be a multiple of its rated current."""
    profile = {"idle": 0.1, "burst": 1, "period": 10, "lowest_voltage": 22}
    weak = {"low": "0.02 ohm", "value": "0.1 ohm", "high": "1.4 ohm"}
    found = checks(design({"profile": profile}, battery=Battery(resistance=weak), fuse=Fuse(rated_current=3)))
    assert found["battery.delivers"].verdict == "undecided"
    assert "inf" not in found["fuse.burst"].rule
    assert found["fuse.burst"].limit == 0.15
