"""A root of jobs that may be spoilt, and screens as the other tests open them."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.dashboard.conftest import open_screen  # noqa: F401 - a fixture

SOUND, OTHER = "bare-sheets", "messy-day"


@pytest.fixture
def jobs(tmp_path: Path, demo_runs: Path) -> Path:
    """Return a root with two jobs that may be spoilt."""
    for name in (SOUND, OTHER):
        shutil.copytree(demo_runs / name, tmp_path / "jobs" / name)
    return tmp_path / "jobs"
