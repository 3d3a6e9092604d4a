"""The summary PDF: every number in it is the review's, nothing is cut, and it is the same file twice."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache

import pypdf
import pytest

from core.job import SIDES, BenchSheet, Job, Printed, Sides
from core.results import Review
from core.review import review
from core.units import METRIC, US, UnitSet
from dashboard import answer_words, words
from dashboard.evidence import conditions
from dashboard.handover import basis
from dashboard.handover.choice import Choice
from dashboard.handover.derived import derived
from dashboard.handover.grid import in_groups
from dashboard.handover.pdf import summary_pdf
from dashboard.ladder import ladder
from dashboard.tables import Cell, flows, gains_by_lift
from tests.conftest import ROOT
from tests.dashboard.invented_jobs import invented_job

LONG_NAMES = tuple(
    f"{i + 1}: short turn and bowl blend, with_a_name_that_no_column_was_made_for and {'x' * 30}"
    for i in range(12)
)
STRANGE = ("бочка", "Ωμέγα", "žluťoučký", "日本語", "🏁", "שלום", "e\u0301tape", "a\u202eb", "tab\there")
RIGHT_TO_LEFT = ("مرحبا", "שלום", "Ωμέγα", "бочка", "عربي", "עברית")
SHAPES = {
    "four stages": {},
    "twelve stages, 24 lifts, long names": {"stages": 12, "lifts": 24, "names": LONG_NAMES},
    "one stage": {"stages": 1},
    "two stages": {"stages": 2, "setups": 1},
    "one side": {"stages": 3, "sides": ("exhaust",)},
    "no prices, no cam": {"priced": False, "cam": False},
    "seven stages in four ports": {"stages": 7, "ports": ("1", "2", "3", "4"), "lifts": 6},
    "one reading a sweep": {"stages": 3, "lifts": 1},
    "long title": {"title": "Žluťoučký kůň " * 12},
    "names from the right": {"stages": 6, "setups": 1, "lifts": 4, "names": RIGHT_TO_LEFT},
    "words without end": {
        "stages": 2,
        "setups": 1,
        "lifts": 3,
        "names": ("cast", "bowl " * 300),
        "title": "W" * 900,
    },
}
UNITS = {"metric": METRIC, "US": US}
MM = 72 / 25.4
SHEETS = {"metric": (210, 297), "US": (215.9, 279.4)}  # A4 (ISO 216) and Letter (ANSI/ASME Y14.1), mm


@cache
def reviewed(shape: str) -> Review:
    return review(invented_job(**SHAPES[shape]))


@cache
def document(shape: str, units: str = "metric", *, prices: bool = True) -> bytes:
    return summary_pdf(reviewed(shape), UNITS[units], Choice(prices=prices))


def squashed(text: str) -> str:
    """Return text without any space: where a line breaks is not what is tested."""
    return re.sub(r"\s", "", text)


def read(data: bytes) -> str:
    """Return a document's text, squashed, without the foot that each page ends with."""
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    texts = [squashed(page.extract_text()) for page in pages]
    feet = [f"data7f3c-91ae{number}of{len(pages)}" for number in range(1, len(pages) + 1)]
    assert all(text.endswith(foot) for text, foot in zip(texts, feet, strict=True))
    return "".join(text[: text.rindex("Flowin")] for text in texts)


def rows_of(shown: Review, units: UnitSet) -> Iterator[str]:
    """Yield every row of numbers that the tables and sentences make of a review."""
    yield answer_words.answer(shown)
    yield answer_words.steps(shown)
    yield words.ceiling_line(shown, units)
    yield words.conditions(shown, units)
    if len(shown.stages) > 1:
        for row in ladder(shown, units):
            yield f"{row.stage}{row.price}{row.gain.intake}{row.gain.exhaust}".replace(";", "")
    for side in SIDES:
        if not words.measured(shown, side):
            continue
        for row in ladder(shown, units):
            if row.change[side] != "–":
                changed = replace(row.gain[side], number=row.change[side])
                at_peak = Cell(row.at_peak[side], row.verdict_at_peak[side])
                yield f"{row.stage}{changed}{at_peak}{row.share[side]}{row.price_per_flow[side]}"
        yield from (" ".join(row) for row in flows(shown, side, units).rows)
        for against in ("previous", "baseline"):
            for row in gains_by_lift(shown, side, against, units).rows:
                yield f"{row.lift} {' '.join(map(str, row.cells))}" if row.cells else ""
    for one in basis.readings(shown, units):
        yield one.title
        yield from ("".join(row) for row in one.table.rows)
    yield from basis.how(shown, units)
    yield from derived(shown, units)
    yield from basis.equipment(shown, units)
    yield from (f"{level}{text}" for level, text in basis.notices(shown, units))


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("shape", ["four stages", "one stage", "two stages"])
def test_every_row_is_the_reviews_own(shape: str, units: str) -> None:
    text = read(document(shape, units))
    missing = [row for row in rows_of(reviewed(shape), UNITS[units]) if squashed(row) not in text]
    assert missing == []


@pytest.mark.parametrize("shape", ["twelve stages, 24 lifts, long names", "names from the right"])
def test_column_groups_hold_every_cell(shape: str) -> None:
    shown, text = reviewed(shape), read(document(shape))
    count = len(shown.stages)
    found = 0
    for side in SIDES:
        tables = [(5, flows(shown, side, METRIC).rows)]
        for against in ("previous", "baseline"):
            rows = gains_by_lift(shown, side, against, METRIC).rows
            tables.append((3, [(row.lift, *map(str, row.cells)) for row in rows]))
        for most, rows in tables:
            for lift, *cells in rows:
                assert count - len(cells) == (most == 3)  # the first stage has no gain
                for group in in_groups(len(cells), most):
                    assert squashed(lift + "".join(cells[group])) in text
                    found += 1
    assert found > 2 * 4 * count


def test_conditions_are_all_there() -> None:
    shown = reviewed("four stages")
    text = read(document("four stages"))
    table = conditions(shown, METRIC)
    for i, heading in enumerate(table.columns):
        values = {row[i] for row in table.rows}
        if len(values) == 1 and i:
            assert squashed(f"{heading.lower()} {values.pop()}") in text
    for sheet in shown.job.sheets:
        assert sheet.file in text
        assert str(sheet.date) in text


def test_factors_recompute_the_corrected_flow() -> None:
    """What is printed is enough: reading times both printed factors is the printed flow."""
    shown = reviewed("four stages")
    factors = {
        (row[0], row[1]): float(row[-2]) * float(row[-1]) for row in basis.corrections(shown, METRIC).rows
    }
    checked = 0
    for sheet, one in zip(shown.job.sheets, basis.readings(shown, METRIC), strict=True):
        for _, _, intake, intake_corrected, exhaust, exhaust_corrected in one.table.rows:
            for side, said, corrected in zip(
                SIDES, (intake, exhaust), (intake_corrected, exhaust_corrected), strict=True
            ):
                flow = float(said.split("\u00a0")[0]) * factors[sheet.file, side]
                # Factors are printed to 4 decimals (2 x 5e-5 of 120 L/s), flows to 0.1 L/s.
                assert float(corrected) == pytest.approx(flow, abs=0.05 + 0.012)
                checked += 1
    assert checked == 2 * 11 * len(shown.job.sheets)


def test_densities_recompute_the_density_factor() -> None:
    rows = basis.corrections(reviewed("four stages"), METRIC).rows
    assert rows
    for row in rows:
        scale, meter, piece = map(float, row[6:9])
        # Five printed digits each: 4 x 5e-5 / 1.1 / 2, and the factor's own rounding.
        assert float(row[-2]) == pytest.approx((scale * meter / (piece * 1.2250)) ** 0.5, abs=1.5e-4)


def test_without_prices_no_amount_is_left() -> None:
    with_prices, without = read(document("four stages")), read(document("four stages", prices=False))
    assert "EUR" in with_prices
    assert "EUR" not in without
    assert "noprice" not in without


def with_sheets(change: Callable[[BenchSheet], BenchSheet]) -> Job:
    job = invented_job(stages=2, setups=1)
    return replace(job, sheets=tuple(change(sheet) for sheet in job.sheets))


def with_own_pressures(sheet: BenchSheet) -> BenchSheet:
    own = Sides(
        *(
            tuple(one._replace(test_pressure_pa=(10 + one.line) * 249.08891) for one in readings)
            for _, readings in sheet.readings.items()
        )
    )
    return replace(sheet, readings=own)


@pytest.mark.parametrize(
    ("job", "said"),
    [
        (replace(invented_job(stages=2), sheets=()), ("no stage has a usable reading",)),
        (with_sheets(with_own_pressures), ("22 inH2O", "32 inH2O")),
        (
            with_sheets(lambda sheet: replace(sheet, air=replace(sheet.air, test_pressure_pa=None))),
            ("test pressure not stated", "not scaled"),
        ),
        (
            with_sheets(lambda sheet: replace(sheet, printed=Printed(already_corrected=True))),
            ("corrected by the bench",),
        ),
        (replace(invented_job(stages=2), pressure_rule="isentropic"), ("isentropic flux at 28 inH2O",)),
        (replace(invented_job(stages=2), note="Invented demo data."), ("Invented demo data.",)),
    ],
    ids=["no sheets", "pressure a row", "no pressure", "corrected", "isentropic", "note"],
)
def test_unusual_jobs_say_what_they_are(job: Job, said: tuple[str, ...]) -> None:
    text = read(summary_pdf(review(job), METRIC))
    for words_on_paper in said:
        assert squashed(words_on_paper) in text


# form -----------------------------------------------------------------------------------------


def test_foot_of_every_page() -> None:
    reader = pypdf.PdfReader(io.BytesIO(document("four stages")))
    count = len(reader.pages)
    assert count > 1
    for number, page in enumerate(reader.pages, start=1):
        text = page.extract_text()
        assert f"{number} of {count}" in text
        assert "data 7f3c-91ae" in text
        assert squashed(words.conditions(reviewed("four stages"), METRIC)) in squashed(text)


def test_title_language_date_and_alternative_text() -> None:
    reader = pypdf.PdfReader(io.BytesIO(document("four stages")))
    assert reader.metadata.title == "Invented four"
    assert reader.metadata.creation_date.date() == max(
        sheet.date for sheet in reviewed("four stages").job.sheets
    )
    assert reader.root_object["/Lang"] == "en"
    kids = [kid.get_object() for kid in reader.root_object["/StructTreeRoot"]["/K"][0]["/K"]]
    figures = [kid for kid in kids if kid["/S"] == "/Figure"]
    assert kids[0]["/S"] == "/H1"
    assert len(figures) == 1
    for name in ("as cast", "port exit"):
        assert name in figures[0]["/Alt"]


@pytest.mark.parametrize("units", UNITS)
def test_paper_goes_with_the_units(units: str) -> None:
    for page in pypdf.PdfReader(io.BytesIO(document("four stages", units))).pages:
        size = [float(side) / MM for side in page.mediabox[2:]]
        assert size == pytest.approx(SHEETS[units], abs=0.1)


def test_bookmarks_lead_to_their_headings() -> None:
    reader = pypdf.PdfReader(io.BytesIO(document("four stages")))
    marks = {one.title: one for one in reader.outline if not isinstance(one, list)}
    assert next(iter(marks)) == "Summary"
    assert {"Intake by lift", "Exhaust by lift", "What to know", "How to recompute these numbers"} <= set(
        marks
    )
    for title, mark in list(marks.items())[1:]:
        page = reader.pages[reader.get_destination_page_number(mark)]
        assert squashed(title) in squashed(page.extract_text())
    assert reader.root_object["/ViewerPreferences"]["/DisplayDocTitle"]


def test_first_page_says_where_the_rest_is() -> None:
    reader = pypdf.PdfReader(io.BytesIO(document("four stages")))
    first = squashed(reader.pages[0].extract_text())
    for part, heading in (("every lift", "Intake by lift"), ("readings", "Readings, and the flow that")):
        page = next(
            n for n, page in enumerate(reader.pages) if squashed(heading) in squashed(page.extract_text())
        )
        said = re.search(rf"Page{page + 1}:([^.]*)[.]", first)
        assert said and squashed(part) in said[1]


def test_the_ladder_is_on_the_first_page_where_it_can_be() -> None:
    for shape in ("four stages", "two stages", "one side", "no prices, no cam"):
        for units in UNITS:
            first = pypdf.PdfReader(io.BytesIO(document(shape, units))).pages[0].extract_text()
            assert words.ALL_WORK in first, (shape, units)


def test_undated_sheets_give_a_fixed_date() -> None:
    undated = with_sheets(lambda sheet: replace(sheet, date=None))
    made = pypdf.PdfReader(io.BytesIO(summary_pdf(review(undated), METRIC))).metadata.creation_date
    assert (made.year, made.month, made.day) == (2000, 1, 1)


def test_same_bytes_in_another_process() -> None:
    program = (
        "import sys; from core.review import review; from core.units import METRIC\n"
        "from dashboard.handover.pdf import summary_pdf\n"
        "from tests.dashboard.invented_jobs import invented_job\n"
        "sys.stdout.buffer.write(summary_pdf(review(invented_job()), METRIC))"
    )
    environment = {**os.environ, "PYTHONHASHSEED": "5", "TZ": "Asia/Tokyo"}
    other = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, env=environment, capture_output=True, check=True
    )
    assert other.stdout == document("four stages")
    assert other.stdout == summary_pdf(reviewed("four stages"), METRIC)
