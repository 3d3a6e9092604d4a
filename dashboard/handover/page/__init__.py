"""``results.html``: the review as one self-contained page that needs nothing but a browser."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup

from core.job import SIDES
from core.results import Review
from core.units import UnitSet
from dashboard import phrases, power_words, target_words, words
from dashboard.handover.basis import CLEARANCES
from dashboard.handover.choice import EVERYTHING, Choice, shown_to
from dashboard.handover.page import style
from dashboard.handover.page.content import Content, in_line, own
from dashboard.handover.plain import one_line

_FOLDER = Path(__file__).parent


def results_html(review: Review, units: UnitSet, choice: Choice = EVERYTHING) -> bytes:
    """Return the page in UTF-8; the same review gives the same bytes.

    Its own style and script are allowed by their hashes, and nothing else may load or run.
    """
    review = shown_to(review, choice)
    css, script = style.sheet(review), _own("page.js")
    text = _template().render(
        content=Content(review, units),
        review=review,
        sides=SIDES,
        words=words,
        power_words=power_words,
        target_words=target_words,
        phrases=phrases,
        clearances=CLEARANCES,
        own=own,
        in_line=in_line,
        css=Markup(css),
        script=Markup(script),
        policy=f"default-src 'none'; style-src {_hash(css)}; script-src {_hash(script)}; "
        "base-uri 'none'; form-action 'none'",
    )
    return text.encode()


@cache
def _template() -> Template:
    environment = Environment(
        loader=FileSystemLoader(_FOLDER, encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: one_line(value) if type(value) is str else value,
    )
    return environment.get_template("page.html")


@cache
def _own(name: str) -> str:
    return (_FOLDER / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    """Return what the content-security policy calls a piece of the page by."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
