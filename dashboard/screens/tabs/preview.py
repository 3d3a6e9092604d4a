"""What the numbers give so far: the same review, drawn by the same charts, while one types."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import streamlit as st

from core.files.assemble import Loaded
from core.files.folder import NAME
from core.files.toml import Path
from core.job import SIDES
from core.units import label
from dashboard import answer_words, entry_words, phrases, words
from dashboard.charts import overlay
from dashboard.entry import session
from dashboard.entry.draft import Work, sound_files
from dashboard.screens.page import beside, draw_chart, draw_problem_rows
from dashboard.state import Shown
from dashboard.usertext import inert


def draw_problems(work: Work, loaded: Loaded, at_fields: Mapping[Path, Sequence[str]] | None = None) -> None:
    """Draw every reason why the job cannot be read yet, but for those that stand at a field of this tab."""
    shown = {text for texts in (at_fields or {}).values() for text in texts}
    problems = [p for p in loaded.problems if entry_words.problem_line(p) not in shown]
    if not has_sheets(work):
        problems = [p for p in problems if p.file == NAME and p.line is not None]
    if not problems:
        return
    st.error(entry_words.problems_left(len(problems)))
    draw_problem_rows(problems)


def has_sheets(work: Work) -> bool:
    """Return whether anything has been read yet."""
    return any(name.endswith(".csv") for name in sound_files(work.files))


def draw(work: Work, loaded: Loaded, shown: Shown) -> None:
    """Draw the answer and the curves of the draft."""
    st.subheader(entry_words.PREVIEW_TITLE)
    if loaded.job is None:
        st.markdown(entry_words.PREVIEW_EMPTY if not has_sheets(work) else entry_words.PREVIEW_BLOCKED)
        return
    review = session.reviewed(loaded.job)
    st.markdown(answer_words.answer(review, inert))
    sides = [side for side in SIDES if words.measured(review, side)]
    for place, side in zip(beside(len(sides)), sides, strict=True):
        with place:
            st.markdown(f"**{side.capitalize()} flow, {label('flow', shown.units)}**")
            draw_chart(overlay(review, side, shown.units, shown.theme))
    st.caption(f"{words.conditions(review, shown.units)} {words.POINTS_AND_BANDS}")


def draw_empty() -> None:
    """Draw what to do first, with a sheet to try it on."""
    st.markdown(entry_words.BEGIN_HELP)
    st.download_button(
        phrases.SAMPLE_LABEL,
        phrases.SAMPLE_SHEET.encode(),
        phrases.SAMPLE_NAME,
        "text/csv",
        key="entry-sample",
        on_click="ignore",
    )
