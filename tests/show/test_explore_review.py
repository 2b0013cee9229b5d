"""A panel's design saved, reviewed and read, as the notebook on design reviews does it."""

import pytest

from filterlib import FilterlibError, load_design
from filterlib.show.explore.design_review import reviewed
from filterlib.show.explore.pi_filter import pi_panel


@pytest.fixture(scope="module")
def done():
    return reviewed(pi_panel())


def test_the_saved_file_is_what_was_reviewed(done):
    assert load_design(done.file) == done.result.design
    assert done.file.parent.name.startswith("filterlib-")


def test_tables_and_figures_are_those_of_the_page(done):
    assert "✓ met<" in done.requirements.html
    assert "<table>" in done.stress.html
    assert done.figure("band-modem").html.count("<svg") == 1
    assert "band-modem" in done.figures
    with pytest.raises(FilterlibError, match='did you mean "band-modem"'):
        done.figure("band-moden")


def test_words_for_who_cannot_see(done):
    assert repr(done.requirements) == "Requirements, judged at the worst operating point: 3 rows"
    assert done.summary.startswith("Every requirement is met over the whole range")
    assert 'aria-label="figure band-modem"' in done.figure("band-modem")._repr_html_()
