"""Ctrl-C while the program is still being loaded: a sentence, and not where it was in whose code."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager

STOPPED = 130  # as shells count: 128, and 2 for Ctrl-C
_SAID = b"Stopped before anything was begun.\n"


@contextmanager
def stopping_at_once() -> Iterator[None]:
    """End the process at the first Ctrl-C; only for the time in which nothing is written yet.

    An exception would not do: a library that is being loaded may take it for a fault of its own.
    """

    def stop(*_: object) -> None:
        try:
            os.write(2, _SAID)
        finally:
            os._exit(STOPPED)

    before = signal.signal(signal.SIGINT, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
