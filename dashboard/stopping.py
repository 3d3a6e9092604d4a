"""Ctrl-C: how the program ends by it, and while it is still being loaded with a sentence of its own."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import NoReturn

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


def end(code: int) -> NoReturn:
    """End the process with this exit code, also where Ctrl-C stopped it.

    Had the exception passed through a string that was executed, as where a library makes a class of
    its own, the interpreter would end by the signal after all, whatever code it is given.
    """
    if code != STOPPED:
        sys.exit(code)
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError):  # nobody reads it any more
            stream.flush()
    os._exit(code)
