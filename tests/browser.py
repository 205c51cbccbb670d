"""A real browser without a network, for tests of the pages that people open: errors, prints, pictures.

The browser is the system's own Chromium or Chrome (on Debian: `apt-get install chromium`); nothing is downloaded.
"""

import io
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route, sync_playwright
from pypdf import PdfReader

NEED = "ODDPLATE_NEED_BROWSER"
"""Set to 1 where a missing browser must fail the tests instead of skipping them."""

_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")


@dataclass(kw_only=True)
class Opened:
    """A page that stands open, and all that it complained of: scripts, console, requests for anything but itself."""

    page: Page
    complaints: list[str] = field(default_factory=list)

    def pages_printed(self) -> int:
        """How many sheets of paper it prints on, in the size that its own style asks for."""
        return len(PdfReader(io.BytesIO(self.pdf())).pages)

    def pdf(self) -> bytes:
        """The page as printed."""
        return self.page.pdf(prefer_css_page_size=True, print_background=True)

    def screenshot(self, path: Path) -> None:
        """Write a picture of the whole page."""
        self.page.screenshot(path=path, full_page=True)


@contextmanager
def opened(path: Path, *, width: int = 1280, height: int = 900, within: Browser | None = None) -> Iterator[Opened]:
    """Open an HTML file with the network cut off; skips the test where there is no browser.

    Starting one takes seconds: tests that open several pages start it once and give it as `within`.
    """
    with nullcontext(within) if within else browser() as found:
        context = found.new_context(viewport={"width": width, "height": height}, offline=True)
        seen = Opened(page=context.new_page())
        _listen(seen, path.resolve().as_uri())
        seen.page.goto(path.resolve().as_uri(), wait_until="load")
        yield seen
        context.close()


@contextmanager
def browser() -> Iterator[Browser]:
    """Start a headless browser; skip the test where there is none, or fail where one is needed."""
    where = _executable()
    with sync_playwright() as driver:
        # Chromium refuses its sandbox to root, which is who runs tests in most containers.
        started = driver.chromium.launch(executable_path=where, chromium_sandbox=False)
        try:
            yield started
        finally:
            started.close()


def _executable() -> str:
    found = next(filter(None, map(shutil.which, _NAMES)), None)
    if found is not None:
        return found
    told = f"no browser: none of {', '.join(_NAMES)} is on the path; on Debian: apt-get install chromium"
    if os.environ.get(NEED) == "1":
        pytest.fail(told)
    pytest.skip(told)


def _listen(seen: Opened, own: str) -> None:
    """Write down every error, every message of the console and every request, but for the file and what is in it."""

    def look(route: Route) -> None:
        url = route.request.url
        if url == own or url.startswith(("data:", "blob:")):
            route.continue_()
            return
        seen.complaints.append(f"asks for {url}")
        route.abort()

    seen.page.route("**/*", look)
    seen.page.on("pageerror", lambda error: seen.complaints.append(f"error: {error}"))
    seen.page.on("console", lambda said: seen.complaints.append(f"{said.type}: {said.text}"))
    seen.page.on("crash", lambda _: seen.complaints.append("the page crashed"))
