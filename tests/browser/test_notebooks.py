"""Every notebook in JupyterLab, in a real browser: all cells run, every slider by its name and the keyboard, every button."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from filterlib import load_design
from filterlib.preferred import nearest_preferred
from filterlib.units import quantity
from tests.browser.lab import ANSWER, LAPTOP, ROOT, bring_up, errors, open_and_run, server, shut_down, use_theme

SCREENS = Path(__file__).parent / "screens"
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


@pytest.fixture(scope="module")
def lab(browser, tmp_path_factory):
    """JupyterLab on copies of the notebooks: folder and address; only where there is a browser."""
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
    yield page
    context.close()


@pytest.mark.parametrize("notebook", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_does_what_it_promises(page, lab, notebook):
    folder, address = lab
    open_and_run(page, address, notebook.name)
    assert errors(page) == []
    fits(page)
    panels = page.locator(".fl-panel").all()
    for number, panel in enumerate(panels):
        bring_up(page, number)
        sliders(page, panel)
        choices(page, panel)
        rests(page, panel)
        buttons(page, panel, folder)
    screenshots(page, notebook.stem, len(panels))
    fits(page)
    shut_down(page)
    assert page.logged == []


def picture(panel):
    return panel.locator(".fl-picture").get_attribute("src")


def readings(panel):
    return panel.locator(".fl-now").inner_text()


def until(page, condition, *given):
    """Wait until a condition on the page holds; the condition is JavaScript of one argument, an array."""
    page.wait_for_function(condition, arg=list(given), timeout=ANSWER)


def told(page, panel, words):
    """Wait until the panel says something below its buttons."""
    note = "([panel, words]) => panel.querySelector('.fl-note[role=status]').textContent.includes(words)"
    until(page, note, panel.element_handle(), words)


def changes(page, panel, act, *, numbers=False):
    """Do something and wait until the panel's picture is another one, and with ``numbers`` its readings too."""
    element = panel.element_handle()
    before, read = picture(panel), readings(panel)
    act()
    until(page, "([panel, before]) => panel.querySelector('.fl-picture').src !== before", element, before)
    if numbers:
        until(page, "([panel, read]) => panel.querySelector('.fl-now').innerText !== read", element, read)


def back(page, panel):
    """To the start, and wait until every control stands there."""
    panel.get_by_role("button", name="Back to start").click()
    told(page, panel, "at the start")


def sliders(page, panel):
    """Each focused by its accessible name: one key changes its value and the picture, one the numbers."""
    names = panel.locator("label").all_inner_texts()
    assert len(names) == len(set(names))
    for slider in panel.get_by_role("slider").all():
        name = slider.evaluate("one => one.labels[0].textContent")
        named = panel.get_by_label(name, exact=True)
        named.focus()
        assert page.evaluate("document.activeElement === document.querySelector(`#${document.activeElement.id}`)")
        text = named.get_attribute("aria-valuetext")
        assert text == panel.locator(f"output[for='{named.get_attribute('id')}']").inner_text()
        last = named.input_value() == named.get_attribute("max")
        changes(page, panel, lambda last=last: page.keyboard.press("ArrowLeft" if last else "ArrowRight"))
        assert named.get_attribute("aria-valuetext") != text
        changes(page, panel, lambda last=last: page.keyboard.press("Home" if last else "End"), numbers=True)
        assert panel.locator(".fl-error").inner_text() == ""
        back(page, panel)
        assert named.get_attribute("aria-valuetext") == text


def choices(page, panel):
    """Each takes another option by the keyboard alone."""
    for choice in panel.get_by_role("combobox").all():
        named = panel.get_by_label(choice.evaluate("one => one.labels[0].textContent"), exact=True)
        named.focus()
        at = int(named.input_value())
        changes(page, panel, lambda at=at: page.keyboard.press("ArrowUp" if at else "ArrowDown"))
        back(page, panel)


def rests(page, panel):
    """What takes longer comes when the sliders rest, and is drawn in."""
    before = picture(panel)
    if "a moment later" in panel.inner_text():
        until(page, "([panel]) => !panel.innerText.includes('a moment later')", panel.element_handle())
        assert picture(panel) != before
        assert panel.locator(".fl-verdict").count() >= 1


def buttons(page, panel, folder):
    """Each does what stands on it."""
    first = panel.get_by_role("slider").first
    changes(page, panel, panel.get_by_role("button", name="Keep as reference").click)
    first.focus()
    changes(page, panel, lambda: page.keyboard.press("PageUp"))
    assert "kept 1" in panel.locator(".fl-numbers").inner_text()
    changes(page, panel, panel.get_by_role("button", name="Forget kept").click)
    assert "kept 1" not in panel.locator(".fl-numbers").inner_text()
    snaps(page, panel)
    saved = press_and_read(page, panel, "Save figure", ".svg")
    figure = folder / saved.split()[2]
    assert "<svg" in figure.read_text(encoding="utf-8")
    assert figure.with_suffix(".png").read_bytes().startswith(b"\x89PNG")
    if panel.get_by_role("button", name="Save design file").is_visible():
        design = folder / press_and_read(page, panel, "Save design file", ".toml").split()[2].rstrip(";")
        load_design(design)
        reviewed(design, folder / f"{design.stem}-review")
    back(page, panel)


def snaps(page, panel):
    """The last moved slider goes to a preferred value, and where there is one to a part."""
    for slider in panel.get_by_role("slider").all():
        if slider.get_attribute("aria-valuetext").endswith(("F", "H", "Ω")):
            break
    else:
        return
    slider.focus()
    changes(page, panel, lambda: page.keyboard.press("ArrowRight"))
    panel.locator(".fl-snaps button").first.wait_for()
    for series in ("E12", "E24"):
        panel.locator(".fl-snaps").get_by_role("button", name=series).click()
        told(page, panel, f"nearest {series}")
        text = slider.get_attribute("aria-valuetext")
        value = quantity(text, {"F": "F", "H": "H", "Ω": "ohm"}[text[-1]])
        assert value == pytest.approx(nearest_preferred(value, series), rel=1e-9, abs=0)
    back(page, panel)


def press_and_read(page, panel, name, words):
    """Press a button and wait for what is said below."""
    panel.get_by_role("button", name=name).click()
    told(page, panel, words)
    return panel.locator(".fl-note[role=status]").inner_text()


def reviewed(design, out):
    """The command line takes the saved file: its page is written, whatever the verdict."""
    command = [sys.executable, "-m", "filterlib.cli", "review", str(design), "--out", str(out)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode in (0, 1), done.stderr
    assert (out / "review.html").exists()


def fits(page):
    """Nothing reaches beyond the window, or beyond its own cell."""
    assert page.evaluate("document.documentElement.scrollWidth") <= LAPTOP["width"]
    wide = page.evaluate(
        """() => [...document.querySelectorAll('.fl-panel, .jp-OutputArea-output, .jp-RenderedMarkdown')]
            .filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.className + ': ' + one.textContent.slice(0, 80))"""
    )
    assert wide == []


def screenshots(page, name, panels):
    """Every panel, light and dark, kept for whoever looks."""
    SCREENS.mkdir(exist_ok=True)
    for look in ("Light", "Dark"):
        if look == "Dark":
            use_theme(page, "JupyterLab Dark")
        for number in range(panels):
            bring_up(page, number)
            rests(page, page.locator(".fl-panel").nth(number))
            page.screenshot(path=SCREENS / f"{name}-{number + 1}-{look.lower()}.png")
    use_theme(page, "JupyterLab Light") if panels else None
