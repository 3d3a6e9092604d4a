"""Start the app as a person would, and find a browser to look at it with."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO
from urllib.request import urlopen

ROOT = Path(__file__).resolve().parents[2]

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WAIT_S = 60  # until a slow machine has started the app; a hang, not a speed, is the failure
NO_BROWSER = f"no browser found; install one of these and have it on the path: {', '.join(BROWSERS)}"


def browser_path() -> str | None:
    """Return the system's Chromium, or a browser of its family."""
    return next((found for name in BROWSERS if (found := shutil.which(name))), None)


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextmanager
def running(
    command: Sequence[str], port: int, folder: Path = ROOT, environment: Mapping[str, str] | None = None
) -> Iterator[str]:
    """Run a server, give its address once it answers, and stop it afterwards."""
    with tempfile.TemporaryFile() as said:  # a pipe that nobody empties would stop the server
        process = subprocess.Popen(
            command,
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(ROOT), **(environment or {})},
            stdout=said,
            stderr=subprocess.STDOUT,
        )
        try:
            address = f"http://127.0.0.1:{port}"
            _wait_until_up(process, address, said)
            yield address
        finally:
            process.terminate()
            try:
                process.wait(timeout=10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


@contextmanager
def running_app(
    *arguments: str, folder: Path = ROOT, environment: Mapping[str, str] | None = None
) -> Iterator[str]:
    """Run the app as the README says; with ``GAIN_LEDGER_SLOW_SCREENS`` set, each screen comes bit by bit."""
    port = free_port()
    module = "tests.browser.slowly" if os.environ.get("GAIN_LEDGER_SLOW_SCREENS") else "dashboard"
    command = [sys.executable, "-m", module, *arguments, "--port", str(port)]
    with running(command, port, folder, environment) as address:
        yield address


def _wait_until_up(process: subprocess.Popen[bytes], address: str, said: IO[bytes]) -> None:
    end = time.monotonic() + WAIT_S
    while time.monotonic() < end:
        if process.poll() is not None:
            said.seek(0)
            output = said.read().decode("utf-8", "replace")
            raise RuntimeError(f"the app stopped with code {process.returncode}:\n{output}")
        try:
            with urlopen(f"{address}/_stcore/health", timeout=5):
                return
        except OSError:
            time.sleep(0.02)
    raise RuntimeError(f"the app did not answer at {address} within {WAIT_S} s")
