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


def swept(text: str, side: str) -> dict[tuple[str, str], list[np.ndarray]]:
    """Return the corrected sweeps of each stage and port, from readings and factors; all without a leak."""
    of_sheet, found = factors(text), {}
    in_l_s = [float(one) for one in re.findall(r" 1 \S+ = ([\d.]+) L/s\.", text)] or [1.0]
    heads = dict(re.findall(r"(\S+\.csv): ((?:\S+ )*\S+, port \S+)", text))
    sweeps: dict[str, list[float]] = {}
    for file, of_side, reading, _ in flows(text):
        if of_side == side:
            leak, plate, density, pressure = of_sheet[file, side]
            sweeps.setdefault(file, []).append((reading * in_l_s[0] - leak) * plate * density * pressure)
    for file, sweep in sweeps.items():
        stage, port = heads[file].split(", port ")
        found.setdefault((stage, port), []).append(np.array(sweep))
    return found


def lifts_read(text: str, side: str) -> np.ndarray:
    block = text[re.search(rf"^ *{side.capitalize()} by lift", text, re.M).end() :]
    rows = [cells(line)[0].split(" ")[0] for line in block[: block.index("cam-weighted")].splitlines()]
    return np.array([float(one) for one in rows if re.fullmatch(r"\d[\d.]*", one)])


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("name", ["sprint-four", "touring-twin"])  # without a plate or a leak
def test_what_a_reading_repeats_to_follows_from_the_paper(name: str, side: str) -> None:
    """Pooled over ports: analysis of variance of the set-ups' deviations from their port's mean."""
    text = paper(name)
    flat = re.sub(r"\s+", " ", text)
    of_flow, of_lift, dof, whole_flow, whole_lift = map(
        float,
        re.search(
            rf"One {side} reading on [\w-]+(?: \w+)? repeats to ([\d.]+) % of the flow and "
            r"([\d.]+) mm of lift \(standard uncertainties; from repeats, (\d+) degrees of freedom "
            r"between set-ups\), of which ([\d.]+) % of the flow and ([\d.]+) mm of lift move a whole sweep",
            flat,
        ).groups(),
    )
    assert whole_lift / whole_flow == pytest.approx(of_lift / of_flow, rel=0.05)  # two digits each
    lift = lifts_read(text, side)
    between = within = shed = 0.0
    for sweeps in swept(text, side).values():
        mean = np.mean(sweeps, axis=0)
        slope = PchipInterpolator(np.r_[0.0, lift], np.r_[0.0, mean]).derivative()(lift)
        scaled = (np.array(sweeps) - mean) / np.hypot(of_flow / 100 * mean, of_lift * slope)
        of_sweep = scaled.mean(axis=1, keepdims=True)
        between += float(np.sum(of_sweep**2))
        within += float(np.sum((scaled - of_sweep) ** 2))
        shed += (len(sweeps) - 1) * (lift.size - 1)
    assert shed == dof * (lift.size - 1)
    one = between / dof + within / shed * (1 - 1 / lift.size)
    # The printed figures are the scale itself: one reading has to come out as 1. Two digits of each
    # allow 1.5 %, and the slope at a reading, by another rule than ours, as much.
    assert np.sqrt(one) == pytest.approx(1, abs=0.03)
    assert np.sqrt(between / dof) == pytest.approx(whole_flow / of_flow, abs=0.03)


@pytest.mark.parametrize("side", SIDES)
def test_the_share_of_the_target_and_its_coefficients_follow_from_the_paper(side: str) -> None:
    text = paper("touring-twin")
    flat = re.sub(r"\s+", " ", text)
    lift, sweeps = lifts_read(text, side), swept(text, side)
    means = {
        stage: np.mean([np.mean(of_port, axis=0) for (one, _), of_port in sweeps.items() if one == stage], 0)
        for stage, _ in sweeps
    }
    net = float(re.search(rf"{side.capitalize()}: valve .*?net valve lift ([\d.]+) mm", flat)[1])
    opened = net * (1 - np.linspace(-1, 1, 4001) ** 2) ** 2
    of_stage, of_target = (
        PchipInterpolator(np.r_[0.0, lift], np.r_[0.0, means[stage]])(opened).mean()
        for stage in ("larger intake", "reference head")
    )
    reached = float(re.search(rf"The {side} reaches ([\d.]+) ± [\d.]+ % of the target", flat)[1])
    # Half a last digit, and what factors of four decimals allow a ratio of two means.
    assert reached == pytest.approx(100 * of_stage / of_target, abs=0.05 + 0.01)

    speed = float(re.search(rf"is (?:[\d.]+ m/s \(intake\), )?([\d.]+) m/s \({side}\)", flat)[1])
    own = re.search(rf"larger intake, {side}: valve ([\d.]+) mm", flat) or re.search(
        rf"{side.capitalize()}: valve ([\d.]+) mm", flat
    )
    sections = flat[flat.index(f"{side.capitalize()}: larger intake against the target") :]
    valves = float(own[1]), float(re.search(r"The target's valve is larger, ([\d.]+) mm", sections)[1])
    block = text[
        text.index(f"{side.capitalize()}: larger intake against the target, reference head, at each") :
    ]
    rows = [cells(line) for line in block.splitlines() if "clearly" in line or "too close" in line]
    assert len(rows[: lift.size]) == lift.size
    for at, row in zip(range(lift.size), rows, strict=False):
        gap_f, gap_d = (float(cell.split(" ")[0].replace("−", "-")) for cell in row[-2:])
        pair = list(zip((means["larger intake"][at], means["reference head"][at]), valves, strict=True))
        c_f = [flow * 1000 / (np.pi / 4 * valve**2 * speed) for flow, valve in pair]
        c_d = [flow * 1000 / (np.pi * valve * lift[at] * speed) for flow, valve in pair]
        # Half a last digit; valves and speed to four digits; a lift to 0.01 mm.
        for gap, (mine, theirs), cell in ((gap_f, c_f, row[-2]), (gap_d, c_d, row[-1])):
            half = 0.5 * 10.0 ** -len(cell.split(" ")[0].partition(".")[2])
            assert gap == pytest.approx(mine - theirs, abs=half + 5e-4 * mine), row


@pytest.mark.parametrize("name", FLOWS)
def test_compression_and_ceiling_follow_from_the_paper(name: str) -> None:
    text = paper(name)
    flat = re.sub(r"\s+", " ", text)
    first, bore, stroke, volume = map(
        float,
        re.search(
            r"first known chamber makes ([\d.]+)\); a cylinder of ([\d.]+) mm bore and ([\d.]+) mm stroke "
            r"sweeps ([\d.]+) cc",
            flat,
        ).groups(),
    )
    assert volume == pytest.approx(np.pi / 4 * bore**2 * stroke / 1000, abs=0.05 + 2e-4 * volume)
    ledger = re.findall(r"^ *.*? {2,}([\d.]+) \(\+([\d.]+)\) {2,}([\d.]+) {2,}−", text, re.M)
    assert ledger
    for _, grown, ratio in ledger:
        clearance = volume / (first - 1) + float(grown)
        # 0.05 cc of what the chamber grew by, and the ratio's own last digit.
        assert float(ratio) == pytest.approx(1 + volume / clearance, abs=0.005 + first / clearance * 0.05)

    low, high, cylinders = re.search(r"seen to feed about ([\d.]+)–([\d.]+) kW on (\d+) cyl", flat).groups()
    least, most = re.search(r"The flow ceiling is ([\d.]+) to ([\d.]+) hp for each cylinder", flat).groups()
    intake = text[text.index("Intake by lift") :]
    peak = float(re.search(r"^ *peak in use .* {2,}([\d.]+) at [\d.]+ mm$", intake, re.M)[1])
    density = float(re.search(r"ρ standard = ([\d.]+) kg", flat)[1]) / 1.2250
    for said, factor in ((low, least), (high, most)):
        # 1 L/s is 2.11888 cfm and 1 hp 0.745700 kW (NIST SP 811); a figure is said to two digits.
        worth = float(factor) * peak * 2.11888 * np.sqrt(density) * int(cylinders) * 0.745700
        assert float(said) == pytest.approx(worth, rel=0.05)
