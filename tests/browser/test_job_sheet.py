"""The Job sheet in a real browser: typed with a keyboard, pasted, uploaded, reloaded, saved."""

from __future__ import annotations

import shutil
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Locator, expect

from core.files.load import load_job
from tests.browser.conftest import OpenPage, Watched, comes_to
from tests.browser.started import WAIT_S, running_app

pytestmark = [pytest.mark.browser, pytest.mark.slow]

KEY_MS = 40  # between keys: a quick hand on a number pad
SWEEP = ("12.1", "23,9", "35.4", "45.9", "54.3", "60.9", "65.2", "68.1", "70.0", "71.2", "72.3")


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory, demo_runs: Path) -> Path:
    """Return a jobs' root with copies of demo jobs; each test has one of its own."""
    root = tmp_path_factory.mktemp("jobs")
    for n in range(1, 10):
        shutil.copytree(demo_runs / ("sprint-four" if n < 4 else "bare-sheets"), root / f"job-{n}")
    return root


@pytest.fixture(scope="module")
def shop(jobs: Path) -> Iterator[str]:
    """Return the address of an app started on those jobs."""
    with running_app("open", str(jobs)) as address:
        yield address


def job_sheet(watched: OpenPage, shop: str, job: str, tab: str = "At the bench", **window: object) -> Watched:
    """Open the Job sheet of a job as a person does."""
    page = watched(shop, **window)
    page.open(f"/?job={job}")
    page.go_to("Job sheet")
    if tab != "At the bench":
        page.page.get_by_role("tab", name=tab, exact=True).click()
        page.settle()
    return page


def reload(page: Watched) -> None:
    """Load the page again by its address; the server's answer to a deep link is a 404 with a page in it."""
    page.page.reload()
    page.settle()
    page.complaints[:] = [said for said in page.complaints if "404" not in said]


def field(page: Watched, name: str) -> Locator:
    """Return a text field by the beginning of its label."""
    return page.page.get_by_test_id("stMain").get_by_label(name, exact=True)


def reading_field(page: Watched) -> Locator:
    """Return the field at the bench."""
    return page.page.get_by_test_id("stForm").get_by_role("textbox")


def wait_until_kept(jobs: Path, figures: str) -> None:
    """Return once a draft on disk holds what was typed last."""
    end = time.monotonic() + WAIT_S
    while time.monotonic() < end:
        if any(
            figures in path.read_text("utf-8") for path in (jobs / ".ledger").rglob("*") if path.is_file()
        ):
            return
        time.sleep(0.05)
    raise AssertionError(f"no draft holds {figures}")


def test_a_sweep_typed_at_a_hands_speed_is_whole(watched: OpenPage, shop: str, jobs: Path) -> None:
    """Keyboard alone, no waiting: every reading arrives, in its place, with its comma as a point."""
    page = job_sheet(watched, shop, "job-1")
    reading_field(page).focus()
    for figures in SWEEP:
        page.page.keyboard.type(figures, delay=KEY_MS)
        page.page.keyboard.press("Enter")
        page.page.wait_for_timeout(KEY_MS)
    main = page.page.get_by_test_id("stMain")
    expect(main.get_by_text("Every lift of this side is read.")).to_be_visible()
    main.get_by_role("button", name="Save", exact=True).click()
    expect(main.get_by_text("Saved as job-1.")).to_be_visible()
    (added,) = (jobs / "job-1").glob("port-polish*_setup.csv")
    rows = [line.split(",")[1] for line in added.read_text("utf-8").splitlines() if line[:1].isdigit()]
    assert rows == [figures.replace(",", ".") for figures in SWEEP]
    assert load_job([jobs / "job-1"]).problems == ()


def test_a_slip_is_flagged_and_taken_back_and_a_reload_loses_nothing(watched: OpenPage, shop: str) -> None:
    page = job_sheet(watched, shop, "job-2")
    main = page.page.get_by_test_id("stMain")
    reading_field(page).fill("12.1 23.9 3.54")
    page.page.keyboard.press("Enter")
    expect(main.get_by_text("Decimal slip? 35.4 would.")).to_be_visible()
    expect(reading_field(page)).to_be_focused()
    reload(page)
    expect(main.get_by_text("Decimal slip? 35.4 would.")).to_be_visible()
    expect(main.get_by_role("heading", name="Intake at 4\u00a0mm")).to_be_visible()
    reading_field(page).fill("-")
    page.page.keyboard.press("Enter")
    expect(main.get_by_role("heading", name="Intake at 3\u00a0mm")).to_be_visible()
    page.go_to("Results")
    page.go_to("Job sheet")
    expect(main.get_by_role("heading", name="Intake at 3\u00a0mm")).to_be_visible()
    expect(main.get_by_role("cell", name="23.9")).to_be_visible()


def test_letters_are_refused_and_stay_in_the_field(watched: OpenPage, shop: str) -> None:
    page = job_sheet(watched, shop, "job-3")
    reading_field(page).fill("12.O")
    page.page.keyboard.press("Enter")
    expect(page.page.get_by_text("Digits, a decimal mark").first).to_be_visible()
    expect(reading_field(page)).to_have_value("12.O")


def test_a_spreadsheet_is_uploaded_asked_about_and_saved(
    watched: OpenPage, shop: str, jobs: Path, tmp_path: Path
) -> None:
    block = "Invented,,\n,ported,\nLift,Int,Exh\n0.1,30,22\n0.2,58,45\n0.3,80,62\n0.4,95,73\n"
    (tmp_path / "old head.csv").write_text(block, "utf-8", newline="\n")
    page = job_sheet(watched, shop, "job-4", "Sheets")
    main = page.page.get_by_test_id("stMain")
    main.locator("input[type=file]").first.set_input_files(tmp_path / "old head.csv")
    expect(main.get_by_text("in which unit are the lifts")).to_be_visible()
    expect(main.get_by_role("button", name="Take the sheets", exact=True)).to_be_disabled()
    for question, answer in (
        ("in which unit are the lifts", "in"),
        ("in which unit are the readings", "cfm"),
    ):
        box = main.get_by_role("combobox", name=question)
        box.click()
        box.fill(answer)
        box.press("Enter")
        expect(main.get_by_role("button", name=f"{answer} (ask again)")).to_be_visible()
        page.settle()
    main.get_by_role("button", name="Take 1 sheet").click()
    expect(main.get_by_text("4 sheets in this job")).to_be_visible()
    main.get_by_role("button", name="Save", exact=True).click()
    expect(main.get_by_text("Saved as job-4.")).to_be_visible()
    assert any("95" in path.read_text("utf-8") for path in (jobs / "job-4").glob("*ported*.csv"))


def test_a_pasted_bench_sheet_needs_no_question(watched: OpenPage, shop: str) -> None:
    page = job_sheet(watched, shop, "job-5", "Sheets")
    main = page.page.get_by_test_id("stMain")
    main.get_by_role("textbox", name="Or paste a block").fill(
        "# stage: port work\n# test pressure: 15 inH2O\nlift [mm]\tintake [cfm]\n1\t9.9\n2\t20.3\n3\t30.6\n"
    )
    main.get_by_role("button", name="Take the block").click()
    expect(main.get_by_text("4 sheets in this job")).to_be_visible()
    reload(page)
    expect(main.get_by_text("4 sheets in this job")).to_be_visible()


def test_the_grid_is_filled_downwards_and_survives_a_reload(watched: OpenPage, shop: str, jobs: Path) -> None:
    page = job_sheet(watched, shop, "job-6", "Sheets")
    main = page.page.get_by_test_id("stMain")
    main.get_by_role("textbox", name="Stage", exact=True).fill("port exit")
    page.page.keyboard.press("Enter")
    grid = main.get_by_test_id("stDataFrame")
    expect(grid).to_be_visible()
    page.settle()
    box = grid.locator("canvas").first.bounding_box()
    assert box is not None
    page.page.mouse.click(box["x"] + 180, box["y"] + 52)  # the first reading
    editor = page.page.locator("textarea.gdg-input")
    for figures in ("9,9", "20.1", "30.2"):
        # A cell's editor drops keys that come while it opens or shuts.
        page.page.wait_for_function("document.activeElement.tagName === 'TD'")
        page.page.keyboard.type(figures[0])
        expect(editor).to_have_value(figures[0])
        page.page.keyboard.type(figures[1:], delay=KEY_MS)
        expect(editor).to_have_value(figures)
        page.page.keyboard.press("Enter")
    wait_until_kept(jobs, "30.2")
    reload(page)
    main.get_by_role("button", name="Save", exact=True).click()
    expect(main.get_by_text("Saved as job-6.")).to_be_visible()
    (added,) = (jobs / "job-6").glob("port-exit*.csv")
    assert "\n1,9.9,\n2,20.1,\n3,30.2,\n" in added.read_text("utf-8")


def test_two_browsers_save_one_job_and_the_second_is_asked(watched: OpenPage, shop: str, jobs: Path) -> None:
    one, two = (job_sheet(watched, shop, "job-7") for _ in range(2))
    for page, line in ((one, "9.9 20.1"), (two, "9.8 20.2 30.3")):
        reading_field(page).fill(line)
        page.page.keyboard.press("Enter")
        page.settle()
    one.page.get_by_role("button", name="Save", exact=True).click()
    expect(one.page.get_by_text("Saved as job-7.")).to_be_visible()
    two.page.get_by_role("button", name="Save", exact=True).click()
    expect(two.page.get_by_text("saved by somebody else")).to_be_visible()
    two.page.get_by_role("button", name="Save mine over it").click()
    expect(two.page.get_by_text("Saved as job-7.")).to_be_visible()
    texts = [path.read_text("utf-8") for path in (jobs / "job-7").rglob("port-work_setup.csv")]
    assert len(texts) == 2
    assert any("30.3" in text for text in texts)
    assert any("20.1" in text for text in texts)


def test_a_new_job_is_typed_named_and_downloaded(watched: OpenPage, shop: str, tmp_path: Path) -> None:
    page = job_sheet(watched, shop, "job-8")
    main = page.page.get_by_test_id("stMain")
    main.get_by_role("button", name="More").click()
    page.page.get_by_role("button", name="New job").click()
    expect(main.get_by_text("Name what is on the bench")).to_be_visible()
    stage = main.get_by_role("combobox", name="Stage on the bench")
    stage.fill("as cast")
    stage.press("Enter")
    expect(main.get_by_role("heading", name="Intake at 1\u00a0mm")).to_be_visible()
    page.settle()
    reading_field(page).fill("12 23.7 35.1 45.6")
    page.page.keyboard.press("Enter")
    expect(main.get_by_role("heading", name="Intake at 5\u00a0mm")).to_be_visible()
    main.get_by_role("tab", name="Job", exact=True).click()
    title = main.get_by_role("textbox", name="Title", exact=True)
    title.fill("Invented four")
    title.press("Enter")
    expect(main.get_by_text("One stage so far")).to_be_visible()
    main.get_by_role("button", name="More").click()
    archive = page.page.get_by_role("button", name="Download as one archive")

    def names() -> set[str]:
        with page.page.expect_download() as download:
            archive.click()
        download.value.save_as(tmp_path / "job.zip")
        with zipfile.ZipFile(tmp_path / "job.zip") as packed:
            packed.extractall(tmp_path / "out")
            return set(packed.namelist())

    # What is typed last is in it a moment later.
    comes_to(names, {"invented-four/job.toml", "invented-four/as-cast_setup.csv"})
    loaded = load_job([tmp_path / "out" / "invented-four"])
    assert loaded.job is not None
    assert loaded.job.title == "Invented four"


def tab_to(page: Watched, found: Locator, key: str = "Tab") -> None:
    """Press a key until something has the focus."""
    for _ in range(60):
        page.page.keyboard.press(key)
        if found.evaluate("one => one === document.activeElement"):
            return
    raise AssertionError(f"{key} does not reach {found}")


def test_keys_alone_do_everything_on_a_page_of_twice_the_size(
    watched: OpenPage, shop: str, jobs: Path
) -> None:
    page = watched(shop, width=640, height=450)  # what 1280 x 900 shows at 200 %
    page.page.goto(f"{shop}/job-sheet?job=job-9")
    page.settle()
    page.complaints[:] = [said for said in page.complaints if "404" not in said]
    main, keys = page.page.get_by_test_id("stMain"), page.page.keyboard
    tab_to(page, reading_field(page))
    keys.type("12.1 23.9", delay=KEY_MS)
    keys.press("Enter")
    expect(main.get_by_role("heading", name="Intake at 3")).to_be_visible()
    tab_to(page, main.get_by_role("radio", name="intake"), "Shift+Tab")
    keys.press("ArrowRight")
    keys.press("Space")
    expect(main.get_by_role("heading", name="Exhaust at 1")).to_be_visible()
    page.settle()
    tab_to(page, main.get_by_role("tab", name="At the bench"), "Shift+Tab")
    keys.press("ArrowRight")
    expect(main.get_by_role("button", name="Take the block")).to_be_visible()
    page.settle()
    tab_to(page, main.get_by_role("button", name="More"), "Shift+Tab")
    keys.press("Enter")
    expect(page.page.get_by_role("button", name="Drop unsaved changes")).to_be_visible()
    tab_to(page, page.page.get_by_role("button", name="Drop unsaved changes"))
    keys.press("Escape")
    expect(page.page.get_by_role("button", name="Drop unsaved changes")).to_have_count(0)
    tab_to(page, main.get_by_role("button", name="Save", exact=True), "Shift+Tab")
    keys.press("Enter")
    expect(main.get_by_text("Saved as job-9.")).to_be_visible()
    (added,) = (jobs / "job-9").glob("port-work_setup*.csv")
    assert "\n1,12.1,\n2,23.9,\n" in added.read_text("utf-8")


def test_a_phone_needs_no_sideways_scroll(watched: OpenPage, shop: str) -> None:
    page = watched(shop, width=390, height=844)
    page.open("/?job=job-3")
    page.page.goto(f"{shop}/job-sheet?job=job-3")  # by address: an unfolded sidebar covers a phone's page
    page.settle()
    page.complaints[:] = [said for said in page.complaints if "404" not in said]
    for tab in ("At the bench", "Sheets", "Stages and prices", "Valves"):
        page.page.get_by_role("tab", name=tab, exact=True).click()
        panel = page.page.get_by_role("tabpanel", name=tab, exact=True)
        expect(panel.get_by_role("textbox").first).to_be_visible()
        page.settle()
        page.needs_no_sideways_scroll()
        expect(page.page.get_by_test_id("stException")).to_have_count(0)
