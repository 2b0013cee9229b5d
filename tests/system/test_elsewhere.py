"""An unknown key that has a place elsewhere is answered with that place, and no valid key is among them."""

import re

import pytest

from filterlib.errors import InputError
from filterlib.show.keys.key_sections import SECTIONS
from filterlib.system.design import Design
from filterlib.system.inside.converter import Converter
from filterlib.system.line.load import Load
from filterlib.system.line.stages import KINDS
from tests.designs import converter, design, film, resistive, shunt

TELLING = [Design, Converter, Load, *KINDS.values()]


@pytest.mark.parametrize(
    ("more", "key", "says"),
    [
        ({"accumulator": {"voltage": 12}}, "accumulator", "input_voltage in [converter]"),
        ({"ripple": {"peak_to_peak": 1}}, "ripple", "[converter.ripple]"),
        ({"source": converter(output_current="3 A")}, "converter.output_current", "[converter.rating]"),
        ({"load": resistive(voltage="28 V")}, "load[1].voltage", 'kind = "voltage"'),
    ],
)
def test_a_key_in_the_wrong_place_is_told_the_right_one(more, key, says):
    with pytest.raises(InputError) as caught:
        design(shunt(), **more)
    (problem,) = caught.value.problems
    assert problem.key == key
    assert problem.why.startswith("unknown key; ")
    assert says in problem.why


def test_values_of_a_part_beside_it_belong_to_the_part():
    with pytest.raises(InputError, match=r"filter\[1\]\.inductance.*part = \{ inductance"):
        design({"kind": "capacitor", "part": film(), "inductance": "10 nH"})


@pytest.mark.parametrize("model", TELLING, ids=lambda model: model.__name__)
def test_what_is_told_of_is_no_key_and_names_keys_that_there_are(model):
    valid = {field.alias or name for name, field in model.model_fields.items()}
    assert valid.isdisjoint(model.ELSEWHERE)
    known = {field.alias or name for one in SECTIONS.values() for name, field in one.model_fields.items()}
    for words in model.ELSEWHERE.values():
        assert set(re.findall(r"\b\w+_\w+\b|(?<=\[\[)\w+|(?<=\[converter\.)\w+", words)) <= known, words
