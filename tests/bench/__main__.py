"""Print the benchmarks: ``python -m tests.bench``, or only some: ``python -m tests.bench review paper``."""

from __future__ import annotations

import argparse

from tests.bench import calculation, handover, power, screen, sessions, shelf, trust

PARTS = {
    "review": calculation.reviews,
    "load": calculation.loads,
    "paper": calculation.papers,
    "handover": handover.kits,
    "shelf": shelf.shelves,
    "power": power.powers,
    "screen": screen.screens,
    "sessions": sessions.many,
    "trust": trust.trust,
}
LONG = ("trust",)  # only where it is asked for: a quarter of an hour


def main() -> None:
    """Run the benchmarks one after the other."""
    options = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    options.add_argument(
        "part", nargs="*", choices=[*PARTS, []], metavar="part", help=f"one of {', '.join(PARTS)}"
    )
    for part in options.parse_args().part or [name for name in PARTS if name not in LONG]:
        for line in PARTS[part]():
            print(line, flush=True)


if __name__ == "__main__":
    main()
