"""Quantities at the edge: what is read, what is refused, and that nothing is read wrongly."""

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from filterlib.errors import QuantityError
from filterlib.preferred import nearest_preferred, preferred_values
from filterlib.units import (
    decibels,
    format_quantity,
    format_temperature,
    from_decibels,
    quantity,
    without_form,
)

READ = [  # text, unit, expected: all by hand
    ("5000 h", "s", 1.8e7),
    ("1.5h", "s", 5400.0),
    ("4.7 µF", "F", 4.7e-6),
    ("4.7 μF", "F", 4.7e-6),
    ("4.7uF", "F", 4.7e-6),
    ("4.7e-6 F", "F", 4.7e-6),
    ("4.7E-6F", "F", 4.7e-6),
    ("4.7e-6", "F", 4.7e-6),
    (" 4.7  µF ", "F", 4.7e-6),
    ("4.7\u00a0µF", "F", 4.7e-6),
    ("4.7\u202fµF\u00a0", "F", 4.7e-6),
    ("4700e3 pF", "F", 4.7e-6),
    ("4.7 \u338c", "F", 4.7e-6),
    (".47 nF", "F", 0.47e-9),
    ("5.mH", "H", 5e-3),
    ("+5 mH", "H", 5e-3),
    ("-5 V", "V", -5.0),
    ("\u22125 V", "V", -5.0),
    ("50 mΩ", "ohm", 0.05),
    ("50 m\u2126", "ohm", 0.05),
    ("50 mohm", "ohm", 0.05),
    ("50 mOhm", "ohm", 0.05),
    ("50 Mohm", "ohm", 50e6),
    ("50 MΩ", "ohm", 50e6),
    ("10 R", "ohm", 10.0),
    ("2 Mm", "m", 2e6),
    ("2 mm", "m", 2e-3),
    ("20 MHz", "Hz", 20e6),
    ("20 mHz", "Hz", 20e-3),
    ("20 %", "", 0.2),
    ("20%", "%", 0.2),
    ("0.2", "%", 0.2),
    ("100 ppm", "", 1e-4),
    ("25 °C", "K", 298.15),
    ("25 ℃", "K", 298.15),
    ("25 °C", "°C", 25.0),
    ("298.15 K", "°C", 25.0),
    ("-40 °C", "K", 233.15),
    ("25 K", "K", 25.0),
    ("25", "K", 25.0),
    ("0.75 mm2", "m2", 0.75e-6),
    ("0.75 mm²", "m2", 0.75e-6),
    ("0.75 cm²", "m2", 0.75e-4),
    ("700 nH/m", "H/m", 7e-7),
    ("0.7 nH/mm", "H/m", 7e-7),
    ("33 ohm/km", "ohm/m", 0.033),
    ("12 °C/W", "K/W", 12.0),
    ("3.93e-3 1/K", "1/K", 3.93e-3),
    ("0.393 %/K", "1/K", 3.93e-3),
    ("-3 dB", "dB", -3.0),
    ("0", "V", 0.0),
]


@pytest.mark.parametrize(("text", "unit", "expected"), READ)
def test_text_is_read(text, unit, expected):
    assert quantity(text, unit) == pytest.approx(expected, rel=1e-15, abs=0)  # hand


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [  # published: the notation of IEC 60062 (from memory)
        ("3k3", "ohm", 3300.0),
        ("3K3", "ohm", 3300.0),
        ("4R7", "ohm", 4.7),
        ("R47", "ohm", 0.47),
        ("0R05", "ohm", 0.05),
        ("4R70 Ω", "ohm", 4.7),
        ("1M5", "ohm", 1.5e6),
        ("1m5", "ohm", 1.5e-3),
        ("4u7", "F", 4.7e-6),
        ("4µ7", "F", 4.7e-6),
        ("4μ7 F", "F", 4.7e-6),
        ("p33", "F", 0.33e-12),
        ("4F7", "F", 4.7),
        ("4n7H", "H", 4.7e-9),
        ("1H5", "H", 1.5),
        ("3V3", "V", 3.3),
    ],
)
def test_letter_in_place_of_the_point(text, unit, expected):
    assert quantity(text, unit) == pytest.approx(expected, rel=1e-15, abs=0)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("3k3", "m"),
        ("3m2", "m"),
        ("3K3", "F"),
        ("3K3", "K"),
        ("4R7", "F"),
        ("4u7K", "F"),
        ("4R7J", "ohm"),
        ("4u7 uF", "F"),
        ("4u7e3", "F"),
        ("1.5k3", "ohm"),
        ("4u⁷", "F"),
        ("3k3", ""),
        ("3k3k", "ohm"),
        ("4u7 H", "F"),
        ("3L3", "ohm"),
        ("4 u7", "F"),
    ],
)
def test_letter_as_point_is_refused_rather_than_misread(text, unit):
    with pytest.raises(QuantityError):
        quantity(text, unit)


REFUSED = [  # text, unit, what the message must say
    ("1,5 uF", "F", "comma"),
    ("1,500", "F", "comma"),
    ("1_000", "F", "underscore"),
    ("1 000 uF", "F", "groups"),
    ("1\u00a0000", "F", "groups"),
    ("1'000", "F", "groups"),
    ("0x10", "F", "hexadecimal"),
    ("٤.٧ µF", "F", "digits other than 0 to 9"),
    ("４.7 µF", "F", "digits other than 0 to 9"),
    ("nan", "F", "finite"),
    ("NaN F", "F", "finite"),
    ("-inf", "F", "finite"),
    ("Infinity", "F", "finite"),
    ("1e999", "F", "finite"),
    ("1e-999 F", "F", "too small"),
    ("", "F", "empty"),
    (" \u00a0 ", "F", "empty"),
    ("4.7" * 60, "F", "longer than"),
    ("4.7 uH", "F", 'unit "uH", not F'),
    ("4.7 m", "ohm", 'unit "m", not ohm'),
    ("20 %", "F", 'unit "%", not F'),
    ("20 °C", "", 'unit "°C", not a ratio'),
    ("4.7 m", "F", "did you mean mF"),
    ("4.7 f", "F", 'prefix "f" without a unit'),
    ("10 k", "K", 'prefix "k" without a unit'),
    ("10 k", "", "a ratio"),
    ("1 h", "H", 'unit "h"'),
    ("4.7 xF", "F", 'unknown prefix "x"'),
    ("4.7 uuF", "F", 'unknown prefix "uu"'),
    ("4.7 µ F", "F", "unknown"),
    ("20 mhz", "Hz", "did you mean mHz or MHz"),
    ("25 C", "K", "did you mean °C"),
    ("10 parsec", "m", 'unknown unit "parsec"'),
    ("4.7 \u200bµF", "F", "unknown"),
    ("abc", "F", "does not begin with a number"),
    ("\ufeff4.7 uF", "F", "does not begin with a number"),
    ("--5", "V", "does not begin with a number"),
    ("½ V", "V", "does not begin with a number"),
    ("4.7.1", "F", "unknown unit"),
    ("4e1.5", "F", "unknown unit"),
    ("4 /2", "", "unknown unit"),
    ("4 V/", "V", "unknown"),
    ("4..5 V", "V", "unknown"),
    ("5 ± 1 V", "V", "unknown"),
    ("5-6 V", "V", "unknown"),
    ("-300 °C", "K", "absolute zero"),
    ("-300", "°C", "absolute zero"),
    ("-1 K", "°C", "absolute zero"),
    ("5 V", "furlong", "not a unit"),
]


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("10k", "ohm", 1e4), ("10 K", "ohm", 1e4), ("150k", "Hz", 150e3), ("4.7 u", "F", 4.7e-6), ("100n", "F", 100e-9),
        ("1M", "Hz", 1e6), ("10 kohm", "ohm", 1e4), ("10 Kohm", "ohm", 1e4), ("150khz", "Hz", 150e3), ("150 KHZ", "Hz", 150e3),
        ("4.7 UF", "F", 4.7e-6), ("2.2 uh", "H", 2.2e-6), ("12 v", "V", 12.0), ("3 a", "A", 3.0), ("35 w", "W", 35.0), ("47 PF", "F", 47e-12),
    ],
)  # fmt: skip
def test_what_can_mean_one_thing_alone_is_read(text, unit, value):
    """hand: where the unit is known, a prefix without it and letters of the wrong size leave one reading."""
    assert quantity(text, unit) == pytest.approx(value, rel=1e-12, abs=0)


@pytest.mark.parametrize("text", ["300 mVpp", "300mVp-p", "300 mV pp", "0.3 Vpk-pk", "300 mV"])
def test_a_peak_to_peak_may_say_so(text):
    assert quantity(without_form(text, "pp"), "V") == pytest.approx(0.3, rel=1e-12, abs=0)


@pytest.mark.parametrize(("text", "form", "says"), [
    ("300 mVrms", "pp", 'a peak to peak: write it as "300 mV"'), ("300 mVpp", "rms", "an rms value"),
    ("28 Vpp", "", "neither"), ("28 V rms", "", '"28 V"'),
])  # fmt: skip
def test_another_form_is_refused_with_what_to_write(text, form, says):
    with pytest.raises(QuantityError) as caught:
        without_form(text, form)
    assert says in caught.value.why


@pytest.mark.parametrize(("text", "unit", "says"), REFUSED)
def test_text_is_refused_with_its_reason(text, unit, says):
    with pytest.raises(QuantityError, match=r"^part: ") as caught:
        quantity(text, unit, name="part")
    assert says in str(caught.value)
    assert len(str(caught.value)) < 300
    assert (caught.value.name, caught.value.value) == ("part", text)


@pytest.mark.parametrize("text", ["1,5 uF", "4.7 uH", "abc", "", "4.7 x"])
def test_message_says_what_would_be_right(text):
    with pytest.raises(QuantityError, match=r"a number with the unit F, with a prefix .* or a bare number in F"):
        quantity(text, "F")


@pytest.mark.parametrize(
    "value",
    [True, False, np.True_, None, b"4.7 uF", [4.7], (), {}, 1j, np.array(4.7), np.array([1.0]), np.complex128(1)],
)
def test_what_is_not_one_real_number_is_refused(value):
    with pytest.raises(QuantityError, match="is not a quantity: give a number"):
        quantity(value, "F")


@pytest.mark.parametrize(
    "value", [math.nan, math.inf, -np.inf, Decimal("NaN"), Decimal("sNaN"), 10**400, Decimal("1e999")]
)
def test_numbers_that_are_not_finite_are_refused(value):
    with pytest.raises(QuantityError, match="finite"):
        quantity(value, "F")


@pytest.mark.parametrize(
    "value", [0.5, np.float64(0.5), np.float32(0.5), Decimal("0.5"), Fraction(1, 2), np.longdouble(0.5), "0.5"]
)
def test_every_kind_of_real_number_is_read(value):
    result = quantity(value, "F")
    assert type(result) is float
    assert result == 0.5  # hand


def test_whole_numbers_are_read():
    assert [quantity(value, "F") for value in (3, np.int64(3), np.uint8(3))] == [3.0, 3.0, 3.0]  # hand


@pytest.mark.parametrize(
    ("value", "limits", "says"),
    [
        (-1e-6, {"above": 0}, "-1e-06 F must be above 0 F"),
        (0, {"above": 0}, "0 F must be above 0 F"),
        (0, {"below": 0}, "0 F must be below 0 F"),
        ("-1 uF", {"low": 0}, "-1e-06 F must not be below 0 F"),
        ("2 F", {"high": 1}, "2 F must not be above 1 F"),
    ],
)
def test_range(value, limits, says):
    with pytest.raises(QuantityError) as caught:
        quantity(value, "F", name="c", **limits)
    assert str(caught.value) == f"c: {says}"


def test_limits_low_and_high_are_allowed_themselves():
    assert quantity(0, "F", low=0, high=0) == 0.0  # hand
    assert quantity("25 °C", "K", low=298.15, high=298.15) == 298.15  # hand


@pytest.mark.parametrize(
    ("value", "unit", "limits", "asks"),
    [
        (4.7, "F", {"high": 0.1}, "was a prefix forgotten?"),
        ("4.7", "F", {"high": 0.1}, "was a prefix forgotten?"),
        (180, "Hz", {"low": 1e3}, "was a prefix forgotten?"),
        (20, "%", {"high": 1}, "was % forgotten?"),
        (25, "K", {"low": 200}, "was °C forgotten?"),
    ],
)
def test_a_bare_number_out_of_range_asks_what_was_forgotten(value, unit, limits, asks):
    with pytest.raises(QuantityError, match="a bare number is read") as caught:
        quantity(value, unit, **limits)
    assert str(caught.value).endswith(asks)


@pytest.mark.parametrize(("value", "limits"), [("4.7 F", {"high": 0.1}), (-4.7, {"low": 0}), (-4.7, {"above": 1e-3})])
def test_no_such_question_where_a_prefix_cannot_help(value, limits):
    with pytest.raises(QuantityError) as caught:
        quantity(value, "F", **limits)
    assert "forgotten" not in str(caught.value)


UNITS = st.sampled_from(
    ["F", "H", "ohm", "V", "A", "W", "Hz", "s", "m", "m2", "K", "", "%", "S", "J", "dB", "H/m", "ohm/m"]
)
UNITS |= st.sampled_from(["K/W", "1/K", "ohm m", "A2 s"])


@given(st.floats(allow_nan=False, allow_infinity=False, allow_subnormal=False), UNITS)
def test_what_is_written_is_read_back(value, unit):
    assert quantity(format_quantity(value, unit, digits=17), unit) == pytest.approx(value, rel=1e-15, abs=0)


@given(st.floats(min_value=1e-30, max_value=1e30), UNITS, st.integers(1, 6))
def test_rounded_to_the_digits_asked_for(value, unit, digits):
    read = quantity(format_quantity(value, unit, digits=digits), unit)
    assert read == pytest.approx(value, rel=0.5000001 * 10 ** (1 - digits), abs=0)


@given(st.floats(min_value=1e-15, max_value=1e14), st.sampled_from(["F", "H", "ohm", "V", "Hz"]))
def test_three_digits_never_need_more_than_seven_signs(value, unit):
    assert len(format_quantity(value, unit).split()[0]) <= 4


def _finite_or_refused(text, unit):
    try:
        return math.isfinite(quantity(text, unit))
    except QuantityError as error:
        return error.value == text and bool(error.why)


@given(st.text(alphabet="0123456789.eE+-, kMmuµnpRFHK%°_x", max_size=12), st.sampled_from(["F", "ohm", "K", "", "m"]))
def test_likely_text_is_read_as_a_finite_number_or_refused(text, unit):
    assert _finite_or_refused(text, unit)


@given(st.text(max_size=30))
def test_no_text_raises_anything_else(text):
    assert _finite_or_refused(text, "F")


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [  # hand
        (4.7e-6, "F", "4.7 µF"),
        (100e-9, "F", "100 nF"),
        (999.96, "Hz", "1 kHz"),
        (0.05, "ohm", "50 mΩ"),
        (0.0, "V", "0 V"),
        (-0.110, "V", "-110 mV"),
        (0.2, "%", "20 %"),
        (0.2, "", "0.2"),
        (0.00393, "1/K", "0.00393 1/K"),
        (7e-7, "H/m", "700 nH/m"),
        (0.5e-6, "m2", "0.5 mm²"),
        (298.15, "K", "298 K"),
        (-3.0103, "dB", "-3.01 dB"),
        (1e-18, "F", "0.001 fF"),
        (1e-30, "F", "1e-15 fF"),
        (math.nan, "F", "nan F"),
    ],
)
def test_format(value, unit, expected):
    assert format_quantity(value, unit) == expected


def test_temperature_is_shown_in_celsius():
    assert [format_temperature(t) for t in (298.15, 233.15, 273.15)] == ["25 °C", "-40 °C", "0 °C"]  # hand


def test_decibels():
    np.testing.assert_allclose(decibels([10, -0.1, 1j * 100]), [20, -20, 40], rtol=1e-15, atol=0)  # hand
    assert decibels(0) == -np.inf
    np.testing.assert_allclose(from_decibels([20, -20]), [10, 0.1], rtol=1e-15, atol=0)  # hand


# published: IEC 60063 (from memory)
E12 = [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82]
E24 = sorted([*E12, 11, 13, 16, 20, 24, 30, 36, 43, 51, 62, 75, 91])
OFF_THE_FORMULA = {27: 26, 30: 29, 33: 32, 36: 35, 39: 38, 43: 42, 47: 46, 82: 83}


def _whole(series, scale):
    return [round(value * scale) for value in preferred_values(series)]


def test_two_digit_series():
    assert _whole("E6", 10) == [10, 15, 22, 33, 47, 68]
    assert _whole("E12", 10) == E12
    assert _whole("E24", 10) == E24
    assert _whole("E3", 10) == [10, 22, 47]


def test_entries_of_e24_off_the_formula():
    formula = [round(10 * 10 ** (i / 24)) for i in range(24)]
    assert {e: f for e, f in zip(_whole("E24", 10), formula, strict=True) if e != f} == OFF_THE_FORMULA


def test_three_digit_series():
    assert _whole("E96", 100) == [round(100 * 10 ** (i / 96)) for i in range(96)]
    formula = [round(100 * 10 ** (i / 192)) for i in range(192)]
    assert [(e, f) for e, f in zip(_whole("E192", 100), formula, strict=True) if e != f] == [(920, 919)]
    assert _whole("E48", 100) == _whole("E96", 100)[::2] == _whole("E192", 100)[::4]


def test_unknown_series():
    with pytest.raises(QuantityError, match='"E7": valid are E3, E6'):
        preferred_values("E7")


@pytest.mark.parametrize(
    ("value", "expected"), [(4.4e-6, 4.7e-6), (9.5, 10.0), (99.0, 100.0), (1.09, 1.0), (3.3e-12, 3.3e-12)]
)
def test_nearest_preferred_value(value, expected):
    assert nearest_preferred(value, "E12") == expected  # hand


@pytest.mark.parametrize("value", [0, -1, math.nan])
def test_nearest_preferred_value_needs_a_positive_value(value):
    with pytest.raises(QuantityError, match="value: "):
        nearest_preferred(value, "E12")
