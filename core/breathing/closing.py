"""Where to begin the next cycle, so that it ends where it began: from what earlier cycles showed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from core.breathing.march import BURNED, ENERGY, MASS, RUNNER

Array = NDArray[np.float64]

MEMORY = 4


class Closing:
    """Cases on their way to closed cycles; `state` is where their next cycle begins.

    A cycle maps a start to an end; near the closed cycle that map is nearly linear, and the
    combination of earlier ends whose changes cancel best is close to it.
    """

    def __init__(self, state: Array):
        self.state = state.copy()
        self._starts, self._changes = np.full((2, MEMORY, *state.shape), np.nan)  # newest first

    def learn(self, end: Array) -> None:
        """Take in the end of the cycle that began in `state`, and move `state` on.

        Parameters
        ----------
        end : ndarray, shape (7, cases)
            State at the end.

        References
        ----------
        Anderson, J. ACM 12 (1965) 547-560.
        """
        change = end - self.state
        scale = _scale(end)
        # Nothing is known yet of a case's earlier cycles where there is nan: no weight falls on it.
        steps = np.nan_to_num((change - self._changes) / scale)
        moves = np.nan_to_num(end - (self._starts + self._changes))
        basis = np.moveaxis(steps, -1, 0)  # (cases, MEMORY, 7)
        normal = basis @ basis.swapaxes(1, 2)
        trace = np.trace(normal, axis1=1, axis2=2)[:, None, None]
        normal += (1e-13 * trace + 1e-300) * np.eye(MEMORY)
        wanted = basis @ np.nan_to_num(change / scale).T[:, :, None]
        share = np.linalg.solve(normal, wanted)[:, :, 0]
        better = end - np.einsum("cm,mrc->rc", share, moves)
        sound = np.all(np.isfinite(better), axis=0) & np.all(better[:BURNED] > 0.2 * end[:BURNED], axis=0)
        sound &= np.all((better[BURNED:RUNNER] >= 0) & (better[BURNED:RUNNER] <= better[:ENERGY]), axis=0)
        self._starts = np.concatenate((self.state[None], self._starts[:-1]))
        self._changes = np.concatenate((change[None], self._changes[:-1]))
        self.state = np.where(sound, better, end)

    def replace(self, keep: Array, fresh: Array) -> None:
        """Go on with some of the cases, and with fresh ones after them.

        Parameters
        ----------
        keep : ndarray of bool
            Cases that go on.
        fresh : ndarray, shape (7, others)
            Where others begin.
        """
        none = np.full((MEMORY, *fresh.shape), np.nan)
        self.state = np.concatenate((self.state[:, keep], fresh), axis=1)
        self._starts = np.concatenate((self._starts[:, :, keep], none), axis=2)
        self._changes = np.concatenate((self._changes[:, :, keep], none), axis=2)


def _scale(end: Array) -> Array:
    """Return what a change counts against: a mass or energy itself, and burned gas the mass it is part of.

    Against itself the little burned gas of a port would outweigh all else.
    """
    scale = np.nan_to_num(np.abs(end), posinf=0.0)  # a case that broke down counts for none
    scale[BURNED:RUNNER] = scale[MASS:ENERGY]
    scale[RUNNER] = scale[RUNNER].max()
    return scale + 1e-300
