"""The invented bench day on which much goes wrong; written by ``tests.make_demo``.

A triple on a bench that reads in percent of range. The plate reads 4 % low on 4 April only.
On 11 April one cell lost its decimal point, one exhaust sweep was copied, one barometer was
taken from a weather report, the meter ran hot, the last stage sat in another fixture, and a
third port stands in for the second.
"""

from __future__ import annotations

import random
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace

from tests.invented_bench import INH2O_PA, ISO_2533, PORT, READING, Truth, Weather, indicated, sweep
from tests.invented_sheets import DEMO, NOTE, celsius, from_celsius, sheet_text, valves_of

SIDES = ("intake", "exhaust")
DROP_PA = 20 * INH2O_PA
RANGES_M3_S = (0.02, 0.04, 0.08)  # of the bench: 20, 40 and 80 L/s
PLATE_M3_S = 0.055  # certified, of standard air at the reference
TRUTHS = {
    "as delivered": {"intake": Truth(0.560, 0.600), "exhaust": Truth(0.560, 0.600)},
    "seats cut": {"intake": Truth(0.592, 0.618), "exhaust": Truth(0.588, 0.612)},
    "bowls opened": {"intake": Truth(0.595, 0.672), "exhaust": Truth(0.592, 0.650)},
}
WEATHER = {
    "2026-03-21": Weather(96510, from_celsius(16.0), 0.52, from_celsius(18.5)),
    "2026-03-28": Weather(96840, from_celsius(17.5), 0.47, from_celsius(20.0)),
    "2026-04-04": Weather(96290, from_celsius(18.0), 0.55, from_celsius(20.5)),
    "2026-04-11": Weather(96420, from_celsius(21.5), 0.44, from_celsius(24.0)),
}
READS = dict.fromkeys(WEATHER, 1.0) | {"2026-04-04": 0.96}  # the bench against itself, day by day
LEAKS_M3_S = {"2026-03-28": 0.0002, "2026-04-11": 0.0006}
LEAK_SHARE = {"intake": 1.0, "exhaust": 0.8}

Cells = list[tuple[str, str]]  # percent of range, and that range in L/s


@dataclass(frozen=True)
class Sweep:
    """One sheet of the day, and what went wrong on it."""

    stage: str
    port: str
    setup: int
    date: str
    bore: str = "76 mm"
    barometer: str | None = None  # as written down, where that is not what it was
    meter_k: float | None = None
    slip: tuple[str, int] | None = None  # side and row of a lost decimal point
    copied: str | None = None  # side that was copied from the sheet before


PLAN = (
    Sweep("as delivered", "1", 1, "2026-03-28"),
    Sweep("as delivered", "1", 2, "2026-03-28"),
    Sweep("as delivered", "2", 1, "2026-04-04"),
    Sweep("seats cut", "1", 1, "2026-04-11", slip=("intake", 6)),
    Sweep("seats cut", "1", 2, "2026-04-11"),
    Sweep("seats cut", "2", 1, "2026-04-11", copied="exhaust"),
    Sweep("bowls opened", "1", 1, "2026-04-11", bore="72 mm", barometer="1014.8 hPa"),
    Sweep("bowls opened", "3", 1, "2026-04-11", bore="72 mm", meter_k=from_celsius(43.0)),
)


def in_percent(flow_m3_s: float) -> tuple[str, str]:
    """Return a reading in percent of the least range that holds it, and that range in L/s."""
    full = next(one for one in RANGES_M3_S if flow_m3_s < 0.95 * one)
    return f"{100 * flow_m3_s / full:.1f}", f"{1000 * full:.0f}"


def header(date: str, now: Weather) -> dict[str, str]:
    """Return what stands on every sheet of a day."""
    return {
        "note": NOTE,
        "date": date,
        "bench": "range bench",
        "barometer": f"{now.barometer_pa / 100:.1f} hPa",
        "altitude": "430 m",
        "air temperature": celsius(now.air_k),
        "humidity": f"{now.humidity * 100:.0f} %",
        "meter temperature": celsius(now.meter_k),
        "test pressure": "20 inH2O",
    }


def checks(rng: random.Random) -> Iterator[tuple[str, str]]:
    """Make the plate and leak sheets."""
    columns = [f"{side} [%]" for side in SIDES]
    certificate = {
        "intake range": "80 L/s",
        "exhaust range": "80 L/s",
        "certified flow": f"{PLATE_M3_S * 1000:.1f} L/s",
        "certified at": "28 inH2O",
        "certified air": "ISO 2533",
        "certified uncertainty": "0.5 %",
    }
    for date, now in WEATHER.items():
        shown = [
            indicated(PLATE_M3_S, side, DROP_PA, now, ISO_2533) * rng.gauss(1, READING) for side in SIDES
        ]
        cells = [f"{100 * READS[date] * one / 0.08:.1f}" for one in shown]
        head = {"role": "calibration", **header(date, now), **certificate}
        yield f"plate_{date}.csv", sheet_text(head, columns, [cells])
    for date, leak in LEAKS_M3_S.items():
        cells = [f"{100 * leak * LEAK_SHARE[side] / 0.02:.1f}" for side in SIDES]
        ranges = {"intake range": "20 L/s", "exhaust range": "20 L/s"}
        head = {"role": "leak", **header(date, WEATHER[date]), **ranges}
        yield f"leak_{date}.csv", sheet_text(head, columns, [cells])


def go_wrong(one: Sweep, found: dict[str, Cells], before: dict[str, Cells]) -> dict[str, Cells]:
    """Return a sheet's cells as they were written down."""
    written = {side: list(cells) for side, cells in found.items()}
    if one.copied:
        written[one.copied] = list(before[one.copied])
    if one.slip:
        side, row = one.slip
        percent, full = written[side][row]
        written[side][row] = (f"{float(percent) / 10:.2f}", full)
    return written


def messy_day() -> Iterator[tuple[str, str]]:
    """Make all sheets: plate and leak, then the head."""
    rng = random.Random("messy day")
    job = tomllib.loads((DEMO / "messy-day" / "job.toml").read_text(encoding="utf-8"))
    ports = {port: {side: rng.gauss(1, PORT) for side in SIDES} for port in "123"}
    lifts = [n / 1000 for n in range(1, 11)]
    columns = ["lift [mm]", "intake [%]", "exhaust [%]", "intake range [L/s]", "exhaust range [L/s]"]
    yield from checks(rng)
    before: dict[str, Cells] = {}
    minutes = 8 * 60 + 40
    for one in PLAN:
        valves = valves_of(job, one.stage)
        now = replace(WEATHER[one.date], meter_k=one.meter_k or WEATHER[one.date].meter_k)
        both = {side: (TRUTHS[one.stage][side], valves[side]) for side in SIDES}
        rows = sweep(rng, both, ports[one.port], lifts, DROP_PA, now, ISO_2533)
        leak = LEAKS_M3_S.get(one.date, 0.0)
        found = {
            side: [in_percent(READS[one.date] * row[side] + leak * LEAK_SHARE[side]) for _, row in rows]
            for side in SIDES
        }
        written = go_wrong(one, found, before)
        before = found
        table = [
            [f"{lift * 1000:.0f}", *(written[s][i][0] for s in SIDES), *(written[s][i][1] for s in SIDES)]
            for i, lift in enumerate(lifts)
        ]
        head = {
            **header(one.date, now),
            "stage": one.stage,
            "port": one.port,
            "time": f"{minutes // 60:02d}:{minutes % 60:02d}",
            "bore": one.bore,
            "intake entry": "clay radius",
            "exhaust exit": "bare",
            "valves open": "1",
            "test valve": "the head's own",
            "spark plug": "fitted",
        }
        head["barometer"] = one.barometer or head["barometer"]
        name = f"{one.stage.replace(' ', '-')}_port-{one.port}_setup-{one.setup}.csv"
        yield name, sheet_text(head, columns, table)
        minutes += 40
