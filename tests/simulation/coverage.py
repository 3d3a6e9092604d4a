"""Simulated comparisons: do the stated 95 % intervals hold the truth, and do verdicts keep their word?"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from core.bench import pressure_factor
from core.constants import INCH_WATER_PA
from core.job import BenchSheet, Job
from core.results import Gain
from core.side import SideWork
from tests.core.jobs import AIR, BENCH, LIFTS_M, PRESSURE_PA, job, sheet, truth

Array = NDArray[np.float64]

STANDARD_PA = 101325.0
LOW_PA = 10 * INCH_WATER_PA


@dataclass(frozen=True)
class Case:
    """A bench: what it errs by, all as standard uncertainties, and what it says of itself."""

    name: str
    setups: int
    of_setup: float = 0.0  # relative, common to a sweep
    of_sweep: float = 0.0  # relative, of each reading
    lift_m: float = 0.0  # of each reading's lift
    calibration: float = 0.0  # relative, of the bench; stated, too
    benches: int = 1  # 2: each stage on a bench of its own
    temperature_k: float = 0.0  # of meter and room, each day; stated, too
    warmer_k: float = 0.0  # the meter above the room
    mixed_pressures: bool = False  # the first stage at 10 inH2O, the second at 28

    @property
    def rectangular(self) -> bool:
        """Return whether a rectangular term exceeds the random part."""
        return self.mixed_pressures


HALF = 0.005 / 2**0.5
CASES = (
    Case("1 set-up, as assumed", 1, of_setup=0.005),
    Case("3 set-ups, all set-up", 3, of_setup=0.005),
    Case("3 set-ups, all within", 3, of_sweep=0.005),
    Case("3 set-ups, half and half", 3, of_setup=HALF, of_sweep=HALF),
    Case("6 set-ups, all set-up", 6, of_setup=0.005),
    Case("6 set-ups, all within", 6, of_sweep=0.005),
    Case("6 set-ups, half and half", 6, of_setup=HALF, of_sweep=HALF),
    Case("1 set-up, lift setting as assumed", 1, of_setup=0.005, lift_m=0.03e-3),
    Case("3 set-ups, lift setting", 3, of_setup=HALF, of_sweep=HALF, lift_m=0.03e-3),
    Case("3 set-ups, one calibration", 3, of_setup=HALF, of_sweep=HALF, calibration=0.015),
    Case("3 set-ups, a calibration each", 3, of_setup=HALF, of_sweep=HALF, calibration=0.015, benches=2),
    Case("3 set-ups, warm meter", 3, of_setup=HALF, of_sweep=HALF, temperature_k=2.0, warmer_k=20.0),
    Case("3 set-ups, mixed test pressures", 3, of_setup=HALF, of_sweep=HALF, mixed_pressures=True),
)
GAINED = tuple(case for case in CASES if case.name.startswith("3") and not case.calibration)[:3]


@dataclass(frozen=True)
class Figures:
    """What came of one case; shares of all its comparisons."""

    case: Case
    comparisons: int
    lifts: float  # intervals that hold the true gain, averaged over lifts
    least_lift: float  # and at the worst lift
    mean: float
    cam_weighted: float
    flow: float  # intervals of the stages' flows that hold the true flow
    any_clear: float  # comparisons with a clear verdict at any lift
    mean_clear: float  # with a clear mean
    cam_clear: float
    half_clear: float  # with a clear gain at half the lifts or more

    def __str__(self) -> str:
        held = (self.lifts, self.least_lift, self.mean, self.cam_weighted, self.flow)
        clear = (self.any_clear, self.mean_clear, self.cam_clear, self.half_clear)
        texts = [" ".join(f"{100 * share:5.1f}" for share in shares) for shares in (held, clear)]
        return f"{self.case.name:36} {texts[0]} | {texts[1]}"


HEAD = f"{'':36} lifts least  mean   cam  flow | any  mean   cam  half clear, all in %"


def simulate(case: Case, comparisons: int, gained: float = 0.0, seed: int = 0) -> Figures:
    """Return how often the review is right about many benches of one kind."""
    rng = np.random.default_rng([seed, *case.name.encode()])
    held, flows, clear, half, summaries = [], [], [], [], []
    for _ in range(comparisons):
        work = SideWork(_drawn(case, rng, gained), "intake")
        gain = work.gains()[0]
        held.append(np.abs(_numbers(gain.gain_fraction) - gained) <= _numbers(gain.expanded_fraction))
        flows += list(_flows_held(work, gained))
        clear.append([verdict != "too close to call" for verdict in gain.verdict])
        half.append(sum(verdict == "clear gain" for verdict in gain.verdict) >= len(LIFTS_M) / 2)
        summaries.append(_summaries(gain, gained))
    by_lift = np.mean(held, axis=0)
    mean, cam, mean_clear, cam_clear = np.mean(summaries, axis=0).tolist()
    return Figures(
        case,
        comparisons,
        float(by_lift.mean()),
        float(by_lift.min()),
        mean,
        cam,
        float(np.mean(flows)),
        float(np.any(clear, axis=1).mean()),
        mean_clear,
        cam_clear,
        float(np.mean(half)),
    )


def _numbers(values: tuple[float | None, ...]) -> Array:
    return np.array(values, dtype=float)


def _summaries(gain: Gain, gained: float) -> tuple[bool, bool, bool, bool]:
    both = (gain.mean, gain.cam_weighted)
    right = "clear gain" if gained else ("clear gain", "clear loss")
    held = [abs(one.gain_fraction - gained) <= one.expanded_fraction for one in both]
    return (*held, *(one.verdict in right for one in both))


def _flows_held(work: SideWork, gained: float) -> Iterator[float]:
    for curve, factor in zip(work.curves.values(), (1.0, 1.0 + gained), strict=True):
        true = factor * np.array([truth(lift) for lift in curve.result.lift_m])
        off = np.abs(_numbers(curve.result.flow_m3_s) - true)
        yield float(np.mean(off <= _numbers(curve.result.expanded_uncertainty_m3_s)))


def _drawn(case: Case, rng: np.random.Generator, gained: float) -> Job:
    """Return a job of two stages on a bench of this kind, the second better by what is gained."""
    bench = replace(
        BENCH,
        lift_setting_m=case.lift_m,
        calibration=case.calibration or 1e-9,
        temperature_reading_k=case.temperature_k or 1e-9,
    )
    scale = 1 + case.calibration * rng.standard_normal(2)
    stages: dict[str, list[BenchSheet]] = {}
    for index, name in enumerate("ab"):
        bench_name = f"bench {index if case.benches == 2 else 0}"
        drop = LOW_PA if case.mixed_pressures and index == 0 else PRESSURE_PA
        room, meter = AIR.air_temperature_k, AIR.air_temperature_k + case.warmer_k
        off_room, off_meter = case.temperature_k * rng.standard_normal(2)
        # The meter stands after the piece: its reading goes with the root of the warmth there.
        shared = ((meter + off_meter) / (room + off_room)) ** 0.5 * scale[index if case.benches == 2 else 0]
        shared *= _to_drop(drop, rng)
        air = replace(AIR, meter_temperature_k=meter, test_pressure_pa=drop)
        more = {"air": air, "bench": bench_name, "date": dt.date(2026, 3, 14 + index)}
        stages[name] = [
            sheet(_sweep(case, rng, shared * (1 + gained * index)), f"{name}-{n}.csv", **more)
            for n in range(case.setups)
        ]
    benches = tuple(
        replace(bench, name=f"bench {n}", calibrated_at_pa=None if case.mixed_pressures else PRESSURE_PA)
        for n in range(case.benches)
    )
    return job(stages, benches=benches)


def _sweep(case: Case, rng: np.random.Generator, factor: float) -> dict[float, float]:
    moved = factor * (1 + case.of_setup * rng.standard_normal())
    flows = {}
    for lift in LIFTS_M:
        at = lift + case.lift_m * rng.standard_normal()
        flows[lift] = truth(at) * moved * (1 + case.of_sweep * rng.standard_normal())
    return flows


def _to_drop(drop_pa: float, rng: np.random.Generator) -> float:
    """Return what a flow at the reference reads at another drop: the root of it, and off by what that is."""
    root, flux = (
        float(pressure_factor(rule, "intake", drop_pa, STANDARD_PA, PRESSURE_PA, STANDARD_PA))
        for rule in ("square root", "isentropic")
    )
    apart = abs(np.log(root / flux))
    return float(np.exp(rng.uniform(-apart, apart))) / root if apart else 1.0
