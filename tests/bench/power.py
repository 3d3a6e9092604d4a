"""What the breathing model costs, how much its step matters, and whether straight lines stand for draws."""

from __future__ import annotations

from collections.abc import Iterator
from math import pi

import numpy as np

from core.breathing.cycle import closed_cycles
from core.files.load import load_job
from core.job import Job
from core.power_answers import NOMINAL, asked
from core.power_assumptions import LENGTH_SPREAD
from core.power_input import power_input
from core.power_model import PowerSettings, assumptions_of, power_model
from core.power_results import Anchor
from core.power_runs import STRUCTURES, Ask, Bench, lattice
from core.review import review
from tests.bench.ratio import Ratio, cpu_seconds
from tests.core.cylinders import COARSE, Profiles, cases
from tests.core.power_jobs import EXHAUST, HP_W, INTAKE, power_job, times
from tests.invented_sheets import DEMO

RPM = pi / 30
CASES = 1000  # of one run, as in a job of some stages
DRAWS = 80


def powers() -> Iterator[str | Ratio]:
    """Time the breathing model and study its step and its straight lines."""
    yield from costs()
    yield from screens()
    yield from steps()
    yield from draws()


def costs() -> Iterator[Ratio]:
    """Time a case (one speed, stage and length) against LSODA at rtol 1e-9 on the same equations."""
    engine = Profiles()
    many = cases(np.linspace(3000, 8000, CASES // 10)[:, None], np.linspace(0.24, 0.36, 10))
    cylinder = engine.cylinder(COARSE)
    turns = closed_cycles(cylinder, many).turns.mean()
    ours = cpu_seconds(lambda: closed_cycles(cylinder, many), times=1) / CASES
    speeds = (3500, 5000, 6500)
    scalars = [engine.scalar(cases(rpm)) for rpm in speeds]
    states = [closed_cycles(cylinder, cases(rpm)).state[:, 0] for rpm in speeds]

    def lsoda() -> None:
        for scalar, state in zip(scalars, states, strict=True):
            scalar.cycle(state)

    one = cpu_seconds(lsoda, times=3) / len(speeds)
    yield Ratio(
        f"LSODA, a case of {turns:.1f} cycles until it closes, CPU",
        one * turns,
        "the same case in the model",
        ours,
        "200 times",
    )


def screens() -> Iterator[Ratio]:
    """Time what the power screen of a demo job waits for."""
    job = load_job([DEMO / "sprint-four"]).job
    done = review(job)
    base = cpu_seconds(lambda: review(job))
    ours = cpu_seconds(lambda: power_model(job, done), times=3)
    yield Ratio("power of the demo job, CPU", ours, "its review", base, "5 times and 3 s on top")
    kept: dict = {}
    power_model(job, done, kept=kept)
    peak = PowerSettings(anchor=Anchor(95e3, job.stages[0].name))
    again = cpu_seconds(lambda: power_model(job, done, peak, kept=kept))
    yield Ratio("the same with another known peak, CPU", again, "its review", base)


def bench_of(job: Job) -> Bench:
    """Return a job's engine with its assumptions."""
    engine = power_input(job, review(job))
    return Bench(engine, assumptions_of(engine, PowerSettings()))


def gains(bench: Bench, window: tuple[float, float], step: float) -> np.ndarray:
    """Return the gain of the last stage over the first for both structures. [W]"""
    asks = []
    for prescribed in (False, True):
        points = lattice(NOMINAL[prescribed], *window, 0.0 if prescribed else LENGTH_SPREAD)
        last = len(bench.engine.stages) - 1
        asks += [Ask(prescribed, stage, stage, *points) for stage in (0, last)]
    found = [one.indicated_w.mean() for one in bench.ask(asks, coarse_rad=step)]
    return np.array([found[1] - found[0], found[3] - found[2]])


def steps() -> Iterator[str]:
    """Halve the step: a gain must change by less than 0.1 hp in 300."""
    more = times(INTAKE, 1.1), times(EXHAUST, 1.1)
    bench = bench_of(power_job({"before": (INTAKE, EXHAUST), "after": more}))
    level = bench.ask([Ask(False, 0, 0, *lattice(21, 6000 * RPM, 7000 * RPM, LENGTH_SPREAD))])[0]
    share = 300 * HP_W / level.indicated_w.mean()
    for rpm in (3100, 4500, 6500):
        window = (rpm * 0.97 * RPM, rpm * 1.03 * RPM)
        coarse, fine = (gains(bench, window, step) * share / HP_W for step in (COARSE, COARSE / 2))
        worst = np.max(np.abs(coarse - fine))
        yield (
            f"halving the step at {rpm} rpm changes a gain of {fine.mean():.2f} hp "
            f"by {worst:.3f} hp in 300; aim: < 0.1"
        )


def draws() -> Iterator[str]:
    """Draw all unknowns at once: the spread of a gain, against that of the straight lines."""
    bench = bench_of(load_job([DEMO / "sprint-four"]).job)
    answers = asked(bench)
    lines = [structure.power[-1] - structure.power[0] for structure in answers.structures]
    rng = np.random.default_rng(1)
    keys = [key for key, one in bench.assumptions.items() if one.standard_uncertainty > 0]
    asks = []
    last = len(bench.engine.stages) - 1
    moves = [dict(zip(keys, rng.standard_normal(len(keys)).tolist(), strict=True)) for _ in range(DRAWS)]
    for moved in moves:
        for prescribed in (False, True):
            points = lattice(
                8 if not prescribed else 3, *answers.window_rad_s, 0.0 if prescribed else LENGTH_SPREAD
            )
            asks += [
                Ask(prescribed, stage, stage, *points, moved=tuple(moved.items())) for stage in (0, last)
            ]
    found = bench.ask(asks)
    friction = [bench.value("friction_level", moved) for moved in moves for _ in range(4)]
    power = np.array(
        [
            (one.indicated_w - level * one.friction_w).mean()
            for one, level in zip(found, friction, strict=True)
        ]
    ).reshape(DRAWS, 2, 2)
    drawn = power[:, :, 1] - power[:, :, 0]
    for index, line in enumerate(lines):
        own = drawn[:, index] / HP_W
        # The scatter of a standard deviation from n draws is 1 / sqrt(2 n) of it.
        yield (
            f"{DRAWS} draws of all unknowns, {STRUCTURES[index]}: "
            f"{own.mean():.2f} ± {own.std(ddof=1):.3f} hp "
            f"(known to {1 / np.sqrt(2 * DRAWS):.0%}); straight lines: "
            f"{line.value / HP_W:.2f} ± {line.standard_uncertainty / HP_W:.3f} hp"
        )
