"""The cam lobe: lifts, durations and the path that the valve takes."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.cam import duration_lift, lift_at, lift_path, net_lift, seat_duration
from core.curve import time_mean_flow
from core.job import CamLobe

AT_VALVE = CamLobe(lift_m=11.2e-3, duration_rad=np.radians(252), at_lift_m=1e-3, at="valve", lash_m=0.2e-3)
AT_TAPPET = CamLobe(
    lift_m=0.35 * 0.0254,
    duration_rad=np.radians(240),
    at_lift_m=0.050 * 0.0254,
    at="tappet",
    rocker_ratio=1.6,
    lash_m=0.020 * 0.0254,
)


def as_table(lobe: CamLobe, n: int = 181, shut_rows: int = 3) -> CamLobe:
    """Return a lobe as a table of its lift, with some rows of the shut valve around it."""
    half = seat_duration(lobe) / 2
    angle = np.linspace(-half, half, n)
    shut = angle[1] - angle[0]
    before, after = -half - shut * np.arange(shut_rows, 0, -1), half + shut * np.arange(1, shut_rows + 1)
    angle = np.concatenate([before, angle, after])
    return CamLobe(table=tuple(zip(angle.tolist(), lift_at(lobe, angle).tolist(), strict=True)))


lobes = st.builds(
    CamLobe,
    lift_m=st.floats(5e-3, 12e-3),
    duration_rad=st.floats(np.radians(180), np.radians(300)),
    at_lift_m=st.floats(0.3e-3, 1.5e-3),
    at=st.sampled_from(["valve", "tappet"]),
    rocker_ratio=st.floats(1.0, 1.8),
    lash_m=st.floats(0, 0.29e-3),
)


def test_lifts_at_the_valve():
    assert net_lift(AT_VALVE) == pytest.approx(11.0e-3)
    assert duration_lift(AT_VALVE) == pytest.approx(1e-3)
    # By hand, in inches: 0.35 * 1.6 - 0.020 = 0.540; 0.050 * 1.6 - 0.020 = 0.060.
    assert net_lift(AT_TAPPET) == pytest.approx(0.540 * 0.0254)
    assert duration_lift(AT_TAPPET) == pytest.approx(0.060 * 0.0254)


def test_seat_duration_by_hand():
    # sqrt(1 - sqrt(1/11)) = sqrt(1 - 0.301511) = 0.835757; 252 / 0.835757 = 301.523 degrees.
    assert np.degrees(seat_duration(AT_VALVE)) == pytest.approx(301.523, abs=5e-4)


@given(lobes)
def test_lift_at_the_ends_of_the_stated_duration(lobe):
    half = lobe.duration_rad / 2
    np.testing.assert_allclose(lift_at(lobe, np.array([-half, half])), duration_lift(lobe), rtol=1e-9)
    assert seat_duration(lobe) > lobe.duration_rad
    assert lift_at(lobe, 0.0) == pytest.approx(net_lift(lobe))
    assert lift_at(lobe, seat_duration(lobe)) == 0


@given(lobes)
def test_path_rises_from_the_seat_to_net_lift_and_back(lobe):
    path = lift_path(lobe)
    assert path.shape == (721,)
    assert path[0] == path[-1] == 0
    assert path.max() == path[360] == pytest.approx(net_lift(lobe))
    np.testing.assert_allclose(path, path[::-1], rtol=0, atol=1e-12)
    assert (np.diff(path[:361]) > 0).all()


@given(lobes)
def test_path_is_the_lift_at_equal_steps_of_crank_angle(lobe):
    half = seat_duration(lobe) / 2
    expected = lift_at(lobe, np.linspace(-half, half, 101))
    np.testing.assert_allclose(lift_path(lobe, 101), expected, rtol=1e-9, atol=1e-15)


def test_mean_lift_over_the_open_period():
    # The mean of (1 - x^2)^2 is 8/15; the trapezoidal rule in 720 steps is off by 1e-12 of it.
    lift = np.linspace(0, 11e-3, 12)[1:]
    mean = time_mean_flow(lift, lift, lift_path(AT_VALVE))
    assert mean == pytest.approx(8 / 15 * 11e-3, rel=1e-10)


@pytest.mark.parametrize("lobe", [AT_VALVE, AT_TAPPET], ids=["at the valve", "at the tappet"])
def test_a_table_of_a_lobe_is_that_lobe(lobe):
    table = as_table(lobe)
    # Straight lines between 180 steps: at most step^2 / 8 times the greatest curvature, 8 L.
    budget = 8 * net_lift(lobe) * (2 / 180) ** 2 / 8
    assert net_lift(table) == pytest.approx(net_lift(lobe), rel=1e-12)
    assert seat_duration(table) == pytest.approx(seat_duration(lobe), rel=1e-12)
    np.testing.assert_allclose(lift_path(table), lift_path(lobe), rtol=0, atol=budget)
    angle = np.linspace(-3, 3, 50)
    np.testing.assert_allclose(lift_at(table, angle), lift_at(lobe, angle), rtol=0, atol=budget)


def test_a_table_in_uneven_steps_is_taken_at_equal_steps_of_angle():
    table = CamLobe(table=((1.0, 0.0), (1.5, 2e-3), (3.0, 8e-3), (4.0, 0.0)))
    # Open from 1 to 4 rad: at 1, 2, 3, 4 by hand.
    np.testing.assert_allclose(lift_path(table, 4), [0, 4e-3, 8e-3, 0], atol=1e-15)
    assert seat_duration(table) == pytest.approx(3.0)


def test_a_table_below_the_seat_is_shut_there():
    # Lash shows as a negative lift: the valve leaves its seat between the rows, here at 1.25 rad.
    table = CamLobe(
        table=((0.0, -1e-3), (1.0, -0.5e-3), (1.5, 0.5e-3), (3.0, 8e-3), (4.5, 0.0), (5.0, -1e-3))
    )
    assert seat_duration(table) == pytest.approx(4.5 - 1.25)
    assert lift_path(table)[0] == 0
    np.testing.assert_allclose(
        lift_at(table, np.array([0.5, 1.2, 1.25, 1.375])), [0, 0, 0, 0.25e-3], atol=1e-12
    )


def test_a_table_that_ends_below_the_seat_shuts_between_its_rows():
    # By hand: the line from 0.5 mm at 3 rad to -0.5 mm at 3.5 rad crosses the seat at 3.25 rad.
    rows = ((0.0, 0.0), (0.75, 4e-3), (1.5, 8e-3), (3.0, 0.5e-3), (3.5, -0.5e-3), (4.0, -1e-3))
    table = CamLobe(table=rows)
    assert seat_duration(table) == pytest.approx(3.25)
    assert lift_path(table)[-1] == 0
    np.testing.assert_allclose(lift_at(table, np.array([3.125, 3.25, 3.4])), [0.25e-3, 0, 0], atol=1e-12)


def test_a_table_from_checking_height_to_checking_height():
    table = CamLobe(table=((0.0, 0.1e-3), (1.0, 6e-3), (2.0, 10e-3), (3.0, 6e-3), (4.0, 0.1e-3)))
    assert net_lift(table) == 10e-3
    assert lift_path(table, 5).tolist() == [0.1e-3, 6e-3, 10e-3, 6e-3, 0.1e-3]
    assert lift_at(table, np.array([-0.1, 0.0, 4.0, 4.1])).tolist() == [0, 0.1e-3, 0.1e-3, 0]


def test_a_duration_that_was_taken_where_the_valve_leaves_its_seat():
    seat = dataclasses.replace(AT_VALVE, at="tappet", at_lift_m=0.2e-3)  # all of it lash
    assert duration_lift(seat) == 0
    assert seat_duration(seat) == pytest.approx(np.radians(252), rel=1e-12)


def test_what_a_card_leaves_out():
    assert net_lift(CamLobe()) is None
    assert lift_path(CamLobe(duration_rad=4.0)) is None
    no_duration = dataclasses.replace(AT_VALVE, duration_rad=None)
    assert seat_duration(no_duration) is None
    assert lift_at(no_duration, 0.0) is None
    np.testing.assert_array_equal(lift_path(no_duration), lift_path(AT_VALVE))
    no_at = dataclasses.replace(AT_VALVE, at_lift_m=None)
    assert duration_lift(no_at) is None
    assert seat_duration(no_at) is None


@pytest.mark.parametrize(
    ("change", "ask", "says"),
    [
        ({"lift_m": 0.1e-3}, net_lift, r"lift x rocker ratio - lash.* is -0\.0001"),
        ({"lift_m": 0.0}, lift_path, "It must be above 0"),
        ({"at_lift_m": 12e-3}, duration_lift, r"taken at 12 mm of valve lift.*below the net lift, 11 mm"),
        ({"at_lift_m": 11e-3}, seat_duration, "must be below the net lift"),
        (
            {"at": "tappet", "at_lift_m": 0.1e-3},
            duration_lift,
            r"valve is -0\.1 mm: 0\.1 mm at the tappet is taken up by 0\.2 mm",
        ),
        ({"duration_rad": 0.0}, seat_duration, "duration_rad is 0"),
        (
            {"table": ((0.0, 0.0), (0.0, 1e-3), (1.0, 0.0))},
            net_lift,
            "^The lift table's crank angles",
        ),
        ({"table": ((0.0, 0.0), (1.0, 0.0))}, lift_path, r"^The lift table never lifts the valve\. It needs"),
        (
            {"table": ((0.0, 5e-3), (1.0, 9e-3), (2.0, 0.0))},
            net_lift,
            r"5 mm open\. It must hold",
        ),
    ],
)
def test_refusals(change, ask, says):
    with pytest.raises(ValueError, match=says):
        ask(dataclasses.replace(AT_VALVE, **change))
