"""Fields that are quantities or curves, and what a part says when one cannot be."""

from typing import Annotated, Literal

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from pydantic import BaseModel, ConfigDict, Discriminator, Field, ValidationError

from filterlib.errors import InputError, QuantityError
from filterlib.parts.base import Curve, Part, Quantity, beyond, on_curve, shown
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.problems import problems_from
from filterlib.parts.values import Value, angular

FARADS = Quantity("F", above=0, plausible=(1e-13, 0.1))


def choke(**changes):
    stated = {"inductance": "10 µH", "saturation_current": 6, "rated_current": 5, "dc_resistance": "20 mΩ"}
    return DifferentialChoke(**stated | {"self_resonance": "20 MHz"} | changes)


@pytest.mark.parametrize(
    ("given", "expected"),
    [("4.7 µF", 4.7e-6), (1e-6, 1e-6), (np.float64(2e-6), 2e-6), (np.array(3e-6), 3e-6)],
)
def test_a_quantity_takes_text_and_numbers(given, expected):
    assert FARADS.read(given) == pytest.approx(expected, rel=1e-15, abs=0)  # hand
    assert isinstance(FARADS.read(given), float)


def test_a_quantity_takes_an_array_of_designs_and_keeps_its_own_copy():
    mine = np.array([[1e-6], [2e-6]])
    read = FARADS.read(mine)
    mine[0] = 5.0
    assert_array_equal(read, [[1e-6], [2e-6]])
    with pytest.raises(ValueError, match=r"read-only"):
        read[0] = 1.0


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (4.7, "prefix"),
        (-1e-6, "above"),
        (0, "above"),
        ("1,5 uF", "comma"),
        ("3 V", "unit"),
        (True, "quantity"),
        (float("nan"), "finite"),
        (np.array([1e-6, 2e-6]), "designs, 1"),
        (np.array([["1 µF"]]), "designs, 1"),
        (np.full((2, 2), 1e-6), "designs, 1"),
        (np.array([[1e-6], [np.nan]]), "finite"),
        (np.array([[1e-6], [np.inf]]), "finite"),
        (np.array([[1e-6], [-1e-6]]), "above"),
        (np.array([[1e-6], [3.0]]), "prefix"),
        (np.zeros((0, 1)), "designs, 1"),
    ],
)
def test_a_quantity_refuses_what_cannot_be(given, words):
    with pytest.raises(QuantityError, match=words):
        FARADS.read(given)


BIAS = Curve("V", reference=0.0, low=0)


def test_a_curve_goes_through_its_points_without_overshoot_and_is_held_beyond():
    points = BIAS.read([["0 V", 1], ["10 V", "90 %"], [25, 0.4], [50, 0.35]])
    assert points == ((0.0, 1.0), (10.0, 0.9), (25.0, 0.4), (50.0, 0.35))
    assert_allclose(on_curve(points, [0, 10, 25, 50, 99]), [1, 0.9, 0.4, 0.35, 0.35], rtol=1e-12, atol=0)  # hand
    assert np.all(np.diff(on_curve(points, np.linspace(0, 50, 501))) < 0)
    assert_array_equal(beyond(points, [[0.0], [50.0], [51.0]]), [[False], [False], [True]])
    assert beyond(points, 51.0) is True
    assert beyond(None, 51.0) is False


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ("flat", "list"),
        ([[0, 1]], "at least two"),
        ([[0, 1], [5]], "point 2"),
        ([[0, 1], 5], "point 2"),
        ([[0, 1], ["5 A", 0.9]], "point 2.*unit"),
        ([[0, 1], [5, 0]], "point 2"),
        ([[0, 1], [5, float("nan")]], "point 2"),
        ([[0, 1], [5, 0.9], [5, 0.8]], "point 3"),
        ([[0, 1], [5, 0.9], [4, 0.8]], "point 3"),
        ([[0, 0.5], [5, 0.4]], "must be 1"),
        ([[-1, 1], [5, 0.4]], "point 1"),
    ],
)
def test_a_curve_names_the_point_that_is_wrong(given, words):
    with pytest.raises(QuantityError, match=words):
        BIAS.read(given)


def test_frequencies_are_finite_and_not_negative():
    assert_allclose(angular([0.0, 1.0]), [0, 2j * np.pi], rtol=1e-15, atol=0)
    for wrong in (-1.0, np.nan, np.inf):
        with pytest.raises(QuantityError, match=r"frequencies"):
            angular([1.0, wrong])


def test_an_array_is_shown_as_its_range():
    assert shown(np.array([[1e-6], [2e-6]]), "F") == "1 µF to 2 µF"
    assert shown(1e-6, "F") == "1 µF"


def test_a_part_is_frozen_and_replace_makes_another_that_is_checked():
    part = choke()
    with pytest.raises(ValidationError, match=r"frozen"):
        part.inductance = 1.0
    other = part.replace(inductance="22 µH")
    assert other.inductance == pytest.approx(22e-6, rel=1e-15, abs=0)
    assert part.inductance == pytest.approx(10e-6, rel=1e-15, abs=0)
    assert other.dc_resistance == part.dc_resistance
    with pytest.raises(InputError, match=r'inductence.*"inductance"'):
        part.replace(inductence=1e-6)
    with pytest.raises(InputError, match=r"inductance.*prefix"):
        part.replace(inductance=22)


def test_everything_that_is_wrong_is_said_at_once_in_plain_words():
    with pytest.raises(InputError) as caught:
        choke(inductance="10 uF", saturation="medium", colour="red", rated_current=None, name="X\n", invented="yes")
    problems = {problem.key: problem.why for problem in caught.value.problems}
    assert set(problems) == {"inductance", "saturation", "colour", "rated_current", "name", "invented"}
    assert "valid: hard, soft" in problems["saturation"]
    assert "unknown key" in problems["colour"]
    assert not any(word in str(caught.value) for word in ("pydantic", "http", "type=", "Input should"))


def test_exactly_one_of_two_is_asked_for():
    for wrong in ({"winding_capacitance": "5 pF"}, {"self_resonance": None, "winding_capacitance": None}):
        with pytest.raises(InputError, match=r"winding_capacitance.*exactly one"):
            choke(**wrong)


class Shunt(BaseModel):
    model_config = ConfigDict(extra="forbid")
    type: Literal["shunt"]
    capacitance: Annotated[Value, FARADS]
    count: int = Field(default=1, ge=1)


class Series(BaseModel):
    model_config = ConfigDict(extra="forbid")
    type: Literal["series"]
    part: DifferentialChoke | None = None


class Filter(BaseModel):
    model_config = ConfigDict(extra="forbid")
    stage: Annotated[list[Annotated[Shunt | Series, Discriminator("type")]], Field(min_length=1)]
    title: str = ""


@pytest.mark.parametrize(
    ("given", "key", "words"),
    [
        (
            {"stage": [{"type": "shunt", "capacitanse": 1e-6, "capacitance": 1e-6}]},
            "f.stage[1].capacitanse",
            '"capacitance"',
        ),
        ({"stage": [{"type": "shunt", "capacitance": 1e-6, "count": 0}]}, "f.stage[1].count", "at least 1"),
        ({"stage": [{"type": "shunt", "capacitance": 1e-6, "count": 1.5}]}, "f.stage[1].count", "whole number"),
        ({"stage": [{"type": "shunt"}]}, "f.stage[1].capacitance", "missing: a quantity in F"),
        ({"stage": [{"type": "shunt", "capacitance": 1e-6}, {"type": "shnt"}]}, "f.stage[2].type", '"shunt"'),
        ({"stage": [{"capacitance": 1e-6}]}, "f.stage[1].type", "valid: series, shunt"),
        ({"stage": [5]}, "f.stage[1]", "table"),
        ({"stage": []}, "f.stage", "at least 1"),
        ({"stage": 5}, "f.stage", "list"),
        ({"stage": [{"type": "shunt", "capacitance": 1e-6}], "titel": ""}, "f.titel", '"title"'),
        ({"stage": [{"type": "shunt", "capacitance": 1e-6}], "title": 3}, "f.title", "text"),
        ({"stage": [{"type": "series", "capacitanc": 1}]}, "f.stage[1].capacitanc", "valid: part, type"),
        ({"stage": [{"type": "series", "part": {"inductance": "x"}}]}, "f.stage[1].part.inductance", "number"),
    ],
)
def test_problems_name_the_key_as_it_stands_in_the_file(given, key, words):
    with pytest.raises(ValidationError) as caught:
        Filter.model_validate(given)
    problems = problems_from(caught.value, "d.toml", "f", model=Filter)
    found = [problem for problem in problems if problem.key == key]
    assert found, [str(problem) for problem in problems]
    assert words in found[0].why
    assert all(problem.file == "d.toml" for problem in problems)
    assert not any(word in str(problem) for problem in problems for word in ("pydantic", "http", "Input should"))


def test_part_is_the_base_of_every_kind():
    assert issubclass(DifferentialChoke, Part)
