"""Laws of the course in time: energy, the linear limit, time turned about, rules that switch, and what is refused."""

import math
import os

import numpy as np
import pytest

from filterlib import Circuit
from filterlib.errors import CircuitError
from filterlib.network.netlist import Current
from filterlib.network.nonlinear.bend import Bend, capacitor_bend, constant_power, current_limit, diode, inductor_bend
from filterlib.network.nonlinear.circuit_in_pieces import PiecewiseCircuit, Rule
from filterlib.network.nonlinear.course import course
from filterlib.network.nonlinear.from_linear import in_pieces


def drawn(seed):
    """A ladder of two to five sections with diodes, capacitances that fall and chokes that saturate; half of them behind a limit that folds back."""
    draw = np.random.default_rng(seed)
    circuit = PiecewiseCircuit().voltage_source("V", "s", "0", [(0, 0), (2e-6, 24), (60e-6, 24), (60e-6, 9)])
    folded(circuit, np.random.default_rng((seed, 1)))
    for k in range(int(draw.integers(2, 6))):
        a, b = f"n{k}", f"n{k + 1}"
        circuit.resistor(f"R{k}", a, f"{a}.r", 10 ** draw.uniform(-2, 0.5))
        choke = 10 ** draw.uniform(-6, -4)
        if draw.random() < 0.5:
            circuit.inductor(
                f"L{k}", f"{a}.r", f"{a}.l", inductor_bend(lambda i, size=choke: size / (1 + (i / 9) ** 2), 40, 12)
            )
        else:
            circuit.inductor(f"L{k}", f"{a}.r", f"{a}.l", choke)
        circuit.bend(
            f"D{k}", f"{a}.l", b, diode(0.5, 0.02) if draw.random() < 0.5 else Bend((0.0,), (0.0,), 50.0, 50.0)
        )
        size = 10 ** draw.uniform(-7, -4.5)
        value = capacitor_bend(lambda v, size=size: size / (1 + (v / 20) ** 2), 90, 16) if draw.random() < 0.5 else size
        circuit.capacitor(f"C{k}", b, f"{b}.c", value).resistor(f"E{k}", f"{b}.c", "0", 10 ** draw.uniform(-3, -1))
    return circuit.resistor("load", b, "0", 10 ** draw.uniform(0.5, 2))


def folded(circuit, draw):
    """What stands between the source and the ladder: a limit whose current falls with the voltage across it, or next to nothing."""
    if draw.random() < 0.5:
        return circuit.resistor("F", "s", "n0", 1e-3)
    amperes = 10 ** draw.uniform(0, 1.3)
    circuit.bend(
        "F", "s", "n0", current_limit(amperes, 10 ** draw.uniform(-2, -1), draw.uniform(0.2, 0.9) * amperes / 24)
    )
    circuit.capacitor("C", "n0", "n0.c", 10 ** draw.uniform(-6, -4.5))
    return circuit.resistor("E", "n0.c", "0", 10 ** draw.uniform(-3, -1))


def stored(circuit, run, state):
    """Energy in all stores, from charge and flux linkage and the curves themselves [J]."""
    piece = run.pieces[-1]
    energy = 0.0
    for branch in piece.layout.stores:
        amount = float(piece.argument(branch) @ state)
        energy += branch.curves[""].area(amount) if branch.curves else amount**2 / 2 / branch.value
    return energy


SEEDS = int(os.environ.get("FILTERLIB_SEEDS", "11"))
MOST_CHANGES = 2000  # of straight pieces: five sections of up to 50 corners, each crossed some times


@pytest.mark.parametrize("seed", [*range(SEEDS), 97])
def test_energy_in_is_stored_or_heat(seed):
    circuit = drawn(seed)
    run = course(circuit, 120e-6)
    given = -run.integral(Current("V"), "s")
    heat = sum(run.integral(Current(b.name), (b.a, b.b)) for b in circuit.of("resistor", "bend"))
    kept = stored(circuit, run, run.ended)
    turned_over = abs(given) + heat + kept
    assert given - heat - kept == pytest.approx(0, abs=1e-9 * turned_over)
    assert heat > 0.01 * turned_over
    changes = sum(a is not b for a, b in zip(run.pieces, run.pieces[1:], strict=False))
    assert changes < MOST_CHANGES
    assert np.diff(run.times).min() > 0


@pytest.mark.parametrize(("loop", "absolute"), [(1e-3, 1e-9), (0.0, 1e-7)])
def test_the_linear_limit_is_the_step_response(loop, absolute):
    """Against the poles and residues of the same circuit, with coupled coils and a negative load; capacitors that
    close a loop alone have 1 uohm more here.
    """
    linear = Circuit().voltage_source("V", "in", "0").resistor("R", "in", "a", 0.2).inductor("L1", "a", "b", 1e-5)
    linear.inductor("L2", "0", "c", 1e-5).couple("K", "L1", "L2", 0.6).resistor("R2", "c", "0", 3.0)
    linear.capacitor("C1", "b", "0", 2e-6).resistor("E", "b", "c2", loop).capacitor("C2", "c2", "d", 1e-6)
    linear.capacitor("C3", "d", "0", 1e-6)
    linear.resistor("short", "d", "e", 0.0).resistor("load", "e", "0", 5.0).conductance("power", "b", "0", -0.02)
    linear.capacitor("none", "b", "c", 0.0)
    times = np.linspace(1e-7, 3e-4, 50)
    expected = linear.step_response(times, "V", ["b", "d"])
    run = course(in_pieces(linear.netlist, {"V": [(0.0, 1.0)]}), 3e-4)
    for node, values in zip(("b", "d"), expected, strict=True):
        assert run.at(times, node) == pytest.approx(values, rel=0, abs=absolute)


@pytest.mark.parametrize("seed", range(4))
def test_a_lossless_circuit_runs_back(seed):
    """From where it ended, with all currents turned about, it comes back to where it began."""
    draw = np.random.default_rng(seed)
    farads, henries = 10 ** draw.uniform(-6, -5, 2), 10 ** draw.uniform(-6, -5, 2)

    def circuit():
        made = PiecewiseCircuit().capacitor("C0", "a", "0", farads[0]).inductor("L0", "a", "b", henries[0])
        made.capacitor("C1", "b", "0", farads[1]).inductor("L1", "b", "0", henries[1])
        return made

    there = course(circuit(), 1e-4, {"C0": 24.0})
    end = {"C0": there.at(1e-4, "a")[0], "C1": there.at(1e-4, "b")[0]}
    end |= {name: -there.at(1e-4, Current(name))[0] for name in ("L0", "L1")}
    back = course(circuit(), 1e-4, end)
    assert back.at(1e-4, "a")[0] == pytest.approx(24.0, rel=1e-9, abs=0)
    assert back.at(1e-4, "b")[0] == pytest.approx(0.0, rel=0, abs=1e-8)


@pytest.mark.parametrize("seed", range(4))
def test_a_lossless_circuit_that_bends_runs_back(seed):
    """The same with a capacitance that falls and a choke that saturates, which begin and end away from zero."""
    draw = np.random.default_rng(seed)
    farads, henries = 10 ** draw.uniform(-6, -5), 10 ** draw.uniform(-6, -5)
    falling = capacitor_bend(lambda v: farads / (1 + (v / 20) ** 2), 200, 24)
    saturating = inductor_bend(lambda i: henries / (1 + (i / 15) ** 2), 200, 24)

    def circuit():
        made = PiecewiseCircuit().capacitor("C0", "a", "0", 2 * farads).inductor("L0", "a", "b", saturating)
        return made.capacitor("C1", "b", "0", falling).inductor("L1", "b", "0", henries)

    there = course(circuit(), 1e-4, {"C0": 24.0, "C1": -5.0, "L0": 3.0})
    assert len({id(piece) for piece in there.pieces}) > 5
    end = {"C0": there.at(1e-4, "a")[0], "C1": there.at(1e-4, "b")[0]}
    end |= {name: -there.at(1e-4, Current(name))[0] for name in ("L0", "L1")}
    back = course(circuit(), 1e-4, end)
    for output, began in (("a", 24.0), ("b", -5.0), (Current("L0"), -3.0), (Current("L1"), 0.0)):
        assert back.at(1e-4, output)[0] == pytest.approx(began, rel=0, abs=1e-9)


def locked_out(resistance):
    """A load of 30 W that starts at 20 V and stops at 16 V, on a capacitor behind a resistance from 24 V."""
    rules = [Rule("off", "on", "b", 20.0), Rule("on", "off", "b", 16.0, above=False)]
    off = Bend((1.0,), (1e-6,), 1e-6, 1e-6)
    circuit = PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, 24.0)]).resistor("R", "a", "b", resistance)
    circuit.capacitor("C", "b", "0", 1e-3)
    return circuit.switched("load", "b", "0", {"off": off, "on": constant_power(30.0, 12.0, 30.0)}, "off", rules)


def test_a_load_with_lock_out_starts_and_stops_by_its_thresholds():
    """12 V over 8 ohm give 18 W at most: it stops and starts for ever. Charging from 16 to 20 V: R C ln(8 / 4), by hand."""
    run = course(locked_out(8.0), 0.2)
    times = [time for time, _ in run.events]
    assert [text for _, text in run.events[:3]] == ["load: on", "load: off", "load: on"]
    assert times[0] == pytest.approx(8e-3 * math.log(24 / 4), rel=1e-4, abs=0)
    assert times[2] - times[1] == pytest.approx(8e-3 * math.log(8 / 4), rel=1e-4, abs=0)
    assert len(course(locked_out(1.0), 0.2).events) == 1


def test_a_limit_that_hiccups_tries_again_after_its_rest():
    """On for 2 ms into a short, off for 20 ms: by its own times."""
    on, off = Bend((6e-3,), (6.0,), 1e3, 1e-12), Bend((1.0,), (1e-9,), 1e-9, 1e-9)
    rules = [
        Rule("on", "limited", Current("limit"), 5.999),
        Rule("limited", "off", after=2e-3),
        Rule("off", "on", after=20e-3),
    ]
    circuit = PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, 24.0)])
    circuit.switched("limit", "a", "b", {"on": on, "limited": on, "off": off}, "on", rules)
    run = course(circuit.inductor("L", "b", "c", 1e-6).resistor("short", "c", "0", 0.1), 50e-3)
    assert [text.split(": ")[1] for _, text in run.events] == ["limited", "off", "on"] * 2 + ["limited", "off"]
    assert run.events[2][0] - run.events[1][0] == pytest.approx(20e-3, rel=1e-12, abs=0)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda c: c.resistor("R", "a", "b", 0.0), "R: 0.0 ohm; a finite number above zero"),
        (lambda c: c.resistor("R", "a", "a", 1.0), 'R: both ends are on node "a"'),
        (lambda c: c.resistor("V", "a", "b", 1.0), "V: the circuit already has"),
        (lambda c: c.bend("D", "a", "b", Bend((0.0,), (1.0,), 1.0, 1.0)), "D: its curve is 1 at zero"),
        (lambda c: c.capacitor("C", "a", "b", Bend((0.0,), (0.0,), 1.0, -1.0)), "C: its curve has to rise"),
        (lambda c: c.couple("L", "V", 0.5), "L: coupled are inductors"),
        (lambda c: c.voltage_source("W", "a", "b", [(1, 0), (0, 0)]), "W: corners are pairs"),
        (lambda c: c.switched("S", "a", "b", {"on": diode(1, 1)}, "on", [Rule("on", "off")]), "S: no curve is named 'off'"),
        (lambda c: course(c, 1.0), "no course in time"),
        (lambda c: course(c.capacitor("C", "a", "0", 1e-6), 1.0), "loop"),
        (lambda c: course(c.capacitor("C", "a", "0", 1e-6), -1.0), "until -1.0 s"),
        (lambda c: course(c.resistor("R", "a", "b", 1).capacitor("C", "b", "0", 1e-6), 1.0, {"R": 1.0}), "R: a start"),
        (lambda c: course(c.resistor("R", "a", "b", 1).capacitor("C", "b", "0", 1e-6), 1.0).at(0, "z"), "no node is named"),
        (lambda c: capacitor_bend(lambda v: 1 - v, 2.0), "positive"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said(make, words):
    with pytest.raises(CircuitError, match=words.replace("(", r"\(")):
        make(PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, 1.0)]))


def test_a_course_that_stops_at_an_event_goes_on_behind_it():
    """second method: the same in one go; of the load that starts and stops without end."""
    whole, circuit = course(locked_out(8.0), 0.03), locked_out(8.0)
    first = course(circuit, 0.03, stop="load: on")
    assert first.times[-1] == whole.events[0][0]
    second = course(circuit, 0.03 - first.times[-1], behind=first)
    assert second.at(second.times[-1], "b")[0] == pytest.approx(whole.at(0.03, "b")[0], rel=1e-9, abs=0)


def test_events_are_counted_and_steps_are_not():
    """A ring of many steps is followed; a load that starts and stops is given up after as many events as are allowed."""
    ring = PiecewiseCircuit().capacitor("C", "a", "0", 1e-6).inductor("L", "a", "x", 1e-6).resistor("R", "x", "0", 1e-4)
    assert len(course(ring, 2e-3, {"C": 1.0}, most=1).times) > 1000
    with pytest.raises(CircuitError, match="events do not end"):
        course(locked_out(8.0), 0.2, most=5)


def test_a_curve_whose_only_corner_is_at_zero_is_crossed():
    """A voltage that rings through zero beside an ideal rectifier: a corner there has no scale of its own (hand: half waves of 1 V)."""
    circuit = PiecewiseCircuit().voltage_source("V", "s", "0", [(0.0, 1.0)]).resistor("R", "s", "a", 0.2)
    circuit.inductor("L", "a", "b", 1e-6).capacitor("C", "b", "0", 1e-6).bend(
        "D", "b", "0", Bend((0.0,), (0.0,), 1e-9, 2e-9)
    )
    run = course(circuit, 20.0, {"C": -3.0}, most=500)
    assert run.at(20.0, "b")[0] == pytest.approx(1.0, rel=1e-6, abs=0)


def test_the_peak_of_a_ring_by_hand():
    """hand: 10 V into 1 ohm, 10 µH and 10 µF, half of critical damping: 1 + exp(-pi / sqrt(3)) of it after pi / w_d; lowest at the start."""
    ring = PiecewiseCircuit().voltage_source("V", "a", "0", [(0.0, 10.0)]).resistor("R", "a", "b", 1.0)
    run = course(ring.inductor("L", "b", "c", 10e-6).capacitor("C", "c", "0", 10e-6), 1e-3)
    volts, at = run.peak("c")
    assert volts == pytest.approx(10 * (1 + np.exp(-np.pi / np.sqrt(3))), rel=1e-9, abs=0)
    assert at == pytest.approx(np.pi / (1e5 * np.sqrt(0.75)), rel=1e-6, abs=0)
    assert run.peak(("0", "c")) == (0.0, 0.0)
