"""The pages of all notebooks, each of which runs once for them; opened from disk with the network off: every picture is shown, nothing is cut off."""

from __future__ import annotations

import gc
import warnings

import pytest

from filterlib.show.notebooks import notebooks
from filterlib.show.pages import write_pages

WIDTH, HEIGHT = 1366, 768


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """The folder of the pages, and what was told meanwhile."""
    told = []
    target = tmp_path_factory.mktemp("pages")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)  # nbclient leaves its event loops to the collector
        write_pages(target, progress=lambda share, text: told.append((share, text)))
        gc.collect()
    return target, told


@pytest.fixture
def folder(written):
    return written[0]


def test_every_notebook_runs_to_its_last_cell(written):
    """Without a browser too: a cell that fails, `panel.check()` among them, would end the writing."""
    folder, told = written
    assert told[-1][0] == pytest.approx(1.0, rel=1e-9, abs=0)
    assert {text for _, text in told} == {path.stem for path in notebooks()}
    assert {f"{path.stem}.html" for path in notebooks()} <= {path.name for path in folder.iterdir()}


@pytest.mark.parametrize("name", ["index", *(path.stem for path in notebooks())])
def test_page_opens_from_disk_without_network(browser, folder, name):
    context = browser.new_context(viewport={"width": WIDTH, "height": HEIGHT}, offline=True)
    page = context.new_page()
    trouble = []
    page.on("console", lambda message: trouble.append(message.text) if message.type == "error" else None)
    page.on(
        "request",
        lambda request: trouble.append(request.url) if not request.url.startswith(("file:", "data:")) else None,
    )
    page.goto((folder / f"{name}.html").as_uri())
    pictures = page.evaluate("[...document.images].map(i => [i.complete, i.naturalWidth, i.alt])")
    assert pictures
    assert all(complete and width > 300 and alt for complete, width, alt in pictures)
    assert page.evaluate("document.documentElement.scrollWidth") <= WIDTH
    assert not trouble
    for link in page.evaluate("[...document.querySelectorAll('a[href$=\".html\"]')].map(a => a.getAttribute('href'))"):
        assert (folder / link).is_file(), link
    context.close()
