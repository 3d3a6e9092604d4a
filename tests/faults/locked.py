"""Files and folders that may not be opened, for whoever runs the tests: to an administrator all is open."""

from __future__ import annotations

import builtins
import errno
import io
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

_DOORS = (
    (os, "open"),
    (os, "stat"),
    (os, "lstat"),
    (os, "listdir"),
    (os, "scandir"),
    (os, "mkdir"),
    (io, "open"),
    (builtins, "open"),
)


@contextmanager
def locked(place: Path) -> Iterator[None]:
    """Refuse whatever opens or looks at something inside a folder, or opens a file or the folder itself."""

    def guarded(real: Callable, name: str) -> Callable:
        def run(path: object = ".", *args: object, **options: object) -> object:
            if isinstance(path, (str, bytes, os.PathLike)):
                asked = Path(os.path.abspath(os.fsdecode(path)))
                itself = asked == place and name not in ("stat", "lstat")
                if itself or place in asked.parents:
                    raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
            return real(path, *args, **options)

        return run

    with pytest.MonkeyPatch.context() as patch:
        for module, name in _DOORS:
            patch.setattr(module, name, guarded(getattr(module, name), name))
        yield
