"""Cycles that repeat, of a march that is a straight map: what comes back, in which order, what does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from core.breathing.cases import Cases, Cylinder
from core.breathing.cycle import CycleError, Cycles, closed_cycles, first_guess
from core.breathing.gas import Gas
from core.breathing.march import (
    BURNED,
    ENERGY,
    EXHAUST_ENTHALPY,
    INTAKE_ENTHALPY,
    MASS,
    PORT_BURNED,
    PORT_ENERGY,
    PORT_MASS,
    RUNNER,
    WALL_HEAT,
    WORK,
)
from tests.core.cylinders import DEG, SIZE, cases, shut

Array = NDArray[np.float64]
CYLINDER = shut(4 * DEG)


class StraightMarch:
    """A march whose cycle is a straight map of the case's speed; what it gives beside is made up.

    A case shrinks by its heat level, in one to five directions at paces of their own; at 1 it drifts for
    ever, and it breaks down if that is nan.
    """

    turns: dict[float, int]
    batches: list[tuple[float, int]]
    begun: list[Array]

    def __init__(self, cylinder: Cylinder, cases: Cases):
        assert not np.any(np.diff(cases.prescribed.astype(int)) < 0)
        self.step_rad, self.cases = cylinder.step_rad, cases
        self.peak_pa = 1e3 * cases.speed_rad_s

    def begin(self, state: Array) -> None:
        self.state = np.concatenate([state, np.zeros((4, state.shape[1]))])
        self.fresh_kg = state[MASS] - state[BURNED]

    def cycle(self) -> None:
        begun = self.state[:7].copy()
        self.batches.append((self.step_rad, begun.shape[1]))
        self.begun.append(begun)
        fixed, speed = fixed_points(self.cases), self.cases.speed_rad_s
        level = self.cases.heat_level
        paces = level * 0.7 ** np.minimum(np.arange(7)[:, None], np.round(speed) % 5)
        self.state[:7] = np.where(level == 1.0, 1.001 * begun, fixed + paces * (begun - fixed))
        self.state[WORK], self.state[WALL_HEAT] = 1.0 * speed, 0.5 * speed
        self.state[EXHAUST_ENTHALPY], self.state[INTAKE_ENTHALPY] = 4.0 * speed, 0.3 * speed
        if self.step_rad == CYLINDER.step_rad:
            for one in speed:
                self.turns[one] = self.turns.get(one, 0) + 1


def fixed_points(cases_: Cases) -> Array:
    """Return the states that repeat: another for every speed."""
    return SIZE[:, None] * (1 + cases_.speed_rad_s / 1000)


@pytest.fixture(autouse=True)
def march(monkeypatch: pytest.MonkeyPatch) -> type[StraightMarch]:
    StraightMarch.turns, StraightMarch.batches, StraightMarch.begun = {}, [], []
    monkeypatch.setattr("core.breathing.cycle.March", StraightMarch)
    return StraightMarch


def some_cases(count: int = 23) -> Cases:
    """Return cases of different speeds, each third with prescribed waves; each shrinks at its own pace."""
    found = cases(np.linspace(2000, 9000, count))
    pace = np.linspace(-0.5, 0.9, count)
    return replace(found, prescribed=np.arange(count) % 3 == 1, heat_level=pace)


def same_as_the_map(found: Cycles, some: Cases, which: slice | Array = slice(None)) -> None:
    """Check every value of closed cycles against the map."""
    fixed, speed = fixed_points(some)[:, which], some.speed_rad_s[which]
    fuel = (fixed[MASS] - fixed[BURNED]) * some.fuel_energy_j_kg[which]
    imbalance = np.abs(0.3 * speed + fuel - 4 * speed - speed - 0.5 * speed) / np.maximum(fuel, 4 * speed)
    wanted = {
        "work_j": speed,
        "peak_pressure_pa": 1e3 * speed,
        "trapped_kg": fixed[MASS],
        "fresh_kg": fixed[MASS] - fixed[BURNED],
        "heat_j": 0.5 * speed,
        "fuel_j": fuel,
        "exhaust_j": 4 * speed,
        "intake_j": 0.3 * speed,
        "energy_imbalance": imbalance,
    }
    assert set(wanted) | {"state", "mass_change", "turns"} == set(Cycles.__annotations__)
    for name, value in wanted.items():
        # Closed to 1e-9 at paces up to 0.9: 1e-8 of a mass or energy, and of the fuel in the ledger.
        off = {"abs": 1e-7} if name == "energy_imbalance" else {"abs": 0}
        assert getattr(found, name)[which] == pytest.approx(value, rel=1e-7, **off), name
    assert found.state[:, which] == pytest.approx(fixed, rel=1e-7)
    assert np.max(found.mass_change[which]) < 1e-9


@pytest.mark.parametrize("at_once", [1, 4, 7, 1200])
def test_cases_come_back_in_their_order_with_what_their_cycle_gave(monkeypatch, march, at_once):
    monkeypatch.setattr("core.breathing.cycle.AT_ONCE", at_once)
    some, told = some_cases(), []
    alone = [closed_cycles(CYLINDER, some.take(np.array([i]))).turns[0] for i in range(23)]
    march.batches.clear()
    march.turns.clear()
    found = closed_cycles(CYLINDER, some, progress=told.append)
    same_as_the_map(found, some)
    # Turns are counted until a case closes, not while it is carried along.
    went = np.array([march.turns[one] for one in some.speed_rad_s])
    assert found.turns == pytest.approx(np.array(alone), abs=1) and len(set(alone)) > 3
    assert np.all(found.turns <= went) and np.any(found.turns < went) == (at_once >= 7)  # one in seven
    assert march.batches[0] == (2 * CYLINDER.step_rad, 23)  # a first turn of all in rough steps
    assert max(size for _, size in march.batches[1:]) == min(at_once, 23)
    assert {step for step, _ in march.batches[1:]} == {CYLINDER.step_rad}
    assert len(told) == len(march.batches) - 1
    assert told[-1] == 1 and all(0 <= one <= 1 for one in told)


def test_progress_is_what_has_closed_and_part_of_what_is_under_way():
    told: list[float] = []
    some = replace(some_cases(3), heat_level=np.array([0.0, 0.0, 1.0]))
    with pytest.raises(CycleError):
        closed_cycles(CYLINDER, some, progress=told.append)
    # Two close at once; the third counts for a sixth a turn, and never for all of it.
    assert told[:3] == pytest.approx([(2 + turns / 6) / 3 for turns in (1, 2, 3)])
    assert told[-1] == pytest.approx(2.95 / 3)


def test_a_start_is_used_and_one_that_repeats_closes_in_one_turn(march):
    some = some_cases(5)
    near = fixed_points(some)
    found = closed_cycles(CYLINDER, some, near)
    assert found.turns.tolist() == [1] * 5
    order = np.argsort(some.prescribed, kind="stable")
    assert march.begun[0] == pytest.approx(near[:, order])
    closed_cycles(CYLINDER, some)
    far = next(one for one in march.begun[1:] if not np.allclose(one, near[:, order], rtol=1e-6))
    assert far == pytest.approx(first_guess(CYLINDER, some)[:, order])


def test_a_rough_turn_that_breaks_down_is_forgotten(monkeypatch, march):
    whole = march.cycle

    def breaks(self: StraightMarch) -> None:
        whole(self)
        if self.step_rad > CYLINDER.step_rad:
            self.state[:, self.cases.speed_rad_s > 500] = np.nan

    monkeypatch.setattr(march, "cycle", breaks)
    some = replace(some_cases(4), prescribed=np.zeros(4, bool), heat_level=np.full(4, 0.5))
    near = 1.1 * fixed_points(some)
    same_as_the_map(closed_cycles(CYLINDER, some, near), some)
    fast = some.speed_rad_s > 500
    assert 0 < np.count_nonzero(fast) < 4
    assert march.begun[1][:, fast] == pytest.approx(near[:, fast])
    assert march.begun[1][MASS, ~fast] == pytest.approx(near[MASS, ~fast] / 1.1 * 1.05)


@pytest.mark.parametrize("at_once", [2, 1200])
def test_what_does_not_close_is_an_error_or_left_empty(monkeypatch, march, at_once):
    monkeypatch.setattr("core.breathing.cycle.AT_ONCE", at_once)
    monkeypatch.setattr("core.breathing.cycle.MOST_TURNS", 9)
    some = some_cases(7)
    pace = some.heat_level.copy()
    pace[[2, 4]] = 1.0, np.nan  # goes round for ever, breaks down
    some = replace(some, heat_level=pace)
    found = closed_cycles(CYLINDER, some, partly=True)
    good = np.array([0, 1, 3, 5, 6])
    same_as_the_map(found, some, good)
    for name in Cycles.__annotations__:
        assert np.isnan(getattr(found, name)[..., [2, 4]]).all(), name
    assert [march.turns[some.speed_rad_s[i]] for i in (2, 4)] == [9, 9]
    with pytest.raises(CycleError, match="within 9 turns") as error:
        closed_cycles(CYLINDER, some)
    if at_once > 7:
        assert str(error.value).startswith("from 4333 to 6667 rpm a cycle does not repeat")


def test_mass_and_energy_of_cylinder_and_port_must_repeat(monkeypatch, march):
    # One row at a time is off by more than allowed; burned gas and the runner follow from the rest.
    some = replace(some_cases(1), heat_level=np.zeros(1))
    plain = march.cycle
    for index in range(7):
        for off, closes in ((2e-5, False), (-2e-5, False), (0.5e-5, True)):

            def cycle(self: StraightMarch, index: int = index, off: float = off) -> None:
                plain(self)
                self.state[index] = self.begun[-1][index] * (1 + off)

            monkeypatch.setattr(march, "cycle", cycle)
            found = closed_cycles(CYLINDER, some, fixed_points(some), closes=1e-5, partly=True)
            assert np.isfinite(found.work_j[0]) == (closes or index > PORT_ENERGY), (index, off)


def test_the_ledger_counts_what_is_stored(monkeypatch, march):
    # A cycle that is not quite closed keeps some energy: that is not missing. Numbers by hand.
    some = replace(some_cases(1), fuel_energy_j_kg=np.array([0.0]))
    plain = march.cycle

    def cycle(self: StraightMarch) -> None:
        plain(self)
        self.state[:7] = self.begun[-1]
        self.state[ENERGY] += 3.0
        self.state[PORT_ENERGY] += 2.0
        self.state[MASS] *= 0.99
        self.state[[INTAKE_ENTHALPY, EXHAUST_ENTHALPY, WORK, WALL_HEAT], 0] = 100.0, -80.0, 50.0, 20.0

    monkeypatch.setattr(march, "cycle", cycle)
    found = closed_cycles(CYLINDER, some, closes=0.1)
    assert found.energy_imbalance[0] == pytest.approx((100 + 80 - 50 - 20 - 5) / 80)
    assert found.mass_change[0] == pytest.approx(0.01)


def test_cases_close_as_nearly_as_asked(march):
    some = replace(some_cases(1), heat_level=np.array([0.5]))
    exact = closed_cycles(CYLINDER, some).turns[0]
    assert closed_cycles(CYLINDER, some, closes=0.9).turns[0] == 1 < exact


def test_the_first_guess_is_a_cylinder_of_warm_charge():
    wave = replace(CYLINDER, gas=Gas(), intake_wave=np.linspace(0.5, 1, CYLINDER.intake_wave.size))
    some = cases([4000, 6000], prescribed=True, ambient_pa=np.array([1e5, 9e4]), intake_wave=0.1)
    state, gas = first_guess(wave, some), wave.gas
    # Ideal gas at ambient pressure and bottom dead centre, warmed by the walls; then pressed together.
    whole_m3, start_m3 = wave.crank.volume(np.array([np.pi, -np.pi / 3]))
    warm_k = some.ambient_pa * whole_m3 / state[MASS] / gas.r_j_kg_k
    assert np.all((warm_k > 303 + 20) & (warm_k < 303 + 60))
    burned = state[BURNED] / state[MASS]
    assert np.all((burned > 0) & (burned < 0.15))
    hot_k = gas.temperature(state[ENERGY] / state[MASS], burned)
    assert hot_k == pytest.approx(warm_k * (whole_m3 / start_m3) ** 0.35, rel=0.1)
    # The port: air at the temperature before it, where its wave begins.
    port_pa = some.ambient_pa * (1 + 0.1 * 0.5)
    port_kg = port_pa * some.port_volume_m3 / (gas.r_j_kg_k * 303)
    assert state[PORT_MASS] == pytest.approx(port_kg)
    assert gas.temperature(state[PORT_ENERGY] / state[PORT_MASS], 0.0) == pytest.approx([303.0, 303.0])
    assert np.all(state[[PORT_BURNED, RUNNER]] == 0)
