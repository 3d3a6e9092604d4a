"""Invented jobs of any shape for tests of what is drawn: no number here was measured."""

from __future__ import annotations

import datetime as dt
import math
import random

from core.job import Air, Bench, BenchSheet, CamLobe, Engine, Job, Reading, Setup, Side, Sides, Stage, Valve

INCH_WATER_PA = 249.08891
TOP_M = 0.011
PEAK_M3_S = {"intake": 0.106, "exhaust": 0.080}


def invented_job(
    *,
    stages: int = 4,
    lifts: int = 11,
    sides: tuple[Side, ...] = ("intake", "exhaust"),
    setups: int = 2,
    ports: tuple[str | None, ...] = ("2",),
    cam: bool = True,
    priced: bool = True,
    names: tuple[str, ...] = (),
    title: str = "Invented four",
) -> Job:
    """Return a job whose stages each add some flow, with noise from a fixed seed."""
    noise = random.Random(1)
    names = names or tuple(["as cast", "seat cut", "throat and bowl", "port exit"][:stages])
    names += tuple(f"stage {i + 1}" for i in range(len(names), stages))
    sheets = [
        _sheet(noise, name, place / max(stages - 1, 1), sides, lifts, port, setup)
        for place, name in enumerate(names)
        for port in ports
        for setup in range(setups)
    ]
    valve = Valve(diameter_m=0.0335, valves_per_cylinder=2, stem_diameter_m=0.0055, throat_diameter_m=0.029)
    lobe = CamLobe(lift_m=0.0104, duration_rad=math.radians(252), at_lift_m=0.001, lash_m=0.0002)
    return Job(
        name="invented",
        title=title,
        stages=tuple(
            Stage(name, price=(0.0 if i == 0 else 150.0 + 90 * i) if priced else None)
            for i, name in enumerate(names)
        ),
        sheets=tuple(sheets),
        fingerprint="7f3c-91ae",
        currency="EUR" if priced else None,
        engine=Engine(cylinders=4, bore_m=0.086, stroke_m=0.086),
        valves=Sides(valve, valve),
        cams=Sides(lobe, lobe) if cam else Sides(None, None),
        benches=(Bench(name="shop bench", calibrated_at_pa=28 * INCH_WATER_PA),),
    )


def _sheet(
    noise: random.Random,
    stage: str,
    share: float,
    sides: tuple[Side, ...],
    lifts: int,
    port: str | None,
    setup: int,
) -> BenchSheet:
    at = [TOP_M * (i + 1) / lifts for i in range(lifts)]
    moved = {side: 1 + noise.gauss(0, 0.002) for side in sides}

    def readings(side: Side) -> tuple[Reading, ...]:
        if side not in sides:
            return ()
        return tuple(
            Reading(
                lift,
                line=12 + i,
                flow_m3_s=round(
                    PEAK_M3_S[side]
                    * math.tanh(1.9 * lift / TOP_M)
                    * (1 + 0.13 * share * lift / TOP_M)
                    * moved[side]
                    * (1 + noise.gauss(0, 0.001)),
                    5,
                ),
            )
            for i, lift in enumerate(at)
        )

    day = dt.date(2026, 3, 3 + round(10 * share))
    return BenchSheet(
        file=f"{stage.replace(' ', '-')}_port-{port}_{setup + 1}.csv",
        readings=Sides(readings("intake"), readings("exhaust")),
        stage=stage,
        port=port,
        date=day,
        air=Air(
            barometer_pa=98400.0, air_temperature_k=294.65, humidity=0.46, test_pressure_pa=25 * INCH_WATER_PA
        ),
        fixture=Setup(bore_m=0.086, intake_entry="clay radius"),
    )
