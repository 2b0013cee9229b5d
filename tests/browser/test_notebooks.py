"""Every notebook in JupyterLab, in a real browser: all cells run, every panel answers a key; the third one does all that a panel can."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from filterlib import load_design
from tests.browser.lab import (
    ANSWER,
    LAPTOP,
    PATIENCE,
    ROOT,
    begin_to_run,
    bring_up,
    errors,
    open_and_run,
    server,
    server_log,
    shut_down,
    use_theme,
)
from tests.browser.looks import axe_finds, words_that_collide

SCREENS = Path(__file__).parent / "screens"
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
PI = ROOT / "notebooks" / "03-exploring-the-pi-filter.ipynb"
LONGEST = ROOT / "notebooks" / "05-from-sliders-to-a-design-review.ipynb"
OPEN = (("06", 1), ("09", 0), ("13", 0))  # panels whose start answers nothing, as that of the pi filter
DARK = ("06", "08")  # notebooks whose panels are asked on dark ground too, beside the one of the pi filter


@pytest.fixture(scope="module")
def lab(browser, tmp_path_factory):
    """JupyterLab on copies of the notebooks: folder and address; only where there is a browser."""
    SCREENS.mkdir(exist_ok=True)
    folder = tmp_path_factory.mktemp("lab") / "notebooks"
    shutil.copytree(ROOT / "notebooks", folder)
    with server(folder) as address:
        yield folder, address


@pytest.fixture
def page(browser):
    """An empty page of a laptop's size, and what it logged."""
    context = browser.new_context(viewport=LAPTOP)
    page = context.new_page()
    page.set_default_timeout(ANSWER)
    page.logged = []
    page.on("console", lambda message: page.logged.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: page.logged.append(str(error)))
    page.on("response", lambda one: page.logged.append(f"HTTP {one.status} {one.url}") if one.status >= 500 else None)
    yield page
    context.close()


@pytest.mark.parametrize("notebook", [one for one in NOTEBOOKS if one != PI], ids=lambda path: path.stem)
def test_a_notebook_runs_and_its_panels_answer(page, lab, notebook):
    open_and_run(page, lab[1], notebook.name)
    assert errors(page) == []
    panels = page.locator(".fl-panel").all()
    for number, panel in enumerate(panels):
        bring_up(page, number)
        names = panel.locator("label").all_text_contents()  # those that are folded away too
        assert len(names) == len(set(names))
        waits_for_the_guess(panel, (notebook.stem[:2], number) not in OPEN)
        slider = panel.get_by_role("slider").first
        changes(page, panel, lambda slider=slider: slider.press("ArrowRight"))
        assert panel.locator(".fl-error").inner_text() == ""
        panel.locator(".fl-picture").wait_for(state="visible")
        looks_right(page, panel)
        page.screenshot(path=SCREENS / f"{notebook.stem}-{number + 1}.png")
    fits(page)
    if notebook.stem[:2] in DARK:
        use_theme(page, "JupyterLab Dark")
        for number in range(len(panels)):
            bring_up(page, number)
            assert axe_finds(page, f"[data-asked='{number}']") == []
        use_theme(page, "JupyterLab Light")  # the server keeps it for the next notebook
    shut_down(page)
    assert page.logged == [], server_log(lab[0])


def waits_for_the_guess(panel, covered):
    """Before the guess neither picture nor numbers can be seen, or read out, where they answer it."""
    numbers = panel.locator(".fl-now td").all_inner_texts()
    assert (set(numbers) == {"?"}) == covered
    assert panel.locator(".fl-picture").is_hidden() == covered
    assert (panel.locator(".fl-picture").get_attribute("alt") == "") == covered
    assert panel.locator(".fl-cover").is_visible() == covered


def test_a_key_is_answered_while_later_cells_are_still_computed(page, lab):
    """The first press comes as soon as the panel is shown; the cells behind it review a design for seconds."""
    begin_to_run(page, lab[1], LONGEST.name)
    panel = page.locator(".fl-panel").first
    panel.locator(".fl-picture").wait_for(state="attached", timeout=PATIENCE)
    before = picture(panel)
    panel.evaluate(
        """one => { const slider = one.querySelector('input[type=range]');
            slider.value = Number(slider.value) + 1; slider.dispatchEvent(new Event('input')); }"""
    )
    until(
        page, "([panel, before]) => panel.querySelector('.fl-picture').src !== before", panel.element_handle(), before
    )
    left = page.evaluate(
        """() => window.jupyterapp.shell.currentWidget.content.widgets
            .filter(cell => cell.model.type === 'code').filter(cell => !cell.model.executionCount).length"""
    )
    cells = page.evaluate(
        "() => window.jupyterapp.shell.currentWidget.content.widgets.filter(cell => cell.model.type === 'code').length"
    )
    shut_down(page)
    assert left == cells - 1  # the review behind the panel's cell was still at work


def looks_right(page, panel):
    """axe finds nothing, everything unfolded; words of the circuit keep apart; what is large comes first by the keyboard."""
    number = page.evaluate("one => [...document.querySelectorAll('.fl-panel')].indexOf(one)", panel.element_handle())
    panel.evaluate(
        "(one, number) => { one.dataset.asked = number; one.querySelectorAll('details').forEach(d => { d.open = true; }); }",
        number,
    )
    assert axe_finds(page, f"[data-asked='{number}']") == []
    assert words_that_collide(page, f"[data-asked='{number}'] .fl-circuit") == [[], []]
    order = panel.evaluate(
        """one => [...one.querySelectorAll('input, select, button, summary, [tabindex]')]
            .filter(e => !e.disabled && !e.hidden && e.tabIndex >= 0).map(e => e.tagName + (e.className.baseVal ?? e.className))"""
    )
    panel.evaluate("one => one.querySelector('button, [tabindex], input, select').focus()")
    for _ in order[1:]:
        page.keyboard.press("Tab")
    assert panel.evaluate("one => one.contains(document.activeElement)")
    assert panel.evaluate("one => one.getAnimations({ subtree: true }).length") == 0
    panel.evaluate("one => one.querySelectorAll('details').forEach(d => { d.open = false; })")


def test_the_panel_of_the_pi_filter_by_keyboard_and_pointer(page, lab):
    """One kernel for all that a panel does."""
    folder, address = lab
    open_and_run(page, address, PI.name)
    assert errors(page) == []
    panel = page.locator(".fl-panel").first
    on_the_first_screen(page, panel)
    guessed(panel)
    nothing_moves_below_the_pointer(page, panel)
    typed(page, panel)
    from_the_circuit(page, panel)
    tried(page, panel)
    kept(page, panel)
    unfolded(page, panel)
    saved(page, panel, folder)
    page.screenshot(path=SCREENS / f"{PI.stem}-light.png")
    use_theme(page, "JupyterLab Dark")
    bring_up(page, 0)
    page.screenshot(path=SCREENS / f"{PI.stem}-dark.png")
    assert axe_finds(page, ".fl-panel") == []
    use_theme(page, "JupyterLab Light")
    fits(page)
    shut_down(page)
    assert page.logged == []


def on_the_first_screen(page, panel):
    """Picture, numbers, circuit and the large controls, before anything is scrolled."""
    page.evaluate("() => window.jupyterapp.shell.currentWidget.content.scrollToItem(0, 'start')")
    panel.wait_for(state="visible")
    low = page.evaluate(
        "document.querySelector('.jp-StatusBar-Widget, #jp-main-statusbar').getBoundingClientRect().top"
    )
    for part in (".fl-picture", ".fl-now", ".fl-circuit", ".fl-main .fl-row:last-child"):
        box = panel.locator(part).first.bounding_box()
        assert box["y"] + box["height"] <= low, part
    assert panel.get_by_role("slider").count() == 3  # the others are folded
    page.screenshot(path=SCREENS / f"{PI.stem}-first.png")


def guessed(panel):
    """The guess is kept in words, and none is called right."""
    panel.locator(".fl-guess button").first.click()
    assert "You guessed: C1." in panel.locator(".fl-guess").inner_text()


def nothing_moves_below_the_pointer(page, panel):
    """A slider is where it was, whatever the panel says."""
    slider = panel.get_by_label("C2 capacitance", exact=True)
    place = "one => one.getBoundingClientRect().top - one.closest('.fl-panel').getBoundingClientRect().top"
    before = slider.evaluate(place)
    changes(page, panel, lambda: slider.press("PageUp"))
    until(page, "([panel]) => !panel.innerText.includes('a moment later')", panel.element_handle())
    assert panel.locator(".fl-verdict").count() >= 1
    assert slider.evaluate(place) == before
    back(page, panel)


def typed(page, panel):
    """A value that is typed is taken, one that cannot be is refused in words, and undo takes one back."""
    value = panel.get_by_label("type C1 capacitance")
    value.fill("4u7")
    value.press("Enter")
    until(page, "([panel]) => panel.querySelector('input').ariaValueText === '4.7 µF'", panel.element_handle())
    value.fill("5 mH")
    value.press("Enter")
    until(
        page,
        "([panel]) => panel.querySelector('.fl-error').textContent.includes('capacitance')",
        panel.element_handle(),
    )
    assert panel.get_by_label("C1 capacitance", exact=True).get_attribute("aria-valuetext") == "4.7 µF"
    panel.get_by_role("button", name="Undo").click()
    told(page, panel, "undone")
    assert panel.get_by_label("C1 capacitance", exact=True).get_attribute("aria-valuetext") == "2.2 µF"


def from_the_circuit(page, panel):
    """A part leads to its slider, is marked while it moves, and has its value."""
    panel.get_by_role("button", name="L1: to its slider").press("Enter")
    assert page.evaluate("document.activeElement.dataset.name") == "filter.L1.loop_leakage"
    changes(page, panel, lambda: page.keyboard.press("ArrowRight"))
    part = panel.locator(".fl-moved")
    value = panel.get_by_label("L1 leakage", exact=True).get_attribute("aria-valuetext")
    assert part.locator("text").all_text_contents() == ["L1", value]
    back(page, panel)


def tried(page, panel):
    """Ticked when the slider is there; what it explains is not on the page before."""
    assert "hardly anything" not in panel.inner_text()
    value = panel.get_by_label("type C1 capacitance")
    value.fill("22 uF")
    value.press("Enter")
    until(page, "([panel]) => panel.innerText.includes('hardly anything')", panel.element_handle())
    back(page, panel)
    assert panel.locator(".fl-done").count() == 1


def kept(page, panel):
    """A reference has its range."""
    panel.get_by_role("button", name="Keep as reference").click()
    told(page, panel, "kept 1")
    assert " to " in panel.locator(".fl-kept").inner_text()
    panel.get_by_role("button", name="Forget kept").click()
    told(page, panel, "nothing is kept")
    assert not panel.locator(".fl-kept").is_visible()


def unfolded(page, panel):
    """No alarm where nothing is unstable; the other controls unfold, each with a name of its own."""
    panel.locator("summary").click()
    assert not panel.locator(".fl-alarm").is_visible()
    assert panel.get_by_role("slider").count() > 10
    names = panel.locator("label").all_text_contents()  # those that are folded away too
    assert len(names) == len(set(names))


def saved(page, panel, folder):
    """The saved design is read, and is the one on the sliders."""
    panel.get_by_role("button", name="Save design file").click()
    told(page, panel, ".toml")
    note = panel.locator(".fl-note[role=status]")
    assert load_design(folder / note.text_content().split()[2].rstrip(";")).name.endswith("from the sliders")
    for width in range(300, 900, 50):
        panel.locator(".fl-said").evaluate("(one, width) => { one.style.maxWidth = `${width}px`; }", width)
        assert within_a_line(note, "--out"), width


def within_a_line(note, word):
    """Whether a word of a text is in one line: a command that ends a line with "--" is read wrongly."""
    return note.evaluate(
        """(one, word) => {
            const words = document.createTreeWalker(one, NodeFilter.SHOW_TEXT), range = document.createRange();
            while (words.nextNode()) {
                const at = words.currentNode.textContent.indexOf(word);
                if (at < 0) continue;
                range.setStart(words.currentNode, at);
                range.setEnd(words.currentNode, at + word.length);
                return range.getClientRects().length === 1;
            }
        }""",
        word,
    )


def picture(panel):
    return panel.locator(".fl-picture").get_attribute("src")


def until(page, condition, *given):
    """Wait until a condition on the page holds; the condition is JavaScript of one argument, an array."""
    page.wait_for_function(condition, arg=list(given), timeout=ANSWER)


def told(page, panel, words):
    """Wait until the panel says something below its buttons."""
    note = "([panel, words]) => panel.querySelector('.fl-note[role=status]').textContent.includes(words)"
    until(page, note, panel.element_handle(), words)


def changes(page, panel, act):
    """Do something and wait until the panel's picture is another one."""
    element, before = panel.element_handle(), picture(panel)
    act()
    until(page, "([panel, before]) => panel.querySelector('.fl-picture').src !== before", element, before)


def back(page, panel):
    """To the start, and wait until every control is there."""
    panel.get_by_role("button", name="Back to start").click()
    told(page, panel, "at the start")


def fits(page):
    """Nothing reaches beyond the window, or beyond its own cell."""
    assert page.evaluate("document.documentElement.scrollWidth") <= LAPTOP["width"]
    wide = page.evaluate(
        """() => [...document.querySelectorAll('.fl-panel, .jp-OutputArea-output, .jp-RenderedMarkdown')]
            .filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.className + ': ' + one.textContent.slice(0, 80))"""
    )
    assert wide == []
