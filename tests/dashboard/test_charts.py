"""Charts: valid, complete, inert, and with colours that can be told from what is behind them."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from typing import Any

import altair as alt
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from core.job import SIDES
from core.results import Review
from core.units import METRIC, US, UnitSet
from dashboard import words
from dashboard.charts import gain_by_lift, overlay, rungs, stairs
from dashboard.labels import dodge, dodge_blocks, shorten
from dashboard.look import THEMES, Theme, weight_of
from tests.dashboard.reviews import make_review, no_exhaust, one_stage, twelve_stages

Spec = dict[str, Any]
LIGHT = THEMES["light"]


def by_lift(review: Review, side: str, units: UnitSet, theme: Theme) -> Spec:
    """Return the chart of every stage against the one before."""
    gains = [gain for gain in words.step_gains(review) if gain.side == side]
    return gain_by_lift(review, gains, [gain.stage for gain in gains], units, theme)


CHARTS: dict[str, Callable[..., Spec]] = {
    "overlay": overlay, "stairs": stairs, "rungs": rungs, "by lift": by_lift,
}  # fmt: skip
REVIEWS = {
    "four stages": make_review(),
    "no cam": make_review(cam=False),
    "no price": make_review(prices=None),
    "different ports": make_review(different_ports=True),
    "twelve stages": twelve_stages(),
    "losses": make_review(tops={"intake": (108, 107, 104, 103), "exhaust": (81, 80, 79, 77)}),
}


def layers(spec: Spec) -> Iterator[tuple[Spec, list[dict[str, Any]]]]:
    """Yield every layer with the rows it draws."""
    for place, layer in enumerate(spec["layer"]):
        assert layer["transform"] == [{"filter": f"datum.layer === {place}"}]
        yield layer, [row for row in spec["datasets"]["rows"] if row["layer"] == place]


def rows(spec: Spec, kind: str) -> Iterator[dict[str, Any]]:
    """Yield the data of every layer that draws one kind of mark."""
    for layer, drawn in layers(spec):
        if layer["mark"]["type"] == kind:
            yield from drawn


def texts(spec: Spec) -> list[str]:
    """Return every word that a chart shows."""
    return [row["text"] for row in rows(spec, "text")]


def read_off(spec: Spec, axis: str) -> Callable[[float], float]:
    """Return how a reader gets from a place in the chart to a number: by the outermost ticks."""
    other = "y" if axis == "x" else "x"
    zero = next(row for row in rows(spec, "text") if row["text"] == "0")
    ticks = [
        (row[axis], float(row["text"].replace("−", "-")))
        for row in rows(spec, "text")
        if re.fullmatch(r"[+−]?[\d.]+", row["text"]) and row.get(other) == zero[other]
    ]
    (a, at_a), (b, at_b) = min(ticks), max(ticks)
    return lambda place: at_a + (place - a) * (at_b - at_a) / (b - a)


@pytest.mark.parametrize("chart", CHARTS.values(), ids=CHARTS)
def test_the_schema_knows_every_chart(chart: Callable[..., Spec]) -> None:
    review = make_review(
        tops={"intake": (108, 115, 109, 109.2), "exhaust": (81, 82, 83, 84)}, different_ports=True
    )
    alt.Chart.from_dict(chart(review, "intake", METRIC, LIGHT))  # refuses what it does not know


@pytest.mark.parametrize("review", REVIEWS.values(), ids=REVIEWS)
@pytest.mark.parametrize("chart", CHARTS.values(), ids=CHARTS)
def test_every_chart_is_whole_and_described(chart: Callable[..., Spec], review: Review) -> None:
    for side, units, mode in (("intake", METRIC, "light"), ("exhaust", US, "dark")):
        spec = chart(review, side, units, THEMES[mode])
        json.dumps(spec, allow_nan=False)
        for said in (side, "28", "± is 95"):
            assert said in spec["description"].casefold()
        for layer in spec["layer"]:
            for channel, encoding in layer["encoding"].items():
                if channel != "tooltip":
                    assert encoding.get("legend") is None
                if channel in ("x", "y") and "field" in encoding:
                    assert encoding["axis"] is None
            if layer["mark"]["type"] == "text":  # the library's own colour is black in both modes
                assert "color" in layer["mark"] or "color" in layer["encoding"]


@pytest.mark.parametrize("chart", CHARTS.values(), ids=CHARTS)
def test_user_text_is_never_a_field_name(chart: Callable[..., Spec]) -> None:
    names = ("a.b", "c[0]", "it's", 'q"u')
    spec = chart(make_review(names=names), "intake", METRIC, LIGHT)
    fields = {
        field["field"]
        for layer in spec["layer"]
        for encoding in layer["encoding"].values()
        for field in (encoding if isinstance(encoding, list) else [encoding])
        if "field" in field
    }
    assert not fields & set(names)
    assert not any(mark in field for field in fields for mark in ".[]'\"")
    assert any(names[-1] in text for text in texts(spec))


def test_the_overlay_draws_the_very_curve_that_is_worked_with() -> None:
    review = make_review()
    spec = overlay(review, "intake", METRIC, LIGHT)
    last = review.stages[-1].intake
    lift = np.array([0.0, *last.lift_m]) * 1e3
    curve = PchipInterpolator(lift, np.array([0.0, *last.flow_m3_s]) * 1e3)
    drawn = [row for row in rows(spec, "line") if row["series"].startswith("s3")]
    assert len(drawn) > 50
    lift_of, flow_of = read_off(spec, "x"), read_off(spec, "y")
    ends = [(lift_of(row["x"]), flow_of(row["y"])) for row in (drawn[0], drawn[-1])]
    assert ends[0] == pytest.approx((0.0, 0.0), abs=0.01)
    assert ends[1] == pytest.approx((11.0, last.flow_m3_s[-1] * 1e3), abs=0.01)
    for row in drawn:
        # Places are sent to 0.01 px of 280 for 120 L/s, so to 0.002 L/s; ticks and lifts add as much.
        assert flow_of(row["y"]) == pytest.approx(float(curve(lift_of(row["x"]))), abs=0.01)


def test_the_overlay_shows_every_reading_with_its_stage() -> None:
    review = make_review()
    spec = overlay(review, "exhaust", METRIC, LIGHT)
    tips = [row for row in rows(spec, "point") if "Stage" in row]
    assert len(tips) == 4 * 11
    assert {row["Stage"] for row in tips} == {stage.name for stage in review.stages}
    assert "75.6\u00a0±\u00a00.6 L/s" in {row["Flow"] for row in tips if row["Lift"] == "10 mm"}


@pytest.mark.parametrize("chart", [overlay, stairs])
def test_both_sides_share_one_scale(chart: Callable[..., Spec]) -> None:
    one, other = (read_off(chart(make_review(), side, METRIC, LIGHT), "y") for side in SIDES)
    for place in (-200.0, -50.0):
        assert one(place) == pytest.approx(other(place), abs=0.01)


def test_other_units_are_the_same_drawing_with_other_rows() -> None:
    """So the browser keeps the chart that it has built and only moves what is in it."""
    for chart in CHARTS.values():
        one, other = (chart(make_review(), "intake", units, LIGHT) for units in (METRIC, US))
        for spec in (one, other):
            del spec["datasets"]
        assert one == other


def test_lift_beyond_the_cam_is_shaded_and_named() -> None:
    spec = overlay(make_review(), "intake", METRIC, LIGHT)
    (shade,) = rows(spec, "rect")
    lift_of = read_off(spec, "x")
    assert (lift_of(shade["x"]), lift_of(shade["x2"])) == pytest.approx((10.2, 11.0), abs=1e-3)
    assert any("10.2" in text for text in texts(spec))
    faded = {lift_of(row["x"]) >= 10.199 for row in rows(spec, "line") if row["opacity"] < 1}
    assert faded == {True}
    assert not list(rows(overlay(make_review(cam=False), "intake", METRIC, LIGHT), "rect"))


def test_many_stages_are_numbered_and_only_the_ends_are_named() -> None:
    spec = overlay(twelve_stages(), "intake", METRIC, LIGHT)
    shown = texts(spec)
    assert {"1 as cast", "12 polish and matc…"} <= set(shown)
    assert set(map(str, range(2, 12))) <= set(shown)
    assert {row["Stage"] for row in rows(spec, "point") if "Stage" in row} == {
        "as cast", "polish and match the runners",
    }  # fmt: skip


def test_hue_is_the_stage_and_nothing_else() -> None:
    review = make_review()
    neutral = {
        value
        for name in ("background", "surface", "text", "muted", "rule", "rule_strong", "beyond")
        for value in [getattr(LIGHT, name)]
    }
    stages = {colour(i, 4) for i in range(4) for colour in (LIGHT.line_colour, LIGHT.text_colour)}
    for chart in CHARTS.values():
        for side in SIDES:
            used = set()
            for layer, drawn in layers(chart(review, side, METRIC, LIGHT)):
                looks = [layer["mark"], *drawn]
                used |= {m[c] for m in looks for c in ("color", "fill", "stroke") if c in m}
            assert used <= neutral | stages


def test_steps_are_as_high_as_the_number_over_them() -> None:
    review = make_review()
    spec = stairs(review, "intake", METRIC, LIGHT)
    gain_of = read_off(spec, "y")
    blocks = [row for row in rows(spec, "rect") if "y2" in row]
    heights = sorted(gain_of(row["y2"]) - gain_of(row["y"]) for row in blocks)
    gains = [gain for gain in words.step_gains(review) if gain.side == "intake"]
    whole = words.whole_gain(review, "intake")
    expected = sorted(gain.summary.gain_m3_s * 1e3 for gain in (*gains, whole))
    assert heights == pytest.approx(expected, abs=0.01)  # places are sent to 0.01 px


def test_a_step_that_is_too_close_is_hollow() -> None:
    spec = stairs(make_review(), "intake", METRIC, LIGHT)
    hollow = [drawn for layer, drawn in layers(spec) if layer["mark"].get("fillOpacity") == 0]
    assert [len(drawn) for drawn in hollow] == [1]
    assert any("too close to call" in text for text in texts(spec))


def test_the_mark_is_the_verdict() -> None:
    review = make_review(tops={"intake": (108, 115, 109, 109.2), "exhaust": (81, 82, 83, 84)})
    spec = by_lift(review, "intake", METRIC, LIGHT)
    gains = [gain for gain in words.step_gains(review) if gain.side == "intake"]
    judged = [verdict for gain in gains for verdict in gain.verdict]
    shapes = [row["shape"] for row in rows(spec, "point") if "shape" in row]
    assert shapes.count("triangle-up") == judged.count("clear gain") > 0
    assert shapes.count("triangle-down") == judged.count("clear loss") > 0
    hollow = [row for row in rows(spec, "point") if "stroke" in row]
    assert len(hollow) == judged.count("too close to call") > 0


def test_narrow_steps_keep_figure_verdict_and_doubt_on_lines_that_fit() -> None:
    """Six steps and all work on a page of 390 px leave 45 px each: eight or nine letters."""
    spec = stairs(make_review(different_ports=True), "intake", METRIC, LIGHT)
    narrow = [(layer, row) for layer, drawn in layers(spec) for row in drawn if "narrow" in row]
    for layer, row in narrow:
        assert "text" not in layer["encoding"]
        assert "datum.narrow" in layer["mark"]["text"]["expr"]
        assert "width" in layer["mark"]["limit"]["expr"]
        if layer["mark"]["baseline"] == "bottom":
            assert max(map(len, row["narrow"].split("\n"))) <= 9
    shown = {row["text"]: row["narrow"] for _, row in narrow}
    assert shown["+8.0\u00a0±\u00a00.6"] == "+8.0\n±\u00a00.6"
    assert shown["○ too close to call"] == "○"
    assert shown["different ports"] == "different\nports"
    assert shown["1\u202f050\u00a0EUR"] == "1\u202f050\nEUR"
    assert shown["throat and bowl"] == "throat and bowl"  # cut by what there is room for


@pytest.mark.parametrize("chart", [stairs, rungs, by_lift])
def test_doubts_stand_beside_the_verdict(chart: Callable[..., Spec]) -> None:
    unscaled = chart(make_review(at_reference=False), "intake", METRIC, LIGHT)
    assert any("no test pressure" in t for t in texts(unscaled))
    assert any(
        "different ports" in t
        for t in texts(chart(make_review(different_ports=True), "intake", METRIC, LIGHT))
    )
    other = make_review(setup_differences=("bore: 80 mm, then 86 mm",))
    assert any("another set-up" in t for t in texts(chart(other, "intake", METRIC, LIGHT)))


def test_one_stage_is_drawn_as_the_last() -> None:
    spec = overlay(one_stage(), "intake", METRIC, LIGHT)
    assert {row["color"] for row in rows(spec, "line")} == {LIGHT.line_colour(0, 1)}
    assert overlay(no_exhaust(), "intake", METRIC, LIGHT)["layer"]


@given(
    st.lists(st.floats(0, 400), min_size=1, max_size=14),
    st.floats(5, 20),
)
def test_labels_keep_their_distance_and_their_order(wanted: list[float], gap: float) -> None:
    placed = dodge(wanted, gap, 0.0, 400.0)
    order = np.argsort(wanted, kind="stable")
    steps = np.diff(np.array(placed)[order])
    assert np.all(steps >= min(gap, 400.0 / max(len(wanted) - 1, 1)) - 1e-6)
    assert min(placed) >= -1e-9
    assert max(placed) <= 400.0 + 1e-9


def test_labels_with_room_stay_at_their_lines() -> None:
    assert dodge([300.0, 10.0, 100.0], 15.0, 0.0, 400.0) == [300.0, 10.0, 100.0]
    # Two that collide share the way: the least squares from both.
    assert dodge([100.0, 101.0], 15.0, 0.0, 400.0) == pytest.approx([93.0, 108.0])


def test_blocks_keep_the_order_given() -> None:
    (intake, one), (exhaust, two) = dodge_blocks([[200.0, 210.0], [100.0]], 15.0, 0.0, 400.0)
    assert intake < min(one) < max(one) < exhaust < two[0]


def test_long_names_are_cut_visibly() -> None:
    assert shorten("polish and match") == "polish and match"
    assert shorten("polish and match the runners") == "polish and matc…"


def luminance(colour: str) -> float:
    """Return relative luminance (WCAG 2.2)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return float(np.dot((0.2126, 0.7152, 0.0722), linear))


def contrast(one: str, other: str) -> float:
    """Return the contrast of two colours (WCAG 2.2)."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
def test_colours_can_be_told_from_what_is_behind_them(theme: Theme) -> None:
    """WCAG 2.2: 3 to 1 for what is drawn (1.4.11), 4.5 to 1 for words (1.4.3)."""
    for behind in (theme.background, theme.surface, theme.beyond):
        for count in range(1, 13):
            for i in range(count):
                assert contrast(theme.line_colour(i, count), behind) >= 3.0
                assert contrast(theme.text_colour(i, count), behind) >= 4.5
        assert contrast(theme.text, behind) >= 4.5
        assert contrast(theme.muted, behind) >= 4.5


def test_more_stages_than_the_longest_ramp_still_have_colours() -> None:
    colours = [LIGHT.line_colour(i, 15) for i in range(15)]
    assert colours[0] == LIGHT.line_colour(0, 12)
    assert colours[-1] == LIGHT.line_colour(11, 12)
    assert [weight_of(i, 15) for i in (0, 7, 14)] == ["baseline", "context", "last"]
