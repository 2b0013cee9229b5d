"""Notebook 3's panel in JupyterLab and a real browser, beside the usual way in the same run; and where its kernel's time goes."""

from __future__ import annotations

import tempfile
import time
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

import nbformat

from filterlib.show.explore.pi_filter import pi_panel
from tests.benchmarks.engine import Row
from tests.browser.conftest import ARGUMENTS, CHROMIUM
from tests.browser.lab import ANSWER, LAPTOP, bring_up, open_and_run, server, shut_down

PRESSES, ROUNDS = 40, 4  # of each way, in turns: what else a machine does meanwhile meets both alike
BURST, SPAN = 60, 2.0  # presses, in seconds
SLIDER = "filter.C1.capacitance"
USUAL, PANEL = ".noUi-handle", ".fl-panel"
SLIDERS = {USUAL: USUAL, PANEL: f"input[type=range][data-name='{SLIDER}']"}
CELLS = (
    "%matplotlib inline\nfrom filterlib.show.explore.pi_filter import pi_panel\nfrom tests.benchmarks.naive import naive",
    "naive()",
    "pi_panel()",
)
WATCH = """() => {
    window.shown = 0; window.pressed = 0; window.times = [];
    const seen = () => { if (window.pressed) { window.times.push(performance.now() - window.pressed); window.pressed = 0; } };
    document.addEventListener('keydown', () => { window.pressed = performance.now(); }, true);
    document.addEventListener('load', event => { if (event.target.tagName === 'IMG') seen(); }, true);
}"""


def rows() -> list[Row]:
    """Every row; those of the browser only where there is one."""
    return [*kernel(), *(browser() if CHROMIUM else [])]


def kernel() -> list[Row]:
    """Time [s] of one update in the kernel, split; the median of `PRESSES` moves of one slider after one of each."""
    panel = pi_panel()
    values = panel.state.controls[SLIDER].values[20 : 20 + PRESSES]
    split: dict[str, list[float]] = {"compute": [], "draw": [], "encode": []}
    for value in (*values, *values):
        design = panel.state.design({SLIDER: value})
        marks = [time.perf_counter()]
        result = panel.calculation.compute(design)
        marks.append(time.perf_counter())
        panel.picture.put(result)
        panel.picture.draw()
        marks.append(time.perf_counter())
        panel.picture.png()
        marks.append(time.perf_counter())
        for name, (begun, ended) in zip(split, pairwise(marks), strict=True):
            split[name].append(ended - begun)
    middle = {name: median(times[PRESSES:]) for name, times in split.items()}
    whole = sum(middle.values())
    aims = {"compute": "under 6 ms", "draw": "", "encode": "under 8 ms"}
    return [Row(f"panel of notebook 3, in the kernel: {name}", t, t / whole, aims[name]) for name, t in middle.items()]


def browser() -> list[Row]:
    """Key press to changed picture [s], and from the last of many presses to the last value."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        notebooks = Path(folder) / "notebooks"
        notebooks.mkdir()
        book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell) for cell in CELLS])
        book.metadata.kernelspec = {"name": "python3", "display_name": "Python 3", "language": "python"}
        nbformat.write(book, notebooks / "speed.ipynb")
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        with server(notebooks) as address:
            page = chromium.new_page(viewport=LAPTOP)
            page.set_default_timeout(ANSWER)
            open_and_run(page, address, "speed.ipynb")
            page.evaluate(WATCH)
            times: dict[str, list[float]] = {USUAL: [], PANEL: []}
            for _ in range(ROUNDS):
                for what, found in times.items():
                    bring_up(page, 0, what)
                    found += _presses(page, page.locator(SLIDERS[what]).first)
            usual, ours = (median(found) for found in times.values())
            last = _burst(page, page.locator(SLIDERS[PANEL]).first)
            shut_down(page)
        chromium.close()
    return [
        Row("key press to changed picture, a new figure in an Output widget", usual, 1.0, ""),
        Row("key press to changed picture, panel of notebook 3, beside that", ours, ours / usual, "a seventh; 60 ms"),
        Row(f"{BURST} presses in {SPAN:g} s: from the last to its picture", last, last / ours, "under 250 ms"),
    ]


def _presses(page: Any, slider: Any) -> list[float]:
    """Times [s] from a key press to the picture that follows."""
    slider.focus()
    page.evaluate("() => { window.times = []; }")
    for number in range(PRESSES // ROUNDS):
        page.keyboard.press("ArrowRight")
        page.wait_for_function("count => window.times.length > count", arg=number, timeout=ANSWER)
    return [one / 1e3 for one in page.evaluate("() => window.times")]


def _burst(page: Any, slider: Any) -> float:
    """Time [s] from the last of many quick presses to the picture of the last value."""
    slider.focus()
    page.keyboard.press("Home")
    page.wait_for_timeout(1000)
    begun = time.perf_counter()
    for number in range(BURST):
        page.keyboard.press("ArrowRight")
        time.sleep(max(0.0, begun + (number + 1) * SPAN / BURST - time.perf_counter()))
    return (
        page.evaluate(
            """async name => {
            const panel = document.querySelector('.fl-panel'), begun = window.pressed || performance.now();
            const wanted = Number(panel.querySelector(`input[data-name='${name}']`).value);
            while (JSON.parse(panel.dataset.places)[name] !== wanted || !panel.querySelector('img').complete)
                await new Promise(next => requestAnimationFrame(next));
            return performance.now() - begun;
        }""",
            SLIDER,
        )
        / 1e3
    )
