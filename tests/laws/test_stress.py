"""Energy: the heat in all parts of the filter is what goes into it less what comes out, at every ripple frequency and at DC.

second method throughout: the power of everything that is no part of the filter, from its own voltages and currents.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from filterlib import Current, load_design
from filterlib.analysis.ripple.spectra import spectra
from filterlib.analysis.stress.stress import loadings
from filterlib.parts.tables import data_folder
from filterlib.system.solution import solve
from tests.designs import common_mode, converter, design, film, resistive, series, shunt

DEMOS = ("tide-gauge-clean.toml", "tide-gauge-brick.toml")
SPIKES = {"peak_to_peak": "0.9 V", "ring_frequency": "40 MHz"}
COMMON = {"swing": "28 V ± 10 %", "coupling": "100 pF"}
WIRE = {"kind": "wire_pair", "length": "0.5 m", "cross_section": "0.75 mm2", "spacing": "3 mm"}
STAGES = {
    "capacitor": shunt(count=3),
    "choke": series("22 µH"),
    "both": series("10 µH", line="both", imbalance="10 %"),
    "common": {"kind": "common_mode_choke", "part": common_mode()["part"] | {"imbalance": "2 %"}},
    "damping": {"kind": "damping", "part": film("10 µF"), "resistance": "1.5 ohm"},
    "wire": {"kind": "wire", "part": WIRE | {"imbalance": "20 %"}},
    "chassis": {"kind": "capacitor_to_chassis", "part": film("10 nF"), "line": "both", "imbalance": "10 %"},
    "bonded": {"kind": "capacitor_to_chassis", "part": film("10 nF"), "line": "both", "bond": {"resistance": "1 ohm"}},
}


def powers(one, state):
    """Power that every group of elements takes [W], at all ripple frequencies together: converter, load, filter."""
    circuit = one.build(state)
    elements = [e for e in circuit.elements if e.kind != "couple"]
    outputs = {}
    for e in elements:
        for winding in (1, 2) if e.kind == "coupled" else (1,):
            nodes = e.nodes[2:] if winding == 2 else e.nodes[:2]
            outputs[e.name, winding, "i"], outputs[e.name, winding, "v"] = Current(e.name, winding), nodes
    found = spectra(solve(one, state), outputs=outputs)
    taken = dict.fromkeys(("converter", "load", "filter"), 0.0)
    largest = 0.0
    for name, winding, what in outputs:
        if what == "i":
            power = _power(found, (name, winding, "v"), (name, winding, "i"))
            taken[owner(one, name)] += power
            largest = max(largest, abs(power))
    return taken, largest


def _power(found, voltage, current):
    total = 2 * np.sum(np.real(found.whole(voltage) * np.conj(found.whole(current))))
    for (place, load), volts in found.reflected.items():
        if place == voltage:
            total += 2 * np.sum(np.real(volts * np.conj(found.reflected[current, load])))
    return total


def owner(one, name):
    if name.split(".")[0] in ("converter", "regulated", "ripple", "common_mode"):
        return "converter"
    loads = {load.name for load in one.loads}
    return "load" if name.split(".")[0] in loads or name == "insulation" else "filter"


def filter_heat(one, state, what):
    inside = [held for held in loadings(solve(one, state)) if not held.component.name.endswith(".capacitor")]
    return sum(held.component.count * float(getattr(held, what)[0, 0]) for held in inside)


def check_ripple(one, state):
    taken, largest = powers(one, state)
    through = -taken["converter"] - taken["load"]
    heat = filter_heat(one, state, "ripple_heat")
    assert heat > 0
    # scale: the largest power that any element takes or gives
    assert through == pytest.approx(heat, rel=1e-12, abs=1e-12 * largest)
    assert taken["filter"] == pytest.approx(heat, rel=1e-12, abs=1e-12 * largest)
    return heat, taken


@pytest.mark.parametrize("name", DEMOS)
def test_the_demonstrations_keep_their_energy_at_every_operating_point(name):
    one = load_design(data_folder() / "designs" / name)
    for point in one.operating_points:
        state = one.state(point.name)
        heat, taken = check_ripple(one, state)
        assert heat < -taken["converter"]  # something is left for the loads


@settings(max_examples=25)
@given(
    st.lists(st.sampled_from(sorted(STAGES)), min_size=1, max_size=4),
    st.sampled_from(["triangle", "pulse"]),
    st.booleans(),
    st.booleans(),
)
def test_any_filter_keeps_its_energy(kinds, shape, noisy, second):
    source = converter(shape=shape, ripple={"peak_to_peak": "650 mV"})
    if noisy:
        source |= {"spike": SPIKES, "common_mode": COMMON, "bond": {}}
    loads = [resistive(input_capacitor={"part": film("10 µF")}, lead={k: v for k, v in WIRE.items() if k != "kind"})]
    if second:
        drawn = {"peak_to_peak": "0.5 A", "frequency": "250 kHz"}
        loads.append({"name": "pump", "kind": "constant_current", "current": "1 A", "ripple": drawn})
    one = design(*(STAGES[kind] for kind in kinds), source=source, load=loads)
    check_ripple(one, one.state())


def direct_powers(one, state):
    """Power that every element takes from the direct current [W], by owner."""
    circuit = one.build(state).opened([name for load in one.loads for name in load.input_branches])
    sources = {"regulated": one.converter.output_voltage}
    sources |= {load.source: state.load_currents[load.name] for load in one.loads}
    taken = dict.fromkeys(("converter", "load", "filter"), 0.0)
    for e in circuit.elements:
        for winding in () if e.kind == "couple" else (1, 2) if e.kind == "coupled" else (1,):
            nodes = e.nodes[2:] if winding == 2 else e.nodes[:2]
            read = circuit.transfer([0.0], list(sources), [nodes, Current(e.name, winding)])
            v, i = (
                sum(level * row[k][0].real for level, row in zip(sources.values(), read, strict=True)) for k in (0, 1)
            )
            taken[owner(one, e.name)] += v * i
    return taken


@pytest.mark.parametrize("name", DEMOS)
def test_the_demonstrations_keep_their_energy_at_direct_current(name):
    one = load_design(data_folder() / "designs" / name)
    for point in one.operating_points:
        state = one.state(point.name)
        taken = direct_powers(one, state)
        heat = filter_heat(one, state, "direct_heat")
        # the difference of two powers of 100 W each, known to 1e-15 of them
        assert heat == pytest.approx(-taken["converter"] - taken["load"], rel=1e-11, abs=0)
        assert 0.01 < heat < 1


def test_heat_of_direct_current_in_every_series_stage():
    """hand, too: I**2 R of both lines."""
    one = design(
        series("10 µH", "10 mΩ"),
        common_mode(),
        series("10 µH", "20 mΩ", line="both"),
        {"kind": "wire", "part": WIRE | {"imbalance": "20 %"}},
    )
    state = one.state()
    amps = state.load_currents["modem"]
    wire = 2 * one.filter[3].part.resistance()
    # hand: 10 mΩ once, 2 x 10 mΩ of the two windings, 2 x 20 mΩ, both wires
    expected = amps**2 * (10e-3 + 20e-3 + 40e-3 + wire)
    assert filter_heat(one, state, "direct_heat") == pytest.approx(expected, rel=1e-9, abs=0)
    taken = direct_powers(one, state)
    assert -taken["converter"] - taken["load"] == pytest.approx(expected, rel=1e-9, abs=0)
