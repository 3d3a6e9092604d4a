"""A picture for a still: text that fits its place, marks, smooth vectors. Knows nothing of flow."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from itertools import pairwise
from math import hypot

from PIL import Image, ImageDraw, ImageFont
from PIL.PngImagePlugin import PngInfo

from core.units import NO_BREAK_SPACE
from dashboard.handover.typeface import composed, face

Colour = tuple[int, int, int, int]
Point = tuple[float, float]
Box = tuple[int, int, int, int]

REGULAR, SEMIBOLD, BOLD = "Regular", "SemiBold", "Bold"
CUT = "…"
_SMOOTH = 3  # vectors are drawn this much larger, then scaled down


# A number holds on to the unit after it.
_HELD = re.compile(r"(?<=\d) (?=\S)")


def ink(hexadecimal: str, opacity: float = 1.0) -> Colour:
    """Return a colour of the look with an opacity."""
    red, green, blue = bytes.fromhex(hexadecimal.lstrip("#"))
    return red, green, blue, round(255 * opacity)


def mixed(hexadecimal: str, opacity: float, ground: Colour) -> Colour:
    """Return what a colour with an opacity looks like on a ground: a line's joints would show else."""
    pairs = zip(ink(hexadecimal)[:3], ground[:3], strict=True)
    red, green, blue = (round(opacity * over + (1 - opacity) * under) for over, under in pairs)
    return red, green, blue, 255


@cache
def _font(weight: str, size: int) -> ImageFont.FreeTypeFont:
    # The basic layout needs no shaping library, so that every machine sets the same pixels.
    return ImageFont.truetype(face(weight), size, layout_engine=ImageFont.Layout.BASIC)


def width_of(text: str, size: int, weight: str = REGULAR) -> float:
    """Return how wide a line of text is, in pixels."""
    return _font(weight, size).getlength(composed(text))


def shrunk(text: str, width: float, size: int, weight: str = REGULAR, *, least: int) -> int:
    """Return the largest size down to ``least`` at which text fits a width, ``least`` if none does."""
    while size > least and width_of(text, size, weight) > width:
        size -= 2
    return size


def wrapped(text: str, width: float, size: int, weight: str = REGULAR, *, most: int) -> list[str]:
    """Return text in at most so many lines that fit a width; what is left out leaves a mark."""
    lines, rest = [], _HELD.sub(NO_BREAK_SPACE, composed(text).strip(" "))
    while rest and len(lines) < most:
        fits = _fitting(rest, width, size, weight)
        cut = rest.rfind(" ", 0, fits + 1) if fits < len(rest) else -1
        end = cut if cut > 0 else fits
        if len(lines) == most - 1 and end < len(rest):
            return [*lines, rest[: _fitting(rest, width - width_of(CUT, size, weight), size, weight)] + CUT]
        lines.append(rest[:end].rstrip(" "))
        rest = rest[end:].lstrip(" ")
    return lines


def _fitting(text: str, width: float, size: int, weight: str) -> int:
    """Return how many characters fit a width, at least one."""
    low, high = 1, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if width_of(text[:middle], size, weight) <= width else (low, middle - 1)
    return low


class Canvas:
    """A picture of one size; ``background`` is None where the video is to be seen."""

    def __init__(self, width: int, height: int, background: str | None) -> None:
        ground = ink(background) if background else (0, 0, 0, 0)
        self.image = Image.new("RGBA", (width, height), ground)
        self._draw = ImageDraw.Draw(self.image)

    def panel(self, box: Box, colour: Colour) -> None:
        """Fill a box."""
        x0, y0, x1, y1 = box
        self._draw.rectangle((x0, y0, x1 - 1, y1 - 1), fill=colour)

    def text(
        self,
        x: float,
        baseline: float,
        text: str,
        size: int,
        colour: str,
        *,
        weight: str = REGULAR,
    ) -> float:
        """Set one line from ``x`` on; return where it ends."""
        ready = composed(text)
        self._draw.text(
            (round(x), round(baseline)),
            ready,
            fill=ink(colour),
            font=_font(weight, size),
            anchor="ls",
        )
        return x + width_of(text, size, weight)

    def verdict_mark(
        self, verdict: str | None, x: float, baseline: float, size: int, colour: str, ground: Colour
    ) -> None:
        """Draw a verdict's mark where a small letter would stand: gain up, loss down, else a ring."""
        edge = round(size * 0.56)
        box = (round(x), round(baseline) - edge - 2, round(x) + edge + 2, round(baseline) + 2)
        x0, y0, x1, y1 = x + 1, baseline - edge, x + 1 + edge, baseline
        with self.vectors(box, ground) as draw:
            if verdict == "too close to call":
                middle = ((x0 + x1) / 2, (y0 + y1) / 2)
                draw.circle(*middle, edge / 2, ink(colour))
                draw.circle(*middle, edge / 2 - 2.5, (*ground[:3], 255))
            else:
                tip, base = (y0, y1) if verdict == "clear gain" else (y1, y0)
                draw.shape([(x0, base), (x1, base), ((x0 + x1) / 2, tip)], ink(colour))

    @contextmanager
    def vectors(self, box: Box, ground: Colour) -> Iterator[Vectors]:
        """Draw smooth shapes in a box of one colour; coordinates are the picture's."""
        layer = Vectors(box, ground)
        yield layer
        small = layer.image.reduce(_SMOOTH)
        small.putalpha(ground[3])  # as translucent as what is around it
        self.image.paste(small, box[:2])

    def png(self, title: str, description: str) -> bytes:
        """Return the finished picture, with what it shows in words."""
        about = PngInfo()
        about.add_itxt("Title", title, lang="en")
        about.add_itxt("Description", description, lang="en")
        opaque = self.image.getextrema()[3] == (255, 255)
        packed = io.BytesIO()
        (self.image.convert("RGB") if opaque else self.image).save(packed, "PNG", pnginfo=about)
        return packed.getvalue()


class Vectors:
    """Smooth shapes on one ground, drawn larger than they are shown."""

    def __init__(self, box: Box, ground: Colour) -> None:
        self._x, self._y = box[:2]
        size = ((box[2] - box[0]) * _SMOOTH, (box[3] - box[1]) * _SMOOTH)
        self.image = Image.new("RGB", size, ground[:3])
        self._draw = ImageDraw.Draw(self.image, "RGBA")

    def _at(self, points: Sequence[Point]) -> list[Point]:
        return [((x - self._x) * _SMOOTH, (y - self._y) * _SMOOTH) for x, y in points]

    def line(self, points: Sequence[Point], width: float, colour: Colour, dash: Sequence[float] = ()) -> None:
        """Draw a line through points, solid or dashed (on, off, in pixels)."""
        for piece in dashes(points, *dash) if dash else [points]:
            self._draw.line(self._at(piece), fill=colour, width=round(width * _SMOOTH), joint="curve")

    def shape(self, points: Sequence[Point], colour: Colour) -> None:
        """Fill a polygon."""
        self._draw.polygon(self._at(points), fill=colour)

    def circle(self, x: float, y: float, radius: float, colour: Colour) -> None:
        """Fill a circle."""
        self._draw.ellipse(self._at([(x - radius, y - radius), (x + radius, y + radius)]), fill=colour)

    def square(self, x: float, y: float, half: float, fill: Colour, edge: Colour, width: float) -> None:
        """Draw a square with an edge."""
        corners = self._at([(x - half, y - half), (x + half, y + half)])
        self._draw.rectangle([*corners], fill=fill, outline=edge, width=round(width * _SMOOTH))


def dashes(points: Sequence[Point], on: float, off: float) -> Iterator[list[Point]]:
    """Yield the pieces of a dashed line, cut along its length."""
    piece, left, drawing = [points[0]], on, True
    for (x0, y0), (x1, y1) in pairwise(points):
        length, done = hypot(x1 - x0, y1 - y0), 0.0
        while length - done > left:
            done += left
            turn = (x0 + (x1 - x0) * done / length, y0 + (y1 - y0) * done / length)
            if drawing:
                yield [*piece, turn]
            piece, drawing = [turn], not drawing
            left = on if drawing else off
        left -= length - done
        piece.append((x1, y1))
    if drawing and len(piece) > 1:
        yield piece
