"""Accessibility of previews, and of what stands where there is no result, by the rules of axe-core."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from dashboard.handover.bundle import FILES
from tests.browser.access import violations
from tests.browser.conftest import OpenPage
from tests.browser.started import running_app

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def demo(demo_runs) -> Iterator[str]:
    """Return the address of an app on the demo jobs."""
    with running_app("open", str(demo_runs)) as address:
        yield address


def test_no_violation_in_a_preview(watched: OpenPage, demo: str) -> None:
    shown = watched(demo)
    page = shown.open("/?job=sprint-four")
    shown.go_to("Hand-over")
    for name in [*(name for name in FILES if not name.startswith("still-")), "still-16x9.png"]:
        page.get_by_text(name, exact=True).click()
        expect(page.get_by_role("button", name=f"Download {name}")).to_be_visible()
        shown.rest()
        assert (name, violations(page)) == (name, [])


def test_no_violation_where_there_is_no_job_or_a_bad_one(watched: OpenPage, tmp_path: Path) -> None:
    modes = ("light", "dark")
    with running_app("open", str(tmp_path)) as address:
        for mode in modes:
            shown = watched(address, mode=mode)
            page = shown.open()
            shown.rest()
            assert violations(page) == []
            shown.close()
        (tmp_path / "bad").mkdir()
        (tmp_path / "bad" / "bowl.csv").write_text("# stage: bowl\nlift [mm],intake [L/s]\n1,21.O\n", "utf-8")
        for mode in modes:
            shown = watched(address, mode=mode)
            page = shown.open()
            expect(page.get_by_text("bowl.csv").first).to_be_visible()
            shown.rest()
            assert violations(page) == []
            shown.close()
