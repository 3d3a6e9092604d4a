"""Mutation testing of the formulas: does any changed constant, sign or check go unnoticed?

Needs mutmut, which nothing else here does: ``pip install mutmut``. It works on a copy of the
tree. ``python -m tests.mutants`` for all modules below, or with the names of some.
"""

from __future__ import annotations

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
    "calibration": "calibration bench_day_findings trail",
    "repeats": "repeats shared review",
    "uncertainty": "uncertainty shared",
    "measured": "ports gains shared review target trail",
    "ports": "ports shared review repeats",
    "gains": "gains shared review target trade_facts",
    "shared": "shared shared_effects calibration review",
}

# What may survive, and why: none of these changes a number beyond its budget.
ACCEPTED = {
    r"np\.(as)?array\(\w+(\.\w+)?(\(\))?, (dtype=)?(float)?": "numbers are floats already",
    r"raise ValueError|^- +f?\"": "the wording of a message",
    r"require_\w+\(\*\*.*(XX|[A-Z]{3})": "the name in a message",
    r"SAME_LIFT|- 1e-9|\+ 1e-9": "a hair of room for rounding: no reading meets its edge",
    r"flow = \S+ [*/] ideal": "the first guess of an iteration that closes",
    r"np\.where\(moving": "stands where nothing flows, and is multiplied by that nothing",
    r"np\.full\(.*np\.shape": "the shape of an answer that is nan all over",
    r"^-\s+throat_diameter_m=throat": "a later check, against the stem, refuses the same",
    r"low = valve_lift_m": "both formulas meet at that lift",
    r"errstate": "a warning of NumPy's, and no number",
    r"strict=": "lengths that are equal by construction",
    r"astype\(None\)|zeros\(DRAWS, (None)?\)": "single precision is for speed: it does for counting",
    r"\b(1000000000001|1000001)\.0": "a cap on degrees of freedom that is without end either way",
    r"\.\.\.N,\.\.\.N->": "the same sum under another letter",
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
    found = [line.split(":")[0].strip() for line in told.splitlines() if line.endswith("survived")]
    return {one: _changed(_said(copy, "show", one)) for one in found}


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
