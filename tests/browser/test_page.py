"""results.html in a real browser: from a file, without script, on a phone, in both modes, on paper."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import pypdf
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from core.files.load import load_job
from core.review import review
from core.units import METRIC
from dashboard.handover.page import results_html
from dashboard.tables import flows
from tests.conftest import ROOT
from tests.dashboard.invented_jobs import invented_job
from tests.dashboard.power_models import make_model
from tests.dashboard.test_page import LONG_NAMES, STRANGE
from tests.dashboard.test_usertext import HOSTILE

pytestmark = [pytest.mark.browser, pytest.mark.slow]

JOBS = {
    "demo with a target": lambda: load_job([ROOT / "demo_runs" / "touring-twin"]).job,
    "four stages": invented_job,
    "twelve stages, 24 lifts, long names": lambda: invented_job(stages=12, lifts=24, names=LONG_NAMES),
    "names in many scripts": lambda: invented_job(stages=len(STRANGE), names=STRANGE, setups=1, lifts=3),
    "one stage": lambda: invented_job(stages=1),
    "no exhaust": lambda: invented_job(stages=3, sides=("intake",)),
}

OpenFile = Callable[..., Page]


@cache
def made(name: str) -> bytes:
    shown = review(JOBS[name]())
    if name == "four stages":
        shown = replace(shown, power=make_model())
    return results_html(shown, METRIC)


@pytest.fixture
def opened(browser: Browser, tmp_path: Path) -> Iterator[OpenFile]:
    """Return a function that opens a page from a file; a complaint or a request fails the test."""
    said: list[str] = []
    contexts = []

    def open_(data: bytes, width: int = 1280, mode: str = "light", *, script: bool = True) -> Page:
        path = tmp_path / "results.html"
        path.write_bytes(data)
        context = browser.new_context(
            viewport={"width": width, "height": 900}, color_scheme=mode, java_script_enabled=script
        )
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("dialog", lambda dialog: said.append(dialog.message))
        page.on("request", lambda one: one.url == path.as_uri() or said.append(one.url))
        page.goto(path.as_uri())
        return page

    yield open_
    for context in contexts:
        context.close()
    assert said == []


def assert_accessible(page: Page, *, contrast: bool) -> None:
    """Fail on a violation; contrast is looked at where little is shown, for its time grows much faster."""
    for part in page.locator("summary").all():
        part.click()
    found = Axe().run(page, options={"rules": {"color-contrast": {"enabled": contrast}}}).response
    said = [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found["violations"]]
    assert said == []
    assert len(found["passes"]) > 15  # it did look


# The longest job has no element that the others have not, and takes a minute to look through.
@pytest.mark.parametrize("name", [name for name in JOBS if not name.startswith("twelve stages")])
def test_no_violation_of_accessibility(opened: OpenFile, name: str) -> None:
    assert_accessible(opened(made(name), 390), contrast=False)


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_no_violation_of_contrast(opened: OpenFile, mode: str) -> None:
    shown = review(invented_job(stages=3, lifts=4, setups=1))
    names, mids = ("as cast", "seat cut", "throat and bowl"), (0.0, 3300.0, 12e3)
    assert shown.stages[0].intake.lift_m[-1] > shown.cam_net_lift_m.intake  # a row beyond the cam is there
    with_power = replace(shown, power=make_model(names=names, mids_w=mids, prices=None))
    assert_accessible(opened(results_html(with_power, METRIC), 390, mode), contrast=True)


@pytest.mark.parametrize("name", JOBS)
def test_a_phone_needs_no_sideways_scroll(opened: OpenFile, name: str) -> None:
    page = opened(made(name), 390)
    for part in page.locator("summary").all():
        part.click()
    wide = "() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    inner, outer = page.evaluate(wide)
    assert inner == outer == 390


def test_hostile_text_does_nothing(opened: OpenFile) -> None:
    names = tuple(f"{i} {text}" for i, text in enumerate((*HOSTILE[:11], "'\"><svg onload=alert(1)>")))
    page = opened(results_html(review(invented_job(stages=12, lifts=3, setups=1, names=names)), METRIC))
    page.wait_for_timeout(300)
    assert page.locator("script").count() == 1
    assert page.locator("img, iframe, a").count() == 0
    expect(page.locator(".ladder")).to_contain_text("<script>alert(1)</script>")


def test_a_script_that_is_not_its_own_does_not_run(browser: Browser, tmp_path: Path) -> None:
    """The policy is real: the same page with a foreign script in it keeps that one from running."""
    path = tmp_path / "taken.html"
    foreign = b"<main><script>document.title = 'taken'</script><p style='color:red'>x</p>"
    path.write_bytes(made("four stages").replace(b"<main>", foreign))
    with browser.new_context() as context:
        page, said = context.new_page(), []
        page.on("console", lambda message: said.append(message.text))
        page.goto(path.as_uri())
        assert page.title() == "Invented four"
        assert len([text for text in said if "Content Security Policy" in text]) == 2


# charts ---------------------------------------------------------------------------------


def test_keys_move_from_reading_to_reading(opened: OpenFile) -> None:
    page = opened(made("four stages"))
    chart, output = page.locator("svg.flow.intake"), page.locator("figure.intake output")
    expect(output).to_contain_text("press an arrow key")
    chart.focus()
    page.keyboard.press("ArrowLeft")
    expect(output).to_contain_text("port exit at 11")
    page.keyboard.press("ArrowLeft")
    expect(output).to_contain_text("port exit at 10")
    page.keyboard.press("ArrowDown")
    expect(output).to_contain_text("throat and bowl at 10")
    page.keyboard.press("ArrowRight")
    expect(output).to_contain_text("throat and bowl at 11")
    shown = review(invented_job())
    row = next(row for row in flows(shown, "intake", METRIC).rows if row[0].startswith("11"))
    assert f": {row[3]}\u00a0L/s" in (output.text_content() or "")
    page.keyboard.press("Escape")
    expect(output).to_contain_text("press an arrow key")
    page.keyboard.press("Tab")
    expect(page.locator("svg.flow.exhaust")).to_be_focused()


def test_a_pointer_reads_the_nearest_reading(opened: OpenFile) -> None:
    page = opened(made("four stages"))
    point = page.locator("svg.flow.exhaust g.g3 rect.point").nth(5)
    point.hover()
    expect(page.locator("figure.exhaust output")).to_contain_text("port exit at 6")
    ring, box = page.locator("svg.flow.exhaust .ring").bounding_box(), point.bounding_box()
    assert abs(ring["x"] + ring["width"] / 2 - box["x"] - box["width"] / 2) < 1
    assert abs(ring["y"] + ring["height"] / 2 - box["y"] - box["height"] / 2) < 1


def test_stages_and_sides_can_be_left_out(opened: OpenFile) -> None:
    page = opened(made("four stages"))
    line = page.locator("svg.flow.intake g.g2 .line").first
    expect(line).to_be_visible()
    page.get_by_role("checkbox", name="throat and bowl").uncheck()
    expect(line).to_be_hidden()
    expect(page.locator("svg.flow.intake g.name.g2")).to_be_hidden()
    expect(page.locator(".ladder")).to_contain_text("throat and bowl")  # tables stay whole
    chart = page.locator("svg.flow.intake")
    chart.focus()
    for key in ("ArrowLeft", "ArrowDown"):
        page.keyboard.press(key)
    expect(page.locator("figure.intake output")).to_contain_text("seat cut at 11")
    page.get_by_role("checkbox", name="intake", exact=True).focus()
    page.keyboard.press("Space")
    expect(page.locator("figure.intake")).to_be_hidden()
    expect(page.locator("figure.exhaust")).to_be_visible()


def test_without_script_tables_and_charts_are_there(opened: OpenFile) -> None:
    page = opened(made("four stages"), script=False)
    expect(page.locator("svg.flow")).to_have_count(2)
    expect(page.locator("svg.flow .point").first).to_be_visible()
    assert page.locator("svg.flow .point title").count() == 2 * 4 * 11
    expect(page.locator("output").first).to_be_empty()
    expect(page.locator(".ladder")).to_contain_text("clear gain")
    page.get_by_role("checkbox", name="seat cut").uncheck()
    expect(page.locator("svg.flow.intake g.g1 .line").first).to_be_hidden()


@pytest.mark.parametrize("name", JOBS)
def test_nothing_drawn_leaves_its_chart_or_lies_on_a_neighbour(opened: OpenFile, name: str) -> None:
    page = opened(made(name), 1280)
    for chart in page.locator("svg.flow").all():
        box = chart.bounding_box()
        names = [one.bounding_box() for one in chart.locator(".name text").all()]
        for one in names:
            assert one["x"] >= box["x"] and one["x"] + one["width"] <= box["x"] + box["width"] + 0.5
        names.sort(key=lambda one: one["y"])
        for upper, lower in pairwise(names):
            # A line's box is about 1.3 times as high as its letters, so neighbours' boxes may touch.
            assert upper["y"] + 0.75 * upper["height"] <= lower["y"] + 1


def test_both_modes_are_defined(opened: OpenFile) -> None:
    colours = [
        opened(made("four stages"), mode=mode).evaluate(
            "() => ['backgroundColor', 'color'].map(n => getComputedStyle(document.documentElement)[n])"
        )
        for mode in ("light", "dark")
    ]
    assert colours == [["rgb(247, 247, 244)", "rgb(27, 31, 36)"], ["rgb(20, 23, 26)", "rgb(236, 237, 235)"]]


def test_paper_holds_every_table_in_light(opened: OpenFile) -> None:
    """Printed from a dark browser with everything folded, and still whole and black on white."""
    job = invented_job(stages=7, lifts=5, setups=1, names=LONG_NAMES[:7])
    page = opened(results_html(review(job), METRIC), mode="dark")
    cells = page.locator("td, th").all_text_contents()
    paper = pypdf.PdfReader(io.BytesIO(page.pdf(format="A4", print_background=True)))
    text = re.sub(r"\s", "", "".join(one.extract_text() for one in paper.pages))
    assert len(cells) > 300
    assert [cell for cell in cells if re.sub(r"\s", "", cell) not in text] == []
    page.emulate_media(media="print")
    colour = page.evaluate("() => getComputedStyle(document.documentElement).color")
    assert colour == "rgb(27, 31, 36)"


@pytest.mark.parametrize("name", JOBS)
def test_no_table_is_wider_than_paper(opened: OpenFile, name: str) -> None:
    page = opened(made(name), 690)  # A4 less its margins, in CSS pixels
    page.emulate_media(media="print")
    page.evaluate("() => document.querySelectorAll('details').forEach(part => part.open = true)")
    tables = "[...document.querySelectorAll('table')].filter(t => t.offsetWidth > 690)"
    assert page.evaluate(f"() => {tables}.map(t => t.caption?.textContent)") == []
