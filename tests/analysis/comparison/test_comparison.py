"""Two designs side by side: what differs, told by the files; what is left, told by the reviews; sentences for every kind of pair."""

import numpy as np
import pytest

from filterlib import load_design
from filterlib.analysis.comparison.differences import differences
from filterlib.analysis.review import compare
from filterlib.analysis.ripple.ripple import ripple
from filterlib.analysis.uncertainty import interval as band
from filterlib.errors import FilterlibError
from filterlib.parts.tables import data_folder
from filterlib.system.solution import solve
from filterlib.units import format_quantity
from filterlib.words.review.comparison_sentences import _pair, comparison_sentences, opening, what_is_left
from filterlib.words.stability_sentences import stability_sentence
from tests.designs import common_mode, converter, design, resistive, series, shunt

CLEAN, BRICK = (load_design(data_folder() / "designs" / f"tide-gauge-{name}.toml") for name in ("clean", "brick"))
SPIKY = converter(name="Skerry (invented)", spike={"peak_to_peak": "180 mV"}, output_capacitance="4.7 µF")
KNOWN = converter(output_capacitance="22 µF")


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Bands of few points: they are tested elsewhere."""
    monkeypatch.setattr(band, "SPREAD", 2)
    monkeypatch.setattr(band, "ROUNDS", 0)


def one(*stages, name="one", **more):
    return design(*(stages or (shunt(), series(), shunt())), **{"source": KNOWN, **more}).replace(name=name)


def told(first, second):
    return " ".join(comparison_sentences(compare(first, second)))


def test_same_filter_on_two_converters():
    """hand: what is said; second method: the ripple analysis alone gives the figures in the words."""
    first, second = one(name="first"), one(name="second", source=SPIKY)
    found = compare(first, second)
    assert opening(found) == (
        "It is the same filter (C1, L1, C2) on two converters: A behind Tarn (invented), B behind Skerry (invented).",
    )
    (at,) = found.loads
    sentences = tuple(what_is_left(found, at))
    for side, left in zip((first, second), at.lefts, strict=True):
        alone = ripple(solve(side), interval=False)
        assert left.ripple == pytest.approx(alone.figures["modem", "20MHz"].peak_to_peak, rel=1e-9, abs=0)
        assert left.spike == pytest.approx(alone.figures["modem", "full"].peak_to_peak, rel=1e-9, abs=0)
        assert left.ripple_ratio == pytest.approx(
            alone.figures["modem_before", "20MHz"].peak_to_peak / left.ripple, rel=1e-9, abs=0
        )
        for value in (left.ripple, left.ripple_before, left.spike, left.spike_before):
            assert format_quantity(value, "V") in sentences[0]
    more = "B" if at.second.spike > at.first.spike else "A"
    assert sentences[0].endswith(f"is left in {more}.")
    assert sentences[1].startswith("In ")
    assert found.exit_code == max(side.exit_code for side in found.reviews)


def test_two_filters_on_one_converter():
    words = told(one(name="first"), one(shunt(), common_mode(), shunt(), shunt(), name="second"))
    assert words.startswith(
        "They are two filters on the same converter, Tarn (invented): A has C1, L1, C2, B has C1, L1, C2, C3. At modem"
    )


def test_two_filters_with_the_same_names():
    words = told(one(name="first"), one(shunt("2.2 µF"), series(), shunt(), name="second"))
    assert "both have C1, L1, C2, and differ in C1.part.capacitance (1 µF in A, 2.2 µF in B). At modem" in words


def test_everything_different():
    words = told(one(name="first"), one(shunt(), name="second", source=SPIKY, load=resistive("14 ohm")))
    assert words.startswith(
        "Converter and filter both differ: A has C1, L1, C2 behind Tarn (invented), B has C1 behind Skerry"
    )
    assert "neither part alone. Loads also differ (load.modem.resistance)." in words


@pytest.mark.parametrize("name", ["one", "another"])
def test_identical_designs(name):
    """The same title is no matter where nothing differs."""
    found = compare(one(), one(name=name))
    assert found.differences == ()
    assert opening(found) == ("Both files state the same design, so every figure is the same in A and in B.",)
    (at,) = found.loads
    assert at.first == at.second
    (sentence,) = what_is_left(found, at)
    assert "both leave" in sentence


def test_converters_called_alike_and_converters_that_differ_in_name_alone():
    words = told(one(name="first"), one(name="second", source={**KNOWN, "output_capacitance": "47 µF"}))
    assert "both are called Tarn (invented), but differ in output_capacitance." in words
    words = told(one(name="first"), one(name="second", source={**KNOWN, "name": "Gannet (invented)"}))
    assert "B behind Gannet (invented), which differ in their names alone." in words
    assert "about the same" in words
    assert "times as much is left" not in words


@pytest.mark.parametrize(("ratio", "words"), [(1.04, "about the same"), (1.06, "1.1 times as much is left in B")])
def test_no_ratio_of_one_is_told(ratio, words):
    """hand: 1.04 is 1.0 in two digits."""
    told_of = _pair([1.0, ratio], [ratio, 1.0], identical=False)
    assert words in told_of
    assert told_of.count("about") == (3 if ratio < 1.05 else 0)
    assert _pair([ratio, 1.0], [9.0, 9.0], identical=False).endswith(words.replace("in B", "in A"))


def test_what_is_neither_filter_nor_converter():
    wanted = {"kind": "ripple", "load": "modem", "limit": "15 mV"}
    words = told(one(name="first"), one(name="second", requirements=[wanted]))
    assert (
        "have the same converter, Tarn (invented), and the same filter (C1, L1, C2). Requirements alone differ."
        in words
    )
    words = told(one(name="first"), one(name="second", service_life="43800 h"))
    assert "The service life alone differs." in words


def test_no_filter_at_all():
    words = told(one(name="first"), design(source=KNOWN).replace(name="second"))
    assert "A has C1, L1, C2, B has no filter." in words
    assert "(about as much as without the filter)" in words


def test_an_unstable_design_is_told_so():
    hungry = {"name": "modem", "kind": "constant_power", "power": "400 W", "loop_bandwidth": "200 kHz"}
    first, second = one(name="first", load=hungry), one(name="second")
    found = compare(first, second)
    (at,) = found.loads
    assert at.first.reason
    assert np.isnan(at.first.ripple)
    why = stability_sentence(at.first.reason)
    assert tuple(what_is_left(found, at)) == (f"At modem, A has no steady ripple at full load: it is {why}.",)
    assert found.exit_code == 1


def test_operating_points_of_one_name_are_compared():
    idle, full = {"name": "idle", "load": "10 %"}, {"name": "full"}
    pulse = {**KNOWN, "shape": "pulse"}  # its ripple grows with the load
    first = one(name="first", source=pulse, operating_points=[idle, full])
    found = compare(first, one(name="second", source=pulse, operating_points=[{"name": "other"}, idle]))
    assert [left.point for left in found.loads[0].lefts] == ["idle", "idle"]
    found = compare(first, one(name="second", source=pulse, operating_points=[full, idle]))
    assert [left.point for left in found.loads[0].lefts] == ["full", "full"]
    found = compare(first, one(name="second", source=pulse, operating_points=[{"name": "other"}]))
    assert "At modem (A: idle, B: other)" in next(what_is_left(found, found.loads[0]))


def test_loads_that_one_design_alone_has():
    logger = {"name": "logger", "kind": "constant_current", "current": "0.2 A"}
    found = compare(one(name="first", load=[resistive(), logger]), one(name="second"))
    assert found.only == (("A", "logger"),)
    assert [at.load for at in found.loads] == ["modem"]


def test_refusals():
    with pytest.raises(
        FilterlibError, match=r"no load has the same name in both designs \(first has modem and second has radio\)"
    ):
        compare(one(name="first"), one(name="second", load=resistive() | {"name": "radio"}))
    with pytest.raises(FilterlibError, match='both designs are called "one" and are not the same'):
        compare(one(), one(shunt()))
    impossible = one(name="second", source=converter(spike={"peak_to_peak": "1.2 V"}))
    with pytest.raises(FilterlibError, match=r"B, second: converter\.ripple\.peak_to_peak = 110 mV"):
        compare(one(), impossible)


def test_progress_rises_to_the_end():
    shares = []
    compare(one(name="first"), one(name="second", source=SPIKY), progress=lambda share, text: shares.append(share))
    assert shares == sorted(shares)
    assert shares[0] >= 0
    assert 0.8 < shares[-1] <= 1


# ---- what the files state differently -----------------------------------------------------------------------------


def test_differences_of_the_demonstrations():
    """hand: both files read side by side."""
    found = {difference.key: (difference.first, difference.second) for difference in differences(CLEAN, BRICK)}
    assert found["converter.switching_frequency"] == ("180 kHz", "150 kHz")
    assert found["converter.output_capacitance"] == ("22 µF ± 20 %", "100 µF (68 µF to 150 µF)")
    assert found["converter.output_esl"] == ("3 nH ± 40 %", "not stated: 4 nH (1 nH to 15 nH)")
    assert found["load.modem.bond"] == ("not stated", "inductance 150 nH")
    assert found["requirement.spike logger"] == ("not stated", "load logger, kind spike, limit 100 mV")
    assert not any(key.startswith("filter") for key in found)
    assert not {"name", "note"} & set(found)


def test_differences_are_the_same_the_other_way_round():
    there = {(one.key, one.first, one.second) for one in differences(CLEAN, BRICK)}
    back = {(one.key, one.second, one.first) for one in differences(BRICK, CLEAN)}
    assert there == back


def test_differences_of_stages():
    """hand: a stage that is missing, one that is moved, one with another part."""
    first, second, third = shunt(name="first"), series(name="choke"), shunt("2.2 µF", name="last")
    (gone,) = differences(one(first, second, third), one(first, second))
    assert gone.key == "filter.last"
    assert gone.second == "not stated"
    assert gone.first.startswith("kind capacitor, part kind film, capacitance 2.2 µF")
    (moved,) = differences(one(first, second, third), one(second, first, third))
    assert (moved.key, moved.first) == ("filter", "in the order first, choke, last")
    (changed,) = differences(CLEAN, CLEAN.replace(filter=[CLEAN.filter[0].replace(count=2), *CLEAN.filter[1:]]))
    assert (changed.key, changed.first, changed.second) == ("filter.C1.count", "not stated", "2")


def test_long_decimals_are_cut_unless_they_tell_the_two_apart():
    def at(value):
        return one(source=converter(output_capacitance=value))

    (found,) = differences(at(22.123456e-6), at(33e-6))
    assert (found.first, found.second) == ("22.12 µF", "33 µF")
    (found,) = differences(at(22.123456e-6), at(22.123457e-6))
    assert (found.first, found.second) == ("22.123456 µF", "22.123457 µF")
