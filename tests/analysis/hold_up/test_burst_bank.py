"""What goes with a bank: strings, diodes, limiters, fuse, bleed resistors; and the burst in time as the second method."""

import math

import pytest

from filterlib.analysis.hold_up.burst_bank import bank
from filterlib.analysis.hold_up.fittings import Limiter, bank_fuse, bleeders, fuse_rating, limiters
from filterlib.analysis.hold_up.fuses_and_limits import LIMITS, SHAPES, melting_needed, pulse_heat
from filterlib.analysis.hold_up.holding import Demand, held
from filterlib.analysis.hold_up.in_time import in_time
from filterlib.analysis.hold_up.isolation import DIODES, SIZED, isolation
from filterlib.analysis.hold_up.strings import strings
from filterlib.errors import FilterlibError
from filterlib.network.netlist import Current
from filterlib.network.nonlinear.bend import current_limit, diode
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit
from filterlib.network.nonlinear.course import course
from filterlib.parts.ageing import SEAL_LIFE
from filterlib.parts.supercapacitor import Supercapacitor
from filterlib.parts.tables import data_folder
from filterlib.system.line.load import Load
from tests.designs import KNOWN, converter, design


def demand(kind, key, value, supply=0.0):
    return Demand(Load(name="radio", kind=kind, **{key: value}), 1.0, supply)


@pytest.mark.parametrize(
    ("of", "farads", "ohms"),
    [
        (demand("constant_power", "power", 84.0, 2.4), 4.7e-3, 20e-3),
        (demand("constant_power", "power", 84.0, 2.4), 0.23, 3.05),
        (demand("constant_power", "power", 60.0), 30e-3, 30e-3),
        (demand("constant_current", "current", 3.0, 2.0), 30e-3, 0.1),
        (demand("resistive", "resistance", 8.0, 1.0), 30e-3, 0.1),
    ],
)
def test_charge_balance_and_the_course_in_time_agree_to_a_millionth(of, farads, ohms):
    """Second method: exact straight pieces, every kind of load, with and without a supply beside the bank."""
    expected = held(farads, ohms, 27.6, 22.0, of)
    found = in_time(farads, ohms, 27.6, 22.0, of, expected)
    assert found.holds == pytest.approx(expected, rel=1e-6, abs=0)
    assert found.volts[-1] == pytest.approx(22.0, rel=1e-6, abs=0)


def test_supercapacitors_in_series():
    """hand: 10 F at 2.7 V, 90 % used: 12 cells for 28 V; 10 / 12 F; ESR 12 x 0.05 x 2 x 1.3; old 70 %, low end 80 %."""
    cell = Supercapacitor(
        kind="supercapacitor", capacitance="10 F", rated_voltage="2.7 V", esr="50 mΩ", leakage="30 µA",
        rated_life="2000 h", maximum_temperature="65 °C",
    )  # fmt: skip
    assert cell.in_series(28.0) == 12
    assert cell.in_series(2.43) == 1
    assert cell.life_at(338.15, 2.5) == pytest.approx(2 * 2000 * 3600, rel=1e-12, abs=0)
    assert cell.life_at(328.15, 2.7) == pytest.approx(2 * 2000 * 3600, rel=1e-12, abs=0)


def test_strings_of_the_tables():
    from filterlib import load_design

    design = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    found = {one.part: one for one in strings(design, 27.6, 2.0)}
    ten = found["supercap-10F-2V7"]
    assert ten.cells == 12
    assert ten.nominal == pytest.approx(10 / 12, rel=1e-12, abs=0)
    assert ten.worst == pytest.approx(ten.nominal * 0.7 * 0.8 * ten.cold / ten.nominal, rel=1e-12, abs=0)
    assert ten.resistance == pytest.approx(12 * 0.048 * 2 * 1.3, rel=0.3, abs=0)  # and cold
    for one in found.values():
        assert one.worst < min(one.cold, one.aged) <= one.nominal * 1.1
        assert math.isnan(one.life) or one.life <= SEAL_LIFE
    assert "aluminium-47u-63V" in found
    assert all(one.cells == 1 for one in found.values() if one.kind != "supercapacitor")


def test_a_diode_takes_its_part_of_the_sag():
    """hand: 0.35 V + 30 mohm x 0.5 A = 0.365 V; 2.4 A x 0.422 V = 1.01 W; C = I t / (6 V - drop)."""

    def needed(drop):
        return 1.0 * 0.18 / (6.0 - drop)

    none, schottky, ideal = (
        isolation(one, idle=0.5, most=2.4, mean=0.6, hot=338.15, sag=6.0, needed=needed) for one in DIODES
    )
    assert schottky.drop == pytest.approx(0.365, rel=1e-12, abs=0)
    assert schottky.heat == pytest.approx(2.4 * 0.422, rel=1e-12, abs=0)
    assert schottky.leakage == pytest.approx(0.2e-3 * 16, rel=1e-12, abs=0)
    assert schottky.kept == pytest.approx(schottky.needed * 5.635 / 3.2e-3, rel=1e-12, abs=0)
    assert none.needed == pytest.approx(30e-3, rel=1e-12, abs=0)
    assert none.needed < ideal.needed < schottky.needed
    assert none.kept == none.heat == 0


def test_a_bank_is_so_many_strings_and_each_diode_asks_for_its_own_capacitance():
    """hand: (5 A - 3 A) 10 ms / (28 V - drop - 22 V); what strings leak, and keep at most, is theirs by their number."""
    profile = {"idle": "10 %", "burst": "10 ms", "period": "2 s", "lowest_voltage": "22 V"}
    load = {"name": "modem", "kind": "constant_current", "current": "5 A", "profile": profile}
    (found,) = bank(design(source=converter(**KNOWN, rating={"output_current": "3 A"}), load=load))
    for one in found.isolations:
        assert one.needed == pytest.approx(2.0 * 10e-3 / (28.0 - one.drop - 22.0), rel=1e-9, abs=0)
    assert len({one.drop for one in found.isolations}) > 1
    several = [one for one in found.banks if one.count > 1 and one.string.leakage > 0]
    assert several
    for one in several:
        assert one.leakage == pytest.approx(one.count * one.string.leakage, rel=1e-12, abs=0)
        assert one.charge == pytest.approx(one.count * one.string.largest * found.voltage, rel=1e-12, abs=0)


def test_a_diode_keeps_the_bank_from_feeding_a_source_that_fails():
    """The source falls from 28 V to 0 in a millisecond: without the diode the bank goes with it (R C = 6 ms)."""

    def left(with_diode):
        circuit = PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, 28.0), (0.1, 28.0), (0.101, 0.0)])
        circuit.resistor("R", "a", "b", 0.2)
        if with_diode:
            circuit.bend("D", "b", "c", diode(SIZED.threshold, SIZED.ohms, 1e5))
        else:
            circuit.resistor("D", "b", "c", 1e-3)
        return course(circuit.capacitor("C", "c", "0", 30e-3), 0.3).at(0.3, "c")[0]

    assert left(True) > 27.5
    assert left(False) < 1.0


def test_what_limits_the_first_charge():
    """hand: C V / I = 0.42 s, C V^2 / 2 = 11.76 J, 14 ohm: R C ln(100) = 1.934 s; both heats by the course in time too."""
    own, linear, ohms = limiters(30e-3, 28.0, 2.0, 0.1, 1.0, 6.0)
    assert own.start == linear.start == pytest.approx(0.42, rel=1e-12, abs=0)
    assert linear.heat == ohms.heat == pytest.approx(11.76, rel=1e-12, abs=0)
    assert ohms.start == pytest.approx(14 * 30e-3 * math.log(100), rel=1e-12, abs=0)
    assert (linear.recharge, linear.in_time, ohms.in_time) == (pytest.approx(0.09, rel=1e-12, abs=0), True, False)
    for limit, until in ((current_limit(2.0, 1e-4), 0.42), (None, 5.0)):
        circuit = PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, 28.0)]).capacitor("C", "b", "0", 30e-3)
        circuit.resistor("L", "a", "b", 14.0) if limit is None else circuit.bend("L", "a", "b", limit)
        heat = course(circuit, until).integral(("a", "b"), Current("L"))
        assert heat == pytest.approx(11.76, rel=1e-3, abs=0)


def test_the_fuse_of_a_bank():
    """hand: the first charge at 2 A for 0.42 s: 1.68 A2s over 0.38 (1000 of them); 3 A carried for 8 s ask for 4 A."""
    charge = Limiter("own", 0.0, 2.0, 0.42, 0.0, 0.0, 0.1, True)
    fuse = bank_fuse(30e-3, 80e-3, 28.0, charge, amperes=3.0, rms=1.1, seconds=8.0, pulse=72.0, bursts=1e4)
    assert (fuse.carried, fuse.rating) == (3.0, 4.0)
    assert fuse.first == pytest.approx(1.68, rel=1e-12, abs=0)
    assert fuse.melting == pytest.approx(72.0 / 0.29, rel=1e-12, abs=0)
    assert fuse.short == pytest.approx(117.6, rel=1e-9, abs=0)  # through 0.1 ohm: check of 30 mF at 28 V
    small = bank_fuse(30e-3, 80e-3, 28.0, charge, amperes=3.0, rms=0.1, seconds=5e-3, pulse=0.045, bursts=1e4)
    assert small.carried == 2.0
    assert small.melting == pytest.approx(1.68 / 0.38, rel=1e-12, abs=0)
    assert math.isnan(
        bank_fuse(30e-3, 80e-3, 28.0, charge, amperes=3.0, rms=0.1, seconds=5e-3, pulse=1.0, bursts=1e6).melting
    )
    assert [fuse_rating(value) for value in (0.06, 7.5, 9.0)] == [0.08, 10.0, 12.5]


def test_pulses_by_their_shape():
    """Littelfuse catalogue p. 12: (1/3)(ip^2 + ip ib + ib^2) t, 1/2, 1/3, 1/5, 1/2; its guide's example, from memory."""
    assert pulse_heat("trapezoid", 6.0, 2.0, 3.0) == pytest.approx((36 + 18 + 9) / 3 * 2, rel=1e-12, abs=0)
    assert pulse_heat("trapezoid", 6.0, 2.0) == pulse_heat("triangle", 6.0, 2.0)
    assert (SHAPES["half sine"], SHAPES["exponential"]) == (0.5, 0.5)
    melting = melting_needed(pulse_heat("square law", 8.0, 4e-3), 1e5)
    assert melting == pytest.approx(0.2327, rel=2e-4, abs=0)
    assert melting < 0.256  # the part of 1 A that the guide picks
    assert fuse_rating(0.75) == 1.0
    with pytest.raises(FilterlibError, match='no pulse of the shape "sawtooth"'):
        pulse_heat("sawtooth", 1.0, 1.0)


@pytest.mark.parametrize("shape", ["half sine", "triangle", "square law", "exponential"])
def test_shapes_by_quadrature(shape):
    """Second method: the sum of i^2 dt."""
    n = 200_000
    x = [(k + 0.5) / n for k in range(n)]
    i = {"half sine": lambda u: math.sin(math.pi * u), "triangle": lambda u: u, "square law": lambda u: u * u}
    total = sum(i[shape](u) ** 2 for u in x) / n if shape in i else sum(math.exp(-40 * u) for u in x) / n * 20
    assert total == pytest.approx(SHAPES[shape], rel=1e-6, abs=0)


def test_bleed_resistors():
    """30 mF, 28 V to 10 V: 1 kohm takes 30.889 s and 0.784 W; the row of 1 W is 784 ohm. By hand, R C ln(V0 / V)."""
    rows = bleeders(30e-3, 28.0)
    assert [one.seconds for one in rows] == sorted(one.seconds for one in rows)
    watt = next(one for one in rows if abs(one.heat - 1) < 1e-9)
    assert watt.resistance == pytest.approx(784.0, rel=1e-12, abs=0)
    assert watt.seconds == pytest.approx(30.889 * 0.784, rel=2e-5, abs=0)
    assert rows[0].energy == pytest.approx(rows[0].heat * 86400, rel=1e-12, abs=0)


@pytest.mark.parametrize(
    ("unit", "value", "above"),
    [("C", 60e-6, 0.0), ("C", 45e-6, 0.0), ("F", 0.1e-6, 42.4), ("C", 45e-6, 450.0), ("J", 20.0, 0.0)],
)
def test_the_limits_of_what_may_be_touched(unit, value, above):
    """published, read second-hand: IEC 60204-1 6.2.4, IEC 61010-1, household appliances by their voltage; 20 J from memory."""
    assert (unit, value, above) in [(one.unit, one.value, one.above) for one in LIMITS]
