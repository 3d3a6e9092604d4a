"""results.html: every number in it is the review's, a name stays a name, and it is the same file twice."""

from __future__ import annotations

import base64
import hashlib
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import fields, replace
from functools import cache
from itertools import pairwise
from typing import Any

import pytest

from core.job import SIDES, Finding, Job, Side, Target
from core.results import Review
from core.review import review
from core.units import METRIC, US, to_display
from dashboard import answer_words, words
from dashboard.curves import lines_of
from dashboard.handover.choice import EVERYTHING, Choice, shown_to
from dashboard.handover.grid import in_groups
from dashboard.handover.page import results_html
from dashboard.ladder import ladder
from dashboard.tables import Cell, flows, gains_by_lift
from tests.conftest import ROOT
from tests.dashboard.invented_jobs import invented_job
from tests.dashboard.pages import Element, read_page, rows_of
from tests.dashboard.test_pdf import LONG_NAMES, STRANGE
from tests.dashboard.test_usertext import HOSTILE

UNITS = {"metric": METRIC, "US": US}
SHAPES: dict[str, dict[str, Any]] = {
    "four stages": {},
    "twelve stages, 24 lifts, long names": {"stages": 12, "lifts": 24, "names": LONG_NAMES},
    "one stage": {"stages": 1},
    "two stages": {"stages": 2, "setups": 1},
    "no exhaust": {"stages": 3, "sides": ("intake",)},
    "no prices, no cam": {"priced": False, "cam": False},
    "one reading a sweep": {"stages": 3, "lifts": 1},
    "names in many scripts": {"stages": len(STRANGE), "names": STRANGE, "setups": 1, "lifts": 3},
}


@cache
def reviewed(shape: str) -> Review:
    return review(invented_job(**SHAPES[shape]))


@cache
def page(shape: str, units: str = "metric", choice: Choice = EVERYTHING) -> Element:
    return read_page(results_html(reviewed(shape), UNITS[units], choice))


def as_said(cell: Cell) -> str:
    """Return a cell as the page sets it: figure, verdict, doubts."""
    verdict = f"{cell.mark} {cell.words}" if cell.verdict else ""
    return " ".join(filter(None, (cell.number, verdict, *cell.doubts)))


def tables(root: Element, caption: str) -> list[list[list[str]]]:
    """Return the rows of every table whose caption begins so."""
    found = [
        table for table in root.all("table") for one in table.all("caption") if one.text.startswith(caption)
    ]
    return [rows_of(table) for table in found]


def joined(parts: list[list[list[str]]]) -> list[list[str]]:
    """Return the rows of a table that stands in groups of columns, as one."""
    rows = [list(row) for row in parts[0]]
    for part in parts[1:]:
        for row, more in zip(rows, part, strict=True):
            assert row[0] == more[0]
            row += more[1:]
    return rows


# numbers --------------------------------------------------------------------------------


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("shape", SHAPES)
def test_tables_by_lift_are_the_reviews_own(shape: str, units: str) -> None:
    shown, root, unit = reviewed(shape), page(shape, units), UNITS[units]
    checked = 0
    for side in SIDES:
        stages = words.measured(shown, side)
        if not stages:
            assert not tables(root, f"{side.capitalize()} flow")
            continue
        expected = flows(shown, side, unit)
        got = joined(tables(root, f"{side.capitalize()} flow"))[1:]
        assert got == [list(row) for row in expected.rows]
        checked += len(got)
        for against, other in (("previous", "the stage before"), ("baseline", "")):
            if len(stages) < (2 if against == "previous" else 3):
                continue
            parts = tables(root, f"{side.capitalize()} gain over {other}")
            groups = len(in_groups(len(stages) - 1, 4))
            parts = parts[-groups:] if against == "baseline" else parts[:groups]
            rows = gains_by_lift(shown, side, against, unit).rows
            assert joined(parts)[1:] == [[row.lift, *map(as_said, row.cells)] for row in rows]
            checked += len(rows)
    assert checked > 0


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("shape", ["four stages", "no exhaust", "no prices, no cam", "two stages"])
def test_ladder_is_the_reviews_own(shape: str, units: str) -> None:
    shown = reviewed(shape)
    (table,) = page(shape, units).all("table", "ladder")
    expected = []
    for row in ladder(shown, UNITS[units]):
        price = row.price if words.is_priced(shown) else ""
        expected.append([f"{row.stage}{price}", as_said(row.gain.intake), as_said(row.gain.exhaust)])
    assert rows_of(table)[1:] == expected


def number(text: str) -> float:
    return float(text.replace("\u202f", "").replace("−", "-").lstrip("+"))


@pytest.mark.parametrize("units", UNITS)
def test_printed_flows_are_the_numbers_behind_them(units: str) -> None:
    """From the other end: the review's own floats, converted here, round to what is printed."""
    shown, unit = reviewed("four stages"), UNITS[units]
    checked = 0
    for side in SIDES:
        rows = joined(tables(page("four stages", units), f"{side.capitalize()} flow"))
        for column, stage in enumerate(shown.stages, start=1):
            curve = stage.side(side)
            for row, flow, half in zip(rows[1:], curve.flow_m3_s, curve.expanded_bench_m3_s, strict=False):
                for text, value in zip(row[column].split("\u00a0±\u00a0"), (flow, half), strict=True):
                    decimals = len(text.partition(".")[2])
                    # Half a unit of the last digit, and a float's own rounding.
                    assert abs(number(text) - to_display(value, "flow", unit)) <= 0.5001 * 10.0**-decimals
                    checked += 1
    assert checked == 2 * 2 * 4 * 11


def test_sentences_are_the_reviews_own() -> None:
    for shape in SHAPES:
        shown, text = reviewed(shape), page(shape).text
        for sentence in (
            answer_words.answer(shown),
            answer_words.steps(shown),
            words.conditions(shown, METRIC),
            words.ceiling_line(shown, METRIC),
            f"Data {shown.job.fingerprint}",
        ):
            assert re.sub(r"\s+", " ", sentence) in text.replace("\u00a0", " ").replace("\u202f", " "), shape


# charts ---------------------------------------------------------------------------------


def points(root: Element, side: Side) -> Iterator[tuple[int, float, float, str]]:
    """Yield (stage, x, y, what it says) of every reading in a side's chart."""
    for chart in root.all("svg", "flow"):
        if side not in chart.attributes["class"].split():
            continue
        for line in chart.all("g"):
            for kind in ("circle", "rect"):
                for point in line.all(kind, "point"):
                    at = point.attributes
                    place = int(line.attributes["class"].split()[0][1:])
                    if kind == "circle":
                        yield place, float(at["cx"]), float(at["cy"]), point.text
                    else:
                        half = float(at["width"]) / 2
                        yield place, float(at["x"]) + half, float(at["y"]) + half, point.text


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("shape", ["four stages", "twelve stages, 24 lifts, long names"])
def test_readings_stand_where_they_belong_and_say_their_table_cell(shape: str, units: str) -> None:
    shown, unit = reviewed(shape), UNITS[units]
    for side in SIDES:
        drawn = sorted(points(page(shape, units), side), key=lambda one: (one[0], one[1]))
        lines = [line for line in lines_of(shown, unit) if line.side == side]
        flat = [(line, lift, flow) for line in lines for lift, flow in zip(line.lift, line.flow, strict=True)]
        assert len(drawn) == len(flat) > 0
        table = flows(shown, side, unit)
        # Both axes are linear: two readings far apart give the scale for all of them.
        (_, x0, y0, _), (_, x1, y1, _) = drawn[0], drawn[len(lines[0].lift) - 1]
        (_, lift0, flow0), (_, lift1, flow1) = flat[0], flat[len(lines[0].lift) - 1]
        for (place, x, y, said), (line, lift, flow) in zip(drawn, flat, strict=True):
            assert place == line.index
            # Coordinates are written to a tenth; a scale from two of them is off by at most 0.1 at its ends.
            assert x == pytest.approx(x0 + (x1 - x0) * (lift - lift0) / (lift1 - lift0), abs=0.25)
            assert y == pytest.approx(y0 + (y1 - y0) * (flow - flow0) / (flow1 - flow0), abs=0.25)
            cells = [row[line.index + 1] for row in table.rows]
            assert any(f": {cell}\u00a0" in said for cell in cells)
            assert line.name in said


def test_a_reading_says_its_gain_with_verdict_and_doubt() -> None:
    job = invented_job(stages=2, setups=1)
    other = tuple(
        replace(sheet, fixture=replace(sheet.fixture, bore_m=0.09)) if sheet.stage == "seat cut" else sheet
        for sheet in job.sheets
    )
    said = [
        text
        for *_, text in points(read_page(results_html(review(replace(job, sheets=other)), METRIC)), "intake")
    ]
    gains = [text for text in said if "Over as cast" in text]
    assert len(gains) == 11
    assert all("too close to call" in text and "another set-up" in text for text in gains)


def test_every_toggle_has_its_line_and_its_rule() -> None:
    root = page("twelve stages, 24 lifts, long names")
    css = root.all("style")[0].text
    boxes = [box.attributes["id"] for box in root.all("input")]
    assert boxes == [*(f"stage-{i}" for i in range(12)), "side-intake", "side-exhaust"]
    for box in boxes:
        assert f":root:has(#{box}:not(:checked))" in css
    used = {part for one in root.all("g") for part in one.attributes["class"].split()}
    assert {f"g{i}" for i in range(12)} <= used


def test_names_do_not_run_into_each_other() -> None:
    """Names and numbers at line ends keep a line's height apart, whatever the flows."""
    for shape in SHAPES:
        for chart in page(shape).all("svg", "chart"):
            names = [one.all("text")[0].attributes for one in chart.all("g", "name")]
            heights = sorted(float(one["y"]) for one in names)
            assert all(low - high >= 14.4 for high, low in pairwise(heights)), shape
            assert all(0 < float(one["x"]) < 460 for one in names)


# what may be seen ----------------------------------------------------------------------


def test_what_is_withheld_is_in_no_corner_of_the_page() -> None:
    job = replace(invented_job(), customer="Vanessa Invented", currency="XTS")
    noticed = Finding("note", "unknown-key", "the key 'shelf-mark' is not known")
    shown = replace(review(job), findings=(*review(job).findings, noticed))
    everything = results_html(shown, METRIC).decode()
    for secret, without in (
        ("Vanessa", Choice(customer=False)),
        ("XTS", Choice(prices=False)),
        ("shelf-mark", Choice(doubts=False)),
    ):
        assert secret in everything
        left = results_html(shown, METRIC, without).decode()
        assert secret not in left
        assert len(left) > 0.9 * len(everything)  # the rest is still there


def test_a_planned_stage_is_said_to_be_a_quotation() -> None:
    job = invented_job(stages=3)
    planned = replace(job.stages[-1], name="runner match", price=300.0, planned=True)
    root = read_page(results_html(review(replace(job, stages=(*job.stages, planned))), METRIC))
    assert "Planned and only quoted: runner match (300\u00a0EUR)" in root.text
    assert "300\u00a0EUR quoted" in root.text


def test_a_missing_test_pressure_is_said_beside_the_numbers() -> None:
    job = invented_job(stages=2, setups=1)
    bare = tuple(replace(one, air=replace(one.air, test_pressure_pa=None)) for one in job.sheets)
    root = read_page(results_html(review(replace(job, sheets=bare)), METRIC))
    (table,) = root.all("table", "ladder")
    assert "no test pressure stated" in table.text
    assert "Where no test pressure was stated, flow is shown as measured" in root.text


# safety ---------------------------------------------------------------------------------


def with_words(text: str) -> Job:
    """Return a job with a text in every field that a person fills in freely."""
    job = invented_job(stages=3, setups=1, lifts=4, names=(f"1{text}", f"2{text}", f"3{text}"), title=text)
    sheets = tuple(
        replace(
            sheet,
            file=f"{text}-{place}.csv",
            port=text,
            note=text,
            bench=text,
            fixture=replace(sheet.fixture, intake_entry=text, spark_plug=f"{text}{place}"),
        )
        for place, sheet in enumerate(job.sheets)
    )
    target = Target(text, (replace(sheets[0], role="target", stage=None, file=f"{text}-target.csv"),))
    return replace(
        job,
        sheets=sheets,
        target=target,
        customer=text,
        casting=text,
        serial_number=text,
        note=text,
        currency=text,
        benches=(replace(job.benches[0], name=text),),
        findings=(Finding("look", "invented", "{} was noticed", values=((text, "text"),), file=text),),
    )


@pytest.mark.parametrize(
    "text", [*HOSTILE, "'\"><svg onload=alert(1)>", "{{ 7*7 }}{% raw %}", "</title></script>"]
)
def test_hostile_text_adds_no_element_and_no_attribute(text: str) -> None:
    tame, hostile = (
        read_page(results_html(review(with_words(said)), METRIC)) for said in ("plain word", text)
    )
    assert hostile.structure() == tame.structure()
    assert " ".join(text.split()) in hostile.all("h1")[0].text
    assert [one.text for one in hostile.all("script")] == [one.text for one in tame.all("script")]
    # The policy differs only by the style sheet's hash, which knows no text.
    assert [one.attributes.get("content") for one in hostile.all("meta")] == [
        one.attributes.get("content") for one in tame.all("meta")
    ]


def test_policy_allows_the_pages_own_style_and_script_alone() -> None:
    data = results_html(reviewed("four stages"), METRIC).decode()
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', data)[1].replace("&#39;", "'")
    for tag, kind in (("style", "style-src"), ("script", "script-src")):
        (content,) = re.findall(f"<{tag}>(.*?)</{tag}>", data, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(content.encode()).digest()).decode()
        assert f"{kind} 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    assert data.index("Content-Security-Policy") < data.index("<style>")


def test_nothing_points_out_of_the_page() -> None:
    for shape in SHAPES:
        for _, attributes in page(shape).structure():
            assert not {"href", "src", "srcset", "action", "style", "xlink:href"} & set(attributes)
            assert not [name for name in attributes if name.startswith("on")]
        assert b"://" not in results_html(reviewed(shape), METRIC)
        assert b"url(" not in results_html(reviewed(shape), METRIC)


def test_control_characters_leave_a_mark_and_turn_nothing() -> None:
    job = invented_job(stages=2, names=("a\x00b", "c\u202ed\x1b"))
    data = results_html(review(job), METRIC)
    assert not re.search(rb"[\x00-\x08\x0b-\x1f\x7f]", data)
    assert "\u202e".encode() not in data
    assert "a\ufffdb" in data.decode()


def test_names_are_elements_of_their_own() -> None:
    root = page("names in many scripts")
    (table,) = root.all("table", "ladder")
    names = [one.text for row in table.all("th") for one in row.all("bdi")]
    for name in ("бочка", "Ωμέγα", "žluťoučký", "日本語", "שלום"):
        assert name in names
        for chart in root.all("svg", "chart"):
            assert name in chart.attributes["aria-label"]
    # Where no element can stand, an isolate keeps a name that is read from the right in its place.
    assert "\u2068שלום\u2069" in root.all("svg", "chart")[0].attributes["aria-label"]


# form -----------------------------------------------------------------------------------


@pytest.mark.parametrize("shape", SHAPES)
def test_form(shape: str) -> None:
    root = page(shape)
    assert len(root.all("h1")) == len(root.all("main")) == len(root.all("head")) == 1
    ids = [
        one.attributes["id"]
        for tag in ("input", "div", "svg")
        for one in root.all(tag)
        if "id" in one.attributes
    ]
    assert len(ids) == len(set(ids))
    for table in root.all("table"):
        widths = {len(row) for row in rows_of(table)}
        assert len(widths) == 1, table.text[:80]
    for side in SIDES:
        if not words.measured(reviewed(shape), side):
            headings = [one.text for one in root.all("h2")]
            assert f"{side.capitalize()} by lift" in headings
            assert "Not measured" in root.text


def test_brand_is_nowhere() -> None:
    assert b"gain ledger" not in results_html(reviewed("four stages"), METRIC).lower()


def test_same_bytes_in_another_process() -> None:
    program = (
        "import sys; from core.review import review; from core.units import METRIC\n"
        "from dashboard.handover.page import results_html\n"
        "from tests.dashboard.invented_jobs import invented_job\n"
        "sys.stdout.buffer.write(results_html(review(invented_job()), METRIC))"
    )
    environment = {**os.environ, "PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo"}
    other = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, env=environment, capture_output=True, check=True
    )
    assert other.stdout == results_html(reviewed("four stages"), METRIC)


def test_withholding_leaves_every_flow_as_it_is() -> None:
    """What a choice takes away is words and money: no other field of the review changes."""
    before = reviewed("four stages")
    after = shown_to(before, Choice(prices=False, doubts=False, customer=False))
    for stage, kept in zip(before.stages, after.stages, strict=True):
        assert (stage.intake, stage.exhaust) == (kept.intake, kept.exhaust)
    for gain, kept in zip(before.gains, after.gains, strict=True):
        changed = {one.name for one in fields(gain) if getattr(gain, one.name) != getattr(kept, one.name)}
        assert changed <= {"price", "price_per_flow"}
    assert after.job.customer is None
    assert after.job.files == ()
