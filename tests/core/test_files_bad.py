"""Files that cannot be used: each ends in plain sentences with file, line and cure, all at once.

The corpus is ``tests/files_bad``: bench sheets, and one folder a job. Below stands what each
has to say, a pattern a problem, in order.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from core.files.load import load_files, load_job

CORPUS = Path(__file__).resolve().parents[1] / "files_bad"

SHEETS: dict[str, list[str]] = {
    # a letter in a number
    "letter-in-number.csv": [
        r"line 5, column 'exhaust \[cfm\]': '21O' is not a number \(letter O\?\)",
        r"line 6, column 'intake \[L/s\]': '6l\.0' is not a number \(letter l\?\)",
    ],
    "letter-in-lift.csv": [r"line 7, column 'lift \[mm\]': '9O\.3' is not a number"],
    "not-finite.csv": [
        r"line 4.*'nan'",
        r"line 5.*'inf'",
        r"line 6.*'1e999' is too large",
        r"line 7.*too large",
    ],
    "fraction-of-nothing.csv": [r"line 5.*'3/0' divides by zero"],
    "thousands-mark.csv": [
        r"line 3: barometer: '1,013' can be",
        r"line 5.*1234 or as 1\.234",
        r"line 6.*2345",
    ],
    "two-marks.csv": [r"line 5, column 'intake \[L/s\]': '1\.234,5'.*more than one decimal mark"],
    # the table's shape
    "no-header.csv": [r"line 3: .*column heads, and is: '1', '21\.4'.*Missing: 'lift \[mm\]'"],
    "no-flow-column.csv": [r"line 3: .*Missing: 'intake \[L/s\]' or 'exhaust \[L/s\]'"],
    "no-table.csv": [r"There is no table.*lift \[mm\],intake \[L/s\]"],
    "units-without-brackets.csv": [
        r"line 1: .*'lift in', 'intake cfm'.*'lift in' is not read so.*unit in brackets"
    ],
    "units-below-heads.csv": [
        r"line 1, column 'Lift'.*0\.1 to 0\.2 looks like inches",
        r"line 1, column 'Intake'",
        r"line 2, column 'Lift': 'in' is not a number",
        r"line 2, column 'Intake': 'cfm' is not a number",
    ],
    "title-rows.csv": [r"line 1: .*column heads, and is: 'Twin-cam head', 'invented'"],
    "heads-only.csv": [r"line 3: .*no rows below"],
    "no-readings.csv": [r"no reading in the table"],
    "surplus-cells.csv": [r"line 4: .*3 cells, but there are 2 column heads \(likewise lines 5\)"],
    "cells-without-head.csv": [r"line 4: .*4 cells, but there are 2"],
    "column-twice.csv": [r"line 3: Column 'intake' is there twice"],
    "misspelt-column.csv": [r"line 3: Column 'exhuast \[L/s\]' is not known.*'exhaust'"],
    "open-quote.csv": [r"line 5: .*a quotation mark is not closed"],
    "note-between-rows.csv": [r"line 5.*'clay slipped here'.*behind a '#'"],
    "second-table.csv": [r"line 8, column 'lift \[mm\]': 'lift \[mm\]' is not a number", r"line 8.*intake"],
    # units
    "unknown-unit.csv": [r"column 'lift \[furlong\]': unit 'furlong' is not known", r"'scfm'.*mass flow"],
    "wrong-quantity.csv": [
        r"line 1: bore: '28 inH2O' is a pressure\. Wanted: a length",
        r"line 2: barometer: '86 mm' is a length\. Wanted: a pressure",
        r"line 5, column 'lift \[inH2O\]': unit 'inH2O' is a pressure\. Wanted: a length",
        r"line 5, column 'intake \[mm\]': unit 'mm' is a length\. Wanted: a volume flow",
    ],
    "no-units.csv": [
        r"0\.05 to 0\.8 looks like inches.*--lift in",
        r"'intake \[cfm\]'.*--flow cfm",
        r"'exhaust",
    ],
    "no-units-thousandths.csv": [r"50 to 800 looks like thousandths: write 'lift \[thou\]'"],
    "no-units-mm.csv": [r"1 to 20 looks like mm: write 'lift \[mm\]'"],
    "bare-numbers-in-keys.csv": [
        r"line 1: barometer: '984' has no unit.*1013 hPa",
        r"line 2: humidity: '46' has no unit.*%",
        r"line 3: bore: '86' has no unit.*86 mm",
    ],
    # impossible values
    "negative-flow.csv": [r"line 5, column 'intake \[L/s\]': '-43\.1 L/s'.*positive on both sides"],
    "negative-lift.csv": [r"line 4, column 'lift \[mm\]': The lift is negative"],
    "lift-beyond-reason.csv": [r"line 4.*100 mm is more than any valve opens", r"line 5"],
    "flow-beyond-reason.csv": [r"line 5.*'9000 L/s' is not possible here.*5 m3/s"],
    "percent-beyond-scale.csv": [r"line 4, column 'intake \[%\]': '620 %'.*0\.01 % to 120 %"],
    "plate-beyond-reason.csv": [r"line 3.*'620 inH2O'.*to 60 inH2O", r"line 4.*'-6 inH2O'"],
    "lift-too-fine.csv": [r"line 4, column 'lift \[m\]': A lift of 0\.001 mm is less than can be set"],
    "lift-missing.csv": [r"line 5.*The lift is missing"],
    "impossible-values.csv": [
        r"line 1: barometer: '29\.92 hPa' is not possible here\. Allowed: 500 hPa to 1100 hPa",
        r"line 2: air temperature: '210 degC'",
        r"line 3: humidity: '460 %'.*0 % to 100 %",
        r"line 4: valves open: '2\.5'.*whole numbers",
    ],
    "impossible-rows.csv": [
        r"line 4, column 'test pressure \[inH2O\]': '280 inH2O' is not possible",
        r"line 5, column 'test pressure \[inH2O\]': '-28 inH2O'",
        r"line 6, column 'meter temperature \[degC\]': '240 degC'",
        r"line 7, column 'intake range \[cfm\]': '0 cfm'",
        r"line 8, column 'test pressure \[inH2O\]': 'x' is not a number",
    ],
    "impossible-date.csv": [r"line 1: date: '2026-02-30' is no day", r"line 2: time: '25:00' is no time"],
    # keys
    "words-where-values-belong.csv": [
        r"line 1: role: 'sideways'.*stage, target, calibration, leak",
        r"line 2: date: '14\.3\.2026'.*2026-03-14",
        r"line 3: time: 'half past two'.*14:30",
        r"line 4: already corrected: 'perhaps'.*yes or no",
        r"line 5: corrected to air: 'ISO 2532'.*did you mean 'ISO 2533'",
        r"line 6: order: 'first' is not a number",
    ],
    "endless-name.csv": [
        r"line 1: stage: 'bowl blend .{49}\.\.\.' is longer than a name.*up to 200 characters"
    ],
    "endless-head.csv": [r"line 2: The head of column 3 is 'swirl .{54}\.\.\.' and so on.*200 characters"],
    "endless-remark.csv": [r"line 1: 'stage: bowl .{48}\.\.\.' stands outside the table"],
    "key-twice.csv": [r"line 3: 'stage' is stated twice, first on line 1"],
    "key-without-hash.csv": [
        r"line 1: 'stage: as cast' stands outside the table.*Begin such a line with '#'"
    ],
    "key-without-colon.csv": [r"line 1: 'stage = as cast' has no colon"],
    "percent-without-range.csv": [r"line 4.*needs the range.*# intake range"],
    "percent-and-corrected.csv": [r"line 1: 'intake' is given as percent of range, yet.*already corrected"],
    # not a text at all
    "empty.csv": [r"^empty\.csv: The file is empty"],
    "blank.csv": [r"The file is empty"],
    "spreadsheet.csv": [r"a spreadsheet file.*Save the sheet as CSV"],
    "old-spreadsheet.csv": [r"an old spreadsheet file.*Save the sheet as CSV"],
    "picture.csv": [r"a picture"],
    "printed.csv": [r"a PDF"],
    "binary.csv": [r"binary data"],
    "control-characters.csv": [r"binary data"],
    "mixed-encodings.csv": [r"Line 2 is not UTF-8, though other lines are"],
    "no-encoding.csv": [r"not UTF-8, UTF-16 or Windows-1252"],
    "broken-utf16.csv": [r"not UTF-8, UTF-16 or Windows-1252"],
}
JOBS: dict[str, list[str]] = {
    "job-syntax": [r"^job\.toml, line 1: This is not TOML"],
    "job-binary": [r"^job\.toml: This is a spreadsheet file.*plain text in UTF-8"],
    "job-unknown-keys": [
        r"line 1: The key 'titel' is not known \(did you mean 'title'\?\)",
        r"line 3: The key 'boar' is not known in \[engine\] \(did you mean 'bore'\?\)",
        r"line 4: The key 'engines' is not known \(did you mean 'engine'\?\)",
        r"line 8: The key 'colour' is not known in \[stage\]\. Known here: name, price",
        r"line 10: The key 'metre' is not known in \[bench\] \(did you mean 'meter'\?\)",
    ],
    "job-wrong-units": [
        r"line 1: reference_pressure: '28 mm' is a length\. Wanted: a pressure",
        r"line 3: bore: '86 hPa' is a pressure\. Wanted: a length",
        r"line 4: stroke: 86 has no unit.*\"86 mm\"",
        r"line 5: redline: '8200 degC' is a temperature",
        r"line 7: temperature_reading: '0\.5 degC' is a temperature on a scale.*delta_degC",
        r"line 8: calibration: 0\.015 has no unit.*%",
    ],
    "job-wrong-types": [
        r"line 1: title: \['a'\] is not text",
        r"line 2: 'engine' is a table.*\[engine\]",
        r"line 3: 'bench' is a list of tables.*\[\[bench\]\]",
        r"line 5: valves_per_cylinder: 2\.5",
        r"line 6: 'cam' is a table.*\[intake\.cam\]",
        r"line 9: price: 'a lot' is not a number",
        r"line 10: planned: 'perhaps'",
    ],
    "job-impossible": [
        r"line 2: cylinders: 0",
        r"line 3: bore: '-86 mm'.*10 mm to 1 m",
        r"line 4: compression_ratio: 118",
        r"line 5: stroke: 'nan mm'",
        r"line 8: price: -5",
        r"line 11: price: nan",
    ],
    "job-duplicate-stage": [r"line 5: The stage 'As Cast' is there twice, first on line 3"],
    "job-stage-without-name": [r"line 4: A stage has no name", r"line 7: name: The name is empty"],
    "job-unclaimed-sheet": [
        r"^four\.csv: The stage 'four', from the file's name, is not in job\.toml",
        r"^three\.csv, line 1: The stage 'as cst' is not in job\.toml \(did you mean 'as cast'\?\)",
        r"^two\.csv, line 1: The stage 'bowl blend' is not in job\.toml\. .*as cast",
    ],
    "job-unknown-bench": [r"^one\.csv, line 1: The bench 'shop bensh' .*did you mean 'shop bench'"],
    "job-wrong-meter": [r"^one\.csv, line 4: 'intake' is given as volume flow, .*'percent of range'"],
    "job-benches": [
        r"line 4: The bench 'A' is there twice",
        r"line 5: One of several benches has no name",
        r"line 6: A plate pressure drop needs the plate",
        r"line 9: The plate's bore is not smaller than its pipe",
    ],
    "job-no-sheets": [r"^job\.toml: There are no bench sheets"],
    "job-missing-files": [
        r"line 5: There is no file 'cam-intake\.csv'",
        r"line 8: There is no file '\.\./references/none\.csv'",
    ],
    "job-outside": [r"line 6: '\.\./\.\./secret\.csv' lies outside", r"line 8: '/etc/hostname' lies outside"],
    "job-target": [r"line 6: There is no job '\.\./no-such-job'\. .*from this job's folder: job = "],
    "job-target-empty": [r"line 4: The target has no readings\. Write one of: sheets = .*\[target\.typed\]"],
    "job-target-stage": [
        r"line 6: The job 'other' has no stage 'port polsh' \(did you mean 'port polish'\?\)\. Its stages: as"
    ],
    "job-target-unread-stage": [r"line 6: The stage 'port polish' of 'other' has no bench sheet"],
    "job-target-outside": [r"line 5: The job '\.\./\.\./elsewhere' lies outside the jobs' folder"],
    "job-target-itself": [r"line 5: The target is this job itself\. Name another job"],
    "job-target-circle": [r"line 5: The target is this job itself, by way of 'second'\. Take \[target\] out"],
    "job-target-broken": [
        r"line 5: The job 'other' cannot be used, for it has 2 problems, the first: job\.toml.*'titel'"
    ],
    "job-target-valves": [r"line 5: The intake valves of this target are those of 'other'"],
    "job-target-ways": [
        r"line 4: The target is given 2 times: sheets, job\. Write one of",
        r"line 6: The target names a job, but no stage",
        r"line 6: There is no job 'other'",
    ],
    "job-target-lone-stage": [r"line 6: The target names a stage, but no job"],
    "job-target-marked": [r"^two\.csv, line 1: The sheet is marked as the target, and job\.toml"],
    "job-typed-lengths": [
        r"line 7: intake has 2 entries, and lift has 3\. Write one flow for each lift",
        r"line 8: exhaust has no flow",
    ],
    "job-typed-units": [
        r"line 6: lift_unit: unit 'inH2O' is a pressure\. Wanted: a length",
        r"line 8: exhaust, entry 2: '34 mm' is a length\. Wanted: a volume flow",
        r"line 8: exhaust, entry 3: '9000 L/s' is not possible here.*5 m3/s",
        r"line 9: flow_unit: unit 'cmf' is not known \(did you mean 'cfm'\?\)",
        r"line 10: test_pressure: '28 mm' is a length",
        r"line 11: air: 'ISO 2532'.*did you mean 'ISO 2533'",
        r"line 12: uncertainty: '2' has no unit.*percentage",
    ],
    "job-typed-bare": [
        r"line 4: \[target\.typed\] has no test_pressure",
        r"line 5: lift, entry 1: 1 has no unit.*Or add lift_unit = \"mm\"",
        r"line 6: intake, entry 1: 22 has no unit.*Or add flow_unit = \"cfm\"",
    ],
    "job-typed-nothing": [
        r"line 4: \[target\.typed\] has no lift\. ",
        r"line 4: \[target\.typed\] has no test_pressure",
        r"line 4: \[target\.typed\] has no flows",
        r"line 5: The key 'name' is not known in \[target\.typed\]",
        r"line 7: An uncertainty is stated, and a bench, which has its own",
    ],
    "job-typed-lists": [
        r"line 5: The lifts do not rise",
        r"line 7: intake: A list of up to 100 entries belongs here",
        r"line 8: exhaust: The list holds something that is neither number nor text",
    ],
    "job-typed-bench": [
        r"line 10: The bench 'shop bensh' is not in job\.toml \(did you mean 'shop bench'\?\)"
    ],
    "job-cam": [r"line 7: at: 'lifter'.*valve, tappet", r"line 8: The duration was taken at 5 mm"],
    "job-cam-twice": [r"line 4: The intake cam has a lift table and lift as well"],
    "job-cam-table-twice": [r"line 2: The lift table is stated twice"],
    "job-cam-lash": [r"line 1: 3 mm of lash take up all of 5\.08 mm of lift times 0\.5\."],
    "job-cam-table": [
        r"^in\.csv, line 1: Column 'angle' has no unit",
        r"^in\.csv, line 1, column 'lift \[inH2O\]': unit 'inH2O' is a pressure",
        r"^ex\.csv: The lift table's crank angles must rise",
    ],
    "job-valves": [
        r"line 6: stem_diameter \(29 mm\) is not smaller than throat_diameter \(29 mm\)",
        r"line 8: A seat 12 mm wide",
        r"line 10: valve_diameter: '28 in'.*5 mm to 200 mm",
    ],
    "job-stage-valves": [
        r"line 11: throat_diameter \(34 mm\) is not smaller than valve_diameter \(33\.5 mm\)",
        r"line 17: A seat 8 mm wide does not fit a valve of 28 mm",
    ],
    "job-bare-decimal": [
        r"line 2: serial_number: 1\.1 is not text\. Write it in quotes",
        r"line 4: name: 2\.0 is not text",
    ],
    "job-chambers": [r"line 10: A chamber of 4\.6 cc leaves no clearance.*46\.8 cc.*41\.6 cc"],
    "job-dyno": [
        r"line 2: power: '95 mm' is a length\. Wanted: a power, for example 95 kW",
        r"line 3: standard: 'SAE J1348'.*did you mean 'SAE J1349'.*DIN 70020",
        r"line 4: \[dyno\] 'as cst' is no stage of this job \(did you mean 'as cast'\?\)",
        r"line 5: The key 'color' is not known in \[dyno\]",
    ],
    "job-dyno-bare": [
        r"line 1: \[dyno\] has no standard.*Add standard = ",
        r"line 2: \[dyno\] 'as cst'",
        r"line 3: power: '0 kW' is not possible here\. Allowed: 0\.5 kW to 5000 kW",
    ],
    "job-clearance": [
        r"line 7: chamber_plan_area: '52 mm' is a length",
        r"line 10: A chamber of 52\.9 cc leaves no clearance: gasket, deck and dish are -59 cc together",
        r"line 13: A chamber of 60 cc makes a compression ratio of 499.*Allowed: 2 to 30",
        r"line 16: A chamber of 5000 cc makes a compression ratio of 1\.1",
    ],
    "job-nameless-bench": [r"^one\.csv, line 1: The bench 'shop bench' .*Add name = \"shop bench\""],
    "job-forgotten-cam": [r"^cam\.csv, line 1: .*cam's lift table.*lift_table ="],
    "job-many-faults": [
        r"^job\.toml, line 1: .*'titel'",
        r"^job\.toml, line 4: price: 'x'",
        r"^one\.csv, line 3, column 'intake \[L/s\]': 'x' is not a number",
        r"^three\.csv, line 1: The stage 'nowhere'",
        r"^two\.csv: The file is empty",
    ],
}


def check(problems: list[str], patterns: list[str]) -> None:
    assert len(problems) == len(patterns), problems
    for problem, pattern in zip(problems, patterns, strict=True):
        assert re.search(pattern, problem), (problem, pattern)


def test_the_table_covers_the_corpus() -> None:
    assert {path.name for path in CORPUS.iterdir()} == {*SHEETS, *JOBS}


@pytest.mark.parametrize("name", [*SHEETS, *JOBS])
def test_a_bad_file_ends_in_plain_sentences(name: str) -> None:
    loaded = load_job([CORPUS / name])
    assert loaded.job is None
    for problem in loaded.problems:
        assert problem.file and problem.text and problem.cure
        assert "\n" not in str(problem)
    check([str(problem) for problem in loaded.problems], (SHEETS | JOBS)[name])


@pytest.mark.parametrize("name", [*SHEETS])
def test_an_upload_says_the_same(name: str) -> None:
    from_disk = load_job([CORPUS / name])
    uploaded = load_files({name: (CORPUS / name).read_bytes()}, "upload")
    assert uploaded.problems == from_disk.problems


def test_all_bad_sheets_together_hide_none(tmp_path: Path) -> None:
    for name in SHEETS:
        shutil.copy(CORPUS / name, tmp_path / name)
    found = load_job([tmp_path]).problems
    by_file = {name: [str(p) for p in found if p.file == name] for name in SHEETS}
    for name, patterns in SHEETS.items():
        if name != "percent-and-corrected.csv":  # judged with its neighbours: they tell the meter
            check(by_file[name], patterns)
