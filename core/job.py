"""What was measured: the frozen data model of a job, in SI.

Readers in ``core.files`` build it, ``core.review`` works on it, nobody changes it.
``None`` always means "not stated"; a default is put in where it is used, and said.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Generic, Literal, NamedTuple, TypeVar

Side = Literal["intake", "exhaust"]
SIDES: tuple[Side, Side] = ("intake", "exhaust")
Level = Literal["stop", "look", "note"]
Role = Literal["stage", "target", "calibration", "leak"]
PressureRule = Literal["square root", "isentropic"]
MeterKind = Literal["volume flow", "percent of range", "plate pressure drop", "mass flow"]
MeterPlace = Literal["before the piece", "after the piece"]

T = TypeVar("T")


@dataclass(frozen=True)
class Sides(Generic[T]):
    """A pair, one for each side of the head; index it with the side's name."""

    intake: T
    exhaust: T

    def __getitem__(self, side: Side) -> T:
        return getattr(self, side)

    def items(self) -> Iterator[tuple[Side, T]]:
        """Yield (side, value) in the order intake, exhaust."""
        yield "intake", self.intake
        yield "exhaust", self.exhaust


@dataclass(frozen=True)
class Finding:
    """One thing that was noticed.

    ``text`` and ``cure`` are templates with ``{}`` for each entry of ``values``
    (those of ``text`` first); a value is ``(number in SI, kind of core.units)`` or
    ``(text, "text")``, so that one finding reads right in US and in metric units.
    """

    level: Level
    code: str
    text: str
    cure: str = ""
    values: tuple[tuple[float | str, str], ...] = ()
    file: str | None = None
    line: int | None = None
    stage: str | None = None
    side: Side | None = None
    lift_m: float | None = None


@dataclass(frozen=True)
class Problem:
    """Why an input cannot be used: what was given, what is allowed, and the cure."""

    file: str
    text: str
    cure: str
    line: int | None = None
    column: str | None = None

    def __str__(self) -> str:
        where = self.file
        if self.line is not None:
            where += f", line {self.line}"
        if self.column is not None:
            where += f", column '{self.column}'"
        return f"{where}: {self.text} {self.cure}".rstrip()


class Reading(NamedTuple):  # a job has thousands, and a frozen dataclass takes three times as long to make
    """One row of a bench sheet for one side; exactly one of the four quantities is set."""

    lift_m: float
    line: int
    flow_m3_s: float | None = None
    range_fraction: float | None = None  # 0.62 for "62 %" of the range in use
    plate_drop_pa: float | None = None
    mass_flow_kg_s: float | None = None
    range_m3_s: float | None = None  # full scale of the range in use
    test_pressure_pa: float | None = None  # the row's own, else None: the sheet's holds
    meter_temperature_k: float | None = None  # likewise


@dataclass(frozen=True)
class Air:
    """The conditions stated on one bench sheet."""

    barometer_pa: float | None = None  # station pressure
    altitude_m: float | None = None
    air_temperature_k: float | None = None
    humidity: float | None = None  # relative, 0 to 1
    meter_temperature_k: float | None = None
    piece_temperature_k: float | None = None
    test_pressure_pa: float | None = None


@dataclass(frozen=True)
class Setup:
    """How the piece was set up; two sweeps are of the same thing only if these agree."""

    bore_m: float | None = None
    intake_entry: str | None = None
    exhaust_exit: str | None = None
    valves_open: int | None = None
    test_valve: str | None = None
    spark_plug: str | None = None


@dataclass(frozen=True)
class Printed:
    """What the bench had already done to its print-out."""

    already_corrected: bool = False
    corrected_to_pressure_pa: float | None = None
    corrected_to_air: str | None = None  # name of a standard air
    intake_range_m3_s: float | None = None
    exhaust_range_m3_s: float | None = None


@dataclass(frozen=True)
class Certificate:
    """What a calibration sheet says of its plate."""

    side: Side | None = None
    flow_m3_s: float | None = None
    at_pa: float | None = None
    air: str | None = None
    uncertainty: float | None = None  # relative standard uncertainty


@dataclass(frozen=True)
class BenchSheet:
    """One file of readings taken in one set-up."""

    file: str
    readings: Sides[tuple[Reading, ...]]
    role: Role = "stage"
    stage: str | None = None
    port: str | None = None
    date: dt.date | None = None
    time: dt.time | None = None
    order: float | None = None
    bench: str | None = None
    setup: str | None = None  # sheets of one stage and port that share this are one set-up
    note: str | None = None
    air: Air = Air()
    fixture: Setup = Setup()
    printed: Printed = Printed()
    certificate: Certificate = Certificate()
    extra: tuple[tuple[str, str], ...] = ()  # unknown keys, kept
    extra_columns: tuple[tuple[str, tuple[str, ...]], ...] = ()  # further columns, kept
    extra_lines: tuple[int, ...] = field(default=(), compare=False)  # of the rows of those
    lines: tuple[tuple[str, int], ...] = ()  # header key -> line, for findings
    read_in: Sides[str | None] = field(default=Sides(None, None), compare=False)  # unit as written

    def line_of(self, key: str) -> int | None:
        """Return the line on which a header key stands."""
        return dict(self.lines).get(key)

    def beside(self, line: int) -> tuple[tuple[str, str], ...]:
        """Return head and cell of the further columns that hold something on a line."""
        if line not in self.extra_lines:
            return ()
        row = self.extra_lines.index(line)
        return tuple((head, cells[row]) for head, cells in self.extra_columns if cells[row])


@dataclass(frozen=True)
class Valve:
    """Valves and seats of one side of one cylinder."""

    diameter_m: float | None = None
    valves_per_cylinder: int | None = None
    stem_diameter_m: float | None = None
    throat_diameter_m: float | None = None
    seat_angle_rad: float | None = None
    seat_width_m: float | None = None


@dataclass(frozen=True)
class CamLobe:
    """One cam lobe as its card states it, or a lift table at the valve."""

    lift_m: float | None = None  # before rocker ratio and lash
    duration_rad: float | None = None  # crank angle
    at_lift_m: float | None = None
    at: Literal["valve", "tappet"] = "valve"
    rocker_ratio: float = 1.0
    lash_m: float = 0.0
    centreline_rad: float | None = None  # after TDC intake, before TDC exhaust
    table: tuple[tuple[float, float], ...] = ()  # (crank angle in rad, valve lift in m)


@dataclass(frozen=True)
class Engine:
    """What power and compression need to know."""

    kind: str = "four-stroke spark ignition"
    aspiration: str = "natural"
    fuel: str | None = None
    cylinders: int | None = None
    bore_m: float | None = None
    stroke_m: float | None = None
    rod_length_m: float | None = None
    compression_ratio: float | None = None
    redline_rad_s: float | None = None
    gasket_volume_m3: float | None = None
    deck_volume_m3: float | None = None
    dish_volume_m3: float | None = None
    chamber_plan_area_m2: float | None = None  # of one chamber at the deck


@dataclass(frozen=True)
class Dyno:
    """The peak that a dynamometer gave, and what it was corrected to."""

    power_w: float
    stage: str  # that the engine was at
    standard: str  # one of core.dyno.STANDARDS
    line: int | None = None


@dataclass(frozen=True)
class Bench:
    """The flow bench: its meter, its scale and its standard uncertainties (None: assumed)."""

    name: str | None = None
    meter: MeterKind = "volume flow"
    scale_air: str | None = None
    calibrated_at_pa: float | None = None
    intake_meter: MeterPlace = "after the piece"
    exhaust_meter: MeterPlace = "before the piece"
    plate_diameter_m: float | None = None
    pipe_diameter_m: float | None = None  # None with a plate: a plenum
    taps: Literal["corner", "flange", "D and D/2"] | None = None
    repeatability: float | None = None  # relative, of one re-set-up
    lift_setting_m: float | None = None
    calibration: float | None = None  # relative
    test_pressure_reading_pa: float | None = None
    barometer_reading_pa: float | None = None
    temperature_reading_k: float | None = None
    humidity_reading: float | None = None


@dataclass(frozen=True)
class Stage:
    """One stage of work, in the order of work."""

    name: str
    price: float | None = None
    planned: bool = False
    chamber_volume_m3: float | None = None
    port_volume_m3: float | None = None
    smallest_section_m2: float | None = None
    valves: Sides[Valve | None] = Sides(None, None)  # only what this stage changed
    line: int | None = None


@dataclass(frozen=True)
class Target:
    """A reference casting to reach."""

    name: str
    sheets: tuple[BenchSheet, ...]
    valves: Sides[Valve | None] = Sides(None, None)
    benches: tuple[Bench, ...] = ()  # that it was read on, where they are not the job's own
    checks: tuple[BenchSheet, ...] = ()  # calibration and leak sheets of those benches


@dataclass(frozen=True)
class Job:
    """Everything that was measured, and what it is."""

    name: str  # of its folder, or of the quick look
    title: str
    stages: tuple[Stage, ...]
    sheets: tuple[BenchSheet, ...]
    fingerprint: str  # short hash of the job's files
    customer: str | None = None
    casting: str | None = None
    serial_number: str | None = None
    note: str | None = None
    currency: str | None = None
    reference_pressure_pa: float = 28 * 249.08891
    standard_air: str = "ISO 2533"
    pressure_rule: PressureRule = "square root"
    engine: Engine | None = None
    valves: Sides[Valve | None] = Sides(None, None)
    cams: Sides[CamLobe | None] = Sides(None, None)
    benches: tuple[Bench, ...] = ()
    target: Target | None = None
    dyno: Dyno | None = None
    power: tuple[tuple[str, float], ...] = ()  # fields of core.power_model.PowerSettings, in SI
    findings: tuple[Finding, ...] = ()  # what the readers noticed
    files: tuple[tuple[str, bytes], ...] = field(default=(), repr=False, compare=False)  # as read, by name

    @property
    def every_sheet(self) -> tuple[BenchSheet, ...]:
        """Return the job's sheets, and after them its target's."""
        return self.sheets + (self.target.sheets if self.target is not None else ())

    def bench_of(self, sheet: BenchSheet) -> Bench:
        """Return the bench that a sheet names, else the first one, else one with every default."""
        benches = self.benches
        if sheet.role == "target" and self.target is not None and self.target.benches:
            benches = self.target.benches
        for bench in benches:
            if sheet.bench is not None and bench.name == sheet.bench:
                return bench
        return benches[0] if benches else Bench(name=sheet.bench)

    def valve_of(self, stage: str, side: Side) -> Valve:
        """Return a stage's valves: the job's, with what this and earlier stages changed."""
        valve = self.valves[side] or Valve()
        for done in self.stages:
            changed = done.valves[side]
            if changed is not None:
                valve = replace(valve, **{k: v for k, v in vars(changed).items() if v is not None})
            if done.name == stage:
                break
        return valve
