"""A person's own words, as hostile as can be, through every file that leaves the shop: text, and no more."""

from __future__ import annotations

import io
import json
import re
import zipfile
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser

import pypdf
import pytest
from PIL import Image

from core.job import Bench, Job
from core.review import review
from core.units import METRIC
from dashboard.handover.bundle import FILES, archive
from dashboard.handover.choice import EVERYTHING
from dashboard.handover.numbers_csv import numbers_csv
from dashboard.handover.numbers_txt import numbers_txt
from tests.dashboard.invented_jobs import invented_job
from tests.dashboard.test_numbers_csv import blocks
from tests.dashboard.test_usertext import HOSTILE

TURNING = "\u202e\u2066\u200b\x07\x1b[31m\u2028"  # turns, hides, rings, colours, breaks
WORST = " ".join(HOSTILE) + TURNING + "=1+1 ../../x " + "W" * 500


@cache
def worst_job() -> Job:
    """Return a job of which every word that a person types is the worst there is."""
    job = invented_job(stages=3, setups=1, lifts=4, title=WORST)
    names = {stage.name: f"{n} {WORST}" for n, stage in enumerate(job.stages)}
    sheets = tuple(
        replace(
            sheet,
            file=f"{place}{WORST}.csv",
            stage=names[sheet.stage],
            port=WORST,
            bench=WORST,
            setup=f"{place}{WORST}",
            fixture=replace(sheet.fixture, intake_entry=f"{place % 2}{WORST}"),
        )
        for place, sheet in enumerate(job.sheets)
    )
    return replace(
        job,
        name=WORST,
        stages=tuple(replace(stage, name=names[stage.name]) for stage in job.stages),
        sheets=sheets,
        benches=(Bench(name=WORST, calibrated_at_pa=6974.5),),
        customer=WORST,
        casting=f"={WORST}",
        serial_number=f"@{WORST}",
        note=f"-{WORST}",
        currency=WORST,
        files=((f"{WORST}.csv", b"1"),),
    )


@cache
def made() -> dict[str, bytes]:
    done = review(worst_job())
    return {name: FILES[name](done, METRIC, EVERYTHING) for name in FILES}


class Elements(HTMLParser):
    """What a browser would make of a page: its elements with attributes, and its text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_page_has_no_element_of_theirs() -> None:
    page = Elements(made()["results.html"].decode())
    ours = Elements(FILES["results.html"](review(invented_job(stages=3)), METRIC, EVERYTHING).decode())
    assert {tag for tag, _ in page.found} <= {tag for tag, _ in ours.found}
    assert sum(tag == "script" for tag, _ in page.found) == sum(tag == "script" for tag, _ in ours.found)
    for tag, attributes in page.found:
        assert not {name for name in attributes if name.startswith("on")} | {"src", "href"} & set(
            attributes
        ), tag
    assert "<script>alert(1)</script>" in page.text and "![x](http://198.51.100.7/a.png)" in page.text


def test_a_still_says_it_on_one_line() -> None:
    for name in ("still-16x9.png", "still-9x16.png", "still-overlay.png"):
        about = Image.open(io.BytesIO(made()[name])).text
        for said in (about["Title"], about["Description"]):
            assert not set(said) & set("\u202e\u2066\u200b\x07\x1b\u2028\n")
            assert "<script>alert(1)</script>" in said


def test_plain_files_hold_nothing_that_hides_or_turns() -> None:
    for name in ("numbers.txt", "numbers.csv"):
        text = made()[name].decode("utf-8-sig")
        assert not set(text) & set("\u202e\u200b\x07\x1b\u2028"), name
        assert "<script>alert(1)</script>" in text


def test_a_program_gets_the_very_words() -> None:
    assert json.loads(made()["numbers.json"])["title"] == WORST


def test_no_path_of_theirs_in_an_archive() -> None:
    whole = archive(replace(review(worst_job())), {"numbers.txt": b""})
    for data in (made()["job.zip"], whole):
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            for name in packed.namelist():
                assert ".." not in name.split("/") and not name.startswith("/")
                assert not set(name) & set('<>:"|?*\\\u202e\x07\n')


FORMULA = re.compile(r"[\s'\"]*[=+\-@\u2212\uff1d\uff0b\uff0d\uff20]")


@pytest.mark.parametrize(
    "text", [*HOSTILE, "\t=1+1", "\r\n=1", "＝1+1", "-1+1", "\u202e=1", "a,b\n=1", '";=1']
)
def test_no_cell_of_a_sheet_is_a_formula(text: str) -> None:
    job = invented_job(stages=2, names=(text, f"{text} again"), title=text)
    job = replace(job, casting=text, note=text, customer=text, currency=text)
    for block in blocks(numbers_csv(review(job), METRIC)):
        for row in block:
            for said in row:
                if not re.fullmatch(r"-?\d+(\.\d+)?", said):
                    assert said[:1] == "'" or not FORMULA.match(said), said
                    assert "\n" not in said and "\r" not in said and "\u202e" not in said


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_names_change_no_line_of_the_text(text: str) -> None:
    def shape(names: tuple[str, str]) -> int:
        job = replace(invented_job(stages=2, names=names, title=names[0]), casting=names[0], note=names[1])
        return len(numbers_txt(review(job), METRIC).decode().splitlines())

    assert shape((text, f"{text} 2")) == shape(("as cast", "seat cut"))


def test_hostile_text_stays_text_in_the_pdf() -> None:
    reader = pypdf.PdfReader(io.BytesIO(made()["summary.pdf"]))
    assert not {"/AA", "/AcroForm", "/Names"} & set(reader.root_object)
    assert reader.root_object["/OpenAction"][1] == "/Fit"  # a view, no action
    for page in reader.pages:
        assert "/Annots" not in page and "/AA" not in page
    assert HOSTILE[1] in reader.metadata.title
