"""What a job file says of power: read, handed to the model, and stated in the numbers."""

from __future__ import annotations

import json
import math
from dataclasses import fields, replace
from pathlib import Path

import pytest

from core.files import powerkeys
from core.files.fields import Reader
from core.files.load import load_job
from core.job import Dyno, Job
from core.numbers import numbers_json
from core.power_assumptions import Unknown, assumption
from core.power_model import PowerSettings, power_model
from core.power_results import Anchor
from core.power_settings import settings_of, with_power
from core.review import review
from core.units import UnitError
from tests.core.jobs import LIFTS_M, job, sheet, truth
from tests.core.written_jobs import STAGE, put, sheet_text
from tests.dashboard.power_models import make_model

POWER = """\
[power]
runner_length = "320 mm"
runner_diameter = "1.5 in"
intake_temperature = "35 degC"
back_pressure = "2 kPa"
pulse_level = "80 %"
friction_level = "110 %"
burn_duration = "55 deg"
burn_centre = "-2 deg"
heat_level = "100 %"
wall_temperature = "177 degC"
fuel_level = "97 %"
intake_centreline = "104 deg"
exhaust_centreline = "108 deg"
lobe_stretch = "101 %"
flow_level = "98 %"
"""
DYNO = '[dyno]\npower = "100 hp"\nstage = "AS  cast"\nstandard = "din 70020"\n'


def read(folder: Path, text: str) -> Job:
    loaded = load_job([put(folder, job=text, one=sheet_text("stage: as cast"))])
    assert loaded.problems == ()
    return loaded.job


def test_every_key_reaches_the_settings(tmp_path: Path) -> None:
    settings = settings_of(read(tmp_path, POWER + STAGE))
    assert settings.runner_length_m == pytest.approx(0.32)
    assert settings.runner_diameter_m == pytest.approx(0.0381)
    assert settings.intake_temperature_k == pytest.approx(308.15)
    assert settings.back_pressure_pa == pytest.approx(2000)
    assert settings.burn_centre_rad == pytest.approx(math.radians(-2))
    assert settings.friction_level == pytest.approx(1.1)
    stated = {one.name: getattr(settings, one.name) for one in fields(PowerSettings)}
    # a setting that no key can state would stay unnoticed otherwise
    assert {name for name, value in stated.items() if value is None} == {"anchor"}
    assert all(f"{key} =" in POWER for key in powerkeys.POWER)


def test_a_job_that_says_nothing_leaves_every_assumption(tmp_path: Path) -> None:
    assert settings_of(read(tmp_path, STAGE)) == PowerSettings()


def test_a_known_peak_is_read_with_its_stage_as_the_job_writes_it(tmp_path: Path) -> None:
    made = read(tmp_path, DYNO + STAGE)
    assert made.dyno == Dyno(pytest.approx(74569.987), "as cast", "DIN 70020", line=3)
    assert settings_of(made).anchor == Anchor(made.dyno.power_w, "as cast", "DIN 70020")


def test_a_known_peak_may_name_a_stage_that_only_the_sheets_name(tmp_path: Path) -> None:
    assert read(tmp_path, DYNO).dyno.stage == "as cast"
    other = load_job([put(tmp_path / "b", job=DYNO, one=sheet_text("stage: bowl"))])
    assert [str(problem) for problem in other.problems] == [
        "job.toml, line 3: [dyno] 'AS cast' is no stage of this job. Allowed: bowl."
    ]


def test_limits_of_the_job_file_lie_inside_those_of_the_model(demo_runs: Path) -> None:
    model = with_power(review(load_job([demo_runs / "sprint-four"]).job)).power
    known = {one.key: one for one in model.assumptions}
    assert set(powerkeys.KEYS) == set(known)
    for key, field in powerkeys.POWER.items():
        one = known[field.attribute]
        bounds = Unknown(one.key, one.name, one.unit_kind, one.value, 0, 0, one.least, one.greatest, "")
        for end in _ends(field.read):
            assert assumption(bounds, end).value == pytest.approx(end), key  # and no error


def _ends(read_quantity: Reader) -> list[float]:
    """Return the limits of a reader of quantities, as it states them itself."""
    for unit in ("m", "degC", "kPa", "%", "deg"):
        try:
            read_quantity(f"1e9 {unit}")
        except UnitError as error:
            if error.cure.startswith("Allowed: "):
                return [read_quantity(end) for end in error.cure[9:-1].split(" to ")]
    raise AssertionError("no limits")


def test_a_setting_changes_the_figures_and_says_where_it_came_from(demo_runs: Path) -> None:
    done = review(load_job([demo_runs / "sprint-four"]).job)
    warm = replace(done.job, power=(("intake_temperature_k", 340.0),))
    plain, hot = power_model(done.job, done), with_power(replace(done, job=warm)).power
    # Hotter air is thinner, so the same gain in percent is less power.
    assert hot.stages[-1].against_baseline.gain_w.mid < plain.stages[-1].against_baseline.gain_w.mid
    origins = {one.key: one.origin for one in hot.assumptions}
    assert (origins["intake_temperature_k"], origins["heat_level"]) == ("set", "assumed")


def test_a_known_peak_gives_percent_times_known_power(demo_runs: Path) -> None:
    done = review(load_job([demo_runs / "sprint-four"]).job)
    plain = power_model(done.job, done)
    peak = plain.stages[0].band.peak_w.mid
    scaled = power_model(done.job, done, PowerSettings(anchor=Anchor(2 * peak, "as cast", "SAE J1349")))
    assert scaled.anchor_factor == pytest.approx(2, rel=1e-6)
    one, two = (model.stages[-1].against_baseline for model in (plain, scaled))
    assert two.gain_fraction == one.gain_fraction
    # Level errors drop out, so the range may be narrower than twice; its middle is about twice.
    assert two.gain_w.mid == pytest.approx(2 * one.gain_w.mid, rel=0.2)


def test_a_known_peak_a_price_or_a_name_asks_for_no_run(
    demo_runs: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done, kept = review(load_job([demo_runs / "sprint-four"]).job), {}
    plain = power_model(done.job, done, kept=kept)

    def run(*_: object) -> None:
        raise AssertionError("the model was run")

    monkeypatch.setattr("core.power_model.asked", run)
    assert power_model(done.job, done, kept=kept) == plain
    peak = Anchor(2 * plain.stages[0].band.peak_w.mid, done.job.stages[0].name)
    scaled = power_model(done.job, done, PowerSettings(anchor=peak), kept=kept)
    assert scaled.anchor_factor == pytest.approx(2)
    dear = replace(done.job, stages=tuple(replace(one, price=1e6) for one in done.job.stages))
    assert power_model(dear, done, kept=kept).stages[-1].against_previous.price == 1e6
    six = replace(done.job, engine=replace(done.job.engine, cylinders=6))
    for changed, hot in ((six, PowerSettings()), (done.job, PowerSettings(intake_temperature_k=340.0))):
        with pytest.raises(AssertionError, match="the model was run"):
            power_model(changed, done, hot, kept=kept)
    assert len(kept) == 1


def test_the_numbers_state_model_and_compression() -> None:
    done = review(job({"one": [sheet({lift: truth(lift) for lift in LIFTS_M}, "1.csv")]}))
    stated = json.loads(numbers_json(done))
    assert stated["power"]["model"] is None  # not asked for
    assert stated["compression"] == []
    assert json.loads(numbers_json(with_power(done)))["power"]["model"]["because"]
    full = json.loads(numbers_json(replace(done, power=make_model())))["power"]["model"]
    assert full["stages"][1]["against_previous"]["gain_w"].keys() == {"low", "mid", "high"}
    assert full["stages"][0]["against_previous"] is None
    assert len(full["stages"][0]["band"]["power_low_w"]) == len(full["speed_rad_s"])
