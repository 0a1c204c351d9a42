"""The system's Chromium for tests, with the network cut and every request written down."""

from contextlib import contextmanager

import pytest

from edgekit.clinic.sheet.paper import BROWSERS, browser
from lesson.course import LAUNCH


def chromium():
    """A browser, as a generator for a fixture; skips with the reason where there is none."""
    path = browser()
    if path is None:
        pytest.skip(f"no browser: none of {', '.join(BROWSERS)} is installed; lessons not opened")
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as driver:
        window = driver.chromium.launch(executable_path=path, args=LAUNCH)
        yield window
        window.close()


@contextmanager
def offline(browser, width=1200, also="file:"):
    """A page that reaches files and the address `also` only.

    ``page.asked`` lists what else it wanted, and the errors of its scripts.
    """
    context = browser.new_context(viewport={"width": width, "height": 900})
    asked = []

    def allow(route):
        if route.request.url.startswith(("file:", "data:", "blob:", also)):
            route.continue_()
        else:
            asked.append(route.request.url)
            route.abort()

    context.route("**/*", allow)
    page = context.new_page()
    page.asked = asked
    page.on("pageerror", lambda error: asked.append(f"error: {error}"))
    yield page
    context.close()
