"""Accessibility of the app's own screens by the rules of axe-core, in both modes."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from dashboard.handover.bundle import FILES
from tests.browser.conftest import OpenPage
from tests.browser.started import running_app

pytestmark = [pytest.mark.browser, pytest.mark.slow]

SCREENS = ["Results", "By lift", "Target", "Rough power", "Hand-over", "Bench day", "Job sheet", "Shelf"]
# Faults of the library's own parts, which no setting can mend: (rule, how its element is known).
NOT_OURS = {
    ("presentation-role-conflict", 'data-testid="stFileUploaderDropzone"'),  # its drop zone can be focused
}


@pytest.fixture(scope="module")
def demo(demo_runs) -> Iterator[str]:
    """Return the address of an app on the demo jobs."""
    with running_app("open", str(demo_runs)) as address:
        yield address


def violations(page: Page) -> list[tuple[str, str]]:
    """Return (rule, element) of each violation that is ours."""
    found = Axe().run(page).response
    assert len(found["passes"]) > 15  # it did look
    told = [(one["id"], node["html"]) for one in found["violations"] for node in one["nodes"]]
    return [
        (rule, html[:300])
        for rule, html in told
        if not any(rule == known and part in html for known, part in NOT_OURS)
    ]


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize("screen", SCREENS)
def test_no_violation_on_a_screen(watched: OpenPage, demo: str, screen: str, mode: str) -> None:
    shown = watched(demo, mode=mode)
    page = shown.open("/?job=touring-twin")
    if screen != "Results":
        shown.go_to(screen)
    # What is worked out last (power, the kit) is there once nothing shows progress any more.
    expect(page.get_by_test_id("stMain").get_by_role("progressbar")).to_have_count(0)
    shown.settle()
    assert violations(page) == []


@pytest.mark.parametrize(
    "name", [name for name in FILES if not name.startswith("still-")] + ["still-16x9.png"]
)
def test_no_violation_in_a_preview(watched: OpenPage, demo: str, name: str) -> None:
    shown = watched(demo)
    page = shown.open("/?job=sprint-four")
    shown.go_to("Hand-over")
    page.get_by_text(name, exact=True).click()
    expect(page.get_by_role("button", name=f"Download {name}")).to_be_visible()
    shown.settle()
    assert violations(page) == []


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_no_violation_where_there_is_no_job_or_a_bad_one(
    watched: OpenPage, tmp_path_factory: pytest.TempPathFactory, mode: str
) -> None:
    root = tmp_path_factory.mktemp("jobs")
    with running_app("open", str(root)) as address:
        shown = watched(address, mode=mode)
        assert violations(shown.open()) == []
        shown.close()
    (root / "bad").mkdir()
    (root / "bad" / "bowl.csv").write_text("# stage: bowl\nlift [mm],intake [L/s]\n1,21.O\n", "utf-8")
    with running_app("open", str(root)) as address:
        shown = watched(address, mode=mode)
        page = shown.open()
        expect(page.get_by_text("bowl.csv").first).to_be_visible()
        assert violations(page) == []
        shown.close()
