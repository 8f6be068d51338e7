"""Of several ways to do a thing, each with several figures: those that no other way beats."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["beats", "unbeaten"]

#: Figures that come this close to their tolerance, relative to it, have reached it: for rounding.
_ROUND = 1e-9


def beats(figures: ArrayLike, tolerances: ArrayLike) -> NDArray[np.bool_]:
    """Return which row beats which: no worse in any figure, and better in one or more.

    Parameters
    ----------
    figures : array, shape (n, k)
        A row a way; of every figure less is better. A figure that is NaN, in either of two rows, is not
        compared between them.
    tolerances : array, shape (k,)
        Two figures that differ by less than this are equal; must be above 0.

    Returns
    -------
    array of bool, shape (n, n)
        Whether row i beats row j.

    Raises
    ------
    ValueError
        If the shapes do not fit, or a tolerance is not above 0.

    Examples
    --------
    >>> beats([[10, 0.30], [12, 0.30], [9, 0.45]], [1, 0.001]).tolist()
    [[False, True, False], [False, False, False], [False, False, False]]
    """
    values, least = np.asarray(figures, dtype=float), np.asarray(tolerances, dtype=float)
    if values.ndim != 2 or least.shape != values.shape[1:]:
        raise ValueError(
            f"figures must be (n, k) and tolerances (k,), got shapes {values.shape} and {least.shape}"
        )
    if not np.all(least > 0):
        raise ValueError(f"tolerances must be above 0, got {least.tolist()}")
    with np.errstate(invalid="ignore"):
        less = values[None, :, :] - values[:, None, :]  # by how much row i is better than row j
        better = less >= least * (1 - _ROUND)
        worse = -less >= least * (1 - _ROUND)
    return np.asarray(better.any(axis=2) & ~worse.any(axis=2))


def unbeaten(
    figures: ArrayLike, tolerances: ArrayLike, *, among: ArrayLike | None = None
) -> NDArray[np.bool_]:
    """Return which rows no other row beats.

    Parameters
    ----------
    figures, tolerances
        See `beats`.
    among : array of bool, shape (n,), optional
        Rows that count; the others neither beat nor are marked. By default all.

    Returns
    -------
    array of bool, shape (n,)

    Notes
    -----
    Tolerances allow a ring, where each row beats the next because small losses do not count: no row is
    beaten by one that it beats itself along such a ring. So of the rows that count at least one is unbeaten.

    Examples
    --------
    >>> unbeaten([[10, 0.30], [12, 0.30], [9, 0.45]], [1, 0.001]).tolist()
    [True, False, True]
    """
    direct = beats(figures, tolerances)
    counts = np.ones(len(direct), dtype=bool) if among is None else np.asarray(among, dtype=bool)
    direct &= counts[:, None] & counts[None, :]
    reached = direct.copy()
    for middle in range(len(direct)):  # in one step or several
        reached |= reached[:, middle, None] & reached[None, middle, :]
    return np.asarray(counts & ~(direct & ~reached.T).any(axis=0))
