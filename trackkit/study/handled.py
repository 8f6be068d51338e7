"""What is handled when a support is built or lifted again: pieces by height, as look-ups."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trackkit.cribbing.by_height import PiecesByHeight

__all__ = ["Handled"]

#: A fill this little above a stack's travel is within it [m].
_SLACK = 1e-9

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Handled:
    """The stacks that a fill may take, numbered by rising fill.

    Where nothing closes a fill the next higher stack counts, above the top the highest one. Without a
    table there is one stack of no pieces, which no closing piece lifts.

    Attributes
    ----------
    edges : ndarray, shape (k - 1,)
        Fills at which one stack gives way to the next [m].
    pieces, wedges : ndarray, shape (k,)
    high : ndarray, shape (k,)
        Highest fill that each still closes, only its closing piece moved [m].
    carried : ndarray, shape (k, k)
        ``carried[i, j]``: pieces and wedges that the j-th takes and the i-th did not.
    top : float
        Above this no stack is planned [m].
    """

    edges: Floats
    pieces: Ints
    wedges: Ints
    high: Floats
    carried: Ints
    top: float

    @classmethod
    def of(cls, table: PiecesByHeight | None) -> Handled:
        """Return the look-ups of a table.

        Raises
        ------
        ValueError
            If nothing on the truck closes any fill.
        """
        if table is None:
            none, zero = np.zeros((1, 1), dtype=np.int64), np.zeros(1, dtype=np.int64)
            return cls(np.zeros(0), zero, zero, np.array([-np.inf]), none, np.inf)
        if (table.counted < 0).any():
            raise ValueError("nothing on this truck closes any height: pieces by height say nothing")
        rows = table.counted
        new = np.append(True, (np.diff(table.takes[rows], axis=0) != 0).any(axis=1))
        new[1:] |= np.diff(table.high[rows]) != 0
        takes = table.takes[rows][new]
        more = np.maximum(takes[None, :, :] - takes[:, None, :], 0).sum(axis=2)
        counts = (table.pieces[rows][new].astype(np.int64), table.wedges[rows][new].astype(np.int64))
        return cls(table.edges[:-1][new][1:], *counts, table.high[rows][new], more, float(table.edges[-1]))

    def which(self, fills: Floats) -> Ints:
        """Return which stack each fill takes."""
        return np.searchsorted(self.edges, fills, side="left")

    def takes_up(self, stack: Ints, fills: Floats) -> NDArray[np.bool_]:
        """Return where the closing piece of a stack takes it up to a fill by itself."""
        return np.asarray(fills <= self.high[stack] + _SLACK)
