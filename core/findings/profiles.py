"""Every sweep of a side beside the others, in logarithms: what one reading or sheet does alone.

Work on a head changes its curve smoothly; a slip changes one cell, or one sheet. So the
sweeps of a stage are laid on each other; a stage with fewer than three is laid on the other
stages, and each of its readings on its own neighbours there. What is left of a reading is
judged against what this bench usually leaves. A reading that is off by more than any work or
noise explains is judged, but foretells no other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from core.findings.left_out import fit, scatter
from core.job import BenchSheet
from core.ports import slope, told_apart
from core.rows import Rows

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

ROUNDS = 3  # of the median polish; levels and curves settle in two
ENOUGH = 3  # sweeps of one stage, for a median that one slip cannot move
NEIGHBOURS = 4  # readings that foretell one between them, by a parabola
ZERO_OFF = 5  # settings of the lift that a set-up's zero may be off by (judgement)
GROSS = 0.25  # relative; no work on a head, and no noise, does this to a single reading (judgement)
TURNS = 8  # at most, of setting such readings aside; one does where none is off (judgement)
DOUBTED = 4.0  # robust standard deviations at which a reading is judged a second time
LEAST_SCATTER = 0.0015  # a bench that seems to repeat better has too few readings to tell (judgement)


@dataclass(frozen=True, eq=False)
class Profiles:
    """k sweeps of one side over the n lifts of all of them; nan where a sweep has no reading."""

    sheets: tuple[BenchSheet, ...]
    lift_m: Array
    readings: NDArray[np.object_]  # (k, n) Reading or None
    log_flow: Array  # (k, n)
    leak_m3_s: Array  # (k, n) what a leak took off that flow
    residual: Array  # (k, n) what is left of each reading, relative
    score: Array  # (k, n) that, over what is usual
    level: Array  # (k,) how far the sweep lies above the middle of all
    stage_level: Array  # (k,) how far above the middle of its stage; nan where it is alone


def profiles(parts: Sequence[Rows]) -> Profiles | None:
    """Return the sweeps of one side laid beside each other.

    Parameters
    ----------
    parts : sequence of Rows
        Readings of one side, bench by bench.

    Returns
    -------
    Profiles or None
        None without readings.

    References
    ----------
    Median polish: Tukey, Exploratory Data Analysis (1977), from memory.
    """
    sweeps = [(rows, sheet, mine) for rows in parts for sheet, mine in rows.by_sheet()]
    if not sweeps:
        return None
    stages = [_stage(sheet) for _, sheet, _ in sweeps]
    lifts, readings, log_flow, leak = _laid_out(parts, [mine.stop - mine.start for *_, mine in sweeps])
    bench = sweeps[0][0].bench
    heard = log_flow  # what foretells the others
    for _ in range(TURNS):
        middle = median(heard, 0)
        level = median(log_flow - middle, 1)
        middle = np.exp(middle)
        steepness = np.nan_to_num(slope(lifts, middle) / middle)
        # Where the curve is steep, setting the lift decides how well a reading repeats.
        steep = steepness * bench.lift_setting_m > bench.repeatability / 2
        residual, spread, stage_level = _left_over(
            lifts,
            log_flow,
            heard,
            stages,
            np.where(steep, steepness, 0.0),
            ZERO_OFF * bench.lift_setting_m,
        )
        gross = _farthest_off(lifts, heard, residual, spread, stages)
        if not gross.any():
            break
        heard = np.where(gross, np.nan, heard)
    even = np.where(np.isfinite(heard), residual / np.sqrt(spread), np.nan)
    read = max(_robust(even[:, ~steep], bench.repeatability), LEAST_SCATTER)
    setting = bench.lift_setting_m
    if steep.any():
        setting = min(max(_robust(even[:, steep] / steepness[steep], setting), setting / 2), setting)
    usual = np.hypot(read, steepness * setting)
    score = residual / (usual * np.sqrt(spread))
    _judge_again(stages, log_flow, residual, score, usual, steepness, setting)
    return Profiles(
        tuple(sheet for _, sheet, _ in sweeps),
        lifts,
        readings,
        log_flow,
        leak,
        residual,
        score,
        level,
        stage_level,
    )


def _laid_out(parts: Sequence[Rows], sizes: list[int]) -> tuple[Array, NDArray[np.object_], Array, Array]:
    """Return every lift, and of each sweep at each: its reading, the logarithm of its flow, and its leak."""
    taken = [told_apart(rows.lift_m) for rows in parts]
    lifts, column = np.unique(np.concatenate(taken), return_inverse=True)
    cells = np.repeat(np.arange(len(sizes)), sizes), column
    log_flow = np.full((len(sizes), lifts.size), np.nan)
    leak = np.zeros(log_flow.shape)
    readings = np.full(log_flow.shape, None)
    readings[cells] = np.fromiter((reading for rows in parts for reading in rows.readings), dtype=object)
    flow = np.concatenate([np.where(rows.flows, rows.flow_m3_s, np.nan) for rows in parts])
    log_flow[cells] = np.log(flow)
    leak_share = [rows.leak / np.where(rows.flows, rows.base - rows.leak, np.nan) for rows in parts]
    leak[cells] = flow * np.concatenate(leak_share)
    return lifts, readings, log_flow, leak


def _together(stages: list[tuple[str, str | None]]) -> list[NDArray[np.int64]]:
    """Return the numbers of each stage's sweeps: (s, k) for the s stages that have k of them."""
    members: dict[tuple[str, str | None], list[int]] = {}
    for number, stage in enumerate(stages):
        members.setdefault(stage, []).append(number)
    of_size: dict[int, list[list[int]]] = {}
    for numbers in members.values():
        of_size.setdefault(len(numbers), []).append(numbers)
    return [np.array(alike) for alike in of_size.values()]


def _stage(sheet: BenchSheet) -> tuple[str, str | None]:
    return sheet.role, sheet.stage


def _judge_again(
    stages: list[tuple[str, str | None]],
    log_flow: Array,
    residual: Array,
    score: Array,
    usual: Array,
    steepness: Array,
    setting_m: float,
) -> None:
    """Put in, for doubted readings of a stage with several sweeps, what the undoubted ones foretell."""
    doubted = np.abs(np.nan_to_num(score)) > DOUBTED
    several = [at for at in _together(stages) if at.shape[1] >= ENOUGH]
    if not any(doubted[at].any() for at in several):
        return
    fits = [fit(log_flow[at], doubted[at], usual, steepness, setting_m) for at in several]
    steep = steepness * setting_m > usual / 2
    usual = usual * np.where(steep, scatter(fits, steep), scatter(fits, ~steep))
    for at, one in zip(several, fits, strict=True):
        judged = one.doubted & np.isfinite(one.left)
        residual[at] = np.where(judged, one.left, residual[at])
        score[at] = np.where(judged, one.score(usual), score[at])


def _farthest_off(
    lift_m: Array, heard: Array, residual: Array, spread: Array, stages: list[tuple[str, str | None]]
) -> Flags:
    """Return which readings among neighbours no work and no noise explains: one a lift and one a sweep.

    One that is off draws its neighbours along, and of two sweeps either is off from the other. It is
    the one that also stands off its own curve: flow over lift falls smoothly.
    """
    telling = np.isfinite(heard)
    off = np.where(telling & (np.abs(residual) > GROSS), np.abs(residual) / np.sqrt(spread), 0.0)
    for at in _together(stages):
        if at.shape[1] >= ENOUGH:
            off[at] = 0.0
    for k in np.flatnonzero(off.any(axis=1)):
        per_lift = heard[k] - np.log(lift_m)
        off[k] *= np.abs(np.nan_to_num(_beside_neighbours(lift_m, per_lift, per_lift)[0]))
    return (off > 0) & (off == off.max(axis=0)) & (off == off.max(axis=1)[:, None])


def _left_over(
    lift_m: Array,
    log_flow: Array,
    heard: Array,
    stages: list[tuple[str, str | None]],
    steepness: Array,
    most_m: float,
) -> tuple[Array, Array, Array]:
    """Return what is left of each reading, how its variance grows, and each sweep's level in its stage.

    Each sweep's own level and its own zero of the lift are taken out: they are of the set-up.
    """
    residual, spread = np.full_like(log_flow, np.nan), np.ones_like(log_flow)
    stage_level = np.full(len(stages), np.nan)
    groups = _together(stages)
    shapes = []
    for at in groups:
        count = at.shape[1]
        shape, level, left = _polish(heard[at], steepness, most_m)
        shapes.append(shape)
        if count > 1:
            stage_level[at] = level
        if count >= ENOUGH:
            residual[at] = left
            # The median of n has pi / 2 times the variance of their mean (large n).
            spread[at] = 1 + np.pi / 2 / count
    every = np.concatenate(shapes)
    # By what all have in common: a stage's middle would hang on which lifts it was read at.
    every = every - median(every - median(every, 0), 1)[:, None]
    for stage, members in enumerate(members for at in groups for members in at):
        if len(members) < ENOUGH and len(every) > 1:
            reference = median(np.delete(every, stage, axis=0), 0)
            for k in members:
                residual[k], spread[k] = _beside_neighbours(
                    lift_m, log_flow[k] - reference, heard[k] - reference
                )
    return residual, spread, stage_level


def _polish(log_flow: Array, steepness: Array, most_m: float) -> tuple[Array, Array, Array]:
    """Return the curve that sweeps share, each sweep's level above it, and what is left of each reading.

    For s stages of k sweeps each at once: arrays of shape (s, n), (s, k) and (s, k, n).
    """
    own = np.zeros_like(log_flow)
    for _ in range(ROUNDS):
        shape = median(log_flow - own, 1)
        left = log_flow - shape[:, None]
        level = _level(left, steepness)
        zero = _lift_zero(left - level[..., None], steepness, most_m)
        own = level[..., None] + zero[..., None] * steepness
    return shape, level, left - own


def _beside_neighbours(lift_m: Array, ratio: Array, heard: Array) -> tuple[Array, Array]:
    """Return each reading of a smooth ratio less what its heard neighbours foretell, and how that errs."""
    left, spread = np.full_like(ratio, np.nan), np.ones_like(ratio)
    taken, telling = np.isfinite(ratio), np.isfinite(heard)
    if telling.sum() >= NEIGHBOURS:
        foretold = _foretelling(tuple(lift_m[taken].tolist()), tuple(telling[taken].tolist()))
        left[taken] = ratio[taken] - foretold @ ratio[taken]
        spread[taken] = 1 + np.sum(np.square(foretold), axis=1)
    return left, spread


@lru_cache(maxsize=64)
def _foretelling(lifts_m: tuple[float, ...], telling: tuple[bool, ...]) -> Array:
    """Return the weights by which its telling neighbours foretell each reading, (n, n) with a zero diagonal.

    A parabola through the nearest, or a straight line at the ends, where it would extrapolate;
    nan where too few others tell.
    """
    lift = np.array(lifts_m)
    weights = np.zeros((lift.size, lift.size))
    for i in range(lift.size):
        order = np.argsort(np.abs(lift - lift[i]), kind="stable")[1:]
        near = order[np.array(telling)[order]][:NEIGHBOURS]
        if near.size < NEIGHBOURS:
            weights[i] = np.nan
            continue
        at = (lift[near] - lift[i]) / np.max(np.abs(lift[near] - lift[i]))
        degree = 2 if at.min() < 0 < at.max() else 1
        weights[i, near] = np.linalg.pinv(np.vander(at, degree + 1))[-1]
    return weights


def _level(left: Array, steepness: Array) -> Array:
    """Return each sweep's level, from the lifts where the lift's setting hardly matters if there are some."""
    flat = steepness == 0
    return median(left[..., flat] if flat.sum() >= ENOUGH else left, -1)


def _lift_zero(left: Array, steepness: Array, most_m: float) -> Array:
    """Return by how much each sweep's lift seems to be off throughout, 0 where too few lifts could tell."""
    steep = steepness > 0
    if steep.sum() < ENOUGH:
        return np.zeros(left.shape[:-1])
    # A zero is off by some settings of the lift; more is something else, and would run away.
    return np.clip(np.nan_to_num(median(left[..., steep] / steepness[steep], -1)), -most_m, most_m)


def _robust(values: Array, assumed: float) -> float:
    """Return the standard deviation of values about 0, the assumed one without any.

    From the size that four in five stay below: a polish by medians leaves many at nothing,
    and slips are far fewer than one in five.
    """
    sizes = np.abs(values[np.isfinite(values)])
    return float(np.quantile(sizes, 0.8)) / 1.2816 if sizes.size else assumed


def median(values: Array, axis: int) -> Array:
    """Return the median of what is there.

    numpy's own says the same in several times the time, and a review asks often.

    Parameters
    ----------
    values : ndarray
        Values, nan where there is none.
    axis : int
        Axis to take it over.

    Returns
    -------
    ndarray
        One dimension less; nan where nothing is.
    """
    ranked = np.sort(values, axis=axis)  # a nan comes last
    count = np.count_nonzero(~np.isnan(values), axis=axis, keepdims=True)
    low, high = np.maximum(count - 1, 0) // 2, count // 2
    both = np.take_along_axis(ranked, low, axis) + np.take_along_axis(ranked, high, axis)
    return both.squeeze(axis) / 2
