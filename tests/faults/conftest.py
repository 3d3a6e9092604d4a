"""Screens as the other tests open them."""

from tests.dashboard.conftest import open_screen  # noqa: F401 - a fixture
