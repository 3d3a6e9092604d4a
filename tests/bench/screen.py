"""How long a person waits, against an empty Streamlit app in the same browser."""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from tests.bench.ratio import Ratio
from tests.browser.started import FLAGS, NO_BROWSER, WAIT_S, browser_path, free_port, running, running_app

CLICKS, STARTS = 15, 3
READY = {"empty": "h1", "results": "[data-testid=stVegaLiteChart] canvas, [data-testid=stVegaLiteChart] svg"}

# From the click until the wanted unit is there and the page has stopped changing: the time of
# the last change of content, once nothing has changed for 400 ms. Then a frame for painting.
CLICK_TO_PAINTED = """
([label, wanted]) => new Promise(done => {
  const main = document.querySelector('[data-testid=stMain]');
  const button = [...document.querySelectorAll('button')].find(b => b.innerText.trim() === label);
  let last = null;
  const watch = new MutationObserver(() => { last = performance.now(); });
  watch.observe(main, {childList: true, subtree: true, characterData: true});
  const start = performance.now();
  button.click();
  const look = () => {
    const now = performance.now();
    const settled = last !== null && now - last > 400 && main.innerText.includes(wanted);
    if (settled) { watch.disconnect(); done(last - start); }
    else if (now - start > 20000) { watch.disconnect(); done(null); }
    else requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
})
"""


def empty_app() -> list[str]:
    """Return the command that serves the empty app on the port that is put after it."""
    script = Path(__file__).with_name("empty_app.py")
    settings = ["--server.headless=true", "--browser.gatherUsageStats=false", "--server.address=127.0.0.1"]
    return [sys.executable, "-m", "streamlit", "run", str(script), *settings, "--server.port"]


def opened(browser: Browser, address: str, kind: str) -> Page:
    """Open an app and return its page once what matters is visible."""
    page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    page.goto(address, timeout=WAIT_S * 1000)
    page.locator(READY[kind]).first.wait_for(timeout=WAIT_S * 1000)
    return page


def clicks(page: Page) -> list[float]:
    """Return the seconds of switching units to and fro."""
    page.wait_for_timeout(1500)
    spent = []
    for turn in range(CLICKS + 1):
        wanted = ["US", "cfm"] if turn % 2 == 0 else ["metric", "L/s"]
        took = page.evaluate(CLICK_TO_PAINTED, wanted)
        if took is None:
            raise RuntimeError(f"nothing changed to {wanted[1]} within 20 s of a click on {wanted[0]}")
        spent.append(took / 1000)
    return spent[1:]  # the first one fills caches


def starts(browser: Browser, kind: str) -> list[float]:
    """Return the seconds from the command to the first screen, a few times."""
    spent = []
    for _ in range(STARTS):
        begin = time.monotonic()
        port = free_port()
        server = running([*empty_app(), str(port)], port) if kind == "empty" else running_app()
        with server as address:
            page = opened(browser, address, kind)
            spent.append(time.monotonic() - begin)
            page.context.close()
    return spent


def screens() -> Iterator[Ratio]:
    """Time a click on Results and a cold start."""
    path = browser_path()
    if path is None:
        print(f"screens left out: {NO_BROWSER}")
        return
    port = free_port()
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=FLAGS)
        with running([*empty_app(), str(port)], port) as empty, running_app() as ours:
            floor = statistics.median(clicks(opened(browser, empty, "empty")))
            click = statistics.median(clicks(opened(browser, f"{ours}/?job=sprint-four", "results")))
        yield Ratio("click on Results to painted", click, "an empty Streamlit app", floor, "1.6 times")
        cold_floor = statistics.median(starts(browser, "empty"))
        cold = statistics.median(starts(browser, "results"))
        yield Ratio("cold start to charts visible", cold, "an empty Streamlit app", cold_floor)
        browser.close()
