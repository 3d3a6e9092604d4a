"""What axe-core has against a page."""

from __future__ import annotations

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

# Faults of the library's own parts, which no setting can mend: (rule, how its element is known).
NOT_OURS = {
    ("presentation-role-conflict", 'data-testid="stFileUploaderDropzone"'),  # its drop zone can be focused
}


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
