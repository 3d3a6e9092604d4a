"""Write finished files to a folder so that a reader never meets half of one."""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Mapping
from pathlib import Path


def write_files(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write every file beside its final place, then move them all there; return the paths.

    Raises OSError if the folder or a file cannot be written. A full disk shows itself before the
    first file is moved, so that what was there before stays.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for name in files:
        if (folder / name).is_dir():
            raise IsADirectoryError(errno.EISDIR, "there is a folder of that name", str(folder / name))
    written = {folder / name: folder / f".{name}.{os.getpid()}" for name in files}
    try:
        for (path, unfinished), data in zip(written.items(), files.values(), strict=True):
            _write(unfinished, data, path)
        for path, unfinished in written.items():
            os.replace(unfinished, path)
    except BaseException:
        for unfinished in written.values():
            with contextlib.suppress(OSError):
                unfinished.unlink(missing_ok=True)
        raise
    return list(written)


def _write(unfinished: Path, data: bytes, path: Path) -> None:
    try:
        with unfinished.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:  # a write that fails does not say of which file
        raise OSError(error.errno, error.strerror, str(path)) from None
