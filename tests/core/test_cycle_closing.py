"""The way to a cycle that repeats, on straight maps whose fixed point linear algebra gives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from core.breathing.cases import Cases, Cylinder
from core.breathing.closing import MEMORY, Closing
from core.breathing.cycle import CycleError, Cycles, closed_cycles, first_guess
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
from tests.core.cylinders import DEG, cases, shut

Array = NDArray[np.float64]
SIZE = np.array([1e-3, 6e-4, 300.0, 120.0, 1e-4, 2e-5, 5e-4])  # of a state's rows, about

# closing ----------------------------------------------------------------------------------


def straight_map(seed: int, shrink: tuple[float, ...], size: Array = SIZE) -> tuple[Array, Array]:
    """Return a and b of the map a x + b, which shrinks by the factors given in directions by chance."""
    rng = np.random.default_rng(seed)
    shrink = np.array([*shrink, *[0.0] * (7 - len(shrink))])
    turned, _ = np.linalg.qr(rng.standard_normal((7, 7)))
    a = size[:, None] * (turned @ np.diag(shrink) @ turned.T) / size
    return a, (np.eye(7) - a) @ (size * rng.uniform(0.8, 1.2, 7))


def turn(maps: list[tuple[Array, Array]], state: Array) -> Array:
    """Return where each case's map leads."""
    return np.stack([a @ state[:, i] + b for i, (a, b) in enumerate(maps)], axis=1)


def closed(maps: list[tuple[Array, Array]]) -> Array:
    """Return the fixed points, by numpy's solver."""
    return np.stack([np.linalg.solve(np.eye(7) - a, b) for a, b in maps], axis=1)


def test_a_straight_map_of_as_many_directions_as_are_remembered_closes_at_once():
    maps = [straight_map(1, (0.9, 0.7, -0.5, 0.3)), straight_map(2, (0.95, -0.6)), straight_map(3, (0.2,))]
    wanted = closed(maps)
    closing = Closing(wanted * np.array([1.05, 0.97, 1.02]))
    for _ in range(MEMORY + 2):  # one to begin with, one for each direction, one more for rounding
        closing.learn(turn(maps, closing.state))
    # Plain turns would still be off by 5 % times 0.9 ** 6. The remembered steps shrink to 1e-7 of the
    # state before they count for nothing.
    assert closing.state == pytest.approx(wanted, rel=1e-7)


def best_of(starts: list[Array], ends: list[Array], most_runner: float) -> Array:
    """Return Anderson's next start, by least squares over the changes of a single case."""
    changes = [end - start for start, end in zip(starts, ends, strict=True)]
    end = ends[-1]
    # A mass or energy counts against itself, burned gas against its mass, the runner against all runners.
    scale = np.array([*np.abs(end[:4]), abs(end[MASS]), abs(end[PORT_MASS]), most_runner])
    steps = np.stack([(changes[-1] - one) / scale for one in changes[:-1]][-MEMORY:], axis=1)
    moves = np.stack([end - one for one in ends[:-1]][-MEMORY:], axis=1)
    return end - moves @ np.linalg.lstsq(steps, changes[-1] / scale)[0]


@pytest.mark.outside
def test_the_next_start_is_that_of_least_squares():
    # Anderson (1965), with numpy's lstsq in place of normal equations, where directions are too many
    # for the memory, so that what each row counts for matters.
    shrink = (0.9, 0.8, -0.7, 0.6, 0.5, -0.4, 0.3)
    maps = [straight_map(seed, shrink) for seed in (4, 5)]
    closing = Closing(closed(maps) * np.array([1.01, 0.995]))
    starts, ends = [], []
    for count in range(6):
        starts.append(closing.state)
        ends.append(turn(maps, closing.state))
        closing.learn(ends[-1])
        for case in range(2) if count else ():
            of_case = [[one[:, case] for one in seen] for seen in (starts, ends)]
            wanted = best_of(*of_case, np.abs(ends[-1][RUNNER]).max())
            moved = np.abs(wanted - ends[-1][:, case]).max(initial=1e-12)
            assert closing.state[:, case] == pytest.approx(wanted, rel=1e-6, abs=1e-6 * moved), count


def after_two(begin: Array, first: Array, second: Array) -> Array:
    """Return where a case goes on after changes of two turns."""
    closing = Closing(begin[:, None])
    closing.learn(begin[:, None] + first[:, None])
    assert closing.state[:, 0] == pytest.approx(begin + first)  # nothing to go by yet
    closing.learn(closing.state + second[:, None])
    return closing.state[:, 0]


def row(index: int, value: float) -> Array:
    """Return a change of one row."""
    change = np.zeros(7)
    change[index] = value
    return change


@pytest.mark.parametrize("index", [MASS, PORT_MASS, ENERGY, PORT_ENERGY])
def test_a_leap_that_would_leave_next_to_nothing_is_not_taken(index):
    # Changes that shrink by a tenth lead ten times the first change away, in one leap.
    for step, leaps in ((-0.081, True), (-0.084, False)):  # to 0.22 and 0.19 of the turn's own end
        change = SIZE[index] * step
        found = after_two(SIZE, row(index, change), row(index, 0.9 * change))[index]
        wanted = 1 + 10 * step if leaps else 1 + 1.9 * step
        assert found / SIZE[index] == pytest.approx(wanted, rel=1e-6)


@pytest.mark.parametrize(("index", "whole"), [(BURNED, MASS), (PORT_BURNED, PORT_MASS)])
def test_burned_gas_stays_between_nothing_and_all(index, whole):
    most = SIZE[whole] / SIZE[index]
    for far, leaps in ((-0.99, True), (-1.01, False), (most - 1.01, True), (most - 0.99, False)):
        change = SIZE[index] * far / 10
        found = after_two(SIZE, row(index, change), row(index, 0.9 * change))[index]
        assert found / SIZE[index] == pytest.approx(1 + far if leaps else 1 + 0.19 * far, rel=1e-6, abs=1e-8)


def test_a_runner_may_flow_either_way():
    change = row(RUNNER, -0.5 * SIZE[RUNNER])
    assert after_two(SIZE, change, 0.9 * change)[RUNNER] == pytest.approx(-4 * SIZE[RUNNER])


def test_a_case_that_breaks_down_does_not_touch_the_others():
    slow = SIZE * np.append(np.ones(6), 0.1)  # the other's runner is the faster one: it sets the measure
    maps = [straight_map(6, (0.9, 0.5)), straight_map(7, (0.8, 0.4), slow)]
    alone, both = Closing(closed(maps)[:, :1] * 1.03), Closing(closed(maps) * 1.03)
    for count in range(5):
        alone.learn(turn(maps[:1], alone.state))
        end = turn(maps, both.state)
        if count >= 2:
            end[:, 1] = np.nan if count % 2 else np.inf
        both.learn(end)
        assert both.state[:, 0] == pytest.approx(alone.state[:, 0], rel=1e-12)
    assert not np.isfinite(both.state[:, 1]).any()


def test_fresh_cases_take_the_place_of_closed_ones():
    maps = [straight_map(seed, (0.9, -0.7, 0.4)) for seed in range(8, 12)]
    begin = closed(maps) * 1.02
    closing, alone = Closing(begin[:, :3]), [Closing(begin[:, i : i + 1]) for i in range(4)]
    _same_turns(closing, alone, maps, [0, 1, 2], 3)
    closing.replace(np.array([True, False, True]), begin[:, [3]])
    _same_turns(closing, alone, maps, [0, 2, 3], 4)
    closing.replace(np.array([False, False, True]), begin[:, :0])
    _same_turns(closing, alone, maps, [3], 2)


def _same_turns(
    closing: Closing, alone: list[Closing], maps: list[tuple[Array, Array]], which: list[int], turns: int
) -> None:
    """Go on for some turns, and see that each case goes where it would go alone."""
    for _ in range(turns):
        closing.learn(turn([maps[i] for i in which], closing.state))
        for i in which:
            alone[i].learn(turn(maps[i : i + 1], alone[i].state))
        # A runner's weight is the one thing that company decides: it changes the way, not where it leads.
        together = np.concatenate([alone[i].state for i in which], axis=1)
        assert closing.state == pytest.approx(together, rel=2e-3)


def test_a_start_is_not_changed_where_it_came_from():
    begin = SIZE[:, None].copy()
    Closing(begin).state[:] = 0
    assert begin[:, 0].tolist() == SIZE.tolist()


# whole cycles, of a march that is a straight map -------------------------------------------

CYLINDER = shut(4 * DEG)


class StraightMarch:
    """A march whose cycle is a straight map of the case's speed; what it gives beside is made up.

    A case shrinks by its heat level; at 1 it drifts for ever, and it breaks down if that is nan.
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
        self.state[:7] = np.where(level == 1.0, 1.001 * begun, fixed + level * (begun - fixed))
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
        "turns": [StraightMarch.turns[one] for one in speed],
    }
    assert set(wanted) | {"state", "mass_change"} == set(Cycles.__annotations__)
    for name, value in wanted.items():
        assert getattr(found, name)[which] == pytest.approx(value, rel=1e-7), name
    assert found.state[:, which] == pytest.approx(fixed, rel=1e-7)
    assert np.max(found.mass_change[which]) < 1e-9


@pytest.mark.parametrize("at_once", [1, 4, 7, 1200])
def test_cases_come_back_in_their_order_with_what_their_cycle_gave(monkeypatch, march, at_once):
    monkeypatch.setattr("core.breathing.cycle.AT_ONCE", at_once)
    some, told = some_cases(), []
    found = closed_cycles(CYLINDER, some, progress=told.append)
    same_as_the_map(found, some)
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
    assert march.begun[1][:, ~fast] == pytest.approx(near[:, ~fast] / 1.1 * 1.05)


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
    wave = replace(CYLINDER, intake_wave=np.linspace(0.5, 1, CYLINDER.intake_wave.size))
    some = cases([4000, 6000], prescribed=True, ambient_pa=np.array([1e5, 9e4]), intake_wave=0.1)
    state, gas = first_guess(wave, some), CYLINDER.gas
    # Ideal gas at ambient pressure and bottom dead centre, warmed by the walls; then pressed together.
    rt = some.ambient_pa * wave.crank.volume(np.array([np.pi])) / state[MASS]
    assert np.all((rt / gas.r_j_kg_k > 303) & (rt / gas.r_j_kg_k < 403))
    burned = state[BURNED] / state[MASS]
    assert np.all((burned > 0) & (burned < 0.15))
    hot_k = gas.temperature(state[ENERGY] / state[MASS], burned)
    assert np.all((hot_k > 403) & (hot_k < 703))
    # The port: air at the temperature before it, where its wave begins.
    port_pa = some.ambient_pa * (1 + 0.1 * 0.5)
    port_kg = port_pa * some.port_volume_m3 / (gas.r_j_kg_k * 303)
    assert state[PORT_MASS] == pytest.approx(port_kg)
    assert gas.temperature(state[PORT_ENERGY] / state[PORT_MASS], 0.0) == pytest.approx([303.0, 303.0])
    assert np.all(state[[PORT_BURNED, RUNNER]] == 0)
