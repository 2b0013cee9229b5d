"""The summary of a terminal: at most 12 lines of at most 100 letters, and no sentence is cut."""

import pytest

from filterlib.words.review_sentences import headline
from filterlib.words.summary import LINES, WIDTH, terminal_summary
from tests.show import fakes

ENDING = ["Page: review/review.html"]
WORDS = [("met",), ("met", "undecided", "not met"), ("not met",) * 9]


@pytest.mark.parametrize("stable", [True, False])
@pytest.mark.parametrize("words", WORDS)
def test_it_fits_and_nothing_is_cut(words, stable):
    review = fakes.review(words=words, stable=stable)
    said = terminal_summary(review, ENDING)
    lines = said.splitlines()
    assert len(lines) <= LINES
    assert max(map(len, lines)) <= WIDTH
    assert "…" not in said
    assert lines[-1] == ENDING[0]
    assert " ".join(headline(review).split()).split(". ")[0] in " ".join(said.split())


def test_requirements_that_do_not_fit_are_counted():
    """hand: nine requirements, of which some are shown and the others counted."""
    said = terminal_summary(fakes.review(words=("not met",) * 9), ENDING)
    shown = said.count("✗ not met")
    assert 0 < shown < 9
    assert f"{9 - shown} more requirements on the page" in said
