"""The long run: ``python -m tests.fuzz --minutes 10``, or ``--cases 10000`` good and as many bad ones.

Every case has a number and is the same at every run. One that breaks a rule is saved with what
it broke; ``--kind "mutated sheet" --from 123 --cases 1`` runs it again.
"""

from __future__ import annotations

import argparse
import time
import traceback
from collections import Counter
from pathlib import Path

from tests.fuzz.kinds import KINDS, Kind
from tests.fuzz.seeds import Files
from tests.fuzz.watch import MOST_SECONDS, watch

_BROKE = "BROKE A RULE"
_ROUND = 100  # cases of good kinds, and as many of bad ones, before the next round


def main() -> int:
    """Run cases until the time or the number is up; 1 if a rule was broken."""
    options = _options()
    kinds = [kind for kind in KINDS if options.kind in (None, kind.name)]
    counts: dict[str, Counter[str]] = {kind.name: Counter() for kind in kinds}
    for kind in kinds:  # what is slow only the first time, such as a table of units, is no hang
        kind.check(kind.case(0))
    watch.seconds, watch.longest = MOST_SECONDS, {}
    end = time.monotonic() + 60 * options.minutes if options.minutes else None
    done = 0
    while (end is None or time.monotonic() < end) and (end is not None or done < options.cases):
        size = min(_ROUND, options.cases - done) if end is None else _ROUND
        for kind in kinds:
            share = size if options.kind else size * kind.share // _ROUND
            first = options.first + (done if options.kind else done * kind.share // _ROUND)
            for number in range(first, first + share):
                counts[kind.name][_outcome(kind, number, options.out)] += 1
        done += size
    return _report(counts)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, help="how long; --cases does not count then")
    parser.add_argument("--cases", type=int, default=10_000, help="good ones, and as many bad ones")
    parser.add_argument("--kind", choices=[kind.name for kind in KINDS], help="only this kind")
    parser.add_argument("--from", dest="first", type=int, default=0, help="number of the first case")
    parser.add_argument("--out", type=Path, default=Path("fuzz-failures"), help="where failures are saved")
    return parser.parse_args()


def _outcome(kind: Kind, number: int, out: Path) -> str:
    files: Files = {}
    try:
        files = kind.case(number)
        return kind.check(files)
    except Exception as error:
        folder = out / f"{kind.name.replace(' ', '-')}-{number}"
        _save(folder, files, "".join(traceback.format_exception(error)))
        print(
            f"{kind.name} {number}: {type(error).__name__}: {str(error)[:300]!r}; saved in {folder}",
            flush=True,
        )
        return _BROKE


def _save(folder: Path, files: Files, reason: str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "reason.log").write_text(reason, encoding="utf-8", newline="\n")
    for number, (name, data) in enumerate(files.items()):
        (folder / f"{number}-{Path(name).name or 'pasted.txt'}").write_bytes(data)


def _report(counts: dict[str, Counter[str]]) -> int:
    for good in (True, False):
        group = Counter[str]()
        for kind in KINDS:
            if kind.name in counts and kind.good is good:
                print(f"{kind.name}: {_said(counts[kind.name])}")
                group += counts[kind.name]
        if group:
            print(f"{'mutated good' if good else 'generated bad'} ones: {_said(group)}")
    print(
        "longest, in seconds: "
        + ", ".join(f"{what} {took:.2f}" for what, took in sorted(watch.longest.items()))
    )
    return 1 if any(count[_BROKE] for count in counts.values()) else 0


def _said(count: Counter[str]) -> str:
    return f"{count.total()}, of these " + ", ".join(f"{n} {what}" for what, n in sorted(count.items()))


if __name__ == "__main__":
    raise SystemExit(main())
