"""Propagation, coverage and verdicts after the GUM (JCGM 100:2008).

A result is a function of inputs. Its variance is J V J^T with J the sensitivities and V
the covariance of the inputs; its degrees of freedom follow from the variance components
by Welch and Satterthwaite. Inputs that two results share cancel by themselves, because
they are the same column of J.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, ndtri, stdtr, stdtrit

from core.results import Verdict

Array = NDArray[np.float64]

LEVEL = 0.95  # of every expanded uncertainty that is shown
DRAWS = 2000  # a p value of 0.05 is then known to 0.005; fixed draws, so that a job always reads the same
FALSE_ALARM = 0.05  # of any clear verdict among the lifts of a side where nothing changed


@dataclass(frozen=True)
class Component:
    """A variance and the degrees of freedom of its estimate; arrays over results."""

    variance: Array
    dof: float | Array = np.inf


def sensitivities(function: Callable[[Array], Array], inputs: ArrayLike, steps: ArrayLike) -> Array:
    """Return the change of a function's results for one step of each input.

    Parameters
    ----------
    function : callable
        Takes an ndarray of shape (n, j), j sets of inputs at once, and returns one of shape (m, j).
    inputs : ndarray, shape (n,)
        Best estimates of the inputs.
    steps : ndarray, shape (n,)
        Step of each, its standard uncertainty as a rule.

    Returns
    -------
    ndarray, shape (m, n)
        Half the difference between one step up and one step down.

    References
    ----------
    JCGM 100:2008, 5.1.3 note 2.
    """
    centre, step = np.asarray(inputs, dtype=float)[:, None], np.diag(np.asarray(steps, dtype=float))
    return (np.asarray(function(centre + step)) - np.asarray(function(centre - step))) / 2


def propagate(jacobian: ArrayLike, covariance: ArrayLike | None = None) -> Array:
    """Return the covariance of results from that of their inputs.

    Parameters
    ----------
    jacobian : ndarray, shape (m, n)
        Sensitivities of m results to n inputs.
    covariance : ndarray, shape (n, n), optional
        Covariance of the inputs; left out, they are independent with unit variance
        (their sensitivities then are those to one standard uncertainty).

    Returns
    -------
    ndarray, shape (m, m)
        Covariance of the results.

    References
    ----------
    JCGM 100:2008, eq. 13 and H.2.3; JCGM 102:2011, 6.2.
    """
    rows = np.asarray(jacobian, dtype=float)
    return rows @ rows.T if covariance is None else rows @ np.asarray(covariance, dtype=float) @ rows.T


def variances(jacobian: ArrayLike) -> Array:
    """Return the diagonal of propagate(jacobian) without forming the rest.

    Parameters
    ----------
    jacobian : ndarray, shape (..., n)
        Sensitivities to one standard uncertainty of each of n independent inputs.

    Returns
    -------
    ndarray, shape (...,)
        Variances of the results.

    References
    ----------
    JCGM 100:2008, eq. 10.
    """
    rows = np.asarray(jacobian, dtype=float)
    return np.einsum("...n,...n->...", rows, rows)


def combine(components: Sequence[Component]) -> tuple[Array, Array]:
    """Return the combined standard uncertainty and its effective degrees of freedom.

    Parameters
    ----------
    components : sequence of Component
        Independent components; each estimate that serves twice is one component.

    Returns
    -------
    tuple of ndarray
        Standard uncertainty, effective degrees of freedom (inf where no component has
        a finite number of them).

    References
    ----------
    JCGM 100:2008, G.4.1, eq. G.2b.
    """
    total = sum(np.asarray(part.variance, dtype=float) for part in components)
    spread = sum(np.square(part.variance) / part.dof for part in components)
    with np.errstate(divide="ignore", invalid="ignore"):
        dof = np.where(spread > 0, np.square(total) / spread, np.inf)
    return np.sqrt(total), dof


def expanded_uncertainty(components: Sequence[Component]) -> Array:
    """Return half the width of the 95 % interval.

    The formula for effective degrees of freedom can narrow an interval when an uncertainty is
    added: one that is known well raises them, and what two set-ups alone tell of the scatter then
    counts as if many had told it. So no interval is narrower than that of its scatter alone.

    Parameters
    ----------
    components : sequence of Component
        Independent components.

    Returns
    -------
    ndarray
        The larger of k u of all components, and of those with finite degrees of freedom.

    References
    ----------
    JCGM 100:2008, 6.2 and G.6.4. Where its formula fails: Ballico (2000), Metrologia 37, 61-64
    (from memory).
    """
    return np.maximum(*(coverage_factor(dof) * standard for standard, dof in _both(components)))


def chance(value: ArrayLike, components: Sequence[Component]) -> Array:
    """Return the probability of a value at least this far from 0 where nothing changed.

    Parameters
    ----------
    value : float or ndarray
        Estimate.
    components : sequence of Component
        Independent components of its uncertainty.

    Returns
    -------
    ndarray
        Probability: below 0.05 where the value is larger than its `expanded_uncertainty`. [1]

    References
    ----------
    Student's t test.
    """
    return np.maximum(*(two_sided_p(value, standard, dof) for standard, dof in _both(components)))


def _both(components: Sequence[Component]) -> list[tuple[Array, Array]]:
    """Return u and its degrees of freedom: of all, and of those of which only so many readings tell."""
    told = [Component(np.where(np.isfinite(part.dof), part.variance, 0.0), part.dof) for part in components]
    return [combine(components), combine(told)]


def coverage_factor(dof: ArrayLike, level: float = LEVEL) -> Array:
    """Return Student's t for a two-sided interval.

    Parameters
    ----------
    dof : float or ndarray
        Degrees of freedom; inf gives the normal distribution. They are not cut to whole
        numbers: the GUM allows interpolation.
    level : float
        Coverage probability.

    Returns
    -------
    float or ndarray
        Coverage factor. [1]

    References
    ----------
    JCGM 100:2008, G.3 and table G.2.
    """
    return stdtrit(np.minimum(dof, 1e12), 0.5 + level / 2)


def two_sided_p(value: ArrayLike, standard_uncertainty: ArrayLike, dof: ArrayLike) -> Array:
    """Return the probability of a value at least this far from 0 where nothing changed.

    Parameters
    ----------
    value : float or ndarray
        Estimate.
    standard_uncertainty : float or ndarray
        Its standard uncertainty.
    dof : float or ndarray
        Its degrees of freedom.

    Returns
    -------
    float or ndarray
        Probability. [1]

    References
    ----------
    Student's t test.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        score = np.abs(np.asarray(value, dtype=float) / standard_uncertainty)
    # Nothing measured twice to every digit proves a gain of nothing: 0 / 0 is no evidence.
    score = np.where(np.isnan(score), 0.0, score)
    return 2 * stdtr(np.minimum(dof, 1e12), -score)


def holm(p_values: ArrayLike) -> Array:
    """Return Holm's adjusted p values of one family of tests.

    Parameters
    ----------
    p_values : ndarray, shape (n,)
        One for each test.

    Returns
    -------
    ndarray, shape (n,)
        Adjusted p values, at most 1.

    References
    ----------
    Holm (1979), Scandinavian Journal of Statistics 6, 65-70.
    """
    p = np.asarray(p_values, dtype=float)
    order = np.argsort(p)  # of equals any may be first, they get one answer
    stepped = np.maximum.accumulate(p[order] * (p.size - np.arange(p.size)))
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum(stepped, 1.0)
    return adjusted


def family_p(score: ArrayLike, p_values: ArrayLike, covariance: Callable[[], ArrayLike], dof: float) -> Array:
    """Return adjusted p values of one family of tests whose errors go together.

    Holm's bound takes the tests as it finds them. A re-set-up moves every lift at once, so
    the largest score of a family of noise is hardly larger than any one of them; what that
    largest score does is reckoned from the covariance. Holm's bound is kept where it
    decides by itself, and where the covariance would decide less.

    Parameters
    ----------
    score : ndarray, shape (n,)
        Each estimate over its standard uncertainty.
    p_values : ndarray, shape (n,)
        Each test's own p value.
    covariance : callable
        Returns the (n, n) covariance of the estimates; only called where it is needed.
    dof : float
        Degrees of freedom of the variance that they share.

    Returns
    -------
    ndarray, shape (n,)
        Adjusted p values, at most 1 and never above Holm's.

    References
    ----------
    Step-down maximum-t: Westfall and Young, Resampling-Based Multiple Testing (1993), sect.
    2.6 (from memory); Holm (1979).
    """
    single, bound = np.asarray(p_values, dtype=float), holm(p_values)
    if not np.any((single <= FALSE_ALARM) & (bound > FALSE_ALARM)):
        return bound
    matrix = np.asarray(covariance(), dtype=float)
    root = _root(matrix / np.sqrt(np.outer(np.diag(matrix), np.diag(matrix))))
    noise, scale = _draws(single.size, float(min(dof, 1e6)))
    drawn = np.abs(root.astype(np.float32) @ noise) * scale
    order = np.argsort(-np.abs(score))
    largest, reached = np.zeros(DRAWS, np.float32), np.empty(single.size)
    for test in order[::-1]:  # from the least score, each against the largest of those so far
        np.maximum(largest, drawn[test], out=largest)
        reached[test] = np.count_nonzero(largest >= abs(float(score[test])))
    adjusted = np.empty_like(single)
    adjusted[order] = np.maximum(np.maximum.accumulate(reached[order] / DRAWS), single[order])
    return np.minimum(adjusted, bound)


def _root(correlation: Array) -> Array:
    """Return the triangular root of a correlation.

    Of all roots it moves least when the matrix does, so that rounding cannot turn a verdict.
    Variances that were estimated apart need not go together: what would be less than nothing
    is taken for nothing, and the small diagonal keeps a root where lifts go wholly together.
    """
    values, vectors = np.linalg.eigh(correlation)
    whole = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return np.linalg.cholesky(whole + 1e-9 * np.eye(len(whole)))


@lru_cache(maxsize=64)
def _draws(size: int, dof: float) -> tuple[Array, Array]:
    """Return fixed draws of independent noise and of the scale by which its estimate errs.

    Each row holds every quantile once, in random order (a Latin hypercube: McKay, Beckman
    and Conover, Technometrics 21 (1979) 239, from memory): where lifts go together, and one
    row decides, the draws are then wrong by nothing.
    """
    generator = np.random.default_rng(2533)
    quantiles = (np.arange(DRAWS) + 0.5) / DRAWS
    order = generator.permuted(np.tile(np.arange(DRAWS), (size + 1, 1)), axis=1)
    # Single precision is plenty for counting, and halves the time.
    noise = ndtri(quantiles)[order[1:]].astype(np.float32)
    return noise, np.sqrt(dof / chdtri(dof, quantiles))[order[0]].astype(np.float32)


def verdict(gain: float, p_value: float) -> Verdict:
    """Return the verdict on a gain.

    Parameters
    ----------
    gain : float
        Gain; only its sign counts.
    p_value : float
        Its p value, adjusted where it is one of a family.

    Returns
    -------
    str
        "clear gain", "clear loss" or "too close to call".
    """
    if not p_value <= FALSE_ALARM or gain == 0:
        return "too close to call"
    return "clear gain" if gain > 0 else "clear loss"
