"""The page in a browser: it opens from disk, fits a laptop and a telephone, and can be read without seeing it."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from filterlib.show.review_page.report import write_review
from tests.reviews import reviewed

SIZES = {"laptop": (1366, 768), "telephone": (390, 844)}


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """The page of the demo whose converter has ripple, spikes and a common-mode drive."""
    return written(tmp_path_factory, "brick")


@pytest.fixture(scope="module")
def passing(tmp_path_factory):
    """The page of the demo that meets everything."""
    return written(tmp_path_factory, "clean")


def written(tmp_path_factory, name):
    return write_review(reviewed(name).result, tmp_path_factory.mktemp(name)).as_uri()


@pytest.fixture
def opened(browser, address):
    """A function that opens the page at a size, and what it logged and asked for."""
    contexts = []

    def open_page(width, height, *, at=address, **options):
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        page = context.new_page()
        page.logged, page.asked = [], []
        page.on("console", lambda message: page.logged.append(message.text))
        page.on("pageerror", lambda error: page.logged.append(str(error)))
        page.on("request", lambda request: page.asked.append(request.url))
        page.goto(at)
        return page

    yield open_page
    for context in contexts:
        context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_the_page_opens_quietly_and_fits(opened, photograph, address, size, scheme):
    page = opened(*SIZES[size], color_scheme=scheme)
    photograph(page, f"review-{size}-{scheme}")
    assert page.logged == []
    assert [url for url in page.asked if url != address and not url.startswith("data:")] == []
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= SIZES[size][0]


def unfold(page):
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")


def test_no_element_reaches_beyond_the_page_but_inside_its_own_box(opened):
    page = opened(*SIZES["telephone"])
    unfold(page)
    beyond = page.evaluate(
        """() => [...document.querySelectorAll('body *')]
            .filter(e => !e.closest('.scroll *') && !e.closest('.skip'))
            .filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.outerHTML.slice(0, 80))"""
    )
    assert beyond == []


def test_a_review_is_read_in_a_few_screens_before_anything_is_unfolded(opened, address, passing):
    """published: the page's own promise, three laptop screens where all is met and four where it is not; the verdict in the first."""
    heights = {}
    for at, screens in ((passing, 3), (address, 4)):
        page = opened(*SIZES["laptop"], at=at)
        heights[at] = page.evaluate("document.documentElement.scrollHeight")
        assert heights[at] <= screens * 768
        assert page.evaluate("document.querySelector('#verdict').getBoundingClientRect().bottom") <= 768
        assert page.evaluate("document.querySelectorAll('details[open]').length") == 0


def test_a_failing_page_does_not_look_like_a_passing_one(opened, address, passing):
    looks = []
    for at in (address, passing):
        page = opened(*SIZES["laptop"], at=at)
        box = "getComputedStyle(document.querySelector('.verdict'))"
        looks.append(page.evaluate(f"[{box}.backgroundColor, {box}.borderLeftColor, {box}.borderTopStyle]"))
        assert page.locator(".verdict .sign").inner_text() in ("✗", "✓")
    assert all(one != other for one, other in zip(*looks, strict=True))


def test_it_prints_on_four_pages_with_their_numbers_and_type_that_can_be_read(opened, address, passing):
    """hand: pages are counted in the PDF that the browser prints; a point is 4/3 px."""
    for at in (passing, address):
        page = opened(*SIZES["laptop"], at=at)
        paper = page.pdf(prefer_css_page_size=True)
        assert 1 <= len(re.findall(rb"/Type\s*/Page[^s]", paper)) <= 4
        assert "counter(pages)" in page.content()
        page.emulate_media(media="print")
        smallest = page.evaluate(
            """() => Math.min(...[...document.querySelectorAll('p, li, td, th, pre, summary')].filter(e => e.checkVisibility())
                .map(e => parseFloat(getComputedStyle(e).fontSize)))"""
        )
        assert smallest * 3 / 4 >= 8 - 1e-6
        assert page.locator("#requirements table").is_visible()
        assert not page.locator("#stress table").first.is_visible()


def test_a_figure_answers_the_pointer_and_its_legend_switches_curves(opened):
    page = opened(*SIZES["laptop"])
    figure = page.locator("#verdict figure")
    box = figure.locator("svg").bounding_box()
    page.mouse.move(box["x"] + 0.6 * box["width"], box["y"] + 0.5 * box["height"])
    assert re.search(
        r"\d µs; without filter .*\d [mµ]?V; with filter .*\d [mµ]?V", figure.locator(".read").inner_text()
    )
    button = figure.get_by_role("button", name="without filter")
    button.focus()
    page.keyboard.press("Enter")
    assert button.get_attribute("aria-pressed") == "false"
    assert not figure.locator("g[data-curve='without filter']").is_visible()
    assert figure.locator("g[data-curve='with filter']").is_visible()


def test_a_cause_marks_its_part_in_the_circuit(opened):
    page = opened(*SIZES["laptop"])
    page.locator(".verdict a[data-part='L1']").first.click()
    marked = page.evaluate("[...new Set([...document.querySelectorAll('#circuit .marked')].map(e => e.dataset.part))]")
    assert marked == ["L1"]


def test_without_scripts_the_page_is_whole(opened):
    page = opened(*SIZES["laptop"], java_script_enabled=False)
    assert page.locator("#verdict figure svg").is_visible()
    page.locator("#stress summary").click()
    assert page.locator("#stress table").first.is_visible()


def test_the_figures_follow_a_dark_theme(opened):
    """hand: paper and ink change places."""
    page = opened(*SIZES["laptop"], color_scheme="dark")
    paper, ink = page.evaluate(
        """() => ['#verdict figure svg rect', '#circuit svg text'].map(one => getComputedStyle(document.querySelector(one)).fill)"""
    )
    assert _luminance(_channels(paper)) < 0.05 < 0.5 < _luminance(_channels(ink))


@pytest.mark.parametrize(
    "options", [{}, {"color_scheme": "dark"}, {"forced_colors": "active"}, {"reduced_motion": "reduce"}]
)
def test_axe_finds_nothing(opened, options):
    """published: the rules of axe-core (WCAG 2.1 A and AA, and common practice), everything unfolded."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = opened(*SIZES["laptop"], **options)
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    found = axe.Axe().run(page)
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found.response["violations"]] == []


def test_on_a_laptop_no_figure_has_to_be_scrolled(opened):
    page = opened(*SIZES["laptop"])
    unfold(page)
    cut = page.evaluate(
        """() => [...document.querySelectorAll('.paper')]
            .filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.getAttribute('aria-label'))"""
    )
    assert cut == []


def test_every_word_of_a_figure_lies_inside_it(opened):
    page = opened(*SIZES["laptop"])
    unfold(page)
    outside = page.evaluate(
        """() => [...document.querySelectorAll('figure svg')].flatMap(svg => {
            const box = svg.getBoundingClientRect();
            return [...svg.querySelectorAll('text')].filter(text => {
                const own = text.getBoundingClientRect();
                return own.left < box.left - 1 || own.right > box.right + 1
                    || own.top < box.top - 1 || own.bottom > box.bottom + 1;
            }).map(text => text.textContent);
        })"""
    )
    assert outside == []


def test_no_two_words_of_a_figure_lie_on_each_other(opened):
    page = opened(*SIZES["laptop"])
    unfold(page)
    met = page.evaluate(
        """() => [...document.querySelectorAll('figure svg')].flatMap(svg => {
            const texts = [...svg.querySelectorAll('text')].filter(text => text.textContent.trim());
            const boxes = texts.map(text => text.getBoundingClientRect());
            const meet = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
                && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 4;
            return texts.flatMap((text, i) => texts.slice(i + 1).filter((_, j) => meet(boxes[i], boxes[i + 1 + j]))
                .map(other => [text.textContent, other.textContent]));
        })"""
    )
    assert met == []


def test_words_in_a_figure_are_large_enough_to_read(opened):
    page = opened(*SIZES["laptop"])
    unfold(page)
    smallest = page.evaluate(
        """() => Math.min(...[...document.querySelectorAll('figure svg text')].map(text => {
            const turned = text.getScreenCTM();
            return text.getBBox().height * Math.hypot(turned.a, turned.b);
        }).filter(height => height > 0))"""
    )
    assert smallest >= 11  # [px] height of a line of words: common practice, no source


def test_figures_and_landmarks_have_names(opened):
    page = opened(*SIZES["laptop"])
    unfold(page)
    images = page.get_by_role("img").all()
    assert len(images) >= 12
    assert all(len(image.get_attribute("aria-label")) > 20 for image in images)
    for role in ("main", "banner", "contentinfo"):
        assert page.get_by_role(role).count() == 1, role
    assert page.get_by_role("heading", level=1).count() == 1


def test_headings_go_down_one_level_at_a_time(opened):
    page = opened(*SIZES["laptop"])
    levels = page.evaluate("[...document.querySelectorAll('h1,h2,h3,h4,h5,h6')].map(h => Number(h.tagName[1]))")
    assert levels[0] == 1
    assert max(after - before for before, after in pairwise(levels)) == 1


def test_the_keyboard_reaches_the_verdict_first_and_every_box_that_scrolls(opened):
    page = opened(*SIZES["telephone"])
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the verdict"
    reachable = page.evaluate("[...document.querySelectorAll('.scroll')].every(e => e.tabIndex === 0)")
    assert reachable


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_from_their_ground(opened, scheme):
    """published: W3C, Web Content Accessibility Guidelines 2.1, 2018, 1.4.3: a contrast of 4.5 (from memory)."""
    page = opened(*SIZES["laptop"], color_scheme=scheme)
    unfold(page)
    for selector in (
        "h1",
        ".soft",
        ".verdict .main",
        "td",
        "thead th",
        "figcaption",
        "summary h2",
        "#next a",
        ".verdict .why",
    ):
        pair = page.evaluate(
            """selector => {
                let element = document.querySelector(selector);
                const ink = getComputedStyle(element).color;
                while (element && getComputedStyle(element).backgroundColor === 'rgba(0, 0, 0, 0)')
                    element = element.parentElement;
                return [ink, getComputedStyle(element || document.body).backgroundColor];
            }""",
            selector,
        )
        assert _contrast(*map(_channels, pair)) >= 4.5, (selector, pair)


def _channels(colour):
    return [int(number) for number in colour[colour.index("(") + 1 : -1].split(",")[:3]]


def _contrast(one, two):
    """published: WCAG 2.1, definition of contrast ratio and relative luminance (from memory)."""
    light, dark = sorted((_luminance(one), _luminance(two)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(channels):
    linear = [c / 255 / 12.92 if c / 255 <= 0.03928 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(weight * value for weight, value in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_the_printed_page_leaves_nothing_out_at_the_right(opened, photograph):
    page = opened(*SIZES["laptop"])
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 642, "height": 1000})  # [px] A4 between margins of 20 mm at 96 dpi
    photograph(page, "review-print")
    cut = page.evaluate(
        """() => [...document.querySelectorAll('table, .paper svg')]
            .filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.textContent.slice(0, 60))"""
    )
    assert cut == []
