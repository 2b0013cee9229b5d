"""The summary of a terminal: at most 12 lines of at most 100 letters, and no sentence is cut."""

import pytest

from filterlib.words.review.review_sentences import headline
from filterlib.words.review.summary import LINES, WIDTH, terminal_summary
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


def test_probably_met_says_what_exit_code_0_asks_for():
    """Where the exit code is 1 for nothing else; not where it is 0 or a requirement is worse off."""
    one = fakes.review(words=("met", "probably met"), exceeded=())
    for review, asked in ((one, True), (fakes.changed(one, accept="probable"), False), (fakes.review(), False)):
        said = terminal_summary(review, ENDING)
        assert ("--accept probable" in said) == asked == (review.outcome == "probably met" and review.exit_code == 1)
        assert max(map(len, said.splitlines())) <= WIDTH
