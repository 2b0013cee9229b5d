"""The pages of a recording, a part, a bench sheet and a comparison in a browser: they fit a laptop, a telephone and paper."""

from __future__ import annotations

import re

import pytest

from filterlib import load_recording
from filterlib.analysis.bench.bench_sheet import bench_sheet
from filterlib.analysis.hold_up.burst_review import bursts
from filterlib.analysis.linear.part_curves import examine
from filterlib.analysis.review import compare
from filterlib.bench.answers.answer import bench as compared
from filterlib.bench.answers.answers_result import Capture
from filterlib.bench.answers.explanation import explain
from filterlib.bench.capture.harmonics import harmonics
from filterlib.bench.capture.measurement import measure
from filterlib.parts.tables import data_folder, find_part, standard_tables
from filterlib.show.bank.bank_page import write_bank
from filterlib.show.bench_page.answer_page import write_answers
from filterlib.show.compare_page.compare import write_comparison
from filterlib.show.keys.key_page import key_html
from filterlib.show.part_page.part import write_part
from filterlib.show.recording.recording_page import write_recording
from filterlib.show.verify import write_sheet
from filterlib.system.inside.rating import ConverterRating
from filterlib.system.line.profile import Profile
from tests.browser.looks import axe_finds, beyond, words_that_collide
from tests.browser.test_review_page import SIZES
from tests.reviews import demo, review_kept

PAGES = ("recording", "part", "verify", "compare", "bank", "keys", "bench")
LOOKS = ({}, {"color_scheme": "dark"}, {"forced_colors": "active"})
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
    carrying = bursting()
    (folder / "keys.html").write_text(key_html(), encoding="utf-8")
    return {
        "recording": write_recording(found, harmonics(found), folder / "recording").as_uri(),
        "part": write_part(examine(part), folder / "part").as_uri(),
        "compare": write_comparison(both, folder / "compare").as_uri(),
        "verify": write_sheet(sheet, folder / "verify").as_uri(),
        "bank": write_bank(carrying, bursts(carrying), folder / "bank").as_uri(),
        "bench": answers("clean", "modem-bridged", folder / "bench"),
        "keys": (folder / "keys.html").as_uri(),
    }


def answers(name, after, folder):
    """The page of a demonstration's captures: at its terminals, and behind its filter."""
    captures = [str(data_folder() / "recordings" / f"{name}-{place}.csv") for place in ("terminals", after)]
    design = data_folder() / "designs" / f"tide-gauge-{name}.toml"
    answered = compared(design, before=captures[0], after=[Capture(captures[1])])
    return write_answers(answered, explain(answered), folder).as_uri()


def bursting():
    """The clean demonstration with a modem that draws in bursts, and a converter that needs a bank for them."""
    clean = demo("clean")
    profile = Profile(idle="15 %", burst="5 ms", period="2 s", lowest_voltage="22 V")
    loads = tuple(one.replace(profile=profile) if one.name == "modem" else one for one in clean.loads)
    return clean.replace(loads=loads, converter=clean.converter.replace(rating=ConverterRating(output_current="3 A")))


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
    assert beyond(page) == []


@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_nothing_and_nothing_moves_by_itself(opened, name):
    """Everything unfolded: light, dark and forced colours, and with motion reduced."""
    page = opened(name, *SIZES["laptop"], reduced_motion="reduce")
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    for look in LOOKS:
        page.emulate_media(**look)
        assert axe_finds(page) == [], look
        if name == "keys":  # sixty sections alike: two of them tell as much of the other colours
            page.evaluate("[...document.querySelectorAll('table')].slice(2).forEach(one => one.remove())")
    assert page.evaluate("document.getAnimations().length") == 0


@pytest.mark.parametrize("name", PAGES)
def test_the_keyboard_reaches_every_link_fold_and_box_that_scrolls(opened, name):
    page = opened(name, *SIZES["telephone"])
    wanted = page.evaluate(
        """() => { let count = 0;
            for (const e of document.querySelectorAll('a[href], summary, button, input, .scroll'))
                if (e.checkVisibility() && !e.disabled) { e.dataset.wanted = count++; }
            return count; }"""
    )
    reached = set()
    for _ in range(min(wanted, 60)):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.dataset.wanted"))
    assert len(reached - {None}) >= min(wanted, 60) - 1


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
    outside, met = words_that_collide(page)
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


@pytest.mark.parametrize("name", ["clean", "brick", "faulty"])
def test_what_the_bench_says_is_read_in_two_screens(opened, addresses, tmp_path, name):
    """published: the page's own promise, before anything is unfolded: readings and what explains them in the first, all else in the second."""
    if name != "faulty":
        addresses[name] = answers(name, "modem", tmp_path / name)
    page = opened("bench" if name == "faulty" else name, *SIZES["laptop"])
    assert page.evaluate("document.documentElement.scrollHeight") <= 2 * 768
    assert page.evaluate("document.querySelector('#explained').getBoundingClientRect().bottom") <= 768
    assert "Measure next" not in page.inner_text("main") or page.locator("#explained table").count() == 2
