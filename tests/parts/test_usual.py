"""What parts of a kind usually have where nothing is stated of them: a default with a range, and none beside what is stated."""

import numpy as np
import pytest

from filterlib.errors import InputError
from filterlib.parts.base import Assumed
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.tables import KINDS, standard_tables
from filterlib.system.design import with_values
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from tests.designs import design, resistive

CAPACITOR = {"kind": "film", "capacitance": "1 µF", "rated_voltage": "63 V"}
CHOKE = {"inductance": "10 µH", "rated_current": "5 A", "dc_resistance": "15 mΩ"}
KNOWN = {"film": CAPACITOR, "ceramic_class_1": CAPACITOR, "ceramic_class_2": CAPACITOR, "aluminium": CAPACITOR}
KNOWN |= {"polymer": CAPACITOR, "differential_choke": CHOKE, "common_mode_choke": CHOKE | {"inductance": "1 mH"}}
PARTS = [part for table in standard_tables() for part in table.values() if part.kind in KNOWN]


@pytest.mark.parametrize("kind", KNOWN)
def test_what_a_person_knows_is_enough_and_the_rest_lies_within_its_range(kind):
    part = KINDS[kind](**KNOWN[kind] | {"kind": kind})
    assert set(part.assumed) == {
        name for name, field in type(part).model_fields.items() if any(isinstance(m, Assumed) for m in field.metadata)
    }
    for name, usual in part.assumed.items():
        assert usual.low < getattr(part, name) == usual.value < usual.high
        assert "common practice, no source" in usual.why
        assert part.replace(**{name: usual.low}), name  # the ends can be, too
        assert part.replace(**{name: usual.high}), name


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.name)
def test_a_part_of_the_tables_lies_within_what_is_assumed_of_its_kind(part):
    """second method: the tables' values were chosen part by part, within published examples (tests/evidence)."""
    known = {"kind": part.kind} | {key: getattr(part, key) for key in KNOWN[part.kind] if key != "kind"}
    if part.kind == "differential_choke":
        assert CHOKE.keys() <= known.keys()
    for name, usual in type(part)(**known).assumed.items():
        value = part.leakage_per_winding if name == "leakage" else getattr(part, name)
        if name == "winding_capacitance" and part.kind == "differential_choke":
            value = part.capacitance
        assert value is None or usual.low <= value <= usual.high, (name, usual, value)


def test_the_inductance_of_ceramics_is_that_which_makers_state():
    """published: 0.4 nH (AVX) and 0.7 nH (KEMET), as quoted by E. Bogatin, bethesignal.net, February 2009."""
    usual = Capacitor(**CAPACITOR | {"kind": "ceramic_class_2"}).assumed["esl"]
    assert usual.low <= 0.4e-9 < 0.7e-9 < usual.value


def test_an_electrolytic_reads_a_usual_dissipation_at_120_hz():
    """common practice, no source: 0.08 to 0.26 at 120 Hz is what data sheets of 35 V types state."""
    part = Capacitor(kind="aluminium", capacitance="470 µF", rated_voltage="35 V")
    low = part.replace(esr=part.assumed["esr"].low, loss_angle=part.assumed["loss_angle"].low)
    high = part.replace(esr=part.assumed["esr"].high, loss_angle=part.assumed["loss_angle"].high)
    assert low.dissipation_factor_at(120.0) < 0.08 < high.dissipation_factor_at(120.0) < 0.26


def test_nothing_is_assumed_beside_what_is_stated():
    angle = Capacitor(**CAPACITOR, loss_angle=0.01, esl="5 nH")
    assert (angle.esr, angle.assumed) == (0.0, {})  # a dissipation factor holds both
    resonant = DifferentialChoke(**CHOKE, self_resonance="20 MHz", saturation_current="6 A")
    assert (resonant.winding_capacitance, resonant.parallel_resistance, resonant.assumed) == (None, None, {})


def test_one_value_changed_leaves_the_others_as_they_were_assumed():
    film = Capacitor(**CAPACITOR)
    assert film.replace(loss_angle=0.01).esr == film.esr > 0
    assert set(film.replace(esl="3 nH").assumed) == {"loss_angle", "esr"}
    ring = CommonModeChoke(**KNOWN["common_mode_choke"])
    assert ring.replace(leakage="8 µH").leakage_per_winding == pytest.approx(8e-6, rel=1e-12, abs=0)


def test_a_leakage_without_its_way_of_measuring_is_refused():
    with pytest.raises(InputError, match=r"leakage_measured: missing.*factor of two.*per_winding, loop, shorted"):
        CommonModeChoke(**KNOWN["common_mode_choke"], leakage="10 µH")


def test_what_is_assumed_is_an_uncertain_parameter_and_no_tolerance_comes_on_top():
    stages = [
        {"kind": "capacitor", "part": CAPACITOR},
        {"kind": "common_mode_choke", "part": {"kind": "common_mode_choke"} | KNOWN["common_mode_choke"]},
    ]
    bulk = {"part": CAPACITOR | {"kind": "aluminium", "capacitance": "470 µF"}}
    one = design(*stages, load=resistive(input_capacitor=bulk))
    found = [each for each in uncertain_parameters(one) if each.key.startswith(("filter.", "load."))]
    keys = [each.key for each in found]
    assert len(keys) == len(set(keys))
    assert {"filter.C1.esl", "filter.C1.esr", "filter.L1.leakage", "load.modem.input_capacitor.esr"} <= set(keys)
    leakage = next(each for each in found if each.key == "filter.L1.leakage")
    assert (leakage.label, leakage.unit, leakage.stated) == ("leakage inductance of L1", "H", False)
    assert leakage.nominal == pytest.approx(5e-6, rel=1e-12, abs=0)  # hand: 0.5 % of 1 mH
    esr = next(each for each in found if each.key == "load.modem.input_capacitor.esr")
    assert esr.label == "ESR of the input capacitor of modem"


def test_a_sample_of_one_value_moves_no_other():
    one = design({"kind": "capacitor", "name": "C1", "part": CAPACITOR | {"kind": "aluminium"}})
    before = one.filter[0].part
    many = with_values(one, {"filter.C1.capacitance": np.array([[0.5e-6], [2e-6]])}).filter[0].part
    assert many.esr == before.esr
    assert many.capacitance.tolist() == [[0.5e-6], [2e-6]]
