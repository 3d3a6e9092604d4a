"""A sceptic with the paper alone: every corrected flow, and the mean that is sold, follows from it."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from functools import cache

import numpy as np
import pypdf
import pytest
from scipy.interpolate import PchipInterpolator

from core.files.load import load_job
from core.review import review
from core.units import METRIC
from dashboard.handover.basis import LEFT_OUT
from dashboard.handover.pdf import summary_pdf
from tests.conftest import ROOT

SIDES = ("intake", "exhaust")
FORMULA = {
    "sprint-four": ": reading × density factor × pressure factor.",
    "touring-twin": ": reading × density factor × pressure factor.",
    "messy-day": ": (reading − leak) × plate factor × density factor × pressure factor.",
}
# Lifts times sides times sheets of a port, and how many of those flows a finding has stopped.
FLOWS = {"sprint-four": (11 * 2 * 20, 0), "touring-twin": (11 * 2 * 15, 0), "messy-day": (10 * 2 * 8, 1)}


@cache
def paper(name: str) -> str:
    """Return the text of a demo job's PDF, a line of it a line of the page."""
    job = load_job([ROOT / "demo_runs" / name]).job
    pages = pypdf.PdfReader(io.BytesIO(summary_pdf(review(job), METRIC))).pages
    text = "\n".join(page.extract_text(extraction_mode="layout") for page in pages)
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def cells(line: str) -> list[str]:
    return re.split(r" {2,}", line.strip())


def factors(text: str) -> dict[tuple[str, str], list[float]]:
    """Return leak (L/s) and the three factors of each sheet and side; what all share stands above."""
    names = ("leak", "plate factor", "density factor", "pressure factor")
    above = " ".join(text[text.index("\nCorrections") : text.index("ρ scale,")].split())
    shared = {n: found[1] for n in names if (found := re.search(rf"{n} (none|[\d.]+\d)", above))}
    own = [name for name in names if name not in shared]
    found = {}
    for file, side, *rest in map(cells, re.findall(r"^ *\S+\.csv +(?:intake|exhaust) .*$", text, re.M)):
        said = shared | dict(zip(own, rest[-len(own) :], strict=True))
        found[file, side] = [0.0 if said[n] == "none" else float(said[n].split()[0]) for n in names]
    return found


def flows(text: str) -> Iterator[tuple[str, str, float, str]]:
    """Yield (file, side, reading, corrected flow in L/s), as printed; tables may stand two abreast."""
    files: list[str] = []
    for line in text[text.index("\nReadings, and the flow") :].splitlines():
        if line.strip().startswith("Flow in"):
            continue
        if heads := [re.match(r"(\S+\.csv): (.*)", cell) for cell in cells(line) if ".csv:" in cell]:
            files = [head[1] for head in heads if ", port " in head[2]]
        row = cells(line)
        if not files or not row[0].isdigit():
            continue
        assert len(row) == 6 * len(files), line
        for file, start in zip(files, range(0, len(row), 6), strict=True):
            for side, at in zip(SIDES, (start + 2, start + 4), strict=True):
                share = re.fullmatch(r"([\d.]+) % of (\d+) L/s", row[at])
                reading = float(share[1]) / 100 * float(share[2]) if share else float(row[at])
                yield file, side, reading, row[at + 1]


@pytest.mark.parametrize("name", FLOWS)
def test_every_flow_follows_from_the_paper(name: str) -> None:
    """The formula is the paper's own sentence."""
    text = paper(name)
    assert FORMULA[name] in re.sub(r"\s+", " ", text)
    of_sheet = factors(text)
    # All sheets of a job are in one unit; the paper says what one of it is where that is not L/s.
    (in_l_s,) = [float(one) for one in re.findall(r" 1 \S+ = ([\d.]+) L/s\.", text)] or [1.0]
    done = left_out = 0
    for file, side, reading, printed in flows(text):
        leak, plate, density, pressure = of_sheet[file, side]
        flow = (reading * in_l_s - leak) * plate * density * pressure
        # Half a last digit of the flow, of the three factors, of the leak, of a reading's sixth digit and of
        # its unit's.
        budget = 0.05 + flow * (5e-5 / plate + 5e-5 / density + 5e-5 / pressure + 1e-5) + 5e-4 * pressure
        assert float(printed.removesuffix(f" {LEFT_OUT}")) == pytest.approx(flow, abs=budget), (file, side)
        done += 1
        left_out += printed.endswith(LEFT_OUT)
    assert (done, left_out) == FLOWS[name]


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("name", FLOWS)
def test_every_cam_weighted_mean_follows_from_the_paper(name: str, side: str) -> None:
    """From the printed curve of each stage, the printed net lift and the printed law of lift."""
    text = paper(name)
    flat = re.sub(r"\s+", " ", text)
    net, cam, ratio, lash = re.search(
        rf"{side.capitalize()}: valve .*?cam: net valve lift ([\d.]+) mm "
        r"\(cam lift ([\d.]+) mm(?: × rocker ratio ([\d.]+))?(?: − lash ([\d.]+) mm)?\)",
        flat,
    ).groups()
    # Lifts are printed to 0.01 mm, a ratio to four digits.
    assert float(net) == pytest.approx(float(cam) * float(ratio or 1) - float(lash or 0), abs=0.02)
    assert "lift = net lift × (1 − x²)², x from −1 to 1" in flat and "(PCHIP) through (0, 0)" in flat
    block = text[re.search(rf"^ *{side.capitalize()} by lift", text, re.M).end() :]
    rows = [cells(line) for line in block[: block.index("peak overall")].splitlines()]
    curve = [row for row in rows if re.match(r"\d[\d.]*( \(beyond cam\))?$", row[0])]
    printed = next(row for row in rows if row[0] == "cam-weighted")[1:]
    lift = [0.0, *(float(row[0].split(" ")[0]) for row in curve)]
    time = np.linspace(-1, 1, 4001)
    opened = float(net) * (1 - time**2) ** 2
    assert len(printed) > 2
    for stage, said in enumerate(printed, start=1):
        at = [i for i, row in enumerate(curve, start=1) if row[stage] != "–"]
        flow = [0.0, *(float(curve[i - 1][stage].split(" ")[0]) for i in at)]
        through = PchipInterpolator([0.0, *(lift[i] for i in at)], flow)(opened)
        mean = said.split(" ")[0]
        # Half a last digit of the mean, as much of the flows that it is the mean of, and what half a
        # last digit of the net lift moves it by: 0.005 mm times less than 2 L/s a mm, the mean slope.
        budget = 0.5 * 10.0 ** -len(mean.partition(".")[2]) + 0.05 + 0.01
        assert float(mean) == pytest.approx(np.trapezoid(through, time) / 2, abs=budget)
