"""The uncertain parameters are those of the models themselves: a new range appears in the interval by being there."""

from collections.abc import Iterator
from typing import Annotated, get_args

import numpy as np
import pytest
from pydantic import BaseModel, Field

from filterlib.parts.base import Assumed, Part, Quantity, Toleranced, Unequal
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.wire import WirePair
from filterlib.system.design import with_values
from filterlib.system.inside.chassis import CommonMode, NodeRing
from filterlib.system.inside.converter import Converter
from filterlib.system.line.load import Load
from filterlib.system.model import Model, marks
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, default
from filterlib.system.ranges.uncertain_parameter import ranges, toleranced
from filterlib.system.ranges.uncertain_parameters import ORDER, uncertain_parameters
from filterlib.system.sources.source_spectra import source_spectra
from filterlib.units import quantity
from tests.designs import converter, design, film, resistive, series, shunt
from tests.system.test_design import whole


def all_models(root: type[BaseModel]) -> Iterator[type[BaseModel]]:
    for model in root.__subclasses__():
        if model.__module__.startswith("filterlib."):
            yield from (model, *all_models(model))


MODELS = [*all_models(Model), *all_models(Part)]


def is_ranged(annotation: object) -> bool:
    return annotation is Ranged or any(map(is_ranged, get_args(annotation)))


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_range_and_every_spread_has_a_label_and_a_unit(model):
    for name, field in model.model_fields.items():
        found = marks(model)[name]
        uncertain = [one for one in found if isinstance(one, RangedQuantity | Toleranced | Unequal | Assumed)]
        both = ("leakage", "esr", "esl")  # off by a tolerance where they are stated, else assumed
        assert len(uncertain) <= (2 if name in both else 1)
        if is_ranged(field.annotation):
            assert [type(one) for one in uncertain] == [RangedQuantity], name
        for one in uncertain:
            assert one.label.strip() == one.label != "", name
            assert one.label.format(owner="X") != "", name
            unit = next(mark.unit for mark in found if isinstance(mark, Quantity | RangedQuantity))
            assert quantity(1, unit) == 1.0, name  # a unit that is known
            if isinstance(one, Toleranced):
                assert one.tolerance in model.model_fields, name


def test_there_are_models_with_ranges_to_look_at():
    found = [name for model in MODELS for name, field in model.model_fields.items() if is_ranged(field.annotation)]
    assert len(found) > 30
    assert {"stray_capacitance", "overshoot", "mutual", "imbalance", "efficiency"} <= set(found)


class Gasket(Model):
    """Of a model that nobody has put on a list."""

    elasticity: Annotated[Ranged, RangedQuantity("m", "elasticity of {owner}", low=0, high=1)] = default(
        0.2, 0.1, 0.4, "rubber (common practice, no source)"
    )


class Tighter(NodeRing):
    """A ring with one more range."""

    snub: Annotated[Ranged, RangedQuantity("ohm", "snubber's resistance", low=0, high=1e3)] = default(
        10.0, 5.0, 20.0, ""
    )


class TighterCommonMode(CommonMode):
    ring: Tighter = Field(default_factory=Tighter)


class TighterConverter(Converter):
    common_mode: TighterCommonMode | None = None


class SealedLoad(Load):
    """A load with one more range, and a section with another."""

    leak: Annotated[Ranged, RangedQuantity("S", "leak of {owner}", low=0, high=1)] = default(1e-9, 1e-10, 1e-8, "")
    gasket: Gasket | None = None


class ThickCapacitor(Capacitor):
    """A capacitor whose ESL has a tolerance."""

    esl: Annotated[float, Quantity("H", low=0), Toleranced("esl_tolerance", "ESL of {owner}")]
    esl_tolerance: Annotated[float, Quantity("", low=0, below=1)] = 0.5


def test_a_new_range_of_the_converters_sections_appears_and_is_moved():
    drive = {"swing": "28 V", "coupling": "30 pF"}
    source = TighterConverter(**converter(common_mode=drive))
    one = design(shunt()).model_copy(update={"converter": source})
    found = {each.key: each for each in uncertain_parameters(one)}
    new = found["converter.common_mode.ring.snub"]
    assert (new.label, new.unit, new.low, new.high) == ("snubber's resistance", "ohm", 5.0, 20.0)
    moved = with_values(one, {new.key: np.array([[6.0], [7.0]])})
    assert moved.converter.common_mode.ring.snub.value.tolist() == [[6.0], [7.0]]
    assert moved.converter.common_mode.ring.cycles == one.converter.common_mode.ring.cycles


def test_a_new_range_of_a_load_and_of_a_section_in_it_appears():
    load = SealedLoad(name="modem", kind="resistive", resistance=7, gasket={})
    one = design(shunt(), series()).model_copy(update={"loads": (load,)})
    found = {each.key: each.label for each in uncertain_parameters(one) if each.key.startswith("load.")}
    assert found == {
        "load.modem.leak": "leak of modem",
        "load.modem.gasket.elasticity": "elasticity of the gasket of modem",
    }
    known = load.replace(gasket=Gasket(elasticity=0.3))
    left = [each.key for each in ranges("load.modem", known, owner="modem")]
    assert left == ["load.modem.leak"]  # what is known exactly is no parameter


def test_a_wire_may_be_off_in_its_length():
    """hand: 10 % of 0.4 m; no shorter than it is wide; none where nothing is stated."""
    wire = WirePair(length=0.4, tolerance="10 %", cross_section=0.75e-6, spacing=3e-3)
    (found,) = toleranced("load.modem.lead", wire, owner="the lead of modem")
    assert (found.key, found.label) == ("load.modem.lead.length", "length of the lead of modem")
    assert (found.low, found.high) == pytest.approx((0.36, 0.44), rel=1e-12, abs=0)
    wide = wire.replace(length=10e-3, spacing=9.5e-3)
    assert next(toleranced("x", wide, owner="x")).low == 9.5e-3
    assert not [*toleranced("x", wire.replace(tolerance=0.0), owner="x")]
    modem = resistive() | {
        "lead": {"length": "0.4 m", "tolerance": "10 %", "cross_section": "0.75 mm2", "spacing": "3 mm"}
    }
    one, key = design(shunt(), load=modem), f"load.{modem['name']}.lead.length"
    assert [each.key for each in uncertain_parameters(one)].count(key) == 1
    longer = with_values(one, {key: 0.44})
    assert longer.loads[0].lead.loop_inductance > 1.09 * one.loads[0].lead.loop_inductance


def test_a_new_tolerance_of_a_part_appears():
    part = ThickCapacitor(
        kind="film", capacitance="1 µF", rated_voltage="63 V", loss_angle=0.01, esl="10 nH", esl_tolerance=0.2
    )
    found = {
        each.key: (each.label, each.unit, each.low, each.high) for each in toleranced("filter.C1", part, owner="C1")
    }
    assert found["filter.C1.esl"] == (
        "ESL of C1",
        "H",
        pytest.approx(8e-9, rel=1e-12, abs=0),
        pytest.approx(12e-9, rel=1e-12, abs=0),
    )  # hand
    assert list(found) == ["filter.C1.capacitance", "filter.C1.esl"]


def test_the_order_is_that_of_the_design():
    """The random points of a search go by it: converter, couplings, filter, loads, clip, then the parts' tolerances."""
    keys = [each.key for each in uncertain_parameters(whole())]
    heads = [key.split(".")[0] for key in keys]
    assert list(dict.fromkeys(heads)) == ["converter", "coupling", "filter", "load", "clip"]
    behind = [key for key in keys[heads.index("clip") :] if not key.startswith("clip.")]
    assert {key.split(".")[2] for key in behind} <= {
        "capacitance",
        "esr",
        "esl",
        "inductance",
        "leakage",
        "input_capacitor",
    }


def test_what_a_parts_table_leaves_typical_is_uncertain():
    """hand: 30 % either way of what is stated, a stated tolerance in its place, and nothing of a value of zero."""
    part = Capacitor(kind="film", capacitance="1 µF", rated_voltage="63 V", loss_angle=0.01, esl="10 nH", esr="20 mΩ")
    found = {each.key: each for each in toleranced("C1", part, owner="C1")}
    assert (found["C1.esr"].low, found["C1.esr"].high) == pytest.approx((14e-3, 26e-3), rel=1e-12, abs=0)
    assert (found["C1.esl"].low, found["C1.esl"].high) == pytest.approx((7e-9, 13e-9), rel=1e-12, abs=0)
    assert [each.stated for each in found.values()] == [True, False, False]
    assert "no source" in found["C1.esr"].why
    better = part.replace(esr_tolerance="5 %", esl=0.0)
    found = {each.key: each for each in toleranced("C1", better, owner="C1")}
    assert list(found) == ["C1.capacitance", "C1.esr"]
    assert found["C1.esr"].stated
    assert found["C1.esr"].high == pytest.approx(21e-3, rel=1e-12, abs=0)


def test_what_a_load_states_of_its_capacitor_is_uncertain_and_moved():
    load = {"name": "modem", "kind": "resistive", "resistance": 7, "input_capacitor": {"part": film("10 µF", esr=0.1)}}
    one = design(shunt(), load=load)
    key = "load.modem.input_capacitor"
    found = {each.key: each for each in uncertain_parameters(one) if each.key.startswith(key)}
    assert set(found) == {f"{key}.{name}" for name in ("capacitance", "esr", "mounting_loop")}
    assert found[f"{key}.esr"].label == "ESR of the input capacitor of modem"
    moved = with_values(one, {each: np.array([[value.low]]) for each, value in found.items()}).loads[0].input_capacitor
    assert moved.part.esr[0, 0] == pytest.approx(0.07, rel=1e-12, abs=0)  # hand
    assert moved.mounting_loop.value.tolist() == [[2.5e-9]]


def test_the_way_to_the_chassis_is_long_unless_it_is_stated():
    """common practice, no source: leads, tracks and a screw are 50 to 200 nH; to a bond that is stated itself a few."""
    y = {"kind": "capacitor_to_chassis", "part": film("4.7 nF", safety_class="Y2")}
    ways = [design(shunt(), {**y, **more}).filter[1].mounting_loop for more in ({}, {"bond": {}}, {"mounting_loop": 0})]
    assert [(way.low, way.high, way.stated) for way in ways] == [
        (50e-9, 200e-9, False),
        (5e-9, 20e-9, False),
        (0.0, 0.0, True),
    ]


def test_small_loops_never_couple_more_than_wholly():
    """A mutual inductance that the nominal loops allow, at the low ends of the loops' ranges."""
    pair = {"first": "C1", "second": "C2", "mutual": "5 nH"}
    loops = {**shunt(), "mounting_loop": {"low": "0.5 nH", "value": "4 nH", "high": "6 nH"}}
    one = design(loops, series(), loops, couplings=[pair])
    low = {f"filter.{name}.mounting_loop": np.array([[0.5e-9]]) for name in ("C1", "C2")}
    assert np.all(np.isfinite(with_values(one, low).circuit().transfer([1e6], "ripple", "load_plus")))


def test_an_electrolytic_without_a_curve_may_have_more_esr_in_the_cold():
    """hand: e times for 25 K; 20 °C is as stated, a curve says it itself, and a film capacitor does not grow."""
    wet = {
        "kind": "aluminium",
        "capacitance": "47 µF",
        "rated_voltage": "63 V",
        "loss_angle": 0.05,
        "esl": "10 nH",
        "esr": 0.3,
    }
    curve = {"esr_temperature_curve": [["-40 °C", 9.0], ["25 °C", 1.0]]}

    def most(part, celsius):
        load = {"name": "modem", "kind": "resistive", "resistance": 7, "input_capacitor": {"part": part}}
        one = design(shunt(), load=load, operating_point=[{"name": "here", "temperature": f"{celsius} °C"}])
        return next(u for u in uncertain_parameters(one) if u.key == "load.modem.input_capacitor.esr")

    assert most(wet, -5).high == pytest.approx(np.e * 1.3 * 0.3, rel=1e-9, abs=0)
    assert "cold" in most(wet, -5).why
    for part, celsius in ((wet, 20), (wet | curve, -5), (film("47 µF", esr=0.3), -5)):
        assert most(part, celsius).high == pytest.approx(1.3 * 0.3, rel=1e-9, abs=0)
    assert most(wet | {"esr": "800 Ω"}, -5).high == 1000.0  # and no more than a design file may state


SPIKE = {"peak_to_peak": "150 mV", "ring_frequency": "50 MHz"}


def parameters_of(**more):
    return {one.key: one for one in uncertain_parameters(design(shunt(), source=converter(**more)))}


def test_the_order_of_a_scopes_limit_counts_where_a_ring_passes_it():
    """Nothing passes where no spike is stated; a stated order is known."""
    open_ = parameters_of(spike=SPIKE)[ORDER]
    assert (open_.nominal, open_.low, open_.high) == (1.0, 1.0, 4.0)
    assert ORDER not in parameters_of()
    ripple = {"peak_to_peak": "110 mV", "bandwidth": "20 MHz", "order": 2}
    assert ORDER not in parameters_of(spike=SPIKE, ripple=ripple)


def test_many_orders_at_once_are_each_on_its_own():
    one = design(shunt(), source=converter(spike=SPIKE))
    orders = np.array([[1.0], [2.2], [3.9]])
    many = with_values(one, {ORDER: orders})
    scales = np.ravel(source_spectra(many.converter, 4.0).current)
    for order, scale in zip((1, 2, 4), scales, strict=True):
        ripple = one.converter.ripple.replace(order=order)
        alone = source_spectra(one.converter.replace(ripple=ripple), 4.0).current
        assert scale == pytest.approx(float(alone), rel=1e-9, abs=0)  # second method: one by one
    assert len(set(scales.round(9))) == 3


def test_a_lead_without_a_height_may_lie_on_the_chassis():
    """Where something drives the chassis; hand: a lead of 0.4 m is as if alone at 0.4 m / e."""
    pair = {"length": "0.4 m", "cross_section": "0.75 mm2", "spacing": "3 mm"}
    load = {"name": "modem", "kind": "resistive", "resistance": "7 ohm", "lead": pair}
    key = "load.modem.lead.height"

    def known(lead, **more):
        loose = design(shunt(), source=converter(**more), load=load | {"lead": lead})
        return {one.key: one for one in uncertain_parameters(loose)}

    driven = {"common_mode": {"swing": "28 V"}, "bond": {}}
    assert key not in known(pair)
    found = known(pair, **driven)[key]
    assert (found.low, found.high, found.nominal) == pytest.approx((5e-3, 0.4 / np.e, 0.4 / np.e), rel=1e-9, abs=0)
    far, straight = WirePair(**pair, height=found.high), WirePair(**pair)
    assert far.self_inductance == pytest.approx(straight.self_inductance, rel=0.03, abs=0)  # second method
    assert key not in known(pair | {"height": "20 mm"}, **driven)


def test_loops_couple_as_likely_by_less_than_usual_as_by_more():
    """hand: mu0 A**2 / (4 pi d**3) of a square centimetre each is 0.125 nH at 2 cm and 1 nH at 1 cm; a stated range is walked evenly."""
    two = shunt(), series(), shunt()
    loose = next(one for one in uncertain_parameters(design(*two)) if one.key == "coupling.C1-C2")
    far, near = (1e-7 * 1e-4**2 / distance**3 for distance in (20e-3, 10e-3))
    assert loose.at(np.array([0.0, 0.5, 1.0])) == pytest.approx([0.0, far, near], rel=1e-9, abs=1e-24)
    assert loose.share(loose.at(np.array([0.1, 0.8]))) == pytest.approx([0.1, 0.8], rel=1e-9, abs=0)
    known = {"low": "0 H", "value": "0.1 nH", "high": "1 nH"}
    stated = design(*two, coupling=[{"first": "C1", "second": "C2", "mutual": known}])
    even = next(one for one in uncertain_parameters(stated) if one.key == "coupling.C1-C2")
    assert even.at(0.5) == pytest.approx(0.5e-9, rel=1e-9, abs=0)
