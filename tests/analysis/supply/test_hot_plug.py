"""Hot plug: closed forms, a published measurement, energy, and that nothing within the range goes beyond the range that is told."""

import numpy as np
import pytest

from filterlib.analysis.supply.at_the_plug import at_the_plug
from filterlib.analysis.supply.hot_plug import inputs, plug, plug_course
from filterlib.analysis.supply.rules import check, worst
from filterlib.analysis.supply.supply_result import Added, Input
from filterlib.errors import FilterlibError, QuantityError
from filterlib.network.netlist import Current
from filterlib.network.nonlinear.bend import capacitor_bend
from filterlib.parts.tables import standard_tables
from filterlib.parts.wire import WirePair
from filterlib.system.design import Design
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.input_side import InputSide
from filterlib.system.line.battery_side import Battery, BatterySide, Fuse, SupplyWire, Switch


def line(ohms, henries, **switch):
    """A loop of one resistance and one inductance."""
    wire = SupplyWire(length="0.1 mm", cross_section="1 cm2", inductance=henries)
    return BatterySide(
        Battery(resistance=ohms - 2e-9, inductance=0), wire, Fuse(resistance=1e-9), Switch(resistance=1e-9, **switch)
    )


def design(**more):
    converter = Converter(
        name="Skerry (invented)",
        input_voltage=24,
        output_voltage=28,
        switching_frequency=1.5e5,
        ripple={"peak_to_peak": 0.1},
    )
    load = {"name": "modem", "kind": "constant_power", "power": 84}
    return Design(name="plugged (invented)", converter=converter, loads=[load], **{"battery": Battery(), **more})


@pytest.mark.parametrize(
    ("volts", "henries", "farads", "ohms", "peak", "amperes"),
    [
        (24, 1e-6, 10e-6, 0.05, 42.71, 67.4),
        (24, 1e-6, 10e-6, 0.10, 38.51, 60.5),
        (24, 1e-6, 22e-6, 0.10, 35.25, 81.6),
        (24, 10e-6, 22e-6, 0.10, 43.00, 31.85),
    ],
)
def test_closed_form(volts, henries, farads, ohms, peak, amperes):
    """V (1 + exp(-pi z / sqrt(1 - z^2))) and (V / Z0) exp(-z acos(z) / sqrt(1 - z^2)), by hand."""
    found = plug(line(ohms - 1e-6, henries), (Input("C", farads, 1e-6),), volts)
    assert found.peak_voltage == pytest.approx(peak, rel=2e-4, abs=0)
    assert found.peak_current == pytest.approx(amperes, rel=1e-3, abs=0)


def test_a_twisted_pair_onto_a_ceramic():
    """A converter's data sheet: 20 V, 2 m of 24 AWG twisted pair and 2.2 uF ring to 35 V with 20 A; 15 %, for its spacing is not said."""
    pair = WirePair(length="2 m", awg=24, spacing="1.5 mm")
    side = line(float(2 * pair.resistance()), float(pair.loop_inductance))
    found = plug(side, (Input("C", 2.2e-6, 5e-3),), 20.0)
    assert found.peak_voltage == pytest.approx(35, rel=0.15, abs=0)
    assert found.peak_current == pytest.approx(20, rel=0.15, abs=0)


def test_a_class_2_ceramic_more_than_doubles():
    """C0 / (1 + (v / 40 V)^2), nearly lossless: 60.0504 V by energy balance; 24 pieces are good to a few parts in a thousand."""
    bend = capacitor_bend(lambda v: 1e-5 / (1 + (v / 40) ** 2), 96.0, 24)
    found = plug(line(1e-5, 1e-6), (Input("C", bend, 1e-5),), 24.0)
    assert found.peak_voltage == pytest.approx(60.0504, rel=3e-3, abs=0)


def test_energy_in_is_stored_and_heat():
    """V Q in, by the battery's charge; heat in every resistance by its own integral: second method, to 1e-9 once it has settled."""
    side, volts = line(0.3, 1e-6), 24.0
    bend = capacitor_bend(lambda v: 1e-5 / (1 + (v / 24) ** 2), 96.0, 24)
    capacitors = (Input("C", bend, 5e-3), Input("E", 47e-6, 0.2))
    run = plug_course(side, capacitors, volts)
    given = volts * run.integral(Current("line"))
    hot = float(side.resistance) * run.integral(Current("line"), Current("line"))
    hot += sum(one.ohms * run.integral(Current(f"{one.name} ESR"), Current(f"{one.name} ESR")) for one in capacitors)
    ends = [float(run.at(run.times[-1], one.name)[0]) for one in capacitors]
    kept = sum(one.stored(v) for one, v in zip(capacitors, ends, strict=True))
    flowing = 1e-6 * float(run.at(run.times[-1], Current("line"))[0]) ** 2 / 2
    assert given == pytest.approx(hot + kept + flowing, rel=1e-9, abs=0)
    found = plug(side, capacitors, volts)
    assert found.heat + found.stored == pytest.approx(
        volts * (47e-6 * volts + float(np.interp(volts, bend.y, bend.x))), rel=1e-9, abs=0
    )


def test_half_of_the_energy_is_heat():
    """C V^2 / 2 stays and as much is heat, whatever the resistance; integral of i^2 is C V^2 / (2 R): by hand."""
    found = plug(line(0.5, 1e-9), (Input("C", 2200e-6, 1e-6),), 24.0)
    assert found.stored == pytest.approx(0.6336, rel=1e-9, abs=0)
    assert found.heat == pytest.approx(0.6336, rel=1e-9, abs=0)
    assert found.melting == pytest.approx(1.267, rel=4e-3, abs=0)  # until the course ends, three time constants


def test_a_ramp_limits_the_current():
    """C dV/dt: 10 uF in 1 ms to 24 V is 0.24 A, with twice as much at most while it rings (hand)."""
    found = plug(line(0.05, 1e-6), (Input("C", 10e-6, 1e-3),), 24.0, Added(ramp=1e-3))
    assert 0.24 < found.peak_current < 0.48
    assert found.peak_voltage == pytest.approx(24, rel=0.02, abs=0)
    own = plug(line(0.05, 1e-6, kind="transistor", ramp="1 ms"), (Input("C", 10e-6, 1e-3),), 24.0)
    assert own.peak_current == pytest.approx(found.peak_current, rel=1e-9, abs=0)


def test_the_range_holds_whatever_is_within_it():
    """200 draws of everything that is not known, at any voltage of the battery: none beyond the ends that are told."""
    whole = design()
    found = at_the_plug(whole, 4.0)
    peak, amperes = (next(one for one in found.checks if one.name == name) for name in ("plug.voltage", "plug.current"))
    random = np.random.default_rng(5)
    side, volts, capacitor = whole.battery_side, whole.battery.volts(whole.converter), InputSide()
    unknown = [one for one in side.uncertain_parameters() if "usable" not in one.key]
    for _ in range(60):
        values = {one.key: one.at(random.random()) for one in unknown}
        metres = values["supply_wire.length"]
        values["supply_wire.inductance"] = metres * random.uniform(0.4e-6, 1.2e-6)
        at = random.uniform(volts.low, volts.high)
        farads = random.uniform(capacitor.capacitance.low, capacitor.capacitance.high)
        one = plug(side.at(values), (Input("C", farads, random.uniform(capacitor.esr.low, capacitor.esr.high)),), at)
        assert peak.low * (1 - 1e-9) <= one.peak_voltage <= peak.high * (1 + 1e-9)
        assert amperes.low * (1 - 1e-9) <= one.peak_current <= amperes.high * (1 + 1e-9)


def test_input_capacitors_of_a_design_bend_and_have_a_rating():
    part = next(table["class2-2u2-50V-1206"] for table in standard_tables() if "class2-2u2-50V-1206" in table)
    whole = design(input_side={"capacitors": [{"part": part, "count": 2}], "highest_voltage": "60 V"})
    (one,) = inputs(whole, 24.0)
    assert one.small == pytest.approx(4.4e-6, rel=0.1, abs=0)
    assert one.rated == 50
    assert one.stored(24.0) < 4.4e-6 * 24**2 / 2
    found = at_the_plug(whole, 4.0)
    assert found.kind_known
    names = {each.name: each for each in found.checks}
    assert names["plug.voltage"].limit == 50
    assert names["plug.converter"].limit == 60
    assert found.peak.high > 57.6  # class 2: more than double of a full battery's 28.8 V


def test_fixes_are_judged_as_the_design_is():
    """Every fix lowers what it is for; the order is the verdict's, then that of heat."""
    whole = design(
        switch=Switch(peak_current="60 A"), input_side={"highest_voltage": "45 V"}, battery=Battery(resistance="20 mΩ"),
        supply_wire=SupplyWire(length="2 m", awg=14), fuse=Fuse(melting_i2t="40 A2s", pulses=1000),
    )  # fmt: skip
    found = at_the_plug(whole, 4.0)
    assert found.deciding.verdict in ("undecided", "not met")
    assert {one.name for one in found.fixes} == {"electrolytic", "r-c", "ntc", "pre-charge", "clamp", "soft switch"}
    order = ["met", "no limit", "undecided", "not met"]
    verdicts = [order.index(one.deciding.verdict) for one in found.fixes]
    assert verdicts == sorted(verdicts)
    assert found.fixes[0].deciding.verdict == "met"
    for one in found.fixes:
        assert one.plug.peak_voltage < found.plug.peak_voltage
        assert [each.name for each in one.checks] == [each.name for each in found.checks]
    ntc = next(one for one in found.fixes if one.name == "ntc")
    assert ntc.loss == pytest.approx(0.03 * ntc.ohms * 16, rel=1e-9, abs=0)  # hand: 3 % of it when hot, at 4 A
    fuse = next(one for one in found.checks if one.name == "plug.fuse")
    assert fuse.limit == pytest.approx(0.38 * 40, rel=1e-9, abs=0)  # 1,000 pulses: a fuse maker's catalogue


def test_a_plug_of_no_voltage_is_refused():
    bare = Converter(name="Skerry", output_voltage=28, switching_frequency=1e5, ripple={"peak_to_peak": 0.1})
    whole = design().model_copy(update={"converter": bare})
    with pytest.raises(FilterlibError, match=r"battery\.voltage"):
        at_the_plug(whole, 1.0)


def test_what_a_verdict_is():
    def of(*values, limit, at_least=False):
        return check("x", "x", "x", "A", values, limit, "x", "hand", at_least=at_least)

    assert of(4, 3, 5, limit=5).verdict == "met"
    assert of(4, 3, 6, limit=5).verdict == "undecided"
    assert of(7, 6, 8, limit=5).verdict == "not met"
    assert of(4, 3, 6, limit=5, at_least=True).verdict == "undecided"
    assert of(4, 3, 6, limit=3, at_least=True).verdict == "met"
    assert of(4, limit=None).verdict == "no limit"
    assert of(0, limit=5, at_least=True).margin == -1
    with pytest.raises(QuantityError, match="x is not known"):
        of(4, np.nan, limit=5)
    assert worst([of(4, limit=5), of(9, limit=5), of(8, limit=5)]).value == 9
    assert worst([]) is None
    assert of(4, 3, 8, limit=10).margin == pytest.approx(0.25, rel=1e-12, abs=0)
