"""What is shown: the job, its review, units and reader; kept in the session and in the address."""

from __future__ import annotations

import gc
import hashlib
import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

import streamlit as st

from core.files.folder import NAME
from core.files.listing import is_job, stamp_of
from core.files.load import Loaded, load_files, load_job
from core.files.names import is_text, printable
from core.files.save import HISTORY, finish
from core.job import Problem
from core.results import Review
from core.review import review
from core.units import METRIC, US, UnitSet
from dashboard.handover.bundle import FILES, archive
from dashboard.handover.choice import Choice
from dashboard.look import THEMES, Theme

Reader = Literal["shop", "customer"]

UNITS: dict[str, UnitSet] = {"metric": METRIC, "US": US}
READERS: tuple[Reader, Reader] = ("shop", "customer")
OWN = "/"  # stands for uploaded sheets; no folder can have this name
_FIRST_DEMO = "sprint-four"  # a sound job
_DEMO_JOBS = Path(__file__).resolve().parents[1] / "demo_runs"
_MOST_DRAWN = 96  # charts and tables of a job: what several visitors look at, in both units


@dataclass(frozen=True)
class Opened:
    """One job as read: a review, or all the reasons why there is none."""

    review: Review | None
    problems: tuple[Problem, ...]
    files: int  # how many it was read from
    drawn: Callable[..., Any]  # drawn(make, *how) is make(review, *how), made once for all who look at it


@dataclass(frozen=True)
class Shown:
    """All that a screen needs to draw."""

    opened: Opened | None  # None: there is no job yet
    units: UnitSet
    reader: Reader
    theme: Theme
    phone: bool


@st.cache_resource(show_spinner=False)
def settle() -> None:
    """Take all that stays out of the garbage collector's rounds, once a process, after its first run.

    Streamlit goes through everything after every click.
    """
    gc.collect()
    gc.freeze()


# --- which jobs there are --------------------------------------------------------------


def root() -> Path:
    """Return the folder that holds the jobs."""
    return Path(os.environ.get("GAIN_LEDGER_ROOT") or _DEMO_JOBS)


def job_names() -> list[str]:
    """Return the names of the job folders, those with a job file first, or of the only one to show."""
    only = os.environ.get("GAIN_LEDGER_JOB")
    if only and for_customer_only():
        return [Path(only).name]
    found = [folder for folder in _folders() if is_text(folder.name) and is_job(folder)]
    return [
        folder.name for folder in sorted(found, key=lambda one: (not os.path.isfile(one / NAME), one.name))
    ]


def unshown_folders() -> int:
    """Return how many job folders have a name that no browser can be sent."""
    return sum(not is_text(folder.name) and is_job(folder) for folder in _folders())


def _folders() -> list[Path]:
    try:
        return [one for one in root().iterdir() if not one.name.startswith(".") and os.path.isdir(one)]
    except OSError:
        return []


def missing_root() -> str | None:
    """Return why the folder of the jobs cannot be looked into; None where it can."""
    try:
        os.listdir(root())
    except OSError as error:
        return error.strerror or str(error)
    return None


def first_job() -> str:
    """Return the name of the job that the app was started on, else of the demo job to begin with."""
    only = os.environ.get("GAIN_LEDGER_JOB")
    return Path(only).name if only else _FIRST_DEMO


def for_customer_only() -> bool:
    """Return whether the app shows one job to a customer, with no way to another."""
    return os.environ.get("GAIN_LEDGER_READER") == "customer"


def reader() -> Reader:
    """Return who reads: from the session, at its start from the address."""
    if for_customer_only():
        return "customer"
    begin("reader", list(READERS), "shop")
    return st.session_state["reader"]


# --- reading them ----------------------------------------------------------------------


def open_job(name: str) -> Opened:
    """Return a job of the root folder, read again only when one of its files has changed."""
    folder = root() / name
    if not for_customer_only():
        finish(folder, root())  # what a kill cut short: other programs are to find it whole, too
    own, other = _stamped(_files_below(folder)), _stamped(_elsewhere().get(str(folder), ()))
    stamps = repr((own, other))  # one text is hashed sooner than its parts
    opened = _read_folder(str(folder), str(root()), stamps, len(own))
    if opened.review is None:  # what is wrong may lie in another folder: look again next time
        _read_folder.clear(str(folder), str(root()), stamps, len(own))
    else:
        _elsewhere()[str(folder)] = _named_elsewhere(folder, opened.review)
    return opened


def _stamped(paths: Iterable[str]) -> list[tuple[str, str]]:
    """Return the files that are there, each with its stamp."""
    return [(printable(path), stamp) for path in sorted(paths) if (stamp := stamp_of(path))]


def _files_below(folder: Path) -> Iterator[str]:
    """Yield a job's files; what cannot be looked into, or goes away meanwhile, has none."""
    for place, folders, names in os.walk(folder):
        if place == str(folder) and HISTORY in folders:
            folders.remove(HISTORY)
        yield from (os.path.join(place, name) for name in names)


@st.cache_resource(show_spinner=False)
def _elsewhere() -> dict[str, tuple[str, ...]]:
    """Return what each job's review rests on outside its folder, a target's sheets say."""
    return {}


def _named_elsewhere(folder: Path, review: Review) -> tuple[str, ...]:
    files = [(folder / name).resolve() for name, _ in review.job.files if ".." in name]
    return tuple({str(path): None for file in files for path in (file, file.parent)})  # a folder gains files


@st.cache_resource(show_spinner=False, max_entries=32)
def _read_folder(folder: str, within: str, stamps: str, _files: int) -> Opened:
    return _opened(load_job([Path(folder)], root=Path(within)), _files)


def keep_uploads(files: list[st.runtime.uploaded_file_manager.UploadedFile]) -> None:
    """Copy uploaded bytes into the session: the widget forgets them when it leaves the page."""
    kept: dict[str, bytes] = {}
    for file in files:
        name, count = file.name, 2
        while name in kept and kept[name] != file.getvalue():
            stem, dot, ending = file.name.rpartition(".")
            name = f"{stem or ending} ({count}){dot if stem else ''}{ending if stem else ''}"
            count += 1
        kept[name] = file.getvalue()
    st.session_state["uploads"] = kept


def uploads() -> dict[str, bytes]:
    """Return the uploaded files by name."""
    return st.session_state.get("uploads", {})


def open_uploads() -> Opened:
    """Return the uploaded sheets as one job."""
    digests = tuple((name, hashlib.sha256(data).hexdigest()) for name, data in uploads().items())
    return _read_uploads(digests, uploads())


@st.cache_resource(show_spinner=False, scope="session", max_entries=4)
def _read_uploads(digests: tuple[tuple[str, str], ...], _files: dict[str, bytes]) -> Opened:
    return _opened(load_files(_files, "your sheets"), len(digests))


def _opened(loaded: Loaded, files: int) -> Opened:
    done = None if loaded.job is None else review(loaded.job)
    drawn = lru_cache(_MOST_DRAWN)(lambda make, *how: make(done, *how))
    return Opened(done, tuple(loaded.problems), files, drawn)


def _data_of(review: Review) -> tuple[str, str, int]:
    return review.job.name, review.job.fingerprint, hash(review.power)


def handover_file(name: str, units: str, choice: Choice, review: Review) -> bytes:
    """Return one hand-over file; the same job in the same units and choice is made once.

    Of a job in the root it is made for all sessions, as its review is: a PDF for each visitor
    would keep twenty of them waiting. What was uploaded stays in its session.
    """
    made = _file_of_uploads if st.session_state.get("job") == OWN else _file_of_job
    return made(name, units, choice, review)


@st.cache_data(show_spinner=False, max_entries=80, hash_funcs={Review: _data_of})
def _file_of_job(name: str, units: str, choice: Choice, review: Review) -> bytes:
    return FILES[name](review, UNITS[units], choice)


@st.cache_data(show_spinner=False, scope="session", max_entries=40, hash_funcs={Review: _data_of})
def _file_of_uploads(name: str, units: str, choice: Choice, review: Review) -> bytes:
    return FILES[name](review, UNITS[units], choice)


@st.cache_data(show_spinner=False, scope="session", max_entries=4, hash_funcs={Review: _data_of})
def handover_archive(units: str, choice: Choice, review: Review, _files: dict[str, bytes]) -> bytes:
    """Return all of them in one archive."""
    return archive(review, _files)


# --- session and address ---------------------------------------------------------------


def begin(name: str, allowed: list[str], default: str) -> str | None:
    """Set a choice from the address at the start of a session; return what is asked for in vain, or gone."""
    if name in st.session_state:
        before = st.session_state[name]
        if before in allowed:
            return None
        st.session_state[name] = default
        return before
    wanted = st.query_params.get(name)
    st.session_state[name] = wanted if wanted in allowed else default
    return wanted if wanted is not None and wanted not in allowed else None


def to_address(**choices: str | None) -> None:
    """Write choices into the address, so that a link opens what was seen."""
    for name, value in choices.items():
        if value is None:
            if name in st.query_params:
                del st.query_params[name]
        elif st.query_params.get(name) != value:
            st.query_params[name] = value


def is_phone() -> bool:
    """Return whether the browser says that it is a phone's."""
    return "Mobi" in (st.context.headers.get("User-Agent") or "")


def shown() -> Shown:
    """Return what the sidebar chose."""
    job = st.session_state.get("job")
    opened = None if job is None else open_uploads() if job == OWN else open_job(job)
    mode = st.context.theme.type
    return Shown(
        opened,
        UNITS[st.session_state["units"]],
        st.session_state["reader"],
        THEMES["dark" if mode == "dark" else "light"],
        is_phone(),
    )
