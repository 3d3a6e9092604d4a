"""Invent the bench sheets under ``demo_runs/``: ``python -m tests.make_demo``.

Every number comes from ``tests.invented_bench``; here and in ``tests.messy_day`` stand the
stories: which engine, which stages did what, which days. The seeds are fixed, so the same files
come out every time. Valve sizes are read from each demo's own ``job.toml``, written by hand.
"""

from __future__ import annotations

import random
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import replace

from tests.invented_bench import (
    CFM_M3_S,
    DRY_60F,
    INCH_M,
    INH2O_PA,
    INHG_PA,
    ISO_2533,
    PORT,
    Truth,
    Valve,
    Weather,
    sweep,
)
from tests.invented_sheets import (
    DEMO,
    NOTE,
    celsius,
    fahrenheit,
    from_celsius,
    from_fahrenheit,
    length,
    sheet_text,
    valves_of,
)
from tests.messy_day import messy_day

Rows = list[tuple[float, dict[str, float]]]  # lift in m, flow in m3/s of each side


def sprint_four() -> Iterator[tuple[str, str]]:
    """Four stages, two ports, two bench days: 25 inH2O on the first, 28 on the second.

    The valve job is on the bench on both days, so the second day hangs on the first.
    The polish does nothing for the intake that this bench could tell.
    """
    rng = random.Random("sprint four")
    job = tomllib.loads((DEMO / "sprint-four" / "job.toml").read_text(encoding="utf-8"))
    truths = {
        "as cast": {"intake": Truth(0.585, 0.640), "exhaust": Truth(0.580, 0.640)},
        "valve job": {"intake": Truth(0.612, 0.652), "exhaust": Truth(0.606, 0.650)},
        "bowl blend": {"intake": Truth(0.614, 0.712), "exhaust": Truth(0.610, 0.688)},
        "port polish": {"intake": Truth(0.614, 0.7135), "exhaust": Truth(0.611, 0.713)},
    }
    ports = {p: {side: rng.gauss(1, PORT) for side in ("intake", "exhaust")} for p in ("2", "3")}
    first = ("2026-03-14", 25 * INH2O_PA, Weather(98440, from_celsius(14.5), 0.58, from_celsius(19.0)))
    second = ("2026-03-28", 28 * INH2O_PA, Weather(101730, from_celsius(21.0), 0.41, from_celsius(26.5)))
    plan = [
        (first, "as cast", "2", 3),
        (first, "as cast", "3", 2),
        (first, "valve job", "2", 2),
        (first, "valve job", "3", 2),
        (second, "valve job", "2", 1),
        (second, "valve job", "3", 1),
        (second, "bowl blend", "2", 2),
        (second, "bowl blend", "3", 2),
        (second, "port polish", "2", 3),
        (second, "port polish", "3", 2),
    ]
    lifts = [n / 1000 for n in range(1, 12)]
    clock = {first[0]: 8 * 60 + 50, second[0]: 9 * 60 + 10}
    done: dict[tuple[str, str], int] = {}
    for (date, drop, weather), stage, port, setups in plan:
        valves = valves_of(job, stage)
        for _ in range(setups):
            done[stage, port] = done.get((stage, port), 0) + 1
            name = f"{stage.replace(' ', '-')}_port-{port}_setup-{done[stage, port]}.csv"
            hours = (clock[date] - 9 * 60) / 60  # a shop warms up, and the meter with it
            now = replace(
                weather,
                barometer_pa=weather.barometer_pa - 30 * round(hours),
                air_k=weather.air_k + round(0.5 * hours, 1),
                meter_k=weather.meter_k + round(0.7 * hours, 1),
            )
            rows = sweep(
                rng,
                {side: (truths[stage][side], valves[side]) for side in valves},
                ports[port],
                lifts,
                drop,
                now,
                ISO_2533,
            )
            when = f"{clock[date] // 60:02d}:{clock[date] % 60:02d}"
            what = {"stage": stage, "port": port, "date": date, "time": when}
            yield name, _sprint_sheet(what, now, drop, rows)
            clock[date] += 35


def _sprint_sheet(what: dict[str, str], weather: Weather, drop_pa: float, rows: Rows) -> str:
    """Return a sheet of the shop's bench."""
    header = {
        "note": NOTE,
        **what,
        "bench": "shop bench",
        "barometer": f"{weather.barometer_pa / 100:.1f} hPa",
        "air temperature": celsius(weather.air_k),
        "humidity": f"{weather.humidity:.0%}".replace("%", " %"),
        "meter temperature": celsius(weather.meter_k),
        "test pressure": f"{drop_pa / INH2O_PA:.0f} inH2O",
        "bore": "80 mm",
        "intake entry": "clay radius",
        "exhaust exit": "bare",
        "valves open": "2",
        "test valve": "the head's own",
        "spark plug": "fitted",
    }
    table = [
        [f"{lift * 1000:.0f}"] + [f"{row[side] * 1000:.1f}" for side in ("intake", "exhaust")]
        for lift, row in rows
    ]
    return sheet_text(header, ["lift [mm]", "intake [L/s]", "exhaust [L/s]"], table)


def touring_twin() -> Iterator[tuple[str, str]]:
    """Three stages of a two-valve twin on a bench that only pulls 10 inH2O.

    The exhaust's new seats lose at low lift what its bowls more than bring back above; the last
    stage leaves the exhaust as it was. A reference head with larger valves is the target.
    """
    rng = random.Random("touring twin")
    job = tomllib.loads((DEMO / "touring-twin" / "job.toml").read_text(encoding="utf-8"))
    truths = {
        "as delivered": {"intake": Truth(0.560, 0.600), "exhaust": Truth(0.560, 0.600)},
        "seats and bowls": {"intake": Truth(0.588, 0.655), "exhaust": Truth(0.536, 0.676)},
        "larger intake": {"intake": Truth(0.590, 0.668), "exhaust": Truth(0.536, 0.677)},
    }
    ports = {p: {side: rng.gauss(1, PORT) for side in ("intake", "exhaust")} for p in ("front", "rear")}
    days = {
        "as delivered": (
            "2026-01-19",
            Weather(29.12 * INHG_PA, from_fahrenheit(63), 0.34, from_fahrenheit(70)),
        ),
        "seats and bowls": (
            "2026-01-30",
            Weather(28.87 * INHG_PA, from_fahrenheit(66), 0.45, from_fahrenheit(74)),
        ),
        "larger intake": (
            "2026-02-16",
            Weather(29.30 * INHG_PA, from_fahrenheit(60), 0.29, from_fahrenheit(68)),
        ),
    }
    lifts = [n * 0.05 * INCH_M for n in range(1, 12)]
    for stage, (date, weather) in days.items():
        valves = valves_of(job, stage)
        minutes = 9 * 60 + 5
        for port in ports:
            for number in (1, 2):
                rows = sweep(
                    rng,
                    {side: (truths[stage][side], valves[side]) for side in valves},
                    ports[port],
                    lifts,
                    10 * INH2O_PA,
                    weather,
                    DRY_60F,
                )
                when = f"{minutes // 60:02d}:{minutes % 60:02d}"
                what = {"stage": stage, "port": port, "date": date, "time": when}
                yield f"{stage.replace(' ', '-')}_{port}_{number}.csv", _twin_sheet(what, weather, rows)
                minutes += 30
    yield from _reference_head(job, lifts)


def _reference_head(job: dict, lifts: list[float]) -> Iterator[tuple[str, str]]:
    """A head that the shop did once, read on the same bench: larger valves, and better ports behind them."""
    rng = random.Random("touring twin, reference head")
    truths = {"intake": Truth(0.598, 0.700), "exhaust": Truth(0.578, 0.700)}
    own = valves_of(job, job["stage"][-1]["name"])
    throats = {"intake": 1.70 * INCH_M, "exhaust": 1.39 * INCH_M}
    heads = {side: length(job["target"][side]["valve_diameter"]) for side in own}
    valves = {side: Valve(1, heads[side], throats[side], own[side].stem_m) for side in own}
    weather = Weather(29.05 * INHG_PA, from_fahrenheit(65), 0.40, from_fahrenheit(72))
    for number in (1, 2, 3):
        both = {side: (truths[side], valves[side]) for side in valves}
        rows = sweep(rng, both, dict.fromkeys(valves, 1.0), lifts, 10 * INH2O_PA, weather, DRY_60F)
        what = {"role": "target", "stage": job["target"]["name"], "port": "1", "date": "2025-11-08"}
        what["time"] = f"{9 + number:02d}:00"
        yield f"reference-head_{number}.csv", _twin_sheet(what, weather, rows)


def _twin_sheet(what: dict[str, str], weather: Weather, rows: Rows) -> str:
    """Return a sheet of the ten-inch bench."""
    header = {
        "note": NOTE,
        **what,
        "barometer": f"{weather.barometer_pa / INHG_PA:.2f} inHg",
        "air temperature": fahrenheit(weather.air_k),
        "humidity": f"{weather.humidity * 100:.0f} %",
        "meter temperature": fahrenheit(weather.meter_k),
        "test pressure": "10 inH2O",
        "bore": "3.70 in",
        "intake entry": "radius plate",
        "exhaust exit": "stub, 1.75 in",
        "valves open": "1",
        "test valve": "the head's own",
        "spark plug": "fitted",
    }
    table = [
        [f"{lift / INCH_M:.3f}"] + [f"{row[side] / CFM_M3_S:.1f}" for side in ("intake", "exhaust")]
        for lift, row in rows
    ]
    return sheet_text(header, ["lift [in]", "intake [cfm]", "exhaust [cfm]"], table)


def bare_sheets() -> Iterator[tuple[str, str]]:
    """Three sheets as a first visitor might bring them: one set-up each, little written down."""
    rng = random.Random("bare sheets")
    valves = {"intake": Valve(1, 0.036, 0.031, 0.007), "exhaust": Valve(1, 0.031, 0.0265, 0.007)}
    weather = Weather(100150, from_celsius(18.0), 0.5, from_celsius(18.0))
    unsaid = {"intake": 1.0, "exhaust": 1.0}
    air = {"barometer": "1001.5 hPa", "air temperature": "18 degC", "humidity": "50 %"}
    stages = [
        ("as received", "2026-05-02", {"intake": Truth(0.570, 0.585), "exhaust": Truth(0.560, 0.590)}, air),
        ("valve job", "2026-05-09", {"intake": Truth(0.598, 0.596), "exhaust": Truth(0.590, 0.594)}, {}),
        ("port work", "2026-05-23", {"intake": Truth(0.600, 0.668), "exhaust": Truth(0.592, 0.625)}, {}),
    ]
    lifts = [n / 1000 for n in range(1, 10)]
    for stage, date, truths, known in stages:
        both = {side: (truths[side], valves[side]) for side in valves}
        rows = sweep(
            rng, both, unsaid, lifts, 15 * INH2O_PA, weather, replace(ISO_2533, set_at_pa=15 * INH2O_PA)
        )
        header = {"note": NOTE, "stage": stage, "date": date, **known, "test pressure": "15 inH2O"}
        table = [
            [f"{lift * 1000:.0f}"] + [f"{row[side] / CFM_M3_S:.1f}" for side in ("intake", "exhaust")]
            for lift, row in rows
        ]
        columns = ["lift [mm]", "intake [cfm]", "exhaust [cfm]"]
        yield f"{stage.replace(' ', '-')}.csv", sheet_text(header, columns, table)


JOBS = {
    "sprint-four": sprint_four,
    "touring-twin": touring_twin,
    "bare-sheets": bare_sheets,
    "messy-day": messy_day,
}


def files() -> dict[str, str]:
    """Return every generated sheet: path under ``demo_runs`` -> text."""
    return {f"{folder}/{name}": text for folder, make in JOBS.items() for name, text in make()}


def main() -> int:
    """Write the sheets, and remove those that are no longer made."""
    made = files()
    for folder in JOBS:
        for old in (DEMO / folder).glob("*.csv"):
            if f"{folder}/{old.name}" not in made:
                old.unlink()
    for path, text in made.items():
        (DEMO / path).write_text(text, encoding="utf-8", newline="\n")
    print(f"{len(made)} sheets written under {DEMO.name}/")
    return 0


if __name__ == "__main__":
    sys.exit(main())
