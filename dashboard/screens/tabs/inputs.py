"""A text field that keeps what was typed, also where it cannot be read, with the problem under it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import streamlit as st

from dashboard.usertext import inert

FIELD_WIDTH = 200


def keyed_input(
    label: str,
    key: str,
    value: str,
    wrong: list[str] | None,
    on_change: Callable[..., None],
    args: tuple[Any, ...] = (),
    *,
    help_text: str | None = None,
    placeholder: str | None = None,
    problems: tuple[str, ...] = (),
    width: int = FIELD_WIDTH,
) -> None:
    """Draw one field; ``wrong`` is what was typed and why it was not taken.

    The callback is called with the field's key before its own arguments.
    """
    st.session_state[key] = wrong[0] if wrong else value
    with st.container(width=width, gap=None):
        st.text_input(
            label,
            key=key,
            on_change=on_change,
            args=(key, *args),
            help=help_text,
            placeholder=placeholder,
            autocomplete="off",
        )
        for text in ([wrong[1]] if wrong else []) + list(problems):
            st.caption(f":red-badge[check] {inert(text)}")


def keyed_choice(
    label: str,
    key: str,
    value: str,
    wrong: list[str] | None,
    on_change: Callable[..., None],
    args: tuple[Any, ...],
    allowed: Sequence[str],
    *,
    help_text: str | None = None,
    placeholder: str = "default",
    problems: tuple[str, ...] = (),
    width: int = FIELD_WIDTH,
) -> None:
    """Draw a choice of a few words; none of them is the default."""
    written = wrong[0] if wrong else value
    options = [*allowed] if not written or written in allowed else [*allowed, written]
    st.session_state[key] = written or None
    with st.container(width=width, gap=None):
        st.selectbox(
            label,
            options,
            index=None,
            key=key,
            placeholder=placeholder,
            on_change=on_change,
            args=(key, *args),
            help=help_text,
        )
        for text in ([wrong[1]] if wrong else []) + list(problems):
            st.caption(f":red-badge[check] {inert(text)}")
