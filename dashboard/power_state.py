"""The power model of what is shown: worked out once for a job and its settings, then kept.

It is the one slow thing here, so a screen asks first whether it is there, draws all else, and
works it out last, with progress. What a person set on the screen stays in the session.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import streamlit as st

from core.job import Job
from core.power_answers import Answers
from core.power_model import PowerSettings, power_model
from core.power_results import Anchor, PowerModel
from core.power_settings import settings_of
from core.results import Review

_MOST = 32  # models kept by the server

Store = dict[tuple[Job, PowerSettings], PowerModel]


@st.cache_resource(show_spinner=False)
def _store() -> Store:
    return {}


@st.cache_resource(show_spinner=False)
def _kept() -> dict[tuple, Answers]:
    """Return what the runs of the model gave, by what they depend on."""
    return {}


def settings(job: Job) -> PowerSettings:
    """Return the job's settings with what was set in this session over them."""
    chosen = replace(settings_of(job), **set_here(job))
    return replace(chosen, anchor=st.session_state.get(_key(job, "anchor"), chosen.anchor))


def set_here(job: Job) -> dict[str, float]:
    """Return what was set in this session, by field of the settings."""
    return st.session_state.get(_key(job, "set"), {})


def anchor_here(job: Job) -> Anchor | None:
    """Return the known peak that was set in this session."""
    return st.session_state.get(_key(job, "anchor"))


def keep(job: Job, values: dict[str, float]) -> None:
    """Keep what was set on the screen for the rest of the session."""
    st.session_state[_key(job, "set")] = values


def keep_anchor(job: Job, anchor: Anchor | None) -> None:
    """Keep a known peak for the rest of the session; None leaves the job's own out, too."""
    st.session_state[_key(job, "anchor")] = anchor


def ready(review: Review) -> Review | None:
    """Return the review with its power model if that has been worked out already."""
    model = _store().get((review.job, settings(review.job)))
    return None if model is None else replace(review, power=model)


def work_out(review: Review, progress: Callable[[float], None] | None = None) -> Review:
    """Return the review with its power model, worked out now."""
    store, chosen = _store(), settings(review.job)
    model = power_model(review.job, review, chosen, progress, _kept())
    for full in (store, _kept()):
        while len(full) >= _MOST:
            full.pop(next(iter(full)), None)
    store[review.job, chosen] = model
    return replace(review, power=model)


def _key(job: Job, what: str) -> str:
    return f"power-{what}-{job.fingerprint}"
