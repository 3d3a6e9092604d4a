"""The mapping that a spreadsheet suggests, a reason for each guess, and a question where it is none."""

from __future__ import annotations

from collections.abc import Mapping as Answers

from core.files.log import folded
from core.files.spreadsheet.draft import Draft, Notes
from core.files.spreadsheet.find import find_tables
from core.files.spreadsheet.grid import Book
from core.files.spreadsheet.lines import lines_of
from core.files.spreadsheet.mapping import Mapping, Proposal, TableMap, answered
from core.files.spreadsheet.names import name_lines
from core.files.spreadsheet.reading import map_lines
from core.files.spreadsheet.settle import settle_table
from core.files.spreadsheet.twins import tell_apart

_MOST_NOTES = 6  # of the words around a table that its bench sheets keep


def propose(book: Book, answers: Answers[str, str] | None = None) -> Proposal:
    """Return what a spreadsheet seems to be.

    Parameters
    ----------
    book : Book
        The spreadsheet.
    answers : mapping of str to str, optional
        What a person said to the questions of an earlier proposal, by their keys.

    Returns
    -------
    Proposal
        A mapping, why it is so, and what it cannot tell.
    """
    notes = Notes(answers or {})
    drafts = _drafts(book, notes)
    for draft in drafts:
        settle_table(draft, notes)
    name_lines(book, drafts, notes)
    for draft in drafts:
        map_lines(draft, notes)
    tell_apart(drafts, notes)
    mapping = answered(Mapping(tuple(_table_map(draft) for draft in drafts)), notes.answers)
    return Proposal(mapping, tuple(notes.reasons), tuple(notes.ask.open))


def _drafts(book: Book, notes: Notes) -> list[Draft]:
    """Find the tables of every sheet that is shown, or of the one that a person chose."""
    chosen = notes.answers.get("sheet")
    drafts = []
    for i, sheet in enumerate(book.sheets):
        name = f"'{sheet.name}'" if sheet.name else book.name
        if chosen is not None and folded(sheet.name) != folded(chosen):
            continue
        if sheet.hidden and chosen is None:
            notes.say(name, "the sheet is hidden, and left out", "likely")
            continue
        tables = find_tables(sheet, notes.answers.get("lift line"), notes.answers.get("way"))
        if sheet.rows and not tables:
            notes.say(name, "no lifts with readings beside them were found here", "unsure")
        drafts += [Draft(i, table, lines_of(table), {}) for table in tables]
    if not drafts:
        notes.ask.no_table()
    return drafts


def _table_map(draft: Draft) -> TableMap:
    table = draft.table
    return TableMap(
        table.grid.name,
        draft.sheet_index,
        table.grid.turned,
        table.lift,
        table.rows,
        draft.lift_unit,
        tuple(draft.mapped[line.column] for line in draft.lines),
        notes=tuple(dict.fromkeys((*table.titles, *table.outer)))[:_MOST_NOTES],
    )
