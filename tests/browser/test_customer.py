"""One job for a customer: whoever asks the server for more than that job gets nothing."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import OpenPage, Watched
from tests.browser.started import running_app
from tests.core.test_shelf import job

pytestmark = [pytest.mark.browser, pytest.mark.slow]

SECRET = "beta's own secret"
SCREENS = ["Results", "By lift", "Target", "Rough power", "Hand-over"]

# Sends a file as the app's own uploader does; gives the HTTP status.
SEND = """async (session) => {
    const token = (document.cookie.match(/_streamlit_xsrf=([^;]*)/) || [])[1] || "";
    const body = new FormData();
    body.append("file", new Blob(["lift [mm],intake [L/s]"]), "a.csv");
    const to = `/_stcore/upload_file/${session}/a-file-of-my-own`;
    const answer = await fetch(to, {method: "PUT", body, headers: {"X-Xsrftoken": token}});
    return answer.status;
}"""


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder of two jobs, of which a customer is shown the first."""
    root = tmp_path_factory.mktemp("jobs")
    job(root / "alpha", 'title = "Alpha head"')
    job(root / "beta", f'title = "{SECRET}"')
    return root


@pytest.fixture(scope="module")
def customers(jobs: Path) -> Iterator[str]:
    """Return the address of the app as a customer gets it."""
    with running_app("open", str(jobs / "alpha"), "--customer") as address:
        yield address


def opened(watched: OpenPage, address: str, path: str = "/") -> Watched:
    shown = watched(address)
    shown.open(path)
    return shown


@pytest.mark.parametrize(
    "asked",
    [
        "/?job=beta",
        "/?job=../beta",
        "/?reader=shop",
        "/?job=beta&reader=shop&units=US",
        "/?job=/",
        "/?file=job.zip",
    ],
)
def test_the_address_opens_no_other_job_and_no_other_reader(
    watched: OpenPage, customers: str, asked: str
) -> None:
    page = opened(watched, customers, asked).page
    expect(page.get_by_text("Alpha head").first).to_be_visible()
    assert SECRET not in page.content()
    expect(page.get_by_test_id("stSidebarNav").get_by_role("link")).to_have_text(SCREENS)
    expect(page.locator("input[type=file]")).to_have_count(0)
    expect(page.get_by_test_id("stSidebar").get_by_role("combobox")).to_have_count(0)
    expect(page.get_by_test_id("stSidebar").get_by_text("Reader")).to_have_count(0)


@pytest.mark.parametrize("screen", ["bench-day", "job-sheet", "shelf"])
def test_the_shops_screens_have_no_address(watched: OpenPage, customers: str, screen: str) -> None:
    shown = watched(customers)
    page = shown.page
    page.goto(f"{customers}/{screen}?reader=shop&job=beta")
    expect(page.get_by_text("Page not found")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.get_by_role("heading", level=1)).to_have_text("Results")
    assert SECRET not in page.content()
    shown.complaints.clear()  # the browser itself notes that there is no such address


def session_ids(shown: Watched) -> list[str]:
    """Return everything that could be the id of the page's session, taken from what the server sent."""
    heard: list[bytes] = []
    shown.page.on(
        "websocket",
        lambda socket: socket.on(
            "framereceived", lambda data: heard.append(data if isinstance(data, bytes) else data.encode())
        ),
    )
    shown.open()
    found = re.findall(rb"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}", b"".join(heard))
    return [one.decode() for one in dict.fromkeys(found)]


def test_the_server_takes_no_file_from_a_customer(watched: OpenPage, app: str, customers: str) -> None:
    shop, customer = watched(app), watched(customers)
    statuses = {
        "shop": [shop.page.evaluate(SEND, one) for one in session_ids(shop)],
        "customer": [customer.page.evaluate(SEND, one) for one in session_ids(customer)],
    }
    assert 204 in statuses["shop"]  # the attempt itself is sound
    assert 204 not in statuses["customer"]
    assert 413 in statuses["customer"]
    for shown in (shop, customer):
        shown.complaints.clear()  # refused requests


def test_no_address_of_the_server_gives_a_file_of_the_folder(
    watched: OpenPage, customers: str, jobs: Path
) -> None:
    page = opened(watched, customers).page
    names = [
        "beta/job.toml",
        "alpha/job.toml",
        "../beta/job.toml",
        "%2e%2e/beta/job.toml",
        str(jobs / "beta/job.toml"),
    ]
    places = ["", "media/", "static/", "app/static/", "component/", "_stcore/", "_stcore/component/"]
    for place in places:
        for name in names:
            answer = page.request.get(f"{customers}/{place}{name}")
            assert SECRET not in answer.text(), f"{place}{name}"
            assert 'title = "' not in answer.text(), f"{place}{name}"


def test_no_second_door(watched: OpenPage, customers: str) -> None:
    """The server's door for clients without a browser is shut."""
    page = opened(watched, customers).page
    answer = page.request.post(f"{customers}/_stcore/agent/interact", data={"query_string": "job=beta"})
    assert answer.status >= 400
    assert SECRET not in answer.text()


def test_the_kit_of_a_customer_holds_no_files_of_the_shop(watched: OpenPage, customers: str) -> None:
    shown = opened(watched, customers)
    shown.go_to("Hand-over")
    page = shown.page
    expect(page.get_by_role("heading", name="8 files to take with you.")).to_be_visible()
    expect(page.get_by_text("job.zip")).to_have_count(0)
    expect(page.get_by_text("What the racer may see")).to_have_count(0)
    with page.expect_download() as download:
        page.get_by_role("button", name="Download all files").click()
    assert re.fullmatch(r"alpha-[0-9a-f-]+\.zip", download.value.suggested_filename)
    data = Path(download.value.path()).read_bytes()
    assert b"job.toml" not in data
    assert b"results.html" in data


def test_names_in_the_address_bar_stay_the_customers(watched: OpenPage, customers: str) -> None:
    shown = opened(watched, customers)
    for screen in SCREENS[1:]:
        shown.go_to(screen)
        assert "reader" not in urlsplit(shown.page.url).query
        assert SECRET not in shown.page.content()
