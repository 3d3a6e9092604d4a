"""What is said where the folder of all jobs is not to be had, as when its drive was unplugged."""

from __future__ import annotations

import streamlit as st

from dashboard import phrases, state
from dashboard.usertext import inert


def draw_missing_root() -> bool:
    """Say why the folder of the jobs cannot be looked into; return whether that is so."""
    why = state.missing_root()
    if why is not None:
        st.error(phrases.missing_root(inert(why)))
    return why is not None
