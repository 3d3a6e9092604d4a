"""``numbers.csv``: every number is the review's own, with its doubts beside it."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest

from core.job import SIDES
from core.results import Gain
from core.units import METRIC, UnitSet, to_display
from dashboard import words
from dashboard.handover.numbers_csv import numbers_csv
from tests.dashboard.power_models import make_model
from tests.dashboard.test_kit import SHAPES, UNITS, assert_same, demo, reviewed


def blocks(data: bytes) -> list[list[list[str]]]:
    """Return the blocks of a sheet, each a list of rows."""
    assert data.startswith(b"\xef\xbb\xbf")
    found: list[list[list[str]]] = [[]]
    for row in csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")):
        if row:
            found[-1].append(row)
        else:
            found.append([])
    return found


def in_dicts(block: list[list[str]]) -> list[dict[str, str]]:
    return [dict(zip(block[0], row, strict=True)) for row in block[1:]]


def at(values: tuple, lift_m: tuple[float, ...], said: str, units: UnitSet) -> float | None:
    """Return the value at the lift that is said, in display units."""
    near = min(range(len(lift_m)), key=lambda i: abs(to_display(lift_m[i], "lift", units) - float(said)))
    assert abs(to_display(lift_m[near], "lift", units) - float(said)) < 0.006
    return values[near]


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("shape", SHAPES)
def test_every_number_of_the_sheet_is_the_reviews(shape: str, units: str) -> None:
    shown, used = reviewed(shape), UNITS[units]
    _, stages, flow_rows, gain_rows, _ = map(in_dicts, blocks(numbers_csv(shown, used)))
    names = [row["stage"] for row in stages]
    assert len(names) == len(shown.stages)
    flow, lift = (f"[{'cfm' if units == 'US' else 'L/s'}]", f"[{'in' if units == 'US' else 'mm'}]")
    checked = 0
    for row in flow_rows:
        curve = shown.stages[names.index(row["stage"])].side(row["side"])
        if row["over"] == "":
            value = at(curve.flow_m3_s, curve.lift_m, row[f"lift {lift}"], used)
            assert_same(row[f"flow {flow}"], value, "flow", used)
            expanded = at(curve.expanded_bench_m3_s, curve.lift_m, row[f"lift {lift}"], used)
            assert_same(row[f"± {flow}"], expanded, "flow", used)
            checked += 1
        elif row["over"] == "cam-weighted":
            assert_same(row[f"flow {flow}"], curve.cam_weighted_flow_m3_s, "flow", used)
        elif row["over"] == "peak overall":
            assert_same(row[f"flow {flow}"], curve.highest_flow_m3_s, "flow", used)
    curves = [curve for stage in shown.stages for side in SIDES if (curve := stage.side(side))]
    assert checked == sum(len(curve.lift_m) for curve in curves)
    against = {"baseline": "baseline", "stage before": "previous", "target": "target"}
    for row in gain_rows:
        stage = shown.stages[names.index(row["stage"])].name
        gain = shown.gain(stage, row["side"], against[row["against"]])
        check_gain_row(row, gain, flow, lift, used)
    assert len(gain_rows) == sum(
        len(gain.lift_m) + (gain.mean is not None) + (gain.cam_weighted is not None) for gain in shown.gains
    )


def check_gain_row(row: dict[str, str], gain: Gain, flow: str, lift: str, used: UnitSet) -> None:
    if row["over"]:
        one = gain.cam_weighted if row["over"] == "cam-weighted" else gain.mean
        values = (one.before_m3_s, one.after_m3_s, one.gain_m3_s, one.expanded_uncertainty_m3_s)
        shares, verdict = (one.gain_fraction, one.expanded_fraction), one.verdict
    else:
        columns = (gain.before_m3_s, gain.after_m3_s, gain.gain_m3_s, gain.expanded_uncertainty_m3_s)
        values = tuple(at(column, gain.lift_m, row[f"lift {lift}"], used) for column in columns)
        columns = (gain.gain_fraction, gain.expanded_fraction, gain.verdict)
        *shares, verdict = (at(column, gain.lift_m, row[f"lift {lift}"], used) for column in columns)
    for head, value in zip(("before", "after", "gain", "±"), values, strict=True):
        assert_same(row[f"{head} {flow}"], value, "flow", used)
    for head, value in zip(("gain [%]", "± [%]"), shares, strict=True):
        assert_same(row[head], value, "percent", used)
    assert row["verdict"] == (verdict or "")


def test_doubts_stand_beside_every_number_that_they_concern() -> None:
    shown = demo("messy-day")
    rows = in_dicts(blocks(numbers_csv(shown, METRIC))[3])
    doubted = [row for row in rows if row["stage"] == "bowls opened"]
    assert doubted and all("another set-up: bore" in row["remark"] for row in doubted)
    assert any("beyond cam" in row["remark"] for row in rows)


# power and compression ---------------------------------------------------------------------------


def ends(row: dict[str, str], *heads: str) -> list[float]:
    return [float(row[head]) for head in heads]


@pytest.mark.parametrize("units", UNITS)
def test_a_range_of_power_is_the_models_and_never_without_its_caveat(units: str) -> None:
    used, unit = UNITS[units], {"metric": "kW", "US": "hp"}[units]
    model = make_model(without={"seat cut": "its exhaust was not measured"})
    rows = in_dicts(blocks(numbers_csv(replace(reviewed("four stages"), power=model), used))[4])
    assert [(row["stage"], row["against"], row["other"]) for row in rows] == [
        ("seat cut", "", ""),
        ("throat and bowl", "stage before", "as cast"),
        ("throat and bowl", "baseline", "as cast"),
        ("port exit", "stage before", "throat and bowl"),
        ("port exit", "baseline", "as cast"),
    ]
    assert rows[0]["remark"] == "no power figure, because its exhaust was not measured"
    gains = [gain for one in model.stages for gain in (one.against_previous, one.against_baseline) if gain]
    for row, gain in zip(rows[1:], gains, strict=True):
        assert row["remark"].endswith(words.CAVEAT)
        assert row["remark"].startswith("too close to call; ") == gain.too_close_to_call
        pairs = (
            ((f"rough power from [{unit}]", f"to [{unit}]"), gain.gain_w, to_display(1.0, "power", used)),
            (("from [%]", "to [%]"), gain.gain_fraction, 100.0),
        )
        for heads, truth, per in pairs:
            # A range is rounded to steps of a sixth of its width at most.
            room = per * (truth.high - truth.low) / 12 + 1e-9
            assert ends(row, *heads) == pytest.approx([per * truth.low, per * truth.high], abs=room)
        price = [row[f"price {end} [EUR/{unit}]"] for end in ("from", "to")]
        assert (price[1] == "") == (gain.gain_w.low <= 0)
        least = gain.price_per_w.low / to_display(1.0, "power", used)
        assert float(price[0]) == pytest.approx(least, rel=0.05)  # two digits


def test_without_a_model_the_sheet_says_why_or_has_no_such_block() -> None:
    assert b"rough power" not in numbers_csv(reviewed("four stages"), METRIC)
    none = replace(make_model(), because="the job has no engine", stages=())
    (row,) = in_dicts(blocks(numbers_csv(replace(reviewed("four stages"), power=none), METRIC))[4])
    assert row["remark"] == "No power figure, because the job has no engine."


def test_compression_is_the_reviews_own() -> None:
    shown = demo("touring-twin")
    rows = in_dicts(blocks(numbers_csv(shown, METRIC))[4])
    assert [row["stage"] for row in rows] == [line.stage for line in shown.compression]
    for row, line in zip(rows, shown.compression, strict=True):
        assert float(row["chamber [cc]"]) == pytest.approx(line.chamber_volume_m3 * 1e6, abs=0.05)
        assert float(row["compression ratio"]) == pytest.approx(line.ratio, abs=0.005)
        if line.stage == line.base:
            assert row["over the first [cc]"] == row["to [%]"] == ""
            continue
        assert float(row["over the first [cc]"]) == pytest.approx(line.added_m3 * 1e6, abs=0.05)
        least, most = sorted((line.low_fraction, line.high_fraction), key=abs)
        shown_ends = ends(row, "effect on power from [%]", "to [%]")
        assert shown_ends == pytest.approx([100 * least, 100 * most], abs=0.05)
        depth = float(row["off the deck to bring it back [mm]"])
        assert depth == pytest.approx(line.surfacing_m * 1e3, abs=0.005)
