"""Read a page back as a browser would: its elements, its tables, its text."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

_VOID = {"meta", "input", "br"}


@dataclass
class Element:
    """One element with all that is in it."""

    tag: str
    attributes: dict[str, str]
    children: list[Element | str] = field(default_factory=list)

    @property
    def text(self) -> str:
        """Return its text, blanks as one."""
        return re.sub(r"[ \n]+", " ", self._all_text()).strip(" ")

    def _all_text(self) -> str:
        return "".join(one if isinstance(one, str) else one._all_text() for one in self.children)

    def all(self, tag: str, with_class: str = "") -> list[Element]:
        """Return the elements in it, in reading order."""
        found = []
        for child in self.children:
            if isinstance(child, Element):
                if child.tag == tag and with_class in ["", *child.attributes.get("class", "").split()]:
                    found.append(child)
                found += child.all(tag, with_class)
        return found

    def structure(self) -> list[tuple[str, tuple[str, ...]]]:
        """Return every element in it with the names of its attributes."""
        here = [(self.tag, tuple(sorted(self.attributes)))]
        return here + [one for c in self.children if isinstance(c, Element) for one in c.structure()]


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("root", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].children.append(element)
        if tag not in _VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].children.append(Element(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


def read_page(data: bytes) -> Element:
    """Return a page's elements; one that is not closed in order is a fault."""
    reader = _Reader()
    reader.feed(data.decode("utf-8"))
    reader.close()
    assert reader.open == [reader.root]
    return reader.root


def rows_of(table: Element) -> list[list[str]]:
    """Return a table's rows as text, its headings first."""
    return [[cell.text for cell in row.children if isinstance(cell, Element)] for row in table.all("tr")]
