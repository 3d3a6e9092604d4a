"""Pages of the hand-over, A4 or Letter: grid, type, running foot, tagged text. Knows nothing of flow."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Any, Literal

from fpdf import FPDF
from fpdf.drawing import DeviceRGB, color_from_hex_string
from fpdf.prefs import ViewerPreferences

from dashboard.handover.fonts import FAMILY, REGULAR, STRONG, add_fonts, settable
from dashboard.handover.typeface import composed
from dashboard.look import STROKE_PT, THEMES, TYPE_PT, weight_of

Align = Literal["left", "right", "centre"]
Sheet = Literal["A4", "Letter"]

LOOK = THEMES["light"]
LEFT, TOP, WIDTH = 18.0, 17.0, 174.0  # of the text, on A4; on Letter the same stands in the middle
MM_PER_PT = 25.4 / 72
LINE_MM = 4.8
CUT = "…"
_LEADING = 1.4
# Where a line may break: after spaces, else inside a long name, else anywhere.
_BREAKS = (re.compile(r"[^ ]* +|[^ ]+"), re.compile(r"[^-_./]*[-_./]+|[^-_./]+"), re.compile(r"."))


@cache
def _device_colour(hexadecimal: str) -> DeviceRGB:
    """Return a colour as fpdf2 keeps it: text is set thousands of times, in few colours."""
    return color_from_hex_string(hexadecimal)


class Paper(FPDF):
    """A document whose text stands on baselines counted in millimetres from the top of the page.

    ``y`` is the next free line's top. Text is tagged in reading order, so that a screen
    reader gets it; lines and shapes are not, and a figure carries its alternative text.
    """

    def __init__(self, title: str, date: dt.date | None, foot: tuple[str, str], sheet: Sheet = "A4") -> None:
        super().__init__(unit="mm", format=sheet)
        self.bottom = self.h - 24.0  # of the text, above the foot
        self.depth = self.bottom - TOP
        self.sections: dict[str, int] = {}  # heading -> page
        add_fonts(self)
        self._settable: dict[str, str] = {}
        self._ems: dict[tuple[str, str], float] = {}
        self._marks: Counter[int] = Counter()  # tagged elements of each page
        self.set_auto_page_break(False)
        self.set_margins(LEFT, TOP, LEFT)
        self.viewer_preferences = ViewerPreferences(display_doc_title=True)
        self.set_title(self.settable(title))
        self.set_lang("en")
        self.set_creator("Gain Ledger")
        day = date or dt.date(2000, 1, 1)
        self.set_creation_date(dt.datetime(day.year, day.month, day.day, tzinfo=dt.UTC))
        self.foot = foot
        self.set_display_mode("fullpage")
        self.add_page()

    # text ---------------------------------------------------------------------------------

    def settable(self, text: str) -> str:
        """Return text as this document can set it."""
        ready = self._settable.get(text)
        if ready is None:
            ready = self._settable[text] = settable(self, text)
        return ready

    def width_of(self, text: str, size: float, style: str = REGULAR) -> float:
        """Return how wide a line of text is, in mm."""
        ems = self._ems.get((text, style))
        if ems is None:
            widths = self.fonts[FAMILY + style].cw
            ems = sum(widths[ord(character)] for character in self.settable(text)) / 1000
            self._ems[text, style] = ems
        return ems * size * MM_PER_PT

    def line_of_text(
        self,
        x: float,
        baseline: float,
        text: str,
        *,
        size: float = TYPE_PT["table"],
        style: str = REGULAR,
        colour: str = LOOK.text,
        align: Align = "left",
    ) -> float:
        """Set one line of text with its left end, right end or middle at ``x``; return its width."""
        text = self.settable(text)
        if not text:
            return 0.0
        self.set_font(FAMILY, style, size)
        self.set_text_color(_device_colour(colour))
        width = self.width_of(text, size, style)
        self.text(x - {"left": 0.0, "right": width, "centre": width / 2}[align], baseline, text)
        return width

    def wrapped(
        self, text: str, width: float, size: float, style: str = REGULAR, *, most: int | None = None
    ) -> list[str]:
        """Return text as lines that fit a width; a word that is too long is broken.

        Of more than ``most`` lines the rest is cut, and leaves a mark.
        """
        lines = [""]

        def fill(piece: str, finer: Sequence[re.Pattern[str]]) -> None:
            if most is not None and len(lines) > most:
                return
            fits = self.width_of((lines[-1] + piece).rstrip(" "), size, style) <= width
            if not fits and lines[-1] and self.width_of(piece.rstrip(" "), size, style) <= width:
                lines.append(piece)
            elif fits or not finer:
                lines[-1] += piece
            else:
                for part in finer[0].findall(piece):
                    fill(part, finer[1:])

        fill(self.settable(text), _BREAKS)
        if most is not None and len(lines) > most:
            cut = lines[most - 1]
            while cut and self.width_of(cut + CUT, size, style) > width:
                cut = cut[:-1]
            lines[most - 1 :] = [cut + CUT]
        return [line.rstrip(" ") for line in lines]

    def height_of(self, text: str, width: float, size: float, style: str = REGULAR) -> float:
        """Return how high a paragraph of text is."""
        return len(self.wrapped(text, width, size, style)) * size * MM_PER_PT * _LEADING

    def paragraph(
        self,
        text: str,
        *,
        size: float = TYPE_PT["body"],
        style: str = REGULAR,
        colour: str = LOOK.text,
        x: float = LEFT,
        width: float = WIDTH,
        kind: str = "P",
    ) -> None:
        """Set text in lines below what is there, over as many pages as it takes."""
        step = size * MM_PER_PT * _LEADING
        lines = self.wrapped(text, width, size, style)
        while lines:
            self.need(step * min(len(lines), 2))
            fits = max(1, int((self.bottom - self.y) / step + 1e-6))
            with self.tagged(kind):
                for line in lines[:fits]:
                    self.y += step
                    self.line_of_text(x, self.y - 0.28 * step, line, size=size, style=style, colour=colour)
            lines = lines[fits:]

    def heading(self, text: str, note: str = "", *, room: float = 20.0) -> None:
        """Set a section's heading with a note beside or below it, and keep ``room`` under it."""
        size, small = TYPE_PT["head"], TYPE_PT["small"]
        end = LEFT + self.width_of(text, size, STRONG) + 5
        beside = self.width_of(note, small) <= LEFT + WIDTH - end
        below = 0.0 if beside else self.height_of(note, WIDTH, small)
        self.need(2.1 * LINE_MM + 3.8 + below + room)
        self.y += (1.1 if self.y > TOP else 0.0) * LINE_MM
        self.bookmark(text)
        self.y += LINE_MM
        with self.tagged("H2"):
            self.line_of_text(LEFT, self.y, text, size=size, style=STRONG)
        if beside:
            with self.tagged("P"):
                self.line_of_text(end, self.y, note, size=small, colour=LOOK.muted)
        else:
            self.y += 1.6
            self.paragraph(note, size=small, colour=LOOK.muted)
        self.y += 2.2

    def bookmark(self, text: str, level: int = 0) -> None:
        """Let the reader jump to what comes next; remember its page."""
        self.sections.setdefault(text, self.page)
        self.start_section(composed(text), level, strict=False)

    # space --------------------------------------------------------------------------------

    def add_page(self, *args: Any, **kwargs: Any) -> None:
        """Begin a page with the text in its middle, whatever its width."""
        super().add_page(*args, **kwargs)
        aside = (self.w - 2 * LEFT - WIDTH) / 2
        if aside:
            self._out(f"1 0 0 1 {aside / MM_PER_PT:.2f} 0 cm")

    def need(self, height: float) -> bool:
        """Start a new page unless ``height`` is left on this one; return whether it did."""
        if self.y + height <= self.bottom:
            return False
        self.add_page()
        return True

    def rule(self, y: float, *, x: float = LEFT, width: float = WIDTH, strong: bool = False) -> None:
        """Draw a horizontal hairline."""
        self.set_draw_color(LOOK.rule_strong if strong else LOOK.rule)
        self.set_line_width(STROKE_PT["rule_strong" if strong else "rule"] * MM_PER_PT)
        self.line(x, y, x + width, y)

    def verdict_mark(self, verdict: str, x: float, baseline: float, *, size: float, colour: str) -> None:
        """Draw a verdict's mark where a small letter would stand: gain up, loss down, else a ring."""
        edge = size * MM_PER_PT * 0.52
        if verdict == "too close to call":
            self.set_draw_color(colour)
            self.set_line_width(0.2)
            self.ellipse(x + edge * 0.06, baseline - edge * 0.94, edge * 0.88, edge * 0.88)
            return
        self.set_fill_color(colour)
        base, tip = (baseline, baseline - edge) if verdict == "clear gain" else (baseline - edge, baseline)
        self.polygon([(x, base), (x + edge, base), (x + edge / 2, tip)], style="F")

    def line_sample(self, x: float, y: float, index: int, count: int) -> None:
        """Draw a short piece of a stage's line with one reading on it."""
        weight = weight_of(index, count)
        stroke = STROKE_PT["middle" if weight == "context" else weight] * MM_PER_PT
        self.set_draw_color(LOOK.line_colour(index, count))
        self.set_fill_color(LOOK.line_colour(index, count))
        self.set_line_width(stroke)
        self.line(x + 0.3, y, x + 6.2, y)
        self.ellipse(x + 2.6, y - 0.65, 1.3, 1.3, style="F")

    # structure ----------------------------------------------------------------------------

    @contextmanager
    def tagged(self, kind: str, alternative: str | None = None) -> Iterator[None]:
        """Mark what is drawn inside as one element of the document's structure."""
        mcid = self._marks[self.page]
        self._marks[self.page] += 1
        self._add_marked_content(struct_type=f"/{kind}", mcid=mcid, alt_text=alternative)
        self._out(f"/{kind} <</MCID {mcid}>> BDC")
        yield
        self._out("EMC")

    def footer(self) -> None:
        """Leave the foot to `finish`, which knows how many pages there are."""

    def finish(self) -> bytes:
        """Set the foot of every page and return the document."""
        conditions, fingerprint = self.foot
        size, y = TYPE_PT["small"], self.h - 17.0
        for page in range(1, self.pages_count + 1):
            self.turn_to(page)
            self._out("/Artifact BMC")
            self.rule(y - 4.4)
            right = f"{fingerprint}    {page} of {self.pages_count}"
            space = WIDTH - self.width_of(right, size) - 6
            for i, line in enumerate(self.wrapped(conditions, space, size)):
                self.line_of_text(LEFT, y + i * 3.2, line, size=size, colour=LOOK.muted)
            self.line_of_text(LEFT + WIDTH, y, right, size=size, colour=LOOK.muted, align="right")
            self._out("EMC")
        return bytes(self.output())

    def turn_to(self, page: int) -> None:
        """Go on with a page; what it was left with is forgotten, so that all is stated anew."""
        self.page = page
        self.current_font_is_set_on_page = False
        self.draw_color = self.fill_color = None
        self.line_width = 0.0
