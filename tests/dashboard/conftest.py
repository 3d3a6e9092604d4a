"""Screens of the app, opened without a browser."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

OpenScreen = Callable[..., AppTest]


@pytest.fixture
def open_screen(root: Path, demo_runs: Path, monkeypatch: pytest.MonkeyPatch) -> OpenScreen:
    """Return a function that opens the whole app, or one screen's script, with an address.

    What is in a fold is drawn only once it is open: set ``app.session_state["fold-KEY"]`` and run again.
    """

    def opened(
        script: Callable[[], None] | None,
        folder: Path = demo_runs,
        environment: Mapping[str, str] | None = None,
        **address: str,
    ) -> AppTest:
        for name in ("GAIN_LEDGER_JOB", "GAIN_LEDGER_READER"):
            monkeypatch.delenv(name, raising=False)
        for name, value in {"GAIN_LEDGER_ROOT": str(folder), **(environment or {})}.items():
            monkeypatch.setenv(name, value)
        if script is None:
            app = AppTest.from_file(str(root / "dashboard" / "app.py"), default_timeout=120)
        else:
            app = AppTest.from_function(script, default_timeout=120)
        for key, value in address.items():
            app.query_params[key] = value
        return app.run()

    return opened
