"""What the breathing model is asked for a power range, and what is made of the work that it answers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from core.breathing.areas import AreaCurve, Lobe
from core.breathing.cases import Cases, Cylinder, half_steps
from core.breathing.crank import Crank
from core.breathing.cycle import Cycles
from core.breathing.gas import Gas
from core.job import CamLobe, Sides
from core.power_input import CENTRE_LIMITS_DEG, PowerInput, Stage
from core.power_model import PowerSettings, assumptions_of
from core.power_runs import Ask, Bench, design, exhaust_wave, intake_wave, lattice

Array = NDArray[np.float64]
RPM = np.pi / 30
BAR_PA = 1e5


def areas(top: float) -> AreaCurve:
    """Return a curve up to an area at 9 mm of lift."""
    lift = np.array([2e-3, 5e-3, 9e-3])
    return AreaCurve(lift, top * np.array([0.3, 0.7, 1.0]), np.array([0.0, 9e-3]), np.ones(2))


INTAKE_CAM = CamLobe(10e-3, np.radians(240), 1e-3, centreline_rad=np.radians(106))
EXHAUST_CAM = CamLobe(9.5e-3, np.radians(248), 1e-3)
ENGINE = PowerInput(
    crank=Crank(0.1, 0.09, 0.15, 11.0),
    cylinders=4,
    redline_rad_s=7000 * RPM,
    head_area_m2=1.3e-3,
    lobes=Sides(Lobe(INTAKE_CAM, np.radians(360 + 106)), Lobe(EXHAUST_CAM, np.radians(360 - 112))),
    stages=(
        Stage("as cast", Sides(areas(6e-4), areas(4e-4))),
        Stage("ported", Sides(areas(6.6e-4), areas(4.2e-4))),
    ),
    refused={},
    notes=(),
)
BENCH = Bench(ENGINE, assumptions_of(ENGINE, PowerSettings()))


class Asked:
    """What the model was given, in place of the model; its work is speed in rpm, its peak 100 times that."""

    def __init__(self) -> None:
        self.given: list[tuple[Cylinder, Cases, Any, float, bool]] = []

    def __call__(
        self, cylinder: Cylinder, cases: Cases, start: Any, tell: Any, closes: float, partly: bool
    ) -> Cycles:
        self.given.append((cylinder, cases, start, closes, partly))
        if tell is not None:
            tell(0.5)
            tell(1.0)
        rpm = cases.speed_rad_s / RPM
        none = np.full(rpm.size, np.nan)
        state = np.tile(rpm, (7, 1)) + np.arange(7)[:, None]
        return Cycles(rpm, 100 * BAR_PA * rpm / 1000, *[none] * 6, state, *[none] * 3)

    @property
    def cases(self) -> Cases:
        """Return the cases of the only call."""
        (_, cases, *_), *more = self.given
        assert not more
        return cases


@pytest.fixture
def model(monkeypatch: pytest.MonkeyPatch) -> Asked:
    asked = Asked()
    monkeypatch.setattr("core.power_runs.closed_cycles", asked)
    return asked


def ask(prescribed: bool = False, intake: int = 0, exhaust: int = 0, **more: Any) -> Ask:
    """Return a question at two speeds above 3000 rpm and two lengths."""
    given = {"speed_rad_s": np.array([4000.0, 6000.0]) * RPM, "length_share": np.array([0.9, 1.1])} | more
    return Ask(prescribed, intake, exhaust, **given)


# answers ----------------------------------------------------------------------------------


@pytest.mark.outside
def test_work_and_friction_become_power(model: Asked):
    # A four-stroke's cylinder gives its work every other turn. Chen and Flynn (1965), from memory:
    # 0.137 bar + 0.005 p_max + 0.162 bar s/m S_p, over the swept volume of all cylinders.
    slow = ask(speed_rad_s=np.array([2500.0, 5000.0, 2999.0, 3000.0]) * RPM, length_share=np.ones(4))
    first, second = BENCH.ask([ask(), slow], start=[np.zeros((7, 2)), np.ones((7, 4))])
    for rpm, found in ((np.array([4000.0, 6000.0]), first), (np.array([2500.0, 5000, 2999, 3000]), second)):
        assert found.indicated_w == pytest.approx(4 * rpm * rpm / 60 / 2)
        mean_bar = 0.137 + 0.005 * 100 * rpm / 1000 + 0.162 * 2 * 0.09 * rpm / 60
        swept_m3 = 4 * np.pi * 0.05**2 * 0.09
        assert found.friction_w == pytest.approx(mean_bar * BAR_PA * swept_m3 * rpm / 120)
        assert found.state == pytest.approx(np.tile(rpm, (7, 1)) + np.arange(7)[:, None])
    # A finer step below 3000 rpm, each with where its cases begin.
    (coarse, quick, of_quick, *_), (fine, low, of_low, *_) = model.given
    assert np.degrees([coarse.step_rad, fine.step_rad]) == pytest.approx([0.5, 0.25])
    assert quick.speed_rad_s / RPM == pytest.approx([4000, 6000, 5000, 3000])
    assert low.speed_rad_s / RPM == pytest.approx([2500, 2999])
    assert of_quick[0].tolist() == [0, 0, 1, 1] and of_low.tolist() == [[1, 1]] * 7


def test_how_to_run_is_handed_on(model: Asked):
    BENCH.ask([ask()])
    BENCH.ask([ask()], closes=1e-3, coarse_rad=np.radians(1), partly=True)
    (plain, _, start, closes, partly), (rough, _, _, rough_closes, rough_partly) = model.given
    assert (start, closes, partly) == (None, 1e-9, False)
    assert (rough_closes, rough_partly) == (1e-3, True)
    assert np.degrees([plain.step_rad, rough.step_rad]) == pytest.approx([0.5, 1])


def test_progress_goes_over_both_steps(model: Asked):
    told: list[float] = []
    mixed = ask(speed_rad_s=np.array([2000.0, 4000, 5000, 6000]) * RPM, length_share=np.ones(4))
    BENCH.ask([mixed], told.append)
    assert told == pytest.approx([0.375, 0.75, 0.875, 1.0])


# questions --------------------------------------------------------------------------------


def test_what_a_runner_is_given(model: Asked):
    BENCH.ask([ask()])
    cases, known = model.cases, BENCH.assumptions
    wide, long = known["runner_diameter_m"].value, known["runner_length_m"].value
    # 0.87 of the diameter of one valve of that area; a wave's way at 350 m/s there and back in 73 deg.
    assert wide == pytest.approx(0.87 * 2 * np.sqrt(1.3e-3 / np.pi))
    assert long == pytest.approx(350 * 73 / (0.85 * 7000 * 6) / 2)
    wanted = {
        "prescribed": [False, False],
        "speed_rad_s": np.array([4000.0, 6000.0]) * RPM,
        "runner_length_m": long * np.array([0.9, 1.1]),
        "runner_area_m2": np.pi * (wide / 2) ** 2,
        # Half of the runner's air counts as the port's volume.
        "port_volume_m3": np.pi * (wide / 2) ** 2 * long * np.array([0.9, 1.1]) / 2,
        "runner_loss": 0.5,
        "ambient_pa": 101_325.0,
        "intake_temperature_k": 303.15,
        "back_pressure_pa": 101_325.0 + 5e3,
        "intake_wave": 0.0,
        # 6 % of ambient pressure at 18 m/s of mean piston speed: 2 x 0.09 m x 4000 / 60 = 12 m/s.
        "exhaust_wave": np.array([0.06 * 12 / 18, 0.06]),
        "exhaust_temperature_k": 1000.0,
        "burn_duration_rad": np.radians(60),
        "burn_centre_rad": np.radians(8),
        "fuel_energy_j_kg": 2.64e6,
        "heat_level": 1.0,
        "wall_temperature_k": 450.0,
    }
    for name, value in wanted.items():
        assert getattr(cases, name) == pytest.approx(np.broadcast_to(value, 2)), name


def test_what_a_prescribed_wave_is_given(model: Asked):
    BENCH.ask([ask(prescribed=True)])
    cases, wide = model.cases, BENCH.assumptions["runner_diameter_m"].value
    assert cases.prescribed.tolist() == [True, True]
    # Joukowsky: density x speed of sound x the mean speed in the runner, of which half.
    in_runner_m_s = np.array([12.0, 18.0]) * (0.1 / wide) ** 2
    assert cases.intake_wave == pytest.approx(0.5 * 1.15 * 350 * in_runner_m_s / 101_325)
    assert cases.exhaust_wave == pytest.approx(np.array([0.15 * 12 / 18, 0.15]))


MOVES: dict[str, Callable[[float, float], dict[str, float]]] = {
    # What a case is given for a value and what it was moved to, over what it is given otherwise.
    "runner_length_m": lambda old, new: {"runner_length_m": new / old, "port_volume_m3": new / old},
    "runner_diameter_m": lambda old, new: {
        "runner_area_m2": (new / old) ** 2,
        "port_volume_m3": (new / old) ** 2,
        "intake_wave": (old / new) ** 2,
    },
    "intake_temperature_k": lambda old, new: {"intake_temperature_k": new / old},
    "back_pressure_pa": lambda old, new: {"back_pressure_pa": (101_325 + new) / (101_325 + old)},
    "pulse_level": lambda old, new: {"intake_wave": new / old, "exhaust_wave": new / old},
    "burn_duration_rad": lambda old, new: {"burn_duration_rad": new / old},
    "burn_centre_rad": lambda old, new: {"burn_centre_rad": new / old},
    "heat_level": lambda old, new: {"heat_level": new / old},
    "wall_temperature_k": lambda old, new: {"wall_temperature_k": new / old},
    "fuel_level": lambda old, new: {"fuel_energy_j_kg": new / old},
}


@pytest.mark.parametrize("key", MOVES)
@pytest.mark.parametrize("moved", [1.0, -1.0])
def test_an_unknown_moves_what_hangs_on_it_and_nothing_else(model: Asked, key: str, moved: float):
    one = replace(BENCH.assumptions[key], standard_uncertainty=0.04 * BENCH.assumptions[key].value)
    bench = Bench(ENGINE, BENCH.assumptions | {key: one})
    bench.ask([ask(prescribed=True), ask(prescribed=True, moved=((key, moved),))])
    cases = model.cases
    factors = MOVES[key](one.value, one.value * (1 + 0.04 * moved))
    for name in Cases.__annotations__:
        plain, other = np.split(getattr(cases, name), 2)
        assert other == pytest.approx(plain * factors.get(name, 1.0)), name


def test_a_value_stays_within_what_is_allowed():
    known = BENCH.assumptions["heat_level"]
    bench = Bench(ENGINE, {"heat_level": replace(known, value=2.9, standard_uncertainty=0.2)})
    found = [bench.value("heat_level", {"heat_level": by}) for by in (0.0, -1.0, 1.0, -20.0)]
    assert found == pytest.approx([2.9, 2.7, 3.0, 0.0])
    assert bench.value("heat_level", {"fuel_level": 1.0}) == 2.9


@pytest.mark.parametrize("value", [3.5, -0.5])
def test_a_value_that_follows_from_the_engine_is_used_as_it_is_shown(value: float):
    # The runner of a very large engine is wider than one that may be set.
    known = replace(BENCH.assumptions["heat_level"], value=value, standard_uncertainty=0.2)
    bench = Bench(ENGINE, {"heat_level": known})
    assert bench.value("heat_level", {}) == value
    outward = np.sign(value)
    assert bench.value("heat_level", {"heat_level": outward}) == value
    assert bench.value("heat_level", {"heat_level": -outward}) == pytest.approx(value - 0.2 * outward)


def test_a_centreline_that_the_job_may_state_is_one_that_may_be_set():
    known = [BENCH.assumptions[f"{side}_centreline_rad"] for side in ("intake", "exhaust")]
    assert [(one.least, one.greatest) for one in known] == [tuple(np.radians(CENTRE_LIMITS_DEG))] * 2


# valves over crank angle ------------------------------------------------------------------


def test_valves_open_as_lobe_and_curve_say(model: Asked):
    grid = half_steps(np.radians(0.5))
    asks = [
        ask(),
        ask(intake=1, tilt=(1.03, 1.0)),
        ask(exhaust=1, tilt=(1.0, 1.04)),
        ask(moved=(("intake_centreline_rad", 1.0), ("flow_level", -1.0))),
        ask(moved=(("exhaust_centreline_rad", 1.0), ("lobe_stretch", 1.0))),
        ask(),
    ]
    BENCH.ask(asks)
    cylinder, cases = model.given[0][0], model.cases
    deg, (first, second) = np.radians(1), ENGINE.stages
    lobes, known = ENGINE.lobes, BENCH.assumptions
    # The intake's centre was stated, so it is known to 1.5 deg; the exhaust's to 4, and it lies before
    # the top dead centre between them.
    assert known["intake_centreline_rad"].standard_uncertainty == pytest.approx(1.5 * deg)
    stretch, level = 1 + known["lobe_stretch"].standard_uncertainty, 1 - 0.03
    wanted = {
        "intake": [
            (first.areas.intake, 0, 1, 1),
            (second.areas.intake, 0, 1, 1.03),
            (first.areas.intake, 0, 1, 1),
            (first.areas.intake, 1.5 * deg, 1, level),
            (first.areas.intake, 0, stretch, 1),
            (first.areas.intake, 0, 1, 1),
        ],
        "exhaust": [
            (first.areas.exhaust, 0, 1, 1),
            (first.areas.exhaust, 0, 1, 1),
            (second.areas.exhaust, 0, 1, 1.04),
            (first.areas.exhaust, 0, 1, level),
            (first.areas.exhaust, -4 * deg, stretch, 1),
            (first.areas.exhaust, 0, 1, 1),
        ],
    }
    for side, rows in wanted.items():
        table = getattr(cylinder, side).area_m2[:, getattr(cases, side)[::2]]
        assert getattr(cases, side)[::2].tolist() == getattr(cases, side)[1::2].tolist()
        for column, (curve, later, longer, factor) in enumerate(rows):
            lift = lobes[side].lift(grid, later, longer)
            area = np.where(lift > 0, factor * curve.at(lift), 0.0)
            assert table[:, column] == pytest.approx(area, abs=1e-12), (side, column)
        # Each opening is worked out once.
        assert getattr(cylinder, side).area_m2.shape == (grid.size, len(set(map(repr, rows))))


@pytest.mark.parametrize("late_exhaust", [False, True])
def test_gas_moves_from_the_exhausts_opening_until_both_are_shut(model: Asked, late_exhaust: bool):
    lobes = ENGINE.lobes
    if late_exhaust:
        centres = zip((lobes.intake, lobes.exhaust), np.radians([300, 360]), strict=True)
        lobes = Sides(*(replace(lobe, centre_rad=centre) for lobe, centre in centres))
    Bench(replace(ENGINE, lobes=lobes), BENCH.assumptions, Gas(gamma_intake=1.2)).ask([ask()])
    cylinder, grid = model.given[0][0], half_steps(np.radians(0.5))
    last = max(lobe.closes_rad for lobe in (lobes.intake, lobes.exhaust))
    assert last == (lobes.exhaust if late_exhaust else lobes.intake).closes_rad
    moving = grid[cylinder.exchange]
    assert moving.min() == pytest.approx(lobes.exhaust.opens_rad, abs=np.radians(0.25))
    assert moving.max() == pytest.approx(last, abs=np.radians(0.25))
    assert np.count_nonzero(np.diff(cylinder.exchange)) == 2
    assert cylinder.gas.gamma_intake == 1.2 and cylinder.crank == ENGINE.crank
    assert cylinder.intake_wave == pytest.approx(intake_wave(grid, lobes.intake))
    assert cylinder.exhaust_wave == pytest.approx(exhaust_wave(grid, lobes.exhaust))


def test_the_intakes_wave_draws_first_and_then_rams_in():
    closes = ENGINE.lobes.intake.closes_rad
    angle = np.radians(np.arange(-60, 660, 0.01))
    wave = intake_wave(angle, ENGINE.lobes.intake)
    highest = (3 * np.pi + closes) / 2  # half-way from bottom dead centre to closing
    assert angle[wave.argmax()] == pytest.approx(highest, abs=1e-3) and wave.max() == pytest.approx(1)
    since = highest - 2 * np.pi
    assert angle[wave.argmin()] == pytest.approx(2 * np.pi + since / 3, abs=1e-3)
    assert wave.min() == pytest.approx(-1)
    moving = angle[np.abs(wave) > 1e-9]
    assert moving.min() == pytest.approx(2 * np.pi, abs=1e-3)
    assert moving.max() == pytest.approx(2 * np.pi + since * 4 / 3, abs=1e-3)
    assert wave[0] == pytest.approx(intake_wave(np.array([angle[0] + 4 * np.pi]), ENGINE.lobes.intake)[0])


def test_the_exhausts_wave_pushes_first_and_then_draws():
    lobe = ENGINE.lobes.exhaust
    open_rad = lobe.closes_rad - lobe.opens_rad
    share = np.array([-0.01, 0, 0.25, 1 / 3, 0.5, 0.75, 1 - 1e-6, 1.01])
    wave = exhaust_wave(lobe.opens_rad + open_rad * share, lobe)
    assert wave == pytest.approx([0, 1, np.sqrt(0.5), 0.5, 0, -np.sqrt(0.5), -1, 0], abs=1e-9)


# designs ----------------------------------------------------------------------------------


@pytest.mark.outside
@pytest.mark.parametrize("count", [4, 7, 17])
def test_points_fill_window_and_lengths_evenly(count: int):
    speed, length = lattice(count, 500.0, 600.0, 0.2)
    # A speed in the middle of each of as many equal parts; lengths by steps of the golden ratio.
    assert speed == pytest.approx(500 + 100 * (np.arange(count) + 0.5) / count)
    golden = (np.sqrt(5) - 1) / 2
    assert length == pytest.approx([0.8 + 0.4 * ((0.5 + golden * k) % 1) for k in range(count)])
    # Three-distance theorem: gaps between neighbours of such steps are near to equal, never many times.
    gaps = np.diff(np.sort(np.append(length, length.min() + 0.4)))
    assert gaps.max() / gaps.min() < 1 / golden**2 + 1e-6
    assert lattice(count, 500.0, 600.0, 0.0)[1].tolist() == [1.0] * count


@pytest.mark.outside
@pytest.mark.parametrize(("count", "runs"), [(1, 12), (3, 12), (11, 12), (12, 16), (15, 16), (16, 32)])
def test_runs_of_a_design_are_at_right_angles(count: int, runs: int):
    keys = [f"unknown {i}" for i in range(count)]
    found = design(keys)
    assert [[key for key, _ in run] for run in found] == [keys] * runs
    signs = np.array([[sign for _, sign in run] for run in found])
    assert set(signs.ravel().tolist()) == {-1.0, 1.0}
    assert np.all(signs.sum(axis=0) == 0)
    assert all(signs[:, i] @ signs[:, j] == 0 for i, j in combinations(range(count), 2))
    if count == 11:
        # Plackett and Burman (1946), N = 12: this row, turned round, and a row of minus.
        row = "++-+++---+-"
        rows = {row[-k:] + row[:-k] for k in range(1, 12)} | {"-" * 11}
        assert {"".join("+" if s > 0 else "-" for s in run) for run in signs} == rows


# what answers are kept by -----------------------------------------------------------------


def test_answers_are_kept_by_what_they_depend_on():
    def changed(**fields: Any) -> Bench:
        return Bench(replace(ENGINE, **fields), BENCH.assumptions)

    first, second = ENGINE.stages
    curve = first.areas.exhaust
    nudged = [
        replace(curve, **{name: getattr(curve, name) * (1 + 1e-12)})
        for name in ("lift_m", "area_m2", "ratio_lift_m", "ratio")
    ]
    same = changed(stages=(replace(first, name="another name"), second), notes=("a note",))
    others = [
        changed(cylinders=5),
        changed(crank=replace(ENGINE.crank, bore_m=0.101)),
        changed(redline_rad_s=7100 * RPM),
        changed(lobes=Sides(ENGINE.lobes.intake, ENGINE.lobes.intake)),
        changed(stages=(first,)),
        changed(stages=(second, first)),
        *(changed(stages=(Stage("as cast", Sides(first.areas.intake, one)), second)) for one in nudged),
        Bench(
            ENGINE, BENCH.assumptions | {"heat_level": replace(BENCH.assumptions["heat_level"], value=1.1)}
        ),
        Bench(ENGINE, BENCH.assumptions, Gas(gamma_intake=1.2)),
    ]
    assert same.key == BENCH.key and hash(same.key) == hash(BENCH.key)
    assert len({one.key for one in (BENCH, *others)}) == len(others) + 1
