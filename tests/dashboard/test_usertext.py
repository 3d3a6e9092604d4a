"""A person's own words in Markdown: shown as they stand."""

from __future__ import annotations

import html
import re
import string

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from dashboard.usertext import inert

HOSTILE = (
    "![x](http://198.51.100.7/a.png)",
    "<img src=x onerror=alert(1)>",
    "<script>alert(1)</script>",
    ":material/home:",
    ":red[danger]",
    ":blue-badge[x]",
    ":smile: :tada:",
    "$x^2$ $$y$$",
    "a -> b <- c <-> d",
    "a -- b >= c <= d ~= e",
    "www.example.com",
    "WWW.example.com",
    "http://example.com/x",
    "me@example.com",
    "**bold** _it_ `code` ~~s~~",
    "# head",
    "- item",
    "1. one",
    "| a | b |",
    "[l](javascript:alert(1))",
    "[ ] task",
    "&amp; &lt;",
    "> quote",
    "---",
    "\\frac \\* \\[",
    "<!-- c -->",
    "a\nb",
    "a\tb\r\nc",
    "![](//198.51.100.7/a.png)",
    "[a]: http://198.51.100.7/x\n[a]",
    "<https://example.com/x>",
    "<details open ontoggle=alert(1)>x</details>",
    "<iframe srcdoc='<script>1</script>'>",
    "ftp://example.com mailto:me@example.com",
    ":streamlit: :material/delete: :green-background[x] :small[x]",
    "\\(x\\) \\[y\\]",
    "[^1] ^x^ H~2~O ==x==",
    "``` code ```",
    "***a*** __b__ ___c___",
    '=HYPERLINK("http://example.com")',
)


def seen(text: str) -> str:
    """Return what a reader sees of inert text: entities read, joiners unseen."""
    return html.unescape(text).replace("\u2060", "")


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_reads_as_it_stands(text: str) -> None:
    assert seen(inert(text)) == " ".join(text.split())


@given(st.text(alphabet=st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs"))))
def test_any_text_reads_as_it_stands(text: str) -> None:
    blanks = re.compile(r"[ \t\r\n\f\v]+")
    expected = blanks.sub(" ", text).strip(" ").replace("\u2060", "")
    assert blanks.sub(" ", seen(inert(text))) == "".join(
        c if c.isprintable() or c in "\u00a0\u202f\u2009" else "\ufffd" for c in expected
    )


@given(st.text())
@example(string.punctuation)
@example("".join(a + b for a in string.punctuation for b in string.punctuation))
@example(" ".join(HOSTILE))
def test_markdown_finds_nothing_to_interpret(text: str) -> None:
    made = inert(text)
    # Its grammar works on punctuation: only letters, digits, blanks and numbered entities are left.
    assert all(c.isalnum() or c in " \u2060\ufffd" for c in re.sub(r"&#\d+;", "", made))
    # What is looked for in finished text afterwards is broken up.
    shown = html.unescape(made)
    arrows = r"->|<-|--|>=|<=|~="
    for found in (r"(?i)www\.", r"https?://", r"\w@\w", r":\w+:", r":\w+\[", arrows, r"\$[^\s\u2060]"):
        assert not re.search(found, shown)


def test_a_date_stays_on_one_line() -> None:
    assert html.unescape(inert("2026-03-14")) == "2026\u2060-\u206003\u2060-\u206014"


def test_control_characters_are_replaced_visibly() -> None:
    assert inert("a\x00b\x07c\u202ed") == "a\ufffdb\ufffdc\ufffdd"
    assert inert("\u2028x\u200by") == "\ufffdx\ufffdy"
