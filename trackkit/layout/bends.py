"""Track that follows the ground: straight in each section, bent a little at the joints.

A linear program in the heights of head, joints and tail, on plain arrays: least total fill, at
or above every height, and no bend above its limit. Which heights the answer hangs on, and with
what weight, is read from the rows that hold it (the active set), so doubt can be carried on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from trackkit.layout.grounds import FloatArray
from trackkit.layout.straight import interpolation
from trackkit.problems import CannotDo

__all__ = ["Bent", "follow"]

#: A row holds the answer when it is this close; the solver's own tolerance is 1e-7 [m].
_HOLDS: Final = 1e-6
#: Cost of a metre below what should be cleared, in total fill [m] per tie end. It must exceed the
#: lever with which one end can trade fill against depth; a lever of 1e4 is beyond any run.
_DEPTH_COST: Final = 1e4
#: Rows that depend on those already taken leave less than this of themselves.
_INDEPENDENT: Final = 1e-9


@dataclass(frozen=True)
class Bent:
    """Line with knots at head, joints and tail, as a combination of the heights it rests on.

    Attributes
    ----------
    knots, heights : array, shape (k,)
        Stations and heights of head, joints and tail [m].
    contacts : tuple of int
        Rows the line rests on.
    weights : array, shape (k, contacts)
        Share of each contact in the height of each knot.
    reference : array, shape (k,)
        Share of the reference in the height of each knot; zero without one.
    depth : float
        How far the line lies below what it should clear, at the worst place [m]; 0 unless a
        reference forces it.
    """

    knots: FloatArray
    heights: FloatArray
    contacts: tuple[int, ...]
    weights: FloatArray
    reference: FloatArray
    depth: float


def follow(
    knots: npt.ArrayLike,
    stations: npt.ArrayLike,
    heights: npt.ArrayLike,
    fill_stations: npt.ArrayLike,
    *,
    bend_limit: float,
    grade_limit: float | None = None,
    through: tuple[float, float] | None = None,
) -> Bent:
    """Return the bent line of least total fill at or above every height.

    Parameters
    ----------
    knots : array, shape (k,)
        Stations of head, joints and tail, increasing [m].
    stations, heights : array, shape (n,)
        Where the line must reach at least how high [m].
    fill_stations : array, shape (m,)
        Where fill is counted: the tie ends [m].
    bend_limit : float
        Greatest difference of grade at a joint (for these small angles also radians; 0.003 is
        3 mm per m).
    grade_limit : float, optional
        Greatest grade of a section, either way.
    through : (float, float), optional
        Station and height that the line passes through whatever happens [m]. If it cannot clear
        all heights then, it lies as little too low as possible.

    Raises
    ------
    CannotDo
        If the solver finds no line (an impossible reference for these limits).

    Notes
    -----
    Solved by the dual simplex method in `scipy.optimize.linprog` (HiGHS); the answer is then
    computed again from its active rows, to full precision. A corner of the feasible set where
    more rows meet than are needed has several sets of weights; those with a price come first.
    """
    from scipy.optimize import linprog

    k = np.asarray(knots, dtype=float)
    h = np.asarray(heights, dtype=float)
    datum = float(h.mean())
    count = len(k)
    at_points = _rows(k, stations)
    cost = np.append(_rows(k, fill_stations).sum(axis=0), _DEPTH_COST * np.size(fill_stations))
    grades = (np.eye(count, k=1) - np.eye(count))[:-1] / np.diff(k)[:, None]
    bends = grades[1:] - grades[:-1]
    blocks = [np.column_stack([-at_points, -np.ones(len(h))]), _padded(bends), _padded(-bends)]
    bounds = [-(h - datum), np.full(2 * len(bends), float(bend_limit))]
    if grade_limit is not None:
        blocks += [_padded(grades), _padded(-grades)]
        bounds.append(np.full(2 * len(grades), float(grade_limit)))
    blocks.append(np.eye(count + 1)[-1:] * -1.0)
    bounds.append(np.zeros(1))
    upper, limit = np.vstack(blocks), np.concatenate(bounds)
    fixed = _padded(_rows(k, [through[0]])) if through else np.zeros((0, count + 1))
    held = np.array([through[1] - datum]) if through else np.zeros(0)
    answer = linprog(
        cost, A_ub=_sparse(upper), b_ub=limit, A_eq=_sparse(fixed) if through else None,
        b_eq=held if through else None, bounds=(None, None), method="highs-ds",
    )  # fmt: skip
    if answer.status != 0:
        raise CannotDo(
            f"no line passes through {through} within a bend of {bend_limit:g} "
            f"and a grade of {grade_limit}: widen a limit, or take another reference"
        )
    rows = np.vstack([fixed, upper])
    right = np.concatenate([held, limit])
    close = np.flatnonzero(limit - upper @ answer.x <= _HOLDS)
    price = np.abs(answer.ineqlin.marginals[close])
    order = np.concatenate([np.arange(len(held)), len(held) + close[np.argsort(-price, kind="stable")]])
    basis = _independent(rows, order)
    inverse = np.linalg.pinv(rows[basis])
    solved = inverse @ right[basis]
    below = float(np.max(upper @ solved - limit, initial=0.0))
    if len(basis) < count + 1 or below > _HOLDS:
        solved = answer.x
        below = float(np.max(upper @ solved - limit, initial=0.0))
    is_height = [j for j, row in enumerate(basis) if 0 <= row - len(held) < len(h)]
    weights = -inverse[:count, is_height]
    keep = np.flatnonzero(np.abs(weights).max(axis=0, initial=0.0) > 1e-12)
    return Bent(
        knots=k,
        heights=solved[:count] + datum + below * (through is None),
        contacts=tuple(int(basis[is_height[j]] - len(held)) for j in keep),
        weights=weights[:, keep],
        reference=inverse[:count, 0] if through else np.zeros(count),
        depth=max(0.0, float(solved[-1])),
    )


def _rows(knots: FloatArray, stations: npt.ArrayLike) -> FloatArray:
    """Return the rows that give the line at stations from its knots, shape (n, k)."""
    stretch, along = interpolation(knots, stations)
    rows = np.zeros((len(along), len(knots)))
    where = np.arange(len(along))
    rows[where, stretch] = 1 - along
    rows[where, stretch + 1] += along
    return rows


def _padded(rows: FloatArray) -> FloatArray:
    """Add the column of the depth, which these rows do not know."""
    return np.column_stack([rows, np.zeros(len(rows))])


def _sparse(rows: FloatArray) -> Any:
    from scipy.sparse import csr_array

    return csr_array(rows)


def _independent(rows: FloatArray, order: npt.NDArray[np.intp]) -> list[int]:
    """Return the first rows in the given order that do not depend on earlier ones."""
    taken: list[int] = []
    span = np.zeros((0, rows.shape[1]))
    for row in order:
        unit = rows[row] / np.linalg.norm(rows[row])
        rest = unit - (span @ unit) @ span
        rest -= (span @ rest) @ span
        size = float(np.linalg.norm(rest))
        if size > _INDEPENDENT:
            span = np.vstack([span, rest / size])
            taken.append(int(row))
        if len(taken) == rows.shape[1]:
            break
    return taken
