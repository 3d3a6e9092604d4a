"""Write finished files to a folder so that a reader never meets half of one."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path


def write_files(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write each file beside its final place, then move it there; return the paths.

    Raises OSError if the folder or a file cannot be written; what was there before stays.
    """
    folder.mkdir(parents=True, exist_ok=True)
    return [_write(folder / name, data) for name, data in files.items()]


def _write(path: Path, data: bytes) -> Path:
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with unfinished.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(unfinished, path)
    except BaseException:
        unfinished.unlink(missing_ok=True)
        raise
    return path
