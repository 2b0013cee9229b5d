"""Proofs of designs: against poles of random combinations, and the border that the uncertainty's search finds."""

import numpy as np
import pytest

from filterlib.analysis.stability.over_uncertainty import stability_over
from filterlib.analysis.stability.proof import prove
from filterlib.errors import FilterlibError
from filterlib.system.ranges.uncertain_parameters import uncertain_parameters
from filterlib.system.solution import solve
from filterlib.words.damping_sentences import proof_sentence
from tests.analysis.stability.test_over_uncertainty import capacitor, choke, feeble
from tests.designs import KNOWN, converter, design, resistive, series, shunt


def test_a_combination_that_is_unstable_is_given_and_is_beyond_the_border():
    """second method: poles of the design with that value; the search over the uncertainty names 48.5 µH."""
    solution = solve(feeble())
    found = prove(solution)
    assert found.verdict == "unstable"
    (one,) = found.ranges
    (turn,) = stability_over(solution).alone
    assert one.key == turn.key == "filter.L1.inductance"
    assert turn.value < one.value <= one.high
    assert solution.varied({one.key: one.value}).poles.real.max() > 0
    assert proof_sentence(found).startswith("Unstable at full load with inductance of L1 5")


def test_what_is_proved_holds_for_random_combinations():
    """second method: poles of forty combinations of all ranges of the proof."""
    solution = solve(feeble(choke("38 µH", tolerance="20 %"), capacitor(tolerance=0.05)))
    found = prove(solution)
    assert found.verdict == "stable"
    assert {one.key for one in found.ranges} == {"filter.L1.inductance", "filter.C1.capacitance"}
    assert found.held == ()
    rng = np.random.default_rng(5)
    for _ in range(40):
        values = {one.key: rng.uniform(one.low, one.high) for one in found.ranges}
        assert solution.varied(values).poles.real.max() < 0
    assert "every combination" in proof_sentence(found)


def test_the_corner_that_alone_is_unstable_is_found():
    """Each range alone is stable, both together are not: neither may be called stable."""
    one = feeble(choke("43 µH", tolerance="10 %"), capacitor(tolerance=0.1))
    found = prove(solve(one))
    assert found.verdict == "unstable"
    assert all(np.isfinite(part.value) for part in found.ranges)
    assert prove(solve(one), ["filter.L1.inductance"]).verdict == "stable"
    assert prove(solve(one), ["filter.L1.inductance"]).held == ("filter.C1.capacitance",)


def test_what_cannot_be_proved_is_said():
    solution = solve(feeble())
    with pytest.raises(FilterlibError, match="is not uncertain; uncertain are filter"):
        prove(solution, ["filter.L9.inductance"])
    known = solve(design(series("1 µH"), shunt("1 µF"), shunt("1 µF"), source=converter(**KNOWN), load=resistive()))
    with pytest.raises(FilterlibError, match="no load draws a constant power"):
        prove(known)
    couplings = [one.key for one in uncertain_parameters(known.design) if one.key.startswith("coupling.")]
    with pytest.raises(FilterlibError, match="changes which elements there are"):
        prove(known, couplings)
    with pytest.raises(FilterlibError, match="moves nothing"):
        prove(solve(design(shunt(), source=converter(), load=resistive())), ["converter.duty"])
