"""How much one review makes: counts, which do not depend on the machine."""

import pytest

from tests.reviews import reviewed


@pytest.mark.parametrize(("name", "structures", "plans", "solvers"), [("clean", 16, 16, 102), ("brick", 29, 30, 344)])
def test_a_review_plans_few_eliminations(name, structures, plans, solvers):
    """pins. Structures: circuits that differ in more than values, each written once. Plans: one a structure, a few where impedances
    cross, or where the first was made at other frequencies than most of what follows. Solvers: circuits with values of their own; of
    the brick most are of changes, judged as a design is."""
    found = reviewed(name)
    assert found.structures <= structures
    assert found.plans <= plans
    assert found.solvers <= solvers
