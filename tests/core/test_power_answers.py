"""What a range is made from, of a bench that answers with plain formulas in place of the model."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from core.breathing.cycle import CycleError
from core.power_answers import Answers, asked, curve_speeds, peak_window
from core.power_assumptions import LENGTH_SPREAD, SET_LENGTH_SPREAD
from core.power_model import PowerSettings, assumptions_of
from core.power_runs import Answer, Ask, Bench
from tests.core.test_power_runs import ENGINE

Array = NDArray[np.float64]
RPM = np.pi / 30
ASSUMED = PowerSettings()

BASE_W = {False: 200e3, True: 180e3}
SIDE_W = {"intake": (0.0, 30e3, 50e3), "exhaust": (0.0, 10e3, 14e3)}  # what each stage's side brings alone
BOTH_W = (0.0, 4e3, 6e3)  # what both bring together on top
TILT_W = (90e3, 40e3)  # for the whole of a side's flow
FRICTION_W = 40e3
PEAK_RAD_S = 6000 * RPM
SPREAD_W = 50e3  # for the whole of a runner's length


class Formulas(Bench):
    """A bench whose power is a plain sum of what it is asked."""

    calls: list[tuple[list[Ask], dict[str, Any]]]
    lost: Callable[[Ask, bool], Array]  # where no cycle closes; True while looking

    def ask(
        self,
        asks: Sequence[Ask],
        progress: Callable[[float], None] | None = None,
        start: Sequence[Array] | None = None,
        **more: Any,
    ) -> list[Answer]:
        self.calls.append((list(asks), {"start": start, **more}))
        if progress is not None:
            progress(0.5)
            progress(1.0)
        return [self.answer(one, start is None) for one in asks]

    def answer(self, ask: Ask, looking: bool) -> Answer:
        speed = ask.speed_rad_s / PEAK_RAD_S
        level = BASE_W[ask.prescribed] + SIDE_W["intake"][ask.intake] + SIDE_W["exhaust"][ask.exhaust]
        level += BOTH_W[ask.intake] if ask.intake == ask.exhaust else 0.0
        level += sum(w * (tilt - 1) for w, tilt in zip(TILT_W, ask.tilt, strict=True))
        level += sum(sign * effect_w(key, ask.intake, ask.prescribed) for key, sign in ask.moved)
        power = level * (1 - 2 * (speed - 1) ** 2) + SPREAD_W * (ask.length_share - 1)
        power = np.where(self.lost(ask, looking), np.nan, power)
        friction = (FRICTION_W + 1e3 * ask.intake) * speed
        state = np.stack([ask.speed_rad_s, ask.length_share, *[0 * speed] * 5])
        state[:, np.isnan(power)] = np.nan
        return Answer(power + 0.65 * friction, friction, state)


def effect_w(key: str, stage: int, prescribed: bool) -> float:
    """Return what one standard uncertainty of an unknown does: another number for each."""
    return (3e3 + 100.0 * len(key) + 17.0 * sum(map(ord, key)) / len(key)) * (1 + 0.1 * stage + prescribed)


def bench(stages: int = 3, settings: PowerSettings = ASSUMED, **changed: Any) -> Formulas:
    """Return a bench of some stages."""
    some = (*ENGINE.stages, replace(ENGINE.stages[1], name="again"))[:stages]
    engine = replace(ENGINE, stages=some, **changed)
    found = Formulas(engine, assumptions_of(engine, settings))
    found.calls = []
    found.lost = lambda ask, looking: np.zeros(ask.speed_rad_s.size, bool)
    return found


def shape(speed_rad_s: Array) -> Array:
    """Return power over that of the peak."""
    return 1 - 2 * (speed_rad_s / PEAK_RAD_S - 1) ** 2


@pytest.fixture
def found() -> Answers:
    return asked(bench())


# the window -------------------------------------------------------------------------------


def test_the_window_is_8_percent_either_way_round_the_peak(found: Answers):
    low, high = found.window_rad_s
    # Friction grows with speed; it is given on top of a power whose peak is known.
    assert (low + high) / 2 == pytest.approx(PEAK_RAD_S, rel=1e-3)
    assert (high - low) / (high + low) == pytest.approx(0.08)


@pytest.mark.parametrize("peak", [3200.0, 4444.0, 5000.0, 6900.0])
def test_a_parabolas_peak_is_found(peak: float):
    speed = np.linspace(3000, 8000, 11)
    low, high = peak_window(speed, 3e5 - (speed - peak) ** 2 / 50)
    # 8 % either way; one that would begin below the slowest speed begins there.
    assert high == pytest.approx(1.08 * peak)
    assert low == pytest.approx(max(0.92 * peak, 3000))


@pytest.mark.parametrize(
    ("power", "low", "high"),
    [
        ([1, 2, 3, 4, 5], 5000 * 0.92 / 1.08, 5000),  # still rising: up to the redline
        ([1, 2, 3, 4, 3.99], (4000 + 1000 * 0.5 * 0.99 / 1.01) * 0.92, 5000),
        ([5, 4, 3, 2, 1], 1000, 1000 * 1.08),  # falling from the first on
        ([5, 4.99, 4.97, 4.9, 4.8], 1000, 1000 * 1.08),  # with a top that would lie before it
        ([1, 2, 5, 5, 2], 3500 * 0.92, 3500 * 1.08),
        ([1, 2, 3, 5, 9], 5000 * 0.92 / 1.08, 5000),  # bent upwards: no top but the end
        ([9, 5, 3, 2, 1], 1000, 1000 * 1.08),
    ],
)
def test_a_window_stays_inside_the_speeds(power: list[float], low: float, high: float):
    found = peak_window(np.array([1000.0, 2000, 3000, 4000, 5000]), np.array(power, float))
    assert found == pytest.approx((low, min(high, found[1])), rel=1e-9)
    assert found[1] <= 5000 and (high == 5000 or found[1] == pytest.approx(high))


@pytest.mark.parametrize(
    ("redline", "slowest"), [(9000, 3000), (4500, 3000), (4499, 2000), (2500, 2000), (2001, 2000)]
)
def test_curves_are_drawn_from_3000_rpm_or_where_the_redline_is_low_from_2000(redline: int, slowest: int):
    speed = curve_speeds(redline * RPM) / RPM
    assert speed == pytest.approx(slowest + (redline - slowest) * np.arange(10) / 9)


# the numbers ------------------------------------------------------------------------------


def window_mean(answers: Answers, count: int, of: Callable[[Array], Array] = shape) -> float:
    """Return a mean over speeds in the middle of equal parts of the window."""
    low, high = answers.window_rad_s
    return float(np.mean(of(low + (high - low) * (np.arange(count) + 0.5) / count)))


@pytest.mark.parametrize(("which", "count", "rough"), [(0, 17, 7), (1, 4, 2)])
def test_power_and_effects_are_means_over_the_window(found: Answers, which: int, count: int, rough: int):
    one, prescribed = found.structures[which], which == 1
    known = bench().assumptions
    golden = (np.sqrt(5) - 1) / 2
    lengths = LENGTH_SPREAD * (2 * np.mean((0.5 + golden * np.arange(count)) % 1) - 1)
    for k in range(3):
        level = BASE_W[prescribed] + SIDE_W["intake"][k] + SIDE_W["exhaust"][k] + BOTH_W[k]
        wanted = level * window_mean(found, count) + (0 if prescribed else SPREAD_W * lengths)
        assert one.power[k].value == pytest.approx(wanted)
        friction = (FRICTION_W + 1e3 * k) * window_mean(found, count, lambda speed: speed / PEAK_RAD_S)
        effects = {
            key: effect_w(key, k, prescribed) * window_mean(found, rough)
            for key, a in known.items()
            if a.standard_uncertainty > 0
        }
        effects["friction_level"] = -known["friction_level"].standard_uncertainty * friction
        assert one.power[k].effects == pytest.approx(effects, rel=1e-9)


def test_friction_counts_at_the_level_that_is_set():
    plain, more = (asked(bench(1, PowerSettings(friction_level=level))) for level in (0.65, 0.85))
    of_friction = FRICTION_W * window_mean(plain, 4, lambda speed: speed / PEAK_RAD_S)
    less = window_mean(plain, 4) * BASE_W[True] - more.structures[1].power[0].value
    # More friction moves the peak down a little: at a peak that is flat, by far less than its cost.
    assert less == pytest.approx(0.2 * of_friction, rel=0.02)


@pytest.mark.parametrize(("which", "count"), [(0, 17), (1, 4)])
def test_a_sides_part_is_what_it_brings_alone_and_half_of_what_both_bring(
    found: Answers, which: int, count: int
):
    one, mean = found.structures[which], window_mean(found, count)
    wanted = [SIDE_W["intake"][k] + BOTH_W[k] / 2 for k in range(3)]
    assert one.intake_w == pytest.approx([part * mean for part in wanted])
    assert (one.flow_weight_w.intake, one.flow_weight_w.exhaust) == pytest.approx(
        [weight * mean for weight in TILT_W]
    )


def test_curves_are_means_over_lengths_and_ripple_their_spread(found: Answers):
    runner, waves = found.structures
    speed = found.speed_rad_s
    assert speed == pytest.approx(curve_speeds(ENGINE.redline_rad_s))
    for k in range(3):
        for one, base in ((runner, BASE_W[False]), (waves, BASE_W[True])):
            level = base + SIDE_W["intake"][k] + SIDE_W["exhaust"][k] + BOTH_W[k]
            assert one.curve_w[k] == pytest.approx(level * shape(speed))
        # Lengths 16 % shorter, as they are, 16 % longer: 8 kW either way.
        off = np.std([-1, 0, 1]) * 0.8 * 0.2 * SPREAD_W
        assert runner.ripple[k] == pytest.approx(off / runner.curve_w[k])
    assert np.all(waves.ripple == 0)


def test_a_length_that_is_set_is_spread_less():
    made = bench(1, PowerSettings(runner_length_m=0.3))
    one = asked(made).structures[0]
    off = np.std([-1, 0, 1]) * 0.8 * SET_LENGTH_SPREAD * SPREAD_W
    assert one.ripple[0] == pytest.approx(off / one.curve_w[0])
    shares = {float(share) for asks, _ in made.calls for ask in asks for share in ask.length_share}
    assert max(shares) <= 1 + SET_LENGTH_SPREAD and min(shares) >= 1 - SET_LENGTH_SPREAD


def test_a_single_stage_asks_for_no_gain():
    made = bench(1)
    one = asked(made).structures[0]
    assert one.intake_w == (0.0,)
    assert (one.flow_weight_w.intake, one.flow_weight_w.exhaust) == (0.0, 0.0)
    assert all(ask.tilt == (1.0, 1.0) for asks, _ in made.calls for ask in asks)


# how it is asked --------------------------------------------------------------------------


def test_a_first_look_is_rough_and_says_where_to_begin():
    made, told = bench(), []
    asked(made, told.append)
    (looks, looking), (asks, closely) = made.calls
    assert looking["start"] is None and looking["partly"] and looking["closes"] == 1e-3
    assert np.degrees(looking["coarse_rad"]) == pytest.approx(1)
    assert closely.keys() == {"start", "partly"} and closely["partly"]
    assert told == pytest.approx([0.075, 0.15, 0.575, 1.0, 1.0])
    # It is of the baseline; prescribed waves know no length.
    assert [(look.prescribed, look.intake, look.exhaust) for look in looks] == [(False, 0, 0), (True, 0, 0)]
    assert [look.speed_rad_s.size for look in looks] == [30, 10]
    # Friction moves power in proportion to what is known already, so no run is spent on it.
    doubted = {key for key, one in made.assumptions.items() if one.standard_uncertainty > 0}
    moved = {key for ask in asks for key, _ in ask.moved}
    assert moved == doubted - {"friction_level"} and "friction_level" in doubted
    for ask, begin in zip(asks, closely["start"], strict=True):
        look = looks[ask.prescribed]
        for i in range(ask.speed_rad_s.size):
            off = np.abs(ask.speed_rad_s[i] / look.speed_rad_s - 1)
            off += np.abs(ask.length_share[i] / look.length_share - 1)
            near = off.argmin()
            assert begin[:2, i].tolist() == [look.speed_rad_s[near], look.length_share[near]]


def test_a_start_is_one_that_closed():
    made = bench(1)
    made.lost = lambda ask, looking: (ask.speed_rad_s < 3400 * RPM) & (looking or ask.prescribed)
    found = asked(made)
    assert all(np.isfinite(one).all() for one in made.calls[1][1]["start"])
    assert found.speed_rad_s[0] / RPM == pytest.approx(3000 + 4000 / 9)


@pytest.mark.parametrize("where", ["both", "look", "later"])
def test_slow_speeds_may_be_lost_and_are_told(where: str):
    made = bench(2)
    lost = {"both": (3200, 3700), "look": (3700, 0), "later": (0, 3700)}[where]
    made.lost = lambda ask, looking: ask.speed_rad_s < lost[0 if looking else 1] * RPM
    found, whole = asked(made), asked(bench(2))
    speeds = whole.speed_rad_s
    assert found.speed_rad_s == pytest.approx(speeds[2:])
    assert found.lost_rad_s == pytest.approx(speeds[:2])
    for one, other in zip(found.structures, whole.structures, strict=True):
        assert one.curve_w == pytest.approx(other.curve_w[:, 2:])
        assert one.ripple == pytest.approx(other.ripple[:, 2:])
    assert whole.lost_rad_s == ()


@pytest.mark.parametrize(("looking", "most_rpm", "ends"), [(True, 4700, True), (True, 4800, False)])
@pytest.mark.parametrize("first", [True, False])
def test_six_speeds_are_the_least(looking: bool, most_rpm: float, ends: bool, first: bool):
    # Of 3000, 3444, 3889, 4333, 4778 ... 7000 rpm, four may be lost, when looked at or later.
    made = bench(1)
    made.lost = lambda ask, looking: (looking is first) & (ask.speed_rad_s < most_rpm * RPM)
    if ends:
        assert asked(made).speed_rad_s.size == 6
        return
    with pytest.raises(CycleError, match="from 3000 to 4778 rpm"):
        asked(made)


@pytest.mark.parametrize("which", ["nominal", "intakes", "exhausts", "tilts", "moved"])
def test_no_answer_may_be_missing_but_a_curves(which: str):
    made = bench(2)
    missing: dict[str, Callable[[Ask], bool]] = {
        "nominal": lambda ask: ask.intake == ask.exhaust and ask.tilt == (1, 1) and not ask.moved,
        "intakes": lambda ask: ask.intake > ask.exhaust,
        "exhausts": lambda ask: ask.intake < ask.exhaust,
        "tilts": lambda ask: ask.tilt != (1.0, 1.0),
        "moved": lambda ask: bool(ask.moved),
    }

    def lost(ask: Ask, looking: bool) -> Array:
        count = ask.speed_rad_s.size
        curve = count in (10, 30)
        return np.arange(count) == (-1 if looking or curve or not missing[which](ask) else count - 1)

    made.lost = lost
    with pytest.raises(CycleError):
        asked(made)


def test_a_speed_lost_in_the_window_is_an_error():
    made = bench(2)
    made.lost = lambda ask, looking: (
        np.zeros(ask.speed_rad_s.size, bool)
        if looking or ask.speed_rad_s.size in (10, 30)  # curves
        else (ask.speed_rad_s > 6010 * RPM) & (ask.speed_rad_s < 6200 * RPM)
    )
    with pytest.raises(CycleError, match=r"from 60\d\d to 61\d\d rpm"):
        asked(made)
