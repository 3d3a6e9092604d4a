"""A case under watch: warnings are errors, and so is a second of work on any one thing."""

from __future__ import annotations

import signal
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager

MOST_SECONDS = 1.0  # of this process's own time, which other programs do not stretch


class HangError(Exception):
    """A case took more than a second."""


def no_warnings(check: Callable[[], str]) -> str:
    """Run one check; a warning of numpy or of Python is raised like an error."""
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        warnings.simplefilter("error", SyntaxWarning)
        return check()


class Watch:
    """Limits what one thing may take; none at all where ``seconds`` is None, as in a short test."""

    def __init__(self) -> None:
        self.seconds: float | None = None
        self.longest: dict[str, float] = {}

    @contextmanager
    def on(self, what: str) -> Iterator[None]:
        """Break off after some time of this process, where the system can; elsewhere tell afterwards."""
        started = time.process_time()
        with self._broken_off(what):
            yield
        took = time.process_time() - started
        self.longest[what] = max(took, self.longest.get(what, 0.0))
        if self.seconds is not None and took > self.seconds:
            raise HangError(f"{what} took {took:.2f} s")

    @contextmanager
    def _broken_off(self, what: str) -> Iterator[None]:
        if self.seconds is None or not hasattr(signal, "setitimer"):
            yield
            return

        def stop(number: int, frame: object) -> None:
            raise HangError(f"{what} still runs after {self.seconds:g} s")

        before = signal.signal(signal.SIGPROF, stop)
        signal.setitimer(signal.ITIMER_PROF, self.seconds)
        try:
            yield
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
            signal.signal(signal.SIGPROF, before)


watch = Watch()
