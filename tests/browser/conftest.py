"""A real Chromium at the sizes and in the colours that people use."""

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, sync_playwright

_SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def _chromium_path() -> str | None:
    found = (shutil.which(name) for name in ("chromium", "chromium-browser", "google-chrome"))
    return next((path for path in found if path), None)


@dataclass
class Visit:
    """A page in a browser, with everything it complained about."""

    page: Page
    complaints: list[str] = field(default_factory=list)

    def note(self, message: ConsoleMessage) -> None:
        if message.type in {"error", "warning"}:
            self.complaints.append(f"{message.type}: {message.text}")

    @property
    def sideways_px(self) -> int:
        """How far the page can be scrolled sideways."""
        root = "document.documentElement"
        return int(self.page.evaluate(f"{root}.scrollWidth - {root}.clientWidth"))


@pytest.fixture
def chromium(monkeypatch: pytest.MonkeyPatch) -> Iterator[Browser]:
    """One browser for one test; where the machine has none the test is skipped and says so."""
    path = _chromium_path()
    if path is None:
        pytest.skip("this machine has no Chromium; install the package chromium")
    # The driver keeps an event loop in this thread, in which Django would refuse the test's own queries.
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=_SWITCHES)
        yield browser
        browser.close()


@pytest.fixture
def visit(chromium: Browser) -> Callable[..., Visit]:
    """Opens a page of a size and a colour scheme."""

    def opened(width_px: int, scheme: str, **options: Any) -> Visit:
        sized = {"width": width_px, "height": 844 if width_px < 600 else 900}
        context = chromium.new_context(viewport=sized, color_scheme=scheme, **options)
        visit = Visit(context.new_page())
        visit.page.on("console", visit.note)
        visit.page.on("pageerror", lambda error: visit.complaints.append(str(error)))
        visit.page.on("requestfailed", lambda request: visit.complaints.append(f"failed: {request.url}"))
        return visit

    return opened
