"""What each line of one table is: reading, words, or something that was worked out from readings."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from core import units
from core.files.spreadsheet.amounts import Amount
from core.files.spreadsheet.find import is_rising
from core.files.spreadsheet.headings import Heading, common, heading, without_weak_side
from core.files.spreadsheet.mapping import Use
from core.files.spreadsheet.view import Level, Table
from core.files.spreadsheet.vocabulary import AVERAGE, MAY_BE_NAMES
from core.units import quoted

_LEAST_SHARED = 3  # rows that must agree before a line counts as worked out from others
_MOST_COMPARED = 16  # lines; all triples of them are tried
_LABEL_WORDS: dict[Use, tuple[str, ...]] = {
    "stage": (
        "stage", "modification", "mod", "work", "version", "config", "configuration", "condition",
        "description", "step",
    ),
    "side": ("side", "valve", "int/exh", "in/ex", "i/e", "port side"),
    "port": ("port", "cyl", "cylinder", "ports", "cylinders", "cyl#", "hole", "runner"),
    "run": ("run", "repeat", "rep", "pull", "pass", "trial", "sweep", "set-up", "setup"),
}  # fmt: skip


@dataclass
class Found:
    """One line of a table with what is over it."""

    column: int
    levels: list[Level]
    words: list[Heading]  # of the levels, the nearest first
    values: list[float | None]
    cell_unit: str | None  # where every number has the same beside it
    use: Use = "reading"
    why: str = ""
    doubt: str = ""  # why a person should look whether it is a reading
    stage: str = ""
    stage_reason: str = ""
    stage_sure: bool = True
    stage_shared: bool = False  # named by a heading over all lines
    port: str | None = None
    run: str | None = None
    setup: str | None = None
    numbered: bool = False  # nothing but a number tells it apart
    is_average: bool = False
    notes: list[str] = field(default_factory=list)

    @property
    def heading(self) -> str:
        """Return all words over the line, from the top down."""
        texts = (f"{level.label} {level.text}".strip() for level in reversed(self.levels))
        return " / ".join(dict.fromkeys(texts))

    def numbers(self) -> list[float]:
        """Return the numbers in the line."""
        return [value for value in self.values if value is not None]


def lines_of(table: Table) -> list[Found]:
    """Return the lines of a table, each with its use.

    Parameters
    ----------
    table : Table
        As found.

    Returns
    -------
    list of Found
        By column; the lifts themselves are none of them.
    """
    found = [_line(table, column) for column in table.columns]
    _settle_weak_sides(found)
    for line in found:
        _sort_words(table, line)
    readings = [line for line in found if line.use == "reading"]
    _skip_worked_out(table, readings)
    readings = [line for line in found if line.use == "reading"]
    _doubt_unlike(readings, [heading(text) for text in (*table.titles, *table.outer)])
    for line in found:
        if line.use == "reading":
            line.port, line.run, line.setup = (common(line.words, name) for name in ("port", "run", "setup"))
    return found


def _line(table: Table, column: int) -> Found:
    view = table.view
    levels = table.levels(column)
    amounts = [view.amounts[row][column] for row in table.rows]
    return Found(
        column,
        levels,
        [_with_label(level) for level in levels],
        view.values(column, table.rows),
        _shared_unit([one for one in amounts if one.kind == "number"]),
    )


def _shared_unit(amounts: Sequence[Amount]) -> str | None:
    units_beside = {one.unit for one in amounts}
    return units_beside.pop() if len(units_beside) == 1 else None


def _with_label(level: Level) -> Heading:
    """Return what a heading says together with the word left of its row."""
    label = level.label.casefold()
    if label in ("stage", "side", "valve", "") and not level.text.strip().isdecimal():
        return heading(level.text)
    found = heading(f"{level.label} {level.text}")
    if label in _LABEL_WORDS["port"] and not found.port and not found.side:
        return Heading(level.text, port=level.text.strip())
    if label in _LABEL_WORDS["run"] and not (found.run or found.setup):
        return Heading(level.text, run=level.text.strip())
    return found


def _settle_weak_sides(found: list[Found]) -> None:
    """Take "in" and "ex" for sides where both stand over one table."""
    said = {side for line in found for one in line.words for side in (one.side, one.weak_side) if side}
    if said != {"intake", "exhaust"}:
        return
    for line in found:
        if not any(one.side for one in line.words):
            line.words = [without_weak_side(one) for one in line.words]


def _sort_words(table: Table, line: Found) -> None:
    """Give a line its use by the words over it and the kind of its cells."""
    view, column = table.view, line.column
    kinds = Counter(view.amounts[row][column].kind for row in table.rows)
    words = kinds["text"] + kinds["doubtful"] + kinds["date"]
    label = _label_use(table, line, is_words=words > kinds["number"])
    if label:
        line.use = label
    elif not kinds["number"] and not kinds["doubtful"]:
        line.use, line.why = "skip", "words, not numbers" if words else "blank"
    elif any(one.is_lift_ratio for one in line.words):
        line.use, line.why = "skip", "lift over valve diameter"
    elif column in table.other_lifts or any(one.is_lift and not one.flow_unit for one in line.words[:1]):
        line.use, line.why = "skip", "the lift once more"
    elif any(one.is_range for one in line.words):
        line.use = "range"
    elif any(one.is_pressure and not one.flow_unit for one in line.words[:1]):
        line.use = "test pressure"
    else:
        _sort_no_reading(line)


def _sort_no_reading(line: Found) -> None:
    found = next((one for one in line.words if one.no_reading), None)
    if found is None:
        return
    if found.no_reading == AVERAGE:
        line.is_average = True
        return
    line.use, line.why = "skip", f"{found.no_reading}, by its heading"
    if found.no_reading in MAY_BE_NAMES and len(found.name.split()) > 1 and looks_like_flow(line.values):
        line.doubt = (
            f"its heading {quoted(found.text)} may be a stage's name, or say that it is {found.no_reading}"
        )


def _label_use(table: Table, line: Found, is_words: bool) -> Use | None:
    """Return the use of a column that says row by row what a reading is of."""
    view, rows = table.view, table.rows
    text = line.levels[0].text.strip(" :#.").casefold() if line.levels else ""
    use = next((use for use, words in _LABEL_WORDS.items() if text in words), None)
    cells = [view.text(row, line.column) for row in rows]
    if use and (is_words or _few(cells)):
        return use
    if not is_words:
        return None
    heads = [heading(cell) for cell in cells if cell]
    if heads and all((one.side or one.weak_side) and len(one.name) <= 3 for one in heads):
        return "side"
    lifts = view.values(table.lift, rows)
    if is_rising([value for value in lifts if value is not None]):
        return None  # each lift stands once: words beside it are notes
    if heads and all(one.port and not one.name for one in heads):
        return "port"
    if heads and all((one.run or one.setup) and not one.name for one in heads):
        return "run"
    return "stage" if _parts_sweeps(lifts, cells) else None


def _few(cells: Sequence[str]) -> bool:
    """Return whether cells are a few short names, over and over."""
    said = [cell for cell in cells if cell]
    return bool(said) and len(set(said)) <= max(2, len(cells) / 3)


def _parts_sweeps(lifts: Sequence[float | None], cells: Sequence[str]) -> bool:
    """Return whether words tell apart the sweeps that follow one another in a column of lifts."""
    groups: dict[str, list[float]] = {}
    last = ""
    for lift, cell in zip(lifts, cells, strict=True):
        last = cell or last
        if lift is not None:
            groups.setdefault(last, []).append(lift)
    return len(groups) > 1 and all(len(set(group)) >= 2 for group in groups.values())


def looks_like_flow(values: Sequence[float | None]) -> bool:
    """Return whether numbers could be a flow over rising or falling lift.

    Parameters
    ----------
    values : sequence of (float or None)
        In the order of the lifts.

    Returns
    -------
    bool
        True where none is negative and most steps go one way.
    """
    numbers = [value for value in values if value is not None]
    if len(numbers) < 2:
        return bool(numbers) and numbers[0] >= 0
    steps = [b - a for a, b in itertools.pairwise(numbers)]
    up, down = sum(step > 0 for step in steps), sum(step < 0 for step in steps)
    return min(numbers) >= 0 and max(up, down) >= 0.6 * len(steps)


def _skip_worked_out(table: Table, lines: list[Found]) -> None:
    """Skip lines that are the mean, the difference or the ratio of two others, whatever they are called."""
    if len(lines) > _MOST_COMPARED:
        return
    grid = table.grid
    for line in lines:
        if line.is_average:
            continue
        if _flow_heading(line) and line.words and line.words[0].side:
            continue
        for one, other in itertools.permutations(
            [o for o in lines if o is not line and o.use == "reading"], 2
        ):
            if how := _worked_out(line.values, one.values, other.values):
                line.use = "skip"
                line.why = f"{how} of {grid.line(one.column)} and {grid.line(other.column)}"
                break


def _flow_heading(line: Found) -> bool:
    return any(one.flow_unit not in (None, "%") for one in line.words)


def _worked_out(
    values: Sequence[float | None], first: Sequence[float | None], second: Sequence[float | None]
) -> str | None:
    """Return how a line follows from two others, None where it does not."""
    rows = [
        (v, a, b)
        for v, a, b in zip(values, first, second, strict=True)
        if v is not None and a is not None and b is not None
    ]
    if len(rows) < _LEAST_SHARED or all(a == b for _, a, b in rows):
        return None
    top = max(abs(v) for v, _, _ in rows)
    if 0.2 < top < 0.4 * max(a for _, a, _ in rows) and all(abs(v - (b - a)) <= 0.051 for v, a, b in rows):
        return "the difference"
    for scale in (1.0, 100.0):
        close = 0.006 if scale == 1 else 0.51
        if all(a and abs(v - scale * (b / a - 1)) <= close for v, a, b in rows) and any(
            v for v, _, _ in rows
        ):
            return "the change"
        if all(a and abs(v - scale * b / a) <= close for v, a, b in rows):
            return "the ratio"
    return None


def _says_unit(line: Found) -> bool:
    return line.cell_unit is not None or any(one.flow_unit for one in line.words)


def _doubt_unlike(lines: list[Found], around: Sequence[Heading]) -> None:
    """Doubt lines that do not run like a flow, or say less than the others beside them."""
    in_title = any(one.flow_unit for one in around)
    united = lines if in_title else [line for line in lines if _says_unit(line)]
    sided = [line for line in lines if any(one.side for one in line.words)]
    for line in lines:
        numbers = line.numbers()
        if len(numbers) > 2 and numbers == [float(i) for i in range(1, len(numbers) + 1)]:
            line.use, line.why = "skip", "it counts the rows"
            continue
        if sided and line not in sided:
            line.doubt = "it says no side, as other lines of the table do"
            continue
        if united and line not in united:
            line.doubt = "it says no unit, as other lines of the table do"
            continue
        said = any(one.side for one in line.words) or _says_unit(line)
        if not looks_like_flow(line.values) and not said:
            line.doubt = "its numbers do not run like a flow over lift"
        elif len(line.numbers()) < 2 and not said:
            line.doubt = "it holds a single number"


def same_flow(
    values: Sequence[float | None],
    unit: str | None,
    other_values: Sequence[float | None],
    other_unit: str | None,
) -> bool:
    """Return whether two lines are one flow in two units.

    Parameters
    ----------
    values, other_values : sequence of (float or None)
        Their numbers, row by row.
    unit, other_unit : str or None
        Their units.

    Returns
    -------
    bool
        True where they agree to half a percent.
    """
    if not unit or not other_unit:
        return False
    kinds = ("flow", "fraction", "mass flow", "pressure")
    kind, scale, _ = units.factor(unit, kinds)
    other_kind, other_scale, _ = units.factor(other_unit, kinds)
    pairs = [
        (a * scale, b * other_scale)
        for a, b in zip(values, other_values, strict=False)
        if a is not None and b is not None
    ]
    return (
        kind == other_kind
        and len(pairs) >= _LEAST_SHARED
        and all(abs(a - b) <= 0.005 * max(abs(a), abs(b)) + 1e-9 for a, b in pairs)
    )


def is_mean_of(line: Found, others: Sequence[Found]) -> bool:
    """Return whether a line is the mean of others.

    Parameters
    ----------
    line : Found
        The line.
    others : sequence of Found
        Those it may be the mean of.

    Returns
    -------
    bool
        True to within the last figure that people write.
    """
    rows = [
        (value, [o for o in row if o is not None])
        for value, row in zip(line.values, zip(*(o.values for o in others), strict=True), strict=True)
        if value is not None
    ]
    rows = [(value, row) for value, row in rows if row]
    return len(others) > 1 and len(rows) >= 2 and all(abs(v - sum(r) / len(r)) <= 0.51 for v, r in rows)
