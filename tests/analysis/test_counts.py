"""How much one review makes: counts, which do not depend on the machine."""

import pytest

from filterlib import load_design
from filterlib.analysis.review import review
from filterlib.network.counts import COUNTS
from filterlib.network.elimination import forget
from filterlib.parts.tables import data_folder


@pytest.mark.parametrize(("name", "plans", "solvers"), [("clean", 24, 125), ("brick", 30, 320)])
def test_a_review_plans_few_eliminations(name, plans, solvers):
    """Plans: one a structure. pin: the circuits that are solved, most of them a few designs of one structure each; of the brick
    half are of changes, each judged as a design."""
    design = load_design(data_folder() / "designs" / f"tide-gauge-{name}.toml")
    forget()
    COUNTS.reset()
    review(design)
    assert COUNTS.plans <= plans
    assert COUNTS.solvers <= solvers
