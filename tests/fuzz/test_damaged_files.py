"""Damaged files, always the same ones: each is refused with its name, or taken and finite; no traceback, no hang.

`python -m tests.fuzz` does the same with 100,000 of them. What such a run found has a test of its own at the end.
"""

import random
import re
from collections import Counter

import numpy as np
import pytest

from filterlib import cli, load_design
from filterlib.analysis.supply.battery_run import battery_run
from filterlib.errors import InputError
from filterlib.parts.curves.touchstone import read_touchstone
from filterlib.system.design import with_values
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import solve, solve_all
from filterlib.words.supply.supply_sentences import battery_line, battery_sentences
from tests.fuzz.ends import at_ends, ends, every_model, held
from tests.fuzz.mutated import file
from tests.fuzz.reading import NAMING, READERS, in_time, named_outcome, outcome
from tests.fuzz.sweep import TREES, alone, looked, pairs, smallest, text_of, whole, words
from tests.fuzz.sweep import changed as sweep_changed
from tests.system.test_bad_input import TREE, changed, key_of

SEED, COUNT = 1, 300


def placed(folder, number):
    sort, ending, text = file(SEED, number)
    path = folder / f"file.{ending}"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    return sort, path


def test_every_damaged_file_is_refused_by_name_or_taken(tmp_path):
    tally = Counter()
    for number in range(COUNT):
        sort, path = placed(tmp_path, number)
        tally[sort, outcome(sort, path)] += 1
        if sort in NAMING:
            tally[f"{sort} that a design names", named_outcome(sort, path)] += 1
    sorts = [*READERS, *(f"{sort} that a design names" for sort in NAMING)]
    assert all(tally[sort, end] for sort in sorts for end in ("refused", "taken")), (
        tally
    )  # else too much damage, or none


@pytest.mark.parametrize("number", [3, 4, 14, 15, 5])
def test_a_few_go_through_a_whole_command(number, tmp_path, capsys):
    sort, path = placed(tmp_path, number)
    command = {"recording": ["recording", str(path)], "table": ["part", str(path)]}[sort]
    code = cli.main(command)
    said = capsys.readouterr()
    assert code in (0, 2)
    assert "Traceback" not in said.err
    assert code == 0 or all(line.startswith(f"filterlib: {path}") for line in said.err.splitlines())


def write(tree, folder):
    path = folder / "board.toml"
    path.write_text(text_of(tree), encoding="utf-8")
    return path


def test_every_key_at_an_end_of_its_range_loads_or_is_refused_by_name(tmp_path):
    """A sample here, and a few looked at in every piece; `python -m tests.fuzz --count 0 --look 1 --sweep 1` takes all, through whole commands too."""
    chance, cases = random.Random(SEED), alone()
    assert len(cases) > 600
    for case in [*chance.sample(cases, 30), *pairs(20)]:
        assert looked(case, tmp_path, deep=False) in ("refused", "taken"), words(case)
    for case in chance.sample(cases, 1):
        assert looked(case, tmp_path, deep=True) in ("refused", "taken"), words(case)


def test_keys_at_their_ends_through_a_whole_command(tmp_path):
    """The cheapest one that solves, pages included: a sample of the keys of designs with bursts."""
    cases = [case for case in alone() if case[0] != "complete"]
    codes = Counter(whole(case, tmp_path, "bank") for case in random.Random(SEED).sample(cases, 30))
    assert codes.keys() <= {0, 1, 2}
    assert codes[0] + codes[1] > 10


def test_the_designs_that_are_swept_hold_every_model():
    """But those that name a measurement's file, which `NAMING` and the tests of recordings damage."""
    swept = {model for tree in TREES.values() for _, _, model in held(tree)}
    assert {model.__name__ for model in every_model() - swept} == {"OutputImpedance", "WithCapacitor"}


def test_a_spike_of_nothing_is_refused_without_a_long_search(tmp_path):
    """Found by the sweep: 800 combinations were tried against a spike of 1 pV, which took half a minute of the processor."""
    case = ("complete", ((("converter", "spike", "peak_to_peak"), 1e-12),))
    with in_time(5):
        assert looked(case, tmp_path, deep=False) == "refused"


def test_ends_are_those_of_the_marks():
    """hand: a capacitance is above 0 and plausible from 0.1 pF on; output_resistance is 0 to 100 ohm."""
    by_key = {}
    for path, value in at_ends(TREE):
        by_key.setdefault(key_of(path), []).append(value)
    assert by_key["converter.output_resistance"] == [0, 100]
    assert by_key["converter.ripple.bandwidth"] == [1e3, 1e11]
    assert by_key["filter[1].part.capacitance"][0] == pytest.approx(1e-13, rel=1e-6, abs=0)
    assert ends(type("Mark", (), {"above": 0.0, "high": 5.0})()) == (1e-12, 5.0)


def test_a_load_of_constant_power_that_draws_nothing_is_stable(tmp_path):
    """Found by the sweep: 0 W is allowed, and its equivalent resistance is infinite."""
    from filterlib.analysis.stability.operating_point import operating

    tree = changed(("load", 0, "power"), 0)
    design = load_design(write({key: value for key, value in tree.items() if key != "clip"}, tmp_path))
    assert operating(solve(design, "transmitting"), poles=False).stable


def test_scattering_parameters_without_measure_are_refused_as_not_passive(tmp_path):
    """Found by damaged files: the square of 1e300 left the range of floating-point numbers."""
    path = tmp_path / "part.s1p"
    path.write_text("# Hz S RI R 50\n" + "".join(f"{n}e6 1e300 0\n" for n in range(1, 12)))
    with pytest.raises(InputError, match="not passive at 1 MHz"):
        read_touchstone(path)


@pytest.mark.parametrize(
    "path",
    [
        ("load", 0, "power"),
        ("operating_point", 0, "load"),
        ("load", 0, "profile", "idle"),
        ("converter", "ripple", "peak_to_peak"),
    ],
    ids=key_of,
)
def test_what_is_below_all_numbers_is_refused_by_its_key(path, tmp_path):
    """Found by damaged files: the conductance of 1e-300 W was refused by the circuit, without file and key; a ripple of 1e-300 V divided by nothing."""
    case = ("rare", ((path, 1e-300),))
    with pytest.raises(InputError, match=rf"board.toml: {re.escape(key_of(path))} .*prefix or a unit forgotten"):
        load_design(write(sweep_changed(case), tmp_path))


def test_what_draws_nothing_takes_nothing_of_its_battery(tmp_path):
    """Found by the sweep: 0 W is allowed; its share of the full load, the run time and the wire were over nothing."""
    design = load_design(write(sweep_changed(("fed", ((("load", 0, "power"), 0.0),))), tmp_path))
    run = battery_run(solve_all(design))
    assert {check.margin for check in run.checks if check.high == 0} == {np.inf}
    assert (run.mean, run.most, run.per_day) == (0.0, 0.0, 0.0)
    assert [value != value for value in (run.runs, run.runs_low, run.gauge)] == [True] * 3
    said = " ".join([battery_line(run), *battery_sentences(run, design)])
    assert not any(words in said for words in ("It runs", "thinnest wire", "No wire"))


@pytest.mark.parametrize(
    "end", [(("load", 0, "power"), 0.0), (("load", 0, "profile", "idle"), 1.0)], ids=["power", "idle"]
)
def test_a_burst_that_draws_no_more_has_a_start(end, tmp_path):
    """Found by the sweep: the most ESR that its step allows was over nothing."""
    assert whole(("rare", (end,)), tmp_path, "bank") in (0, 1, 2)


def test_a_converter_without_output_resistance_has_a_bank(tmp_path):
    """Found by the sweep: the slope of its current limit was one over nothing."""
    assert whole(("rare", ((("converter", "output_resistance"), 0.0),)), tmp_path, "bank") in (0, 1)


def test_a_critical_power_may_be_more_than_a_load_may_draw(tmp_path):
    """Found by the sweep: at 1 kV more than 100 kW is critical, which a design file may not state; it was refused without file and key.

    hand: E²/(4 R), the most that 1 kV behind 15 mohm can give, is 17 MW.
    """
    from filterlib.analysis.stability.margins import margins

    case = ("complete", ((("converter", "output_voltage"), 1000.0),))
    (margin,) = margins(solve(load_design(write(smallest(case, tmp_path), tmp_path)), "transmitting"))
    assert 1e5 < margin.critical_power < 17e6


@pytest.mark.parametrize(("key", "value"), [("capacitance", 0.1), ("tolerance", 1 - 1e-9)])
def test_a_tolerance_ends_where_such_parts_do(key, value, tmp_path):
    """Found by the sweep: 100 mF is the most that a capacitor may have, and 20 % more was refused without file and key."""
    design = load_design(write(sweep_changed(("fed", ((("filter", 1, "part", key), value),))), tmp_path))
    parameter = next(one for one in uncertain_parameters(design) if one.key == "filter.C2.capacitance")
    for end in (parameter.low, parameter.high):
        with_values(design, {parameter.key: end})
    assert parameter.low < parameter.high
