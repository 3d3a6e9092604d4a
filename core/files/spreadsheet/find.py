"""The tables in a sheet: where the lifts run, which lines stand beside them, what stands around them."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

from core.files.spreadsheet.amounts import FLOW_KINDS, Amount, is_unit
from core.files.spreadsheet.grid import Grid
from core.files.spreadsheet.guard import MAX_COLUMNS
from core.files.spreadsheet.headings import heading
from core.files.spreadsheet.view import HEAD_REACH, Table, View, is_row_label
from core.files.spreadsheet.vocabulary import LIFT

LEAST_LIFTS = 3
_LONGEST_HEAD = 60  # characters
_MOST_HEADS = 100  # of one sheet that are looked into
_LEAST_BARE = 4  # where no heading says lift


def find_tables(grid: Grid, lift_line: str | None = None, way: str | None = None) -> list[Table]:
    """Return the tables of one sheet, lifts down or across.

    Parameters
    ----------
    grid : Grid
        The sheet as it stands.
    lift_line : str, optional
        Letters of the column, or number of the row, that a person says is the lift.
    way : str, optional
        ``down`` or ``across``, where a person says so.

    Returns
    -------
    list of Table
        In the order of the sheet; empty where nothing looks like lifts.
    """
    if not grid.rows:
        return []
    down, across = View(grid), View(grid.turn())
    if lift_line:
        tables = _stated(across if lift_line.isdecimal() else down, lift_line)
        _add_context(tables)
        return tables
    found = [_headed(view) for view in (down, across)]
    if way and all(found):
        found[1 if way == "down" else 0] = []
    lengths = [sum(len(table.rows) for table in tables) for tables in found]
    best = found[0] if lengths[0] >= lengths[1] else found[1]
    if not best:
        bare = [_bare(view) for view in (down, across)]
        lengths = [len(tables[0].rows) if tables else 0 for tables in bare]
        best = bare[0] if lengths[0] >= lengths[1] else bare[1]
    elif all(found) and abs(lengths[0] - lengths[1]) <= 1 and _both_rise(found):
        for table in best:
            table.either_way = True
    _add_context(best)
    return best


def _stated(view: View, lift_line: str) -> list[Table]:
    """Return the table beside the lifts that a person named."""
    lines = {view.grid.line(c).split()[1]: c for c in range(view.grid.width)}
    column = lines.get(lift_line.strip().upper())
    height = len(view.grid.rows)
    start = None if column is None else next((r for r in range(height) if view.is_number(r, column)), None)
    if column is None or start is None:
        return []
    return _spread(view, [Table(view, column, view.run(column, start, height), None)])


def _both_rise(found: list[list[Table]]) -> bool:
    return all(
        is_rising([v for v in tables[0].view.values(tables[0].lift, tables[0].rows) if v is not None])
        for tables in found
    )


def is_rising(values: Sequence[float]) -> bool:
    """Return whether numbers go one way, up or down.

    Parameters
    ----------
    values : sequence of float
        In the order of the sheet.

    Returns
    -------
    bool
        True where no two are alike and none turns back.
    """
    steps = [b - a for a, b in itertools.pairwise(values)]
    return all(step > 0 for step in steps) or all(step < 0 for step in steps)


def _headed(view: View) -> list[Table]:
    """Return tables whose lifts have a head that says so."""
    height = len(view.grid.rows)
    tables: list[Table] = []
    heads = (
        (r, c, cell) for r, c, cell in view.grid.texts() if cell.kind == "text" and _is_lift_head(cell.text)
    )
    for row, column, cell in itertools.islice(heads, _MOST_HEADS):
        reach = [c for r, c in view.covered if r == row and view.covered[r, c] == (row, column)] or [column]
        for c in reach:
            start = next(
                (r for r in range(row + 1, min(row + 1 + HEAD_REACH, height)) if view.is_number(r, c)), None
            )
            if start is None or any(
                _is_lift_head(view.text(r, c)) and view.covered.get((r, c)) != (row, column)
                for r in range(row + 1, start)
            ):
                continue
            rows = view.run(c, start, height)
            if len(rows) >= LEAST_LIFTS or (len(rows) == 2 and cell.text.casefold().startswith("lift")):
                tables.append(Table(view, c, rows, row))
    return _spread(view, tables)


def _is_lift_head(text: str) -> bool:
    if len(text) > _LONGEST_HEAD or not LIFT.search(text.replace("_", " ")):
        return False  # spares most words a closer look
    found = heading(text)
    return found.is_lift and not found.no_reading and len(text.split()) <= 5 and not found.flow_unit


def _bare(view: View) -> list[Table]:
    """Return the table of a sheet in which no heading says lift, by its numbers alone."""
    height = len(view.grid.rows)
    best: list[Table] = []
    if view.grid.width > 3 * MAX_COLUMNS:
        return best  # a long sheet, turned: its lifts run the other way
    for column in range(view.grid.width):
        row = 0
        while row < height:
            if not view.is_number(row, column):
                row += 1
                continue
            rows = view.run(column, row, height)
            row = rows[-1] + 1
            longer = len(rows) > (len(best[0].rows) if best else _LEAST_BARE - 1)
            if longer and _looks_like_lifts(view, column, rows):
                tables = _spread(view, [Table(view, column, rows, None)])
                if tables and tables[0].columns:
                    best = tables
    return best


def _looks_like_lifts(view: View, column: int, rows: Sequence[int]) -> bool:
    """Tell lifts by their even, round steps."""
    values = view.values(column, rows)
    numbers = [value for value in values if value is not None]
    if len(numbers) < len(values) or not is_rising(numbers) or min(numbers) < 0 or max(numbers) > 1500:
        return False
    steps = [round(abs(b - a), 9) for a, b in itertools.pairwise(numbers)]
    return max(map(steps.count, steps)) >= 0.6 * len(steps)


def _spread(view: View, tables: list[Table]) -> list[Table]:
    """Give each table its columns: those up to the next lifts beside it."""
    done: list[Table] = []
    for table in sorted(tables, key=lambda t: (t.rows[0], t.lift)):
        band = [other for other in tables if other is not table and set(other.rows) & set(table.rows)]
        right = min((o.lift for o in band if o.lift > table.lift), default=view.grid.width)
        first = not any(o.lift < table.lift for o in band)
        span = [*(range(table.lift) if first else ()), *range(table.lift + 1, right)]
        table.columns = [c for c in span if _has_cells(view, c, table)]
        previous = [o for o in done if o.lift == table.lift - 1 or not _numeric_between(view, o, table)]
        twin = next((o for o in previous if set(o.rows) == set(table.rows)), None)
        if twin is not None and not any(
            _is_numeric(view, c, table.rows) for c in twin.columns if c > twin.lift
        ):
            # lifts once more beside themselves, in another unit
            twin.other_lifts.append(table.lift)
            twin.columns = [c for c in {*twin.columns, *table.columns} if c != table.lift]
            twin.columns.sort()
            continue
        done.append(table)
    for table in list(done):
        if len(table.columns) > MAX_COLUMNS:
            done.remove(table)  # no one takes so many sweeps; in a turned sheet its rows are meant
        elif not any(_is_numeric(view, c, table.rows) for c in table.columns):
            twin = next((o for o in done if o is not table and set(o.rows) & set(table.rows)), None)
            if twin:  # lifts at the far edge, for the eye
                twin.other_lifts.append(table.lift)
            done.remove(table)
    return done


def _numeric_between(view: View, left: Table, right: Table) -> bool:
    return any(_is_numeric(view, c, right.rows) for c in range(left.lift + 1, right.lift))


def _has_cells(view: View, column: int, table: Table) -> bool:
    """Return whether a column belongs to a table; one text beside it is a remark or a title."""
    filled = [r for r in table.rows if view.amounts[r][column].kind != "blank" or view.cell(r, column)]
    headed = table.head_row is not None and bool(view.text(table.head_row, column))
    return len(filled) > 1 or (bool(filled) and (headed or _is_numeric(view, column, filled)))


def _is_numeric(view: View, column: int, rows: Sequence[int]) -> bool:
    return any(view.amounts[r][column].kind in ("number", "doubtful") for r in rows)


def _add_context(tables: list[Table]) -> None:
    """Find the words over and under each table, and the rows that are no readings of it."""
    if not tables:
        return
    view = tables[0].view
    for table in tables:
        above = [o.rows[-1] for o in tables if o.rows[-1] < table.rows[0] and _share(view, o, table)]
        table.top = max(above, default=-1) + 1
    highest = min(_first_heading(view, table) for table in tables)
    sheet_wide = [r for r in range(highest) if _is_alone(view, r)]
    last = max(table.rows[-1] for table in tables)
    notes = [_row_text(view, r, range(view.grid.width)) for r in range(last + 1, len(view.grid.rows))]
    covered = {c for table in tables for c in (table.lift, *table.other_lifts, *table.columns)}
    for table in tables:
        span = [table.lift, *table.other_lifts, *table.columns]
        heads = view.heading_rows(table)
        own = [
            r for r in range(table.rows[0] - 1, table.top - 1, -1) if r not in heads and r not in sheet_wide
        ]
        table.titles = [*_corners(view, table)]
        table.titles += [t for r in own if (t := _row_text(view, r, range(min(span), max(span) + 1)))]
        table.outer = [_row_text(view, r, range(view.grid.width)) for r in reversed(sheet_wide)]
        before = [_column_text(view, c) for c in range(min(span) - 1, -1, -1) if c not in covered]
        after = [_column_text(view, c) for c in range(max(span) + 1, view.grid.width) if c not in covered]
        if view.grid.turned:  # lines that stand over the table in the sheet
            table.titles += [text for text in before if text]
            before = []
        if len(tables) == 1:
            table.titles, table.outer = table.titles + table.outer, []
        elif table.top:
            # what stands over the first table of a column of tables mostly holds for all
            table.outer += [_row_text(view, r, range(view.grid.width)) for r in range(highest)]
        else:
            table.titles += list(_texts_upon(view, table, sheet_wide))
        table.outer += [*notes, *before, *after]
        table.titles = list(dict.fromkeys(filter(None, table.titles)))
        table.outer = list(dict.fromkeys(filter(None, table.outer)))
        table.left_out = list(_left_out(view, table, tables))


def _corners(view: View, table: Table) -> Iterator[str]:
    """Yield the words over the lifts that are not their head: "INTAKE (cfm)" left of the stages."""
    for row in sorted(view.heading_rows(table), reverse=True):
        text = view.text(row, table.lift)
        alone = view.covered.get((row, table.lift), (row, table.lift)) == (row, table.lift)
        if alone and text and table.head_row is not None and row < table.head_row and not is_row_label(text):
            yield text


def _texts_upon(view: View, table: Table, rows: Sequence[int]) -> Iterator[str]:
    """Yield the lines that stand right upon a table's headings, with no blank row between."""
    row = _first_heading(view, table) - 1
    while row in rows:
        yield _row_text(view, row, range(view.grid.width))
        row -= 1


def _column_text(view: View, column: int) -> str:
    """Return the words in a column beside the tables; numbers there are none of theirs."""
    texts = (view.text(r, column) for r in range(len(view.grid.rows)))
    return " ".join(dict.fromkeys(text for text in texts if text))


def _share(view: View, one: Table, other: Table) -> bool:
    mine = {one.lift, *one.columns}
    return bool(mine & {other.lift, *other.columns})


def _first_heading(view: View, table: Table) -> int:
    return min(view.heading_rows(table), default=table.rows[0])


def _is_alone(view: View, row: int) -> bool:
    """Return whether a row is one text, or a label and its value, and so of the whole sheet."""
    filled = [c for c in range(view.grid.width) if view.text(row, c)]
    places = {view.covered.get((row, c), (row, c)) for c in filled}
    return len(places) == 1 or (
        len(places) in (2, 3) and max(filled) - min(filled) <= 3 and view.text(row, min(filled)).endswith(":")
    )


def _row_text(view: View, row: int, span: range) -> str:
    places = dict.fromkeys(view.covered.get((row, c), (row, c)) for c in span if view.text(row, c))
    return " ".join(view.text(*place) for place in places)


def _left_out(view: View, table: Table, tables: list[Table]) -> Iterator[int]:
    """Yield rows under a table, up to the next, that hold numbers in its columns: maxima, means."""
    taken = {r for other in tables if _share(view, other, table) for r in other.rows}
    tops = [_first_heading(view, o) for o in tables if o.rows[0] > table.rows[-1] and _share(view, o, table)]
    for row in range(table.rows[-1] + 1, min(tops, default=len(view.grid.rows))):
        if row in taken:
            continue
        if any(_may_be_reading(view.amounts[row][c]) for c in table.columns):
            yield row


def _may_be_reading(one: Amount) -> bool:
    return one.kind == "number" and (one.unit is None or is_unit(one.unit, *FLOW_KINDS))
