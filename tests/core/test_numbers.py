"""The numbers as JSON: laid out as documented, finite, and the review's own."""

from __future__ import annotations

import datetime as dt
import json
import math
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from core.files.load import load_job
from core.job import Finding
from core.numbers import FORMAT, finding_text, numbers_json, review_numbers
from core.results import Gain, PortCurve, Review, SideCurve, StageResult, Summary
from core.review import review
from core.units import METRIC, US
from tests.core.jobs import sheet
from tests.core.test_calibration import plate, with_checks
from tests.dashboard.invented_jobs import invented_job
from tests.dashboard.power_models import make_model

# As in the description of the format; further keys are welcome.
TOP = {"format", "title", "reference", "usable_lift_m", "stages", "gains", "power", "findings"}
STAGE = {
    "name", "price", "intake", "exhaust", "exhaust_to_intake", "chamber_volume_m3", "compression_ratio",
}  # fmt: skip
OVER_LIFT = {"lift_m", "flow_m3_s", "expanded_uncertainty_m3_s", "discharge_coefficient"}
SIDE = OVER_LIFT | {
    "ports", "n_setups", "peak_flow_m3_s", "mean_flow_m3_s", "cam_weighted_flow_m3_s", "by_port",
}  # fmt: skip
GAIN_OVER_LIFT = {
    "lift_m", "interpolated", "gain_m3_s", "gain_fraction", "expanded_uncertainty_m3_s", "verdict",
}  # fmt: skip
GAIN = GAIN_OVER_LIFT | {
    "stage", "against", "other", "side", "usable_lift_m", "mean", "cam_weighted", "different_ports",
    "same_setup", "price", "price_per_flow",
}  # fmt: skip
SUMMARY = {"gain_m3_s", "gain_fraction", "expanded_uncertainty_m3_s", "verdict"}
FINDING = {"level", "code", "text", "file", "line"}


@pytest.fixture(scope="module")
def reviewed() -> Review:
    return review(invented_job(stages=3, ports=("1", "2")))


def test_every_documented_key_is_there(reviewed: Review) -> None:
    numbers = json.loads(numbers_json(reviewed))
    assert numbers.keys() >= TOP
    assert numbers["format"] == FORMAT == "gain-ledger numbers 1"
    assert numbers["reference"].keys() >= {"pressure_pa", "density_kg_m3", "rule"}
    assert numbers["usable_lift_m"].keys() == {"intake", "exhaust"}
    assert len(numbers["stages"]) == 3
    for stage in numbers["stages"]:
        assert stage.keys() >= STAGE
        assert stage["exhaust_to_intake"].keys() >= {"lift_m", "ratio"}
        for side in ("intake", "exhaust"):
            curve = stage[side]
            assert curve.keys() >= SIDE
            assert {len(curve[key]) for key in OVER_LIFT} == {11}
            assert curve["ports"] == ["1", "2"]
            assert curve["n_setups"] == 4
            for port in curve["by_port"]:
                assert port.keys() >= {"port", "lift_m", "flow_m3_s", "n_setups"}
    assert {(gain["stage"], gain["against"]) for gain in numbers["gains"]} == {
        ("seat cut", "baseline"), ("seat cut", "previous"),
        ("throat and bowl", "baseline"), ("throat and bowl", "previous"),
    }  # fmt: skip
    for gain in numbers["gains"]:
        assert gain.keys() >= GAIN
        assert {len(gain[key]) for key in GAIN_OVER_LIFT} == {11}
        assert gain["mean"].keys() >= SUMMARY
        assert gain["cam_weighted"].keys() >= SUMMARY
    assert numbers["power"].keys() == {"ceiling", "model"}
    for ceiling in numbers["power"]["ceiling"]:
        assert ceiling.keys() == {"stage", "low_w", "mid_w", "high_w"}
    assert len(numbers["power"]["ceiling"]) == 3


def test_numbers_are_the_reviews_own(reviewed: Review) -> None:
    numbers = json.loads(numbers_json(reviewed))
    for stage, result in zip(numbers["stages"], reviewed.stages, strict=True):
        assert tuple(stage["intake"]["flow_m3_s"]) == result.intake.flow_m3_s
    for shown, gain in zip(numbers["gains"], reviewed.gains, strict=True):
        assert tuple(shown["gain_m3_s"]) == gain.gain_m3_s
        assert shown["cam_weighted"]["gain_m3_s"] == gain.cam_weighted.gain_m3_s
        assert shown["verdict"] == list(gain.verdict)


def plain(value: Any) -> Any:
    """Return a result as JSON has it: names for fields, lists for tuples, dates as text."""
    if is_dataclass(value):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple | list):
        return [plain(one) for one in value]
    return value.isoformat() if isinstance(value, dt.date) else value


def same(said: dict[str, Any], meant: object, *besides: str) -> None:
    """Check that every entry is the field of its name, but for those that are checked by themselves."""
    for key, value in said.items():
        if key not in besides:
            assert value == plain(getattr(meant, key)), key


def names(kind: type) -> set[str]:
    """Return the names of a result's fields."""
    return {field.name for field in fields(kind)}


def test_nothing_that_was_worked_out_is_left_out(reviewed: Review) -> None:
    said = json.loads(numbers_json(reviewed))
    of_job = {"format", "title", "fingerprint", "currency"}
    assert said.keys() == names(Review) - {"job", "ceiling"} | of_job  # the ceiling is under "power"
    stage, gain = said["stages"][0], said["gains"][0]
    assert stage.keys() == names(StageResult) - {"ratio_lift_m"}  # under "exhaust_to_intake"
    assert stage["intake"].keys() == names(SideCurve)
    assert stage["intake"]["by_port"][0].keys() == names(PortCurve)
    assert gain.keys() == names(Gain) and gain["mean"].keys() == names(Summary)


@pytest.mark.parametrize("name", ["touring-twin", "messy-day"])
def test_every_number_stands_under_its_own_name(name: str) -> None:
    """A target, both sides, ports and chambers; plates, leaks and a reading that is stopped."""
    done = review(load_job([Path(__file__).resolve().parents[2] / "demo_runs" / name]).job)
    said = json.loads(numbers_json(done))
    assert (said["title"], said["fingerprint"]) == (done.job.title, done.job.fingerprint)
    assert said["currency"] == done.job.currency
    same(said["reference"], done.reference)
    assert said["usable_lift_m"] == {
        "intake": done.usable_lift_m.intake,
        "exhaust": done.usable_lift_m.exhaust,
    }
    assert said["cam_net_lift_m"] == plain(done.cam_net_lift_m)
    for shown, stage in zip(said["stages"], done.stages, strict=True):
        same(shown, stage, "intake", "exhaust", "exhaust_to_intake")
        ratio = {"lift_m": plain(stage.ratio_lift_m), "ratio": plain(stage.exhaust_to_intake)}
        assert shown["exhaust_to_intake"] == ratio
        for side in ("intake", "exhaust"):
            same(shown[side], stage.side(side))
    for shown, gain in zip(said["gains"], done.gains, strict=True):
        same(shown, gain)
    assert said["power"]["ceiling"] == plain(done.ceiling)
    for key in ("calibration", "leaks", "balance", "compression", "repeatability"):
        assert said[key] == plain(getattr(done, key))
    for shown, finding in zip(said["findings"], done.findings, strict=True):
        same(shown, finding, "text")
    target = done.target
    assert (said["target"] is None) == (target is None) == (name == "messy-day")
    if target is None:
        return
    assert (said["target"]["name"], said["target"]["own_bench"]) == (target.name, target.own_bench)
    for side in ("intake", "exhaust"):
        of_side = said["target"][side]
        same(of_side["curve"], target.curves[side])
        assert of_side["valve_diameter_m"] == target.diameter_m[side]
        assert of_side["valves_open"] == target.valves[side]
    renamed = {
        "usable_lift_m": "usable_lift_m", "lift_m": "lift_m", "gap_m3_s": "gain_m3_s", "verdict": "verdict",
        "expanded_uncertainty_m3_s": "expanded_uncertainty_m3_s", "flow_coefficient_gap": "coefficient_gain",
    }  # fmt: skip
    for shown, gap in zip(said["target"]["gaps"], target.gaps, strict=True):
        assert shown["reached_flow_coefficient"] == plain(gap.reached_coefficient)
        assert {key: shown[key] for key in renamed} == {
            key: plain(getattr(gap.gain, field)) for key, field in renamed.items()
        }
        same(shown, gap, "reached_flow_coefficient", *renamed)


def test_the_model_of_power_stands_as_it_was_worked_out(reviewed: Review) -> None:
    model = make_model()
    assert json.loads(numbers_json(replace(reviewed, power=model)))["power"]["model"] == plain(model)


def test_a_plate_without_a_date_has_none_and_text_stays_what_it_is() -> None:
    made = with_checks({"a": [sheet({0.001: 0.01, 0.002: 0.02}, "a.csv")]}, plate(0.1, None, "plate.csv"))
    text = numbers_json(review(replace(made, title="Köpfe")))
    assert [one["date"] for one in json.loads(text)["calibration"]] == [None]
    assert '\n "title": "Köpfe",\n' in text and text.endswith("}\n")


def test_a_side_that_was_not_measured_is_null() -> None:
    numbers = review_numbers(review(invented_job(stages=2, sides=("intake",), cam=False, priced=False)))
    assert [stage["exhaust"] for stage in numbers["stages"]] == [None, None]
    assert numbers["usable_lift_m"]["exhaust"] is None
    assert {gain["side"] for gain in numbers["gains"]} == {"intake"}
    for gain in numbers["gains"]:
        assert (gain["cam_weighted"], gain["price"], gain["price_per_flow"]) == (None, None, None)


def test_what_is_not_finite_becomes_null(reviewed: Review) -> None:
    curve = replace(
        reviewed.stages[0].intake, flow_m3_s=(math.nan, math.inf, *reviewed.stages[0].intake.flow_m3_s[2:])
    )
    broken = replace(reviewed, stages=(replace(reviewed.stages[0], intake=curve), *reviewed.stages[1:]))
    text = numbers_json(broken)
    assert "NaN" not in text and "Infinity" not in text
    assert json.loads(text)["stages"][0]["intake"]["flow_m3_s"][:2] == [None, None]


def test_only_plain_json_types(reviewed: Review) -> None:
    def kinds(value: Any) -> set[type]:
        if isinstance(value, dict):
            return set().union(*(kinds(entry) for entry in value.values()), {type(key) for key in value})
        if isinstance(value, list):
            return set().union(set(), *(kinds(entry) for entry in value))
        return {type(value)}

    assert kinds(review_numbers(reviewed)) <= {str, int, float, bool, type(None)}


def test_a_finding_reads_in_both_unit_sets(reviewed: Review) -> None:
    values = (
        (0.1, "flow"), (0.00254, "lift"), ("a {name}", "text"), (28 * 249.08891, "test pressure"),
    )  # fmt: skip
    text = "{} at {} does not fit in {{braces}} of {}."
    finding = Finding("stop", "slip", text, "Check {}.", values, "a.csv", 9)
    assert finding_text(finding, METRIC).startswith(
        "100\u00a0L/s at 2.54\u00a0mm does not fit in {braces} of a {name}."
    )
    assert "0.1\u00a0in" in finding_text(finding, US)
    assert finding_text(finding, US).endswith("Check 28\u00a0inH2O.")
    assert "Check" not in finding_text(finding, US, cure=False)
    said = review_numbers(replace(reviewed, findings=(finding,)))["findings"]
    assert said[0].keys() >= FINDING
    assert (said[0]["level"], said[0]["code"], said[0]["file"], said[0]["line"]) == (
        "stop",
        "slip",
        "a.csv",
        9,
    )
    assert said[0]["text"] == finding_text(finding, METRIC)
