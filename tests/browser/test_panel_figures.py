"""The pictures of the notebooks' panels as SVG in a browser: no word on another, none outside."""

from __future__ import annotations

import pytest

from tests.browser.looks import words_that_collide
from tests.show.explore_panels import MAKERS

MOVING = "07 common mode"  # its words are where the currents are


@pytest.fixture(scope="module")
def pictures():
    """Name -> SVG elements: at the start, and of what moves its words, at every try."""
    found = {}
    for name, make in MAKERS.items():
        panel = make()
        found[name] = [panel.picture.svg()]
        if name == MOVING:
            for one in panel.display.lesson.tries:
                panel.back()
                for control, value in one.at.items():
                    panel.move(control, value)
                found[name].append(panel.picture.svg())
    return found


def test_words_of_the_pictures_keep_apart(browser, pictures):
    page = browser.new_page(viewport={"width": 1366, "height": 768})
    faults = {}
    for name, drawn in pictures.items():
        page.set_content("".join(f"<figure>{one}</figure>" for one in drawn))
        outside, met = words_that_collide(page)
        if outside or met:
            faults[name] = outside, met
    page.close()
    assert faults == {}
