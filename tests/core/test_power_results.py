"""Settings that a job makes, the model put into its review, and results with or without prices."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from core.job import Dyno, Job
from core.power_model import PowerSettings
from core.power_results import Anchor, PowerModel
from core.power_settings import settings_of, with_power, without_prices
from core.results import Review
from core.review import review
from tests.core.jobs import LIFTS_M, job, sheet, truth
from tests.dashboard.power_models import NAMES, make_model

DYNO = Dyno(74_569.987, "as cast", "DIN 70020", line=3)
POWER = (("runner_length_m", 0.32), ("heat_level", 0.9))


@pytest.fixture(scope="module")
def made() -> Job:
    return job({"as cast": [sheet({lift: truth(lift) for lift in LIFTS_M}, "1.csv")]})


def test_settings_are_what_the_job_states(made: Job) -> None:
    assert settings_of(made) == PowerSettings()
    stated = settings_of(replace(made, power=POWER, dyno=DYNO))
    anchor = Anchor(power_w=74_569.987, stage="as cast", standard="DIN 70020")
    assert stated == PowerSettings(runner_length_m=0.32, heat_level=0.9, anchor=anchor)


def test_a_review_gets_the_model_of_its_own_job(made: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[Any] = []
    model = make_model()

    def run(*given: Any) -> PowerModel:
        asked.append(given)
        return model

    monkeypatch.setattr("core.power_settings.power_model", run)
    done: Review = review(replace(made, power=POWER, dyno=DYNO))
    heard: list[float] = []
    assert with_power(done, heard.append) == replace(done, power=model)
    assert with_power(done).power is model
    own, first = settings_of(done.job), (done.job, done)
    assert asked == [(*first, own, heard.append), (*first, own, None)]


def test_a_model_without_prices_keeps_its_ranges() -> None:
    model = make_model()
    bare = without_prices(model)
    assert replace(bare, stages=model.stages) == model
    priced = 0
    for before, after in zip(model.stages, bare.stages, strict=True):
        gains = {"against_baseline": None, "against_previous": None}
        for kind in gains:
            one, two = getattr(before, kind), getattr(after, kind)
            assert (one is None) == (two is None)
            if one is not None:
                priced += one.price is not None and one.price_per_w is not None
                assert two == replace(one, price=None, price_per_w=None)
        assert replace(after, **gains) == replace(before, **gains)
    assert priced == 2 * (len(NAMES) - 1)  # else there was nothing to take away


def test_a_stage_is_found_by_its_name() -> None:
    model = make_model()
    assert [model.stage(name) for name in NAMES] == list(model.stages)
    assert model.stage("polished") is None and PowerModel("no engine").stage("as cast") is None
