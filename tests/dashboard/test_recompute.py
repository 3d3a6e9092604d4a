"""A sceptic with the paper alone: every corrected flow follows from what is printed."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pypdf
import pytest

from core.files.load import load_job
from core.review import review
from core.units import METRIC
from dashboard.handover.basis import LEFT_OUT
from dashboard.handover.pdf import summary_pdf

SIDES = ("intake", "exhaust")
READING = rf"([\d.]+) % of (\d+) L/s\s+([\d.]+)( {LEFT_OUT})?"


def paper(demo_runs: Path, name: str) -> str:
    """Return the text of a demo job's PDF, a line of it a line of the page."""
    job = load_job([demo_runs / name]).job
    pages = pypdf.PdfReader(io.BytesIO(summary_pdf(review(job), METRIC))).pages
    text = "\n".join(page.extract_text(extraction_mode="layout") for page in pages)
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def factors(text: str) -> dict[tuple[str, str], tuple[float, float, float]]:
    """Return (leak in L/s, plate factor, density factor) of each sheet and side, as printed."""
    found = {}
    for file, side, rest in re.findall(r"^ *(\S+\.csv) +(intake|exhaust) (.*)$", text, re.M):
        leak, plate, density = re.search(r"(none|[\d.]+ L/s) +([\d.]+) +([\d.]+) *$", rest).groups()
        found[file, side] = (0.0 if leak == "none" else float(leak.split()[0]), float(plate), float(density))
    return found


def test_every_flow_of_a_calibrated_and_leaking_bench_follows_from_the_paper(demo_runs):
    """The formula is the paper's own sentence: (reading - leak) x plate x density x pressure factor."""
    text = paper(demo_runs, "messy-day")
    assert "(reading − leak) × plate factor × density factor × pressure factor" in re.sub(r"\s+", " ", text)
    pressure = float(re.search(r"pressure factor ([\d.]+)\.", text).group(1))
    of_sheet = factors(text)
    assert len({plate for _, plate, _ in of_sheet.values()}) > 2  # one day stands apart, on either side
    done, left_out, file = 0, 0, None
    for line in text.splitlines():
        if heading := re.match(r" *(\S+\.csv): .*, port", line):
            file = heading.group(1)
        cells = re.findall(READING, line)
        for side, (percent, of_range, printed, stopped) in zip(SIDES, cells, strict=False):
            leak, plate, density = of_sheet[file, side]
            flow = (float(percent) / 100 * float(of_range) - leak) * plate * density * pressure
            # Half a last digit of the flow, of the three factors and of the leak.
            budget = 0.05 + flow * (5e-5 / plate + 5e-5 / density + 5e-5 / pressure) + 5e-4 * pressure
            assert float(printed) == pytest.approx(flow, abs=budget), f"{file}: {line}"
            done += 1
            left_out += bool(stopped)
    assert done == 160  # 8 sheets, 10 lifts, both sides
    assert left_out == 1  # the decimal slip
