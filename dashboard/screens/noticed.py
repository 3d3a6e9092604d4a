"""How a finding stands in a table: the same on every screen."""

from __future__ import annotations

from dashboard.evidence import FindingLine
from dashboard.screens.page import LINE_BREAK
from dashboard.usertext import inert


def finding_row(line: FindingLine) -> tuple[str, str]:
    """Return a finding's level, and what was noticed, what to do and where, as Markdown."""
    text = inert(line.text) + (f" **{inert(line.cure)}**" if line.cure else "")
    return line.level, LINE_BREAK.join([text, *([inert(line.where)] if line.where else [])])
