"""One sheet read one way: its cells with merged ones filled in, and the words over a table's columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from core.files.spreadsheet.amounts import Amount, amount, is_unit
from core.files.spreadsheet.grid import Cell, Grid
from core.files.spreadsheet.headings import heading
from core.files.table import uses_decimal_comma

HEAD_REACH = 6  # rows between a head and its first number: unit rows, group heads
_MOST_GAP = 1  # blank rows within a table
_NO_REMARK = (
    "side",
    "port",
    "run",
    "setup",
    "flow_unit",
    "lift_unit",
    "pressure",
    "bare_pressure",
    "corrected_to",
)
_ROW_LABELS = {"stage", "port", "cyl", "cylinder", "side", "run", "repeat", "set-up", "setup", "valve"}


@dataclass(frozen=True)
class Level:
    """The text over one column in one heading row."""

    row: int
    text: str
    label: str = ""  # the word left of the row that says what it holds: "Port"


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
        """Return whether a cell may hold a lift: a number, or a date that was a fraction."""
        place = self.covered.get((row, column), (row, column))
        one = self.amounts[place[0]][place[1]]
        return one.kind == "date" or (
            one.kind == "number" and (one.unit is None or is_unit(one.unit, "lift"))
        )

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
            elif gap < _MOST_GAP and (self.is_blank(r) or self._is_remark(rows, column, r, stop)):
                gap += 1
            else:
                break
        return tuple(rows)

    def _is_remark(self, rows: Sequence[int], column: int, row: int, stop: int) -> bool:
        """Tell a remark between two lifts from the title of the next table, whose lifts begin anew."""
        filled = {self.covered.get((row, c), (row, c)) for c in range(self.grid.width) if self.text(row, c)}
        if len(rows) < 2 or len(filled) != 1 or row + 1 >= stop or not self.is_number(row + 1, column):
            return False
        said = heading(self.text(*filled.pop()))
        if any(getattr(said, name) for name in _NO_REMARK):
            return False  # from here on something else was measured, or otherwise
        first, last, following = self.values(column, (rows[0], rows[-1], row + 1))
        return None not in (first, last, following) and (last - first) * (following - last) > 0

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
            if row in self.heading_rows(table) and (level := self._level(table, row, column)) is not None
        ]

    def heading_rows(self, table: Table) -> set[int]:
        """Return the rows that head columns; the others above a table are its titles."""
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
        if not text and row != table.rows[0] - 1 and column > table.lift:
            text = self._group_text(table, row, column)
        return Level(row, text, self._row_label(table, row)) if text else None

    def _row_label(self, table: Table, row: int) -> str:
        """Return the word that says what a heading row holds: "Port" left of 1, 2, 3."""
        text = self.text(row, table.lift) if row != table.head_row else ""
        return text.rstrip(" :=") if text and is_row_label(text) else ""

    def _group_text(self, table: Table, row: int, column: int) -> str:
        """Return the text of a group of columns that is written over one of them, unmerged."""
        block = self._block(table, column)
        edge = [c for c in range(block[0] - 1, -1, -1) if c not in table.columns]
        edge = edge[: next((i for i, c in enumerate(edge) if c + 1 in table.columns and i), len(edge))]
        stretch = [*reversed([c for c in edge if c >= table.lift]), *block]
        if self._row_label(table, row):
            stretch = [c for c in stretch if c != table.lift]
        texts = [c for c in stretch if self.text(row, c)]
        if len(texts) == 1:
            return self.text(row, texts[0]) if texts[0] <= block[0] or len(block) <= 3 else ""
        if not texts:
            return ""
        if texts[0] <= block[0]:  # each text begins its group
            return self.text(row, [c for c in texts if c <= column][-1])
        ways = [self._begun(texts, block), self._centred(texts, block)]
        alike = [groups for groups in ways if groups and self._alike(row, groups)]
        if len(alike) != 1:
            return ""
        group = next((group for group in alike[0] if column in group), [])
        return next((self.text(row, c) for c in texts if c in group), "")

    def _begun(self, texts: list[int], block: list[int]) -> list[list[int]]:
        """Return groups that each begin at a text, if they are of one size."""
        ends = [*texts[1:], block[-1] + 1]
        groups = [list(range(a, b)) for a, b in zip(texts, ends, strict=True)]
        return groups if len({len(group) for group in groups}) == 1 else []

    def _centred(self, texts: list[int], block: list[int]) -> list[list[int]]:
        """Return groups of one size that each have a text somewhere over them."""
        size, rest = divmod(len(block), len(texts))
        groups = [block[i : i + size] for i in range(0, len(block), size)] if not rest else []
        return groups if all(sum(c in group for c in texts) == 1 for group in groups) else []

    def _alike(self, row: int, groups: list[list[int]]) -> bool:
        """Return whether the headings below a row are the same in each group."""
        below = range(row + 1, min(row + 1 + HEAD_REACH, len(self.grid.rows)))
        words = [
            [[heading(self.text(r, c)).text for r in below if self._is_word(r, c)] for c in g] for g in groups
        ]
        return all(one == words[0] for one in words)

    def _is_word(self, row: int, column: int) -> bool:
        return bool(self.text(row, column)) and not self.is_number(row, column)

    def _block(self, table: Table, column: int) -> list[int]:
        """Return the columns around one that no empty column parts from it."""
        columns = sorted(c for c in table.columns if c > table.lift)
        block = [column]
        while block[0] - 1 in columns:
            block.insert(0, block[0] - 1)
        while block[-1] + 1 in columns:
            block.append(block[-1] + 1)
        return block


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
