"""A real browser and a really started app, shared by the tests of this folder.

AppTest runs the scripts in this process and so cannot see a wrong import path, a broken
chart, a call to another host or an upload that the server refuses.
"""

from __future__ import annotations

import os
import re
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.browser.started import FLAGS, NO_BROWSER, WAIT_S, browser_path, running_app

expect.set_options(timeout=WAIT_S * 1000)

# What is wider than the window: the page and its main part, by the name of the part in it that sticks out.
TOO_WIDE = """() => {
  const parts = [document.scrollingElement, ...document.querySelectorAll('[data-testid=stMain]')];
  return parts.filter(e => e.scrollWidth > e.clientWidth + 1).map(e => {
    const outside = x => x.getBoundingClientRect().right > innerWidth + 1;
    const last = [...e.querySelectorAll('*')].filter(outside).at(-1) || e;
    return `${e.tagName}: ${last.outerHTML.slice(0, 200)}`;
  });
}"""
# An endless animation (something that still loads) is not waited for here; settle waits for its end.
AT_REST = """() => document.getAnimations().every(
  a => a.playState !== 'running' || a.effect.getComputedTiming().iterations === Infinity)"""


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Return a headless Chromium; without one skip, or fail where all checks must run."""
    path = browser_path()
    if path is None:
        if os.environ.get("CI") == "true":
            pytest.fail(NO_BROWSER)
        pytest.skip(NO_BROWSER)
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=path, args=FLAGS)
        yield started
        started.close()


@pytest.fixture(scope="session")
def app() -> Iterator[str]:
    """Return the address of an app started with no arguments."""
    with running_app() as address:
        yield address


@dataclass
class Watched:
    """A page, with what it complained about and whom it called."""

    page: Page
    address: str
    complaints: list[str] = field(default_factory=list)
    strangers: list[str] = field(default_factory=list)

    def listen(self) -> None:
        """Note console errors, uncaught exceptions and requests that leave the app."""
        own = urlsplit(self.address).netloc

        def heard(url: str) -> None:
            parts = urlsplit(url)
            if parts.scheme not in ("data", "blob", "about") and parts.netloc != own:
                self.strangers.append(url)

        self.page.on("console", lambda said: said.type == "error" and self.complaints.append(said.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: heard(request.url))
        self.page.on("websocket", lambda socket_: heard(socket_.url))

    def open(self, path: str = "/") -> Page:
        """Open the app and return once its first screen has been drawn."""
        self.page.goto(self.address + path, timeout=WAIT_S * 1000)
        self.settle()
        return self.page

    def keep(self, name: str) -> None:
        """Keep a picture of the whole screen for who wants to look, where a folder for it is named."""
        folder = os.environ.get("GAIN_LEDGER_SCREENS")
        if not folder:
            return
        size = self.page.viewport_size
        height = self.page.get_by_test_id("stMain").evaluate("e => e.scrollHeight")
        self.page.set_viewport_size({**size, "height": min(max(size["height"], height), 6000)})
        self.settle()
        self.page.screenshot(path=Path(folder, f"{name}.png".replace(" ", "-").lower()))
        self.page.set_viewport_size(size)

    def close(self) -> None:
        """Leave the app, as must happen before it is stopped: a lost connection is a complaint."""
        if not self.page.is_closed():
            self.page.context.close()

    def settle(self) -> None:
        """Return once the script has run to its end and no chart is still loading."""
        expect(self.page.get_by_role("heading", level=1).first).to_be_visible()
        expect(self.page.get_by_test_id("stApp")).to_have_attribute("data-test-script-state", "notRunning")
        expect(self.page.get_by_test_id("stSkeleton")).to_have_count(0)  # what stands until a part is loaded

    def rest(self) -> None:
        """Return once the page is drawn and nothing fades in or out any more."""
        self.settle()
        self.page.wait_for_function(AT_REST, timeout=WAIT_S * 1000)

    def needs_no_sideways_scroll(self) -> None:
        """Fail if something stays wider than the window; a chart follows a new width a moment later."""
        comes_to(lambda: self.page.evaluate(TOO_WIDE), [])

    def go_to(self, screen: str) -> None:
        """Choose a screen in the sidebar, unfolding it first where it is folded."""
        unfold = self.page.get_by_test_id("stExpandSidebarButton")
        if unfold.is_visible():  # a folded sidebar's links are "visible", but off the screen
            unfold.click()
        self.page.get_by_role("link", name=screen, exact=True).click()
        expect(self.page.get_by_role("heading", level=1, name=screen)).to_be_visible()
        self.settle()


OpenPage = Callable[..., Watched]


@pytest.fixture
def watched(browser: Browser, app: str) -> Iterator[OpenPage]:
    """Return a function that makes a watched page; whatever it complains of fails the test."""
    made: list[Watched] = []

    def make(address: str = app, width: int = 1280, height: int = 900, mode: str = "light") -> Watched:
        made.append(new_page(browser, address, width, height, mode))
        return made[-1]

    yield make
    ends_quietly(made)


def new_page(browser: Browser, address: str, width: int, height: int, mode: str) -> Watched:
    """Return a watched page in a browser of its own."""
    context = browser.new_context(
        viewport={"width": width, "height": height}, color_scheme=mode, accept_downloads=True
    )
    page = Watched(context.new_page(), address)
    page.listen()
    return page


def ends_quietly(pages: list[Watched]) -> None:
    """Close pages; fail if one complained, or called another host."""
    for page in pages:
        page.close()
    assert [said for page in pages for said in page.complaints] == []
    assert [url for page in pages for url in page.strangers] == []


def comes_to(read: Callable[[], object], wanted: object) -> None:
    """Fail unless something that is read again and again comes to what is wanted."""
    end = time.monotonic() + WAIT_S
    while (found := read()) != wanted and time.monotonic() < end:
        time.sleep(0.05)
    assert found == wanted


def luminance(css_colour: str) -> float:
    """Return the relative luminance of an opaque ``rgb(r, g, b)`` (WCAG 2.2)."""
    channels = [int(n) / 255 for n in re.findall(r"\d+", css_colour)[:3]]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(weight * c for weight, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
