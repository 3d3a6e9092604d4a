"""The next start on the way to a cycle that repeats: straight maps whose fixed point linear algebra gives."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from core.breathing.closing import MEMORY, Closing
from core.breathing.march import (
    BURNED,
    ENERGY,
    MASS,
    PORT_BURNED,
    PORT_ENERGY,
    PORT_MASS,
    RUNNER,
)
from tests.core.cylinders import SIZE

Array = NDArray[np.float64]


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


@pytest.mark.parametrize("all_burned", [False, True])
def test_no_burned_gas_and_nothing_else_are_no_reason_against_a_leap(all_burned):
    begin = SIZE.copy()
    begin[[BURNED, PORT_BURNED]] = begin[[MASS, PORT_MASS]] if all_burned else 0.0
    change = row(ENERGY, 0.01 * SIZE[ENERGY])
    assert after_two(begin, change, 0.9 * change)[ENERGY] == pytest.approx(1.1 * SIZE[ENERGY])


def test_a_runner_may_flow_either_way():
    change = row(RUNNER, -0.5 * SIZE[RUNNER])
    assert after_two(SIZE, change, 0.9 * change)[RUNNER] == pytest.approx(-4 * SIZE[RUNNER])


def test_a_case_that_breaks_down_does_not_touch_the_others():
    slow = SIZE * np.append(np.ones(6), 0.1)  # the other's runner is the faster one: it sets the measure
    maps = [straight_map(6, (0.9, 0.5)), straight_map(7, (0.8, 0.4), slow)]
    alone, both = Closing(closed(maps)[:, :1] * 1.03), Closing(closed(maps) * 1.03)
    for count in range(5):
        alone.learn(turn(maps[:1], alone.state))
        with np.errstate(all="ignore"):
            end = turn(maps, both.state)
        if count >= 2:
            end[:, 1] = np.nan if count % 2 else np.inf
        with np.errstate(all="ignore"):
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
