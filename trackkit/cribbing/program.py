"""The integer program behind the choice of stacks, and its exact solution.

Patterns (piles) and columns (a place served at a height, with its closing piece) meet in *cells*: a
cell is a run of heights that no place can tell apart. Places with the same columns form a class. So
the program does not grow with the number of places::

    min  sum c_p y_p + sum d_x x + sum m_i e_i
    s.t. sum of y over the patterns of a cell  = sum of x over the columns of that cell
         sum of x over the columns of a class  = places in that class
         pieces used by y and x               <= stock + e      (e: missing pieces)
         x of a pair class (both tie ends)    <= ties in that class
         y, x, e whole and not negative
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["Program", "Solution", "each_by_itself", "solve"]

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

#: Room first left above the relaxed optimum for the columns that stay in [cost units].
_FIRST_ROOM: Final = 150.0
#: Room where the first was too little for any whole solution.
_SECOND_ROOM: Final = 2000.0


@dataclass(frozen=True)
class Program:
    """An instance; costs are whole numbers.

    Attributes
    ----------
    pattern_cost, pattern_cell : ndarray, shape (P,)
    pattern_use : ndarray, shape (P, I)
        Pieces that a pattern takes.
    column_cost, column_cell : ndarray, shape (X,)
    column_use : ndarray, shape (X, I)
        Closing pieces and seats that a column takes.
    column_class, column_other : ndarray, shape (X,)
        Class served; the second class served by one pile under both tie ends, else -1.
    column_pair : ndarray, shape (X,)
        Pair class that limits the column, else -1.
    class_size : ndarray, shape (G,)
    pair_size : ndarray, shape (Q,)
    stock : ndarray, shape (I,)
    missing_cost : ndarray, shape (I,)
        Price of a piece that is not there; far above any other.
    n_cells : int
    """

    pattern_cost: Ints
    pattern_cell: Ints
    pattern_use: Ints
    column_cost: Ints
    column_cell: Ints
    column_use: Ints
    column_class: Ints
    column_other: Ints
    column_pair: Ints
    class_size: Ints
    pair_size: Ints
    stock: Ints
    missing_cost: Ints
    n_cells: int


@dataclass(frozen=True)
class Solution:
    """What to build.

    Attributes
    ----------
    patterns, columns, missing : ndarray
        How often each is taken.
    cost, bound : int
        Cost of this, and what no other can go below [cost units].
    proven : bool
        Whether the two meet.
    """

    patterns: Ints
    columns: Ints
    missing: Ints
    cost: int
    bound: int
    proven: bool


def solve(program: Program, *, time_limit: float) -> Solution | None:
    """Return the cheapest plan, or the best found in time with its proven bound.

    The relaxed program comes first. Columns whose reduced cost exceeds what is left between its
    value and a whole solution cannot be in a better one, so the whole solution is sought among the
    others; if that proves nothing, among all of them.

    Returns
    -------
    Solution or None
        If the time runs out early, every place gets its own cheapest pile and what is missing is counted.
        None only if the time ran out and some place can be served by nothing but a pile that it shares.
    """
    end = time.monotonic() + time_limit
    costs = np.concatenate((program.pattern_cost, program.column_cost, program.missing_cost))
    if not len(program.class_size):
        return _solution(program, np.zeros(len(costs)), 0.0, costs)
    alone = each_by_itself(program)
    if alone is not None and alone.proven:
        return alone
    model = _model(program)
    relaxed = _relax(costs, model, end)
    short = relaxed is not None and relaxed[2][len(costs) - len(program.stock) :].sum() > 1e-6
    if relaxed is not None and short and not _is_whole(relaxed[2]):
        model = _with_least_missing(program, model, end)
        relaxed = _relax(costs, model, end)
    if relaxed is None:
        return alone
    bound, reduced, values = relaxed
    floor = math.ceil(bound - 1e-4)
    if _is_whole(values):
        return _solution(program, values, floor, costs)
    room, best = _FIRST_ROOM, None
    for _ in range(4):
        kept = np.flatnonzero(reduced <= room + 1e-3)
        found = _whole(costs, model, kept, end)
        if found is not None:
            values, lower = found
            cost = int(costs @ values.round().astype(np.int64))
            whole = len(kept) == len(costs)
            proven_to = lower if whole else min(lower, bound + room)
            floor = max(floor, math.ceil(proven_to - 1e-3))
            if best is None or cost < best[1]:
                best = (values, cost)
            if best[1] <= floor or cost - bound <= room or time.monotonic() > end:
                break
            room = cost - bound
        elif len(kept) == len(costs) or time.monotonic() > end:
            break
        else:  # too few columns stayed for any whole solution
            room = _SECOND_ROOM if room < _SECOND_ROOM else math.inf
    if best is None:
        return None if alone is None else replace(alone, bound=min(floor, alone.cost))
    return _solution(program, best[0], floor, costs)


def _is_whole(values: Floats) -> bool:
    return bool(np.abs(values - values.round()).max() < 1e-7)


def each_by_itself(program: Program) -> Solution | None:
    """Return the plan in which every place gets its own cheapest pile, whatever runs out.

    Where nothing runs out and no pile could serve two places, it is the cheapest of all.

    Returns
    -------
    Solution or None
        Its bound is its own cost without what is missing, or 0 where piles could be shared. None if a
        place can only share.
    """
    cheapest = np.full(program.n_cells, -1)
    for pattern in np.argsort(-program.pattern_cost, kind="stable"):
        cheapest[program.pattern_cell[pattern]] = pattern
    total = program.column_cost + program.pattern_cost[cheapest[program.column_cell]]
    patterns, columns = np.zeros_like(program.pattern_cost), np.zeros_like(program.column_cost)
    for number, size in enumerate(program.class_size):
        own = np.flatnonzero((program.column_class == number) & (program.column_pair < 0))
        if not len(own):
            return None
        column = own[total[own].argmin()]
        columns[column] += size
        patterns[cheapest[program.column_cell[column]]] += size
    used = patterns @ program.pattern_use + columns @ program.column_use
    missing = np.maximum(used - program.stock, 0)
    costs = np.concatenate((program.pattern_cost, program.column_cost, program.missing_cost))
    alone = int(patterns @ program.pattern_cost + columns @ program.column_cost)
    bound = 0 if len(program.pair_size) else alone
    return _solution(program, np.concatenate((patterns, columns, missing)).astype(float), bound, costs)


def _solution(program: Program, values: Floats, bound: float, costs: Ints) -> Solution:
    whole = values.round().astype(np.int64)
    n, m = len(program.pattern_cost), len(program.column_cost)
    cost = int(costs @ whole)
    bound = min(int(bound), cost)
    return Solution(whole[:n], whole[n : n + m], whole[n + m :], cost, bound, cost <= bound)


@dataclass(frozen=True)
class _Model:
    equal: Any  # classes, then cells
    equal_to: Floats
    at_most: Any  # pieces, then pair classes
    limit: Floats


def _model(program: Program) -> _Model:
    """Return the matrices; columns are patterns, then columns, then missing pieces."""
    from scipy.sparse import coo_array

    n, m, k = len(program.pattern_cost), len(program.column_cost), len(program.stock)
    classes, pairs = len(program.class_size), len(program.pair_size)
    x = n + np.arange(m)
    other = np.flatnonzero(program.column_other >= 0)
    rows = [
        program.column_class,
        program.column_other[other],
        classes + program.pattern_cell,
        classes + program.column_cell,
    ]
    cols = [x, x[other], np.arange(n), x]
    data = [np.ones(m), np.ones(len(other)), np.ones(n), -np.ones(m)]
    shape = (classes + program.n_cells, n + m + k)
    equal = coo_array((np.concatenate(data), (np.concatenate(rows), np.concatenate(cols))), shape=shape)
    use = np.concatenate((program.pattern_use, program.column_use)).astype(float)
    used, piece = np.nonzero(use)
    paired = np.flatnonzero(program.column_pair >= 0)
    rows = [piece, np.arange(k), k + program.column_pair[paired]]
    cols = [used, n + m + np.arange(k), x[paired]]
    data = [use[used, piece], -np.ones(k), np.ones(len(paired))]
    shape = (k + pairs, n + m + k)
    most = coo_array((np.concatenate(data), (np.concatenate(rows), np.concatenate(cols))), shape=shape)
    return _Model(
        equal.tocsc(),
        np.concatenate((program.class_size, np.zeros(program.n_cells))).astype(float),
        most.tocsc(),
        np.concatenate((program.stock, program.pair_size)).astype(float),
    )


def _with_least_missing(program: Program, model: _Model, end: float) -> _Model:
    """Return the model with what is surely missing said outright, which lifts the relaxed program.

    The least number of missing pieces is whole, so its relaxed value may be rounded up.
    """
    from scipy.sparse import csc_array, vstack

    n = len(program.pattern_cost) + len(program.column_cost)
    count = np.concatenate((np.zeros(n, np.int64), np.ones(len(program.stock), np.int64)))
    relaxed = _relax(count, model, end)
    if relaxed is None:
        return model
    row = csc_array(-count.reshape(1, -1).astype(float))
    least = math.ceil(relaxed[0] - 1e-6)
    return _Model(
        model.equal,
        model.equal_to,
        vstack((model.at_most, row), format="csc"),
        np.append(model.limit, -float(least)),
    )


def _relax(costs: Ints, model: _Model, end: float) -> tuple[float, Floats, Floats] | None:
    """Return value, reduced costs and values of the relaxed program."""
    from scipy.optimize import linprog

    result = linprog(
        costs.astype(float),
        A_ub=model.at_most,
        b_ub=model.limit,
        A_eq=model.equal,
        b_eq=model.equal_to,
        method="highs-ds",
        options={"time_limit": max(end - time.monotonic(), 0.1), "presolve": False},
    )
    if result.status != 0:
        return None
    dual = model.equal.T @ result.eqlin.marginals + model.at_most.T @ result.ineqlin.marginals
    return float(result.fun), np.asarray(costs - dual), np.asarray(result.x)


def _whole(costs: Ints, model: _Model, kept: Ints, end: float) -> tuple[Floats, float] | None:
    """Return the best whole solution among the kept columns, and its bound."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    limits = [
        LinearConstraint(model.equal[:, kept], model.equal_to, model.equal_to),
        LinearConstraint(model.at_most[:, kept], -np.inf, model.limit),
    ]
    result = milp(
        costs[kept].astype(float),
        integrality=np.ones(len(kept)),
        bounds=Bounds(0.0, np.inf),
        constraints=limits,
        options={"time_limit": max(end - time.monotonic(), 0.1), "mip_rel_gap": 0.0},
    )
    if result.x is None:
        return None
    values = np.zeros(len(costs))
    values[kept] = result.x
    return values, float(result.mip_dual_bound)
