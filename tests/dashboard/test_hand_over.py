"""The screen Hand-over, without a browser: what is offered, withheld and previewed."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdf
import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from dashboard import phrases
from dashboard.handover.bundle import FILES
from tests.dashboard.conftest import OpenScreen

Start = Callable[..., AppTest]


def hand_over_alone() -> None:
    """Draw the screen as the app does; the test tool cannot choose among screens that are functions."""
    from dashboard.screens import hand_over, sidebar

    sidebar.draw()
    hand_over.draw()


@pytest.fixture
def offered(monkeypatch: pytest.MonkeyPatch) -> dict[str, bytes]:
    """Return what the screen's buttons hand out, by file name, as of the last run."""
    given: dict[str, bytes] = {}
    button = st.download_button

    def noted(label: str, data: bytes, file_name: str, *more: Any, **how: Any) -> bool:
        assert how["on_click"] == "ignore"
        given[file_name] = data
        return button(label, data, file_name, *more, **how)

    monkeypatch.setattr(st, "download_button", noted)
    return given


@pytest.fixture
def start(open_screen: OpenScreen) -> Start:
    """Return a function that opens the screen with an address."""

    def started(folder: Path | None = None, **address: str) -> AppTest:
        where = {} if folder is None else {"folder": folder}
        return open_screen(hand_over_alone, **where, **({"job": "sprint-four"} | address))

    return started


def archive_of(offered: dict[str, bytes]) -> dict[str, bytes]:
    """Return the files of the archive that is offered now."""
    (name,) = [one for one in offered if one.endswith(".zip") and one != "job.zip"]
    with zipfile.ZipFile(io.BytesIO(offered[name])) as packed:
        return {one.rpartition("/")[2]: packed.read(one) for one in packed.namelist()}


def in_archive(files: dict[str, bytes], text: str) -> list[str]:
    """Return the files of an archive that say a text."""
    found = []
    for name, data in files.items():
        if name.endswith(".pdf"):
            data = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages).encode()
        elif name.endswith(".zip"):
            with zipfile.ZipFile(io.BytesIO(data)) as packed:
                data = b"".join(map(packed.read, packed.namelist()))
        if text.encode() in data:
            found.append(name)
    return found


def test_every_file_is_told_what_it_is_for() -> None:
    assert list(phrases.FILE_FOR) == list(FILES)


def test_all_files_come_first_and_each_can_be_had(start: Start, offered: dict[str, bytes]) -> None:
    app = start()
    assert not app.exception
    assert app.title[0].value == "Hand-over"
    assert app.header[0].value == "9 files ready to leave the shop."
    assert list(archive_of(offered)) == list(FILES)
    for name in FILES:
        offered.clear()
        app.radio(key="file").set_value(name).run()
        assert not app.exception, name
        assert offered[name] == archive_of(offered)[name]
        assert app.query_params["file"] == name


def test_what_is_not_chosen_is_in_no_file(start: Start, offered: dict[str, bytes]) -> None:
    app = start()
    pills = next(one for one in app.get("button_group") if one.label == phrases.MAY_SEE)
    assert pills.options == ["prices", "customer name"]
    everything = archive_of(offered)
    assert {"summary.pdf", "results.html", "job.zip"} <= set(in_archive(everything, "Demo customer"))
    assert {"summary.pdf", "results.html", "numbers.csv", "numbers.json"} <= set(
        in_archive(everything, "EUR")
    )
    offered.clear()
    pills.set_value(["prices"]).run()
    assert not app.exception
    left = archive_of(offered)
    assert in_archive(left, "Demo customer") == []
    assert "results.html" in in_archive(left, "EUR")
    assert "job.zip" not in left  # it would tell the name
    assert any(one.value == phrases.WITHHELD for one in app.caption)
    offered.clear()
    next(one for one in app.get("button_group") if one.label == phrases.MAY_SEE).set_value([]).run()
    assert in_archive(archive_of(offered), "EUR") == []


def test_stills_show_the_comparison_that_is_chosen(start: Start, offered: dict[str, bytes]) -> None:
    app = start()
    before = archive_of(offered)
    compare = next(one for one in app.selectbox if one.label == phrases.STILLS_COMPARE)
    assert "as cast → port polish" in compare.options
    offered.clear()
    compare.set_value(("as cast", "valve job")).run()
    assert not app.exception
    after = archive_of(offered)
    changed = {name for name in before if before[name] != after[name]}
    assert changed == {"still-16x9.png", "still-9x16.png", "still-overlay.png"}


def test_units_reach_the_files(start: Start, offered: dict[str, bytes]) -> None:
    app = start(units="US")
    assert not app.exception
    files = archive_of(offered)
    assert "cfm" in files["numbers.txt"].decode()
    page = files["results.html"].decode()
    said, readings = page.split("1\u00a0L/s = 2.11888\u00a0cfm")  # these stand as the bench showed them
    assert "L/s" not in said
    assert set(re.findall(r"[^>]*L/s[^<]*", readings)) == {"intake, L/s", "exhaust, L/s"}


def test_names_that_become_boxes_are_said_unless_withheld(start: Start, tmp_path: Path) -> None:
    job = tmp_path / "one"
    job.mkdir()
    (job / "job.toml").write_text(
        'customer = "\u65e5\u672c"\n[[stage]]\nname = "as cast"\n', encoding="utf-8"
    )
    sheet = "# stage: as cast\n# test pressure: 28 inH2O\nlift [mm],intake [L/s]\n1,10\n2,20\n"
    (job / "as-cast.csv").write_text(sheet, encoding="utf-8")
    app = start(tmp_path, job="one")
    assert any("a box stands for" in one.value and "\u65e5\u672c" in one.value for one in app.caption)
    next(one for one in app.get("button_group") if one.label == phrases.MAY_SEE).set_value([]).run()
    assert not app.exception
    assert not any("a box stands for" in one.value for one in app.caption)


def test_a_customer_chooses_nothing_and_gets_no_files_of_the_shop(
    start: Start, offered: dict[str, bytes]
) -> None:
    app = start(reader="customer")
    assert app.header[0].value == "8 files to take with you."
    assert not [one for one in app.get("button_group") if one.label == phrases.MAY_SEE]
    files = archive_of(offered)
    assert "job.zip" not in files
    assert "EUR" in files["results.html"].decode()


def test_an_unknown_file_in_the_address_opens_the_first(start: Start) -> None:
    app = start(file="../job.toml")
    assert not app.exception
    assert app.radio(key="file").value == "summary.pdf"


def test_a_job_with_faults_offers_nothing(start: Start, offered: dict[str, bytes], tmp_path: Path) -> None:
    (tmp_path / "bad").mkdir()
    bad = "# stage: bowl\n# test pressure: 28 inH2O\nlift [mm],intake [L/s]\n1,21.O\n"
    (tmp_path / "bad" / "bowl.csv").write_text(bad, "utf-8", newline="\n")
    app = start(tmp_path, job="bad")
    assert not app.exception
    assert app.error
    assert offered == {}


def test_the_page_is_previewed_with_an_origin_of_its_own(start: Start) -> None:
    """In a frame of the app's own origin a page could reach the app; from a data address it cannot."""
    app = start(file="results.html")
    (frame,) = app.get("iframe")
    assert frame.proto.src.startswith("data:text/html;base64,")
    assert not frame.proto.srcdoc


def test_every_page_of_a_pdf_can_be_looked_at(start: Start, offered: dict[str, bytes]) -> None:
    app = start()
    pages = len(pypdf.PdfReader(io.BytesIO(offered["summary.pdf"])).pages)
    slider = app.slider(key="preview-page")
    assert slider.max == pages > 3
    first = app.get("image")[0].proto.imgs[0].url
    slider.set_value(pages).run()
    assert not app.exception
    assert app.get("image")[0].proto.imgs[0].url != first


def test_a_shorter_file_does_not_keep_a_page_that_it_has_not(start: Start) -> None:
    app = start()
    app.slider(key="preview-page").set_value(app.slider(key="preview-page").max).run()
    app.selectbox(key="job").set_value("bare-sheets").run()
    assert not app.exception
