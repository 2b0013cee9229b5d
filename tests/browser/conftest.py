"""A browser for the tests of this folder: Debian's chromium, driven by playwright."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

REQUIRED = os.environ.get("FILTERLIB_REQUIRE_BROWSER") == "1"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


@pytest.fixture(scope="session")
def browser():
    """Chromium; without one the tests are skipped, unless the environment says that it has to be there."""
    if CHROMIUM is None:
        if REQUIRED:
            pytest.fail("FILTERLIB_REQUIRE_BROWSER=1, and no chromium was found")
        pytest.skip("no chromium was found: install it, or run without the browser tests")
    api = pytest.importorskip("playwright.sync_api") if not REQUIRED else __import__("playwright.sync_api").sync_api
    with api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield started
        started.close()


@pytest.fixture(scope="session")
def photograph():
    """A function that keeps a picture of a page for people: at most its first 8000 px, for a busy browser fails at more.

    Where it fails all the same ("Unable to capture screenshot", seen with two browsers on two cores), it is asked again.
    """
    folder = Path(__file__).parent / "screens"
    folder.mkdir(exist_ok=True)

    def photograph(page, name):
        width, height = page.evaluate("[document.documentElement.clientWidth, document.documentElement.scrollHeight]")
        clip = {"x": 0, "y": 0, "width": width, "height": min(height, 8000)}
        for tries_left in (2, 1, 0):
            try:
                return page.screenshot(path=folder / f"{name}.png", full_page=True, clip=clip)
            except Exception as error:
                if tries_left == 0 or "Unable to capture screenshot" not in str(error):
                    raise

    return photograph
