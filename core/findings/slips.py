"""Slips of the pen and of the unit, found by laying the sweeps beside each other."""

from __future__ import annotations

from math import exp, log

import numpy as np

from core.constants import CFM_M3_S
from core.findings.profiles import GROSS, Profiles, median
from core.job import BenchSheet, Finding, Side, Sides

Value = tuple[float | str, str]

# In standard deviations. A job has some 400 readings: a sound one is called off the curve in
# one job of hundreds, and a shift of 6 is hardly ever missed.
OFF_CURVE = 4.8
NEAR = 0.08  # how closely a slip must explain a reading, relative (judgement)
LEVEL_NEAR = 0.1  # likewise for a whole sheet, whose stage has gains of its own (judgement)
UNIT = log(1e-3 / CFM_M3_S)  # L/s taken for cfm, or the other way round
SETUP_OFF = 6.0  # a whole set-up beside the others of its stage
SAME_CELLS = 5  # readings that agree to the last digit before it is no accident


def of_cells(side: Side, found: Profiles) -> list[Finding]:
    """Find single readings that stand off the curve of their neighbours, and say why perhaps.

    Parameters
    ----------
    side : {"intake", "exhaust"}
        Side of the head.
    found : Profiles
        Its sweeps beside each other.

    Returns
    -------
    list of Finding
        `stop` where no bench does this, else `look`.
    """
    findings = []
    for k, column in np.argwhere(np.abs(np.nan_to_num(found.score)) > OFF_CURVE).tolist():
        reading = found.readings[k][column]
        left = float(found.residual[k, column])
        flow, leak = exp(float(found.log_flow[k, column])), float(found.leak_m3_s[k, column])
        # A slip of the pen is in what was read, before a leak was taken off.
        slipped = abs(log((flow + leak) / (flow * exp(-left) + leak)))
        text = "{}, {} at {}: {} lies off the curve of its neighbours and repeats; {} would fit."
        level, code, why = "look", "off-curve", ""
        if abs(left) > GROSS:
            level, code = "stop", "off-curve-gross"
            text += " It is left out."
            for slip, name, guess in (
                (log(10), "decimal-slip", "A decimal slip?"),
                (log(100), "decimal-slip", "A decimal slip?"),
                (UNIT, "unit-slip", "Another unit in this cell?"),
            ):
                if abs(slipped - slip) < NEAR:
                    code, why = name, guess
        elif _digits_swapped(flow, flow * exp(-left)):
            why = "Two digits swapped?"
        sheet = found.sheets[k]
        values: tuple[Value, ...] = (
            (sheet.stage or sheet.file, "text"),
            (side, "text"),
            (reading.lift_m, "lift"),
            (flow, "flow"),
            (flow * exp(-left), "flow"),
        )
        cure = f"{why} Take it again, or mend the sheet.".strip()
        findings.append(
            Finding(
                level, code, text, cure, values, sheet.file, reading.line, sheet.stage, side, reading.lift_m
            )
        )
    return findings


def _digits_swapped(flow_m3_s: float, expected_m3_s: float) -> bool:
    """Return whether swapping two neighbouring digits, in cfm or L/s, gives about what is expected."""
    for unit in (CFM_M3_S, 1e-3):
        digits = f"{flow_m3_s / unit:.1f}".replace(".", "")
        for i in range(len(digits) - 1):
            swapped = digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :]
            if swapped != digits and abs(int(swapped) / 10 * unit / expected_m3_s - 1) < NEAR / 4:
                return True
    return False


def of_sheets(side: Side, found: Profiles) -> list[Finding]:
    """Find whole sweeps in another unit, and set-ups that do not repeat.

    Parameters
    ----------
    side : {"intake", "exhaust"}
        Side of the head.
    found : Profiles
        Its sweeps beside each other.

    Returns
    -------
    list of Finding
        At most one a sweep.
    """
    findings = []
    middle = np.nanmedian(found.level) if np.isfinite(found.level).any() else 0.0
    levels = found.stage_level[np.isfinite(found.stage_level)]
    usual = max(1.4826 * float(np.median(np.abs(levels))), 0.004) if levels.size > 3 else np.inf
    besides, of_stage = (found.level - middle).tolist(), found.stage_level.tolist()
    for sheet, beside, above in zip(found.sheets, besides, of_stage, strict=True):
        who: tuple[Value, ...] = ((sheet.stage or sheet.file, "text"), (side, "text"))
        for slip, guess in ((UNIT, "cfm for L/s, or the other way round?"), (log(10), "a decimal slip?")):
            if abs(abs(beside) - slip) < LEVEL_NEAR:
                text = "{}, {}: the whole sweep reads {} of the others: {}"
                values = (*who, (exp(beside), "fraction"), (guess, "text"))
                cure = "Check the unit in the column head."
                findings.append(
                    Finding("stop", "unit-of-sheet", text, cure, values, sheet.file, None, sheet.stage, side)
                )
                break
        else:
            if abs(above) > SETUP_OFF * usual:  # never where nan: it is alone
                text = "{}, {}: this set-up lies {} from the others of its stage, more than repeats allow."
                values = (*who, (above, "fraction"))
                cure = "Set it up once more; check valve, clamp, plug and zero."
                findings.append(
                    Finding(
                        "look", "repeats-disagree", text, cure, values, sheet.file, None, sheet.stage, side
                    )
                )
    return findings


def of_swapped_sides(found: Sides[Profiles | None]) -> list[Finding]:
    """Find sheets whose intake and exhaust columns are the wrong way round.

    Parameters
    ----------
    found : Sides
        The sweeps of both sides.

    Returns
    -------
    list of Finding
        One a sheet.
    """
    if found.intake is None or found.exhaust is None:
        return []
    _, mine, theirs = np.intersect1d(found.intake.lift_m, found.exhaust.lift_m, return_indices=True)
    if not mine.size:
        return []
    exhaust = {sheet.file: k for k, sheet in enumerate(found.exhaust.sheets)}
    both = {sheet.file: k for k, sheet in enumerate(found.intake.sheets) if sheet.file in exhaust}
    intake_flow = found.intake.log_flow[list(both.values())][:, mine]
    exhaust_flow = found.exhaust.log_flow[[exhaust[file] for file in both]][:, theirs]
    each = zip(both, median(exhaust_flow - intake_flow, 1).tolist(), strict=True)
    ratios = {file: ratio for file, ratio in each if np.isfinite(ratio)}
    usual = float(np.median(list(ratios.values()))) if ratios else 0.0
    findings = []
    for file, ratio in ratios.items():
        turned = len(ratios) > 2 and abs(usual) > 0.1 and abs(ratio + usual) < 0.3 * abs(ratio - usual)
        if turned:
            text = "{}: intake and exhaust look swapped: the other sheets have it the other way round."
            findings.append(
                Finding("stop", "sides-swapped", text, "Check the column heads.", ((file, "text"),), file)
            )
    return findings


def of_copies(sheets: tuple[BenchSheet, ...], side: Side) -> list[Finding]:
    """Find sweeps that agree to the last digit: no bench repeats like that.

    Parameters
    ----------
    sheets : tuple of BenchSheet
        Sheets of stages and the target.
    side : {"intake", "exhaust"}
        Side of the head.

    Returns
    -------
    list of Finding
        One for each sweep that was seen before.
    """
    seen: dict[tuple[object, ...], BenchSheet] = {}
    findings = []
    for sheet in sheets:
        cells = tuple(
            (r.lift_m, r.flow_m3_s, r.range_fraction, r.plate_drop_pa, r.mass_flow_kg_s)
            for r in sheet.readings[side]
        )
        if len(cells) < SAME_CELLS:
            continue
        first = seen.setdefault(cells, sheet)
        if first is not sheet:
            text = "The {} readings are those of {} to the last digit."
            cure = "A copy is no repeat: put in what was read."
            values = ((side, "text"), (first.file, "text"))
            findings.append(
                Finding("look", "copied", text, cure, values, sheet.file, None, sheet.stage, side)
            )
    return findings
