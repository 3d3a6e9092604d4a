"""The summary PDF as a thing on paper: any script, nothing cut, nothing over another or off the page."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import pypdf
import pytest
from fontTools.ttLib import TTFont

from core.review import review
from core.units import METRIC
from dashboard.handover import facts
from dashboard.handover.pdf import summary_pdf
from dashboard.look import TYPE_PT
from tests.dashboard.invented_jobs import invented_job
from tests.dashboard.test_pdf import (
    MM,
    SHAPES,
    SHEETS,
    STRANGE,
    UNITS,
    document,
    read,
    reviewed,
    squashed,
)

# glyphs ---------------------------------------------------------------------------------------


def embedded_glyphs(data: bytes) -> dict[str, list[int]]:
    """Return, for each character set, the outlines' contour counts in the embedded faces."""
    found: dict[str, list[int]] = {}
    fonts = {}
    for page in pypdf.PdfReader(io.BytesIO(data)).pages:
        fonts.update(page["/Resources"]["/Font"])
    for font in fonts.values():
        inner = font.get_object()["/DescendantFonts"][0].get_object()
        face = TTFont(io.BytesIO(inner["/FontDescriptor"]["/FontFile2"].get_data()))
        order, outlines = face.getGlyphOrder(), face["glyf"]
        to_glyph = inner["/CIDToGIDMap"].get_data()
        mapped = font.get_object()["/ToUnicode"].get_data().decode("latin-1")
        for code, text in re.findall(r"<([0-9A-F]{4})> <([0-9A-F]+)>", mapped):
            at = 2 * int(code, 16)
            glyph = order[int.from_bytes(to_glyph[at : at + 2], "big")]
            character = bytes.fromhex(text).decode("utf-16-be")
            found.setdefault(character, []).append(outlines[glyph].numberOfContours)
    return found


def test_any_script_is_set_or_boxed_and_can_be_copied() -> None:
    job = invented_job(stages=len(STRANGE), names=STRANGE, setups=1, lifts=3)
    data = summary_pdf(review(job), METRIC)
    text = read(data)
    for name in ("бочка", "Ωμέγα", "žluťoučký", "日本語", "🏁", "étape", "ab", "tabhere"):
        assert name in text
    assert "שלום" in text or "םולש" in text  # the reader may give it in reading order
    assert squashed(facts.BOXES) in text
    assert squashed(facts.BOXES) in squashed(pypdf.PdfReader(io.BytesIO(data)).pages[0].extract_text())
    contours = embedded_glyphs(data)
    assert contours["ж" if "ж" in text else "б"][0] > 0
    for boxed in "日本語🏁ש":
        assert contours[boxed][0] == contours["日"][0] > 1  # the box, and it has ink


@pytest.mark.parametrize("shape", SHAPES)
def test_pypdf_has_no_complaint(shape: str, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level("WARNING", logger="pypdf"):
        reader = pypdf.PdfReader(io.BytesIO(document(shape)), strict=True)
        assert all(page.extract_text() for page in reader.pages)
        assert reader.outline and reader.metadata.title
    assert caplog.records == []


def test_no_word_of_boxes_where_there_are_none() -> None:
    assert squashed(facts.BOXES) not in read(document("four stages"))
    assert facts.boxes_note(reviewed("four stages").job) == ""


def test_the_shop_is_told_which_names_come_out_in_boxes() -> None:
    job = invented_job(stages=len(STRANGE), names=STRANGE, setups=1, lifts=3)
    assert facts.boxed(job) == ["日本語", "🏁", "שלום"]
    assert facts.boxed(replace(job, stages=(), title="Ωμέγα", note="عربي")) == ["عربي"]
    assert "<日本語, 🏁, שלום>" in facts.boxes_note(job, lambda text: f"<{text}>")


# geometry -------------------------------------------------------------------------------------

POPPLER = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")


def poppler(*command: str, data: bytes) -> str:
    done = subprocess.run([*command], input=data, capture_output=True, check=True)
    assert done.stderr == b""
    return done.stdout.decode("utf-8")


def boxes(data: bytes) -> list[list[tuple[float, float, float, float, str]]]:
    """Return, page by page, the box in points of every upright word."""
    root = ElementTree.fromstring(poppler("pdftotext", "-bbox", "-", "-", data=data))
    pages = []
    for page in root.iter("{http://www.w3.org/1999/xhtml}page"):
        found = []
        for word in page.iter("{http://www.w3.org/1999/xhtml}word"):
            x0, y0, x1, y1 = (float(word.get(name)) for name in ("xMin", "yMin", "xMax", "yMax"))
            if (
                y1 - y0 < 2.2 * (x1 - x0) + 12
            ):  # upright: what stands on end beside the chart is taller than wide
                found.append((x0, y0, x1, y1, word.text or ""))
        pages.append(found)
    return pages


@POPPLER
@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("shape", SHAPES)
def test_nothing_overlaps_and_nothing_leaves_the_page(shape: str, units: str) -> None:
    width, height = SHEETS[units]
    for number, page in enumerate(boxes(document(shape, units)), start=1):
        for x0, y0, x1, y1, text in page:
            where = f"page {number}: {text}"
            assert x0 >= 17 * MM and x1 <= (width - 17) * MM, where
            assert y0 >= 12 * MM and y1 <= (height - 10) * MM, where
        page.sort(key=lambda box: box[1])
        for i, (x0, y0, x1, y1, text) in enumerate(page):
            for u0, v0, u1, v1, other in page[i + 1 :]:
                if v0 > y1:
                    break
                # A line's box is about 1.4 times as high as its letters, so neighbours' boxes may touch.
                across, down = min(x1, u1) - max(x0, u0), min(y1, v1) - max(y0, v0)
                overlap = across > 0.6 and down > 0.45 * min(y1 - y0, v1 - v0)
                assert not overlap, f"page {number}: {text!r} and {other!r}"


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("shape", SHAPES)
def test_no_heading_ends_a_page(shape: str, units: str) -> None:
    for number, page in enumerate(pypdf.PdfReader(io.BytesIO(document(shape, units))).pages, start=1):
        above_foot: list[tuple[float, float, str]] = []

        def seen(text: str, _cm: object, matrix: list[float], _font: object, size: float) -> None:
            if text.strip() and matrix[5] > 24 * MM:
                above_foot.append((matrix[5], size, text))  # noqa: B023, called before the next page

        page.extract_text(visitor_text=seen)
        lowest = min(above_foot)
        assert lowest[1] != pytest.approx(TYPE_PT["head"]), f"page {number}: {lowest[2]}"


@POPPLER
@pytest.mark.parametrize("shape", SHAPES)
def test_poppler_has_no_complaint(shape: str) -> None:
    assert "Tagged:          yes" in poppler("pdfinfo", "-", data=document(shape))
