"""Bench day as finished text: the chain of a reading, shares of ±, plates, leaks, repeats, port balance."""

from __future__ import annotations

from collections.abc import Sequence

from core.numbers import filled
from core.results import Balance, LeakCheck, PlateCheck, Review
from core.trail import ReadingTrail, Step, Trail
from core.units import MINUS, NO_BREAK_SPACE, UnitSet, label, show, to_display
from dashboard import bench_words
from dashboard.evidence import reading_text
from dashboard.figures import NOTHING, counted, figure, lifts, places, plus_minus, significant
from dashboard.tables import Table, flow_figure

FACTOR_DECIMALS = 4
LEAST_SHARE = 0.005  # what is less goes together into one line


def reading_name(reading: ReadingTrail) -> str:
    """Return a reading's file and line, the name by which it is chosen."""
    return f"{reading.sheet.file}, line {reading.reading.line}"


def _as_read(one: ReadingTrail, trail: Trail, units: UnitSet) -> str:
    """Return a reading in the unit of its sheet, as the bench showed it."""
    return reading_text(one.reading, units, one.sheet.read_in[trail.side])


def chain(reading: ReadingTrail, trail: Trail, units: UnitSet) -> Table:
    """Return a reading's steps: what was done, from where, by which factor, and the flow after it."""
    decimals = _decimals(trail, units) + 1
    rows = []
    for step in reading.steps:
        source = filled(step.source, step.values, units)
        if step.name == "reading":
            source += f": {_as_read(reading, trail, units)}"
        rows.append((f"{step.name}: {source}", _change(step, units, decimals), _after(step, units, decimals)))
    return Table(("Step, and from where", "Factor", bench_words.flow_heading(units)), tuple(rows))


def _decimals(trail: Trail, units: UnitSet) -> int:
    """Return the decimals of flow that the point's ± supports."""
    expanded = to_display(trail.expanded_m3_s, "flow", units) if trail.expanded_m3_s else 0.0
    return max(places(expanded), 0) if expanded > 0 else 1


def _change(step: Step, units: UnitSet, decimals: int) -> str:
    if step.subtracted is not None:
        taken = step.subtracted if step.kind == "flow" else 0.0
        if step.kind == "mass flow" and step.subtracted:
            return f"{MINUS}{NO_BREAK_SPACE}{show(step.subtracted, 'mass flow', units)}"
        return f"{MINUS}{NO_BREAK_SPACE}{figure(to_display(taken, 'flow', units), decimals)}" if taken else ""
    return "" if step.factor is None else f"×{NO_BREAK_SPACE}{figure(step.factor, FACTOR_DECIMALS)}"


def _after(step: Step, units: UnitSet, decimals: int) -> str:
    if step.kind == "mass flow":
        return show(step.after, "mass flow", units)
    return figure(to_display(step.after, "flow", units), decimals)


def point(trail: Trail, units: UnitSet) -> Table:
    """Return every reading behind a point, the means they go into, and the point; means are ``marked``."""
    rows: list[tuple[str, str, str]] = []
    marked: list[bool] = []
    decimals = _decimals(trail, units) + 1
    for port in trail.ports:
        name = bench_words.port_name(port.port)
        for one in port.readings:
            where = f"{reading_name(one)} ({name})"
            if port.interpolated:
                where += f", at {show(one.reading.lift_m, 'lift', units)}"
            flow = figure(to_display(one.flow_m3_s, "flow", units), decimals) if one.used else "left out"
            rows.append((where, _as_read(one, trail, units), flow))
            marked.append(False)
        flow = NOTHING
        if port.flow_m3_s is not None:
            flow = figure(to_display(port.flow_m3_s, "flow", units), decimals)
        count = counted(port.n_setups, "set-up")
        how = f", between readings, {count}" if port.interpolated else f", mean of {count}"
        rows.append((f"{name}{how}", "", flow))
        marked.append(True)
    rows.append((bench_words.point_name(trail, units), "", _point_figure(trail, units)))
    marked.append(True)
    return Table(("Reading", "As read", bench_words.flow_heading(units)), tuple(rows), tuple(marked))


def _point_figure(trail: Trail, units: UnitSet) -> str:
    if trail.flow_m3_s is None:
        return NOTHING
    flow = to_display(trail.flow_m3_s, "flow", units)
    expanded = to_display(trail.expanded_m3_s, "flow", units) if trail.expanded_m3_s else 0.0
    return plus_minus(flow, expanded, signed=False)


def shares(trail: Trail, units: UnitSet) -> Table:
    """Return what a point's ± is made of, the largest share first; small ones stand together."""
    rows = []
    small = {True: [], False: []}
    for share in trail.shares:
        if share.share < LEAST_SHARE:
            small[share.common].append(share)
            continue
        rows.append(
            (share.source, _percent(share.share), _flow_u(share.standard_m3_s, units), _alike(share.common))
        )
    for common, some in small.items():
        if some:
            standard = sum(share.standard_m3_s**2 for share in some) ** 0.5
            names = ", ".join(share.source for share in some)
            below = f"below {figure(100 * LEAST_SHARE, 1)}{NO_BREAK_SPACE}%{' each' if len(some) > 1 else ''}"
            rows.append((names, below, _flow_u(standard, units), _alike(common)))
    unit = bench_words.flow_heading(units)
    heads = ("Source", "Share", f"Standard uncertainty, {unit}", "On all stages")
    return Table(heads, tuple(rows))


def _alike(common: bool) -> str:
    return "alike" if common else "differs"


def _flow_u(standard_m3_s: float, units: UnitSet) -> str:
    return significant(to_display(standard_m3_s, "flow", units))


def _percent(fraction: float) -> str:
    return f"{significant(100 * fraction)}{NO_BREAK_SPACE}%"


def plates(checks: Sequence[PlateCheck]) -> Table:
    """Return the plate readings of one bench and side; ``plate_limits`` says what they are held to."""
    rows = tuple((day(one), f"{_factor(one.factor)} {plate_verdict(one)}", one.file) for one in checks)
    return Table(("Day", "Factor", "File"), rows)


def plate_limits(check: PlateCheck) -> str:
    """Return the pooled factor and the limits that a plate reading is held to."""
    limits = f"{_factor(check.low)} to {_factor(check.high)}"
    return f"Pooled factor {_factor(check.pooled_factor)}, action limits {limits}."


def day(check: PlateCheck | LeakCheck) -> str:
    """Return the day of a plate reading or a leak test."""
    return NOTHING if check.date is None else check.date.isoformat()


def plate_verdict(check: PlateCheck) -> str:
    """Return whether a plate reading lies within its limits, in words."""
    return bench_words.OFF if check.departs else bench_words.WITHIN


def _factor(value: float) -> str:
    return figure(value, FACTOR_DECIMALS)


def leaks(review: Review, units: UnitSet) -> Table:
    """Return every leak test beside the most that its side flows."""
    heads = ("Day, side", f"{bench_words.flow_heading(units)}, of the largest flow", "File")
    rows = tuple((f"{day(one)} {one.side}", _leak(one, units), one.file) for one in review.leaks)
    return Table(heads, rows)


def _leak(check: LeakCheck, units: UnitSet) -> str:
    flow = significant(to_display(check.flow_m3_s, "flow", units))
    return flow if check.share_of_peak is None else f"{flow}, {_percent(check.share_of_peak)}"


def repeats(review: Review) -> Table:
    """Return how far each bench repeats itself, side by side, and how that is known."""
    several = len({one.bench for one in review.repeatability}) > 1
    heads = ("Side", "One re-set-up", "Known", "Degrees of freedom, set-ups", "Within a sweep")
    rows = tuple(
        (
            f"{one.side} on {one.bench}" if several and one.bench else one.side,
            _percent(one.relative),
            "assumed" if one.assumed else "from repeats",
            NOTHING if one.assumed else figure(one.setup_dof, 0),
            NOTHING if one.assumed else figure(one.sweep_dof, 0),
        )
        for one in review.repeatability
    )
    return Table(heads, rows)


def balance(found: Balance, units: UnitSet) -> Table:
    """Return the ports of the finished head beside each other, by lift."""
    unit = bench_words.flow_heading(units)
    heads = (
        f"Lift, {label('lift', units)}",
        f"Mean, {unit}",
        f"Best less worst, {unit}",
        "Worst",
        "Short of the mean, %",
    )
    texts = lifts([row.lift_m for row in found.rows], units)
    rows = tuple(
        (
            text,
            flow_figure(row.mean_m3_s, row.expanded_fraction * row.mean_m3_s, units),
            flow_figure(row.spread_m3_s, row.expanded_fraction * row.mean_m3_s, units),
            bench_words.port_name(row.worst_port),
            plus_minus(100 * row.shortfall_fraction, 100 * row.expanded_fraction),
        )
        for text, row in zip(texts, found.rows, strict=True)
    )
    return Table(heads, rows)
