"""The pages of a recording, a part, a bench sheet and a comparison in a browser: they fit a laptop, a telephone and paper."""

from __future__ import annotations

import re

import pytest

from filterlib import load_recording
from filterlib.analysis.bench.bench_sheet import bench_sheet
from filterlib.analysis.comparison.comparison import compare
from filterlib.analysis.linear.part_curves import examine
from filterlib.bench.harmonics import harmonics
from filterlib.bench.measurement import measure
from filterlib.parts.tables import data_folder, find_part, standard_tables
from filterlib.show.compare import write_comparison
from filterlib.show.part import write_part
from filterlib.show.recording_page import write_recording
from filterlib.show.verify import write_sheet
from tests.browser.test_review_page import SIZES
from tests.reviews import demo, review_kept

PAGES = ("recording", "part", "verify", "compare")
A4 = 688  # [px] between margins of 14 mm at 96 dpi


@pytest.fixture(scope="module")
def addresses(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    found = measure(load_recording(data_folder() / "recordings" / "brick-terminals-full-bandwidth.csv"))
    part = find_part("cm-1m0-5A", None, standard_tables())
    with pytest.MonkeyPatch.context() as patch:
        review_kept(patch)
        both = compare(demo("clean"), demo("brick"))
    sheet = bench_sheet(both.reviews[1])
    return {
        "recording": write_recording(found, harmonics(found), folder / "recording").as_uri(),
        "part": write_part(examine(part), folder / "part").as_uri(),
        "compare": write_comparison(both, folder / "compare").as_uri(),
        "verify": write_sheet(sheet, folder / "verify").as_uri(),
    }


@pytest.fixture
def opened(browser, addresses):
    """A function that opens a page at a size, and what it logged and asked for."""
    contexts = []

    def open_page(name, width, height, **options):
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        page = context.new_page()
        page.logged, page.asked = [], []
        page.on("console", lambda message: page.logged.append(message.text))
        page.on("pageerror", lambda error: page.logged.append(str(error)))
        page.on("request", lambda request: page.asked.append(request.url))
        page.goto(addresses[name])
        return page

    yield open_page
    for context in contexts:
        context.close()


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", PAGES)
def test_a_page_opens_quietly_and_fits(opened, photograph, addresses, name, size):
    page = opened(name, *SIZES[size])
    photograph(page, f"{name}-{size}")
    assert page.logged == []
    assert [url for url in page.asked if url != addresses[name] and not url.startswith("data:")] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0]
    beyond = page.evaluate(
        """() => [...document.querySelectorAll('body *')]
            .filter(e => !e.closest('.scroll *') && !e.closest('.skip'))
            .filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.outerHTML.slice(0, 80))"""
    )
    assert beyond == []


@pytest.mark.parametrize("name", PAGES)
def test_on_paper_nothing_is_cut_off(opened, photograph, name):
    page = opened(name, A4, 1000)
    page.emulate_media(media="print")
    photograph(page, f"{name}-print")
    cut = page.evaluate(
        """() => [...document.querySelectorAll('table, .paper svg, li, .blanks span')]
            .filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.textContent.slice(0, 60))"""
    )
    assert cut == []


@pytest.mark.parametrize("name", PAGES)
def test_words_of_a_figure_lie_inside_it_and_not_on_each_other(opened, name):
    page = opened(name, *SIZES["laptop"])
    outside, met = page.evaluate(
        """() => {
            const outside = [], met = [];
            for (const svg of document.querySelectorAll('figure svg')) {
                const frame = svg.getBoundingClientRect();
                const texts = [...svg.querySelectorAll('text')].filter(text => text.textContent.trim());
                const boxes = texts.map(text => text.getBoundingClientRect());
                texts.forEach((text, i) => {
                    const own = boxes[i];
                    if (own.left < frame.left - 1 || own.right > frame.right + 1 || own.top < frame.top - 1
                        || own.bottom > frame.bottom + 1) outside.push(text.textContent);
                    boxes.slice(i + 1).forEach((other, j) => {
                        if (Math.min(own.right, other.right) - Math.max(own.left, other.left) > 1
                            && Math.min(own.bottom, other.bottom) - Math.max(own.top, other.top) > 4)
                            met.push([text.textContent, texts[i + 1 + j].textContent]);
                    });
                });
            }
            return [outside, met];
        }"""
    )
    assert outside == []
    assert met == []


def test_a_hand_finds_room_on_the_printed_sheet(opened):
    page = opened("verify", A4, 1000)
    page.emulate_media(media="print")
    rooms = page.evaluate(
        "[...document.querySelectorAll('td.blank, .blanks span')].map(e => [e.offsetWidth, e.offsetHeight])"
    )
    assert len(rooms) > 25
    assert min(width for width, _ in rooms) >= 75  # [px] 20 mm, room for a number with its unit: common practice
    assert min(height for _, height in rooms) >= 24  # [px] 6.4 mm, a line of handwriting: common practice


def test_the_printed_sheet_has_few_pages(opened):
    page = opened("verify", *SIZES["laptop"])
    document = page.pdf(format="A4", prefer_css_page_size=True)
    count = len(re.findall(rb"/Type\s*/Page\b", document))
    assert 2 <= count <= 7


def test_a_comparison_is_read_in_some_three_screens(opened):
    """published: the page's own promise; the result, its table and both rows of figures are there before anything is unfolded."""
    page = opened("compare", *SIZES["laptop"])
    assert page.evaluate("document.documentElement.scrollHeight") <= 3.1 * 768
    tops = page.evaluate(
        "[...document.querySelectorAll('#figures figure')].map(e => Math.round(e.getBoundingClientRect().top))"
    )
    assert len(tops) == 4
    assert len(set(tops)) == 2
    assert page.evaluate("document.querySelector('#left table').getBoundingClientRect().bottom") <= 768
