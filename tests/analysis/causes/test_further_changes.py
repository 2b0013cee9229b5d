"""Changes against what is no ripple: whatever fails gets changes that are judged as the design is."""

import numpy as np
import pytest

from filterlib.analysis.causes.further_changes import damping_resistance, further_changes
from filterlib.analysis.causes.reasons import reasons
from filterlib.analysis.judgement import judge
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.system.solution import solve_all
from filterlib.words.review.reason_sentences import reason_sentences
from tests.designs import KNOWN, converter, design, film, resistive, series, shunt

STRONG = DifferentialChoke(
    name="strong", inductance="10 µH", dc_resistance="2 mohm", saturation_current="40 A", rated_current="40 A",
    winding_capacitance="10 pF",
)  # fmt: skip


def best(one, **parts):
    """The best proposal, and the advice, for a design."""
    was = judge(solve_all(one))
    assert not was.good
    found = reasons(was.decisive[2].solution, "modem", parts=parts, judgement=was)
    return found.proposals[0], reason_sentences(found)[-1].text


def pi(*, choke=None, **more):
    return design(shunt(name="C1"), choke or series(name="L1"), shunt(name="C2"), source=converter(**KNOWN), **more)


@pytest.mark.parametrize("ratio", [2.0, 4.0, 10.0])
def test_the_damping_resistance_is_that_of_the_lowest_peak(ratio):
    """second method: the peak of the output impedance of L and C, damped by R and n C, over many R."""
    w = np.logspace(-1.5, 1.5, 6001)  # over 1/sqrt(LC), L and C being 1
    ohms = damping_resistance(1.0, 1.0, ratio) * np.array([0.8, 0.9, 1.0, 1.1, 1.25])[:, None]
    admittance = 1 / (1j * w) + 1j * w + 1 / (ohms + 1 / (1j * w * ratio))
    peaks = np.abs(1 / admittance).max(axis=-1)
    assert int(np.argmin(peaks)) == 2


def test_a_voltage_that_is_too_low_gets_a_shorter_or_thicker_lead():
    """hand: 4 A through 2 m of two wires of 0.5 mm² drop 0.55 V; half the length or twice the copper half of that."""
    load = resistive(lead={"length": "2 m", "cross_section": "0.5 mm2", "spacing": "6 mm"})
    wanted = {"kind": "voltage", "load": "modem", "low": "27.5 V", "high": "29 V"}
    first, advice = best(pi(load=load, requirement=[wanted]))
    assert first.robust
    assert "lead" in first.words
    assert advice.startswith("Change first: ")


def test_a_rating_that_is_exceeded_gets_a_stronger_part():
    """hand: 4 A through a choke for 3 A; the other bears 40 A."""
    weak = series(name="L1")
    weak["part"] |= {"rated_current": "3 A"}
    first, advice = best(pi(choke=weak), strong=STRONG)
    assert first.names == ("take strong for L1",)
    assert first.robust
    assert "strong" in advice


def test_an_unstable_circuit_gets_a_damping_branch_with_its_resistance():
    """hand: 60 W at 28 V are -13 ohm; 47 µH and 2.2 µF are 4.6 ohm, next to undamped."""
    load = {"name": "modem", "kind": "constant_power", "power": "60 W", "loop_bandwidth": "50 kHz"}
    one = design(series("47 µH", "1 mΩ", name="L1"), shunt("2.2 µF", name="C1"), source=converter(**KNOWN), load=load)
    bulk = Capacitor(**film("22 µF", name="bulk"))
    first, advice = best(one, bulk=bulk)
    assert first.names[0].startswith("fit bulk in series with a resistor of ")
    assert first.robust
    assert "as damping" in advice
    (branch,) = [stage for stage in first.design.filter if stage.kind == "damping"]
    assert branch.resistance == pytest.approx(damping_resistance(47e-6, 2.2e-6, 10.0), rel=0.06, abs=0)  # two digits


def test_a_wire_is_no_choke_to_be_damped_against():
    """Found by the sweep of every key: a wire behind the choke ended the review of a design that had to be damped."""
    wire = {"kind": "wire", "part": {"kind": "wire_pair", "length": "1 m", "cross_section": "1 mm2", "spacing": "2 mm"}}
    bought = {
        "big": Capacitor(
            name="big", kind="film", capacitance="4.7 µF", rated_voltage="100 V", loss_angle=0.01, esl="5 nH"
        )
    }

    def damping(*stages):
        return [one.name for one in further_changes(design(*stages), bought) if one.kind == "damping branch"]

    assert damping(series("10 µH"), wire, shunt("1 µF")) == damping(series("10 µH"), shunt("1 µF")) != []
    assert damping(wire, shunt("1 µF")) == []
