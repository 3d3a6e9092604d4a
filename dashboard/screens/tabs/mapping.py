"""The mapping step: a spreadsheet of any shape waits here until it is clear what is what."""

from __future__ import annotations

import base64
from collections.abc import Mapping as Edits
from dataclasses import dataclass, replace
from typing import Any

import streamlit as st

from core.files.folder import NAME
from core.files.names import free_name
from core.files.spreadsheet.apply import apply
from core.files.spreadsheet.book import read_grid
from core.files.spreadsheet.grid import Book, letters
from core.files.spreadsheet.mapping import Imported, Mapping, Proposal, Question, TableMap
from core.files.spreadsheet.memory import answers_of, entry_for, keeping, kept, recalled
from core.files.spreadsheet.propose import propose
from core.files.text import UnreadableError
from core.files.write_job import UneditableError, edited
from core.job import SIDES
from dashboard import entry_words
from dashboard import hand as hands
from dashboard.entry import session
from dashboard.entry.draft import Work
from dashboard.entry.stages import with_stage
from dashboard.screens.page import draw_rows
from dashboard.screens.tabs import preview
from dashboard.screens.tabs.inputs import keyed_choice, keyed_input
from dashboard.state import Shown
from dashboard.usertext import inert

# kept with the draft
_WAITING, _ANSWERS, _EDITS, _ANEW = "mapping", "mapping-answers", "mapping-edits", "mapping-anew"
PASTED = "pasted"  # the name that a block without a file waits under
_KEEP = "map-keep"
_BASE = "map-base"
_USES = ("reading", "skip", "stage", "side", "port", "run", "range", "test pressure")
_MOST_PROBLEMS = 12
_WIDE = 640  # pixels: a question is a sentence
_EDITED = ("use", "stage", "side", "port", "unit")


@dataclass(frozen=True)
class _Mapped:
    """A spreadsheet, what it is taken to be, and what that gives."""

    name: str
    book: Book
    proposal: Proposal
    mapping: Mapping  # with what a person corrected
    imported: Imported
    answers: Edits[str, str]  # of this person, and those that the job keeps
    is_recalled: bool  # the job keeps a mapping for this shape, and it is used


def is_waiting(work: Work) -> bool:
    """Return whether a spreadsheet waits."""
    return bool(work.draft.values.get(_WAITING))


def waiting(work: Work, name: str, data: bytes) -> Work:
    """Let a spreadsheet wait for its mapping."""
    kept = [*work.draft.values.get(_WAITING, ()), [name, base64.b64encode(data).decode("ascii")]]
    return work.noting(**{_WAITING: kept})


def draw(work: Work, shown: Shown) -> None:
    """Draw the step for the spreadsheet that waits first: questions, mapping, what it gives."""
    waits = work.draft.values[_WAITING]
    name, data = waits[0][0], base64.b64decode(waits[0][1])
    st.subheader(inert(name))
    if len(waits) > 1:
        st.caption(entry_words.more_waiting(len(waits) - 1))
    try:
        mapped = _mapped(work, name, data)
    except UnreadableError as error:
        st.error(f"{inert(error.text)} **{inert(error.cure)}**")
        st.button("Leave it out", key="map-leave", on_click=_leave)
        return
    _draw_recalled(work, mapped)
    _draw_questions(work, mapped.proposal.questions)
    for place, table in enumerate(mapped.proposal.mapping.tables):
        _draw_table(work, mapped, place, table)
    with st.expander(entry_words.REASONS_TITLE):
        rows = [[inert(one.where), inert(one.text), one.certainty] for one in mapped.proposal.reasons]
        draw_rows(("Where", "Why it is taken so", "How sure"), rows)
    open_ = mapped.proposal.open
    if open_:
        st.caption(entry_words.questions_left(len(open_)))
    else:  # before the answers, every cell would only ask for them again
        for problem in mapped.imported.problems[:_MOST_PROBLEMS]:
            st.caption(f":red-badge[check] {inert(entry_words.problem_line(problem))}")
        if (more := len(mapped.imported.problems) - _MOST_PROBLEMS) > 0:
            st.caption(entry_words.more_problems(more))
    if mapped.imported.sheets and not open_ and _is_worth_keeping(work):
        st.session_state.setdefault(_KEEP, True)
        st.checkbox(entry_words.KEEP_MAPPING, key=_KEEP)
    with st.container(horizontal=True):
        count = len(mapped.imported.sheets)
        ready = bool(count) and not open_
        st.button(entry_words.take_sheets(count), key="map-take", disabled=not ready, on_click=_take)
        st.button("Leave it out", key="map-leave", on_click=_leave)
        if hands.from_text(data) is not None:
            st.button(
                "Keep it as it stands, and mend it in the grid", key="map-as-is", on_click=_keep_as_it_is
            )
    if mapped.imported.sheets:
        trial = _with_sheets(work, mapped.imported)
        preview.draw(trial, session.loaded(trial.files, trial.name), shown)


def _mapped(work: Work, name: str, data: bytes) -> _Mapped:
    book = read_grid("" if name == PASTED else name, data)
    values = work.draft.values
    answers = values.get(_ANSWERS, {})
    entry = None if values.get(_ANEW) else entry_for(book, work.job_file)
    proposal = recalled(book, entry, answers) if entry else propose(book, answers)
    mapping = _corrected(proposal.mapping, values.get(_EDITS, {}))
    said = {**answers_of(entry), **answers} if entry else answers
    return _Mapped(name, book, proposal, mapping, apply(book, mapping, answers), said, entry is not None)


def _corrected(mapping: Mapping, edits: Edits[str, Edits[str, Any]]) -> Mapping:
    tables = []
    for place, table in enumerate(mapping.tables):
        changed = edits.get(str(place), {})
        lines = tuple(replace(one, **changed.get(str(one.index), {})) for one in table.lines)
        tables.append(replace(table, lines=lines))
    return replace(mapping, tables=tuple(tables))


# --- a mapping that the job keeps ----------------------------------------------------------


def _draw_recalled(work: Work, mapped: _Mapped) -> None:
    """Say that a kept mapping was used, and offer to be asked again."""
    if not mapped.is_recalled:
        return
    st.info(inert(entry_words.recalled(mapped.proposal.reasons[0].text)))
    st.button("Do not use it: ask again", key="map-anew", on_click=_begin_anew)


def _begin_anew() -> None:
    session.keep(session.work().noting(**{_ANEW: True, _ANSWERS: {}, _EDITS: {}}))


def _is_worth_keeping(work: Work) -> bool:
    """Return whether a person said anything that the next spreadsheet would ask for again."""
    return any(work.draft.values.get(key) for key in (_ANSWERS, _EDITS, _ANEW))


def _with_mapping(work: Work, mapped: _Mapped) -> Work:
    entry = kept(mapped.book, mapped.mapping, mapped.answers)
    try:
        return work.changing({NAME: edited(work.job_file, keeping(work.job_file, entry))})
    except UneditableError as error:
        session.say("error", inert(str(error)))
        return work


# --- questions ---------------------------------------------------------------------------


def _draw_questions(work: Work, questions: tuple[Question, ...]) -> None:
    answers = work.draft.values.get(_ANSWERS, {})
    asked: set[str] = set()
    for question in questions:
        if question.key in asked:
            continue  # one answer serves them all
        asked.add(question.key)
        label = inert(question.text) + ("" if question.needed else " (may be left open)")
        args = (label, f"map-answer-{question.key}", answers.get(question.key, ""), None, _answer)
        hint = entry_words.suggested(question.suggestion, bool(question.options))
        if question.options:
            keyed_choice(*args, (question.key,), question.options, placeholder=hint, width=_WIDE)
        else:
            keyed_input(*args, (question.key,), placeholder=hint, width=_WIDE)
    for key, answer in answers.items():
        if key not in asked:
            st.button(
                inert(entry_words.answered(key, answer)),
                key=f"map-again-{key}",
                on_click=_ask_again,
                args=(key,),
            )


def _answer(key: str, question: str) -> None:
    work = session.work()
    answers = dict(work.draft.values.get(_ANSWERS, {}))
    if text := (st.session_state[key] or "").strip():
        answers[question] = text
    else:
        answers.pop(question, None)
    session.keep(work.noting(**{_ANSWERS: answers}))


def _ask_again(question: str) -> None:
    work = session.work()
    answers = {k: v for k, v in work.draft.values.get(_ANSWERS, {}).items() if k != question}
    session.keep(work.noting(**{_ANSWERS: answers}))


# --- the mapping, to be corrected ----------------------------------------------------------


def _draw_table(work: Work, mapped: _Mapped, place: int, table: TableMap) -> None:
    st.markdown(
        inert(entry_words.table_line(table.sheet, _name(table, table.lift), table.across, table.lift_unit))
    )
    key, rows = _base(work, mapped, place, table)
    st.data_editor(
        rows,
        key=key,
        hide_index=True,
        disabled=["line", "heading"],
        on_change=_correct,
        args=(key, place, [one.index for one in table.lines]),
        column_config={
            "line": st.column_config.TextColumn("Row" if table.across else "Column", width=70),
            "heading": st.column_config.TextColumn("Heading"),
            "use": st.column_config.SelectboxColumn("Is", options=list(_USES), required=True),
            "stage": st.column_config.TextColumn("Stage"),
            "side": st.column_config.SelectboxColumn("Side", options=list(SIDES)),
            "port": st.column_config.TextColumn("Port", width=70),
            "unit": st.column_config.TextColumn("Unit", width=80),
        },
        alt=entry_words.MAPPING_ALT,
    )


def _name(table: TableMap, index: int) -> str:
    return str(index + 1) if table.across else letters(index)


def _base(work: Work, mapped: _Mapped, place: int, table: TableMap) -> tuple[str, dict[str, list[Any]]]:
    """Return what the editor is filled with: the same until the proposal changes."""
    key = f"map-table-{place}-{abs(hash((mapped.name, mapped.proposal.mapping)))}"
    held: dict[str, dict[str, list[Any]]] = st.session_state.setdefault(_BASE, {})
    if key not in held:
        lines = mapped.mapping.tables[place].lines
        rows: dict[str, list[Any]] = {"line": [_name(table, one.index) for one in lines]}
        rows["heading"] = [one.heading or one.why for one in lines]
        rows |= {name: [getattr(one, name) for one in lines] for name in _EDITED}
        held[key] = rows
    return key, held[key]


def _correct(key: str, place: int, indices: list[int]) -> None:
    work = session.work()
    edits = {table: dict(lines) for table, lines in work.draft.values.get(_EDITS, {}).items()}
    of_table = edits.setdefault(str(place), {})
    for row, cells in st.session_state[key]["edited_rows"].items():
        given = {name: _word(value) for name, value in cells.items() if name in _EDITED}
        line = str(indices[int(row)])
        of_table[line] = {**of_table.get(line, {}), **given}
    session.keep(work.noting(**{_EDITS: edits}))


def _word(value: object) -> str | None:
    return " ".join(str(value).split()) or None if value is not None else None


# --- what becomes of it --------------------------------------------------------------------


def _with_sheets(work: Work, imported: Imported) -> Work:
    for one in imported.sheets:
        name = free_name(
            one.sheet.file.removesuffix(".csv"), work.files, ending=".csv", otherwise="bench-sheet"
        )
        added = with_stage(work, one.sheet.stage) if one.sheet.stage and one.sheet.role == "stage" else {}
        work = work.changing({name: one.text.encode(), **added})
    return work


def _done(work: Work) -> None:
    """Go on to the spreadsheet that waits next."""
    left = work.draft.values[_WAITING][1:]
    session.keep(work.noting(**{_WAITING: left, _ANSWERS: {}, _EDITS: {}, _ANEW: False}))
    for key in (_BASE, _KEEP):
        st.session_state.pop(key, None)


def _take() -> None:
    work = session.work()
    name, data = work.draft.values[_WAITING][0]
    mapped = _mapped(work, name, base64.b64decode(data))
    taken = _with_sheets(work, mapped.imported)
    if _is_worth_keeping(work) and st.session_state.get(_KEEP):
        taken = _with_mapping(taken, mapped)
    _done(taken)


def _leave() -> None:
    _done(session.work())


def _keep_as_it_is() -> None:
    work = session.work()
    name, data = work.draft.values[_WAITING][0]
    file = free_name(name.removesuffix(".csv"), work.files, ending=".csv", otherwise="bench-sheet")
    _done(work.changing({file: base64.b64decode(data)}))
