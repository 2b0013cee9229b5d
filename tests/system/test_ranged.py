"""Values with a range: every way to write one, and what is refused."""

import pytest

from filterlib.errors import QuantityError
from filterlib.system.ranges.ranged import Ranged, RangedQuantity, default

FARADS = RangedQuantity("F", low=1e-8, high=0.1)
RATIO = RangedQuantity("", low=0.01, high=0.99)
HENRIES = RangedQuantity("H", low=0, high=1e-6)


@pytest.mark.parametrize(
    "given",
    [
        "22 µF ± 20 %", "22 µF +- 20 %", "22 µF +/- 20 %", "22uF±20%", "22 µF ± 4.4 µF", "22 µF ± 0.0000044",
        {"low": "17.6 µF", "value": "22 µF", "high": "26.4 µF"}, {"low": 17.6e-6, "value": 22e-6, "high": 26.4e-6},
    ],
)  # fmt: skip
def test_every_way_to_write_a_spread_reads_the_same(given):
    read = FARADS.parse(given)
    assert (read.value, read.low, read.high) == pytest.approx((22e-6, 17.6e-6, 26.4e-6), rel=1e-12, abs=0)  # hand
    assert read.stated
    assert not read.known


@pytest.mark.parametrize("given", ["22 µF", "22uF", 22e-6, "22e-6", "22u0"])
def test_a_value_without_spread_is_known(given):
    read = FARADS.parse(given)
    assert read.value == pytest.approx(22e-6, rel=1e-12, abs=0)  # hand
    assert read.known
    assert read.stated


@pytest.mark.parametrize(
    ("field", "table", "middle"),
    [
        (FARADS, {"low": "10 µF", "high": "40 µF"}, 20e-6),  # hand: geometric mean
        (HENRIES, {"low": 0, "high": "4 nH"}, 2e-9),  # hand: zero has no geometric mean
        (FARADS, {"low": "3 µF", "high": "3 µF"}, 3e-6),
    ],
)
def test_a_range_without_a_value_has_its_middle(field, table, middle):
    assert field.parse(table).value == pytest.approx(middle, rel=1e-12, abs=0)


def test_a_percentage_is_one_of_the_value_also_where_the_value_is_one():
    read = RATIO.parse("55 % ± 10 %")
    assert (read.low, read.high) == pytest.approx((0.495, 0.605), rel=1e-12, abs=0)  # hand


@pytest.mark.parametrize(
    ("given", "key", "words"),
    [
        ("22 V", None, "not F"),
        ("22 µF ± 20 V", None, "behind ±"),
        ("22 µF ± lots", None, "behind ±"),
        ("22 µF ± -5 %", None, "behind ±"),
        ("22 µF ± 100 %", None, "behind ±"),
        ("22 µF ±", None, "behind ±"),
        ("22 µF ± 1 µF ± 1 µF", None, "behind ±"),
        ("± 20 %", None, "empty"),
        ("1,5 µF ± 20 %", None, "comma"),
        ("22 µF ± 30 µF", None, "reaches too far"),
        ("22 µF ± 2", None, "reaches too far"),
        ({"low": "1 µF"}, "high", "missing"),
        ({"value": "1 µF"}, "low", "missing"),
        ({}, "low", "missing"),
        ({"low": "1 µF", "hgih": "2 µF"}, "hgih", '"high"'),
        ({"low": "1 µF", "high": "2 V"}, "high", "not F"),
        ({"low": "3 µF", "high": "2 µF"}, "high", "below low, 3 µF"),
        ({"low": "1 µF", "high": "2 µF", "value": "3 µF"}, "value", "between low and high, 1 µF and 2 µF"),
        ({"low": "1 µF", "high": "1 F"}, "high", "must not be above"),
        ({"low": "1 µF", "high": float("nan")}, "high", "finite"),
        (True, None, "truth value"),
        (None, None, "nothing"),
        ([1, 2], None, "not a quantity"),
        (4.7, None, "prefix forgotten"),
    ],
)
def test_what_cannot_be_is_refused_with_its_key_and_its_reason(given, key, words):
    with pytest.raises(QuantityError) as caught:
        FARADS.parse(given)
    assert caught.value.name == key
    assert words in caught.value.why


def test_a_range_that_reaches_too_far_does_not_ask_for_a_prefix_that_nobody_wrote():
    with pytest.raises(QuantityError) as caught:
        FARADS.parse("99 mF ± 5 mF")
    assert "forgotten" not in caught.value.why


def test_a_default_says_where_it_comes_from_and_another_value_keeps_the_range():
    one = default(2.0, 1.0, 4.0, "common practice, no source")
    assert not one.stated
    other = one.at(3.0)
    assert (other.value, other.low, other.high, other.why) == (3.0, 1.0, 4.0, one.why)
    assert FARADS.parse(one) is one
    assert Ranged(1.0, 1.0, 1.0).known
