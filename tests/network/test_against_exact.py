"""second method: nodal analysis with 80 digits; a few circuits here, a thousand of up to 60 nodes in `python -m tests.benchmarks.exact`."""

import pytest

from tests.benchmarks.exact import WITHIN, miss


@pytest.mark.parametrize("number", range(6))
def test_values_over_18_decades_are_solved_to_nine_digits(number):
    assert miss(number, most_nodes=14) < WITHIN
