"""Finished files as they can be looked at before they leave: each kind in the safest way there is."""

from __future__ import annotations

import base64
import io
import threading
import zipfile

import pypdfium2
import streamlit as st

from dashboard import phrases
from dashboard.figures import figure
from dashboard.screens.page import draw_table
from dashboard.tables import Table

_PAGE_SCALE = 1.6  # pixels a point: sharp at the width of the preview
_PAGE_HEIGHT = 720
_MOST_LINES = 60
_one_at_a_time = threading.Lock()  # the PDF reader must never work for two sessions at once


def draw_preview(name: str, data: bytes) -> None:
    """Draw what a file looks like."""
    if name.endswith(".pdf"):
        _draw_pdf(name, data)
    elif name.endswith(".html"):
        # From a data address it has an origin of its own, and so no way to the app around it.
        address = f"data:text/html;base64,{base64.b64encode(data).decode()}"
        st.iframe(address, height=_PAGE_HEIGHT, alt=phrases.preview_of(name))
    elif name.endswith(".png"):
        st.image(data, alt=phrases.preview_of(name), width="stretch")
    elif name.endswith(".zip"):
        _draw_list(data)
    else:
        _draw_text(data)


def _draw_pdf(name: str, data: bytes) -> None:
    count = _page_count(data)
    page = st.slider("Page", 1, count, key="preview-page") if count > 1 else 1
    st.image(_page(data, page), alt=f"{phrases.preview_of(name)}, page {page} of {count}", width="stretch")


@st.cache_data(show_spinner=False, scope="session", max_entries=8)
def _page_count(data: bytes) -> int:
    with _one_at_a_time, pypdfium2.PdfDocument(data) as document:
        return len(document)


@st.cache_data(show_spinner=False, scope="session", max_entries=24)
def _page(data: bytes, number: int) -> bytes:
    """Return one page as PNG."""
    with _one_at_a_time, pypdfium2.PdfDocument(data) as document:
        picture = document[number - 1].render(scale=_PAGE_SCALE).to_pil()
    packed = io.BytesIO()
    picture.save(packed, "PNG")
    return packed.getvalue()


def _draw_text(data: bytes) -> None:
    lines = data.decode("utf-8-sig").splitlines()
    st.code("\n".join(lines[:_MOST_LINES]), language=None, wrap_lines=True)
    if len(lines) > _MOST_LINES:
        st.caption(phrases.first_lines(_MOST_LINES, len(lines)))


def _draw_list(data: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        rows = tuple((one.filename, figure(one.file_size, 0)) for one in packed.infolist())
    draw_table(Table(("File", "Size, bytes"), rows))
