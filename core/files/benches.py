"""Which bench read a sheet, and whether the sheet's columns are what its meter shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from core.files.folder import NAME
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
        The sheets, each bench's name written in one way, and the benches: where the job file
        states none and the columns are no volume flows, those on the sheets, with a meter that fits.
    """
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
    known, unknown = [], []
    for sheet in sheets:
        if sheet.bench and benches and folded(sheet.bench) not in names:
            log.problems.append(_no_such_bench(sheet, list(names.values())))
            unknown.append(sheet)
        elif sheet.bench:
            name = names.setdefault(folded(sheet.bench), sheet.bench)
            known.append(sheet if sheet.bench == name else replace(sheet, bench=name))
        else:
            known.append(sheet)
    if not benches and (meter := _only_meter(known)) != "volume flow":
        # the nameless one first, as that is where sheets without a name are looked for
        found = sorted({sheet.bench or "" for sheet in known})
        benches = tuple(Bench(name or None, meter) for name in found)
        text = "The bench's meter is taken as '{}', as in the sheets' columns."
        log.finding("note", "meter-from-columns", text, (meter, "text"))
    by_name = {bench.name: bench for bench in benches if bench.name}
    first = benches[0] if benches else Bench()
    for sheet in known:
        log.problems += _meter_problems(sheet, by_name.get(sheet.bench or "", first))
    return [*known, *unknown], benches


def _no_such_bench(sheet: BenchSheet, names: list[str]) -> Problem:
    text = f"The bench '{sheet.bench}' is not in {NAME}{did_you_mean(sheet.bench or '', names)}."
    cure = f"Its benches: {', '.join(names)}." if names else f'Add name = "{sheet.bench}" to its [[bench]].'
    return Problem(sheet.file, text, cure, sheet.line_of("bench"))


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
