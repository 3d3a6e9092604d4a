"""Every screen as anybody may meet it: light and dark, wide, at double zoom, on a phone, by keyboard alone.

The app is opened once in each mode, and each screen once in it: all that is asked of it is asked then.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.access import violations
from tests.browser.conftest import Watched, comes_to, ends_quietly, new_page
from tests.browser.started import running_app

pytestmark = [pytest.mark.browser, pytest.mark.slow]

SCREENS = ["Results", "By lift", "Target", "Rough power", "Hand-over", "Bench day", "Job sheet", "Shelf"]
MODES = ["light", "dark"]
WIDE, DOUBLE_ZOOM, PHONE = 1280, 640, 390  # pixels of CSS; twice the zoom is half the width

# What a keyboard could want to reach. An arrow beside a list opens what its field opens, too.
COLLECT = """() => {
  const wanted = 'button, a[href], input, select, textarea, summary, canvas[tabindex], ' +
    '[role=tab], [role=radio], [role=button], [role=combobox], [role=checkbox], [role=slider]';
  const seen = e => {
    const box = e.getBoundingClientRect();
    return box.width > 1 && box.height > 1 && getComputedStyle(e).visibility !== 'hidden';
  };
  window.wanted = [...document.querySelectorAll(wanted)].filter(e =>
    seen(e) && !e.disabled && !e.closest('[aria-hidden=true], [inert]') &&
    !(e.getAttribute('aria-label') === 'Open' && e.parentElement.querySelector('[role=combobox], input')));
  window.reached = new Set();
  return window.wanted.length;
}"""
# Return whether the focus has come round to the page itself, and how many buttons stand in a group with
# the one that has it: Tab reaches one of a group, and the arrows the others.
REACH = """() => {
  const at = document.activeElement;
  reached.add(at);
  const group = at.ariaPressed === null ? null : at.closest('[role=toolbar], [role=group]');
  return [at === document.body, group ? group.querySelectorAll('[aria-pressed]').length : 0];
}"""
# Radio buttons and tabs are in groups, too, but there the arrows choose.
MISSED = """() => wanted.filter(e => {
  if (reached.has(e) || !document.contains(e)) return false;
  const [group, one] = {
    radio: ['[role=radiogroup]', '[role=radio], [type=radio]'], tab: ['[role=tablist]', '[role=tab]'],
  }[e.getAttribute('role') || e.type] || [];
  return !group || ![...e.closest(group).querySelectorAll(one)].some(one => reached.has(one));
}).map(e => e.outerHTML.slice(0, 200))"""

BEYOND = """(charts, width) => charts.map(e => e.getBoundingClientRect().right).filter(x => x > width + 1)"""


@pytest.fixture(scope="module")
def demo(demo_runs: Path) -> Iterator[str]:
    """Return the address of an app on the demo jobs."""
    with running_app("open", str(demo_runs)) as address:
        yield address


@pytest.fixture(scope="module")
def opened(browser: Browser, demo: str) -> Iterator[dict[str, Watched]]:
    """Return the app in each mode."""
    pages = {mode: new_page(browser, demo, WIDE, 900, mode) for mode in MODES}
    for page in pages.values():
        page.open("/?job=touring-twin")
    yield pages
    ends_quietly(list(pages.values()))


@pytest.fixture(scope="module", params=MODES)
def mode(request: pytest.FixtureRequest) -> str:
    """Return the mode that the reader's system asks for."""
    return request.param


@pytest.fixture(scope="module", params=SCREENS)
def screen(request: pytest.FixtureRequest, opened: dict[str, Watched], mode: str) -> Watched:
    """Return a page that shows a screen, whole."""
    shown = opened[mode]
    shown.page.set_viewport_size({"width": WIDE, "height": 900})
    expect(shown.page.get_by_test_id("stExpandSidebarButton")).to_have_count(0)  # it unfolds by itself
    shown.go_to(request.param)
    # What is worked out last (power, the kit) is there once nothing shows progress any more.
    expect(shown.page.get_by_test_id("stMain").get_by_role("progressbar")).to_have_count(0)
    shown.rest()
    shown.keep(f"{request.param}-{mode}-{WIDE}")
    return shown


def test_nothing_breaks_the_rules_of_access(screen: Watched) -> None:
    assert violations(screen.page) == []


@pytest.mark.parametrize("mode", ["light"], indirect=True, scope="module")  # no mode moves the focus
def test_the_keyboard_reaches_everything(screen: Watched) -> None:
    page = screen.page
    count = page.evaluate(COLLECT)
    assert count > 10  # it did look
    rounds = 0
    for _ in range(5 * count):
        page.keyboard.press("Tab")
        is_round, in_group = page.evaluate(REACH)
        for _ in range(in_group - 1):
            page.keyboard.press("ArrowRight")
            page.evaluate(REACH)
        rounds += is_round
        if rounds == 2:
            break
    assert page.evaluate(MISSED) == []


@pytest.mark.parametrize("width", [DOUBLE_ZOOM, PHONE])
def test_a_narrow_page_needs_no_sideways_scroll(screen: Watched, mode: str, width: int) -> None:
    page = screen.page
    page.set_viewport_size({"width": width, "height": 900})
    screen.settle()
    screen.needs_no_sideways_scroll()
    charts = page.get_by_test_id("stMain").get_by_test_id("stVegaLiteChart")
    comes_to(lambda: charts.evaluate_all(BEYOND, width), [])
    expect(page.get_by_test_id("stException")).to_have_count(0)
    screen.keep(f"{page.locator('h1').first.inner_text()}-{mode}-{width}")
