"""How far a bench repeats itself: pooled mean squares against an analysis of variance."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, inf, sqrt

import numpy as np
import pytest
import scipy.stats

from core.repeats import RepeatedPort, pool
from core.review import review
from tests.core.jobs import BENCH, LIFTS_M, job, noisy_sheets, sheet, truth

FLOW_M3_S = np.array([truth(lift) for lift in LIFTS_M])
FLAT = np.zeros(10)  # a slope of nothing: setting the lift has no effect


def repeated(seed: int, setups: int, of_setup: float = 0.004, of_sweep: float = 0.002) -> RepeatedPort:
    rng = np.random.default_rng(seed)
    noise = of_setup * rng.standard_normal((setups, 1)) + of_sweep * rng.standard_normal((setups, 10))
    return RepeatedPort(FLOW_M3_S * (1 + noise), FLAT)


@pytest.mark.outside
@pytest.mark.parametrize("setups", [2, 3, 6])
def test_mean_squares_against_an_analysis_of_variance(setups):
    """Source: scipy 1.17, f_oneway with set-ups as groups. It leaves m - 1 degrees of freedom to each of n
    sweeps of m lifts; with every lift's own mean taken out there are (n - 1)(m - 1) in all."""
    port = repeated(1, setups)
    scaled = port.flow_m3_s / port.flow_m3_s.mean(axis=0) - 1
    theirs = scipy.stats.f_oneway(*scaled).statistic * (setups - 1) / setups
    ours = pool([port], 0.005, 0.0)
    assert 10 * ours.between / ours.within == pytest.approx(theirs, rel=1e-9)
    assert (ours.setup_dof, ours.sweep_dof, ours.inverse_lifts) == (setups - 1, 9 * (setups - 1), 0.1)
    assert ours.between * 0.005**2 == pytest.approx(np.var(scaled.mean(axis=1), ddof=1), rel=1e-9)


def test_ports_are_pooled_by_their_degrees_of_freedom():
    one, other = repeated(1, 2), repeated(2, 4)
    first, second, both = (pool(ports, 0.005, 0.0) for ports in ([one], [other], [one, other]))
    assert both.between == pytest.approx((first.between + 3 * second.between) / 4)
    assert both.within == pytest.approx((first.within + 3 * second.within) / 4)
    assert (both.setup_dof, both.sweep_dof) == (4, 36)
    # A port that was set up once says nothing of repeats.
    alone = RepeatedPort(one.flow_m3_s[:1], FLAT)
    assert vars(pool([one, alone], 0.005, 0.0)) == vars(first)
    assert pool([alone], 0.005, 0.0).assumed


def test_mean_squares_in_whole_numbers():
    # Two set-ups, 3, 3, 1 and 1 steps above and below their mean: 2 steps of each sweep are common, 1 is not.
    step = 2.0**-10
    up = np.array([3, 3, 1, 1]) * step
    found = pool([RepeatedPort(np.array([1 + up, 1 - up]), np.zeros(4))], step, 0.0)
    assert (found.between, found.within) == (2 * 2**2 / 1, 2 * 4 * 1**2 / 3)
    assert (found.setup_dof, found.sweep_dof, found.inverse_lifts) == (1, 3, 1 / 4)
    assert found.assumed is False


def test_one_lift_says_how_set_ups_differ_and_nothing_of_sweeps():
    one = RepeatedPort(np.array([[0.99], [1.0], [1.01]]), np.zeros(1))
    found = pool([one], 0.005, 0.0)
    assert found.between * 0.005**2 == pytest.approx(0.01**2)  # the sample variance of -1, 0 and 1 %
    assert (found.within, found.setup_dof, found.sweep_dof) == (0.0, 2, inf)
    # Set-ups that share no lift are no repeats of anything, and take nothing from those that are.
    apart = RepeatedPort(np.empty((2, 0)), np.empty(0))
    assert vars(pool([one, apart], 0.005, 0.0)) == vars(found)
    assert pool([apart], 0.005, 0.0).assumed


def test_where_nothing_scatters_nothing_limits_what_is_known():
    scatter = pool([repeated(1, 3)], 0.005, 0.0)
    nothing = scatter.component(np.zeros(2), np.zeros(2))
    assert nothing.variance.tolist() == [0, 0] and nothing.dof.tolist() == [inf, inf]
    of_assumed = pool([], 0.005, 0.0).component(np.zeros(1), np.zeros(1))
    assert of_assumed.variance.tolist() == [0] and of_assumed.dof.tolist() == [inf]


def test_an_assumed_set_up_moves_the_sweep_and_every_lift_is_set_anew():
    """On a straight line through nothing 0.02 mm are 0.02 / L of the flow at L mm. Either stage was set up
    once. Mean over lift by hand, in mm: each reading weighs 1, the last a half, of 10."""
    straight = {name: {lift: f * 20 * lift for lift in LIFTS_M} for name, f in (("a", 1.0), ("b", 1.04))}
    sheets = {name: [sheet(flows, f"{name}.csv")] for name, flows in straight.items()}
    gain = review(job(sheets, benches=(replace(BENCH, lift_setting_m=0.02e-3),))).gains[0]
    ratio, lift_mm = 1.04, 1e3 * np.array(LIFTS_M)
    relative = np.sqrt(2 * 0.005**2 + 2 * (0.02 / lift_mm) ** 2)
    np.testing.assert_allclose(gain.expanded_fraction, 1.959964 * ratio * relative, rtol=1e-6)
    weight = np.append(np.full(9, 0.1), 0.05)
    of_lifts = 0.02 * sqrt(np.sum(weight**2)) / 5  # the mean lift is 5 mm
    expected = 1.959964 * ratio * sqrt(2) * hypot(0.005, of_lifts)
    assert gain.mean.expanded_fraction == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("relative", [0.001, 0.005, 0.02])
def test_the_scale_does_not_matter_where_it_is_one_for_all(relative):
    # It is a shape only; what the repeats say comes out of them.
    scatter, reference = (pool([repeated(3, 3)], r, 0.0) for r in (relative, 0.005))
    of_one = scatter.between * relative**2
    assert of_one == pytest.approx(reference.between * 0.005**2, rel=1e-12)


def test_the_uncertainty_of_a_gain_by_hand():
    """Three set-ups a stage; at one lift both mean squares count, with degrees of freedom weighed by their
    shares, and in the mean over lift nearly the set-ups alone."""
    rng = np.random.default_rng(5)
    sheets = {
        name: noisy_sheets(rng, name, lambda lift, f=f: f * truth(lift), 3, 0.004, 0.003)
        for name, f in (("a", 1.0), ("b", 1.02))
    }
    gain = review(job(sheets, benches=(BENCH,))).gain("b", "intake", "baseline")
    between = within = 0.0
    for stage in sheets.values():
        flow = np.array([[r.flow_m3_s for r in one.readings.intake] for one in stage])
        left = flow / flow.mean(axis=0) - 1
        of_sweep = left.mean(axis=1, keepdims=True)
        between += np.sum(of_sweep**2) / 4
        within += np.sum((left - of_sweep) ** 2) / (4 * 9)
    ratio = 1 + np.array(gain.gain_fraction)
    parts = np.array([between, within * 9 / 10]) * 2 / 3
    dof = parts.sum() / np.sum(parts / [4, 36])
    expected = ratio * scipy.stats.t.ppf(0.975, dof) * sqrt(parts.sum())
    np.testing.assert_allclose(gain.expanded_fraction, expected, rtol=1e-6)
    of_mean = gain.mean.expanded_fraction / (1 + gain.mean.gain_fraction)
    assert of_mean == pytest.approx(scipy.stats.t.ppf(0.975, 4) * sqrt(parts[0]), rel=0.1)
    assert of_mean < min(gain.expanded_fraction / ratio)


@pytest.mark.outside
def test_two_single_results_may_differ_by_the_repeatability_limit():
    """ISO 5725-6:1994, 4.1.4: two single results under repeatability conditions differ by more than
    r = 2.8 s_r in one case of twenty. Its 2.8 is 1.96 x root 2 = 2.77, rounded: the budget is 2 %."""
    repeatability = 0.005
    single = {name: [sheet(dict(zip(LIFTS_M, FLOW_M3_S, strict=True)), f"{name}.csv")] for name in "ab"}
    gain = review(job(single, benches=(replace(BENCH, repeatability=repeatability),))).gains[0]
    assert gain.mean.expanded_fraction == pytest.approx(2.8 * repeatability, rel=0.02)
    assert gain.expanded_fraction[0] == pytest.approx(2.8 * repeatability, rel=0.02)


def test_low_lifts_are_scaled_by_the_setting_of_the_lift():
    # The same 0.02 mm at every lift: relative scatter is large where the curve is steep, and the scaled
    # residuals are alike at all lifts. By hand: sigma^2 = (0.5 % Q)^2 + (0.02 mm Q')^2.
    slope = np.gradient(FLOW_M3_S, LIFTS_M)
    scatter = pool([], 0.005, 0.02e-3)
    expected = np.sqrt((0.005 * FLOW_M3_S) ** 2 + (0.02e-3 * slope) ** 2)
    np.testing.assert_allclose(scatter.sigma(FLOW_M3_S, slope), expected, rtol=1e-12)
    shift = np.array([[-1.0], [0.0], [1.0]]) * 0.02e-3 * slope  # a lift zero that was set anew
    ours = pool([RepeatedPort(FLOW_M3_S + shift, slope)], 1e-6, 0.02e-3)
    assert ours.between == pytest.approx(1, rel=1e-3)
    assert ours.within == pytest.approx(0, abs=1e-3)
