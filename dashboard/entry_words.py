"""What the Job sheet says: verdicts while typing, tables of a sweep, messages, labels."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from statistics import mode

from core.entry import Point, Sweep
from core.job import Problem, Side
from core.units import MINUS, NO_BREAK_SPACE, quoted
from dashboard.figures import NOTHING, counted, figure, plus_minus
from dashboard.hand import Hand
from dashboard.tables import Table

Safe = Callable[[str], str]

TABS = (
    "At the bench",
    "Sheets",
    "Job",
    "Engine and cams",
    "Stages and prices",
    "Valves",
    "Bench",
    "Target",
)
NOTHING_TO_TAKE_BACK = "There is no reading of this set-up and side to take back."
BAND_CAPTION = (
    "Grey: two set-ups of the same thing may differ by this much, 95\u00a0%{assumed}. "
    "Inside it a change is too close to call."
)
ASSUMED = ", from an assumed repeatability"
KEYS_CAPTION = (
    "Number pad: digits, Enter. - and Enter takes the last one back. Several at once: 91.4 101.6 108.0. "
    "Each reading is on disk before the next is asked for."
)
ALL_READ = "Every lift of this side is read."


def bench_heading(side: Side, lift: str | None, unit: str) -> str:
    """Return what is asked for next."""
    if lift is None:
        return ALL_READ
    return (
        f"{side.capitalize()} at {lift.lstrip('0') if lift.startswith('00') else lift}{NO_BREAK_SPACE}{unit}"
    )


def reading_label(unit: str, before: str | None, other: str | None) -> str:
    """Return the label of the field for readings."""
    return f"Reading, {unit}" + (f" (before {before})" if before and other else "")


def not_taken(line: str, text: str, cure: str) -> str:
    """Return why a line was not taken."""
    return f"{text} {cure} Nothing of {quoted(line.strip())} was taken."


def no_lift_left(line: str, side: Side) -> str:
    """Return that there are more readings than lifts."""
    return (
        f"There is no {side} lift left to read for all of {quoted(line.strip())}. Add lifts under "
        "'Conditions and set-up', or choose one to take again."
    )


def decimals_of(hand: Hand, side: Side) -> int:
    """Return with how many decimals this meter is read."""
    typed = [row.side(side) for row in hand.rows if row.side(side)]
    return mode(len(one.partition(".")[2]) for one in typed) if typed else 1


def typed_figure(figures: str) -> str:
    """Return figures as they were typed, with a real minus."""
    return figures.replace("-", MINUS)


def before_figure(point: Point, unit: float, decimals: int) -> str | None:
    """Return what the stage before would read."""
    return None if point.before is None else figure(point.before / unit, decimals)


def change_figure(point: Point, unit: float) -> str:
    """Return the change against the stage before, with its ±."""
    if point.reading is None or point.before is None:
        return ""
    change = (point.reading - point.before) / unit
    return plus_minus(change, (point.room or 0.0) / unit)


def sweep_table(hand: Hand, side: Side, sweep: Sweep, unit: float, next_lift: str | None) -> Table:
    """Return the sweep so far: lift, what is read now and before, the change, and what wants a check."""
    decimals = decimals_of(hand, side)
    rows = []
    points = by_lift(hand, sweep)
    for row in hand.rows:
        point = points.get(row.lift)
        now = "next" if row.lift == next_lift and not row.side(side) else typed_figure(row.side(side))
        change = change_figure(point, unit) if point and point.level is None else ""
        cells = [row.lift, now]
        if sweep.other:
            cells += [(point and before_figure(point, unit, decimals)) or "", change]
        rows.append((*cells, _check(row.side(side), point)))
    heads = [f"Lift, {hand.lift_unit}", f"Now, {hand.unit(side)}"]
    heads += ["Before", "Change"] if sweep.other else []
    return Table((*heads, "Check"), tuple(rows), tuple(row.lift == next_lift for row in hand.rows))


def _check(figures: str, point: Point | None) -> str:
    if not figures or point is None:
        return ""
    return "look" if point.reading is None else point.level or "ok"  # a flow of nothing is no reading


def by_lift(hand: Hand, sweep: Sweep) -> dict[str, Point]:
    """Return the points by their lift as written; none where the sheet cannot be read."""
    if len(sweep.points) != len(hand.rows):
        return {}
    return dict(zip(hand.lifts, sweep.points, strict=True))


def verdict(
    hand: Hand, side: Side, sweep: Sweep, unit: float, lifts: Sequence[str], safe: Safe = str
) -> tuple[str, str] | None:
    """Return the level and the words on readings just taken: every doubtful one, else the last."""
    points = by_lift(hand, sweep)
    rows = {row.lift: row for row in hand.rows}
    taken = [(rows[lift], points[lift]) for lift in lifts if lift in rows and points.get(lift)]
    taken = [(row, point) for row, point in taken if point.reading is not None]
    if not taken:
        return None
    doubtful = [(row, point) for row, point in taken if point.level]
    if not doubtful:
        row, point = taken[-1]
        more = f", and {counted(len(taken) - 1, 'reading')} before it" if len(taken) > 1 else ""
        return (
            "ok",
            f"**{row.side(side)} at {_lift(row.lift, hand)}**{more}: ok.{_beside(point, sweep, unit, safe)}",
        )
    level = "stop" if any(point.level == "stop" for _, point in doubtful) else "look"
    said = [_doubt(row.lift, row.side(side), point, hand, side, unit) for row, point in doubtful]
    cure = "**-** and Enter takes it back; leave it if the meter does show it."
    return level, "  \n".join([*said, cure])


def _lift(lift: str, hand: Hand) -> str:
    return f"{lift}{NO_BREAK_SPACE}{hand.lift_unit}"


def _beside(point: Point, sweep: Sweep, unit: float, safe: Safe) -> str:
    if sweep.other is None or point.before is None:
        return ""
    port = "" if sweep.same_port else ", measured in another port"
    return f" {change_figure(point, unit)} on {safe(sweep.other)}{port}."


def doubts(hand: Hand, side: Side, sweep: Sweep, unit: float) -> list[str]:
    """Return the words on every doubtful reading of a sweep."""
    points = by_lift(hand, sweep)
    rows = [(row, points[row.lift]) for row in hand.rows if row.lift in points]
    return [_doubt(row.lift, row.side(side), one, hand, side, unit) for row, one in rows if one.level]


_SLIPS = {"decimal": "Decimal slip?", "unit": "Another unit?", "digits": "Two digits swapped?"}


def _doubt(lift: str, figures: str, point: Point, hand: Hand, side: Side, unit: float) -> str:
    said = f"**{point.level}: {figures} at {_lift(lift, hand)}, {side}.** {figures} does not fit."
    if point.fits is not None and point.slip is not None:
        would = (
            figure(point.fits / unit, max(decimals_of(hand, side), 1))
            if point.slip == "unit"
            else _short(point.fits / unit)
        )
        return f"{said} {_SLIPS[point.slip]} {would} would."
    if point.before is not None:
        return f"{said} The stage before would read {before_figure(point, unit, decimals_of(hand, side))}."
    return f"{said} It is off the curve of its neighbours."


def _short(value: float) -> str:
    return f"{value:.10g}".replace("-", MINUS)


def compared_with(sweep: Sweep, hand: Hand, safe: Safe = str) -> str:
    """Return what the readings are compared with."""
    if sweep.other is None:
        return "Nothing to compare with yet: each reading is checked against its neighbours on the curve."
    if sweep.other == hand.value("stage"):
        beside = f"the other set-ups of {safe(sweep.other)}"
    else:
        beside = safe(sweep.other)
    port = "" if sweep.same_port else " (measured in another port)"
    return f"Before: what {beside}{port} would read on this meter today."


def conditions_line(hand: Hand, *, is_new: bool) -> str:
    """Return a set-up's conditions in one line, and where those of a new one come from."""
    keys = ("test pressure", "barometer", "air temperature", "humidity")
    said = [f"{key} {hand.value(key)}" for key in keys if hand.value(key)]
    if not said:
        return "Conditions: not stated yet."
    return f"Conditions: {'; '.join(said)}." + (" Copied from the last set-up: check them." if is_new else "")


NEW_SETUP = "a new set-up"
STAGE_LABEL, PORT_LABEL, SIDE_LABEL, SETUP_LABEL = "Stage on the bench", "Port", "Side", "Set-up"
NAME_A_STAGE = "Name what is on the bench under 'Stage on the bench', for example as cast."
FIELD_RULE = "Digits, a decimal mark, spaces between readings, or - to take the last one back."
SETUP_TITLE = "Conditions and set-up"
LIFTS_LABEL = "Lifts to read"
UNIT_FIXED = "The unit is fixed once something has been read in it."
CURVE_TITLE = "Readings so far"
BLANK_LABEL = "Download a blank sheet to print (blank-sheet.pdf)"
REST_HAS_PROBLEMS = "Other files of this job have problems, so there is nothing to compare with. See below."


def band_caption(sweep: Sweep) -> str:
    """Return what the grey band is."""
    return BAND_CAPTION.format(assumed=ASSUMED if sweep.assumed else "")


def chart_title(sweep: Sweep, hand: Hand, side: Side, safe: Safe = str) -> str:
    """Return the heading of the live chart."""
    if sweep.other is None:
        return f"{CURVE_TITLE}, {hand.unit(side)}"
    if sweep.other == hand.value("stage"):
        return f"Change on the other set-ups, {hand.unit(side)}"
    return f"Change on {safe(sweep.other)}, {hand.unit(side)}"


def mark_words(figures: str, lift: str, hand: Hand, side: Side, point: Point, unit: float) -> str:
    """Return one reading for a chart's tooltip and description."""
    change = change_figure(point, unit)
    said = f"{typed_figure(figures)} {hand.unit(side)} at {_lift(lift, hand)}"
    return f"{said}, {change}" if change else said


def setup_name(hand: Hand, file: str) -> str:
    """Return how a set-up is called in a list."""
    when = " ".join(filter(None, (hand.value("date"), hand.value("time"))))
    return f"{file} ({when})" if when else file


PREVIEW_TITLE = "What the numbers give so far"
PREVIEW_EMPTY = "The first curve stands here as soon as something has been read."
PREVIEW_BLOCKED = "No curve is drawn until this can be read: half a job would mislead."
BEGIN_HELP = (
    "Begin with readings, in whichever way is nearest: at the bench, from a file, from a pasted block or "
    "typed into the grid. Nothing else is needed for the first curve."
)
UPLOAD_LABEL = "Bench sheets or any spreadsheet (CSV, XLSX, ODS), job.toml"
PASTE_LABEL = "Or paste a block from a spreadsheet"
PASTE_EXAMPLE = "lift [mm], intake [L/s], exhaust [L/s]"
JOB_FILE_IS_THERE = (
    "This job has a job.toml already. Save the other one as a job of its own, or edit this one."
)
TYPE_TITLE = "Type a sheet"
SHEET_TO_TYPE = "Sheet"
NEW_SHEET = "a new sheet"
NAME_THE_STAGE = "Name the stage that was measured, for example as cast."
GRID_CAPTION = (
    "Enter goes down, Tab to the right. A decimal comma will do. "
    "A cell takes a moment to open: a fast hand types a sweep under 'At the bench'. "
    "Lifts are changed under 'Conditions and set-up'."
)
SHEET_HEADS = ("File", "Stage", "Port", "Date", "Readings")


SHOP_ONLY = "This screen is the shop's."


REASONS_TITLE = "Why it is taken so"
KEEP_MAPPING = "Keep these answers in the job, for the next sheet of this shape"
MAPPING_ALT = "What each column or row of the spreadsheet is, to be corrected where it is wrong."


def recalled(reason: str) -> str:
    """Return that a mapping was used which the job keeps, and why."""
    return f"Not asked again: {reason}."


def suggested(answer: str | None, choice: bool) -> str:
    """Return what stands in a field before it is answered."""
    if answer is None:
        return "choose" if choice else ""
    return f"choose (it looks like {answer})" if choice else f"for example {answer}"


def more_problems(count: int) -> str:
    """Return how many more cells cannot be used."""
    return f"And {count} more like these. Mend the spreadsheet, and upload it again."


def more_waiting(count: int) -> str:
    """Return how many spreadsheets wait behind this one."""
    return f"{counted(count, 'more file')} after this one."


def questions_left(count: int) -> str:
    """Return that questions are open."""
    return f"{counted(count, 'question')} above to answer before anything is taken."


def take_sheets(count: int) -> str:
    """Return the label of the button that takes what a mapping gives."""
    return f"Take {counted(count, 'sheet')}" if count else "Take the sheets"


def answered(key: str, answer: str) -> str:
    """Return an answer that was given, on the button that takes it back."""
    return f"{key}: {answer} (ask again)"


def table_line(sheet: str, lift: str, across: bool, lift_unit: str | None) -> str:
    """Return where a table and its lifts are."""
    where = f"{sheet}: " if sheet else ""
    unit = f"unit: {lift_unit}" if lift_unit else "in a unit to be named"
    return f"{where}lifts in {'row' if across else 'column'} {lift}, {unit}."


def problems_left(count: int) -> str:
    """Return how much is to be mended."""
    return f"**{counted(count, 'problem')} to mend** before this can be saved."


def stage_is_there(name: str) -> str:
    """Return that a stage cannot be added twice."""
    return f"The stage {quoted(name)} is there already."


def sheet_is_there(name: str) -> str:
    """Return that a file was given twice."""
    return f"{name} is in this job already, to the last character: it was not added again."


def sheets_title(count: int) -> str:
    """Return how many sheets there are."""
    return f"{counted(count, 'sheet')} in this job"


def grid_alt(hand: Hand) -> str:
    """Return what the grid is, for who cannot see it."""
    return f"Readings of {hand.value('stage') or 'this sheet'} over lift, to be typed."


def problem_line(problem: Problem) -> str:
    """Return a problem's text with its cure."""
    return f"{problem.text} {problem.cure}".strip()


def dash(text: str) -> str:
    """Return text, or the sign for nothing."""
    return text or NOTHING
