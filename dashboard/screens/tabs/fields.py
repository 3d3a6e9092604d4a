"""Fields of the job file: one text field a key, read by the same reader that reads the file."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from core.files.fields import Choice
from core.files.folder import NAME
from core.files.jobfile import TABLES
from core.files.log import folded
from core.files.toml import Path, lines_of
from core.files.typed import LISTS
from core.files.typed import PATH as TARGET_PATH
from core.files.write_job import UneditableError, edited, typed
from core.job import Problem
from core.written import UnitError
from dashboard import entry_words, field_words
from dashboard.entry import session
from dashboard.entry.draft import WRONG, Work
from dashboard.entry.stages import following
from dashboard.screens.tabs.inputs import FIELD_WIDTH, keyed_choice, keyed_input

_WIDE = 620  # pixels: a list of a dozen numbers
CHOICES: dict[str, tuple[str, ...]] = {
    name: field.read.allowed
    for table in TABLES.values()
    for name, field in table.items()
    if isinstance(field.read, Choice)
} | {"planned": ("yes", "no")}


def stated(data: bytes) -> dict[str, Any]:
    """Return what a job file states, numbers as they are written; empty where it is no TOML."""
    try:
        return tomllib.loads(data.decode("utf-8-sig"), parse_float=str)
    except (ValueError, RecursionError):
        return {}


def value_at(tree: Mapping[str, Any], path: Path) -> str:
    """Return the text of the value at a path, blank where there is none."""
    found: Any = tree
    for part in path:
        try:
            found = found[part]
        except (KeyError, IndexError, TypeError):
            return ""
    if isinstance(found, bool):
        return "yes" if found else "no"
    if isinstance(found, list):
        return ", ".join(str(one) or "-" for one in found)
    return "" if isinstance(found, dict) else str(found)


def at_fields(problems: Sequence[Problem], data: bytes) -> dict[Path, list[str]]:
    """Return the problems of a job file by the key that they stand at."""
    by_line: dict[int, Path] = {}
    for path, line in lines_of(data.decode("utf-8-sig", "replace")).items():
        by_line[line] = max(by_line.get(line, ()), path, key=len)
    found: dict[Path, list[str]] = {}
    for problem in problems:
        if problem.file == NAME and problem.line in by_line:
            found.setdefault(by_line[problem.line], []).append(entry_words.problem_line(problem))
    return found


def draw_table(
    work: Work,
    path: Path,
    problems: dict[Path, list[str]],
    only: Sequence[str] | None = None,
    known: Mapping[str, str] | None = None,
) -> None:
    """Draw the fields of one table of the job file, and take their problems out of those to be shown.

    ``known`` is what a field holds that the job file leaves to the sheets.
    """
    tree, wrong = stated(work.job_file), work.draft.values.get(WRONG, {})
    table = tuple(part for part in path if isinstance(part, str))
    with st.container(horizontal=True):
        for name in only or TABLES[table]:
            here = (*path, name)
            word = f"{table[-1]}.{name}" if table == TARGET_PATH else name
            args = (
                field_words.field_label(word),
                f"field-{_id(here)}",
                value_at(tree, here) or (known or {}).get(name, ""),
                wrong.get(_id(here)),
                _state,
                (here,),
            )
            said = tuple(problems.pop(here, ()))
            note = field_words.FIELD_HELP.get(word)
            if name in CHOICES:
                keyed_choice(*args, CHOICES[name], help_text=note, problems=said)
            else:
                width = _WIDE if table == TARGET_PATH and name in LISTS else FIELD_WIDTH
                hint = field_words.example(word)
                keyed_input(*args, help_text=note, placeholder=hint, problems=said, width=width)


def _id(path: Path) -> str:
    return ".".join(map(str, path))


def _state(key: str, path: Path) -> None:
    """Put a typed value into the job file, or keep it beside with the reason why it was not taken."""
    text = st.session_state[key] or ""
    work = session.work()
    wrong = dict(work.draft.values.get(WRONG, {}))
    wrong.pop(_id(path), None)
    is_stage_name = path[:1] + path[2:] == ("stage", "name")
    try:
        changed = _renaming(work, path, text) if is_stage_name else _stating(work, path, text)
    except (UnitError, UneditableError) as error:
        wrong[_id(path)] = [text, str(error)]
        changed = work
    session.keep(changed.noting(**{WRONG: wrong}))


def _stating(work: Work, path: Path, text: str) -> Work:
    listed = listing(work) if path[0] == "stage" else {}
    data = edited(work.job_file, {**listed, path: typed(path, text)})
    return work.changing({NAME: data or None})


def _renaming(work: Work, path: Path, text: str) -> Work:
    """Return the work with another name for a stage, and all that names it following."""
    tree, listed, new = stated(work.job_file), listing(work), typed(path, text)
    stages = tree.get("stage", [])
    names = listed or {("stage", n, "name"): str(one.get("name", "")) for n, one in enumerate(stages)}
    if new is None:
        raise UnitError("The name is empty.", "Give it one, or take the stage out.")
    new, old = str(new), names.get(path, "")
    if folded(new) in [folded(name) for place, name in names.items() if place != path]:
        raise UnitError(entry_words.stage_is_there(new))
    edits: dict[Path, Any] = {**listed, path: new}
    if old and folded(value_at(tree, ("dyno", "stage"))) == folded(old):
        edits["dyno", "stage"] = new
    changed = work.changing({NAME: edited(work.job_file, edits)})
    return following(changed, old, new) if old else changed


def listing(work: Work) -> dict[Path, str]:
    """Return the edits that list the stages which so far only the sheets name."""
    if stated(work.job_file).get("stage"):
        return {}
    job = session.loaded(work.files, work.name).job
    names = [stage.name for stage in job.stages] if job else []
    return {("stage", place, "name"): name for place, name in enumerate(names)}


def change(edits: Mapping[Path, Any], moved: Mapping[str, Sequence[int]] | None = None) -> bool:
    """Edit the job file; return whether it could be edited."""
    work = session.work()
    try:
        data = edited(work.job_file, edits, moved)
    except UneditableError as error:
        session.say("error", str(error))
        return False
    session.keep(work.changing({NAME: data or None}))
    return True
