"""The screen Shelf: who sees it, what it says of each job, and that choosing one opens it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from core.files.listing import Head
from core.shelf import ORDERS, Best, Entry
from dashboard import bench_words, shelf_words
from dashboard.screens import shelf
from tests.core.test_shelf import job
from tests.dashboard.conftest import OpenScreen

Start = Callable[..., AppTest]


def shelf_alone() -> None:
    """Draw the shelf as the app does; the test tool cannot choose among screens that are functions."""
    from dashboard import state
    from dashboard.screens import shelf, sidebar

    state.settle()
    sidebar.draw()
    shelf.draw()


@pytest.fixture
def start(open_screen: OpenScreen, monkeypatch: pytest.MonkeyPatch) -> Start:
    """Return a function that draws the shelf of a folder of jobs, with an address."""
    monkeypatch.setattr(shelf, "_WORK_S", 60.0)
    return partial(open_screen, shelf_alone)


@pytest.fixture
def jobs(tmp_path: Path) -> Path:
    """Return a folder of three jobs."""
    job(tmp_path / "a", 'title = "Alpha"\ncustomer = "Müller"\n', 1.2, "2026-03-01")
    job(tmp_path / "b", 'title = "=1+1"\nserial_number = "S-7"\n', 1.4, "2026-05-01")
    job(tmp_path / "c", "", 1.0005, "2026-04-01")
    return tmp_path


def rows(app: AppTest) -> list[dict]:
    """Return the table's rows."""
    return app.dataframe[0].value.to_dict("records")


def test_a_row_a_job_the_latest_first(start: Start, jobs: Path) -> None:
    app = start(jobs)
    assert not app.exception
    assert app.title[0].value == "Shelf"
    assert app.header[0].value == "3 jobs, the latest of 2026-05-01."
    found = rows(app.run())
    assert [row["folder"] for row in found] == ["b", "c", "a"]
    assert found[2]["title"] == "Alpha" and found[2]["customer"] == "Müller"
    assert found[2]["date"] == dt.date(2026, 3, 1)


def test_gains_come_with_their_doubt_and_verdict(start: Start, jobs: Path) -> None:
    found = {row["folder"]: row for row in rows(start(jobs).run())}
    gain, doubt = found["a"]["best"].split("\u00a0±\u00a0")
    assert float(gain) == pytest.approx(20, abs=0.1) and float(doubt) > 0
    assert found["a"]["of"] == "clear gain: intake, ported"
    assert (found["c"]["of"], found["c"]["best"]) == (shelf_words.NO_CLEAR_GAIN, "–")


def test_what_is_looked_for_and_how_it_is_sorted_stand_in_the_address(start: Start, jobs: Path) -> None:
    app = start(jobs, find="s-7", sort="title")
    assert [row["folder"] for row in rows(app)] == ["b"]
    assert app.header[0].value == "1 of 3 jobs found."
    app.text_input(key="find").set_value("").run()
    assert [row["folder"] for row in rows(app)] == ["b", "a", "c"]
    assert "find" not in app.query_params
    app.selectbox(key="sort").set_value("best gain").run()
    assert [row["folder"] for row in rows(app)] == ["b", "a", "c"]
    assert app.query_params["sort"] == "best gain"


def test_an_odd_address_gives_the_usual_order(start: Start, jobs: Path) -> None:
    app = start(jobs, sort="colour")
    assert not app.exception and app.selectbox(key="sort").value == "date"


def test_nothing_found_says_what_to_do(start: Start, jobs: Path) -> None:
    app = start(jobs, find="nowhere")
    assert app.header[0].value == "0 of 3 jobs found."
    assert shelf_words.NO_MATCH in [text.value for text in app.markdown]
    assert not app.dataframe


def test_no_word_in_the_table_is_what_a_spreadsheet_runs(start: Start, jobs: Path) -> None:
    found = {row["folder"]: row for row in rows(start(jobs))}
    assert found["b"]["title"] == "'=1+1"


def test_the_customers_view_holds_no_shelf(start: Start, jobs: Path) -> None:
    app = start(jobs, reader="customer")
    assert not app.dataframe
    assert [text.value for text in app.markdown][-1] == bench_words.SHOP_ONLY


@pytest.mark.parametrize(
    ("environment", "address", "offered"),
    [
        ({}, {}, True),
        ({}, {"reader": "customer"}, False),
        ({"GAIN_LEDGER_READER": "customer", "GAIN_LEDGER_JOB": "{jobs}/a"}, {}, False),
        ({"GAIN_LEDGER_READER": "customer", "GAIN_LEDGER_JOB": "{jobs}/a"}, {"reader": "shop"}, False),
        ({"GAIN_LEDGER_JOB": "{jobs}/a"}, {}, True),
        ({"GAIN_LEDGER_ROOT": "{jobs}/a"}, {}, False),
    ],
)
def test_only_a_shop_with_several_jobs_is_offered_the_shelf(
    root: Path,
    jobs: Path,
    monkeypatch: pytest.MonkeyPatch,
    environment: dict[str, str],
    address: dict[str, str],
    offered: bool,
) -> None:
    for name in ("GAIN_LEDGER_JOB", "GAIN_LEDGER_READER"):
        monkeypatch.delenv(name, raising=False)
    for name, value in {"GAIN_LEDGER_ROOT": "{jobs}", **environment}.items():
        monkeypatch.setenv(name, value.format(jobs=jobs))
    titles: list[str] = []
    real = st.navigation

    def navigation(pages: list[st.Page]) -> st.Page:
        titles.extend(page.title for page in pages)
        return real(pages)

    monkeypatch.setattr(st, "navigation", navigation)
    app = AppTest.from_file(str(root / "dashboard" / "app.py"), default_timeout=60)
    for key, value in address.items():
        app.query_params[key] = value
    app.run()
    assert "Results" in titles and ("Shelf" in titles) == offered


# --- words -----------------------------------------------------------------------------


def entry(gain: float, expanded: float) -> Entry:
    """Return a job with a best gain."""
    return Entry(Head("a", "A"), True, 0, Best("intake", "bowl", gain, expanded, "clear gain"))


@pytest.mark.parametrize(
    ("gain", "expanded", "best"),
    [
        (0.11234, 0.00812, "11.2 ± 0.8"),
        (0.09000, 0.0159, "9.0 ± 1.6"),
        (0.11234, 0.0312, "11 ± 3"),
        (0.0123456, 0.000312, "1.23 ± 0.03"),
    ],
)
def test_no_more_digits_than_the_doubt_supports(gain: float, expanded: float, best: str) -> None:
    (found,) = shelf_words.rows([entry(gain, expanded)])
    assert found.best.replace("\u00a0", " ") == best


def test_gains_sort_as_text_as_they_do_as_numbers() -> None:
    gains = [0.0123, 0.02, 0.0935, 0.11, 0.1184, 0.4, 1.2]
    found = shelf_words.rows([entry(gain, 0.0009 if gain < 0.1 else 0.012) for gain in gains])
    texts = [row.best for row in found]
    assert texts == sorted(texts)


@pytest.mark.parametrize(
    ("entry", "of"),
    [
        (Entry(Head("a", "A")), shelf_words.NOT_YET),
        (Entry(Head("a", "A"), True), shelf_words.NO_CLEAR_GAIN),
        (Entry(Head("a", "A"), True, 3), "cannot be used: 3 problems"),
        (Entry(Head("a", "A", readable=False)), "cannot be used: its job file is not TOML"),
        (entry(0.1, 0.01), "clear gain: intake, bowl"),
    ],
)
def test_a_job_without_a_figure_says_why(entry: Entry, of: str) -> None:
    assert shelf_words.rows([entry])[0].of == of


@pytest.mark.parametrize(
    ("head", "engine"),
    [
        (Head("a", "A"), "–"),
        (Head("a", "A", cylinders=1), "1 cylinder"),
        (Head("a", "A", cylinders=4, bore="80 mm", stroke="99 mm"), "4 cylinders, 80 mm × 99 mm"),
        (Head("a", "A", bore="3.5 in"), "3.5 in"),
    ],
)
def test_the_engine_stands_as_the_job_states_it(head: Head, engine: str) -> None:
    assert shelf_words.rows([Entry(head)])[0].engine == engine


def test_every_order_has_a_name() -> None:
    assert set(shelf_words.ORDER_NAMES) == set(ORDERS)
    assert len(set(shelf_words.ORDER_NAMES.values())) == len(ORDERS)
