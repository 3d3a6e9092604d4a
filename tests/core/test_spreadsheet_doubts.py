"""What a spreadsheet does not tell, or tells in two ways, is asked; a cell that is no number is named."""

from __future__ import annotations

import datetime as dt
import io

import openpyxl
import pytest

from core.files.spreadsheet import Imported, apply, curves, propose, read_grid
from core.files.spreadsheet.amounts import amount, fraction_of
from core.files.spreadsheet.grid import Book, Cell
from core.files.spreadsheet.headings import heading
from core.files.spreadsheet.questions import wrong_answers

HEAD = 'Lift (in),Stock intake (cfm @ 28"),Ported intake (cfm @ 28")\n'
ROWS = ".1,60.2,63.0\n.2,118.5,124.1\n.3,166.1,175.9\n.4,201.4,214.8\n"


def text(content: str) -> Book:
    return read_grid("flow.csv", content.encode("utf-8"))


def workbook(rows: list[list[object]], formats: dict[str, str] | None = None) -> Book:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for place, number_format in (formats or {}).items():
        book.active[place].number_format = number_format
    stream = io.BytesIO()
    book.save(stream)
    return read_grid("flow.xlsx", stream.getvalue())


def asked(book: Book, **answers: str) -> list[str]:
    return sorted(question.key for question in propose(book, answers).open)


def result(book: Book, **answers: str) -> Imported:
    return apply(
        book, propose(book, {key.replace("_", " "): value for key, value in answers.items()}).mapping
    )


def flows(imported: Imported) -> dict[tuple[str, str, str | None], int]:
    assert imported.problems == ()
    return {(c.stage, c.side, c.port): len(c.values) for c in curves(imported)}


# --- questions --------------------------------------------------------------------------

ASKED = {
    "nothing in doubt": (HEAD + ROWS, []),
    "no side": ("Lift (in),Stock cfm,Ported cfm\n" + ROWS, ["side"]),
    "one column without a side": ("Lift (in),Intake cfm,Ported cfm\n" + ROWS, ["use column C"]),
    "no units": ("Lift,Stock intake,Ported intake\n" + ROWS, ["flow", "lift"]),
    "no heads": (ROWS, ["flow", "lift", "lift line", "same", "side"]),
    "a lift that no valve has": (HEAD.replace("(in)", "(mm)") + ROWS, ["lift"]),
    "a pressure without a unit": (HEAD.replace('@ 28"', "@28") + ROWS, ["test pressure"]),
    "two pressures": (
        'at 10" H2O\nat 28" H2O\nLift (in),Stock intake cfm\n.1,6\n.2,11\n.3,15\n',
        ["test pressure"],
    ),
    "standard flow": (HEAD.replace("cfm", "SCFM") + ROWS, ["flow"]),
    "one name twice": (HEAD.replace("Ported", "Stock") + ROWS, ["same"]),
    "numbers of what": ("Intake cfm,,\nLift (in),1,2\n" + ROWS, ["numbers"]),
    "numbers of ports": ("Intake cfm by cylinder,,\nLift (in),1,2\n" + ROWS, []),
    "percent of what": (HEAD.replace("cfm", "% of range") + ROWS, ["range"]),
    "words for numbers": (HEAD + ROWS.replace("118.5", "sep"), ["blank"]),
    "numbers below": (HEAD + ROWS + ",200,210\n", ["rows"]),
    "a table that goes on": (HEAD + ROWS + "\n\n.5,220,230\n.6,225,236\n", ["rows"]),
    "a mean below": (HEAD + ROWS + "Mean,136.5,144.4\n", []),
    "lifts begin anew": (HEAD + ROWS + ROWS, ["anew"]),
    "no flow at all": (HEAD + ".1,60,9\n.2,3,80\n.3,59,7\n.4,2,60\n", []),
    "a count that looks like a flow": (
        "No.,Lift (in),Stock intake cfm\n1,.1,60\n2,.2,118\n3,.3,166\n4,.4,201\n",
        [],
    ),
    "a name that may be none": (
        "Lift (in),Stock intake cfm,Max effort intake cfm\n" + ROWS,
        ["use column C"],
    ),
    "dates": ("Lift (in),Stock intake cfm\n08-Jan,60\n04-Jan,118\n08-Mar,166\n", ["dates"]),
}


@pytest.mark.parametrize("name", ASKED)
def test_what_is_in_doubt_is_asked(name: str) -> None:
    content, keys = ASKED[name]
    book = text(content)
    assert asked(book) == keys


def test_a_workbook_with_the_same_stages_twice_is_asked_whatever_the_pressure() -> None:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, pressure in (("one", 28), ("two", 25)):
        sheet = book.create_sheet(name)
        for row in [["Lift (in)", f'Stock intake cfm @ {pressure}"'], [0.1, 60], [0.2, 118], [0.3, 166]]:
            sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    assert asked(read_grid("heads.xlsx", stream.getvalue())) == ["sheet"]


ANSWERED = [
    ("no side", {"side": "exhaust"}, {("Stock", "exhaust", None): 4, ("Ported", "exhaust", None): 4}),
    (
        "no units",
        {"lift": "in", "flow": "cfm"},
        {("Stock", "intake", None): 4, ("Ported", "intake", None): 4},
    ),
    ("one name twice", {"same": "one set-up"}, {("Stock", "intake", None): 8}),
    ("one name twice", {"same": "first"}, {("Stock", "intake", None): 4}),
    ("words for numbers", {"blank": "sep"}, {("Stock", "intake", None): 3, ("Ported", "intake", None): 4}),
    ("numbers of what", {"numbers": "port"}, {("flow", "intake", "1"): 4, ("flow", "intake", "2"): 4}),
    (
        "numbers of what",
        {"numbers": "stage"},
        {("stage 1", "intake", None): 4, ("stage 2", "intake", None): 4},
    ),
    ("numbers below", {"rows": "leave out"}, {("Stock", "intake", None): 4, ("Ported", "intake", None): 4}),
    (
        "lifts begin anew",
        {"anew": "one set-up"},
        {("Stock", "intake", None): 8, ("Ported", "intake", None): 8},
    ),
    (
        "one column without a side",
        {"use_column C": "reading", "side": "exhaust"},
        {("flow", "intake", None): 4, ("Ported", "exhaust", None): 4},
    ),
    (
        "no heads",
        {"lift_line": "A", "lift": "in", "flow": "cfm", "side": "intake", "same": "set-ups"},
        {("flow", "intake", None): 4},
    ),
]


@pytest.mark.parametrize(("name", "answers", "expected"), ANSWERED)
def test_an_answer_settles_it(name: str, answers: dict[str, str], expected: dict) -> None:
    assert flows(result(text(ASKED[name][0]), **answers)) == expected


def test_repeats_claim_least_unless_a_person_says_more() -> None:
    book = text("Intake cfm,,\nLift (in),Stock run 1,Stock run 2\n" + ROWS)
    question = next(q for q in propose(book).questions if q.key == "repeats")
    assert not question.needed
    assert len(result(book).sheets) == 1
    assert len(result(book, repeats="set-ups").sheets) == 2


def test_wrong_answers_are_named() -> None:
    wrong = wrong_answers({"lift": "cfm", "side": "left", "test pressure": "28", "flow": "cfm"})
    assert [one.split(":")[0] for one in wrong] == ["lift", "side", "test pressure"]


# --- cells that are no numbers --------------------------------------------------------------

BAD_CELLS = {
    "21O.4": "B3: '21O.4' is not a number",
    "1,234": "B3: '1,234' can be read as 1234 or as 1.234",
    "08-Jan": "B3: the reading is a date (8 January)",
    "45*": "B3: '45*' is not a number",
    "118.5 L/s": "B3: the cell says L/s, its heading cfm",
    "2l.4": "B3: '2l.4' is not a number",
    "-118.5": "B3: '-118.5 cfm' is not possible here",
}


@pytest.mark.parametrize("cell", BAD_CELLS)
def test_a_bad_cell_is_a_problem_with_its_place(cell: str) -> None:
    imported = result(text(HEAD + ROWS.replace("118.5", f'"{cell}"')))
    assert imported.sheets == ()
    (problem,) = imported.problems
    assert BAD_CELLS[cell] in str(problem)
    assert problem.cure


def test_a_lift_in_another_unit_is_a_problem() -> None:
    (problem,) = result(text(HEAD + ROWS.replace("\n.2,", "\n5.1 mm,"))).problems
    assert "A3: the cell says mm, the other lifts are in in." in str(problem)


def test_a_bad_lift_is_a_problem_with_its_place() -> None:
    (problem,) = result(text(HEAD + ROWS.replace("\n.2,", "\nO.2,"))).problems
    assert "A3: 'O.2' is not a number" in str(problem)


def test_a_formula_without_a_value_and_an_error_are_problems() -> None:
    rows = [["Lift (in)", "Stock intake cfm"], [0.1, 60.0], [0.2, "=B2*2"], [0.3, "#DIV/0!"], [0.4, 190.0]]
    places = [str(problem) for problem in result(workbook(rows)).problems]
    assert "Sheet!B3: a formula without a stored value" in places[0]
    assert "Sheet!B4: #DIV/0!" in places[1]


def test_blank_cells_are_readings_not_taken() -> None:
    assert flows(result(text(HEAD + ROWS.replace("118.5", "-").replace("175.9", "n/a")))) == {
        ("Stock", "intake", None): 3,
        ("Ported", "intake", None): 3,
    }


# --- numbers in every spelling ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "value", "unit"),
    [
        ("1/8", 0.125, None),
        ('3/16"', 0.1875, '"'),
        ("1 1/4 in", 1.25, "in"),
        ("⅜", 0.375, None),
        (".100", 0.1, None),
        ("0,125", 0.125, None),
        ("62 %", 62.0, "%"),
        ("45.2 cfm", 45.2, "cfm"),
        ("100 thou", 100.0, "thou"),
    ],
)
def test_numbers_as_people_write_them(written: str, value: float, unit: str | None) -> None:
    found = amount(Cell("text", written))
    assert (found.kind, found.value, found.unit) == ("number", value, unit)


@pytest.mark.parametrize("written", ["08-Jan", "Jan-8", "8. Jan", "1/8/2026", "2026-01-08", "8.1.2026"])
def test_dates_in_text_are_seen(written: str) -> None:
    assert amount(Cell("text", written)).month_day == (1, 8)
    assert fraction_of((1, 8), "month/day") == 0.125
    assert fraction_of((1, 8), "day/month") is None


def test_a_percent_format_is_a_percentage() -> None:
    rows = [
        ["Lift (in)", "Intake, % of range", "Range cfm"],
        [0.1, 0.41, 200],
        [0.2, 0.72, 200],
        [0.3, 0.9, 200],
    ]
    imported = result(workbook(rows, {f"B{n}": "0%" for n in (2, 3, 4)}))
    (sheet,) = [one.sheet for one in imported.sheets]
    assert [reading.range_fraction for reading in sheet.readings.intake] == pytest.approx([0.41, 0.72, 0.9])
    assert {round(reading.range_m3_s * 60 / 0.3048**3) for reading in sheet.readings.intake} == {200}


def test_a_date_stage_row_is_no_stage() -> None:
    rows = [
        ["", "Stock", "Ported"],
        ["", dt.date(2026, 1, 5), dt.date(2026, 2, 7)],
        ["Lift (in)", "Intake cfm", "Intake cfm"],
        [0.1, 60, 63],
        [0.2, 118, 124],
        [0.3, 166, 175],
    ]
    assert set(flows(result(workbook(rows)))) == {("Stock", "intake", None), ("Ported", "intake", None)}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ('CFM @ 28"', {"flow_unit": "cfm", "pressure": "28 inH2O", "name": ""}),
        ("Tested at 25 inches of water", {"pressure": "25 inH2O"}),
        ('10" H2O, corrected to 28"', {"pressure": "10 inH2O", "corrected_to": "28 inH2O"}),
        ('1.94" valve', {"pressure": None}),
        ('bore 4.030"', {"pressure": None}),
        ('flow @ .500" lift', {"pressure": None}),
        ("Exh. valve job", {"side": "exhaust", "name": "valve job"}),
        ("Intake port 2", {"side": "intake", "port": "2", "name": ""}),
        ("Cyl #3", {"port": "3"}),
        ("Stage #2", {"port": None, "name": "Stage #2"}),
        ("Ported", {"port": None, "name": "Ported"}),
        ("Run 2 of 3", {"run": "2"}),
        ("valve lift [thou]", {"is_lift": True, "lift_unit": "thou"}),
        ("Intake & exhaust flow", {"side": None, "both_sides": True}),
    ],
)
def test_what_headings_say(words: str, said: dict[str, object]) -> None:
    found = heading(words)
    assert {name: getattr(found, name) for name in said} == said
