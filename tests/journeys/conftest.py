"""A real browser on the real service: Debian's Chromium, two workers, the demo's community."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from registry.settings.environment import REPOSITORY
from tests.factories.service import served

CHROMIUM: Final = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS: Final = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WIDTHS: Final = (360, 1280)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Without Chromium these are skipped; where it has to be there, such as in CI, they fail."""
    if CHROMIUM is not None or os.environ.get("CI"):
        return
    missing = pytest.mark.skip(reason="needs Chromium (Debian: apt-get install chromium)")
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(missing)


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of a service that holds the demo's community; nothing is limited."""
    folder = tmp_path_factory.mktemp("journeys")
    variables = {"BROODCOUNT_RATE_LIMITS": "off"}
    with served(folder, **variables) as service:
        subprocess.run(
            [sys.executable, "-m", "registry", "demo", "--fill-only"],
            cwd=REPOSITORY,
            env={
                **{k: v for k, v in os.environ.items() if k != "DJANGO_SETTINGS_MODULE"},
                "DATABASE_URL": service.database,
                "BROODCOUNT_DATA_DIR": str(folder / "data"),
            },
            check=True,
            capture_output=True,
        )
        yield f"http://{service.host}:{service.port}"


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """The browser, started once."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


class Reader:
    """Somebody at a screen: goes to pages, and looks at each for what must hold everywhere."""

    def __init__(self, context: BrowserContext, site: str) -> None:
        self.context = context
        self.site = site
        self.page: Page = context.new_page()
        self.page.set_default_timeout(15_000)
        self.said: list[str] = []
        self.page.on("console", self._note)
        self.page.on("pageerror", lambda error: self.said.append(str(error)))

    def _note(self, message: Any) -> None:
        # A form that is shown again with its faults is answered with 422; browsers remark on that.
        if message.type in {"error", "warning"} and "422" not in message.text:
            self.said.append(message.text)

    def go(self, path: str) -> None:
        """Open a page and look at it."""
        self.page.goto(self.site + path)
        self.look()

    def press(self, name: str) -> None:
        """Press a button by its words, and look at what comes."""
        with self.page.expect_navigation():
            self.page.get_by_role("button", name=name, exact=True).click()
        self.look()

    def follow(self, name: str) -> None:
        """Follow a link of the content by its words, and look at what comes."""
        with self.page.expect_navigation():
            self.page.get_by_role("main").get_by_role("link", name=name).first.click()
        self.look()

    def text(self) -> str:
        """What the page says, without what is folded away."""
        return self.page.locator("body").inner_text()

    def look(self) -> None:
        """Nothing refused by the policy, nothing wider than the screen, one heading."""
        assert not self.said, self.said
        assert self.page.locator("h1").count() == 1
        too_wide = self.page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        assert too_wide == 0, f"{self.page.url} is {too_wide} px too wide"

    def check_access(self) -> None:
        """Hold the page against the rules of axe; see its output for what each means."""
        found = Axe().run(self.page).response["violations"]
        told = [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found]
        assert not told, (self.page.url, told)


@pytest.fixture
def reader(chromium: Browser, site: str) -> Iterator[Callable[..., Reader]]:
    """Makes readers; ``script=False`` for one whose browser runs none."""
    contexts = []

    def make(width: int, *, script: bool = True, access: bool = False, **more: Any) -> Reader:
        context = chromium.new_context(
            viewport={"width": width, "height": 800},
            java_script_enabled=script,
            # axe is put into the page as a script of its own.
            bypass_csp=access,
            **more,
        )
        contexts.append(context)
        return Reader(context, site)

    yield make
    for one in contexts:
        one.close()
