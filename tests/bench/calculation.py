"""How long the core and the PDF take, against the least that such work can take."""

from __future__ import annotations

import csv
import io
import random
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from fpdf import FPDF
from scipy.interpolate import PchipInterpolator

from core.files.load import load_job
from core.job import Air, Bench, BenchSheet, CamLobe, Engine, Job, Reading, Setup, Sides, Stage
from core.job import Valve as JobValve
from core.review import review
from core.units import METRIC
from dashboard.handover.pdf import summary_pdf
from tests.bench.ratio import Ratio, cpu_seconds
from tests.invented_bench import INH2O_PA, ISO_2533, PORT, Truth, Valve, Weather, sweep
from tests.invented_sheets import DEMO

STAGES, PORTS, LIFTS, SHEETS = 8, 4, 16, 1000
SIZES = {"intake": Valve(2, 0.0335, 0.029, 0.0055), "exhaust": Valve(2, 0.0285, 0.0245, 0.0055)}
LOBE = CamLobe(lift_m=0.0112, duration_rad=4.4, at_lift_m=0.001, lash_m=0.0002)


def large_job(setups: int) -> Job:
    """Return an invented job of 8 stages, 4 ports, 2 sides and 16 lifts."""
    rng = random.Random("large job")
    weather = Weather(98400, 294.15, 0.45, 297.15)
    lifts = [0.00075 * (n + 1) for n in range(LIFTS)]
    ports = {str(n + 1): {side: rng.gauss(1, PORT) for side in SIZES} for n in range(PORTS)}
    sheets = []
    for stage in range(STAGES):
        truth = Truth(0.58 + 0.004 * stage, 0.62 + 0.012 * stage)
        both = {side: (truth, valve) for side, valve in SIZES.items()}
        for port in ports:
            for setup in range(setups):
                rows = sweep(rng, both, ports[port], lifts, 25 * INH2O_PA, weather, ISO_2533)
                readings = {
                    side: tuple(
                        Reading(lift, line, flow_m3_s=row[side]) for line, (lift, row) in enumerate(rows, 2)
                    )
                    for side in SIZES
                }
                sheets.append(
                    BenchSheet(
                        file=f"{stage}-{port}-{setup}.csv",
                        readings=Sides(readings["intake"], readings["exhaust"]),
                        stage=f"stage {stage}",
                        port=port,
                        air=Air(98400, None, 294.15, 0.45, 297.15, None, 25 * INH2O_PA),
                        fixture=Setup(0.086, "clay radius", "bare", 2, None, "fitted"),
                    )
                )
    valves = [JobValve(v.head_m, v.count, v.stem_m, v.throat_m, np.pi / 4, 0.0012) for v in SIZES.values()]
    return Job(
        name="large",
        title="Large",
        stages=tuple(Stage(f"stage {n}", price=100.0 * n) for n in range(STAGES)),
        sheets=tuple(sheets),
        fingerprint="large",
        engine=Engine(cylinders=4, bore_m=0.086, stroke_m=0.086, compression_ratio=11.0),
        valves=Sides(*valves),
        cams=Sides(LOBE, LOBE),
        benches=(Bench(calibrated_at_pa=28 * INH2O_PA, calibration=0.015),),
    )


def curve_floor() -> float:
    """Return what drawing one smooth line through each curve of that job costs, and nothing more."""
    lifts = np.linspace(0.00075, 0.012, LIFTS)
    flows = np.sqrt(lifts)
    return cpu_seconds(lambda: [PchipInterpolator(lifts, flows)(lifts) for _ in range(STAGES * PORTS * 2)])


def reviews() -> Iterator[Ratio]:
    """Time ``review``."""
    floor = curve_floor()
    for setups in (1, 3):
        job = large_job(setups)
        curves = f"{STAGES} stages x {PORTS} ports x 2 sides x {LIFTS} lifts"
        name = f"review of {curves}, {setups} set-up{'s' if setups > 1 else ''} each, CPU"
        took = cpu_seconds(lambda job=job: review(job))
        yield Ratio(name, took, "one scipy interpolation a curve", floor, "< 50 ms" if setups == 1 else "")


def bare_parse(paths: list[Path]) -> int:
    """Read sheets with the csv module and nothing else; return how many numbers there were."""
    count = 0
    for path in paths:
        with path.open(encoding="utf-8", newline="") as file:
            rows = csv.reader(line for line in file if not line.startswith("#"))
            next(rows)
            count += sum(len([float(cell) for cell in row]) for row in rows)
    return count


def loads() -> Iterator[Ratio]:
    """Time the reading of many sheets at once."""
    sample = (DEMO / "sprint-four" / "as-cast_port-2_setup-1.csv").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / f"{n:04d}.csv" for n in range(SHEETS)]
        for n, path in enumerate(paths):
            text = sample.replace("# stage: as cast", f"# stage: stage {n % STAGES}\n# order: {n % STAGES}")
            path.write_text(text, encoding="utf-8", newline="\n")
        name = f"reading {SHEETS} bench sheets, CPU"
        loaded = cpu_seconds(lambda: load_job(paths), times=7)
        yield Ratio(name, loaded, "the csv module alone", cpu_seconds(lambda: bare_parse(paths), times=7))


def bare_page() -> bytes:
    """Return a PDF of one page with one line of text."""
    pdf = FPDF()
    pdf.add_page()
    pdf.set_font("Helvetica", size=12)
    pdf.cell(text="one line")
    buffer = io.BytesIO()
    pdf.output(buffer)
    return buffer.getvalue()


def papers() -> Iterator[Ratio]:
    """Time ``summary.pdf`` of the largest demo job."""
    done = review(load_job([DEMO / "sprint-four"]).job)
    made = cpu_seconds(lambda: summary_pdf(done, METRIC), times=5)
    yield Ratio("summary.pdf of the demo job, CPU", made, "a bare fpdf2 page", cpu_seconds(bare_page))
