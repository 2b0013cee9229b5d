"""One way to name a place in a design: every key that the program itself uses reads, changes and writes the same value."""

import numpy as np
import pytest

from filterlib import load_design
from filterlib.errors import FilterlibError
from filterlib.parts.tables import data_folder
from filterlib.system.design import with_values
from filterlib.system.ranges.changes import changed, value
from filterlib.system.ranges.places import at, path
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from tests.system.test_design import whole

CLEAN = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")


def test_every_uncertain_parameter_is_read_and_changed_by_its_key():
    """second method: the unchecked way and the checked way put the same value into the same place, and nowhere else."""
    one = whole()
    keys = [each.key for each in uncertain_parameters(one)]
    for each in uncertain_parameters(one):
        assert value(one, each.key) in (
            each.nominal,
            None,
        )  # None: a length that follows from another until it is stated
        end = each.high if each.high != each.nominal else each.low
        for made in (with_values(one, {each.key: end}), changed(one, {each.key: end})):
            moved = [key for key in keys if value(made, key) != value(one, key)]
            assert moved == [each.key]
            assert value(made, each.key) == pytest.approx(end, rel=1e-12, abs=0)


def test_a_default_coupling_becomes_a_stated_one_when_it_is_changed():
    more = changed(CLEAN, {"coupling.C1-C2": "0.5 nH"})
    (stated,) = more.couplings
    assert (stated.first, stated.second, stated.mutual.value) == ("C1", "C2", pytest.approx(0.5e-9, rel=1e-12, abs=0))
    assert value(CLEAN, "coupling.C1-C2") == 0.125e-9  # hand: 1e-7 H/m (1e-4 m2)**2 / (2e-2 m)**3
    with pytest.raises(FilterlibError, match='nothing is called "C1-C9"'):
        changed(CLEAN, {"coupling.C1-C9": "0.5 nH"})


def test_a_path_holds_fields_and_numbers_of_entries():
    assert path(CLEAN, "filter.C2.esr") == ("filter", 2, "part", "esr")
    assert path(CLEAN, "load.modem.length") == ("loads", 0, "lead", "length")
    assert at(CLEAN, path(CLEAN, "point.listening.temperature")) == CLEAN.point("listening").temperature


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("converter.spike.ring_cycles", "the design has no converter.spike; state it first"),
        ("converter.common_mode.ring.cycles", "the design has no converter.common_mode; state it first"),
        ("converter.duty.low", "converter.duty is one value"),
        ("filter.C9.capacitance", 'nothing is called "C9"'),
    ],
)
def test_a_key_that_leads_nowhere_is_refused_by_both_ways(key, words):
    for use in (changed, with_values):
        with pytest.raises(FilterlibError, match=words):
            use(CLEAN, {key: 1.0})
    with pytest.raises(FilterlibError, match=words):
        value(CLEAN, key)


def test_several_values_of_one_model_are_written_at_once():
    """One part is checked once, whatever the number of its values, and what is not named is the same object."""
    made = with_values(CLEAN, {"filter.L1.inductance": np.array([[1e-3], [2e-3]]), "filter.L1.leakage": 9e-6})
    assert value(made, "filter.L1.inductance").shape == (2, 1)
    assert value(made, "filter.L1.leakage") == 9e-6
    assert made.filter[0] is CLEAN.filter[0]
    assert made.converter is CLEAN.converter
