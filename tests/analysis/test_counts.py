"""How much one review makes: counts, which do not depend on the machine."""

import pytest

from tests.reviews import reviewed


@pytest.mark.parametrize(("name", "plans", "solvers"), [("clean", 24, 125), ("brick", 30, 320)])
def test_a_review_plans_few_eliminations(name, plans, solvers):
    """Plans: one a structure. pin: the circuits that are solved, most of them a few designs of one structure each; of the brick
    half are of changes, each judged as a design."""
    found = reviewed(name)
    assert found.plans <= plans
    assert found.solvers <= solvers
