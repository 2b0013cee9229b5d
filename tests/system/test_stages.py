"""Stages: each adds what it says, in the line in which it stands, at the operating point."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from filterlib import load_design
from filterlib.analysis.stress.stress import loadings
from filterlib.errors import InputError
from filterlib.network.circuit import Circuit
from filterlib.parts.skin_effect import internal_impedance
from filterlib.system.design import Design
from filterlib.system.file.writing import design_toml
from filterlib.system.line.components import MOUNTING_LOOP
from filterlib.system.line.stages import CHASSIS_WAY, KINDS, add_filter
from filterlib.system.solution import solve
from filterlib.system.state import State
from tests.designs import common_mode, converter, film, resistive, series, shunt

F = np.array([1e3, 1e5, 3e6, 5e7])
START, END = ("p", "n"), ("q", "0")


def stages(*raw):
    """Checked and named, as a design has them."""
    return Design(name="t", converter=converter(), filter=list(raw), load=[resistive()]).filter


def built(*raw, state=None):
    circuit = Circuit()
    add_filter(circuit, stages(*raw), START, END, state or State())
    return circuit


def names(circuit):
    return {element.name for element in circuit.elements}


def test_an_empty_filter_is_two_shorts():
    circuit = built()
    assert names(circuit) == {"link.plus", "link.return"}
    assert_allclose(circuit.resistor("end", "q", "0", 7.0).impedance(F, "p", "n"), 7.0, rtol=1e-12, atol=0)  # hand


def test_only_the_line_without_a_series_stage_is_a_short():
    assert "link.return" in names(built(shunt(), series()))
    assert "link.plus" not in names(built(shunt(), series()))
    both = names(built(series(line="both"), shunt()))
    assert not {"link.plus", "link.return"} & both
    assert {"link.plus"} == names(built(series(line="return"))) & {"link.plus", "link.return"}


@pytest.mark.parametrize("count", [1, 3])
def test_a_shunt_capacitor_is_the_part_with_its_loop(count):
    (stage,) = stages(shunt(count=count))
    circuit = built(shunt(count=count))
    circuit.resistor("open", "q", "0", 1e12)
    expected = stage.part.impedance(F, mounting_loop=MOUNTING_LOOP.value, count=count)  # second method: the part alone
    assert_allclose(circuit.impedance(F, "p", "n"), expected, rtol=1e-6, atol=0)
    assert {"C1", "C1.loop"} <= names(circuit)


@pytest.mark.parametrize("line", ["plus", "return", "both"])
def test_a_series_choke_stands_in_its_lines(line):
    """hand: in series with 7 ohm, once or twice."""
    (stage,) = stages(series(line=line))
    circuit = built(series(line=line)).resistor("end", "q", "0", 7.0)
    times = 2 if line == "both" else 1
    assert_allclose(circuit.impedance(F, "p", "n"), 7 + times * stage.part.impedance(F), rtol=1e-9, atol=0)
    assert ("L1" in names(circuit)) == (line != "both")


def test_a_series_choke_saturates_with_the_operating_points_current():
    raw = series()
    loaded = State(currents={"L1": 30.0})
    (stage,) = stages(raw)
    found = built(raw, state=loaded).resistor("end", "q", "0", 0.0).impedance(F, "p", "n")
    assert_allclose(found, stage.part.impedance(F, current=30.0), rtol=1e-9, atol=0)  # second method: the part alone
    assert np.all(np.abs(found[1:2]) < 0.8 * np.abs(stage.part.impedance(F)[1:2]))


def test_a_capacitor_loses_with_the_operating_points_bias_and_temperature():
    raw = {"kind": "capacitor", "part": {**film(), "kind": "ceramic_class_2", "bias_curve": [["0 V", 1], ["50 V", 0.2]],
           "temperature_curve": [["-40 °C", 0.7], ["25 °C", 1.0], ["85 °C", 0.9]]}}  # fmt: skip
    (stage,) = stages(raw)
    state = State(biases={"C1": 50.0}, temperature=233.15)
    found = built(raw, state=state).resistor("open", "q", "0", 1e12).impedance(F, "p", "n")
    expected = stage.part.impedance(F, bias=50.0, temperature=233.15, mounting_loop=MOUNTING_LOOP.value)
    assert_allclose(found, expected, rtol=1e-6, atol=0)  # second method: the part alone


def test_a_common_mode_choke_has_one_winding_in_each_line():
    """hand: the loop sees both leakages and resistances, the line tied together half the magnetising branch and leakage."""
    raw = common_mode(leakage="10 µH")
    f = np.array([1e4])
    through = built(raw).resistor("end", "q", "0", 0.0).impedance(f, "p", "n")
    assert_allclose(through, 2j * np.pi * f * 10e-6 + 0.02, rtol=0.02, atol=0)  # leakage of the loop, 2 x 10 mohm
    tied = built(raw).resistor("tie", "p", "n", 0.0).resistor("end", "q", "0", 0.0).impedance(f, "p", "0")
    assert_allclose(tied.imag, 2 * np.pi * f * 1e-3, rtol=0.02, atol=0)  # two coupled windings in parallel: L


@pytest.mark.parametrize(("line", "ends"), [("both", {"plus", "return"}), ("plus", {"plus"}), ("return", {"return"})])
def test_capacitors_to_the_chassis_stand_at_their_lines(line, ends):
    raw = {"kind": "capacitor_to_chassis", "part": film("4.7 nF"), "line": line}
    circuit = built(raw)
    nodes = {element.name: element.nodes for element in circuit.elements}
    assert {name.split(".")[1] for name in nodes if name.startswith("Y1.") and name.count(".") == 1} == ends
    assert all(nodes[f"Y1.{end}.loop"][1] == "chassis" for end in ends)
    assert all(nodes[f"Y1.{end}"][0] == {"plus": "p", "return": "n"}[end] for end in ends)
    assert stages(raw)[0].reaches_chassis


def test_unequal_capacitors_to_the_chassis():
    """hand: 4.7 nF with 10 % imbalance is 4.935 nF at the plus line and 4.465 nF at the return."""
    raw = {"kind": "capacitor_to_chassis", "part": film("4.7 nF"), "imbalance": "10 %"}
    (stage,) = stages(raw)
    for end, node, capacitance in (("plus", "p", 4.935e-9), ("return", "n", 4.465e-9)):
        circuit = built({**raw, "line": end})
        for other in ("p", "q", "n", "chassis"):
            circuit.resistor(f"open {other}", other, "0", 1e12)
        part = stage.part.replace(capacitance=capacitance)
        expected = part.impedance(F, mounting_loop=CHASSIS_WAY.value)
        assert_allclose(circuit.impedance(F, node, "chassis"), expected, rtol=1e-5, atol=0)


def test_damping_is_a_resistor_in_series_with_its_capacitor():
    """hand: R + Z of the part."""
    raw = {"kind": "damping", "resistance": "2 ohm", "part": film("10 µF")}
    (stage,) = stages(raw)
    found = built(raw).resistor("open", "q", "0", 1e12).impedance(F, "p", "n")
    assert_allclose(found, 2 + stage.part.impedance(F, mounting_loop=MOUNTING_LOOP.value), rtol=1e-6, atol=0)


@pytest.mark.parametrize("line", ["plus", "return", "both"])
@pytest.mark.parametrize("second", [None, "3.3 µH"])
def test_damping_of_a_choke_is_across_it_in_its_lines(line, second):
    """hand: Z of the choke in parallel with R, or with R and the second choke in series; once or twice."""
    more = {} if second is None else {"part": {**series()["part"], "inductance": second}}
    raw = series(line=line, damping={"resistance": "4.7 ohm", **more})
    (stage,) = stages(raw)
    beside = 4.7 + (0.0 if second is None else stage.damping.part.impedance(F))
    expected = 1 / (1 / stage.part.impedance(F) + 1 / beside)
    found = built(raw).resistor("end", "q", "0", 7.0).impedance(F, "p", "n")
    assert_allclose(found, 7 + (2 if line == "both" else 1) * expected, rtol=1e-9, atol=0)


def test_direct_current_beside_a_choke_is_shared_by_the_resistances():
    """hand: 3 A; 20 mohm beside 1 ohm and 20 mohm take 3 A / 52 of it, of which the resistor makes I^2 R; the second choke is at that current."""
    damping = {"resistance": "1 ohm", "part": {**series()["part"], "inductance": "3.3 µH"}}
    one = Design(name="t", converter=converter(), filter=[series(damping=damping)], load=[resistive()])
    at = solve(one)
    through = at.state.converter_current
    parts = {component.name: component for component in at.components}
    assert set(parts) == {"L1", "L1.resistor", "L1.damping"}
    first, second = (parts[name].branches[0].direct for name in ("L1", "L1.damping"))
    assert first + second == pytest.approx(through, rel=1e-9, abs=0)
    own = parts["L1"].branches[0].ohms
    assert second == pytest.approx(through * own / (1.0 + 2 * own), rel=1e-6, abs=0)
    heat = next(each for each in loadings(at) if each.component.name == "L1.resistor").direct_heat
    assert float(heat.max()) == pytest.approx(second**2 * 1.0, rel=1e-9, abs=0)


def test_damping_of_a_choke_goes_through_a_design_file(tmp_path):
    damping = {"resistance": "4.7 ohm", "part": {**series()["part"], "inductance": "3.3 µH"}}
    one = Design(name="t", converter=converter(), filter=[series(damping=damping)], load=[resistive()])
    path = tmp_path / "one.toml"
    path.write_text(design_toml(one), encoding="utf-8")
    assert load_design(path) == one
    path.write_text(design_toml(one).replace("4.7 Ω", "0 Ω"), encoding="utf-8")
    with pytest.raises(InputError, match=r"filter\[1\].damping.resistance"):
        load_design(path)


def test_a_wire_is_its_resistance_out_and_back_and_the_loops_inductance():
    raw = {"kind": "wire", "part": {"kind": "wire_pair", "length": "2 m", "awg": 20, "spacing": "2 mm"}}
    (stage,) = stages(raw)
    found = built(raw, state=State(temperature=333.15)).resistor("end", "q", "0", 0.0).impedance(F, "p", "n")
    pair = stage.part
    inside = internal_impedance(F, pair.resistance(333.15), pair.internal_inductance)
    outside = pair.loop_inductance - 2 * pair.internal_inductance
    expected = 2 * inside + 2j * np.pi * F * outside  # hand
    assert_allclose(found, expected, rtol=1e-9, atol=0)


def test_stages_stand_in_their_order():
    """hand: choke first, then capacitor, is not capacitor first, then choke; the converter's end sees it."""
    first = built(series(), shunt()).resistor("end", "q", "0", 7.0)
    assert [e.nodes[:2] for e in first.elements if e.name == "L1"] == [("p", "q")]
    second = built(shunt(), series(), shunt()).resistor("end", "q", "0", 7.0)
    at = {e.name: e.nodes for e in second.elements}
    assert at["C1"][0] == "p"
    assert at["C2"][0] == "q"
    third = built(series(), shunt(), series()).resistor("end", "q", "0", 7.0)
    at = {e.name: e.nodes for e in third.elements}
    assert (at["L1"], at["C1"][0], at["L2"]) == (("p", "stage1_plus"), "stage1_plus", ("stage1_plus", "q"))


def test_stages_without_a_name_get_the_next_free_one():
    raw = [shunt(), {**shunt(), "name": "C2"}, shunt(), series(), {**series(), "name": "mains"}, common_mode()]
    assert [stage.name for stage in stages(*raw)] == ["C1", "C2", "C3", "L1", "mains", "L2"]


def test_every_kind_is_known_by_the_word_that_its_class_holds():
    for kind, stage in KINDS.items():
        assert stage.model_fields["kind"].annotation.__args__ == (kind,)
