"""A flow curve over lift: its shape, its means, and where it ends."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator

from core.curve import interpolate, mean_flow, mean_weights, time_mean_flow, time_weights

LIFT_M = np.arange(1, 13) / 1e3
FLOW_M3_S = 0.11 * np.tanh(LIFT_M / 6e-3)
SET_M3_S = np.column_stack([FLOW_M3_S, 1.05 * FLOW_M3_S, FLOW_M3_S + 0.003 * np.sin(900 * LIFT_M)])


def lobe(top_m: float, n: int = 721) -> np.ndarray:
    """Return a path of lift that is shut at both ends."""
    return top_m * (1 - np.linspace(-1, 1, n) ** 2) ** 2


@st.composite
def curves(draw, rising: bool = False):
    """Lifts in m and flows in m3/s of one curve, from 1 to 16 readings."""
    n = draw(st.integers(1, 16))
    lift = np.cumsum(draw(st.lists(st.floats(2e-4, 2e-3), min_size=n, max_size=n)))
    flow = np.array(draw(st.lists(st.integers(0, 200_000), min_size=n, max_size=n))) / 1e6
    return lift, np.cumsum(flow) if rising else flow


# --- the curve itself


@pytest.mark.outside
@given(curves())
def test_same_as_scipy_with_the_shut_valve_before_it(curve):
    # scipy's PchipInterpolator, called as its documentation shows; only rounding may differ.
    lift, flow = curve
    theirs = PchipInterpolator([0, *lift], [0, *flow])
    at = np.linspace(0, lift[-1], 57)
    np.testing.assert_allclose(interpolate(lift, flow, at), theirs(at), rtol=1e-12, atol=1e-15)


@pytest.mark.outside
def test_slopes_after_fritsch_and_butland():
    # Fritsch, Butland (1984), eq. 5, for equal steps: the slope at an inner reading is the
    # harmonic mean of its neighbours' and zero at a turn. Slopes taken by a central difference
    # over 2e-7 m, whose error is its square times the third derivative: 1e-6 of the slope.
    flow = np.array([0.02, 0.05, 0.06, 0.055, 0.07])
    lift = np.arange(1, 6) / 1e3
    chords = np.diff([0, *flow]) / 1e-3
    expected = [2 * a * b / (a + b) if a * b > 0 else 0.0 for a, b in pairwise(chords)]
    h = 1e-7
    slopes = (interpolate(lift, flow, lift[:-1] + h) - interpolate(lift, flow, lift[:-1] - h)) / (2 * h)
    np.testing.assert_allclose(slopes, expected, rtol=1e-3, atol=1e-3 * chords.max())


@given(curves())
def test_never_overshoots_between_two_readings(curve):
    lift, flow = curve
    nodes, ends = np.array([0, *lift]), np.array([0, *flow])
    at = np.sort(np.concatenate([np.linspace(0, lift[-1], 301), nodes]))
    inside = interpolate(lift, flow, at)
    span = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, lift.size - 1)
    room = 1e-12 * max(ends.max(), 1e-3)  # rounding
    assert (inside >= np.minimum(ends[span], ends[span + 1]) - room).all()
    assert (inside <= np.maximum(ends[span], ends[span + 1]) + room).all()


@given(curves(rising=True))
def test_rising_readings_stay_rising(curve):
    lift, flow = curve
    inside = interpolate(lift, flow, np.linspace(0, lift[-1], 301))
    assert (np.diff(inside) >= -1e-12 * max(flow[-1], 1e-3)).all()


@given(curves())
def test_goes_through_the_readings_and_ends_with_them(curve):
    lift, flow = curve
    np.testing.assert_allclose(interpolate(lift, flow, lift), flow, rtol=1e-12, atol=1e-15)
    assert interpolate(lift, flow, 0.0) == 0
    outside = [-1e-6, lift[-1] + 1e-6, 1.0, np.nan]
    assert np.isnan(interpolate(lift, flow, outside)).all()


def test_one_lift_converted_on_two_ways_is_one_lift():
    top = 0.5 * 0.0254
    at = np.nextafter(top, 1)
    assert interpolate([0.005, top], [0.05, 0.08], at) == pytest.approx(0.08, rel=1e-12)
    assert mean_flow([0.005, top], [0.05, 0.08], at) > 0
    assert mean_weights([0.005, top], at).sum() > 0


def test_one_reading_is_a_straight_line():
    np.testing.assert_allclose(interpolate([0.004], [0.06], [0.0, 0.001, 0.004]), [0, 0.015, 0.06])
    assert mean_flow([0.004], [0.06], 0.004) == pytest.approx(0.03)


def test_no_reading_is_no_number():
    assert np.isnan(interpolate([], [], [0.0, 0.001])).all()
    assert np.isnan(interpolate([0.001], [np.nan], 0.001))
    assert np.isnan(mean_flow([], [], 0.005))
    assert np.isnan(time_mean_flow([0.001], [np.nan], lobe(0.01)))
    assert mean_weights([], 0.005).shape == time_weights([], lobe(0.01)).shape == (0,)


def test_a_reading_not_taken_is_left_out():
    gap = FLOW_M3_S.copy()
    gap[[3, 11]] = np.nan
    kept = ~np.isnan(gap)
    at = np.linspace(0, 0.0115, 24)
    expected = interpolate(LIFT_M[kept], FLOW_M3_S[kept], at)
    np.testing.assert_array_equal(interpolate(LIFT_M, gap, at), expected)
    assert np.isnan(expected[-1])  # the top reading is one of those not taken
    assert mean_flow(LIFT_M, gap, 0.01) == mean_flow(LIFT_M[kept], FLOW_M3_S[kept], 0.01)


def test_a_leak_at_zero_lift_is_no_part_of_the_curve():
    lift, flow = np.append(0, LIFT_M), np.append(0.002, FLOW_M3_S)
    at = np.linspace(0, 0.012, 25)
    np.testing.assert_array_equal(interpolate(lift, flow, at), interpolate(LIFT_M, FLOW_M3_S, at))
    assert mean_weights(lift, 0.01)[0] == time_weights(lift, lobe(0.01))[0] == 0
    np.testing.assert_array_equal(mean_weights(lift, 0.01)[1:], mean_weights(LIFT_M, 0.01))


# --- several curves at once


def test_a_set_of_curves_is_each_of_them():
    at, path = np.linspace(0, 0.0125, 26), lobe(0.0128)
    together = interpolate(LIFT_M, SET_M3_S, at)
    assert together.shape == (26, 3)
    assert interpolate(LIFT_M, SET_M3_S, 0.005).shape == (3,)
    for k, flow in enumerate(SET_M3_S.T):
        np.testing.assert_allclose(together[:, k], interpolate(LIFT_M, flow, at), rtol=1e-13)
        assert mean_flow(LIFT_M, SET_M3_S, 0.01)[k] == pytest.approx(mean_flow(LIFT_M, flow, 0.01))
        assert time_mean_flow(LIFT_M, SET_M3_S, path)[k] == pytest.approx(time_mean_flow(LIFT_M, flow, path))


def test_what_is_remembered_is_not_changed_from_outside():
    at = np.array([0.0045])
    first = interpolate(LIFT_M, FLOW_M3_S, at)
    first[:] = 99.0
    assert interpolate(LIFT_M, FLOW_M3_S, at) != 99.0
    with pytest.raises(ValueError, match="read-only"):
        mean_weights(LIFT_M, 0.01)[:] = 0
    flow = FLOW_M3_S.copy()
    before = mean_flow(LIFT_M, flow, 0.01)
    flow *= 2
    assert mean_flow(LIFT_M, flow, 0.01) == pytest.approx(2 * before)


# --- means


@pytest.mark.outside
@given(curves(), st.floats(0.05, 1.0))
def test_mean_over_lift_against_quadrature(curve, share):
    # scipy's adaptive quadrature (its own bound 1e-8 absolute) of scipy's interpolant.
    lift, flow = curve
    top = share * lift[-1]
    theirs = PchipInterpolator([0, *lift], [0, *flow])
    edges = [0, *lift[lift < top], top]
    area = sum(quad(theirs, a, b)[0] for a, b in pairwise(edges))
    assert mean_flow(lift, flow, top) == pytest.approx(area / top, rel=1e-9, abs=1e-12)


def test_mean_of_a_straight_line_is_half_its_top():
    assert mean_flow(LIFT_M, 8 * LIFT_M, 0.0115) == pytest.approx(8 * 0.0115 / 2, rel=1e-12)


def test_time_mean_of_a_straight_line_in_closed_form():
    # The mean of (1 - x^2)^2 over -1 to 1 is 1 - 2/3 + 1/5 = 8/15. The trapezoidal rule in 720
    # steps is off by its Euler-Maclaurin term h^4/720 [f'''] with f''' = 24x and h = 1/360, over 2.
    flow = 8 * LIFT_M
    budget = 48 / 720 / 360**4 / 2
    assert time_mean_flow(LIFT_M, flow, lobe(0.012)) == pytest.approx(
        8 * 0.012 * 8 / 15, abs=8 * 0.012 * budget * 1.01
    )


def test_the_ends_of_a_path_count_half():
    # A path from 2 to 10 mm in equal steps, of a straight line: its mean is that at 6 mm.
    path = np.linspace(2e-3, 10e-3, 5)
    assert time_mean_flow(LIFT_M, 8 * LIFT_M, path) == pytest.approx(8 * 6e-3, rel=1e-12)
    uneven = [0.0, 4e-3, 4e-3, 2e-3]  # by hand: (0/2 + 4 + 4 + 2/2) / 3 = 3 mm
    assert time_mean_flow(LIFT_M, 8 * LIFT_M, uneven) == pytest.approx(8 * 3e-3, rel=1e-12)
    assert time_weights(LIFT_M, uneven) @ LIFT_M == pytest.approx(3e-3, rel=1e-12)


def test_time_mean_holds_the_flow_above_the_last_reading():
    # Up to 6 mm straight, held from there on to 12 mm: L passes half of its top at
    # x = sqrt(1 - sqrt(1/2)); below by the integral of (1 - x^2)^2, above a constant.
    x = np.sqrt(1 - np.sqrt(0.5))
    below = (1 - x) - 2 / 3 * (1 - x**3) + (1 - x**5) / 5
    expected = 8 * (0.012 * below + 0.006 * x)
    short = LIFT_M[:6]
    # The kink costs the trapezoidal rule at most step^2 / 8 times the jump in slope, twice over.
    jump = 8 * 0.012 * 4 * x * (1 - x**2)
    assert time_mean_flow(short, 8 * short, lobe(0.012)) == pytest.approx(expected, abs=jump / 360**2 / 8)


def test_time_mean_against_a_fine_path():
    # Trapezoidal error falls with the square of the step at least: from 721 to 14401 points by 400.
    coarse, fine = (time_mean_flow(LIFT_M, FLOW_M3_S, lobe(0.0118, n)) for n in (721, 14401))
    assert coarse == pytest.approx(fine, rel=1e-6)


@given(curves(), st.floats(0.05, 1.0))
def test_means_lie_within_the_readings(curve, share):
    lift, flow = curve
    for mean in (mean_flow(lift, flow, share * lift[-1]), time_mean_flow(lift, flow, lobe(share * lift[-1]))):
        assert -1e-12 <= mean <= flow.max() * (1 + 1e-12)


# --- weights of the readings


@given(curves(), st.floats(0.05, 1.0))
def test_mean_weights_are_those_of_straight_lines(curve, share):
    lift, flow = curve
    top = share * lift[-1]
    nodes = np.array([0, *lift[lift < top], top])
    lines = np.interp(nodes, [0, *lift], [0, *flow])
    expected = np.sum((lines[1:] + lines[:-1]) / 2 * np.diff(nodes)) / top
    assert mean_weights(lift, top) @ flow == pytest.approx(expected, rel=1e-9, abs=1e-15)


@given(curves(), st.floats(0.05, 1.5))
def test_time_weights_are_those_of_straight_lines(curve, share):
    lift, flow = curve
    path = lobe(share * lift[-1], 241)
    lines = np.interp(path, [0, *lift], [0, *flow])  # holds the last reading above it
    expected = np.sum((lines[1:] + lines[:-1]) / 2) / 240
    assert time_weights(lift, path) @ flow == pytest.approx(expected, rel=1e-9, abs=1e-15)


@given(curves(), st.floats(0.05, 1.5))
def test_weights_share_out_no_more_than_the_whole(curve, share):
    lift, _ = curve
    for weights in (mean_weights(lift, min(share, 1) * lift[-1]), time_weights(lift, lobe(share * lift[-1]))):
        assert (weights >= 0).all()
        assert weights.sum() <= 1 + 1e-12  # the rest lies on the shut valve


@pytest.mark.parametrize(
    "weights", [lambda lift: mean_weights(lift, 0.009), lambda lift: time_weights(lift, lobe(0.009))]
)
def test_a_reading_of_the_shut_valve_weighs_nothing(weights):
    """The valve is shut there, whatever leaks; the others weigh what they weigh without it."""
    shut, *others = weights(np.append(0, LIFT_M[LIFT_M > 0]))
    assert shut == 0
    assert others == pytest.approx(weights(LIFT_M[LIFT_M > 0]))


def test_weights_come_near_the_curves_own_mean():
    assert mean_weights(LIFT_M, 0.011) @ FLOW_M3_S == pytest.approx(
        mean_flow(LIFT_M, FLOW_M3_S, 0.011), rel=0.01
    )
    path = lobe(0.0115)
    assert time_weights(LIFT_M, path) @ FLOW_M3_S == pytest.approx(
        time_mean_flow(LIFT_M, FLOW_M3_S, path), rel=0.01
    )


def gradient(mean: Callable[[np.ndarray], float]) -> np.ndarray:
    """Return the change of a mean for a change of each reading, by central differences."""
    return np.array([(mean(FLOW_M3_S + step) - mean(FLOW_M3_S - step)) / 2e-7 for step in 1e-7 * np.eye(12)])


@pytest.mark.outside
def test_mean_weights_differ_from_the_curves_own_at_its_ends_alone():
    """A cubic over a step h holds h^2/12 times the fall of its slope more than a straight line; over equal
    steps that leaves h^2/12 (first slope - last slope). End slopes after Fritsch and Butland (1984)
    are (3 s1 - s2) / 2, so that h^2/12 times them weighs the first readings with h/6 and -h/24 and
    the last three, from the top, with -h/8, h/6 and -h/24. Budget: 1e-4 h, for differences of 1e-7 m3/s."""
    top, h = LIFT_M[-1], LIFT_M[0]
    own = gradient(lambda flow: mean_flow(LIFT_M, flow, top))
    ends = np.zeros(12)
    ends[[0, 1, -3, -2, -1]] = np.array([1 / 6, -1 / 24, -1 / 24, 1 / 6, -1 / 8]) * h / top
    np.testing.assert_allclose(own - mean_weights(LIFT_M, top), ends, rtol=0, atol=1e-4 * h / top)


@pytest.mark.outside
def test_weights_add_up_errors_as_the_curve_does():
    """Source: central differences of scipy's interpolant. Budget: a tenth of the uncertainty of a mean from
    independent readings (known no better than that below 50 degrees of freedom), and 0.5 % of that
    from errors that go with the flow."""
    for top in (0.011, 0.0115, 0.012):
        path = lobe(top)
        for own, weights in (
            (gradient(lambda flow, top=top: mean_flow(LIFT_M, flow, top)), mean_weights(LIFT_M, top)),
            (
                gradient(lambda flow, path=path: time_mean_flow(LIFT_M, flow, path)),
                time_weights(LIFT_M, path),
            ),
        ):
            assert np.linalg.norm(weights) == pytest.approx(np.linalg.norm(own), rel=0.1)
            assert weights @ FLOW_M3_S == pytest.approx(own @ FLOW_M3_S, rel=5e-3)


# --- where there is no number, and refusals


def test_no_mean_beyond_the_readings():
    assert np.isnan(mean_flow(LIFT_M, FLOW_M3_S, 0.0121))
    assert np.isnan(mean_flow(LIFT_M, SET_M3_S, 0.0121)).all()
    assert np.isnan(mean_weights(LIFT_M, 0.0121)).all()


def test_arguments_may_be_named():
    named = mean_weights(lift_m=LIFT_M, top_m=0.01)
    np.testing.assert_array_equal(named, mean_weights(LIFT_M, 0.01))
    np.testing.assert_array_equal(
        time_weights(LIFT_M, lift_path_m=lobe(0.01)), time_weights(LIFT_M, lobe(0.01))
    )


def test_refusals():
    with pytest.raises(ValueError, match=r"lift_m is \[0\.002, 0\.001\]\. Lifts must rise"):
        interpolate([0.002, 0.001], [0.1, 0.2], 0.001)
    with pytest.raises(ValueError, match="Lifts must rise"):
        mean_weights([0.001, 0.001], 0.001)
    with pytest.raises(ValueError, match="Lifts must rise"):
        time_weights([0.001, np.nan], lobe(0.01))
    with pytest.raises(ValueError, match=r"lift_m is between -0\.001 and 0\.002"):
        interpolate([-0.001, 0.002], [0.1, 0.2], 0.001)
    with pytest.raises(ValueError, match=r"shape \(3,\).*one row for each of 2 lifts"):
        interpolate([0.001, 0.002], [0.1, 0.2, 0.3], 0.001)
    with pytest.raises(ValueError, match="gaps must be given one by one"):
        interpolate([0.001, 0.002], [[0.1, np.nan], [0.2, 0.3]], 0.001)
    with pytest.raises(ValueError, match="top_m is 0"):
        mean_flow(LIFT_M, FLOW_M3_S, 0.0)
    with pytest.raises(ValueError, match="top_m is -1"):
        mean_weights(LIFT_M, -1.0)
    with pytest.raises(ValueError, match="lift_path_m is between -"):
        time_mean_flow(LIFT_M, FLOW_M3_S, [0.0, -0.001, 0.0])
    with pytest.raises(ValueError, match="lift_path_m has 1 values"):
        time_weights(LIFT_M, [0.001])
