"""One design solved at one operating point: what it holds is made once, and is what the design itself gives."""

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.ripple.at_load import GRID, seen, seen_several
from filterlib.errors import FilterlibError
from filterlib.parts.tables import data_folder
from filterlib.system.dc import OperatingError
from filterlib.system.design import with_values
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import Solution, solve, solve_all, solve_several
from tests.designs import common_mode, converter, design, resistive, series, shunt

BRICK = load_design(data_folder() / "designs" / "tide-gauge-brick.toml")
SPIKY = converter(spike={"peak_to_peak": "0.2 V"})


def test_everything_is_made_once_and_kept():
    solution = solve(BRICK)
    for name in ("circuit", "without_filter", "without_converter", "loads_alone", "components", "source_spectra"):
        assert getattr(solution, name) is getattr(solution, name)


def test_points_by_name_and_in_order():
    assert [one.point for one in solve_all(BRICK)] == [point.name for point in BRICK.operating_points]
    assert solve(BRICK, "listening").state == BRICK.state("listening")
    with pytest.raises(FilterlibError, match="listening"):
        solve(BRICK, "listenin")


def test_components_state_their_branches_and_direct_currents():
    """hand: 28 V through 4 A of load; the choke's two windings carry it there and back; a capacitor carries none."""
    one = design(shunt(name="C1"), common_mode(name="L1"), shunt(name="C2"), load=resistive("7 ohm"))
    placed = {component.name: component for component in solve(one).components}
    first, second = placed["L1"].branches
    amps = one.state().load_currents["modem"]
    assert first.direct == pytest.approx(amps, rel=1e-6, abs=0)
    assert second.direct == pytest.approx(-amps, rel=1e-6, abs=0)
    assert (first.element, first.winding, second.winding) == ("L1", 1, 2)
    assert placed["C1"].branches[0].direct == 0.0
    assert placed["C2"].bias == pytest.approx(float(one.state().load_voltages["modem"]), rel=1e-9, abs=0)
    names = {element.name for element in solve(one).circuit.elements}
    assert all(branch.element in names for component in placed.values() for branch in component.branches)


def test_several_designs_are_solved_as_each_by_itself():
    """second method: one at a time."""
    designs = [design(shunt(), series(f"{henries} µH"), shunt()) for henries in (4.7, 10, 22)]
    designs.append(design(shunt(), series(), shunt(), shunt("100 nF")))
    for found, one in zip(solve_several(designs, "full load"), designs, strict=True):
        assert isinstance(found, Solution)
        alone = one.state()
        assert found.state.load_voltages["modem"] == pytest.approx(alone.load_voltages["modem"], rel=1e-12, abs=0)
        assert found.state.currents == pytest.approx(alone.currents, rel=1e-12, abs=0)


def test_what_cannot_be_fed_leaves_the_others_alone():
    greedy = {"name": "modem", "kind": "constant_power", "power": "2 kW"}
    weak = design(series("10 µH", "200 mΩ"), load=greedy)
    fine = design(series("10 µH", "1 mΩ"), load=greedy)
    found = solve_several([weak, fine], "full load")
    assert isinstance(found[0], OperatingError)
    assert isinstance(found[1], Solution)


def test_loads_are_seen_together_as_each_by_itself():
    """second method: one at a time; different structures, and one that is the same twice."""
    designs = [design(shunt(), series(f"{henries} µH"), shunt(), source=SPIKY) for henries in (4.7, 22, 22)] + [
        design(shunt(), series(), shunt(), shunt("100 nF"), source=SPIKY)
    ]
    solutions = [solve(one) for one in designs]
    for together, solution in zip(seen_several(solutions, "modem"), solutions, strict=True):
        alone = seen(solution, "modem")
        assert together.ripple == pytest.approx(alone.ripple, rel=1e-9, abs=0)
        assert together.spike == pytest.approx(alone.spike, rel=1e-9, abs=0)
        np.testing.assert_allclose(together.response, alone.response, rtol=1e-9, atol=0)


def test_a_load_is_seen_where_the_converters_values_are_arrays():
    """second method: each end of the converter's capacitance by itself."""
    one = design(shunt(), series(), shunt())
    capacitance = next(p for p in uncertain_parameters(one) if p.key == "converter.output_capacitance")
    ends = np.array([[capacitance.low], [capacitance.high]])
    many = seen(solve(with_values(one, {capacitance.key: ends})), "modem")
    assert many.response.shape == (2, len(GRID))
    for row, value in enumerate(ends[:, 0]):
        alone = seen(solve(with_values(one, {capacitance.key: value})), "modem")
        assert np.ravel(many.ripple)[row] == pytest.approx(float(alone.ripple), rel=1e-9, abs=0)
