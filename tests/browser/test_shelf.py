"""The shelf in a real browser: a job is found, chosen with the mouse or the keyboard, and opens."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import OpenPage
from tests.browser.started import running_app
from tests.core.test_shelf import job

pytestmark = pytest.mark.browser

TABLE = "[data-testid=stDataFrame]"
FIRST_TICK = {"x": 18, "y": 52}  # pixels from the table's corner: below its heading


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Return the address of an app on a folder of three jobs."""
    root = tmp_path_factory.mktemp("jobs")
    for name in ("alpha", "beta", "gamma"):
        job(root / name, f'title = "Head {name}"')
    with running_app("open", str(root)) as address:
        yield address


def found(page: Page, words: str, count: int) -> None:
    """Look for some words, and wait until so many jobs are found."""
    page.get_by_label("Find").fill(words)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=f"{count} of 3 jobs found.")).to_be_visible()
    expect(page.locator(TABLE)).to_be_visible()


@pytest.mark.parametrize("way", ["mouse", "keyboard"])
def test_a_job_is_found_and_opened(watched: OpenPage, shop: str, way: str) -> None:
    shown = watched(shop)
    page = shown.open()
    shown.go_to("Shelf")
    found(page, "beta", 1)
    shown.settle()
    if way == "mouse":
        page.locator(TABLE).click(position=FIRST_TICK)
    else:
        page.locator(f"{TABLE} canvas").first.focus()
        page.keyboard.press("Shift+Space")
    expect(page.get_by_role("heading", level=1, name="Results")).to_be_visible()
    expect(page).to_have_url(re.compile("job=beta"))
    expect(page.get_by_text("Head beta").first).to_be_visible()
    shown.go_to("Shelf")
    expect(page.get_by_label("Find")).to_have_value("beta")


def test_a_customer_finds_no_way_to_other_jobs(watched: OpenPage, tmp_path: Path) -> None:
    for name in ("alpha", "beta"):
        job(tmp_path / name)
    with running_app("open", str(tmp_path / "alpha"), "--customer") as address:
        shown = watched(address)
        page = shown.open()
        expect(page.get_by_role("link", name="Results", exact=True)).to_be_visible()
        expect(page.get_by_role("link", name="Shelf", exact=True)).to_have_count(0)
        assert not (tmp_path / ".ledger").exists()
        shown.close()
