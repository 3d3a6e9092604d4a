"""From the model's answers to what is shown: gains, their ranges, bands and prices, worked out apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from core.breathing.cycle import CycleError
from core.job import Job, Sides, Stage
from core.power_answers import Answers, StructureAnswers
from core.power_input import power_input
from core.power_model import DISCLOSURES, PowerSettings, power_model
from core.power_ranges import Linear
from core.power_results import Anchor, PowerGain, PowerModel
from core.power_runs import Bench
from core.results import Review
from core.review import review
from tests.core.power_jobs import EXHAUST, INTAKE, Flows, power_job

Array = NDArray[np.float64]
ASSUMED = PowerSettings()
NAMES = ("as cast", "bowl", "chamber", "port", "copy")
FIGURES = ("as cast", "bowl", "port", "copy")  # the chamber's exhaust was not measured
MEASURED = {"intake flow", "exhaust flow", "bench scale"}


def more(flows: Flows, peak: float) -> Flows:
    """Return a curve that gains most in its middle, so that no lift stands for all."""
    return {lift: flow * (1 + peak * (1 - abs(lift - 0.4))) for lift, flow in flows.items()}


PORTED = more(INTAKE, 0.08), more(EXHAUST, 0.05)
PRICES = dict(zip(NAMES, (0, 100, 250, 400, None), strict=True))


def priced(job: Job) -> Job:
    """Return a job with the stages' own prices."""
    return replace(job, stages=tuple(Stage(one.name, PRICES[one.name]) for one in job.stages))


JOB = priced(
    power_job(
        {
            "as cast": (INTAKE, EXHAUST),
            "bowl": (more(INTAKE, 0.03), more(EXHAUST, 0.002)),
            "chamber": (more(INTAKE, 0.05), None),
            "port": PORTED,
            "copy": PORTED,
        }
    )
)
DONE = review(JOB)
SPEED = np.linspace(300, 700, 5)


def structure(scale: float, ripple: float) -> StructureAnswers:
    """Return made-up answers of one structure."""
    levels = scale * np.array([200e3, 209e3, 221e3, 221e3])
    effects = (("heat_level", -4e3), ("fuel_level", 5e3), ("flow_level", 7e3), ("friction_level", -6e3))
    power = tuple(
        Linear(float(level), {key: effect * scale * (1 + 0.2 * k) for key, effect in effects})
        for k, level in enumerate(levels)
    )
    curve = levels[:, None] * np.array([0.5, 0.8, 1.0, 1.02, 0.9])
    rippled = ripple * np.array([[2.0, 1, 0, 1, 3], [1, 2, 1, 0, 1], [3, 0, 1, 1, 1], [300, 1, 1, 1, 1]])
    parts = scale * np.array([0.0, 7e3, 12e3, 12e3])
    return StructureAnswers(
        power, tuple(parts.tolist()), Sides(scale * 80e3, scale * 45e3), curve, rippled / 100
    )


ANSWERS = Answers(SPEED, (500.0, 600.0), (structure(1.0, 1.0), structure(0.85, 0.0)))


@pytest.fixture(autouse=True)
def model(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("core.power_model.asked", lambda bench, progress: ANSWERS)


def made(job: Job = JOB, done: Review = DONE, anchor: Anchor | None = None) -> PowerModel:
    """Return the model of the job, from the made-up answers."""
    return power_model(job, done, PowerSettings(anchor=anchor))


def gain_of(name: str, against: str = "baseline", **more: Anchor) -> PowerGain:
    """Return one stage's gain."""
    return getattr(made(**more).stage(name), f"against_{against}")


# gains ------------------------------------------------------------------------------------


def flow_doubt(name: str, other: str, side: str) -> float:
    """Return the standard uncertainty of a relative flow gain, from the review."""
    for gain in DONE.gains:
        if (gain.stage, gain.other, gain.side) == (name, other, side):
            return gain.summary.expanded_fraction / 1.96
    assert (name, other, side) == ("port", "bowl", "intake")  # the chamber lies between the two
    return float(np.hypot(*(flow_doubt(one, "as cast", side) for one in (name, other))))


def scale_doubt() -> float:
    """Return what the stages share of their bench, over the doubt of the flow level (3 %)."""
    shares = []
    for curve in (DONE.stages[0].intake, DONE.stages[0].exhaust):
        flow, whole, own = (
            np.array(one)
            for one in (curve.flow_m3_s, curve.expanded_uncertainty_m3_s, curve.expanded_bench_m3_s)
        )
        shares += list(np.sqrt(whole**2 - own**2) / flow)
    return np.median(shares) / 1.96 / 0.03


def wanted(name: str, other: str, over: float | None = None) -> list[tuple[float, dict[str, float]]]:
    """Return each structure's gain and what moves it; with ``over``, the relative gain times that power."""
    found = []
    for one in ANSWERS.structures:
        after, before = (one.power[FIGURES.index(stage)] for stage in (name, other))
        effects = {key: after.effects[key] - before.effects[key] for key in after.effects}
        base = {**before.effects, **dict.fromkeys(MEASURED, 0.0)}
        effects["intake flow"] = one.flow_weight_w.intake * flow_doubt(name, other, "intake")
        effects["exhaust flow"] = one.flow_weight_w.exhaust * flow_doubt(name, other, "exhaust")
        effects["bench scale"] = effects["flow_level"] * scale_doubt()
        value = after.value - before.value
        if over is not None:
            # A quotient to first order: d(g / b) = dg / b - g db / b2.
            effects = {
                key: over * (effect / before.value - value * base[key] / before.value**2)
                for key, effect in effects.items()
            }
            value *= over / before.value
        found.append((value, effects))
    return found


def bounds(parts: list[tuple[float, dict[str, float]]]) -> tuple[float, float, float]:
    """Return the range that covers both structures' 95 %, and 40 % of its middle either way."""
    mid = np.mean([value for value, _ in parts])
    half = [1.96 * np.sqrt(sum(effect**2 for effect in effects.values())) for _, effects in parts]
    low = min(value - one for (value, _), one in zip(parts, half, strict=True))
    high = max(value + one for (value, _), one in zip(parts, half, strict=True))
    return min(low, 0.6 * mid), mid, max(high, 1.4 * mid)


@pytest.mark.parametrize(
    ("name", "against", "other"),
    [
        ("bowl", "baseline", "as cast"),
        ("bowl", "previous", "as cast"),
        ("port", "baseline", "as cast"),
        ("port", "previous", "bowl"),
    ],
)
def test_a_gain_is_the_difference_and_its_range_what_moves_it(name: str, against: str, other: str):
    gain = gain_of(name, against)
    parts = wanted(name, other)
    assert (gain.against, gain.other, gain.too_close_to_call) == (against, other, False)
    assert (gain.gain_w.low, gain.gain_w.mid, gain.gain_w.high) == pytest.approx(bounds(parts))
    relative = gain.gain_fraction
    assert (relative.low, relative.mid, relative.high) == pytest.approx(bounds(wanted(name, other, 1.0)))
    assert dict(gain.by_structure_w) == pytest.approx(
        {"intake runner": parts[0][0], "prescribed waves": parts[1][0]}
    )
    narrow = bounds(parts)[0] == pytest.approx(0.6 * gain.gain_w.mid)
    narrow |= bounds(parts)[2] == pytest.approx(1.4 * gain.gain_w.mid)
    assert gain.widened == narrow
    # What it is made of, largest first: half of each one's own 95 %, a mean over the structures.
    told = {one.key: one.half_width_w for one in gain.contributions}
    assert list(told.values()) == sorted(told.values(), reverse=True)
    assert told.pop("structure") == pytest.approx((parts[0][0] - parts[1][0]) / 2)
    assert told == pytest.approx(
        {key: 1.96 * np.mean([abs(effects[key]) for _, effects in parts]) for key in told}
    )
    kinds = {one.key: one.kind for one in gain.contributions}
    assert kinds.pop("structure") == "structure"
    assert kinds == {key: "measured flow" if key in MEASURED else "unknown" for key in kinds}
    names = {one.key: one.name for one in gain.contributions}
    assert names["heat_level"] == "heat to the walls" and names["bench scale"].startswith(
        "scale of the bench"
    )


def test_the_sides_share_a_gain_as_their_parts_do():
    gain = gain_of("port", "previous")
    # (12 - 7) of (21 - 9) kW, alike in both structures.
    assert gain.intake_share == pytest.approx(5 / 12) and gain.exhaust_share == pytest.approx(7 / 12)
    assert gain.intake_w == pytest.approx(5 / 12 * gain.gain_w.mid)
    assert gain.exhaust_w == pytest.approx(7 / 12 * gain.gain_w.mid)


def test_one_clear_side_makes_a_gain_clear_and_none_takes_zero_in():
    verdicts = {side: DONE.gain("bowl", side, "baseline").summary.verdict for side in ("intake", "exhaust")}
    assert verdicts == {"intake": "clear gain", "exhaust": "too close to call"}
    assert not gain_of("bowl").too_close_to_call
    same = gain_of("copy", "previous")
    assert same.too_close_to_call and same.gain_w.low < 0 < same.gain_w.high
    assert same.gain_w.mid == 0 and same.intake_share is None and same.exhaust_share is None
    assert same.intake_w == same.exhaust_w == 0 and not same.widened
    assert same.price_per_w is None  # the copy's price is not stated


def test_a_gain_too_close_to_call_reaches_zero_whatever_the_model_says():
    # The copy's flows are the port's; let the model find 12 kW all the same.
    for found_w in (12e3, -12e3):
        answers = [
            replace(one, power=(*one.power[:3], one.power[3] + Linear(found_w, {})))
            for one in ANSWERS.structures
        ]
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(
                "core.power_model.asked", lambda *_, a=answers: replace(ANSWERS, structures=tuple(a))
            )
            gain = gain_of("copy", "previous")
        assert gain.too_close_to_call and gain.gain_w.mid == pytest.approx(found_w)
        for one in (gain.gain_w, gain.gain_fraction):
            assert (one.low if found_w > 0 else one.high) == 0
        assert gain.intake_share is None  # the range reaches zero: no share means anything


def test_flows_without_a_mean_gain_tell_nothing_apart():
    gain = made(done=replace(DONE, gains=())).stage("bowl").against_baseline
    assert gain.too_close_to_call and gain.gain_w.low <= 0 <= gain.gain_w.high
    told = {one.key: one.half_width_w for one in gain.contributions}
    assert told["intake flow"] == told["exhaust flow"] == 0


def on_other_fixture(job: Job, stage: str) -> Job:
    """Return the job with one stage flowed on a fixture of another bore."""
    bores = {one.stage: 0.11 if one.stage == stage else 0.10 for one in job.sheets}
    return replace(
        job,
        sheets=tuple(
            replace(one, fixture=replace(one.fixture, bore_m=bores[one.stage])) for one in job.sheets
        ),
    )


def test_another_fixture_makes_no_gain_clear():
    assert not gain_of("port").too_close_to_call
    job = on_other_fixture(JOB, "port")
    stage = made(job, review(job)).stage("port")
    assert stage.against_baseline.too_close_to_call
    assert stage.against_previous.too_close_to_call  # by way of the baseline


@pytest.mark.parametrize(("bowl", "close"), [(0.079, True), (0.03, False)])
def test_stages_with_another_between_them_are_told_apart_by_way_of_the_baseline(bowl: float, close: bool):
    # The chamber's intake lies between; the exhausts are alike.
    job = power_job(
        {
            "as cast": (INTAKE, EXHAUST),
            "bowl": (more(INTAKE, bowl), PORTED[1]),
            "chamber": (more(INTAKE, 0.05), None),
            "port": PORTED,
        }
    )
    done = review(job)
    found = power_model(job, done).stage("port").against_previous
    assert found.other == "bowl" and found.too_close_to_call is close
    doubts = [done.gain(one, "intake", "baseline").summary.expanded_fraction for one in ("bowl", "port")]
    told = {one.key: one.half_width_w for one in found.contributions}
    assert told["intake flow"] == pytest.approx(np.mean([80e3, 68e3]) * np.hypot(*doubts))


# prices -----------------------------------------------------------------------------------


def test_prices_of_the_stages_between_add_up():
    one = gain_of("port", "previous")
    assert one.price == 650  # the chamber's and its own, not the bowl's
    assert gain_of("port").price == 750 and gain_of("bowl").price == 100
    assert one.price_per_w.mid == pytest.approx(650 / one.gain_w.mid)
    assert one.price_per_w.low == pytest.approx(650 / one.gain_w.high)
    assert gain_of("copy").price is None
    planned = replace(JOB, stages=tuple(replace(one, planned=one.name == "chamber") for one in JOB.stages))
    assert made(planned).stage("port").against_previous.price == 400
    none = replace(JOB, stages=tuple(replace(one, planned=True) for one in JOB.stages))
    assert made(none).stage("port").against_previous.price is None


# levels -----------------------------------------------------------------------------------


def wanted_band(at: int, factor: float | None) -> tuple[Array, Array, Array]:
    """Return the least, the mean and the most over both structures."""
    lows, mids, highs = [], [], []
    for one in ANSWERS.structures:
        level = one.power[0]
        doubt = 0 if factor else np.sqrt(sum(e**2 for e in level.effects.values())) / level.value
        half = 1.96 * np.sqrt(doubt**2 + one.ripple[at] ** 2)
        lows.append(np.maximum(one.curve_w[at] * (1 - half), 0))
        mids.append(one.curve_w[at])
        highs.append(one.curve_w[at] * (1 + half))
    found = np.min(lows, axis=0), np.mean(mids, axis=0), np.max(highs, axis=0)
    return tuple(one * (factor or 1) for one in found)


@pytest.mark.parametrize("known_w", [None, 250e3])
@pytest.mark.parametrize("name", FIGURES)
def test_a_band_covers_both_structures(name: str, known_w: float | None):
    model = made(anchor=known_w and Anchor(known_w, "bowl", "SAE J1349"))
    band = model.stage(name).band
    # The bowl's middle peaks at 1.02 of its level, 209 kW and 85 % of it.
    factor = known_w and known_w / (1.02 * 209e3 * 1.85 / 2)
    assert model.anchor_factor == (known_w and pytest.approx(factor))
    low, mid, high = wanted_band(FIGURES.index(name), factor)
    assert band.power_low_w == pytest.approx(low)
    assert band.power_mid_w == pytest.approx(mid)
    assert band.power_high_w == pytest.approx(high)
    for torque, power in (
        (band.torque_low_n_m, low),
        (band.torque_mid_n_m, mid),
        (band.torque_high_n_m, high),
    ):
        assert torque == pytest.approx(power / SPEED)
    peak = band.peak_w
    assert (peak.low, peak.mid, peak.high) == pytest.approx((low.max(), mid.max(), high.max()))
    assert band.peak_speed_rad_s == 600
    assert name != "copy" or low[0] == 0  # a ripple larger than the level itself


def test_a_known_peak_makes_a_gain_the_percent_gain_of_that_power():
    anchor = Anchor(250e3, "bowl")
    gain = gain_of("port", anchor=anchor)
    # What the known stage has, as cast has in proportion: each structure by its own account.
    known = [250e3 * one.power[0].value / one.power[1].value for one in ANSWERS.structures]
    parts = [wanted("port", "as cast", over)[i] for i, over in enumerate(known)]
    assert (gain.gain_w.low, gain.gain_w.mid, gain.gain_w.high) == pytest.approx(bounds(parts))
    assert gain.gain_fraction == gain_of("port").gain_fraction


@pytest.mark.parametrize(
    ("anchor", "because"),
    [
        (Anchor(250e3, "chamber"), "the known peak is that of chamber, which has no figure"),
        (Anchor(0.0, "bowl"), "the known peak is not above zero"),
        (Anchor(float("nan"), "bowl"), "the known peak is not above zero"),
        (Anchor(float("inf"), "bowl"), "the known peak is not above zero"),
    ],
)
def test_a_known_peak_that_cannot_be_used_is_told_and_changes_nothing(anchor: Anchor, because: str):
    model = made(anchor=anchor)
    assert (model.anchor_because, model.anchor, model.anchor_factor) == (because, None, None)
    assert model.stages == made().stages
    half_a_watt = made(anchor=Anchor(0.5, "bowl"))
    assert half_a_watt.anchor_because is None and half_a_watt.anchor == Anchor(0.5, "bowl")


def test_what_the_model_tells_beside_its_figures():
    model = made()
    assert model.because is None and model.baseline == "as cast" and made().anchor_because is None
    assert [one.name for one in model.stages] == list(NAMES)
    assert model.speed_rad_s == tuple(SPEED) and model.window_rad_s == (500, 600)
    assert model.structures == ("intake runner", "prescribed waves")
    missing = model.stage("chamber")
    assert missing.because.startswith("its exhaust was not measured") and missing.cure and not missing.band
    first = model.stage("as cast")
    assert first.band and first.against_baseline is None and first.against_previous is None
    assert not any("curves begin" in note for note in model.notes)
    assert model.disclosures == DISCLOSURES


def test_speeds_that_were_lost_are_told(monkeypatch: pytest.MonkeyPatch):
    slow = replace(ANSWERS, lost_rad_s=(90 * np.pi, 100 * np.pi, 110 * np.pi))
    monkeypatch.setattr("core.power_model.asked", lambda *_: slow)
    assert (
        made().notes[-1] == "The curves begin above 3300 rpm: up to there the model's cycle does not repeat."
    )


# what it asks for, and when it cannot -------------------------------------------------------


def test_a_bench_is_asked_once_for_what_it_answers(monkeypatch: pytest.MonkeyPatch):
    asked: list[tuple[Bench, object]] = []
    monkeypatch.setattr("core.power_model.asked", lambda *given: asked.append(given) or ANSWERS)
    kept: dict[tuple, Answers] = {}
    hot, told = PowerSettings(intake_temperature_k=330.0), [].append
    first = power_model(JOB, DONE, hot, told, kept)
    assert power_model(JOB, DONE, hot, told, kept) == first
    ((bench, progress),) = asked
    assert bench.engine.crank == power_input(JOB, DONE).crank and progress is told
    assert bench.assumptions == {one.key: one for one in first.assumptions}
    assert bench.assumptions["intake_temperature_k"].value == 330
    assert kept == {bench.key: ANSWERS}
    power_model(JOB, DONE, hot)
    assert len(asked) == 2  # nothing is kept where nothing was given to keep it in


def test_why_no_stage_has_a_figure(monkeypatch: pytest.MonkeyPatch):
    def raises(*_: object) -> None:
        raise CycleError(np.array([4000, 5000]) * np.pi / 30)

    monkeypatch.setattr("core.power_model.asked", raises)
    beyond = power_model(JOB, DONE, PowerSettings(burn_duration_rad=9.0))
    bare = replace(JOB, engine=None)
    for model, because, cure in (
        (
            made(),
            "the model does not settle: from 4000 to 5000 rpm a cycle does not repeat within 30 turns",
            "Check the redline, the cams, the sizes of engine and valves, and what was set.",
        ),
        (
            beyond,
            "a value that was set cannot be used: burn_duration_rad is 9. It must be 0.261799 to 1.74533",
            "Set another.",
        ),
        (
            made(bare),
            "the job has no engine",
            "Give [engine] with cylinders, bore, stroke and compression ratio.",
        ),
    ):
        assert (model.because, model.cure) == (because, cure)
        assert [(one.name, one.because, one.cure) for one in model.stages] == [
            (name, because, cure) for name in NAMES
        ]
