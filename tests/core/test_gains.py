"""A gain's uncertainty and the verdicts of its lifts, from curves made by hand.

The same errors that the curves are given here go into ``uncertainties``, which knows nothing
of curves, ports and scatters.
"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
from uncertainties import covariance_matrix, ufloat

from core.gains import (
    Difference,
    PortSpread,
    Views,
    at_lifts,
    between_lifts,
    compare,
    expanded,
    over_lift,
    over_time,
)
from core.measured import Measured, average
from core.ports import Port
from core.repeats import RepeatedPort, Scatter
from core.uncertainty import DRAWS

LIFTS_M = np.arange(1, 9) * 1e-3
N = LIFTS_M.size
BEFORE_M3_S = 20.0 * LIFTS_M  # a straight line: its mean over lift is that of its trapezia
AFTER_M3_S = BEFORE_M3_S * 1.04
NORMAL = 1.959964  # two-sided 95 %
EXACT = Scatter(1e-12, 0.0, assumed=True)


def measured(
    flow_m3_s: np.ndarray,
    shared: np.ndarray,
    scatter: Scatter = EXACT,
    ports: int = 1,
    lift_m: np.ndarray = LIFTS_M,
) -> Measured:
    """Return the mean of ports with one flow curve, each read once: shared is the relative answer, (n, k)."""
    none = np.zeros_like(flow_m3_s)
    read = [
        Port(
            str(number), "bench", lift_m, flow_m3_s, none, none + 1,
            flow_m3_s[:, None] * shared, 1, RepeatedPort(flow_m3_s[None], none), True,
        )
        for number in range(ports)
    ]  # fmt: skip
    return average(read, {"bench": scatter})


def difference(after: Measured, before: Measured, spread: PortSpread | None = None) -> Difference:
    return Difference(at_lifts(after, LIFTS_M), at_lifts(before, LIFTS_M), spread)


def mean(flow: list) -> object:
    """Return the mean over lift of straight lines from the shut valve on, every step alike."""
    return (sum(flow[:-1]) + flow[-1] / 2) / len(flow)


# --- one gain


@pytest.mark.outside
@pytest.mark.parametrize("ports", [(1, 1), (3, 1), (1, 2), (4, 3)])
def test_every_error_of_a_gain_by_automatic_derivatives(ports):
    """Source: uncertainties 3.2.3. Three shared inputs, set-up and within-sweep errors of every port, and the
    differences among ports. Degrees of freedom: only the last has an end, eq. G.2b of JCGM 100:2008; no
    interval is narrower than theirs alone."""
    rng = np.random.default_rng(4)
    answers = [rng.normal(0, 0.004, (N, 3)) for _ in ports]
    # Over sweeps of 8 lifts B is the variance of a sweep's mean, so of its set-up B - MS_w / 8.
    scatter = Scatter(0.005, 0.0, assumed=False, between=1.3, within=0.5, inverse_lifts=1 / N)
    of_setup, of_sweep = 0.005 * np.sqrt([1.3 - 0.5 / N, 0.5])
    inputs = [ufloat(0, 1) for _ in range(3)]
    flows, of_ports = [], []
    for flow, answer, count in zip((AFTER_M3_S, BEFORE_M3_S), answers, ports, strict=True):
        setups, own = ([ufloat(0, u) for _ in range(count)] for u in (of_setup, 0.02))
        of_ports += own
        flows.append(
            [
                q * (1 + sum(ufloat(0, of_sweep) for _ in setups) / count + sum(setups + own) / count
                     + sum(a * x for a, x in zip(row, inputs, strict=True)))
                for q, row in zip(flow, answer, strict=True)
            ]
        )  # fmt: skip
    after, before = ([*one, mean(one)] for one in flows)
    gain = [a / b - 1 for a, b in zip(after, before, strict=True)]
    absolute = [a - b for a, b in zip(after, before, strict=True)]

    curves = (
        measured(AFTER_M3_S, answers[0], scatter, ports[0]),
        measured(BEFORE_M3_S, answers[1], scatter, ports[1]),
    )
    found = compare(*curves, None, None, PortSpread(0.02, 5), same_thing=True, views=Views())
    for theirs, at_each, of_mean in (
        (gain, found.expanded_fraction, found.mean.expanded_fraction),
        (absolute, found.expanded_m3_s, found.mean.expanded_uncertainty_m3_s),
    ):
        variance = np.array([one.s**2 for one in theirs])
        between_ports = np.array(
            [sum(one.error_components().get(own, 0) ** 2 for own in of_ports) for one in theirs]
        )
        factor = scipy.stats.t.ppf(0.975, 5 * (variance / between_ports) ** 2)
        alone = scipy.stats.t.ppf(0.975, 5) * np.sqrt(between_ports)
        expected = np.maximum(factor * np.sqrt(variance), alone)
        np.testing.assert_allclose([*at_each, of_mean], expected, rtol=1e-9)
    assert found.mean.gain_m3_s == pytest.approx(absolute[-1].n, rel=1e-12)


def test_a_summary_holds_both_flows_and_what_lies_between_them():
    sure = np.full((N, 1), 1e-4)
    for factor, verdict in ((1.04, "clear gain"), (0.96, "clear loss"), (1.0, "too close to call")):
        seen = Difference(
            over_lift(measured(factor * BEFORE_M3_S, sure), 0.008),
            over_lift(measured(BEFORE_M3_S, -sure), 0.008),
            None,
        )
        found = seen.summary(0, same_thing=True)
        # Of a straight line the mean is the flow at half the lift: 80 L/s.
        assert (found.before_m3_s, found.after_m3_s) == pytest.approx((0.08, factor * 0.08))
        assert found.gain_m3_s == pytest.approx((factor - 1) * 0.08, abs=1e-15)
        assert found.gain_fraction == pytest.approx(factor - 1, abs=1e-15)
        # Both move, against each other, by 1e-4 of what they are.
        assert found.expanded_uncertainty_m3_s == pytest.approx(NORMAL * 1e-4 * 0.08 * (1 + factor), rel=1e-6)
        assert found.expanded_fraction == pytest.approx(NORMAL * 2e-4 * factor, rel=1e-6)
        assert found.verdict == verdict
        assert seen.summary(0, same_thing=False).verdict == "too close to call"


def test_means_are_as_uncertain_as_a_straight_line_that_moves_as_one():
    # Flow goes with lift, and every reading answers by 1 %: so does every mean of them. By hand: the middle
    # of 2 to 6 mm is 4 mm, 80 L/s; a lift of 8 mm (1 - x^2) is 16/3 mm in the mean over x, 320/3 L/s.
    curve = measured(BEFORE_M3_S, np.full((N, 1), 0.01))
    parabola = 0.008 * (1 - np.linspace(-1, 1, 20001) ** 2)
    for seen, flow in ((between_lifts(curve, 0.002, 0.006), 0.08), (over_time(curve, parabola), 0.32 / 3)):
        assert seen.flow_m3_s == pytest.approx([flow], rel=1e-6)
        of_all, own = expanded(seen, np.array([False]))
        assert [*of_all, *own] == pytest.approx([NORMAL * 0.01 * flow] * 2, rel=1e-6)


def test_what_all_curves_share_can_be_left_out():
    # 3 % of the scale, which all have, and 1 % of the day, 2 % of the set-up, which they have not.
    answers = np.tile([0.03, 0.01], (N, 1))
    seen = at_lifts(measured(BEFORE_M3_S, answers, Scatter(0.02, 0.0, assumed=True)), LIFTS_M)
    of_all, own = expanded(seen, np.array([True, False])) / BEFORE_M3_S
    assert of_all == pytest.approx([NORMAL * 14**0.5 / 100] * N, rel=1e-6)
    assert own == pytest.approx([NORMAL * 5**0.5 / 100] * N, rel=1e-6)


def test_curves_without_a_lift_in_common_are_compared_and_not_judged():
    # 1 to 8 mm against 1.5 to 7.5 mm: every lift stands between readings of the other.
    every, between = (measured(20 * lift, np.full((lift.size, 1), 1e-4), lift_m=lift)
                      for lift in (LIFTS_M, LIFTS_M[1:] - 0.5e-3))  # fmt: skip
    found = compare(every, between, None, None, None, True, Views())
    assert found.lift_m == pytest.approx(np.arange(2, 16) * 0.5e-3)
    assert found.interpolated.all() and set(found.verdict) == {None}
    assert found.gain_fraction == pytest.approx(np.zeros(14), abs=1e-12)


@pytest.mark.parametrize("cam_mm", [5, 8, 10, 12.5, 13, 16])
def test_readings_up_to_nine_tenths_of_the_cam_are_enough(cam_mm):
    # 0.9 x 10 mm is 1e-18 m more than 9 mm in a computer's digits.
    path = np.linspace(0, cam_mm * 1e-3, 50)

    def cam_weighted(share: float) -> object:
        lifts = np.array([0.5, share]) * cam_mm / 1e3
        curve = measured(20 * lifts, np.full((2, 1), 1e-4), lift_m=lifts)
        return compare(curve, curve, cam_mm * 1e-3, path, None, True, Views()).cam_weighted

    assert cam_weighted(0.9).gain_fraction == pytest.approx(0, abs=1e-12)
    assert cam_weighted(0.899) is None


# --- the family of lifts


def stepped_down(score: np.ndarray, correlation: np.ndarray) -> np.ndarray:
    """Return the adjusted p values of normal scores: each against the largest of those not above it."""
    order, adjusted, so_far = np.argsort(-np.abs(score)), np.empty(score.size), 0.0
    for step, test in enumerate(order):
        rest, edge = order[step:], np.full(score.size - step, abs(score[test]))
        inside = scipy.stats.multivariate_normal.cdf(
            edge, cov=correlation[np.ix_(rest, rest)], lower_limit=-edge, allow_singular=True, abseps=1e-4
        )
        so_far = max(so_far, 1 - inside)
        adjusted[test] = so_far
    return adjusted


@pytest.mark.outside
@pytest.mark.parametrize(
    "spread",
    [None, PortSpread(0.005, np.inf), PortSpread(0.02, np.inf)],
    ids=["same port", "ports alike", "ports apart"],
)
@pytest.mark.parametrize("noisy", ["after", "before"])
def test_a_family_of_lifts_is_adjusted_for_the_largest_of_normal_scores(noisy, spread):
    """Source: uncertainties 3.2.3 for the correlation, scipy 1.17 for the multivariate normal, the step-down
    written out above. One stage errs lift by lift, the other as a whole. Budget: four standard deviations
    of the share of DRAWS draws, and 1e-3 for scipy's own integral."""
    whole, single = np.full((N, 1), 0.008), 0.005 * np.eye(N)
    none = np.zeros((N, N + 1))
    alone = {"after": none.copy(), "before": none.copy()}
    alone[noisy][:, 1:] = single
    alone["before" if noisy == "after" else "after"][:, :1] = whole
    inputs = [ufloat(0, 1) for _ in range(N + 1)]
    of_ports = {name: 0.0 if spread is None else ufloat(0, spread.relative) for name in alone}
    after, before = (
        [q * (1 + of_ports[name] + sum(s * x for s, x in zip(row, inputs, strict=True)))
         for q, row in zip(flow, alone[name], strict=True)]
        for name, flow in (("after", AFTER_M3_S), ("before", BEFORE_M3_S))
    )  # fmt: skip
    theirs = np.array(covariance_matrix([a / b - 1 for a, b in zip(after, before, strict=True)]))
    u = np.sqrt(np.diag(theirs))
    # Gains at which the single tests are clear and Holm's bound is not.
    score = np.linspace(2.05, 2.3, N)
    ours = difference(measured(AFTER_M3_S, alone["after"]), measured(BEFORE_M3_S, alone["before"]), spread)
    np.testing.assert_allclose(ours.standard, u, rtol=1e-9)
    ours.fraction = score * u  # what the family does is not a matter of the gain's own size
    ours.p_value = 2 * scipy.stats.norm.sf(score)
    expected = stepped_down(score, theirs / np.outer(u, u))
    budget = 4 * np.sqrt(expected * (1 - expected) / DRAWS) + 1e-3
    adjusted = ours.family_p(np.arange(N))
    assert (np.abs(adjusted - expected) <= budget).all(), (adjusted, expected)


@pytest.mark.parametrize("slope", [0.0, 0.03])
def test_what_cancels_lift_by_lift_does_not_make_a_family_of_many(slope):
    """Every lift has a large error of its own that both stages share, which a relative gain is rid of; what
    is left is one set-up that moved all lifts, so that eight tests are one. Budget: a step of the draws."""
    both = np.diag(np.linspace(0.05, 0.08, N))
    one_setup = np.full((N, 1), 0.02)
    after = measured(AFTER_M3_S * (1 + slope * LIFTS_M / 0.008), np.hstack([both, one_setup]))
    before = measured(BEFORE_M3_S, np.hstack([both, 0 * one_setup]))
    ours = difference(after, before)
    ours.fraction = 2.2 * ours.standard
    ours.p_value = np.full(N, 2 * scipy.stats.norm.sf(2.2))
    assert ours.family_p(np.arange(N)) == pytest.approx(ours.p_value, abs=1.5 / DRAWS)
    # Judged among fewer, each still stands for what it is.
    assert ours.family_p(np.array([1, 4])) == pytest.approx(ours.p_value[:2], abs=1.5 / DRAWS)
