"""What all tests share: where the project is, and that nothing here calls out."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

ROOT = Path(__file__).resolve().parents[1]

# Two busy cores make any time limit on one example a coin toss.
settings.register_profile("house", deadline=None)
settings.load_profile("house")


@pytest.fixture(scope="session")
def root() -> Path:
    """Return the project's folder."""
    return ROOT


@pytest.fixture(scope="session")
def demo_runs(root: Path) -> Path:
    """Return the folder of the demo jobs."""
    return root / "demo_runs"


def is_here(address: Any) -> bool:
    """Tell whether a socket address stays on this machine."""
    if not isinstance(address, tuple):  # a Unix socket
        return True
    host = str(address[0])
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


@pytest.fixture(scope="session", autouse=True)
def no_outside_connection() -> Iterator[None]:
    """Turn any connection to another machine into a failure of the test that made it."""
    real = socket.socket.connect

    def connect(self: socket.socket, address: Any) -> None:
        if not is_here(address):
            raise AssertionError(f"a test opened a connection to {address}")
        real(self, address)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(socket.socket, "connect", connect)
        yield
