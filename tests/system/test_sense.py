"""No absurd number passes silently: what cannot be is refused by its key, and what is more often a slip than true is said."""

import numpy as np
import pytest

from filterlib import Circuit, load_design
from filterlib.bench.capture.measurement import measure
from filterlib.bench.capture.recording import Recording
from filterlib.errors import CircuitError, InputError, QuantityError
from filterlib.parts.tables import data_folder
from filterlib.show.numbers import put
from filterlib.system.sense.odd import odd
from filterlib.units import quantity
from filterlib.words.quantities import stress_number
from tests.fuzz.sweep import changed, text_of

CLEAN = (data_folder() / "designs" / "tide-gauge-clean.toml").read_text(encoding="utf-8")
WINDOW = '\n[[requirement]]\nkind = "voltage"\nload = "modem"\nlow = "{}"\nhigh = "{}"\n'
RIPPLE = '\n[[requirement]]\nkind = "ripple"\nload = "modem"\nlimit = "{}"\n'
POINT = '\n[[operating_point]]\nname = "{}"\nshare_of_time = "{}"\n'


def taken(tmp_path, *changes, more=""):
    text = CLEAN
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / "board.toml"
    path.write_text(text + more, encoding="utf-8")
    return load_design(path)


def points(*shares):
    return "".join(POINT.format(f"p{n}", share) for n, share in enumerate(shares))


REFUSED = {  # changes, what is added, the key, and words of the message
    "shares of time": ((), points("20 %"), ".share_of_time", "add to 120 %"),
    "ripple above the voltage": ((('"110 mV"', '"29 V"'),), "", "converter.ripple.peak_to_peak", "more than the output voltage, 28 V"),
    "ripple through 1 kHz": (
        (('bandwidth = "20 MHz"', 'bandwidth = "1 kHz"'),), "", "converter.ripple.bandwidth",
        "below the switching frequency, 180 kHz",
    ),
    "a spike below the ripple": (
        (("[[load]]", '[converter.spike]\npeak_to_peak = "50 mV"\n\n[[load]]'),), "", "converter.spike.peak_to_peak", "already reads",
    ),
    "a limit of nothing": ((), RIPPLE.format("1e-300 V"), "requirement[", "was a prefix or a unit forgotten"),
    "one requirement twice": ((), RIPPLE.format("3 mV") * 2, "requirement[", "the same as requirement["),
    "two windows apart": ((), WINDOW.format("20 V", "22 V"), "requirement[", "no voltage is in this window"),
    "one limit many times": (
        (), '\n[[emission]]\nside = "output"\nlimits = [' + '"mains-class-b", ' * 102 + "]\n", ".limits[2]", "the same as limits[1]",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_is_refused_by_its_key(name, tmp_path):
    changes, more, key, words = REFUSED[name]
    with pytest.raises(InputError) as caught:
        taken(tmp_path, *changes, more=more)
    (problem, *_) = [one for one in caught.value.problems if key in one.key]
    assert words in problem.why


NOTED = {
    "shares of time": ((), '\n[[operating_point]]\nname = "p"\n', "share_of_time", "missing here"),
    "large ripple": ((('"110 mV"', '"9 V"'),), "", "converter.ripple.peak_to_peak", "32 % of the output voltage"),
    "a narrow bandwidth": (
        (('bandwidth = "20 MHz"', 'bandwidth = "200 kHz"'),), "", "converter.ripple.bandwidth", "20 MHz is usual",
    ),
    "a load of kiloamperes": ((), '\n[[load]]\nname = "siren"\nkind = "constant_current"\ncurrent = "1000 A"\n', "load", "draw more than"),
    "an unreadable limit": ((), RIPPLE.format("20 µV"), "limit", "cannot read so little"),
    "two limits of one kind": ((), RIPPLE.format("3 mV"), "requirement[", "the strictest decides"),
}  # fmt: skip


@pytest.mark.parametrize("name", NOTED)
def test_what_may_be_true_is_taken_and_said(name, tmp_path):
    changes, more, key, words = NOTED[name]
    found = [one for one in odd(taken(tmp_path, *changes, more=more)) if key in one.key]
    assert words in " ".join(one.why for one in found)


@pytest.mark.parametrize(
    ("shares", "said"), [(("80 %", "20 %"), ""), (("33 %", "33 %", "33 %"), "add to 99 %"), (("33.3 %",) * 3, "")]
)
def test_shares_that_miss_the_whole_by_a_rounding_are_no_matter(shares, said, tmp_path):
    start = CLEAN.index("[[operating_point]]")
    end = CLEAN.index("[[requirement]]")
    path = tmp_path / "board.toml"
    path.write_text(CLEAN[:start] + points(*shares).lstrip() + "\n" + CLEAN[end:], encoding="utf-8")
    assert said in " ".join(one.why for one in odd(load_design(path)))
    assert bool(said) == bool(odd(load_design(path)))


@pytest.mark.parametrize("text", ["F1", "H1", "F47", "A2", "V5"])
def test_a_name_is_no_quantity(text):
    with pytest.raises(QuantityError):
        quantity(text, text[0])


def test_the_letter_in_place_of_the_point_is_still_read():
    """published: IEC 60062 (from memory): R47 is 0.47 ohm, p33 0.33 pF."""
    assert (quantity("R47", "ohm"), quantity("p33", "F"), quantity("4R7", "ohm"), quantity("2F2", "F")) == (
        0.47,
        0.33e-12,
        4.7,
        2.2,
    )


@pytest.mark.parametrize("interval", [1.0, 1e-3, 1e-300, 1e-15, np.inf, np.nan])
def test_a_sample_interval_without_its_prefix_is_refused(interval):
    with pytest.raises(InputError, match="is the unit of the time right"):
        measure(Recording(np.sin(np.arange(3000.0)), interval))


@pytest.mark.parametrize("volts", [1e300, 1e7])
def test_volts_that_no_probe_can_be_at_are_refused(volts):
    with pytest.raises(InputError, match=r"CH1: .* is absurd here"):
        measure(Recording(volts * np.sin(np.arange(3000.0)), 1e-8))


@pytest.mark.parametrize("value", [1e308, 1e31, 1e-31, 5e-324])
def test_values_beyond_the_numbers_that_can_be_multiplied_are_refused(value):
    with pytest.raises(CircuitError, match=r"r: .* ohm is no resistor; 0, or 1e-30 to 1e"):
        Circuit().resistor("r", "a", "0", value)
    Circuit().resistor("r", "a", "0", 1e30)


def test_a_part_that_runs_away_has_no_number():
    section = {}
    put(section, "rise_K", np.inf, "not computed")
    assert (stress_number(np.inf, "K"), section) == (
        "thermal runaway",
        {"rise_K": None, "rise_K_reason": "without limit"},
    )


def test_the_summary_begins_its_warnings_with_what_is_odd(tmp_path):
    from types import SimpleNamespace

    from filterlib.words.review.summary import warnings

    design = taken(tmp_path, ('"110 mV"', '"9 V"'))
    result = SimpleNamespace(
        design=design, points=(), judgement=SimpleNamespace(broken=(), exceeded=(), unused=(), design=design)
    )
    (first, *_) = warnings(result)
    assert first == "Please check converter.ripple.peak_to_peak (9 V): 32 % of the output voltage; 1 % is usual."


ODD_SIZES = {  # of what the newer tables hold: the changed places, the key that is said, and words of why
    "a lowest voltage without its prefix": ({("load", 0, "profile", "lowest_voltage"): "22 mV"}, "profile.lowest_voltage", "was a prefix forgotten"),
    "a burst without an end": ({("load", 0, "profile", "idle"): "100 %"}, "profile.idle", "no bursts"),
    "a burst of a day": (
        {("load", 0, "profile", "burst"): "86400 s", ("load", 0, "profile", "period"): "1e6 s"}, "profile.burst", "bursts of seconds",
    ),
    "a burst that leaves no pause": ({("load", 0, "profile", "burst"): "1.9 s"}, "profile.burst", "burst and pause exchanged"),
    "nothing switched on": (
        {("operating_point", 0, "load"): "0 %", ("operating_point", 1, "load"): "0 %"}, "operating_point.load", "no load draws anything",
    ),
    "a rating of kiloamperes": ({("converter", "rating", "output_current"): "3000 A"}, "rating.output_current", "was a prefix forgotten"),
    "two ratings apart": ({("converter", "rating", "output_power"): "1 W"}, "rating.output_power", "84 W"),
    "a derating that rises": (
        {("converter", "rating", "derating"): [["50 °C", 0.5], ["70 °C", 1.0]]}, "rating.derating", "falls as the temperature rises",
    ),
    "a derating above the rating": (
        {("converter", "rating", "derating"): [["50 °C", "200 %"], ["70 °C", 1.0]]}, "rating.derating", "more than the rating itself",
    ),
    "pulses of a nanoampere": ({("converter", "burst", "peak"): "1 nA"}, "burst.peak", "was a prefix forgotten"),
    "bursts at full load": ({("converter", "burst_below"): "100 %"}, "burst_below", "would always burst"),
    "a resistor that damps nothing": ({("filter", 2, "resistance"): "1 nohm"}, "filter[3].resistance", "damps nothing"),
    "older than its life": ({("operating_point", 0, "age"): "200000 h"}, "operating_point[1].age", "older than service_life"),
    "another input altogether": ({("operating_point", 1, "input_voltage"): "1 kV"}, "input_voltage", "was a prefix forgotten"),
    "a board in a furnace": ({("operating_point", 0, "temperature"): "199 °C"}, "temperature", "-55 to 125"),
    "a step of kiloamperes": ({("requirement", 2, "current"): "1000 A"}, "requirement[3].current", "was a prefix forgotten"),
    "a limit that nothing fails": ({("requirement", 1, "limit"): "100 V"}, "requirement[2].limit", "nothing could fail it"),
    "a drop of a nanovolt": ({("requirement", 1, "limit"): "1 nV"}, "requirement[2].limit", "cannot read so little"),
    "loads of nothing": (
        {("load", 0, "power"): "1 nW", ("load", 1, "resistance"): "1 Gohm"}, "load", "less than such a filter usually carries",
    ),
}  # fmt: skip


def rare(tmp_path, changes):
    path = tmp_path / "board.toml"
    path.write_text(text_of(changed(("rare", tuple(changes.items())))), encoding="utf-8")
    return load_design(path)


@pytest.mark.parametrize("name", ODD_SIZES)
def test_an_odd_size_in_the_newer_tables_is_said(name, tmp_path):
    changes, key, words = ODD_SIZES[name]
    assert odd(rare(tmp_path, {})) == ()
    (said, *_) = [one for one in odd(rare(tmp_path, changes)) if key in one.key and words in one.why]
    assert said.value


def test_a_derating_that_ends_at_nothing_is_usual_and_one_of_nothing_is_odd(tmp_path):
    """hand: data sheets' deratings end at zero; one that is zero everywhere leaves nothing"""
    key = "converter", "rating", "derating"
    assert odd(rare(tmp_path, {key: [["50 °C", 1.0], ["70 °C", 0.0]]})) == ()
    (said,) = odd(rare(tmp_path, {key: [["50 °C", 0.0], ["70 °C", 0.0]]}))
    assert "nothing is left of the rating" in said.why


def test_no_load_is_held_at_more_than_what_feeds_it(tmp_path):
    with pytest.raises(
        InputError, match=r"load\[1\]\.profile\.lowest_voltage = '28 V': below the converter's 28 V is right"
    ):
        rare(tmp_path, {("load", 0, "profile", "lowest_voltage"): "28 V"})
