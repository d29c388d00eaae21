"""A written site and a browser that reaches no network."""

from __future__ import annotations

import importlib.util
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from dashboards.site import build_site

SAMPLE = Path(__file__).parents[1] / "unit" / "dashboards" / "page_sample.py"
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


@pytest.fixture(scope="session")
def sample() -> ModuleType:
    """The module that makes the invented page data."""
    spec = importlib.util.spec_from_file_location("page_sample", SAMPLE)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def site(sample: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A site of two hundred claims."""
    out = tmp_path_factory.mktemp("site")
    data = sample.page_data(200)
    build_site(data, out, data.decisions["claim"].to_list())
    return out


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Headless Chromium from the system; closed after each module.

    Playwright keeps an event loop running in this thread, in which Dagster could start none.
    """
    executable = shutil.which("chromium") or shutil.which("google-chrome")
    if executable is None:
        reason = "no Chromium on this machine"
        if os.environ.get("LIMELEDGER_BROWSER_REQUIRED"):
            pytest.fail(f"{reason}, and LIMELEDGER_BROWSER_REQUIRED is set")
        pytest.skip(reason)
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=executable, args=ARGUMENTS)
        yield started
        started.close()


class Visit:
    """One page under watch: whatever it logs as an error or asks of a network is kept."""

    def __init__(self, page: Page, site: Path) -> None:
        self.page = page
        self.site = site
        self.faults: list[str] = []
        page.on("console", self._logged)
        page.on("pageerror", lambda error: self.faults.append(f"error: {error}"))
        page.on("request", self._asked)

    def _logged(self, message) -> None:
        if message.type in ("error", "warning"):
            self.faults.append(f"console: {message.text}")

    def _asked(self, request) -> None:
        if not request.url.startswith(("file:", "data:", "blob:")):
            self.faults.append(f"request: {request.url}")

    def open(self, address: str) -> Page:
        """Opens a page of the site and waits until its charts are drawn."""
        self.page.goto(f"{self.site.as_uri()}/{address}")
        if self.page.locator(".chart").count():
            self.page.wait_for_selector("html[data-drawn=yes]", timeout=60_000)
        return self.page


@pytest.fixture
def visit(browser: Browser, site: Path, request: pytest.FixtureRequest) -> Iterator[Visit]:
    """A fresh page, offline; parametrize indirectly with width, height and color scheme."""
    look = getattr(request, "param", {})
    context = browser.new_context(
        viewport={"width": look.get("width", 1280), "height": look.get("height", 900)},
        color_scheme=look.get("scheme", "light"),
        timezone_id="America/Denver",
        offline=True,
        accept_downloads=True,
    )
    yield Visit(context.new_page(), site)
    context.close()
