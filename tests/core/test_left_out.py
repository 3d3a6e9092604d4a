"""A doubted reading against the others: the fit done again by a general least-squares routine."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import lsq_linear

from core.findings.left_out import LEVEL, Fit, fit, scatter

Array = NDArray[np.float64]

SETTING_M = 0.02e-3
SWEEPS, LIFTS = 4, 6
USUAL = np.array([0.006, 0.005, 0.004, 0.004, 0.003, 0.003])
STEEPNESS = np.array([900.0, 500.0, 250.0, 120.0, 60.0, 20.0])


def stages(seed: int = 3) -> tuple[Array, NDArray[np.bool_]]:
    """Return two stages of four sweeps over six lifts, with gaps and doubts; one lift is all in doubt."""
    rng = np.random.default_rng(seed)
    shape = (2, SWEEPS, LIFTS)
    flow = np.log(0.12) - np.exp(-np.arange(LIFTS)) + 0.004 * rng.standard_normal(shape)
    flow += 0.01 * rng.standard_normal((2, SWEEPS, 1))
    flow[0, 1, 2] = flow[1, 3, 5] = np.nan
    doubted = np.zeros(shape, dtype=bool)
    doubted[0, 0, 1] = doubted[1, 2, 4] = doubted[1, 2, 3] = True
    doubted[0, :, 0] = True
    flow[0, 0, 1] += 0.1
    return flow, doubted


def again(log_flow: Array, doubted: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Return one stage's residuals and leverages, term by term, from a routine that knows none of this.

    Each sound reading is the curve at its lift, its sweep's level, and its sweep's zero of the lift times
    the steepness; level and zero are 0 give or take their standard deviations, as if they had been read.
    """
    sound = np.isfinite(log_flow) & ~doubted
    rows, values = [], []
    for k, i in np.argwhere(sound):
        rows.append(model(k, i) / USUAL[i])
        values.append(log_flow[k, i] / USUAL[i])
    for k in range(SWEEPS):
        for column, deviation in ((LIFTS + k, LEVEL), (LIFTS + SWEEPS + k, SETTING_M)):
            row = np.zeros(LIFTS + 2 * SWEEPS)
            row[column] = 1 / deviation
            rows.append(row)
            values.append(0.0)
    held = np.concatenate([sound.any(axis=0), np.ones(2 * SWEEPS, dtype=bool)])
    # Zeros of the lift are some 1e-5 m: told in millimetres, so that the routine's tolerance does for them.
    scale = np.where(np.arange(LIFTS + 2 * SWEEPS) < LIFTS + SWEEPS, 1.0, 1e-3)
    design = (np.array(rows) * scale)[:, held]
    best = lsq_linear(design, np.array(values), method="bvls", tol=1e-14).x
    triangle = np.linalg.qr(design, mode="r")
    left, leverage = np.full_like(log_flow, np.nan), np.full_like(log_flow, np.nan)
    for k, i in np.argwhere(np.isfinite(log_flow)):
        if held[i]:
            row = (model(k, i) * scale)[held]
            left[k, i] = log_flow[k, i] - row @ best
            # The variance of what is foretold: the length of R^-T row.
            leverage[k, i] = np.sum(np.square(np.linalg.solve(triangle.T, row))) / USUAL[i] ** 2
    return left, leverage


def model(sweep: int, lift: int) -> Array:
    """Return what a reading consists of: curve, levels, zeros of the lift."""
    row = np.zeros(LIFTS + 2 * SWEEPS)
    row[lift] = row[LIFTS + sweep] = 1.0
    row[LIFTS + SWEEPS + sweep] = STEEPNESS[lift]
    return row


def made(seed: int = 3) -> Fit:
    """Return the fit of both stages."""
    flow, doubted = stages(seed)
    return fit(flow, doubted, USUAL, STEEPNESS, SETTING_M)


@pytest.mark.outside
def test_what_is_left_is_what_general_least_squares_leave() -> None:
    """Source: scipy.optimize.lsq_linear and a QR decomposition. Budget 1e-9 of a logarithm, 1e-6 of a
    leverage: both solve one linear system, whose condition is some 1e4."""
    flow, doubted = stages()
    found = made()
    for stage in range(2):
        left, leverage = again(flow[stage], doubted[stage])
        assert found.left[stage] == pytest.approx(left, abs=1e-9, nan_ok=True)
        assert found.leverage[stage] == pytest.approx(leverage, rel=1e-6, nan_ok=True)
    # Nothing is foretold where every reading is doubted, or where there is none.
    assert np.isnan(found.left[0, :, 0]).all() and np.isnan(found.leverage[0, :, 0]).all()
    assert np.isnan(found.left[0, 1, 2]) and np.isnan(found.leverage[1, 3, 5])
    assert np.isfinite(found.left).sum() == 2 * SWEEPS * LIFTS - SWEEPS - 2


def test_a_doubted_reading_foretells_nothing() -> None:
    flow, doubted = stages()
    flow[1, 2, 4] += 3.0
    moved = fit(flow, doubted, USUAL, STEEPNESS, SETTING_M)
    change = moved.left - made().left
    assert change[1, 2, 4] == pytest.approx(3.0)
    change[1, 2, 4] = 0.0
    assert np.nanmax(np.abs(change)) < 1e-12


def test_scores_are_of_the_doubted_and_stand_to_both_scatters() -> None:
    found = made()
    score = found.score(2 * USUAL)
    assert (np.isfinite(score) == (found.doubted & np.isfinite(found.left))).all()
    # By hand for one: what is left over the root of its own variance and that of what is foretold.
    own, foretold = (2 * USUAL[1]) ** 2, (2 * USUAL[1]) ** 2 * found.leverage[0, 0, 1]
    assert score[0, 0, 1] == pytest.approx(found.left[0, 0, 1] / np.sqrt(own + foretold))
    assert (found.undoubted == (np.isfinite(found.left) & ~found.doubted)).all()


def test_the_scatter_is_the_residual_mean_square_over_all_stages() -> None:
    """JCGM 100:2008, H.3: squares over what is free; worked out term by term."""
    found, steep = made(), np.array([True, True, True, False, False, False])
    for columns in (steep, ~steep, np.ones(LIFTS, dtype=bool)):
        squares = free = 0.0
        for stage, k, i in np.argwhere(found.undoubted):
            if columns[i]:
                squares += (found.left[stage, k, i] / USUAL[i]) ** 2
                free += 1 - found.leverage[stage, k, i]
        assert scatter([found], columns) == pytest.approx(np.sqrt(squares / free))
    halves = [
        Fit(found.left[s : s + 1], found.doubted[s : s + 1], found.unit, found.leverage[s : s + 1])
        for s in (0, 1)
    ]
    assert scatter(halves, steep) == pytest.approx(scatter([found], steep))


def test_the_scatter_is_that_of_the_noise() -> None:
    """Noise of twice what the fit reckons with, in 200 stages: 2 to within 2 % (8,000 degrees of freedom)."""
    rng = np.random.default_rng(8)
    shape = (200, SWEEPS, 20)
    usual, steepness = np.full(20, 0.004), np.linspace(900, 20, 20)
    flow = 0.008 * rng.standard_normal(shape) + 0.02 * rng.standard_normal((*shape[:2], 1))
    found = fit(flow, np.zeros(shape, dtype=bool), usual, steepness, SETTING_M)
    assert scatter([found], np.ones(20, dtype=bool)) == pytest.approx(2.0, rel=0.02)


def test_nothing_to_tell_a_scatter_from_leaves_it_as_it_was() -> None:
    found = made()
    nothing = np.zeros(LIFTS, dtype=bool)
    assert scatter([], ~nothing) == 1.0
    assert scatter([found], nothing) == 1.0
    assert scatter([replace(found, left=0 * found.left)], ~nothing) == 1.0  # as typed twice
    # One degree of freedom tells no scatter; a little more does.
    for left, leverage, expected in (
        (2.0, 0.5, 1.0),
        (2.0, 0.4, (8 / 1.2) ** 0.5),
        (0.2, 0.4, (0.08 / 1.2) ** 0.5),
    ):
        shape = (1, 2, 1)
        few = Fit(np.full(shape, left), np.zeros(shape, dtype=bool), np.ones(1), np.full(shape, leverage))
        assert scatter([few], np.ones(1, dtype=bool)) == pytest.approx(expected)
