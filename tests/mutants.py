"""Mutation testing of the formulas: does any changed constant, sign or check go unnoticed?

Needs mutmut, which nothing else here does: ``pip install mutmut``. It works on a copy of the
tree. ``python -m tests.mutants`` for all modules below, or with the names of some.
"""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
MUTMUT = [sys.executable, "-m", "mutmut"]

# Module of core: the tests that judge it, without those marked slow.
JUDGES = {
    "air": "air isentropic trade_facts",
    "orifice": "orifice bench",
    "bench": "bench rows",
    "valve": "valve trade_facts",
    "curve": "curve review",
    "cam": "cam curve",
    "dyno": "dyno",
    "compression": "compression chambers",
    "chambers": "chambers compression",
    "calibration": "calibration bench_day_findings trail trail_demo",
    "repeats": "repeats shared review",
    "uncertainty": "uncertainty shared",
    "measured": "ports gains shared review target trail trail_demo side",
    "ports": "ports shared review repeats side balance",
    "gains": "gains shared review target trade_facts",
    "shared": "shared shared_effects calibration review",
    "breathing/crank": "cycle_parts",
    "breathing/areas": "cycle_parts",
    "breathing/cases": "cycle_parts",
    "breathing/friction": "cylinder",
    "breathing/closing": "cycle_closing",
    "breathing/cycle": "cycle_repeats",
    "stages": "stages review",
    "setups": "setups",
    "side": "side review target",
    "rows": "rows",
    "trail": "trail",
    "units": "units unit_table",
    "balance": "balance",
    "ceiling": "ceiling",
    "power_input": "power_input power_refusals",
    "power_assumptions": "power_assumptions",
    "power_results": "power_results",
    "power_settings": "power_results",
    "power_ranges": "power_ranges",
    "power_runs": "power_runs",
    "power_answers": "power_answers",
    "power_model": "power_gains power_assumptions",
    "target": "target",
    "conditions": "conditions rows",
    "findings/bench_day": "bench_day_findings",
    "findings/unused": "bench_day_findings",
    "findings/slips": "slips",
    "findings/readings": "reading_findings side",
    "findings/profiles": "profiles slips",
    "findings/left_out": "left_out",
    "findings/sheets": "sheet_findings",
    "findings/target": "target_findings",
    "findings/comparisons": "comparison_findings",
    "numbers": "numbers",
    "breathing/march": "cylinder_rates cylinder",
    "breathing/intake": "cylinder_rates cylinder",
    "breathing/valve_flow": "cylinder_rates cylinder",
    "breathing/nozzle": "cylinder_rates cylinder",
    "breathing/gas": "cylinder_rates cylinder",
    "breathing/heat": "cylinder_rates cylinder",
    "breathing/burn": "cylinder_rates cylinder",
}

# A test that gets a remembered answer does not call what a mutant changed: mutmut would not know that it
# judges it, nor would the mutant be tried in the copies of a process that has seen all tests pass.
FORGETTING = """

import functools
import gc

_REMEMBERING = []


def pytest_collection_finish(session: pytest.Session) -> None:
    found = [one for one in gc.get_objects() if isinstance(one, functools._lru_cache_wrapper)]
    _REMEMBERING.extend(one for one in found if (one.__module__ or "").startswith("core."))


def pytest_runtest_setup(item: pytest.Item) -> None:
    for one in _REMEMBERING:
        one.cache_clear()
"""

# What may survive, and why: none of these changes a number beyond its budget.
ACCEPTED = {
    r"np\.(as)?array\(\w+(\.\w+)?(\(\))?, (dtype=)?(float)?": "numbers are floats already",
    r"raise ValueError|^- +f?\"(?!\w+\": |(look|stop|note)\")": "the wording of a message",
    r"require_\w+\(\*\*.*(XX|[A-Z]{3})": "the name in a message",
    r"SAME_LIFT|- 1e-9|\+ 1e-9": "a hair of room for rounding: no reading meets its edge",
    r"flow = \S+ [*/] ideal": "the first guess of an iteration that closes",
    r"np\.where\(moving": "stands where nothing flows, and is multiplied by that nothing",
    r"np\.where\(sound, log_flow, 1": "stands where a cell weighs nothing",
    r"rows\[at, column\] = 2": "the same curve, told in halves",
    r"- rounding < setting|setting < unknown": "a hair of room for rounding: no setting meets its edge",
    r"<= LEAST_SPEED|>= MOST_|first < placed|opens_rad <= placed|closes_rad < last": "an edge",
    r"duration <= np\.radians|stroke < rod|rod < 4 \*|lift\[-1\] <= CAM_REACH": "an edge",
    r"round\(centre, 7": "six digits hide a rounding as seven do",
    r"ensure_ascii=None": "nothing is as good as no",
    r"allow_nan=(None|True)|ensure_ascii=False, indent": "whatever is not finite is gone by then",
    r"if job\.stages else \"XXXX": "no stage has that name",
    r"^- +\d[^\"]*\"[^\"]+\"\), => |XXof Wos|OF WOS|of wos": "the wording of a note",
    r"np\.full\(.*np\.shape": "the shape of an answer that is nan all over",
    r"^-\s+throat_diameter_m=throat": "a later check, against the stem, refuses the same",
    r"low = valve_lift_m": "both formulas meet at that lift",
    r"if lift_m\[end\] <= 0": "a row on the seat is moved by nothing",
    r"ends_m >= _SHUT_SHARE": "an edge that is a judgement",
    r"errstate": "a warning of NumPy's, and no number",
    r"=> .*strict=(None|False)|zip\([^=]*, \)|^- +strict=True,$": "lengths that are equal by construction",
    r"astype\(None\)|zeros\(DRAWS, (None)?\)": "single precision is for speed: it does for counting",
    r"dof, .*\b(1000000000001|1000001)\.0": "a cap on degrees of freedom that is without end either way",
    r"\(1000001\.0 (\* beta )?/ reynolds\) \*\* 0\.[37]": "a millionth of a term that is a hundredth",
    r"pipe_mm <= 71\.12": "what small pipes add is nothing at that size",
    r"pipe_diameter_m, 10\)": "ten digits hide a rounding as nine do",
    r"^-\s+(text|cure|named|who|why) \+?= ": "the wording of a sentence",
    r"by_head / heads|\[1\.0\] \* len\(PARTS\)": "heads are ones, and curtains of thirds are cut off",
    r"=> .*[<>]= (2 \* )?-?(WEATHER_PA|WARM_K|RULES_APART|SCALE_OFF|LEAK_LARGE|ACTION)": "an edge",
    r"XX XX\"\.join": "the same on both sheets",
    r"= text\.strip\(\"XX|not text\.strip\(\"XX": "X stands in no number",
    r"interpolated and lift < alone": "the top lift is a reading",
    r"np\.ones\(2\), weighed": "the same result twice",
    r"full_like\(ratio, None|weights\[i\] = None": "None in an array of floats is nan",
    r"argsort\(np\.abs\(lift - lift\[i\]\), (kind=(None|\"STABLE\"))?\)": "a few numbers are sorted in order",
    r"at = \(lift\[near\] - lift\[i\]\) \* |lift\[near\] \+ ": "a scale, which a parabola does not depend on",
    r"at\.min\(\) <= 0|0 <= at\.max": "no neighbour lies at the reading itself",
    r"(>= bench\.repeatability /|bench\.repeatability \*) 2": "which lifts count as steep is a judgement",
    r"squares, weight, dof = 0\.0, 0, 1": "two ports have one degree of freedom already",
    r"curve\.top_m > CAM_REACH": "a hair of room is in it: no top meets its edge",
    r"low > SAME_EFFECT|high < SAME_EFFECT": "an edge, and effects of nothing take nothing away",
    r"count or 2, float": "without a count there is no diameter either",
    r"stopped\.get\(key, (None)?\)": "no lift, either way",
    r"=> .*([<>]= (OFF_CURVE|GROSS|NEAR|LEVEL_NEAR|SETUP_OFF)\b|>= 0\.1 |<= 0\.3 \*)": "an edge",
    r"=> .*([<>]= (SUSPICIOUS|IMPOSSIBLE|LOW_LIFT))": "an edge",
    r"sheet\.stage or \"XXXX": "no stage has that name, either",
    r"> cam \* \(1 - 1e-6\)|<= CAM_REACH|fall >= max": "an edge",
    r"expanded_bench_m3_s\[-1\] or 1\.0": "no uncertainty is exactly nothing",
    r"found\[\"setup-unknown\"": "a key that nothing else has, whatever it is",
    r"for rule in \(\"square root\", \"(XX|ISE)": "whatever is not the plain root is the other rule",
    r"\"high\" if difference >= 0": "what is off by nothing is not said",
    r"sound\[index\] = found": "a reading of no flow is never too much",
    r"=> .*\(log\(100\), \"decimal-slip\", ": "the wording of a sentence",
    r"(middle|usual) = .*(or True|and False| else 1\.0)|found\.level \+ middle": "about nothing",
    r"standard_barometer\(1\.0\)|meter_temperature_k or 1\.0": "nothing beside any weather or warmth",
    r"\.\.\.N,\.\.\.N->|CM,MRC->RC": "the same sum under another letter",
    r"largest > abs": "no draw is equal to a score",
    r"\"clear gain\" if gain >= 0": "a gain of nothing has left by then",
    r"matrix != 1": "a column of nothing adds nothing",
    r"=> .*\(\"(XX[a-z ]+XX|[A-Z ]+)\", ": "a name beside other names",
    r"\)\], None\)": "one name is every reading's, whatever the number",
    r"pressure_factor\(.*(XXisentropicXX|ISENTROPIC)": "whatever is not the plain root is the other rule",
    r"state, name\) - share": "a step down is as long as a step up",
    r"number = None, |number [-+]= [12]$|pressure >= last": "numbers that tell clusters apart, and an edge",
    r"=> .*(lifts\[-1\] < top |and False else lifts)": "the long way to the same lifts",
    r"_same\(.*\bNone\b|one_m is other_m and|array_equal\(.*\bNone\b": "a short cut to the same",
    r"and False else np\.flatnonzero": "every reading named, where a slice does",
    r"port\.name or \"XXXX": "a port without a name is last by then",
    r"top > CAM_REACH": "a hair of room is in it: no top meets its edge",
    r"seen\[1\]\.curve": "views of one and the same curve",
    r"key = .*path_m is not None": "a key that tells the same two apart",
    r"normal \+?-?= \(1e-13|- 1e-300": "a hair that keeps a matrix from being singular, or 0 / 0 away",
    r">= 0\.2 \* end|CYCLE_RAD - 1\) >= |axis=0\) <= closes|\(share < 1\)": "an edge that no number meets",
    r"runs (= grid > exhaust|&= grid < max)": "an edge that no point of the grid meets",
    r"intake_temperature_k \+ (41\)|201,|200, 1\.06)": "a first guess, which nothing depends on",
    r"argsort\(cases\.prescribed, (kind=(None|\"STABLE\"))?\)": "any order with runners first serves",
    r"=> .*zeros\((left|fresh)\.size, (dtype=None)?\)": "a count is a count",
    r"count_nonzero\(~open_\) < IDLE": "how long closed cases are carried along: speed alone",
    r"done = share": "of two steps, with nothing done before the first",
    r"reshape\(.*-2[,)]": "any number below nothing leaves it to NumPy to count",
    r"lambda _share: 0": "an answer that nobody hears",
    r"\(2 \* bend\), -1, (None|2)\)": "the redline ends the window all the same",
    r"1 - spread \* one": "lengths lie alike either way",
    r"rstrip\(['\"]XX": "the wording of a message",
    r"against in \(\"previous\", \"(XXbaselineXX|BASELINE)": "by way of the baseline it comes to the same",
    r"np\.mean\(whole\) else 1\.0": "a share of nothing",
    r"gain_w\.low <= 1 <=": "a watt is nothing beside a gain",
    r"unsure, \"(XXclearXX|CLEAR)\" if": "whatever is not too close to call is clear",
    r"path = (None|lift\.get\(None\))": "a line worked out once more",
    r"np\.mod\(crank_angle_rad \+ 2": "a whole cycle apart",
    r"other = \((1\.5|0\.5 \+ np\.arange\(count\) (/ 0|\* 1)\.6)": "the same place on the way round",
    r"return np\.add\(up, second": "a buffer made anew: slower, and the same number",
    r"first_wave >= 0|first_wave <= count": "work on no cases at all",
    r"np\.where\(wanted >= 0": "where nothing is wanted nothing flows",
    r"peak_pa\[:\] = 1\.0": "below every peak",
    r">= DOUBTED|>= usual / 2": "an edge",
    r"> usual / 3": "where a lift that is hardly steep is counted: a judgement either way",
    r"np\.abs\(residual\) \* np\.sqrt\(spread\)": "the order in which readings that are off are set aside",
    r"off\.max\(axis=None\)": "one a turn instead of one a lift",
    r"full_like\(log_flow, None": "None in an array of floats is nan",
    r"heard\[k\] \+ reference": "whether it is there is all that is asked of it",
    r"steep = steepness > 1": "no curve is that level and called steep",
    r"maximum\(count - 1, 1\)": "half of one is none",
    r"start\.min\(\)\) \||angles > start\.min|angles < ends": "points where nothing burns yet or any more",
}


def main(names: list[str]) -> int:
    """Run the mutants of some modules and print what survived without a reason."""
    unknown = [name for name in names if name not in JUDGES]
    if unknown:
        print(f"{', '.join(unknown)}: not among {', '.join(JUDGES)}", file=sys.stderr)
        return 2
    left = 0
    for name in names or JUDGES:
        with tempfile.TemporaryDirectory() as folder:
            survivors = mutated(name, Path(folder))
        unexplained = {mutant: line for mutant, line in survivors.items() if not reason(line)}
        print(f"{name}: {len(survivors)} survived, {len(unexplained)} of them without a reason", flush=True)
        for mutant, line in unexplained.items():
            print(f"  {mutant}: {line}")
        left += len(unexplained)
    return 1 if left else 0


def mutated(name: str, folder: Path) -> dict[str, str]:
    """Return the surviving mutants of a module with the lines they changed."""
    copy = folder / "tree"
    skipped = shutil.ignore_patterns(".*cache*", ".git", ".venv", "__pycache__", ".hypothesis", "handover")
    shutil.copytree(ROOT, copy, ignore=skipped)
    module = copy / f"core/{name}.py"
    module.write_text(undecorated(module.read_text("utf-8")), "utf-8")
    with (copy / "tests/conftest.py").open("a", encoding="utf-8") as conftest:
        conftest.write(FORGETTING)
    judges = [f"tests/core/test_{judge}.py" for judge in JUDGES[name].split()]
    settings = {
        "source_paths": ["core"],
        "only_mutate": [f"core/{name}.py"],
        "also_copy": ["tests", "dashboard", "demo_runs", ".pytest.ini", ".streamlit"],
        "pytest_add_cli_args_test_selection": judges,
        "pytest_add_cli_args": ["-p", "no:cacheprovider", "-o", "addopts=", "-m", "not slow"],
    }
    lines = ["[mutmut]"]
    for key, values in settings.items():
        lines += [f"{key}=", *(f"    {value}" for value in values)]
    (copy / "setup.cfg").write_text("\n".join(lines) + "\n", "utf-8")
    subprocess.run([*MUTMUT, "run"], cwd=copy, stdout=subprocess.DEVNULL, check=False)
    told = _said(copy, "results")
    if not (copy / "mutants").is_dir():
        raise RuntimeError(f"mutmut made no mutants of {name}: run it in a copy and read what it says")
    unseen = ("survived", "no tests", "not checked")
    found = [line.split(":")[0].strip() for line in told.splitlines() if line.endswith(unseen)]
    return {one: _changed(_said(copy, "show", one)) for one in found}


def undecorated(source: str) -> str:
    """Return a module with each decorator as an assignment below its function.

    mutmut passes over whatever is decorated, as all properties and remembered answers are.
    """
    lines = source.splitlines()
    functions = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.FunctionDef)]
    for node in sorted(functions, key=lambda one: -one.lineno):
        if not node.decorator_list:
            continue
        start, indent = node.decorator_list[0].lineno - 1, " " * node.col_offset
        called = [
            f"{indent}{node.name} = {ast.unparse(one)}({node.name})" for one in node.decorator_list[::-1]
        ]
        lines[start : node.end_lineno] = [*lines[node.lineno - 1 : node.end_lineno], *called]
    return "\n".join(lines) + "\n"


def reason(line: str) -> str:
    """Return why a mutant may survive, or nothing."""
    return next((why for pattern, why in ACCEPTED.items() if re.search(pattern, line)), "")


def _said(copy: Path, *words: str) -> str:
    done = subprocess.run([*MUTMUT, *words], cwd=copy, capture_output=True, encoding="utf-8", check=False)
    return done.stdout


def _changed(difference: str) -> str:
    lines = [line for line in difference.splitlines() if re.match(r"[+-](?![+-])", line)]
    return " => ".join(lines)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
