"""Where names go at line ends: as near to their lines as they can be without overlap."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import isotonic_regression

LONGEST_NAME = 16
HEADING_WEIGHT = 0.05  # a heading gives way to the names under it


def shorten(name: str, longest: int = LONGEST_NAME) -> str:
    """Return a name cut to fit a label; the full one belongs in a tooltip or table."""
    return name if len(name) <= longest else name[: longest - 1].rstrip() + "…"


def dodge(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return positions at least ``gap`` apart inside ``low``…``high``, least squares from ``wanted``.

    Where the labels cannot all fit, the gap gives way evenly.
    """
    order = np.argsort(wanted, kind="stable")
    placed = _spread(np.asarray(wanted, dtype=float)[order], gap, low, high)
    result = np.empty(len(order))
    result[order] = placed
    return result.tolist()


def dodge_blocks(
    blocks: Sequence[Sequence[float]], gap: float, low: float, high: float
) -> list[tuple[float, list[float]]]:
    """Return ``(heading, names)`` positions of blocks that stand one after the other.

    Positions grow in reading order (downwards in pixels or page units). Each block is a
    heading and its names; blocks keep the order given even where their lines cross.
    """
    wanted: list[float] = []
    weights: list[float] = []
    orders = [np.argsort(block, kind="stable") for block in blocks]
    for block, order in zip(blocks, orders, strict=True):
        names = np.asarray(block, dtype=float)[order].tolist()
        wanted += [(names[0] if names else low) - gap, *names]
        weights += [HEADING_WEIGHT] + [1.0] * len(names)
    placed = _spread(np.asarray(wanted), gap, low, high, np.asarray(weights))
    result, start = [], 0
    for order in orders:
        names = np.empty(len(order))
        names[order] = placed[start + 1 : start + 1 + len(order)]
        result.append((float(placed[start]), names.tolist()))
        start += 1 + len(order)
    return result


def _spread(
    wanted: np.ndarray, gap: float, low: float, high: float, weights: np.ndarray | None = None
) -> np.ndarray:
    """Place ordered labels: with the gaps taken out this is an isotonic regression in a box."""
    if len(wanted) == 0:
        return wanted
    gap = min(gap, (high - low) / max(len(wanted) - 1, 1))
    steps = gap * np.arange(len(wanted))
    fitted = isotonic_regression(wanted - steps, weights=weights).x
    return np.clip(fitted, low, high - steps[-1]) + steps
