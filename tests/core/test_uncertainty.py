"""Propagation, coverage and verdicts: the GUM's own examples, other libraries, and known properties."""

from __future__ import annotations

from dataclasses import replace
from math import floor, inf, pi, sqrt, tan

import numpy as np
import pytest
import scipy.stats
import uncertainties
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import umath

from core.job import Sides
from core.results import Gain
from core.review import review
from core.uncertainty import (
    DRAWS,
    Component,
    chance,
    combine,
    coverage_factor,
    expanded_uncertainty,
    family_p,
    holm,
    propagate,
    sensitivities,
    two_sided_p,
    variances,
    verdict,
)
from tests.core.jobs import BENCH, job, sheet
from tests.reference import reference

KNOWN = reference("uncertainty")
CFM_M3_S = 0.3048**3 / 60  # the foot is exact

samples = st.lists(st.floats(-10, 10), min_size=2, max_size=8).filter(lambda x: np.std(x) > 1e-3)
p_values = st.lists(st.floats(0, 1), min_size=1, max_size=12)


# --- the GUM's examples


@pytest.mark.outside
def test_gum_h1_end_gauge():
    """Source: JCGM 100:2008, H.1 (inputs from memory). Printed to whole nanometres; the GUM cuts 16.7 degrees
    of freedom to 16 and expands the rounded 32 nm, and so does this test."""
    inputs, printed = KNOWN["h1"]["inputs"], KNOWN["h1"]["printed"]
    parts = inputs["difference_nm"]["parts"]
    u, dof = combine([Component(np.array(part["u"] ** 2.0), part["dof"]) for part in parts])
    assert round(float(u), 1) == inputs["difference_nm"]["u_printed"]
    # The GUM puts its rounded 9.7 nm into the fourth power; here the unrounded 9.68 nm goes on.
    as_printed = dof * (inputs["difference_nm"]["u_printed"] / u) ** 4
    assert round(float(as_printed), 1) == inputs["difference_nm"]["dof_printed"]
    uncertainty = {name: one.get("u", u) for name, one in inputs.items()}
    freedom = {name: one.get("dof", dof) or inf for name, one in inputs.items()}

    def length(x: np.ndarray) -> np.ndarray:
        standard, difference, expansion, temperature, d_expansion, d_temperature = x
        return np.array(
            [standard + difference - standard * (d_expansion * temperature + expansion * d_temperature)]
        )

    values = np.array([one["value"] for one in inputs.values()])
    effects = sensitivities(length, values, np.array(list(uncertainty.values())))
    assert np.abs(effects[0]) == pytest.approx(printed["parts_nm"], abs=0.1)
    variance = propagate(effects)[0, 0]
    assert variances(effects)[0] == pytest.approx(variance, rel=1e-12)
    u_c, dof_c = combine(
        [Component(effect**2, nu) for effect, nu in zip(effects[0], freedom.values(), strict=True)]
    )
    assert u_c**2 == pytest.approx(variance, rel=1e-12)
    assert length(values)[0] == printed["length_nm"]
    assert round(float(u_c)) == printed["u_nm"]
    assert floor(dof_c) == printed["dof"]
    factor = coverage_factor(floor(dof_c), 0.99)
    assert factor == pytest.approx(printed["t99"], abs=0.005)
    assert round(float(factor * round(float(u_c)))) == printed["expanded_nm"]


def impedance(x: np.ndarray) -> np.ndarray:
    voltage, current, phase = x
    return voltage / current * np.array([np.cos(phase), np.sin(phase), np.ones_like(phase)])


H2 = np.array([KNOWN["h2"]["voltage_v"], KNOWN["h2"]["current_ma"], KNOWN["h2"]["phase_rad"]])
H2[1] /= 1e3


@pytest.mark.outside
def test_gum_h2_resistance_and_reactance():
    """Source: JCGM 100:2008, H.2, tables H.2 to H.4. The GUM works with rounded inputs (u = 0.0032 V, r =
    -0.36 ...), which moves its last printed digit by up to one: the budget."""
    means, correlation = H2.mean(axis=1), np.corrcoef(H2)
    u = H2.std(axis=1, ddof=1) / sqrt(5)
    covariance = propagate(sensitivities(impedance, means, u), correlation)
    printed, spread = KNOWN["h2"]["printed"], np.sqrt(np.diag(covariance))
    assert impedance(means) == pytest.approx(printed["values"], abs=5e-4)
    assert spread == pytest.approx(printed["u"], abs=1e-3)
    for pair, expected in printed["correlation"].items():
        i, j = map(int, pair)
        assert covariance[i, j] / spread[i] / spread[j] == pytest.approx(expected, abs=1e-3)


@pytest.mark.outside
def test_gum_h2_against_uncertainties():
    """Source: uncertainties 3.2.3 with automatic derivatives. Ours are differences over one u, which err by
    (u / x)^2 or u^2 / 6 of a phase: 5e-7. Budget 1e-6."""
    means, covariance = H2.mean(axis=1), np.cov(H2) / 5
    voltage, current, phase = uncertainties.correlated_values(means, covariance)
    z = voltage / current
    theirs = np.array(uncertainties.covariance_matrix([z * umath.cos(phase), z * umath.sin(phase), z]))
    u = np.sqrt(np.diag(covariance))
    ours = propagate(sensitivities(impedance, means, u), covariance / np.outer(u, u))
    scale = np.sqrt(np.outer(np.diag(theirs), np.diag(theirs)))
    np.testing.assert_allclose(ours, theirs, rtol=0, atol=1e-6 * scale.max())


@pytest.mark.outside
def test_gum_5_2_2_ten_resistors_of_one_standard():
    """Source: JCGM 100:2008, 5.2.2, example (from memory): the standard is one input, its effects add up."""
    known = KNOWN["resistors"]

    def in_series(standard: np.ndarray) -> np.ndarray:
        return np.sum(np.ones((10, 1)) * standard, axis=0, keepdims=True)

    shared = propagate(sensitivities(in_series, [1000.0], [0.1]))
    assert sqrt(shared[0, 0]) == pytest.approx(known["u_ohm"], rel=1e-9)
    apart = propagate(sensitivities(in_series, np.full(10, 1000.0), np.full(10, 0.1)))
    assert round(sqrt(apart[0, 0]), 2) == known["u_if_independent_ohm"]


@pytest.mark.outside
def test_gum_g4_effective_degrees_of_freedom():
    """Source: JCGM 100:2008, G.4.1, example (from memory), to the digits printed."""
    known = KNOWN["g4"]
    parts = [Component(np.array(u**2), dof) for u, dof in zip(known["u"], known["dof"], strict=True)]
    u, dof = combine(parts)
    printed = known["printed"]
    assert round(float(u), 2) == printed["u"]
    assert round(float(dof), 1) == printed["dof"]
    assert round(float(coverage_factor(dof)), 2) == printed["t95"]
    assert round(float(coverage_factor(dof) * u), 1) == printed["expanded"]


def test_components_without_end_leave_degrees_of_freedom_without_end():
    u, dof = combine([Component(np.array([4.0, 0.0])), Component(np.array([5.0, 0.0]), 7)])
    assert u == pytest.approx([3, 0])
    assert dof[0] == pytest.approx(7 * (9 / 5) ** 2)
    assert combine([Component(np.array(4.0))])[1] == inf
    assert dof[1] == inf  # nothing is uncertain there


# --- Student's t


@pytest.mark.outside
@pytest.mark.parametrize("case", KNOWN["t"]["cases"], ids=lambda case: f"{case['dof']}-{case['level']}")
def test_coverage_factor_against_a_table(case):
    assert coverage_factor(case["dof"], case["level"]) == pytest.approx(case["t"], rel=1e-9)


@pytest.mark.outside
@pytest.mark.parametrize("level", [0.5, 0.6827, 0.95, 0.99])
def test_coverage_factor_in_closed_form(level):
    """Source: Student's distribution integrated by hand for 1, 2 and 4 degrees of freedom (from memory), and
    the normal one for many, by scipy's own quantile."""
    assert coverage_factor(1, level) == pytest.approx(tan(pi / 2 * level), rel=1e-12)
    assert coverage_factor(2, level) == pytest.approx(level * sqrt(2 / (1 - level**2)), rel=1e-12)
    # F(t) = 1/2 + 3/8 s (1 - s^2 / 12), s = t / sqrt(1 + t^2 / 4).
    s = coverage_factor(4, level) / sqrt(1 + coverage_factor(4, level) ** 2 / 4)
    assert 3 / 4 * s * (1 - s**2 / 12) == pytest.approx(level, rel=1e-12)
    assert coverage_factor(inf, level) == pytest.approx(scipy.stats.norm.ppf(0.5 + level / 2), rel=1e-9)


@pytest.mark.outside
@given(samples, samples)
def test_unpooled_components_are_welchs_test(one, other):
    """Source: scipy 1.17, ttest_ind(equal_var=False). A component for each mean; only rounding differs."""
    u, dof = combine([Component(np.var(x, ddof=1) / len(x), len(x) - 1) for x in (one, other)])
    theirs = scipy.stats.ttest_ind(one, other, equal_var=False)
    assert dof == pytest.approx(theirs.df, rel=1e-9)
    difference = np.mean(one) - np.mean(other)
    assert two_sided_p(difference, u, dof) == pytest.approx(theirs.pvalue, rel=1e-6, abs=1e-12)
    interval = theirs.confidence_interval(0.95)
    assert coverage_factor(dof) * u == pytest.approx((interval.high - interval.low) / 2, rel=1e-9)


@pytest.mark.outside
@given(samples, samples)
def test_one_pooled_component_is_students_test(one, other):
    """Source: scipy 1.17, ttest_ind(equal_var=True): one estimate serves both means, as one component."""
    freedom = len(one) + len(other) - 2
    pooled = (np.var(one) * len(one) + np.var(other) * len(other)) / freedom
    u, dof = combine([Component(pooled * (1 / len(one) + 1 / len(other)), freedom)])
    theirs = scipy.stats.ttest_ind(one, other)
    assert dof == pytest.approx(freedom, rel=1e-12)
    difference = np.mean(one) - np.mean(other)
    assert two_sided_p(difference, u, dof) == pytest.approx(theirs.pvalue, rel=1e-6, abs=1e-12)


@pytest.mark.outside
def test_welch_worked_out_once():
    known = KNOWN["welch"]
    before, after = known["before"], known["after"]
    u, dof = combine([Component(np.var(x, ddof=1) / 3, 2) for x in (before, after)])
    gain = np.mean(after) - np.mean(before)
    assert (gain / u, dof) == pytest.approx((known["t"], known["dof"]), rel=1e-9)
    assert two_sided_p(gain, u, dof) == pytest.approx(known["p"], rel=1e-6)


def test_nothing_measured_twice_to_every_digit_is_no_evidence():
    assert two_sided_p(0.0, 0.0, 4) == 1
    assert two_sided_p(1.0, 0.0, 4) == 0


# --- families of tests


@pytest.mark.outside
@pytest.mark.parametrize("case", KNOWN["holm"]["cases"], ids=lambda case: f"{len(case['p'])} tests")
def test_holm_as_printed(case):
    assert holm(case["p"]) == pytest.approx(case["adjusted"], rel=1e-12)


@pytest.mark.outside
@given(p_values, st.floats(0.001, 0.5))
def test_holm_rejects_what_his_own_procedure_rejects(p, level):
    """Source: Holm (1979): go up from the smallest of n p values, compare the k-th with level / (n - k + 1),
    stop at the first that is larger."""
    rejected = set()
    for step, index in enumerate(np.argsort(p, kind="stable")):
        if p[index] * (len(p) - step) > level:
            break
        rejected.add(int(index))
    assert {index for index, adjusted in enumerate(holm(p)) if adjusted <= level} == rejected


@pytest.mark.outside
@given(p_values)
def test_holm_lies_between_the_single_test_and_bonferroni(p):
    """Source: Holm (1979): uniformly more powerful than Bonferroni's n p."""
    adjusted = holm(p)
    assert (adjusted >= p).all()
    assert (adjusted <= np.minimum(1, len(p) * np.array(p)) * (1 + 1e-12)).all()
    assert adjusted.min() == pytest.approx(min(1, len(p) * min(p)))


def scores(p: np.ndarray, dof: float) -> np.ndarray:
    return scipy.stats.t.isf(np.asarray(p) / 2, dof)


@pytest.mark.outside
@pytest.mark.parametrize("dof", [2, 6, inf])
def test_tests_that_always_go_together_count_as_one(dof):
    """Source: of n equal scores the largest is the single one: nothing is to be adjusted. Budget: four
    standard deviations of the share of DRAWS draws."""
    p = np.full(8, 0.03)
    adjusted = family_p(scores(p, dof), p, lambda: np.ones((8, 8)), dof)
    assert adjusted == pytest.approx(p, abs=4 * sqrt(0.03 * 0.97 / DRAWS))
    assert holm(p) == pytest.approx([0.24] * 8)


def test_variances_that_do_not_quite_go_together_are_still_a_family():
    """Lifts that go wholly together are one test; a correlation a hair above 1 is no matrix of any."""
    p = np.array([0.03, 0.04])
    beyond = np.array([[1.0, 1 + 1e-6], [1 + 1e-6, 1.0]])
    adjusted = family_p(scores(p, inf), p, lambda: beyond, inf)
    assert adjusted == pytest.approx(p, abs=1e-3)


def test_a_covariance_is_asked_for_only_where_holms_bound_leaves_something_open():
    def never() -> np.ndarray:
        raise AssertionError("this family was decided")

    # None is clear by itself; all are, also by Holm's bound; the clear ones are, the other is not; at 0.05
    # in both, which is clear yet.
    for p in ([0.06, 0.2, 0.9], [0.001, 0.002, 0.05], [0.001, 0.002, 0.4], [0.025, 0.5]):
        assert family_p(scores(p, inf), p, never, inf) == pytest.approx(holm(p), rel=1e-12)
    # By itself 0.05 is clear, Holm's 0.4 is not: eight lifts that go together are one.
    p = np.full(8, 0.05)
    assert family_p(scores(p, inf), p, lambda: np.ones((8, 8)), inf) == pytest.approx(p, abs=1.5 / DRAWS)


@pytest.mark.outside
def test_independent_tests_are_adjusted_after_sidak():
    """Source: the largest of k independent scores exceeds one of p with 1 - (1 - p)^k (Sidak 1967), going
    down in steps as Holm does. Budget: as above."""
    p = np.array([0.012, 0.02, 0.4, 0.03, 0.9])
    adjusted = family_p(scores(p, inf), p, lambda: np.diag([4.0, 9.0, 1.0, 0.25, 2.0]), inf)
    order = np.argsort(p)
    expected = np.maximum.accumulate(1 - (1 - p[order]) ** (5 - np.arange(5)))
    np.testing.assert_allclose(adjusted[order], expected, rtol=0, atol=4 * sqrt(0.25 / DRAWS))
    # The first three decide at 5 %, where the budget is smaller.
    np.testing.assert_allclose(adjusted[order][:3], expected[:3], rtol=0, atol=4 * sqrt(0.08 * 0.92 / DRAWS))


@given(st.lists(st.floats(1e-4, 1), min_size=2, max_size=8), st.floats(0, 0.95), st.sampled_from([2, 5, inf]))
def test_family_lies_between_the_single_test_and_holm(p, together, dof):
    p = np.array(p)
    matrix = np.full((p.size, p.size), together) + (1 - together) * np.eye(p.size)
    adjusted = family_p(scores(p, dof), p, lambda: matrix, dof)
    assert (adjusted >= p - 1e-12).all()
    assert (adjusted <= holm(p)).all()
    order = np.argsort(p)
    assert (np.diff(adjusted[order]) >= -1e-12).all()


@pytest.mark.outside
@pytest.mark.parametrize("together", [0.0, 0.8, 0.99])
def test_false_alarms_of_a_family(together):
    """Source: what the level means: at most 5 % of families of noise hold a clear verdict. Budget: three
    standard deviations of 1500 trials (1.7 %) and what DRAWS leave open (0.5 %)."""
    rng, dof, lifts, trials = np.random.default_rng(11), 6, 10, 1500
    matrix = np.full((lifts, lifts), together) + (1 - together) * np.eye(lifts)
    root, alarms = np.linalg.cholesky(matrix), 0
    for _ in range(trials):
        score = root @ rng.standard_normal(lifts) / sqrt(rng.chisquare(dof) / dof)
        p = two_sided_p(score, 1.0, dof)
        alarms += bool((family_p(score, p, lambda: matrix, dof) <= 0.05).any())
    assert alarms / trials <= 0.05 + 0.017 + 0.005
    assert alarms / trials >= 0.02  # no more careful than the level asks for


@pytest.mark.parametrize(
    ("gain", "p", "expected"),
    [
        (0.02, 0.05, "clear gain"),
        (-0.02, 0.01, "clear loss"),
        (0.02, 0.0501, "too close to call"),
        (0.0, 0.0, "too close to call"),
        (0.02, np.nan, "too close to call"),
    ],
)
def test_verdicts(gain, p, expected):
    assert verdict(gain, p) == expected


# --- one calibration behind both stages


SHARED = KNOWN["shared_calibration"]


def calibrated_gain(*benches: str) -> Gain:
    """Return the gain from 250 to 262 cfm, three set-ups at one lift each, s = 0.8 cfm."""
    cfm = SHARED["s"] * np.array([-1.0, 0.0, 1.0])  # standard deviation s
    stages = {
        name: [
            sheet({0.010: (mean + step) * CFM_M3_S}, f"{name}{i}.csv", bench=bench)
            for i, step in enumerate(cfm)
        ]
        for name, mean, bench in zip(
            ("before", "after"), (SHARED["before"], SHARED["after"]), benches, strict=True
        )
    }
    known = tuple(replace(BENCH, name=name) for name in dict.fromkeys(benches))
    found = review(job(stages, benches=known, cams=Sides(None, None))).gain("after", "intake", "baseline")
    assert found.gain_m3_s[0] / CFM_M3_S == pytest.approx(SHARED["difference"])
    assert 100 * found.gain_fraction[0] == pytest.approx(SHARED["gain_percent"])
    return found


@pytest.mark.outside
def test_a_shared_calibration_cancels_in_a_relative_gain():
    """Source: uncertainties 3.2.3 and GTC 1.5.1 (values), and uncertainties again here. Ours pools both
    stages' scatter, relative to their flow, into one estimate with 4 degrees of freedom, where GTC has
    two of 2 and Welch gives 3.99. The relative uncertainty comes out the same; t differs by 0.1 %."""
    gain = calibrated_gain("bench", "bench")
    factor = uncertainties.ufloat(1, SHARED["u_calibration"])
    before, after = (
        factor * uncertainties.ufloat(SHARED[name], SHARED["s"] / sqrt(3)) for name in ("before", "after")
    )
    relative = after / before - 1
    assert 100 * relative.std_dev == pytest.approx(SHARED["u_gain_percent"], rel=1e-9)
    u = gain.expanded_fraction[0] / coverage_factor(4)
    # The conditions of these jobs are uncertain by 1e-9 of their units: nothing beside 2.7e-3.
    assert u == pytest.approx(relative.std_dev, rel=1e-6)
    assert 100 * gain.expanded_fraction[0] == pytest.approx(SHARED["expanded_gain_percent"], rel=1.5e-3)
    assert set(gain.verdict) == {"clear gain"}


@pytest.mark.parametrize("known", [0.0, 0.1, 0.5, 1.0, 2.0, 10.0])
@pytest.mark.parametrize("dof", [1, 2, 5, 30])
def test_what_is_known_well_never_narrows_an_interval(known, dof):
    """JCGM 100:2008, G.4.1 alone would: a scatter of 1 from two readings makes 12.7, with 1 beside it 3.9."""
    scatter, rest = Component(np.array([1.0]), dof), Component(np.array([known**2]))
    u, nu = combine([scatter, rest])
    formula = float((scipy.stats.t.ppf(0.975, nu) * u)[0])
    alone = scipy.stats.t.ppf(0.975, dof)
    (expanded,) = expanded_uncertainty([scatter, rest])
    assert expanded == pytest.approx(max(formula, alone), rel=1e-9)
    for value in (0.999 * expanded, 1.001 * expanded):  # a value is told from 0 where it leaves its own ±
        assert (chance(value, [scatter, rest])[0] < 0.05) == (value > expanded)


@pytest.mark.outside
def test_a_shared_calibration_nearly_cancels_in_a_difference():
    """Source: as above. s = 0.8 cfm in both stages is 0.32 and 0.305 % of their flows; the pooled 0.313 % is
    0.78 and 0.82 cfm, so that the variance of the repeats is (2 + a^2/b^2 + b^2/a^2) / 4 = 1.0022 of
    theirs. Degrees of freedom: 4 for the repeats, without end for the calibration. Those of both together
    would make the interval narrower than the repeats alone do."""
    gain = calibrated_gain("bench", "bench")
    a, b, s = SHARED["after"], SHARED["before"], SHARED["s"]
    repeats = s**2 * 2 / 3 * (2 + (a / b) ** 2 + (b / a) ** 2) / 4
    variance = repeats + (SHARED["difference"] * SHARED["u_calibration"]) ** 2
    assert sqrt(variance) == pytest.approx(SHARED["u_difference"], rel=1.2e-3)
    dof = variance**2 / (repeats**2 / 4)
    assert dof == pytest.approx(SHARED["dof_difference"], rel=1e-3)
    expanded = gain.expanded_uncertainty_m3_s[0] / CFM_M3_S
    alone = scipy.stats.t.ppf(0.975, 4) * sqrt(repeats)
    assert alone > scipy.stats.t.ppf(0.975, dof) * sqrt(variance)
    assert expanded == pytest.approx(alone, rel=1e-6)


@pytest.mark.outside
def test_two_benches_with_their_own_calibrations_do_not_cancel():
    """Source: as above, with two factors: 2.24 % and 5.5 cfm. Repeats make 1.4 % of that variance, so the
    degrees of freedom have no end to speak of: t is 1.9601 instead of 1.9600. Budget: 1e-3."""
    gain = calibrated_gain("one", "two")
    expected = np.array(
        [SHARED["u_gain_percent_if_independent"] / 100, SHARED["u_difference_if_independent"]]
    )
    ours = np.array([gain.expanded_fraction[0], gain.expanded_uncertainty_m3_s[0] / CFM_M3_S])
    np.testing.assert_allclose(ours, 1.9600 * expected, rtol=1e-3)
    assert gain.mean.verdict == "clear gain"  # 4.8 against 4.4 %
