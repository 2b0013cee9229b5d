"""The pages of all notebooks, each of which runs once for them; opened from disk with the network off: every picture is shown, nothing is cut off."""

from __future__ import annotations

import gc
import re
import warnings

import pytest

from filterlib.show.notebook_pages.notebooks import notebooks
from filterlib.show.notebook_pages.pages import write_pages
from tests.browser.looks import axe_finds, beyond

WIDTH, HEIGHT, PHONE = 1366, 768, 390


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


def test_the_index_has_no_marks_of_its_source(folder):
    page = (folder / "index.html").read_text(encoding="utf-8")
    leads = re.findall(r"<p>(.*?)</p>", page[page.index("<main>") : page.index("</main>")], flags=re.DOTALL)
    assert len(leads) == len(notebooks())
    assert not [one for one in leads if re.search(r"[*`$]|No sliders", one)]


def test_checks_and_answers_are_folded(folder):
    for path in notebooks():
        page = (folder / f"{path.stem}.html").read_text(encoding="utf-8")
        open_ = re.sub(r"<details>.*?</details>", "", page, flags=re.DOTALL)
        assert ".check()" in page
        assert ".check()" not in open_
        assert "<details><summary>" in page
        if path.stem[:2] not in ("03", "06", "09", "13"):  # the others' pictures answer their guess
            assert "data:image/png" not in open_
        assert page.index("<strong>Guess:") < page.index("data:image/png")


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
    assert [one for one in pictures if not (one[0] and one[1] > 300 and one[2])] == []
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        assert axe_finds(page) == [], scheme
    for width in (WIDTH, PHONE):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert beyond(page) == []
    assert not trouble
    for link in page.evaluate("[...document.querySelectorAll('a[href$=\".html\"]')].map(a => a.getAttribute('href'))"):
        assert (folder / link).is_file(), link
    context.close()
