"""Print every benchmark as a ratio: ``python -m tests.bench``; ``--no-screen`` leaves the browser out."""

from __future__ import annotations

import argparse

from tests.bench import calculation, screen


def main() -> None:
    """Run the benchmarks one after the other."""
    options = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    options.add_argument("--no-screen", action="store_true", help="only the calculation and the PDF")
    chosen = options.parse_args()
    parts = [calculation.reviews, calculation.loads, calculation.papers]
    if not chosen.no_screen:
        parts.append(screen.screens)
    for part in parts:
        for ratio in part():
            print(ratio, flush=True)


if __name__ == "__main__":
    main()
