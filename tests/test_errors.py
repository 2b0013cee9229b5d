"""The errors carry what a person needs to act on: file, key, value and what would be right."""

import pytest

from filterlib.errors import (
    CircuitError,
    FilterlibError,
    InputError,
    OutputError,
    Problem,
    QuantityError,
    UnstableError,
    did_you_mean,
    nearest,
)


@pytest.mark.parametrize("kind", [QuantityError, CircuitError, UnstableError, OutputError])
def test_every_error_is_caught_by_the_base_and_as_a_value_error(kind):
    with pytest.raises(ValueError, match="why") as caught:
        raise kind("why")
    assert isinstance(caught.value, FilterlibError)


def test_quantity_error_names_the_argument():
    error = QuantityError("must be above 0 F", value=-1.0, name="capacitance")
    assert str(error) == "capacitance: must be above 0 F"
    assert (error.name, error.value, error.why) == ("capacitance", -1.0, "must be above 0 F")
    assert str(QuantityError("must be above 0 F")) == "must be above 0 F"


def test_unstable_error_keeps_the_poles():
    assert UnstableError("two poles in the right half plane", poles=(1 + 2j,)).poles == (1 + 2j,)
    assert UnstableError("no poles known").poles is None


def test_problem_names_file_key_value_and_reason():
    assert str(Problem("a.toml", "filter.c", "1,5 uF", "has a comma")) == "a.toml: filter.c = '1,5 uF': has a comma"
    assert str(Problem("a.toml", "filter.c", None, "is missing")) == "a.toml: filter.c: is missing"
    assert str(Problem("a.toml", "", None, "is empty")) == "a.toml: is empty"


def test_problem_shortens_a_long_value():
    assert len(str(Problem("a", "k", "x" * 1000, "too long"))) < 100


def test_input_error_says_everything_at_once():
    problems = [Problem("a.toml", "x", 1, "one"), Problem("b.toml", "y", 2, "two")]
    error = InputError(iter(problems))
    assert error.problems == tuple(problems)
    assert str(error).splitlines() == ["a.toml: x = 1: one", "b.toml: y = 2: two"]


@pytest.mark.parametrize(
    ("word", "expected"), [("capacitence", "capacitance"), ("ESR", "esr"), ("Esl", "esl"), ("zzz", None), ("", None)]
)
def test_nearest_name(word, expected):
    assert nearest(word, ["capacitance", "esr", "esl"]) == expected


def test_hint_is_the_nearest_name_or_all_of_them():
    assert did_you_mean("capacitence", {"capacitance", "esr"}) == 'did you mean "capacitance"?'
    assert did_you_mean("zzz", {"esr", "capacitance"}) == "valid: capacitance, esr"
    assert did_you_mean("zzz", []) == "valid: none"
