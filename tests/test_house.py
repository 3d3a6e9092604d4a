"""House rules that no single part owns."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests import make_demo

OURS = ("core", "dashboard", "tests")
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "requirements.txt", *OURS, "demo_runs"}
MADE_BY_USE = {"handover", "__pycache__"}  # ignored by git
# Names, not addresses that anything calls: XML namespaces and schemas, and this machine.
KNOWN_URLS = ("http://www.w3.org/", "http://127.0.0.1", "http://localhost", "http://{")


def python_files(root: Path, *folders: str) -> list[Path]:
    return [path for folder in folders for path in sorted((root / folder).rglob("*.py"))]


def test_top_level_holds_nothing_else(root: Path) -> None:
    visible = {path.name for path in root.iterdir() if not path.name.startswith(".")}
    assert visible - MADE_BY_USE == TOP_LEVEL


def test_imports_point_one_way(root: Path) -> None:
    linter = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run([linter, "--no-cache"], cwd=root, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout


def test_shipped_code_names_no_outside_host(root: Path) -> None:
    found = [
        f"{path.relative_to(root)}: {url}"
        for path in python_files(root, "core", "dashboard")
        for url in re.findall(r"(?:https?|wss?)://[^\s\"')]+", path.read_text(encoding="utf-8"))
        if not url.startswith(KNOWN_URLS)
    ]
    assert found == []


def forgotten_encodings(tree: ast.AST) -> list[int]:
    """Return lines that read or write text in whatever encoding the machine prefers."""
    lines = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or any(key.arg == "encoding" for key in node.keywords):
            continue
        name = getattr(node.func, "attr", getattr(node.func, "id", ""))
        position = {"read_text": 0, "write_text": 1}.get(name)
        if position is not None and len(node.args) <= position:
            lines.append(node.lineno)
        if name == "open" and isinstance(node.func, ast.Name):
            modes = [*node.args[1:2], *(key.value for key in node.keywords if key.arg == "mode")]
            if not any(isinstance(mode, ast.Constant) and "b" in str(mode.value) for mode in modes):
                lines.append(node.lineno)
    return lines


def test_text_files_name_their_encoding(root: Path) -> None:
    found = [
        f"{path.relative_to(root)}:{line}"
        for path in python_files(root, *OURS)
        for line in forgotten_encodings(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert found == []


@pytest.mark.parametrize(
    ("code", "faults"),
    [
        ("p.read_text()", 1),
        ("p.read_text('utf-8')", 0),
        ("p.write_text(s)", 1),
        ("p.write_text(s, encoding='utf-8')", 0),
        ("open(p)", 1),
        ("open(p, 'rb')", 0),
        ("open(p, mode='wb')", 0),
    ],
)
def test_the_encoding_rule_finds_what_it_should(code: str, faults: int) -> None:
    assert len(forgotten_encodings(ast.parse(code))) == faults


def test_demo_sheets_are_what_the_generator_makes(demo_runs: Path) -> None:
    on_disk = {
        path.relative_to(demo_runs).as_posix(): path.read_text(encoding="utf-8")
        for path in demo_runs.rglob("*.csv")
    }
    assert on_disk == make_demo.files()


def test_every_demo_file_says_that_it_is_invented(demo_runs: Path) -> None:
    files = [path for path in demo_runs.rglob("*") if path.is_file() and ".ledger" not in path.parts]
    assert files
    silent = [path.name for path in files if "invented" not in path.read_text(encoding="utf-8").lower()]
    assert silent == []
