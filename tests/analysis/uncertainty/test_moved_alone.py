"""Which of very many uncertain parameters are moved alone, and what the search for the ends of an interval still finds."""

from dataclasses import replace

import numpy as np
import pytest

from filterlib import load_design, ripple, solve
from filterlib.analysis.stress import stress as stresses
from filterlib.analysis.stress.stress import OTHERS, TOGETHER, loadings, stress
from filterlib.analysis.stress.stress import _label as label
from filterlib.analysis.uncertainty import moved_alone
from filterlib.analysis.uncertainty.interval import CORNERS, GRID, ROUNDS, SPREAD, search
from filterlib.analysis.uncertainty.like_design import at_ends
from filterlib.analysis.uncertainty.moved_alone import MOST, leading
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.words.review.review_sentences import _left_out
from tests.benchmarks.growth import design


def box(count):
    return tuple(UncertainParameter(f"x{n}", f"x{n}", "", 2.0, 1.0, 3.0, True, "") for n in range(count))


def weighted(weights, rows):
    """A figure that is a weighted sum, counting the points that are asked for."""

    def metric(values):
        rows.append(len(values["x0"]))
        return {"sum": 1 + sum(w * values[f"x{n}"][:, 0] for n, w in enumerate(weights))}

    return metric


def test_of_very_many_those_are_moved_alone_that_move_most_and_the_converters():
    """hand: of a weighted sum, the parameters of the largest weights; none is left out of a box of at most that many."""
    weights = np.random.default_rng(1).permutation(MOST + 40)
    many = box(MOST + 40)
    many = (*many[:3], UncertainParameter("converter.duty", "", "", 0.5, 0.4, 0.6, True, ""), *many[4:])

    def sizes(values):
        return sum(w * one for w, one in zip(weights, values.values(), strict=True))

    found = leading(many, sizes)
    others = [place for place in np.argsort(-weights) if place != 3][: MOST - 1]
    assert found == tuple(sorted([3, *others]))
    assert leading(many[:MOST], sizes) == tuple(range(MOST))


@pytest.mark.parametrize("look", [search, lambda *a, **b: at_ends(*a, like={}, closer=True, **b)])
def test_points_of_a_search_do_not_grow_with_the_parameters_that_are_not_moved_alone(look):
    """hand: of a weighted sum, the ends lie in corners, and the others' ways, small here, are left to points at which all move."""
    counts, widths = [], []
    for number in (MOST, 4 * MOST):
        rows, weights = [], np.where(np.arange(number) < MOST, 1.0, 1e-3)
        found = look(weighted(weights, rows), box(number), places=range(MOST))["sum"]
        counts.append(sum(rows))
        widths.append((found.high - found.low) / (2 * weights.sum()))
        assert found.effects.keys() <= {f"x{n}" for n in range(MOST)}
    assert counts[0] == counts[1]
    assert min(widths) > 0.99


def test_a_search_asks_for_so_many_points():
    """hand: nominal, the grid of each, hypercube, corners, the two best, and the points of each round around both ends."""
    rows = []
    search(weighted(np.ones(9), rows), box(9), places=range(4))
    assert sum(rows) == 1 + 4 * len(GRID) + SPREAD + CORNERS + 2 + 2 * 6 * ROUNDS


@pytest.fixture
def board(tmp_path):
    """Four stages, 24 uncertain parameters."""
    path = tmp_path / "board.toml"
    path.write_text(
        design(stages=4).replace("[converter.ripple]", 'shape = "triangle"\nspike_share = 0\n[converter.ripple]')
    )
    return load_design(path)


def test_the_interval_of_the_ripple_is_found_where_few_are_moved_alone(monkeypatch, board):
    """Second method: the search with every one of them moved alone; either may come out a little wider."""
    solution = solve(board)
    every = ripple(solution)
    monkeypatch.setattr(moved_alone, "MOST", 13)
    few = ripple(solution)
    assert len(every.uncertain_parameters) == 24
    assert len(few.uncertain_parameters) == 13
    largest = [one.key for one in every.uncertain_parameters[:6]]
    assert largest == [one.key for one in few.uncertain_parameters[:6]]
    whole, found = every.figures["load0", "20MHz"], few.figures["load0", "20MHz"]
    assert found.low < 1.1 * whole.low
    assert found.high > whole.high / 1.1


def test_the_range_of_a_stress_is_found_where_few_are_moved_alone(monkeypatch, board):
    """Second method: each moved alone. Together they move a stress further than one, and next to nothing less far."""
    solution = solve(board)
    every = stress(solution).checks
    designs = []
    monkeypatch.setattr(moved_alone, "MOST", 9)
    monkeypatch.setattr(
        stresses, "loadings", lambda many, **how: designs.append(many.circuit.designs) or loadings(many, **how)
    )
    few = stress(solution).checks
    assert designs == [1 + 2 * 9 + TOGETHER]  # hand
    wider = 0
    for whole, found in zip(every, few, strict=True):
        assert found.value == pytest.approx(whole.value, rel=1e-12, nan_ok=True, abs=0)
        least, most = whole.value - whole.low, whole.high - whole.value
        assert not found.value - found.low < 0.8 * least - 1e-9 * abs(whole.value)
        assert not found.high - found.value < 0.8 * most - 1e-9 * abs(whole.value)
        wider += found.high - found.low > 1.01 * (whole.high - whole.low)
    assert wider


def test_what_moves_together_is_said_and_named(board):
    """hand: a box that is larger than the limit has a sentence, others have none."""
    ripples = ripple(solve(board))
    assert not list(_left_out(board, ripples))
    keys = [replace(ripples.uncertain_parameters[0], key=f"filter.C{n}.esr") for n in range(MOST)]
    many = board.replace(filter=tuple(one.replace(name=f"{one.name}{n}") for n in range(6) for one in board.filter))
    said, *_ = _left_out(many, replace(ripples, uncertain_parameters=tuple(keys)))
    assert said.startswith(
        f"{len(uncertain_parameters(many))} parameters are uncertain: the {MOST} that move the ripple most"
    )
    assert (
        label(board, f"converter.shape {OTHERS}") == "shape of the switching current and the other tolerances together"
    )
    assert label(board, "converter.duty") == "duty cycle"
