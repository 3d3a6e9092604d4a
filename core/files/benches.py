"""Which bench read a sheet, and whether the sheet's columns are what its meter shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from core.files.jobfile import NAME
from core.files.log import Log, did_you_mean, folded
from core.job import SIDES, Bench, BenchSheet, MeterKind, Problem, Reading

_METER_OF: dict[str, MeterKind] = {
    "flow_m3_s": "volume flow",
    "range_fraction": "percent of range",
    "plate_drop_pa": "plate pressure drop",
    "mass_flow_kg_s": "mass flow",
}


def with_benches(
    sheets: Sequence[BenchSheet], benches: tuple[Bench, ...], log: Log
) -> tuple[list[BenchSheet], tuple[Bench, ...]]:
    """Check each sheet's bench and meter.

    Parameters
    ----------
    sheets : sequence of BenchSheet
        As read.
    benches : tuple of Bench
        From the job file.
    log : Log
        Log of the job file.

    Returns
    -------
    tuple of (list of BenchSheet, tuple of Bench)
        The sheets, with their bench's name as the job file writes it, and the benches:
        where the job file states none, one whose meter is taken from the sheets' columns.
    """
    if not benches and (meter := _only_meter(sheets)) != "volume flow":
        benches = (Bench(meter=meter),)
        text = "The bench's meter is taken as '{}', as in the sheets' columns."
        log.finding("note", "meter-from-columns", text, (meter, "text"))
    names = {folded(bench.name): bench.name for bench in benches if bench.name}
    unnamed = [sheet.file for sheet in sheets if sheet.bench is None] if len(benches) > 1 else []
    if unnamed:
        log.finding(
            "look",
            "bench-not-named",
            "No bench is named, so '{}' is taken, on: {}",
            (benches[0].name or "", "text"),
            (", ".join(unnamed), "text"),
            cure="Add '# bench:' to these sheets.",
        )
    done = []
    for sheet in sheets:
        if sheet.bench and names and folded(sheet.bench) not in names:
            text = f"The bench '{sheet.bench}' is not in {NAME}{did_you_mean(sheet.bench, names.values())}."
            cure = f"Its benches: {', '.join(names.values())}."
            log.problems.append(Problem(sheet.file, text, cure, sheet.line_of("bench")))
        else:
            if sheet.bench and names:
                sheet = replace(sheet, bench=names[folded(sheet.bench)])
            named = (bench for bench in benches if sheet.bench and bench.name == sheet.bench)
            bench = next(named, benches[0] if benches else Bench())
            log.problems += _meter_problems(sheet, bench)
        done.append(sheet)
    return done, benches


def _quantity(reading: Reading) -> str:
    return next(name for name in _METER_OF if getattr(reading, name) is not None)


def _only_meter(sheets: Sequence[BenchSheet]) -> MeterKind:
    used = {_METER_OF[_quantity(s.readings[side][0])] for s in sheets for side in SIDES if s.readings[side]}
    return used.pop() if len(used) == 1 else "volume flow"


def _meter_problems(sheet: BenchSheet, bench: Bench) -> list[Problem]:
    problems = []
    for side, readings in sheet.readings.items():
        given = _METER_OF[_quantity(readings[0])] if readings else None
        if given is None:
            continue
        if sheet.printed.already_corrected:
            if given != "volume flow":
                text = f"'{side}' is given as {given}, yet the sheet says 'already corrected'."
                cure = "A corrected figure is a volume flow: give that, or write 'already corrected: no'."
                problems.append(Problem(sheet.file, text, cure, sheet.line_of("already corrected")))
        elif given != bench.meter:
            whose = f"the bench '{bench.name}'" if bench.name else "the bench"
            text = f"'{side}' is given as {given}, but {whose} has the meter '{bench.meter}'."
            cure = f'Set meter = "{given}" in [[bench]] of {NAME}, or mend the column\'s unit.'
            problems.append(Problem(sheet.file, text, cure, min(reading.line for reading in readings)))
    return problems
