"""A job as one archive, for the download and for years later: the same job gives the same bytes."""

from __future__ import annotations

import io
import posixpath
import zipfile
from collections.abc import Mapping

from core.files.names import is_plain, safe_name

_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip can state: the files have no date of their own
_ORDINARY_FILE = 0o100644 << 16


def archive(name: str, files: Mapping[str, bytes]) -> bytes:
    """Return a job as a zip that unpacks into a jobs' root and reads as the same job.

    Parameters
    ----------
    name : str
        Of the job; its folder in the archive.
    files : mapping of str to bytes
        Content by name, as the job file names them: ``../references/one.csv`` goes beside the
        job's folder.

    Returns
    -------
    bytes
        The archive, byte for byte the same for the same job.

    Raises
    ------
    ValueError
        If a name leads out of the archive.
    """
    own = name if is_plain(name) else safe_name(name, "job")
    places = {posixpath.normpath(posixpath.join(own, file)): data for file, data in files.items()}
    for place in places:
        if not all(is_plain(part) for part in place.split("/")):
            raise ValueError(f"'{place}' leads out of the archive")
    held = io.BytesIO()
    # stored, not packed: packing differs from one version of its library to the next
    with zipfile.ZipFile(held, "w", zipfile.ZIP_STORED) as packed:
        for place in sorted(places):
            entry = zipfile.ZipInfo(place, _DATE)
            entry.create_system = 3
            entry.external_attr = _ORDINARY_FILE
            packed.writestr(entry, places[place])
    return held.getvalue()
