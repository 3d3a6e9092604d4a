"""The screens, without a browser: what they say, keep and refuse."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from dashboard.state import OWN
from dashboard.words import VERDICTS_MEAN
from tests.dashboard.conftest import OpenScreen
from tests.dashboard.test_usertext import seen

Start = Callable[..., AppTest]

BAD_SHEET = "# stage: bowl\n# test pressure: 28 inH2O\nlift [mm],intake [L/s]\n1,21.O\n2,x\n"


def sheet(stage: str, factor: float) -> str:
    """Return a bench sheet with both sides."""
    rows = [f"{lift},{factor * 9.1 * lift:.2f},{factor * 7.3 * lift:.2f}" for lift in range(1, 9)]
    head = [
        f"# stage: {stage}",
        "# port: 1",
        "# test pressure: 28 inH2O",
        "lift [mm],intake [L/s],exhaust [L/s]",
    ]
    return "\n".join([*head, *rows, ""])


def by_lift_alone() -> None:
    """Draw By lift as the app does; the test tool cannot choose among screens that are functions."""
    from dashboard.screens import by_lift, sidebar

    sidebar.draw()
    by_lift.draw()


@pytest.fixture
def start(open_screen: OpenScreen, demo_runs: Path) -> Start:
    """Return a function that starts the app on a folder of jobs, with an address."""

    def started(
        folder: Path = demo_runs,
        address: dict[str, str] | None = None,
        *,
        by_lift: bool = False,
        environment: dict[str, str] | None = None,
    ) -> AppTest:
        return open_screen(by_lift_alone if by_lift else None, folder, environment, **(address or {}))

    return started


@pytest.fixture
def jobs(tmp_path: Path, demo_runs: Path) -> Path:
    """Return a folder with a sound job, a bad one and a hostile one."""
    shutil.copytree(demo_runs / "sprint-four", tmp_path / "sound")
    bad = tmp_path / "bad"
    bad.mkdir()
    (bad / "bowl.csv").write_text(BAD_SHEET, "utf-8", newline="\n")
    hostile = tmp_path / "hostile"
    hostile.mkdir()
    for place, name in enumerate(("**as** <b>cast</b>", "![x](http://198.51.100.7/a.png)")):
        path = hostile / f"s{place}.csv"
        path.write_text(f"# order: {place}\n{sheet(name, 1 + 0.2 * place)}", "utf-8", newline="\n")
    return tmp_path


def said(app: AppTest) -> str:
    """Return all that a screen says, as a reader sees it."""
    kinds = ("title", "header", "subheader", "markdown", "caption", "error", "warning")
    parts = [element.value for kind in kinds for element in app.get(kind)]
    for table in app.table:
        parts += [*table.value.columns, *table.value.to_numpy().ravel()]
    return seen("\n".join(map(str, parts))).replace("\u00a0", " ").replace("\u202f", " ")


def charts(app: AppTest) -> list[str]:
    """Return the specifications of the charts."""
    return [chart.proto.spec for chart in app.get("vega_lite_chart")]


def upload(app: AppTest, **files: str) -> AppTest:
    """Drop bench sheets into the sidebar."""
    content = [(f"{name}.csv", text.encode(), "text/csv") for name, text in files.items()]
    return app.file_uploader(key="uploader").set_value(content).run()


def test_results_answers_first(start: Start) -> None:
    app = start(address={"job": "sprint-four"})
    assert not app.exception
    assert app.title[0].value == "Results"
    assert "EUR" in app.header[0].value
    assert list(app.table[0].value.columns) == ["Stage", "Intake, L/s", "Exhaust, L/s", "Rough power, kW"]
    assert len(charts(app)) == 4  # flow and steps, intake and exhaust
    assert "An estimate for comparing stages of work. Only a dynamometer measures power." in said(app)


def test_without_an_address_a_full_job_opens(start: Start) -> None:
    assert start().session_state["job"] == "sprint-four"


@pytest.mark.parametrize("by_lift", [False, True])
@pytest.mark.parametrize("units", ["metric", "US"])
def test_every_demo_job_opens(start: Start, demo_runs: Path, by_lift: bool, units: str) -> None:
    for job in sorted(path.name for path in demo_runs.iterdir() if path.is_dir() and path.name[0] != "."):
        app = start(address={"job": job, "units": units}, by_lift=by_lift)
        assert not app.exception
        assert not app.error
        assert charts(app)


def test_switching_units_changes_the_numbers_and_no_verdict(start: Start) -> None:
    app = start(address={"job": "sprint-four"})
    before = said(app)
    app.segmented_control(key="units").set_value("US").run()
    after = said(app)
    assert "L/s" in before
    assert "cfm" not in before
    assert "cfm" in after
    assert "L/s" not in after
    for verdict in ("clear gain", "too close to call"):
        assert before.count(verdict) == after.count(verdict) > 0
    assert app.query_params["units"] == "US"


def test_the_address_opens_what_was_seen(start: Start) -> None:
    address = {
        "job": "touring-twin",
        "units": "US",
        "reader": "customer",
        "side": "exhaust",
        "against": "baseline",
    }
    app = start(address=address, by_lift=True)
    assert {key: app.session_state[key] for key in address} == address
    assert "Exhaust gain by lift, cfm" in said(app)


@pytest.mark.parametrize("job", ["nowhere", "../../etc", "/", ""])
def test_a_job_that_is_not_there_is_said_and_never_looked_for(start: Start, jobs: Path, job: str) -> None:
    app = start(jobs, {"job": job})
    assert not app.exception
    assert "not here" in app.warning[0].value
    assert app.session_state["job"] == "sound"


def test_nonsense_in_the_address_falls_back(start: Start) -> None:
    app = start(address={"units": "furlongs", "reader": "x", "side": "top", "against": "y"}, by_lift=True)
    assert not app.exception
    assert app.session_state["units"] == "metric"
    assert app.session_state["side"] == "intake"


def test_by_lift_compares_with_the_stage_before_or_the_first(start: Start) -> None:
    app = start(address={"job": "sprint-four"}, by_lift=True)
    before = app.table[0].value
    app.segmented_control(key="against").set_value("baseline").run()
    after = app.table[0].value
    assert list(before.columns) == list(after.columns)
    assert before.iloc[0, 1] == after.iloc[0, 1]  # the first step is the same comparison
    assert before.iloc[0, 2] != after.iloc[0, 2]
    assert "beyond cam" in said(app)
    assert "A gain may exceed its ± and still be too close to call" in said(app)


def test_a_target_is_offered_where_there_is_one(start: Start, jobs: Path) -> None:
    with_target = jobs / "aimed"
    with_target.mkdir()
    for name, factor in (("as cast", 1.0), ("port", 1.2), ("aim", 1.3)):
        text = sheet(name, factor)
        if name == "aim":
            text = text.replace("# stage: aim", "# role: target")
        (with_target / f"{name}.csv").write_text(text, "utf-8", newline="\n")
    lines = [
        '[[stage]]\nname = "as cast"',
        '[[stage]]\nname = "port"',
        "[intake]",
        'valve_diameter = "33 mm"',
    ]
    lines += ["[target]", 'name = "*casting*"', 'sheets = ["aim.csv"]']
    lines += ["[target.intake]", 'valve_diameter = "35 mm"']
    (with_target / "job.toml").write_text("\n".join(lines), "utf-8", newline="\n")
    app = start(jobs, {"job": "aimed", "against": "target"}, by_lift=True)
    assert not app.exception
    assert not app.error
    assert app.session_state["against"] == "target"
    assert "Intake against the target, L/s" in said(app)
    assert "measured in another head" in said(app)
    app.session_state["fold-target"] = True
    assert "the size of the valves is taken out" in said(app.run())
    # Without a target the choice falls back, and so does the address.
    app.selectbox(key="job").set_value("sound").run()
    assert not app.exception
    assert app.session_state["against"] == app.query_params["against"] == "previous"


def test_who_has_only_the_link_reads_what_it_is_and_what_its_words_mean(start: Start) -> None:
    app = start(address={"job": "messy-day", "reader": "customer"})
    text = said(app)
    assert "three-cylinder two-valve head, invented" in text
    assert "bench days 2026-03-21 to 2026-04-11" in text
    assert VERDICTS_MEAN in text
    assert "stop: do not use what is named; look: check it" in text


def test_uploaded_sheets_become_a_job(start: Start) -> None:
    app = upload(start(), cast=sheet("as cast", 1.0), port=sheet("port", 1.2))
    assert not app.exception
    assert app.session_state["job"] == OWN
    assert "more intake flow" in said(app)
    assert "job" not in app.query_params  # a link could not open it
    # Kept over any other choice, and there again afterwards.
    app.selectbox(key="job").set_value("sprint-four").run()
    app.selectbox(key="job").set_value(OWN).run()
    assert "port" in said(app)


def test_bad_sheets_are_named_with_line_and_column_all_at_once(start: Start) -> None:
    app = upload(start(), bowl=BAD_SHEET, cast=sheet("as cast", 1.0), psi="lift [psi],intake [L/s]\n1,2\n")
    assert not app.exception
    assert "problems in 2 files" in app.error[0].value
    assert "1 file is sound" in app.error[0].value
    assert "Mend the file, take its old version off the list" in said(app)
    text = said(app)
    for part in ("bowl.csv", "line 4", "line 5", "21.O", "psi.csv"):
        assert part in text
    assert not charts(app)


def test_two_uploads_of_one_name_are_both_kept(start: Start) -> None:
    app = start()
    content = [
        ("a.csv", sheet(name, factor).encode(), "text/csv") for name, factor in (("one", 1), ("two", 1.2))
    ]
    app.file_uploader(key="uploader").set_value(content).run()
    assert not app.exception
    assert {"one", "two"} <= {cell.split("  ")[0] for cell in app.table[0].value["Stage"]}


def test_user_text_stays_inert(start: Start, jobs: Path) -> None:
    app = start(jobs, {"job": "hostile"})
    assert not app.exception
    markdown = "\n".join(str(cell) for table in app.table for cell in table.value.to_numpy().ravel())
    markdown += "\n".join(e.value for kind in ("header", "markdown", "caption") for e in app.get(kind))
    for raw in ("**as**", "<b>", "![x]", "http://"):
        assert raw not in markdown
    assert "**as** <b>cast</b>" in said(app)


def test_the_customer_sees_doubts_and_no_cures(start: Start) -> None:
    shop, customer = (
        start(address={"job": "bare-sheets", "reader": reader}) for reader in ("shop", "customer")
    )
    for app in (shop, customer):
        app.session_state["fold-notes"] = True
        app.run()
    assert "without a port" in said(shop)
    assert "without a port" in said(customer)
    assert "Add # port: 2." in said(shop)
    assert "Add # port: 2." not in said(customer)


def test_a_customers_page_shows_one_job_and_no_way_to_another(start: Start, jobs: Path) -> None:
    environment = {"GAIN_LEDGER_JOB": str(jobs / "sound"), "GAIN_LEDGER_READER": "customer"}
    app = start(jobs, {"job": "hostile", "reader": "shop"}, environment=environment)
    assert not app.exception
    assert app.session_state["job"] == "sound"
    assert app.session_state["reader"] == "customer"
    assert not app.selectbox
    assert not app.file_uploader
    assert [control.key for control in app.segmented_control] == ["units"]


def test_the_job_that_was_opened_comes_first(start: Start, jobs: Path) -> None:
    app = start(jobs, environment={"GAIN_LEDGER_JOB": str(jobs / "hostile")})
    assert app.session_state["job"] == "hostile"


def test_an_empty_folder_says_what_to_do_and_gives_a_sheet_that_works(start: Start, tmp_path: Path) -> None:
    app = start(tmp_path)
    assert not app.exception
    assert "No job yet" in app.header[0].value
    sample = app.code[0].value
    assert "lift [mm],intake [L/s],exhaust [L/s]" in sample
    after = upload(app, sample=sample)
    assert not after.exception
    assert not after.error
    assert "One stage so far, bowl blend." in said(after)


def test_a_folder_that_is_not_there_is_no_empty_one(start: Start, tmp_path: Path) -> None:
    app = start(tmp_path / "nowhere")
    assert not app.exception
    assert not app.header
    assert "No such file or directory" in app.error[0].value and "Connect its drive" in app.error[0].value


def test_a_job_that_went_away_is_said_to_be_gone(start: Start, jobs: Path) -> None:
    app = start(jobs, {"job": "hostile"})
    shutil.rmtree(jobs / "hostile")
    assert not app.run().exception
    assert app.session_state["job"] == "sound"
    shutil.rmtree(jobs / "sound")
    environment = {"GAIN_LEDGER_JOB": str(jobs / "sound"), "GAIN_LEDGER_READER": "customer"}
    app = start(jobs, environment=environment)
    assert not app.exception
    assert app.error or "holds no bench sheet" in said(app)


def test_a_changed_file_is_read_again(start: Start, jobs: Path) -> None:
    app = start(jobs, {"job": "hostile"})
    before = said(app)
    path = jobs / "hostile" / "s1.csv"
    path.write_text(path.read_text("utf-8").replace("10.92", "11.92"), "utf-8", newline="\n")
    assert said(app.run()) != before


def test_the_pdf_is_finished_before_it_is_asked_for(start: Start) -> None:
    """A download that is made on the click is lost when the click falls into a run."""
    app = start(address={"job": "sprint-four"})
    (button,) = [b for b in app.get("download_button") if "summary.pdf" in b.proto.label]
    assert button.proto.url
    assert not button.proto.disabled
