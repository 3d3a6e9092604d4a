"""Save one job again and again until killed: ``python killed_saver.py FOLDER ROOT``.

Version n is n in every file, one file that only even versions have, and a file of a length that
changes. What has been saved is said on standard output, a number a line.
"""

from __future__ import annotations

import sys
from itertools import count
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from core.files.folder import read_whole
from core.files.save import Saved, save

FILES = ("job.toml", "one.csv", "two.csv", "three.csv")
SOMETIMES = "even.csv"


def version(number: int) -> dict[str, bytes | None]:
    """Return every file of a version."""
    content: dict[str, bytes | None] = {name: f"version {number}\n".encode() for name in FILES}
    content[FILES[-1]] = f"version {number}\n".encode() + b"x" * (number * 7919 % 50_000)
    content[SOMETIMES] = f"version {number}\n".encode() if number % 2 == 0 else None
    return content


def main(folder: Path, root: Path) -> None:
    """Save one version after the other."""
    whole = read_whole(folder)
    first = int(whole.files[FILES[0]].split()[1]) + 1 if whole.files else 0
    seen = whole.snapshot
    print("ready", flush=True)
    for number in count(first):
        done = save(folder, root, version(number), seen)
        if not isinstance(done, Saved):
            print(f"not saved: {done}", flush=True)
            return
        seen = done.snapshot
        print(number, flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
