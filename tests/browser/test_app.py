"""The app as a person meets it: started by its command, looked at in a browser."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import OpenPage, Watched, comes_to, luminance
from tests.browser.started import running_app

pytestmark = [pytest.mark.browser, pytest.mark.slow]

CHART = "stVegaLiteChart"
SIZABLE = "e => Math.min(e.getBoundingClientRect().width, e.getBoundingClientRect().height) > 50"


def assert_charts_drawn(page: Watched) -> None:
    """Fail unless the screen shows charts with something in them, and no error box."""
    charts = page.page.get_by_test_id(CHART)
    expect(charts.first).to_be_visible()
    for chart in charts.all():
        chart.scroll_into_view_if_needed()
        drawing = chart.locator("canvas, svg.marks").first
        expect(drawing).to_be_visible()
        comes_to(lambda drawing=drawing: drawing.evaluate(SIZABLE), True)
    expect(page.page.get_by_test_id("stException")).to_have_count(0)


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_the_demo_job_opens_with_its_charts_in_both_modes(watched: OpenPage, mode: str) -> None:
    page = watched(mode=mode)
    page.open()
    expect(page.page.get_by_role("heading", level=1)).to_have_text("Results")
    assert_charts_drawn(page)
    style = "e => [getComputedStyle(e).backgroundColor, getComputedStyle(e).color]"
    background, text = (luminance(c) for c in page.page.get_by_test_id("stApp").evaluate(style))
    assert (background < text) == (mode == "dark")
    # WCAG 2.2, 1.4.3: contrast of text at least 4.5 to 1
    assert (max(background, text) + 0.05) / (min(background, text) + 0.05) >= 4.5
    page.go_to("By lift")
    assert_charts_drawn(page)


def test_bare_sheets_give_a_result(watched: OpenPage, demo_runs: Path) -> None:
    sheets = sorted((demo_runs / "bare-sheets").glob("*.csv"))
    assert len(sheets) == 3
    page = watched()
    page.open()
    page.page.locator("input[type=file]").first.set_input_files(sheets)
    main = page.page.get_by_test_id("stMain")
    expect(main.get_by_text("port work").first).to_be_visible()
    page.settle()
    assert_charts_drawn(page)
    expect(main.get_by_text("clear gain").first).to_be_visible()


def test_a_bad_sheet_is_named_and_nothing_breaks(watched: OpenPage, tmp_path: Path) -> None:
    bad = tmp_path / "bowl.csv"
    bad.write_text("# stage: bowl\n# test pressure: 28 inH2O\nlift [mm],intake [L/s]\n1,21.O\n", "utf-8")
    page = watched()
    page.open()
    page.page.locator("input[type=file]").first.set_input_files(bad)
    main = page.page.get_by_test_id("stMain")
    expect(main.get_by_text("bowl.csv").first).to_be_visible()
    expect(main.get_by_text("line 4").first).to_be_visible()
    expect(page.page.get_by_test_id("stException")).to_have_count(0)


def test_summary_downloads_as_pdf(watched: OpenPage) -> None:
    page = watched()
    page.open()
    with page.page.expect_download() as download:
        page.page.get_by_role("button", name="summary.pdf").first.click()
    assert download.value.suggested_filename.endswith(".pdf")
    content = Path(download.value.path()).read_bytes()
    assert content.startswith(b"%PDF")
    assert content.rstrip().endswith(b"%%EOF")


@pytest.mark.parametrize("way", ["mouse", "keyboard"])
def test_units_switch_changes_the_flow(watched: OpenPage, way: str) -> None:
    page = watched()
    page.open("/?job=sprint-four")
    main, sidebar = page.page.get_by_test_id("stMain"), page.page.get_by_test_id("stSidebar")
    expect(main.get_by_text("L/s").first).to_be_visible()
    if way == "mouse":
        sidebar.get_by_text("US", exact=True).click()
    else:
        sidebar.get_by_role("radio", name="metric", exact=True).focus()
        page.page.keyboard.press("ArrowRight")
        page.page.keyboard.press("Space")
    expect(main.get_by_text("cfm").first).to_be_visible()
    page.settle()
    expect(main.get_by_text("L/s")).to_have_count(0)


def test_only_this_machine_is_answered(app: str) -> None:
    port = urlsplit(app).port
    # A server bound to every address would answer on these as well.
    for other in ("127.0.0.2", "::1"):
        with pytest.raises(OSError):
            socket.create_connection((other, port), timeout=5)


def websocket_status(app: str, host: str, origin: str) -> int:
    """Ask for the app's data channel; return the HTTP status."""
    connection = HTTPConnection("127.0.0.1", urlsplit(app).port, timeout=10)
    headers = {
        "Host": host,
        "Origin": f"http://{origin}",
        "Connection": "Upgrade",
        "Upgrade": "websocket",
        "Sec-WebSocket-Version": "13",
        "Sec-WebSocket-Key": "aW52ZW50ZWQgMTYgYnl0ZQ==",
        "Sec-WebSocket-Protocol": "streamlit",
    }
    connection.request("GET", "/_stcore/stream", headers=headers)
    try:
        return connection.getresponse().status
    finally:
        connection.close()


def test_a_foreign_host_name_is_refused(app: str) -> None:
    """A page elsewhere must not reach a job by pointing its own name at this machine."""
    own = urlsplit(app).netloc
    assert websocket_status(app, own, own) == 101  # the request itself is sound
    assert websocket_status(app, "elsewhere.example", "elsewhere.example") == 403


@contextmanager
def proxy_that_listens() -> Iterator[tuple[dict[str, str], list[bytes]]]:
    """Give the environment of a proxy for all outside calls, and what it was asked for."""
    asked: list[bytes] = []
    with socket.create_server(("127.0.0.1", 0)) as ear:

        def hear() -> None:
            while True:
                try:
                    caller, _ = ear.accept()
                except OSError:  # closed: the test is over
                    return
                with caller:
                    asked.extend(caller.recv(200).splitlines()[:1])

        threading.Thread(target=hear, daemon=True).start()
        here = f"http://127.0.0.1:{ear.getsockname()[1]}"
        names = ("http_proxy", "https_proxy", "HTTP_PROXY", "HTTPS_PROXY")
        yield dict.fromkeys(names, here) | {"no_proxy": "127.0.0.1", "NO_PROXY": "127.0.0.1"}, asked


def test_started_from_another_folder_it_opens_and_calls_nobody(watched: OpenPage, tmp_path: Path) -> None:
    """Neither at the start, nor when a page from elsewhere knocks."""
    with (
        proxy_that_listens() as (environment, asked),
        running_app(folder=tmp_path, environment=environment) as address,
    ):
        page = watched(address)
        page.open()
        assert_charts_drawn(page)
        page.close()
        own = urlsplit(address).netloc
        assert websocket_status(address, own, "elsewhere.example") == 403
        assert asked == []
