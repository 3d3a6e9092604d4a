"""The power model as a whole: what it gives for a job, and what it says where it gives nothing."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from core.breathing.cases import Cases, Cylinder
from core.breathing.cycle import Cycles, closed_cycles
from core.job import BenchSheet, CamLobe, Job, Sides, Valve
from core.power_model import PowerSettings, power_model
from core.power_results import Anchor, PowerModel
from core.power_runs import COARSE_RAD
from core.review import review
from tests.core.power_jobs import (
    CAMS,
    EXHAUST,
    HP_W,
    INTAKE,
    engine,
    power_job,
    times,
)

# +25 cfm at the peak and 6 to 12 cfm at low and middle lift; the exhaust better at low and middle
# lift and unchanged at its peak. The trade's figures; those between are filled in.
MORE_INTAKE = {0.1: 6, 0.2: 9, 0.3: 12, 0.4: 16, 0.5: 21, 0.6: 25, 0.7: 25}
MORE_EXHAUST = {0.1: 5, 0.2: 8, 0.3: 9, 0.4: 6, 0.5: 2, 0.6: 0, 0.7: 0}
PORTED = (
    {lift: INTAKE[lift] + more for lift, more in MORE_INTAKE.items()},
    {lift: EXHAUST[lift] + more for lift, more in MORE_EXHAUST.items()},
)
BASE = (INTAKE, EXHAUST)
ASSUMED = PowerSettings()


def modelled(job: Job, settings: PowerSettings = ASSUMED) -> PowerModel:
    """Return the model of a job."""
    return power_model(job, review(job), settings)


@cache
def worked() -> PowerModel:
    """Return the model of a head that was ported, copied, spoilt and not measured on its exhaust."""
    return modelled(
        power_job(
            {
                "as cast": BASE,
                "ported": PORTED,
                "the same": PORTED,
                "spoilt": (times(PORTED[0], 0.97), times(PORTED[1], 0.97)),
                "intake only": (times(PORTED[0], 1.02), None),
            }
        )
    )


@pytest.mark.outside
def test_the_trades_guess_lies_in_the_range():
    # Common practice, no source: about 25 hp for such a head on a large two-valve eight-cylinder
    # race engine. The range must hold it and still be one that a racer can use.
    gain = worked().stage("ported").against_baseline
    assert gain.gain_w.low <= 25 * HP_W <= gain.gain_w.high
    assert gain.gain_w.low > 0 and gain.gain_w.high - gain.gain_w.low < 30 * HP_W


@pytest.mark.outside
def test_the_level_is_that_of_such_an_engine():
    # First principles, as for the flow ceiling: 0.188 to 0.298 hp for each cfm and cylinder.
    band = worked().stage("as cast").band
    assert 0.188 * 268 * 8 * HP_W < band.peak_w.mid < 0.298 * 268 * 8 * HP_W
    assert band.peak_w.low < band.peak_w.mid < band.peak_w.high
    for low, mid, high in zip(band.power_low_w, band.power_mid_w, band.power_high_w, strict=True):
        assert 0 <= low <= mid <= high
    speed = np.array(worked().speed_rad_s)
    assert np.array(band.torque_mid_n_m) * speed == pytest.approx(np.array(band.power_mid_w))


def test_same_curves_give_no_gain():
    gain = worked().stage("the same").against_previous
    assert gain.gain_w.mid == 0 and gain.intake_w == 0 and gain.exhaust_w == 0
    assert gain.too_close_to_call and gain.gain_w.low < 0 < gain.gain_w.high
    assert gain.intake_share is None and gain.price_per_w.high is None
    # Nothing but the readings puts anything into its range.
    kinds = {one.kind for one in gain.contributions if one.half_width_w > 0}
    assert kinds == {"measured flow"}


def test_a_lower_curve_never_gives_a_gain():
    gain = worked().stage("spoilt").against_previous
    assert gain.gain_w.mid < 0 and gain.intake_w < 0 and gain.exhaust_w < 0
    assert gain.price_per_w is None or gain.price_per_w.mid is None


def test_gains_add_up():
    model = worked()
    stages = [model.stage(name) for name in ("ported", "the same", "spoilt")]
    assert model.baseline == "as cast" and model.stage("as cast").against_baseline is None
    steps = sum(stage.against_previous.gain_w.mid for stage in stages)
    assert steps == pytest.approx(stages[-1].against_baseline.gain_w.mid)
    for stage in stages:
        for gain in (stage.against_baseline, stage.against_previous):
            assert gain.intake_w + gain.exhaust_w == pytest.approx(gain.gain_w.mid)
            mid = gain.gain_w.mid
            assert gain.gain_w.low <= mid - 0.4 * abs(mid) and gain.gain_w.high >= mid + 0.4 * abs(mid)
            widths = [one.half_width_w for one in gain.contributions]
            assert widths == sorted(widths, reverse=True)


def test_no_exhaust_no_figure():
    stage = worked().stage("intake only")
    assert stage.band is None and stage.against_baseline is None
    assert stage.because.startswith("its exhaust was not measured") and stage.cure


def test_window_and_assumptions_are_told():
    model = worked()
    low, high = (speed * 30 / np.pi for speed in model.window_rad_s)
    assert 3000 <= low < high <= 7500
    told = {one.key: one for one in model.assumptions}
    assert set(told) == {name for name in PowerSettings.__dataclass_fields__ if name != "anchor"}
    assert told["intake_centreline_rad"].origin == "job" and told["friction_level"].origin == "assumed"
    assert model.disclosures and len(model.structures) == 2


@pytest.mark.slow
@pytest.mark.parametrize("factor", [0.97, 0.8])
@pytest.mark.parametrize(
    ("bore_m", "stroke_m", "rpm"), [(0.076, 0.060, 9500), (0.090, 0.110, 5500)], ids=["small", "long stroke"]
)
def test_a_lower_curve_never_gives_a_gain_on_other_engines(bore_m, stroke_m, rpm, factor):
    sizes = {"cylinders": 4, "bore_m": bore_m, "stroke_m": stroke_m, "rod_length_m": None}
    mild = CamLobe(0.009, np.radians(252), 0.001, "valve", centreline_rad=np.radians(108))
    small = times(INTAKE, 0.35), times(EXHAUST, 0.35)
    job = power_job(
        {"as cast": small, "less": tuple(times(flows, factor) for flows in small)},
        engine=engine(redline_rad_s=rpm * np.pi / 30, **sizes),
        cams=Sides(mild, mild),
        valves=Sides(Valve(0.030, 1), Valve(0.026, 1)),
    )
    assert modelled(job).stage("less").against_baseline.gain_w.mid < 0


@pytest.mark.slow
def test_a_known_peak_sets_the_level():
    job = power_job({"as cast": BASE, "ported": PORTED})
    plain = modelled(job)
    known = modelled(job, PowerSettings(anchor=Anchor(400e3, "ported", "SAE J1349")))
    assert known.stage("ported").band.peak_w.mid == pytest.approx(400e3)
    assert known.anchor_factor == pytest.approx(400e3 / plain.stage("ported").band.peak_w.mid)
    free, tied = (m.stage("ported").against_baseline for m in (plain, known))
    assert tied.gain_fraction == free.gain_fraction
    # The relative gain times the known power, each structure's own: not far from scaling the gain.
    assert tied.gain_w.mid == pytest.approx(free.gain_w.mid * known.anchor_factor, rel=0.05)
    off = modelled(job, PowerSettings(anchor=Anchor(400e3, "elsewhere")))
    assert off.anchor is None and off.anchor_because and off.stages == plain.stages


@pytest.mark.slow
def test_units_do_not_matter():
    # The same lifts by way of inches and of millimetres differ in their last bits alone.
    job = power_job({"as cast": BASE, "ported": PORTED})

    def nudged(sheet: BenchSheet) -> BenchSheet:
        sides = [
            tuple(reading._replace(lift_m=round(reading.lift_m * 1e3, 9) / 1e3) for reading in readings)
            for _, readings in sheet.readings.items()
        ]
        return replace(sheet, readings=Sides(*sides))

    one, other = modelled(job), modelled(replace(job, sheets=tuple(map(nudged, job.sheets))))
    gains = [model.stage("ported").against_baseline.gain_w for model in (one, other)]
    assert gains[0].mid == pytest.approx(gains[1].mid, rel=1e-5)


@pytest.mark.slow
def test_a_value_that_is_set_is_used():
    job = power_job({"as cast": BASE, "ported": PORTED})
    done = []
    hot = power_model(job, review(job), PowerSettings(intake_temperature_k=340.0), done.append)
    told = {one.key: one for one in hot.assumptions}["intake_temperature_k"]
    assert told.value == 340 and told.origin == "set" and told.standard_uncertainty == 3
    assert hot.stage("as cast").band.peak_w.mid < modelled(job).stage("as cast").band.peak_w.mid
    assert done == sorted(done) and done[-1] == 1


def test_a_setting_beyond_reason_is_no_figure():
    job = power_job({"as cast": BASE})
    model = modelled(job, PowerSettings(burn_duration_rad=9.0))
    assert "burn_duration_rad is 9. It must be" in model.because and model.cure


def test_cycles_that_do_not_close_are_no_figure(monkeypatch):
    monkeypatch.setattr("core.breathing.cycle.MOST_TURNS", 4)
    model = modelled(power_job({"as cast": BASE}))
    assert "the model does not settle" in model.because and "rpm" in model.because and model.cure


def losing(
    monkeypatch: pytest.MonkeyPatch, least_rpm: float, most_rpm: float, step_rad: float | None = None
) -> None:
    """Let no cycle between two speeds close, with any step or with one."""

    def some(cylinder: Cylinder, these: Cases, *rest: object) -> Cycles:
        found = closed_cycles(cylinder, these, *rest)
        rpm = these.speed_rad_s * 30 / np.pi
        lost = (rpm >= least_rpm) & (rpm <= most_rpm) & (step_rad in (None, cylinder.step_rad))
        return replace(
            found, work_j=np.where(lost, np.nan, found.work_j), state=np.where(lost, np.nan, found.state)
        )

    monkeypatch.setattr("core.power_runs.closed_cycles", some)


@pytest.mark.slow
def test_slow_speeds_that_do_not_close_are_left_out_and_named(monkeypatch):
    job = power_job({"as cast": BASE, "ported": PORTED})
    whole = modelled(job)
    losing(monkeypatch, 3200, 3700)  # the second of 3000, 3500 ... 7500 rpm
    model = modelled(job)
    assert model.speed_rad_s == whole.speed_rad_s[2:]
    assert any("begin above 3500 rpm" in note for note in model.notes)
    gains = [one.stage("ported").against_baseline.gain_w for one in (model, whole)]
    assert gains[0].mid == pytest.approx(gains[1].mid, rel=1e-6)
    bands = [one.stage("ported").band.power_mid_w for one in (model, whole)]
    assert bands[0] == pytest.approx(bands[1][2:], rel=1e-6)


@pytest.mark.parametrize(
    "lost",
    [(3200, 5700), (6000, 7499), (6000, 7499, COARSE_RAD), (3000, 9000)],
    ids=["many", "window", "window, when looked at closely", "all"],
)
def test_more_than_a_few_slow_speeds_that_do_not_close_are_no_figure(monkeypatch, lost):
    losing(monkeypatch, *lost)
    model = modelled(power_job({"as cast": BASE}))
    assert "the model does not settle" in model.because and "rpm" in model.because


@pytest.mark.slow
def test_what_is_not_stated_is_said():
    lobes = Sides(*(replace(lobe, centreline_rad=None) for lobe in (CAMS.intake, CAMS.exhaust)))
    job = power_job({"as cast": BASE}, engine=engine(redline_rad_s=None, rod_length_m=None), cams=lobes)
    notes = " ".join(modelled(job).notes)
    for word in ("rod's length", "redline", "intake centreline", "exhaust centreline"):
        assert word in notes


@pytest.mark.slow
def test_a_lift_table_serves_as_well():
    angle = np.linspace(-160, 160, 161)
    table = tuple((float(np.radians(a)), float(0.0178 * (1 - (a / 160) ** 2) ** 2)) for a in angle)
    lobe = CamLobe(table=table, centreline_rad=np.radians(108))
    model = modelled(power_job({"as cast": BASE, "ported": PORTED}, cams=Sides(lobe, lobe)))
    assert model.because is None and model.stage("ported").against_baseline.gain_w.mid > 0
