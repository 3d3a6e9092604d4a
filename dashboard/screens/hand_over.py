"""Hand-over: the files that leave the shop, what may be seen in them, and a look at each."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from core.job import SIDES
from core.results import Review
from dashboard import phrases, power_state, state, words
from dashboard.figures import figure
from dashboard.handover.archive import part
from dashboard.handover.bundle import offered
from dashboard.handover.choice import EVERYTHING, FOR_CUSTOMER, Choice, shown_to
from dashboard.handover.compared import pairs
from dashboard.handover.facts import boxes_note
from dashboard.screens.page import open_screen
from dashboard.screens.power import draw_working
from dashboard.screens.preview import draw_preview
from dashboard.state import Shown
from dashboard.usertext import inert

_TYPES = {
    "pdf": "application/pdf",
    "html": "text/html",
    "png": "image/png",
    "txt": "text/plain",
    "csv": "text/csv",
    "json": "application/json",
    "zip": "application/zip",
}
_PRICES, _DOUBTS, _CUSTOMER = "prices", "housekeeping notes", "customer name"
_BOTH = "both"
_WIDE = 380  # pixels; on a phone the next choice stands below
_COMPARING = "still"  # how the files begin that show the one comparison that is chosen


def draw() -> None:
    """Draw the screen: all files at once, what may be seen in them, then each of them."""
    opened = open_screen("Hand-over")
    if opened is None:
        return
    shown, review = opened
    review = power_state.ready(review) or draw_working(review)
    top = st.container()
    choice = _choose(shown, review)
    if note := boxes_note(shown_to(review, choice).job, inert):
        st.caption(note)
    files = _made(shown, review, choice)
    packed = state.handover_archive(shown.units.name, choice, review, files)
    with top:
        st.header(phrases.ready(len(files), customer=shown.reader == "customer"))
        st.download_button(
            phrases.ALL_FILES,
            packed,
            f"{part(review.job.name)}-{review.job.fingerprint}.zip",
            _TYPES["zip"],
            on_click="ignore",
        )
    left, right = st.columns([4, 7], gap="medium")
    with left:
        name = _pick(files)
    with right:
        st.download_button(
            phrases.download_of(name), files[name], name, _type(name), key="download-one", on_click="ignore"
        )
        draw_preview(name, files[name])


def _choose(shown: Shown, review: Review) -> Choice:
    """Return what may leave the shop, and what stills compare; a customer takes what is shown to him."""
    choice = _allowed(review) if shown.reader == "shop" else FOR_CUSTOMER
    compared, sides = pairs(review), [side for side in SIDES if words.measured(review, side)]
    with st.container(horizontal=True):
        if len(compared) > 1:
            stages = st.selectbox(
                phrases.STILLS_COMPARE,
                compared,
                format_func=" → ".join,
                width=_WIDE,
                key=f"compare-{review.job.fingerprint}",
                persist_state="session",
            )
            choice = replace(choice, stages=None if stages == compared[0] else stages)
        if len(sides) > 1:
            side = st.segmented_control(
                phrases.STILLS_SIDE, [_BOTH, *sides], key="still-side", default=_BOTH, required=True,
                persist_state="session",
            )  # fmt: skip
            choice = replace(choice, side=None if side == _BOTH else side)
    return choice


def _allowed(review: Review) -> Choice:
    """Return what the shop lets the racer see; only what there is can be withheld."""
    offers = _offers(review)
    if not offers:
        return EVERYTHING
    picked = st.pills(
        phrases.MAY_SEE,
        offers,
        selection_mode="multi",
        default=offers,
        key=f"may-see-{review.job.fingerprint}",
        persist_state="session",
    )
    withheld = set(offers) - set(picked)
    if withheld:
        st.caption(phrases.WITHHELD)
    return Choice(*(name not in withheld for name in (_PRICES, _DOUBTS, _CUSTOMER)))


def _offers(review: Review) -> list[str]:
    """Return what there is to withhold in this job."""
    doubts = len(words.findings_for(review, customer=True)) < len(review.findings)
    there = {_PRICES: words.is_priced(review), _DOUBTS: doubts, _CUSTOMER: bool(review.job.customer)}
    return [name for name, is_there in there.items() if is_there]


def _made(shown: Shown, review: Review, choice: Choice) -> dict[str, bytes]:
    """Return every file, with the progress of those that have to be made first."""
    names = offered(review, choice)
    files, bar = {}, st.progress(0.0)
    for place, name in enumerate(names):
        bar.progress(place / len(names), phrases.making(name))
        for_file = choice if name.startswith(_COMPARING) else replace(choice, stages=None, side=None)
        files[name] = state.handover_file(name, shown.units.name, for_file, review)
    bar.empty()
    return files


def _pick(files: dict[str, bytes]) -> str:
    names = list(files)
    state.begin("file", names, names[0])
    name = st.radio(
        phrases.FILES_TITLE,
        names,
        captions=[f"{phrases.FILE_FOR[one]}, {figure(len(files[one]) / 1024, 0)} kB" for one in names],
        key="file",
        persist_state="session",
    )
    state.to_address(file=name)
    return name or names[0]


def _type(name: str) -> str:
    return _TYPES[name.rpartition(".")[2]]
