"""Reasons add up: sources to the whole, power to power; what does nothing changes nothing; no order of tables matters."""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from filterlib import load_design
from filterlib.analysis.causes.reasons import reasons
from filterlib.parts.tables import data_folder, standard_tables
from filterlib.system.solution import solve
from filterlib.units import format_quantity
from filterlib.words.review.reason_sentences import reason_sentences
from tests.designs import converter, design, resistive, series, shunt

DEMOS = ("tide-gauge-clean.toml", "tide-gauge-brick.toml")


@pytest.fixture(scope="module", params=DEMOS)
def whole(request):
    return reasons(solve(load_design(data_folder() / "designs" / request.param)), "modem", pairs=3)


def test_partial_waveforms_add_up_to_the_whole(whole):
    largest = max(np.max(np.abs(one.waveform)) for one in whole.sources)
    rest = whole.waveform - sum(one.waveform for one in whole.sources)
    assert np.max(np.abs(rest)) <= 1e-12 * largest


def test_powers_add_up_harmonic_by_harmonic(whole):
    c = sum(one.coefficients for one in whole.sources)
    largest = np.max([np.abs(one.power_alone) for one in whole.sources], axis=0)
    rest = 2 * np.abs(c) ** 2 - sum(one.power for one in whole.sources)
    assert np.all(np.abs(rest) <= 1e-11 * largest)


def at(result, path):
    """The number under a path of a result."""
    for name in path.split("."):
        result = result[int(name)] if name.isdigit() else getattr(result, name)
    return result


def test_every_sentence_holds_numbers_that_are_in_the_result(whole):
    told = reason_sentences(whole)
    assert 3 <= len(told) <= 6
    for one in told:
        assert one.facts
        assert one.text.endswith(".")
        for fact in one.facts:
            assert fact.value == at(whole, fact.path)
            assert format_quantity(fact.value, fact.unit, 3) in one.text
    assert any(
        one.text.startswith(
            ("Worth a try: ", "The nominal figure needs no change. For more margin, worth a try: ", "No single change")
        )
        for one in reason_sentences(whole)
    )


def test_every_number_with_a_unit_in_a_sentence_is_a_fact(whole):
    names = {name for mitigation in (*whole.mitigations, *whole.pairs) for name in mitigation.names}
    for one in reason_sentences(whole):
        text = one.text
        for name in sorted(names, key=len, reverse=True):
            text = text.replace(name, "")
        told = [format_quantity(fact.value, fact.unit, 3) for fact in one.facts] + ["20 MHz"]
        for number in re.findall(r"[-\d.]+ [mµnk]?(?:V|Hz|W)\b", text):
            assert number in told


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_the_order_of_the_tables_does_not_matter(seed):
    parts = {
        name: part for table in standard_tables() for name, part in table.items() if part.kind in ("film", "polymer")
    }
    mixed = list(parts)
    np.random.default_rng(seed).shuffle(mixed)
    one = design(shunt(name="C1"), series(name="L1"), shunt(name="C2"))
    first, second = (
        reasons(solve(one), "modem", parts=held, pairs=3) for held in (parts, {n: parts[n] for n in mixed})
    )
    assert [r.names for r in first.mitigations] == [r.names for r in second.mitigations]
    assert first.pairs == second.pairs


def test_a_source_that_does_nothing_changes_nothing():
    drive = {"swing": "28 V", "coupling": "100 pF"}
    load = resistive(stray_capacitance=0.0)
    # no bond, no way for it into the lines: nothing but rounding reaches a perfectly symmetric place
    still = converter(common_mode=drive, shape="triangle")
    balanced = {"kind": "differential_choke", "part": series()["part"], "line": "both", "imbalance": 0.0}
    one = design(shunt(name="C1"), balanced | {"name": "L1"}, shunt(name="C2"), source=still, load=load)
    found = reasons(solve(one), "modem", parts={}, pairs=0)
    common = next(source for source in found.sources if source.name == "common_mode")
    assert common.spike_alone <= 1e-3 * found.spike
    assert abs(common.spike_falls) <= common.spike_alone * (1 + 1e-9)


def test_removing_a_silent_source_leaves_the_whole_as_it_is():
    source = converter(output_capacitance="22 µF", output_esl=0.0, shape="triangle")
    found = reasons(solve(design(shunt(name="C1"), series(name="L1"), source=source)), "modem", parts={}, pairs=0)
    silent = next(one for one in found.sources if one.name == "ripple_esl")
    assert silent.ripple_alone == 0
    assert silent.ripple_falls == 0
    assert silent.spike_falls == 0


@settings(max_examples=15, deadline=None)
@given(st.floats(0.5, 50), st.floats(1, 100))
def test_the_ripple_scales_all_figures_and_no_order(millivolts, henries):
    made = [
        design(shunt(name="C1"), series(f"{henries} µH", name="L1"), source=converter(ripple={"peak_to_peak": v}))
        for v in (millivolts * 1e-3, 3 * millivolts * 1e-3)
    ]
    first, second = (reasons(solve(one), "modem", parts={}, pairs=0) for one in made)
    assert second.ripple == pytest.approx(3 * first.ripple, rel=1e-9, abs=0)
    assert [one.words for one in first.parasitics] == [one.words for one in second.parasitics]
