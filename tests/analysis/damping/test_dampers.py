"""Damping branches of real parts: against the ideal robust optimum, by the poles, and what they cost by hand; files and terminal."""

import json
from dataclasses import replace
from types import SimpleNamespace as Made

import numpy as np
import pytest

import filterlib
from filterlib import cli
from filterlib.analysis.damping.dampers import _drop, damp
from filterlib.analysis.damping.ideal import robust, textbook
from filterlib.analysis.damping.real_parts import fitted
from filterlib.analysis.stability.stability import stability
from filterlib.errors import FilterlibError
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.show.damping.damp_files import damping_text, write_damping
from filterlib.system.file.writing import design_toml
from filterlib.system.solution import solve
from filterlib.words.damping_sentences import damper_lines, damping_opening
from tests.analysis.stability.test_over_uncertainty import POWER, capacitor, choke, feeble
from tests.designs import design, film, resistive, shunt

PURE = {"esr": 0.0, "esl": 0, "loss_angle": 0, "tolerance": 0.2}
BOUGHT = {
    "film-40": Capacitor(name="film-40", **film("40 µF", **PURE)),
    "wet-47": Capacitor(
        name="wet-47", kind="aluminium", capacitance="47 µF", rated_voltage="63 V", esr="0.2 Ω", esl=0, rated_life="5000 h",
        maximum_temperature="105 °C", esr_temperature_curve=[["-40 °C", 9.0], ["25 °C", 1.0], ["105 °C", 0.5]],
    ),
    "low-voltage": Capacitor(name="low-voltage", **film("20 µF", rated_voltage="25 V")),
    "far-too-small": Capacitor(name="far-too-small", **film("1 µF")),
}  # fmt: skip


@pytest.fixture(scope="module")
def ringing():
    return feeble(choke("47 µH", "5 mΩ"), capacitor("10 µF", tolerance=0.2))


@pytest.fixture(scope="module")
def result(ringing):
    return damp(ringing, BOUGHT)


def test_with_nearly_ideal_parts_the_resistor_is_the_ideal_one():
    """second method: the closed form and the min-max over corners of ideal L, C and Cb; a source of almost nothing, 1 mohm of choke."""
    branch = {"kind": "damping", "name": "D", "part": film("40 µF", **PURE), "resistance": "1 Ω", "mounting_loop": 0}
    one = feeble(choke("47 µH", "1 mΩ"), capacitor("10 µF", tolerance=0.2), branch)
    whole = np.sqrt(47e-6 / 10e-6)
    ohms, peak = textbook("R-C across C", 4.0)
    found = fitted(solve(one), "D", ohms * whole, 1 / (2 * np.pi * np.sqrt(47e-6 * 10e-6)))
    ideal = robust("R-C across C", 4.0)
    assert found.nominal == pytest.approx(ohms * whole, rel=0.03, abs=0)
    assert found.robust == pytest.approx(ideal.resistance * whole, rel=0.01, abs=0)
    assert found.worst == pytest.approx(ideal.worst * whole, rel=0.02, abs=0)
    assert found.worst < found.plain
    assert peak * whole < found.peak < 0.1 * found.without
    assert found.chosen in (1.6, 1.8)


def test_the_branch_that_is_proposed_first_makes_it_stable(ringing, result):
    """second method: poles of the design as it is, and with each branch."""
    assert not stability(solve(ringing)).stable
    assert {one.part for one in result.dampers} == {"film-40", "wet-47"}
    for one in result.dampers:
        assert stability(solve(one.design)).stable
        assert one.was < 0 < one.more
        assert one.damps
    assert [one.verdict for one in result.proofs] == ["stable"]
    assert [one.headroom for one in result.dampers] == sorted([one.headroom for one in result.dampers], reverse=True)


def coil(name, henries, ohms="10 mΩ"):
    """A choke that carries all that is asked here; its winding resonates far above the filter."""
    return DifferentialChoke(
        name=name, inductance=henries, dc_resistance=ohms, saturation_current="1 kA", rated_current="60 A",
        self_resonance="20 MHz", parallel_resistance="1 MΩ",
    )  # fmt: skip


@pytest.mark.parametrize(("network", "ratio"), [("R-L across L", 0.5), ("R-L in series", 1.0)])
def test_with_nearly_ideal_chokes_the_resistor_is_the_ideal_one(network, ratio):
    """second method: the closed form and the min-max over corners of ideal L, C and Lb."""
    second = coil("", f"{47 * ratio} µH", "0.1 mΩ").model_dump(exclude={"name", "note"}, exclude_unset=True)
    first, last = choke("47 µH", "0.1 mΩ"), capacitor("10 µF", tolerance=0.2)
    if network == "R-L across L":
        stages = first | {"damping": {"resistance": "1 Ω", "part": second}}, last
    else:
        stages = {"kind": "differential_choke", "part": second, "damping": {"resistance": "1 Ω"}}, first, last
    whole, ideal = np.sqrt(47e-6 / 10e-6), robust(network, ratio)
    start = textbook(network, ratio)[0] * whole
    found = fitted(solve(feeble(*stages)), "L1", start, 1 / (2 * np.pi * np.sqrt(47e-6 * 10e-6)), network)
    assert found.nominal == pytest.approx(start, rel=0.08, abs=0)  # flat there, and the source has an inside
    assert found.robust == pytest.approx(ideal.resistance * whole, rel=0.08, abs=0)
    assert found.worst == pytest.approx(ideal.worst * whole, rel=0.05, abs=0)
    assert found.peak < 0.1 * found.without


def test_second_chokes_damp_too_and_say_what_they_cost(ringing, tmp_path):
    """second method: poles with each; hand: the drop of a choke in series is its resistance times the current."""
    found = damp(ringing, {"coil-22": coil("coil-22", "22 µH"), "coil-47": coil("coil-47", "47 µH", "20 mΩ")})
    by_network = {one.network: one for one in found.dampers}
    assert {name: one.part for name, one in by_network.items()} == {
        "R-L across L": "coil-22",
        "R-L in series": "coil-47",
    }
    assert all(stability(solve(one.design)).stable for one in found.dampers)
    assert by_network["R-L across L"].drop < 1e-3
    assert by_network["R-L in series"].drop == pytest.approx(60 / 24 * 20e-3, rel=0.02, abs=0)
    assert all(one.switch_on == pytest.approx(0.5 * 10e-6 * 24**2, rel=1e-3, abs=0) for one in found.dampers)
    write_damping(found, tmp_path / "out")
    for number, one in enumerate(found.dampers, 1):
        loaded = filterlib.load_design(tmp_path / "out" / f"{number}-{one.part}.toml")
        stage = next(stage for stage in loaded.filter if stage.name == one.stage)
        assert stage.damping.resistance == pytest.approx(one.resistor.chosen, rel=1e-6, abs=0)


def test_the_drop_that_is_told_is_the_most_of_all_loads_at_all_points():
    """hand"""

    def judged(*volts):
        points = [Made(solution=Made(state=Made(voltage=at.get))) for at in volts]
        return Made(design=Made(loads=[Made(name="modem"), Made(name="logger")]), points=points)

    was = judged({"modem": 28.0, "logger": 28.0}, {"modem": 27.0, "logger": 28.0})
    now = judged({"modem": 27.75, "logger": 27.875}, {"modem": 26.0, "logger": 27.5})
    assert _drop(was, now) == 1.0


def test_a_design_that_stays_unstable_is_never_told_that_it_needs_none(result):
    """The words follow the judgement: unstable in a part of the range, with damping that moves nothing."""
    best = result.dampers[0]
    idle = replace(best, resistor=replace(best.resistor, peak=best.resistor.without), was=9.0)
    words = damping_opening(replace(result, dampers=(idle,), more=9.0))
    assert words.startswith("It is unstable at full load. Damping does not help")
    calm = replace(result, dampers=(idle,), more=9.0, judgement=best.proposal.judgement)
    assert damping_opening(calm).startswith("It needs no damping")
    assert damping_opening(replace(calm, dampers=(replace(idle, was=0.2),), more=0.2)).startswith(
        "It rings at 20 % more power. Damping does"
    )


def test_what_a_branch_costs(result):
    """hand: half of C V^2, of both capacitors; a ripple current's heat is less than that of all of it through the resistor."""
    by_part = {one.part: one for one in result.dampers}
    assert by_part["film-40"].ratio == pytest.approx(4.0, rel=1e-3, abs=0)
    assert by_part["film-40"].switch_on == pytest.approx(0.5 * 50e-6 * 24**2, rel=1e-3, abs=0)
    assert 0 < by_part["film-40"].heat < 1e-2
    assert by_part["film-40"].conditions == ()


def test_an_electrolytic_is_judged_cold_warm_and_worn(result):
    wet = next(one for one in result.dampers if one.part == "wet-47")
    assert [one.words for one in wet.conditions] == ["cold", "room temperature", "warm", "cold and worn"]
    assert wet.headroom <= min(one.critical_power / 60 - 1 for one in wet.conditions) + 1e-9
    assert any("cold and worn" in line for line in damper_lines(wet))


def test_files_are_designs_and_hold_the_branch(result, tmp_path):
    write_damping(result, tmp_path / "out")
    told = json.loads((tmp_path / "out" / "damp.json").read_text(encoding="utf-8"))
    assert [one["file"] for one in told["dampers"]] == [
        f"{n}-{one.part}.toml" for n, one in enumerate(result.dampers, 1)
    ]
    for entry, one in zip(told["dampers"], result.dampers, strict=True):
        loaded = filterlib.load_design(tmp_path / "out" / entry["file"])
        (branch,) = [stage for stage in loaded.filter if stage.kind == "damping"]
        assert branch.resistance == pytest.approx(one.resistor.chosen, rel=1e-6, abs=0)
        assert entry["chosen_ohm"] == pytest.approx(one.resistor.chosen, rel=1e-6, abs=0)
    assert damping_text(result, "out").count("out/") == len(result.dampers)
    assert damping_text(result).startswith("It is unstable")


def test_what_cannot_be_damped_is_said():
    with pytest.raises(FilterlibError, match="nothing to damp"):
        damp(design(shunt(name="C1"), load=resistive()), BOUGHT)
    with pytest.raises(FilterlibError, match='no damping is called "D"'):
        fitted(solve(feeble(load=POWER)), "D", 1.0, 1e3)


def test_the_command_prints_and_writes(monkeypatch, capsys, tmp_path, ringing, result):
    monkeypatch.setattr("filterlib.analysis.damping.dampers.damp", lambda *_, **__: result)
    (tmp_path / "one.toml").write_text(design_toml(ringing), encoding="utf-8")
    assert cli.main(["damp", str(tmp_path / "one.toml"), "--out", str(tmp_path / "out")]) == 0
    told = capsys.readouterr()
    assert told.err == ""
    assert told.out.startswith("It is unstable")
    assert (tmp_path / "out" / "damp.json").is_file()


def test_the_command_says_which_file_has_nothing_to_damp(capsys, tmp_path):
    path = tmp_path / "two.toml"
    path.write_text(design_toml(design(shunt(name="C1"), load=resistive())), encoding="utf-8")
    assert cli.main(["damp", str(path)]) == 2
    assert f"{path}: nothing to damp" in capsys.readouterr().err
