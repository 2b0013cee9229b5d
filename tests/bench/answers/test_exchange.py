"""Captures that may have been exchanged: asked about where that explains them better than every fault, and not where a fault does."""

import pytest

from filterlib.bench.answers.answer import bench, exchange
from filterlib.bench.answers.answers_result import Capture
from filterlib.bench.answers.trials import trials
from filterlib.cli import main
from filterlib.parts.tables import data_folder
from filterlib.words.bench.answer_sentences import exchange_sentence
from tests.bench.answers.burst_board import louder_board

CLEAN = data_folder() / "designs" / "tide-gauge-clean.toml"
RECORDINGS = data_folder() / "recordings"
BEFORE, AFTER = (str(RECORDINGS / f"clean-{place}.csv") for place in ("terminals", "modem"))


def asked(before, after):
    result = bench(CLEAN, before=before, after=[Capture(after)])
    return exchange(CLEAN, result, trials(result))


def test_exchanged_captures_are_asked_about_and_the_other_explanation_is_named(capsys):
    """The command refuses them with a question, exit code 2; as they are stated it takes them."""
    assert main(["bench", str(CLEAN), "--before", AFTER, "--after", BEFORE]) == 2
    said = " ".join(capsys.readouterr().err.split())
    for words in ("are the two exchanged?", "as they are given, the likeliest is that", "add --as-stated"):
        assert words in said


def test_what_is_taken_as_stated_is_not_asked_about_again():
    found = asked(AFTER, BEFORE)
    assert found.asks
    said = exchange_sentence(found)
    assert said.endswith("they are taken as stated.")
    assert "?" not in said


def test_a_board_that_rings_above_the_converter_is_no_exchange(tmp_path):
    """Physics: C1 lost, the choke bridged by 0.3 µH of wire: C2 and the wire ring near the second harmonic. Its bare capture reads what the
    file states, so that another fault is likelier than an exchange, and says so."""
    found = asked(BEFORE, louder_board(tmp_path))
    assert found.behind > found.before
    assert not found.asks
    assert "likelier" in exchange_sentence(found)


def test_nothing_is_asked_of_captures_in_order():
    assert asked(BEFORE, AFTER) is None


@pytest.mark.parametrize("after", ["clean-terminals.csv"])
def test_the_same_capture_on_both_sides_is_no_exchange(after):
    """As loud, not louder."""
    assert asked(BEFORE, str(RECORDINGS / after)) is None
