"""A browser for the tests of this folder: Debian's chromium, driven by playwright."""

from __future__ import annotations

import os
import shutil

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
