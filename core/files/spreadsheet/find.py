"""The tables in a sheet: where the lifts run, which lines stand beside them, which words stand over them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from core.files.spreadsheet.amounts import Amount, amount
from core.files.spreadsheet.grid import Cell, Grid
from core.files.spreadsheet.headings import heading
from core.files.table import uses_decimal_comma

LEAST_LIFTS = 3
_LEAST_BARE = 4  # where no heading says lift
_HEAD_REACH = 6  # rows between a head and its first number: unit rows, group heads
_MOST_GAP = 1  # blank rows within a table


@dataclass(frozen=True)
class Level:
    """The text over one column in one heading row."""

    row: int
    text: str
    label: str = ""  # the word left of the row that says what it holds: "Port"
    wide: bool = False  # it covers other columns as well
    sure: bool = True  # its reach is stated by the sheet, not worked out


@dataclass
class Table:
    """Lifts in one column and readings beside them; a sheet with lifts across is turned first."""

    view: View
    lift: int
    rows: tuple[int, ...]
    head_row: int | None  # of the cell that says lift
    columns: list[int] = field(default_factory=list)
    other_lifts: list[int] = field(default_factory=list)
    top: int = 0  # first row that may hold words over this table
    titles: list[str] = field(default_factory=list)  # the nearest first
    outer: list[str] = field(default_factory=list)  # of the sheet: above all tables, and notes below
    left_out: list[int] = field(default_factory=list)  # rows with numbers that are no reading
    either_way: bool = False  # it could as well be read across

    @property
    def grid(self) -> Grid:
        """Return the sheet, turned so that lifts run down."""
        return self.view.grid

    def levels(self, column: int) -> list[Level]:
        """Return the texts over a column, the nearest first."""
        return self.view.levels(self, column)


class View:
    """One sheet, read one way, with what is asked of it again and again."""

    def __init__(self, grid: Grid) -> None:
        self.grid = grid
        self.covered: dict[tuple[int, int], tuple[int, int]] = {}
        for r0, c0, r1, c1 in grid.merged:
            for r in range(r0, min(r1, len(grid.rows) - 1) + 1):
                for c in range(c0, min(c1, grid.width - 1) + 1):
                    self.covered[r, c] = (r0, c0)

    @cached_property
    def comma(self) -> bool:
        """Return whether the sheet's text writes decimal commas."""
        return uses_decimal_comma(cell.text for _, _, cell in self.grid.texts() if cell.kind == "text")

    @cached_property
    def amounts(self) -> list[list[Amount]]:
        """Return what each cell says."""
        return [[amount(cell, self.comma) for cell in row] for row in self.grid.rows]

    def cell(self, row: int, column: int) -> Cell | None:
        """Return a cell, a merged one wherever it reaches."""
        return self.grid.at(*self.covered.get((row, column), (row, column)))

    def text(self, row: int, column: int) -> str:
        """Return a cell's text, a merged one's wherever it reaches."""
        cell = self.cell(row, column)
        return "" if cell is None else cell.text

    def is_number(self, row: int, column: int) -> bool:
        """Return whether a cell holds a number, or what may have been one."""
        place = self.covered.get((row, column), (row, column))
        return self.amounts[place[0]][place[1]].kind in ("number", "date")

    def is_blank(self, row: int) -> bool:
        """Return whether a row is empty."""
        return all(one.kind == "blank" for one in self.amounts[row])

    def run(self, column: int, start: int, stop: int) -> tuple[int, ...]:
        """Return the rows in which a column goes on with numbers, from one that has one."""
        rows: list[int] = []
        gap = 0
        for r in range(start, stop):
            if self.is_number(r, column) or (rows and self._is_slip(r, column)):
                rows.append(r)
                gap = 0
            elif self.is_blank(r) and gap < _MOST_GAP:
                gap += 1
            else:
                break
        return tuple(rows)

    def _is_slip(self, row: int, column: int) -> bool:
        """Tell a lift with a slip in it from a word under the table."""
        one = self.amounts[row][column]
        return one.kind == "doubtful" and any(
            a.kind == "number" for c, a in enumerate(self.amounts[row]) if c != column
        )

    def values(self, column: int, rows: Sequence[int]) -> list[float | None]:
        """Return a column's numbers, None for all else."""
        return [
            self.amounts[r][column].value if self.amounts[r][column].kind == "number" else None for r in rows
        ]

    def levels(self, table: Table, column: int) -> list[Level]:
        """Return the texts over a column, the nearest first."""
        return [
            level
            for row in range(table.rows[0] - 1, table.top - 1, -1)
            if row in self._heading_rows(table) and (level := self._level(table, row, column)) is not None
        ]

    def _heading_rows(self, table: Table) -> set[int]:
        key = (table.lift, table.rows, table.top)
        cache = self.__dict__.setdefault("_heads", {})
        if key not in cache:
            cache[key] = set(self._find_heading_rows(table))
        return cache[key]

    def _find_heading_rows(self, table: Table) -> Iterator[int]:
        """Yield the rows that head columns; the others above a table are its titles."""
        span = [table.lift, *table.other_lifts, *table.columns]
        least, most = min(span), max(span)
        met = False
        for row in range(table.rows[0] - 1, table.top - 1, -1):
            filled = [c for c in range(least, most + 1) if self.text(row, c)]
            if not filled:
                if met and (table.head_row is None or row < table.head_row):
                    return
                continue
            met = True
            if self._is_title(table, row, filled, most):
                if row + 1 < table.rows[0] and (table.head_row is None or row < table.head_row):
                    continue  # a unit or a group may still stand above it
                continue
            yield row

    def _is_title(self, table: Table, row: int, filled: list[int], most: int) -> bool:
        """Tell a line over a whole table, or a note beside it, from the heads of its columns."""
        if table.head_row is not None and row >= table.head_row:
            return False  # the head of the lifts, or a row of units below it
        places = {self.covered.get((row, c), (row, c)) for c in filled}
        first = min(filled)
        inner = [c for c in table.columns if c > table.lift] or table.columns
        if len(places) == 1:
            # one text: over all columns with the lift, or at the lift or left of it
            return first <= table.lift and (most in filled or first <= table.lift)
        if first <= table.lift and len(places) <= 4 and len(inner) >= 2:
            label = heading(self.text(row, first))
            if is_row_label(self.text(row, first)):
                return False
            over = [c for c in inner if self.text(row, c)]
            # "Customer | Smith" beside a table of many columns: a label and what belongs to it
            near = all(c <= first + 3 for c in filled)
            return (
                not label.is_lift
                and not label.lift_unit
                and near
                and bool(self.text(row, first))
                and len(over) < len(inner)
                and self.text(row, first).rstrip().endswith((":", "="))
            )
        if first <= table.lift and len(places) == 2 and self.text(row, first).rstrip().endswith((":", "=")):
            return not is_row_label(self.text(row, first))
        return False

    def _level(self, table: Table, row: int, column: int) -> Level | None:
        """Return what one heading row says over one column, also where its text is not merged."""
        text = self.text(row, column)
        place = self.covered.get((row, column))
        label = self._row_label(table, row)
        if text:
            wide = place is not None and any(
                self.covered.get((row, c)) == place for c in (column - 1, column + 1)
            )
            return Level(row, text, label, wide)
        if row == table.rows[0] - 1 or column <= table.lift:
            return None
        found = self._group_text(table, row, column)
        return Level(row, found[0], label, True, found[1]) if found else None

    def _row_label(self, table: Table, row: int) -> str:
        """Return the word that says what a heading row holds: "Port" left of 1, 2, 3."""
        text = self.text(row, table.lift) if row != table.head_row else ""
        return text.rstrip(" :=") if text and is_row_label(text) else ""

    def _group_text(self, table: Table, row: int, column: int) -> tuple[str, bool] | None:
        """Return the text of a group of columns that is written over one of them, unmerged."""
        block = self._block(table, column)
        edge = [c for c in range(block[0] - 1, -1, -1) if c not in table.columns]
        edge = edge[: next((i for i, c in enumerate(edge) if c + 1 in table.columns and i), len(edge))]
        stretch = [*reversed([c for c in edge if c >= table.lift]), *block]
        if self._row_label(table, row):
            stretch = [c for c in stretch if c != table.lift]
        texts = [c for c in stretch if self.text(row, c)]
        if not texts:
            return None
        if len(texts) == 1:
            return self.text(row, texts[0]), True
        if texts[0] <= block[0]:  # each text begins its group
            before = [c for c in texts if c <= column]
            sizes = {b - a for a, b in zip(texts, [*texts[1:], block[-1] + 1], strict=True)}
            return self.text(row, before[-1]), len(sizes) == 1
        size, rest = divmod(len(block), len(texts))
        if rest:
            return None
        groups = [block[i : i + size] for i in range(0, len(block), size)]
        if all(sum(c in group for c in texts) == 1 for group in groups):  # each stands amid its group
            group = next(group for group in groups if column in group)
            return self.text(row, next(c for c in texts if c in group)), True
        return None

    def _block(self, table: Table, column: int) -> list[int]:
        """Return the columns around one that no empty column parts from it."""
        columns = sorted(c for c in table.columns if c > table.lift)
        block = [column]
        while block[0] - 1 in columns:
            block.insert(0, block[0] - 1)
        while block[-1] + 1 in columns:
            block.append(block[-1] + 1)
        return block


_ROW_LABELS = {"stage", "port", "cyl", "cylinder", "side", "run", "repeat", "set-up", "setup", "valve"}


def is_row_label(text: str) -> bool:
    """Return whether a word says what the cells to its right are.

    Parameters
    ----------
    text : str
        For example ``Port`` or ``Stage:``.

    Returns
    -------
    bool
        True for the words that head a row of headings.
    """
    return text.strip(" :=#").casefold() in _ROW_LABELS


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
    steps = [b - a for a, b in zip(values, values[1:], strict=False)]
    return all(step > 0 for step in steps) or all(step < 0 for step in steps)


def _headed(view: View) -> list[Table]:
    """Return tables whose lifts have a head that says so."""
    height = len(view.grid.rows)
    tables: list[Table] = []
    for row, column, cell in view.grid.texts():
        if cell.kind != "text" or not _is_lift_head(cell.text):
            continue
        reach = [c for r, c in view.covered if r == row and view.covered[r, c] == (row, column)] or [column]
        for c in reach:
            start = next(
                (r for r in range(row + 1, min(row + 1 + _HEAD_REACH, height)) if view.is_number(r, c)), None
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
    found = heading(text)
    words = text.split()
    return found.is_lift and not found.no_reading and len(words) <= 5 and not found.flow_unit


def _bare(view: View) -> list[Table]:
    """Return the table of a sheet in which no heading says lift, by its numbers alone."""
    height = len(view.grid.rows)
    best: list[Table] = []
    for column in range(view.grid.width):
        row = 0
        while row < height:
            if not view.is_number(row, column):
                row += 1
                continue
            rows = view.run(column, row, height)
            row = rows[-1] + 1
            if len(rows) >= _LEAST_BARE and _looks_like_lifts(view, column, rows):
                tables = _spread(view, [Table(view, column, rows, None)])
                if tables and tables[0].columns and (not best or len(rows) > len(best[0].rows)):
                    best = tables
    return best


def _looks_like_lifts(view: View, column: int, rows: Sequence[int]) -> bool:
    """Tell lifts by their even, round steps."""
    values = view.values(column, rows)
    numbers = [value for value in values if value is not None]
    if len(numbers) < len(values) or not is_rising(numbers) or min(numbers) < 0 or max(numbers) > 1500:
        return False
    steps = [round(abs(b - a), 9) for a, b in zip(numbers, numbers[1:], strict=False)]
    return max(map(steps.count, steps)) >= 0.6 * len(steps)


def _spread(view: View, tables: list[Table]) -> list[Table]:
    """Give each table its columns: those up to the next lifts beside it."""
    done: list[Table] = []
    for table in sorted(tables, key=lambda t: (t.rows[0], t.lift)):
        band = [other for other in tables if other is not table and set(other.rows) & set(table.rows)]
        right = min((o.lift for o in band if o.lift > table.lift), default=view.grid.width)
        first = not any(o.lift < table.lift for o in band)
        span = [*(range(table.lift) if first else ()), *range(table.lift + 1, right)]
        table.columns = [c for c in span if _has_cells(view, c, table.rows)]
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
        if not any(_is_numeric(view, c, table.rows) for c in table.columns):
            twin = next((o for o in done if o is not table and set(o.rows) & set(table.rows)), None)
            if twin:  # lifts at the far edge, for the eye
                twin.other_lifts.append(table.lift)
            done.remove(table)
    return done


def _numeric_between(view: View, left: Table, right: Table) -> bool:
    return any(_is_numeric(view, c, right.rows) for c in range(left.lift + 1, right.lift))


def _has_cells(view: View, column: int, rows: Sequence[int]) -> bool:
    return any(view.amounts[r][column].kind != "blank" or view.cell(r, column) for r in rows)


def _is_numeric(view: View, column: int, rows: Sequence[int]) -> bool:
    return any(view.amounts[r][column].kind == "number" for r in rows)


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
        heads = view._heading_rows(table)
        own = [
            r for r in range(table.rows[0] - 1, table.top - 1, -1) if r not in heads and r not in sheet_wide
        ]
        table.titles = [t for r in own if (t := _row_text(view, r, range(min(span), max(span) + 1)))]
        table.outer = [_row_text(view, r, range(view.grid.width)) for r in reversed(sheet_wide)]
        before = [_column_text(view, c) for c in range(min(span) - 1, -1, -1) if c not in covered]
        after = [_column_text(view, c) for c in range(max(span) + 1, view.grid.width) if c not in covered]
        if view.grid.turned:  # lines that stand over the table in the sheet
            table.titles += [text for text in before if text]
            before = []
        if len(tables) == 1:
            table.titles, table.outer = table.titles + table.outer, []
        table.outer += [note for note in (*notes, *before, *after) if note]
        table.titles, table.outer = list(dict.fromkeys(table.titles)), list(dict.fromkeys(table.outer))
        table.left_out = list(_left_out(view, table, tables))


def _column_text(view: View, column: int) -> str:
    """Return the words in a column beside the tables; numbers there are none of theirs."""
    texts = (view.text(r, column) for r in range(len(view.grid.rows)))
    return " ".join(dict.fromkeys(text for text in texts if text))


def _share(view: View, one: Table, other: Table) -> bool:
    mine = {one.lift, *one.columns}
    return bool(mine & {other.lift, *other.columns})


def _first_heading(view: View, table: Table) -> int:
    return min(view._heading_rows(table), default=table.rows[0])


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
        if any(view.amounts[row][c].kind == "number" for c in table.columns):
            yield row
