"""What the numbers of the summary rest on, as text: enough to recompute every one of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import isnan, sqrt

from core.bench import scale_density, stream_densities
from core.conditions import with_defaults
from core.files.columns import READING_KINDS
from core.job import SIDES, Bench, BenchSheet, CamLobe, Reading, Side, Valve
from core.repeats import Scatter
from core.results import Repeatability, Review
from core.review import worked_sides
from core.rows import Rows
from core.side import SideWork
from core.units import NO_BREAK_SPACE, UnitSet, factor, label, show, to_display
from dashboard import phrases, words
from dashboard.evidence import conditions, finding_lines, reading_text
from dashboard.figures import NOTHING, figure, lifts, significant
from dashboard.tables import Table, flow_figure

CLEARANCES = (
    "After any valve, seat, cam or deck change check valve-to-piston and coil-bind clearance. "
    "The engine builder, the maker's limits and local rules come first."
)
LEFT_OUT = "left out"  # beside a flow that a finding has stopped
_UNCERTAINTIES = {
    "repeatability": ("one re-set-up", "fraction"),
    "lift_setting_m": ("lift setting", "lift"),
    "calibration": ("calibration", "fraction"),
    "test_pressure_reading_pa": ("test pressure", "test pressure"),
    "barometer_reading_pa": ("barometer", "barometer"),
    "temperature_reading_k": ("temperature", "temperature difference"),
    "humidity_reading": ("humidity", "fraction"),
}


@dataclass(frozen=True)
class SheetReadings:
    """One bench sheet's readings, each with the flow it was corrected to."""

    title: str
    table: Table


def how(review: Review, units: UnitSet) -> list[str]:
    """Return how every number follows from the readings, a paragraph each."""
    density = f"{figure(review.reference.density_kg_m3, 4)}{NO_BREAK_SPACE}kg/m³"
    works = _works(review)
    repeats = " ".join(
        _repeatability(one, works[one.side].scatters[one.bench], units) for one in review.repeatability
    )
    return [
        "Corrected flow is the flow of standard air through the same piece at the reference pressure: "
        f"{_product(review)}{_conversions(review, units)} Density factor = √(ρ scale × ρ meter) ÷ "
        f"√(ρ piece × ρ standard), ρ standard = {density} ({review.reference.air}){_of_mass(review)}. "
        "ρ scale is the density upstream of the meter for which its scale reads true: the one that makes the "
        "density factor 1 in the scale's own air at the pressure of its calibration. ρ meter is the density "
        "there during the test, ρ piece that at the inlet of the head, both after CIPM-2007 with the water "
        "of the day's air, and the temperature and static pressure at that place: that of the barometer, "
        "less the test pressure behind a piece that air is drawn through, plus the test pressure before one "
        "that it is blown through (a temperature that was not taken follows the air's, that of a blown piece "
        "the meter's). "
        f"{_pressure_factor(review, units)} All of them stand below for every sheet.",
        "A port's curve is the mean of its set-ups at each lift, a stage's curve the mean of its ports' "
        "curves. A gain compares the ports that both stages share, each with itself. Between readings a "
        "shape-preserving cubic (PCHIP) through (0, 0) is used, and nothing above the last reading. A mean "
        "is the integral over usable lift divided by it; cam-weighted is the mean over the time that the "
        f"valve is open. {words.ROUNDED}",
        "± is the expanded uncertainty at 95 % after the GUM (JCGM 100:2008): the squares of independent "
        "parts add up, and Student's t for their effective degrees of freedom multiplies the root; "
        "no ± is narrower than that of the scatter alone. Scatter at a lift is the root of the squares of "
        "two parts: re-set-up, a share of the flow, and lift setting, times the slope of the curve. It is "
        "pooled over all ports that were read in more than one set-up, and falls with the root of a port's "
        "set-ups. What of it moves a whole sweep moves a mean as much; the rest is each lift's own, and all "
        f"but gone from a mean. {_shared(review)} "
        "What two curves share cancels in their gain. A verdict is clear where the p of the relative gain, "
        "adjusted for all lifts of the comparison (step-down maximum, never above Holm's), is 0.05 or "
        "less. " + repeats,
    ]


def _conversions(review: Review, units: UnitSet) -> str:
    """Return what one of each unit is that a bench read flow in and that is not the one shown."""
    read_in = {unit: None for sheet in review.job.every_sheet for _, unit in sheet.read_in.items() if unit}
    said = []
    for unit in read_in:
        kind, scale, _ = factor(unit, READING_KINDS)
        shown = to_display(scale, kind, units)
        if kind == "flow" and abs(shown - 1) > 1e-9:
            said.append(f" 1{NO_BREAK_SPACE}{unit} = {shown:.6g}{NO_BREAK_SPACE}{label(kind, units)}.")
    return "".join(said)


def _shared(review: Review) -> str:
    """Return what several readings share: how often each of these parts of a ± counts."""
    daily, once = "Air pressure and temperatures", "calibration"
    if any(sheet.role == "calibration" for sheet in review.job.every_sheet):
        daily, once = "Air pressure, temperatures and the reading of a plate", "a plate's certificate"
    return (
        f"{daily} are uncertain once a day; {once} and the reading of the test pressure once for a bench and "
        "side; the pressure rule by the difference of the square root from isentropic flow, ÷ √3, once for "
        "each test pressure."
    )


def _product(review: Review) -> str:
    """Return what a corrected flow is the product of; leak and plate only where there are any."""
    roles = {sheet.role for sheet in review.job.every_sheet}
    flow, said = "reading", ""
    if "leak" in roles:
        flow = "(reading − leak)"
        said += (
            " Leak is the flow read with the valves shut × √(test pressure ÷ its own); a leak sheet that "
            "states a day or a stage serves that day or stage alone."
        )
    if "calibration" in roles:
        flow += " × plate factor"
        said += (
            " Plate factor is the certified over the measured flow of a plate, the mean of its days; a day "
            "outside the control limits takes its own."
        )
    return f"{flow} × density factor × pressure factor.{said}"


def _of_mass(review: Review) -> str:
    meters = {review.job.bench_of(sheet).meter for sheet in review.job.every_sheet}
    if not meters & {"mass flow", "plate pressure drop"}:
        return ""
    plate = " (a plate's, after ISO 5167-2)" if "plate pressure drop" in meters else ""
    return f"; of a mass flow{plate} it is 1 ÷ √(ρ piece × ρ standard)"


def _pressure_factor(review: Review, units: UnitSet) -> str:
    pressure = show(review.reference.pressure_pa, "test pressure", units)
    if review.reference.rule == "square root":
        return f"Pressure factor = √({pressure} ÷ test pressure)."
    return (
        f"Pressure factor = isentropic flux at {pressure} from standard air ÷ isentropic flux at the test "
        "pressure from the day's air, each divided by √ρ at the inlet (γ = 1.4)."
    )


def _repeatability(one: Repeatability, scatter: Scatter, units: UnitSet) -> str:
    """Return how one reading scatters, and how much of that its whole sweep shares."""
    bench = f" on {one.bench}" if one.bench else ""

    def parts(relative: float) -> str:
        lift = to_display(scatter.lift_setting_m * relative / scatter.relative, "lift", units)
        return (
            f"{figure(100 * relative, 2)}{NO_BREAK_SPACE}% of the flow and "
            f"{significant(lift)}{NO_BREAK_SPACE}{label('lift', units)} of lift"
        )

    if one.assumed:
        return (
            f"One {one.side} reading{bench} is taken to repeat to {parts(one.relative)} (standard "
            "uncertainties; assumed, as no set-up was repeated): the first moves a whole sweep, the second "
            "is each lift's own."
        )
    return (
        f"One {one.side} reading{bench} repeats to {parts(one.relative)} (standard uncertainties; from "
        f"repeats, {figure(one.setup_dof, 0)} degrees of freedom between set-ups), of which "
        f"{parts(scatter.relative * sqrt(scatter.between))} move a whole sweep."
    )


def equipment(review: Review, units: UnitSet) -> list[str]:
    """Return bench, valves and cams as the job states them, a line each."""
    job = review.job
    lines = []
    for bench in {job.bench_of(sheet): None for sheet in job.every_sheet}:
        scale = f"scale made for {bench.scale_air or job.standard_air}"
        at = (
            f"calibrated at {show(bench.calibrated_at_pa, 'test pressure', units)}"
            if bench.calibrated_at_pa
            else "scale taken to hold at each test pressure"
        )
        name = f"Bench {bench.name}" if bench.name else "Bench"
        lines.append(
            f"{name}: meter of {bench.meter}, {bench.intake_meter} (intake), "
            f"{bench.exhaust_meter} (exhaust); {scale}, {at}. "
            f"Standard uncertainties: {_instruments(bench, review, units)}."
        )
    for side in SIDES:
        valve, cam = _valve(job.valves[side], units), _cam(job.cams[side], review, side, units)
        if valve or cam:
            lines.append(f"{side.capitalize()}: {'; '.join(filter(None, (valve, cam)))}.")
    for stage in job.stages:
        for side in SIDES:
            if stage.valves[side] is not None:
                lines.append(f"{stage.name}, {side}: {_valve(stage.valves[side], units)}.")
    return lines


def _instruments(bench: Bench, review: Review, units: UnitSet) -> str:
    """Return a bench's standard uncertainties, and which of them are assumed.

    Its repeatability is left out where every side's own repeats have taken its place.
    """
    used, said = with_defaults(bench), []
    known = [one.assumed for one in review.repeatability if one.bench in (None, bench.name)]
    for name, (words_for, kind) in _UNCERTAINTIES.items():
        if name == "repeatability" and known and not any(known):
            continue
        assumed = " (assumed)" if getattr(bench, name) is None else ""
        said.append(f"{words_for} {show(getattr(used, name), kind, units)}{assumed}")
    return ", ".join(said)


def _valve(valve: Valve | None, units: UnitSet) -> str:
    if valve is None:
        return ""
    parts = [
        (valve.diameter_m, "length", "valve"),
        (valve.stem_diameter_m, "length", "stem"),
        (valve.throat_diameter_m, "length", "throat"),
        (valve.seat_angle_rad, "angle", "seat angle"),
        (valve.seat_width_m, "length", "seat width"),
    ]
    said = [f"{name} {show(value, kind, units)}" for value, kind, name in parts if value is not None]
    if valve.valves_per_cylinder:
        said.append(f"{valve.valves_per_cylinder} per cylinder")
    return ", ".join(said)


def _cam(cam: CamLobe | None, review: Review, side: Side, units: UnitSet) -> str:
    net = review.cam_net_lift_m[side]
    if cam is None or net is None:
        return "no cam stated"
    said = [f"net valve lift {show(net, 'lift', units)}{_taken_off(cam, units)}"]
    if cam.table:
        said.append(f"from a lift table of {len(cam.table)} points")
    if cam.duration_rad is not None:
        taken = f" at {show(cam.at_lift_m, 'lift', units)} ({cam.at})" if cam.at_lift_m is not None else ""
        said.append(f"{show(cam.duration_rad, 'angle', units)} of crank angle{taken}")
    if not cam.table:
        said.append("lift = net lift × (1 − x²)², x from −1 to 1 while the valve is open")
    return "cam: " + ", ".join(said)


def _taken_off(cam: CamLobe, units: UnitSet) -> str:
    """Return what of the card's lift is in the net lift already; a table holds the valve's own lift."""
    if cam.table:
        return ""
    said = [f"× rocker ratio {significant(cam.rocker_ratio, 4)}"] if cam.rocker_ratio != 1.0 else []
    said += [f"− lash {show(cam.lash_m, 'lift', units)}"] if cam.lash_m else []
    return f" (cam lift {show(cam.lift_m, 'lift', units)} {' '.join(said)})" if said else ""


def notices(review: Review, units: UnitSet) -> list[tuple[str, str]]:
    """Return (level, what was noticed and where) of every finding."""
    lines = finding_lines(review.findings, units, customer=True)
    return [
        (finding.level, f"{line.text} ({line.where})" if line.where else line.text)
        for finding, line in zip(review.findings, lines, strict=True)
    ]


def tables(review: Review, units: UnitSet) -> list[tuple[str, Table]]:
    """Return the tables that a recomputation starts from, each with its title; the readings come after."""
    found = [
        (phrases.CONDITIONS_TITLE, conditions(review, units)),
        (phrases.CORRECTIONS_TITLE, corrections(review, units)),
    ]
    return [(title, table) for title, table in found if table.rows]


def corrections(review: Review, units: UnitSet) -> Table:
    """Return densities and factors of every sheet and side; a row for each test pressure in it."""
    densities = (f"ρ {place}, kg/m³" for place in ("scale", "meter", "piece"))
    columns = ("File", "Side", "Bench", "Test pressure", "Air at meter", "Air at piece", *densities)
    columns += ("Leak", "Plate factor", "Density factor", "Pressure factor")
    rows: dict[tuple[str, ...], None] = {}
    for side, work in _works(review).items():
        for part in work.parts:
            for row in _factors(side, part, units):
                rows[row] = None
    order = {sheet.file: place for place, sheet in enumerate(review.job.every_sheet)}
    return Table(columns, tuple(sorted(rows, key=lambda row: order[row[0]])))


def _works(review: Review) -> dict[Side, SideWork]:
    """Return what the review itself did to the readings of each side."""
    return dict(worked_sides(review.job).items())


def _factors(side: Side, part: Rows, units: UnitSet) -> Iterator[tuple[str, ...]]:
    state, correction = part.state, part.correction
    meter, piece = stream_densities(side, correction.place, state)
    scale = scale_density(
        side, correction.place, correction.scale_air, state.calibrated_at_pa, state.meter_drop_pa
    )
    for i, sheet in enumerate(part.sheets):
        printed = sheet.printed.already_corrected
        densities = ("corrected by the bench",) * 3 if printed else (scale[i], meter[i], piece[i])
        drop = (
            show(state.test_pressure_pa[i], "test pressure", units) if correction.scaled[i] else "not stated"
        )
        yield (
            sheet.file,
            side,
            part.bench.name or NOTHING,
            drop,
            _temperature(state.meter_temperature_k[i], units),
            _temperature(state.piece_temperature_k[i], units),
            *(one if isinstance(one, str) else figure(one, 4) for one in densities),
            _leak(part.leak[i], bool(correction.by_mass[i]), units),
            figure(part.calibration_factor[i], 4),
            figure(part.density_factor[i], 4),
            figure(part.pressure_factor[i], 4),
        )


def _leak(leak: float, by_mass: bool, units: UnitSet) -> str:
    if not leak:
        return "none"
    kind = "mass flow" if by_mass else "flow"
    return f"{significant(to_display(leak, kind, units), 3)}{NO_BREAK_SPACE}{label(kind, units)}"


def _temperature(kelvin: float, units: UnitSet) -> str:
    return "not taken" if isnan(kelvin) else show(kelvin, "temperature", units)


def readings(review: Review, units: UnitSet) -> list[SheetReadings]:
    """Return every reading with the flow it was corrected to, sheet by sheet."""
    corrected = {
        (sheet.file, side, reading.line, reading.lift_m): _corrected(flow, bool(used), units)
        for side, work in _works(review).items()
        for part, sound in zip(work.parts, work.sound, strict=True)
        for sheet, reading, flow, used in zip(part.sheets, part.readings, part.flow_m3_s, sound, strict=True)
    }
    return [_of_sheet(sheet, corrected, units) for sheet in review.job.every_sheet]


def _corrected(flow_m3_s: float, used: bool, units: UnitSet) -> str:
    if isnan(flow_m3_s):
        return NOTHING
    return flow_figure(flow_m3_s, None, units) + ("" if used else f" {LEFT_OUT}")


def _of_sheet(
    sheet: BenchSheet, corrected: dict[tuple[str, Side, int, float], str], units: UnitSet
) -> SheetReadings:
    sides = [side for side in SIDES if sheet.readings[side]]
    # By line and lift: a typed target has all lifts of a side on one line.
    by_row: dict[tuple[int, float], dict[Side, Reading]] = {}
    for side in sides:
        for one in sheet.readings[side]:
            by_row.setdefault((one.line, one.lift_m), {})[side] = one
    by_row = dict(sorted(by_row.items()))
    firsts = [next(iter(of_row.values())) for of_row in by_row.values()]
    own_pressure = any(one.test_pressure_pa is not None for one in firsts)
    rows = []
    for ((line, lift_m), of_row), first, lift in zip(
        by_row.items(), firsts, lifts([one.lift_m for one in firsts], units), strict=True
    ):
        row = [str(line), lift]
        if own_pressure:
            drop = first.test_pressure_pa
            row.append(NOTHING if drop is None else show(drop, "test pressure", units))
        for side in sides:
            reading = of_row.get(side)
            row.append(NOTHING if reading is None else reading_text(reading, units, sheet.read_in[side]))
            row.append(corrected.get((sheet.file, side, line, lift_m), NOTHING))
        rows.append(row)
    columns = ["line", f"lift, {label('lift', units)}", *(["test pressure"] if own_pressure else [])]
    for side in sides:
        columns += [side, f"corrected, {label('flow', units)}"]
    columns, rows = _units_in_heads(columns, rows)
    port = f", port {sheet.port}" if sheet.port else ""
    return SheetReadings(
        f"{sheet.file}: {sheet.stage or sheet.role}{port}", Table(tuple(columns), tuple(map(tuple, rows)))
    )


def _units_in_heads(
    columns: Sequence[str], rows: Sequence[Sequence[str]]
) -> tuple[list[str], list[list[str]]]:
    """Return the table with a unit that a whole column shares said once, in its heading."""
    if not rows:
        return list(columns), []
    heads, done = [], []
    for head, column in zip(columns, zip(*rows, strict=True), strict=True):
        units = {text.partition(NO_BREAK_SPACE)[2] for text in column if text != NOTHING}
        unit = units.pop() if len(units) == 1 else ""
        heads.append(f"{head}, {unit}" if unit else head)
        done.append([text.removesuffix(f"{NO_BREAK_SPACE}{unit}") for text in column] if unit else column)
    return heads, [list(row) for row in zip(*done, strict=True)]
