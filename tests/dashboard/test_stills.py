"""The stills: right size, nothing cut, nothing too small for a phone, and the same picture twice."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache

import pytest
from PIL import Image, ImageChops

from core.job import Job, Side
from core.results import Review
from core.review import review
from core.units import METRIC, US
from dashboard import words
from dashboard.handover import canvas, stills
from dashboard.handover.canvas import Canvas, shrunk, width_of, wrapped
from dashboard.handover.choice import EVERYTHING, Choice
from dashboard.look import THEMES, TYPE_STILL
from tests.dashboard.invented_jobs import invented_job
from tests.dashboard.test_pdf import LONG_NAMES, STRANGE

UNITS = {"metric": METRIC, "US": US}
MAKE = {
    "wide": (stills.still_wide, (1920, 1080)),
    "tall": (stills.still_tall, (1080, 1920)),
    "overlay": (stills.still_overlay, (1920, 1080)),
}
# Where text and shapes may stand: a player's own controls lie over the rest of an upright video.
SAFE = {"wide": (90, 60, 1830, 1060), "tall": (90, 200, 960, 1705), "overlay": (90, 700, 1830, 1004)}
LONG = "An endurance four whose title goes on for eighty characters and then for a few more of them"


def other_setup(job: Job) -> Job:
    """Return the job with its last stage tested in another bore and with a bare intake."""
    last = job.stages[-1].name
    return replace(
        job,
        sheets=tuple(
            replace(one, fixture=replace(one.fixture, bore_m=0.08, intake_entry="bare"))
            if one.stage == last
            else one
            for one in job.sheets
        ),
    )


def no_pressure(job: Job) -> Job:
    bare = (replace(one, air=replace(one.air, test_pressure_pa=None)) for one in job.sheets)
    return replace(job, sheets=tuple(bare))


JOBS = {
    "four stages": invented_job(),
    "long names": invented_job(stages=12, lifts=24, names=LONG_NAMES, title=LONG),
    "one stage": invented_job(stages=1),
    "no exhaust": invented_job(stages=3, sides=("intake",)),
    "no prices, no cam": invented_job(priced=False, cam=False),
    "many scripts": invented_job(
        stages=len(STRANGE), names=STRANGE, setups=1, lifts=3, title=" ".join(STRANGE)
    ),
    "another set-up": other_setup(invented_job()),
    "no pressure": no_pressure(invented_job()),
    "no sheets": replace(invented_job(stages=2), sheets=()),
}


@cache
def reviewed(name: str) -> Review:
    return review(JOBS[name])


@cache
def picture(kind: str, name: str, units: str = "metric", choice: Choice = EVERYTHING) -> Image.Image:
    image = Image.open(io.BytesIO(MAKE[kind][0](reviewed(name), UNITS[units], choice)))
    image.load()
    return image


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("name", JOBS)
@pytest.mark.parametrize("kind", MAKE)
def test_size_and_safe_area(kind: str, name: str, units: str) -> None:
    image = picture(kind, name, units)
    assert image.size == MAKE[kind][1]
    ground = Image.new("RGBA", image.size, (0, 0, 0, 0) if kind == "overlay" else THEMES["dark"].background)
    inked = Image.new("L", image.size)
    for mine, other in zip(image.convert("RGBA").split(), ground.split(), strict=True):
        different = Image.composite(mine, other, Image.new("L", image.size, 255))
        inked.paste(255, mask=_unlike(different, other))
    left, top, right, bottom = inked.getbbox()
    x0, y0, x1, y1 = SAFE[kind]
    assert x0 <= left and right <= x1 and y0 <= top and bottom <= y1


def _unlike(one: Image.Image, other: Image.Image) -> Image.Image:
    return ImageChops.difference(one, other).point(lambda value: 255 if value > 3 else 0).convert("1")


def test_only_the_overlay_lets_the_video_through() -> None:
    assert picture("wide", "four stages").mode == picture("tall", "four stages").mode == "RGB"
    overlay = picture("overlay", "four stages")
    assert overlay.mode == "RGBA"
    assert overlay.crop((0, 0, 1920, 700)).getextrema()[3] == (0, 0)
    low, high = overlay.crop((110, 780, 1800, 990)).getextrema()[3]
    assert low == round(0.92 * 255) and high == 255


@pytest.fixture
def said(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, int, tuple[float, float, float, float]]]:
    """Return, as it is set, every piece of text with its size and box."""
    seen: list[tuple[str, int, tuple[float, float, float, float]]] = []
    real = Canvas.text

    def text(self: Canvas, x: float, y: float, text: str, size: int, colour: str, **more: str) -> float:
        end = real(self, x, y, text, size, colour, **more)
        seen.append((text, size, (x, y - 0.7 * size, end, y)))
        return end

    monkeypatch.setattr(Canvas, "text", text)
    return seen


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("name", JOBS)
@pytest.mark.parametrize("kind", MAKE)
def test_nothing_overlaps_and_nothing_is_too_small(kind: str, name: str, units: str, said: list) -> None:
    MAKE[kind][0](reviewed(name), UNITS[units], EVERYTHING)
    for i, (text, size, box) in enumerate(said):
        assert size >= TYPE_STILL["axis"], text
        for other, _, (x0, y0, x1, y1) in said[i + 1 :]:
            across, down = min(box[2], x1) - max(box[0], x0), min(box[3], y1) - max(box[1], y0)
            assert across < 1 or down < 1, (text, other)
    small = [text for text, size, _ in said if size < TYPE_STILL["least"]]
    assert all(text[:1].isdigit() or text.startswith("lift, ") for text in small)  # the axis


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("kind", MAKE)
def test_numbers_are_the_reviews(kind: str, units: str, said: list) -> None:
    used = UNITS[units]
    MAKE[kind][0](reviewed("four stages"), used, EVERYTHING)
    texts = [text for text, _, _ in said]
    for side in ("intake", "exhaust"):
        summary = words.whole_gain(reviewed("four stages"), side).summary
        per = 1000.0 if units == "metric" else 60 / 0.3048**3  # L and s; cubic feet and minutes
        for flow in (summary.before_m3_s, summary.after_m3_s):
            assert any(near(text, flow * per) for text in texts)
        changes = [text.split("\u00a0") for text in texts if text.endswith("%")]
        change = next(parts for parts in changes if near(parts[0], 100 * summary.gain_fraction))
        assert near(change[2], 100 * summary.expanded_fraction)
    joined = " ".join(texts).replace("\u00a0", " ")
    for needed in ("28 inH2O", "standard air ISO 2533", "95 %", "ata 7f3c-91ae"):
        assert needed in joined
    assert "25 inH2O" in joined and "as cast" in joined and "port exit" in joined
    assert "over the time that these cams hold the valves open" in joined
    if kind != "overlay":
        assert "2 × " in joined


def near(text: str, value: float) -> bool:
    """Return whether a text is this number, rounded to the digits that it shows."""
    try:
        number = float(text.replace("+", "").replace("\u2212", "-").replace("\u202f", ""))
    except ValueError:
        return False
    return abs(number - value) <= 0.5 * 10.0 ** -len(text.partition(".")[2]) * (1 + 1e-9) + 1e-9


@pytest.mark.parametrize("kind", MAKE)
def test_a_doubt_stands_beside_its_number(kind: str, said: list) -> None:
    MAKE[kind][0](reviewed("another set-up"), METRIC, EVERYTHING)
    assert sum("another set-up" in text for text, _, _ in said) == 2
    said.clear()
    MAKE[kind][0](reviewed("no pressure"), METRIC, EVERYTHING)
    assert sum(text.startswith("no test pressure") for text, _, _ in said) == 2


@pytest.mark.parametrize("kind", MAKE)
@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_the_chosen_stages_and_side(kind: str, side: Side, said: list) -> None:
    choice = Choice(stages=("seat cut", "throat and bowl"), side=side)
    MAKE[kind][0](reviewed("four stages"), METRIC, choice)
    texts = [text for text, _, _ in said]
    other = "Exhaust" if side == "intake" else "Intake"
    assert side.capitalize() in texts and other not in texts
    summary = reviewed("four stages").gain("throat and bowl", side, "previous").summary
    assert any(near(text, 1000 * summary.after_m3_s) for text in texts)


def test_no_price_goes_public(said: list) -> None:
    for make, _ in MAKE.values():
        make(reviewed("four stages"), METRIC, EVERYTHING)
    assert not any("EUR" in text for text, _, _ in said)


def test_the_picture_says_what_it_shows() -> None:
    for kind in MAKE:
        about = picture(kind, "four stages").text
        assert about["Title"] == "Invented four"
        assert "intake as cast → port exit" in about["Description"]
        assert "clear\u00a0gain" in about["Description"] and "28\u00a0inH2O" in about["Description"]


# glyphs and lines -----------------------------------------------------------------------------


def inked(text: str) -> int:
    """Return how many pixels a text leaves."""
    paper = Canvas(400, 100, "#000000")
    paper.text(10, 80, text, 60, "#FFFFFF")
    return sum(count for value, count in enumerate(paper.image.convert("L").histogram()) if value > 128)


@pytest.mark.parametrize("text", ["日", "ع", "ש", "🏁"])
def test_a_glyph_that_is_missing_leaves_a_box(text: str) -> None:
    assert inked(text) == inked("日") > 100
    assert inked("ж") != inked("日")


def test_what_is_hidden_is_left_out() -> None:
    assert inked("a\u202eb") == inked("ab")
    assert inked("e\u0301") == inked("é")


def test_wrapped_lines_fit_and_a_cut_is_marked() -> None:
    lines = wrapped(LONG, 500, 30, most=2)
    assert len(lines) == 2 and lines[-1].endswith(canvas.CUT)
    assert all(width_of(line, 30) <= 500 for line in lines)
    assert " ".join(wrapped(LONG, 500, 30, most=9)) == LONG
    broken = wrapped("x" * 90, 200, 30, most=9)
    assert "".join(broken) == "x" * 90 and all(width_of(one, 30) <= 200 for one in broken)
    assert wrapped("", 200, 30, most=2) == []
    assert wrapped("it is at 28 inH2O", 170, 30, most=3)[-1] == "28\u00a0inH2O"


def test_shrunk_text_fits_or_is_as_small_as_it_may_be() -> None:
    assert shrunk("short", 1000, 62, least=44) == 62
    size = shrunk(LONG, 1728, 62, least=30)
    assert width_of(LONG, size) <= 1728 < width_of(LONG, size + 2)
    assert shrunk(LONG * 3, 100, 62, least=44) == 44


def test_dashes_cover_their_share_of_the_line() -> None:
    pieces = list(canvas.dashes([(0.0, 0.0), (50.0, 0.0), (110.0, 0.0)], 7, 4))
    assert sum(piece[-1][0] - piece[0][0] for piece in pieces) == pytest.approx(10 * 7)
    assert pieces[0] == [(0.0, 0.0), (7.0, 0.0)]
