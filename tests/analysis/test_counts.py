"""How much one review makes: counts, which do not depend on the machine."""

import pytest

from tests.reviews import reviewed


@pytest.mark.parametrize(("name", "plans", "solvers"), [("clean", 21, 114), ("brick", 45, 420)])
def test_a_review_plans_few_eliminations(name, plans, solvers):
    """Plans: one a structure, a few where impedances cross. pin: the circuits that are solved, most of them a few designs of one
    structure each; of the brick two thirds are of changes, each a structure of its own and judged as a design."""
    found = reviewed(name)
    assert found.plans <= plans
    assert found.solvers <= solvers
