"""What the breathing model answers for a job: powers in the window, their effects, and curves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from core.breathing.cycle import CycleError
from core.job import SIDES, Side, Sides
from core.power_assumptions import LENGTH_SPREAD, SET_LENGTH_SPREAD
from core.power_ranges import Linear
from core.power_runs import TILT, Answer, Ask, Bench, design, lattice

Array = NDArray[np.float64]

CURVE_SPEEDS, LEAST_SPEEDS = 10, 6  # of the curves; of those, how many must close for any figure (judgement)
CURVE_LENGTHS = (-0.8, 0.0, 0.8)  # of the spread
SLOWEST_RAD_S = 3000 * np.pi / 30  # of the curves, where the redline leaves enough above it
WINDOW = 0.08  # either way round the speed of peak power
# Enough to find that speed, and to begin the cycles near where they close; nothing else is taken of it.
LOOKING_CLOSES, LOOKING_STEP_RAD = 1e-3, np.radians(1.0)
# Points of the window: speeds and lengths together for the runner, speeds for prescribed waves.
NOMINAL, MOVED = {False: 17, True: 4}, {False: 7, True: 2}
_LOOKING_SHARE = 0.15  # of the work


@dataclass(frozen=True, eq=False)
class StructureAnswers:
    """One structure's answers; tuples and first axes run over the stages that have a figure."""

    power: tuple[Linear, ...]  # brake power, mean over the window [W]
    intake_w: tuple[float, ...]  # the intake's part of a stage's gain over the first
    flow_weight_w: Sides[float]  # power for the whole of a side's flow, near the first stage
    curve_w: Array  # (stages, speeds), mean over lengths
    ripple: Array  # (stages, speeds), relative standard deviation over lengths


@dataclass(frozen=True, eq=False)
class Answers:
    """Both structures' answers."""

    speed_rad_s: Array
    window_rad_s: tuple[float, float]
    structures: tuple[StructureAnswers, StructureAnswers]
    lost_rad_s: tuple[float, ...] = ()  # slowest speeds, which the curves begin above: cycles do not close


def asked(bench: Bench, progress: Callable[[float], None] | None = None) -> Answers:
    """Return all answers that a job's ranges are made from.

    Parameters
    ----------
    bench : Bench
        Engine and assumptions.
    progress : callable, optional
        Called now and then with the share of the work that is done, 0 to 1.

    Returns
    -------
    Answers
        For the stages that have a figure, the baseline first.

    Raises
    ------
    CycleError
        If a cycle does not close in the window, or more than a few at the slow end of the curves.

    References
    ----------
    core.breathing.
    """
    tell = progress or (lambda _share: None)
    every = speeds = curve_speeds(bench.engine.redline_rad_s)
    spread = SET_LENGTH_SPREAD if bench.assumptions["runner_length_m"].origin == "set" else LENGTH_SPREAD
    looks = [Ask(p, 0, 0, *_curve(p, speeds, spread)) for p in (False, True)]
    looked = bench.ask(
        looks,
        lambda part: tell(_LOOKING_SHARE * part),
        closes=LOOKING_CLOSES,
        coarse_rad=LOOKING_STEP_RAD,
        partly=True,
    )
    level = bench.value("friction_level", {})
    power = sum(_brake(one, level).reshape(-1, speeds.size).mean(axis=0) for one in looked)
    begin = _first_closed(speeds, power)
    speeds = speeds[begin:]
    window = peak_window(speeds, power[begin:])
    plans = [_Plan(bench, p, window, speeds, spread) for p in (False, True)]
    asks = [ask for plan in plans for ask in plan.asks]
    start = [_near(ask, looks[ask.prescribed], looked[ask.prescribed]) for ask in asks]
    answers = bench.ask(
        asks, lambda part: tell(_LOOKING_SHARE + (1 - _LOOKING_SHARE) * part), start, partly=True
    )
    tell(1.0)
    given = iter(answers)
    found = [plan.answers([next(given) for _ in plan.asks]) for plan in plans]
    begin = _first_closed(speeds, sum(one.curve_w.sum(axis=0) for one in found))
    structures = (replace(one, curve_w=one.curve_w[:, begin:], ripple=one.ripple[:, begin:]) for one in found)
    lost = every[: every.size - speeds.size + begin]
    return Answers(speeds[begin:], window, tuple(structures), tuple(lost.tolist()))


def _first_closed(speeds: Array, values: Array) -> int:
    """Return from where on there is a value at every speed: slow ones may be lost, no others."""
    lost = np.flatnonzero(np.isnan(values))
    begin = int(lost[-1]) + 1 if lost.size else 0
    if speeds.size - begin < LEAST_SPEEDS:
        raise CycleError(speeds[lost])
    return begin


def curve_speeds(redline_rad_s: float) -> Array:
    """Return the speeds that curves are drawn over.

    Parameters
    ----------
    redline_rad_s : float
        Highest speed. [rad/s]

    Returns
    -------
    ndarray
        From 3000 rpm, or from 2000 rpm where the redline is below 4500, to the redline. [rad/s]
    """
    slowest = SLOWEST_RAD_S if redline_rad_s >= 1.5 * SLOWEST_RAD_S else SLOWEST_RAD_S * 2 / 3
    return np.linspace(slowest, redline_rad_s, CURVE_SPEEDS)


def peak_window(speed_rad_s: Array, power_w: Array) -> tuple[float, float]:
    """Return the speeds round peak power.

    Parameters
    ----------
    speed_rad_s : ndarray, shape (n,)
        Speeds, equally spaced. [rad/s]
    power_w : ndarray, shape (n,)
        Power. [W]

    Returns
    -------
    tuple of float
        8 % either way round the top of the parabola through the three best; inside the speeds. [rad/s]
    """
    best = int(np.clip(np.argmax(power_w), 1, speed_rad_s.size - 2))
    before, at, after = power_w[best - 1 : best + 2]
    bend = before - 2 * at + after
    shift = float(np.clip((before - after) / (2 * bend), -1, 1)) if bend < 0 else np.sign(after - before)
    peak = speed_rad_s[best] + shift * (speed_rad_s[1] - speed_rad_s[0])
    high = min(peak * (1 + WINDOW), speed_rad_s[-1])
    low = max(high * (1 - WINDOW) / (1 + WINDOW), speed_rad_s[0])
    return float(low), float(high)


def _curve(prescribed: bool, speeds: Array, spread: float) -> tuple[Array, Array]:
    """Return speeds and length shares of a curve: every length over every speed."""
    lengths = [0.0] if prescribed else CURVE_LENGTHS
    return np.tile(speeds, len(lengths)), np.repeat([1 + spread * one for one in lengths], speeds.size)


def _near(ask: Ask, look: Ask, looked: Answer) -> Array:
    """Return states to start from: those of the nearest speed and length that was looked at."""
    closed = np.all(np.isfinite(looked.state), axis=0)
    speed = np.where(closed, np.abs(ask.speed_rad_s[:, None] / look.speed_rad_s - 1), np.inf)
    length = np.abs(ask.length_share[:, None] / look.length_share - 1)
    return looked.state[:, np.argmin(speed + length, axis=1)]


def _brake(answer: Answer, friction_level: float) -> Array:
    return answer.indicated_w - friction_level * answer.friction_w


class _Plan:
    """The questions about one structure, and how their answers are put together."""

    def __init__(
        self, bench: Bench, prescribed: bool, window: tuple[float, float], speeds: Array, spread: float
    ):
        self.bench, self.speeds = bench, speeds
        self.stages = range(len(bench.engine.stages))
        # Friction moves power in proportion to what is known of it already: no run is needed.
        self.keys = [
            key
            for key, one in bench.assumptions.items()
            if one.standard_uncertainty > 0 and key != "friction_level"
        ]
        self.runs = design(self.keys)
        reach = 0.0 if prescribed else spread
        fine, rough = (lattice(n[prescribed], *window, reach) for n in (NOMINAL, MOVED))
        self.nominal = [Ask(prescribed, k, k, *fine) for k in self.stages]
        later = self.stages[1:]
        self.intakes = [Ask(prescribed, k, 0, *fine) for k in later]
        self.exhausts = [Ask(prescribed, 0, k, *fine) for k in later]
        tilts = ((1 + TILT, 1.0), (1.0, 1 + TILT))
        self.tilts = [Ask(prescribed, 0, 0, *fine, tilt=tilt) for tilt in tilts] if later else []
        self.moved = [Ask(prescribed, k, k, *rough, moved=run) for run in self.runs for k in self.stages]
        self.curves = [Ask(prescribed, k, k, *_curve(prescribed, speeds, spread)) for k in self.stages]
        self._lists = [self.nominal, self.intakes, self.exhausts, self.tilts, self.moved, self.curves]

    @property
    def asks(self) -> list[Ask]:
        """Return all questions."""
        return [ask for asks in self._lists for ask in asks]

    def answers(self, found: list[Answer]) -> StructureAnswers:
        """Return what the answers come to, given in the order of `asks`."""
        level = self.bench.value("friction_level", {})
        ends = np.cumsum([len(asks) for asks in self._lists])
        groups = [found[end - len(asks) : end] for end, asks in zip(ends, self._lists, strict=True)]
        for ask, one in zip(self.asks[: ends[-2]], found, strict=False):  # all but the curves
            if np.isnan(one.indicated_w).any():
                raise CycleError(ask.speed_rad_s[np.isnan(one.indicated_w)])
        nominal, intakes, exhausts, tilts, moved = (
            np.array([_brake(one, level).mean() for one in group]) for group in groups[:5]
        )
        friction = np.array([one.friction_w.mean() for one in groups[0]])
        signs = np.array([[sign for _, sign in run] for run in self.runs])  # (runs, unknowns)
        effects = signs.T @ moved.reshape(len(self.runs), -1) / len(self.runs)  # (unknowns, stages)
        of_friction = -self.bench.assumptions["friction_level"].standard_uncertainty * friction
        power = tuple(
            Linear(
                float(nominal[k]),
                {
                    **dict(zip(self.keys, effects[:, k].tolist(), strict=True)),
                    "friction_level": float(of_friction[k]),
                },
            )
            for k in self.stages
        )
        # Half of what one side's change does alone, half of what it does on top of the other's.
        parts = ((intakes - nominal[0]) + (nominal[1:] - exhausts)) / 2
        weight: dict[Side, float] = {
            side: float(tilted - nominal[0]) / TILT for side, tilted in zip(SIDES, tilts, strict=False)
        }
        curves = np.array([_brake(one, level).reshape(-1, self.speeds.size) for one in groups[5]])
        mean = curves.mean(axis=1)
        return StructureAnswers(
            power,
            (0.0, *parts.tolist()),
            Sides(*(weight.get(side, 0.0) for side in SIDES)),
            mean,
            curves.std(axis=1) / np.abs(mean),
        )
