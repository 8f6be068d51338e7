"""Between which fills the stacks that are planned still close, tie end by tie end."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.cribbing.results import StackPlan

__all__ = ["travel_of"]

Array = NDArray[np.float64]


def travel_of(stacks: StackPlan, fills: pd.DataFrame) -> tuple[Array, Array]:
    """Return the lowest and the highest fill that the stack planned at each tie end closes.

    Parameters
    ----------
    stacks : StackPlan
    fills : DataFrame
        The fill table, with a row for each tie end that is wanted: tie, side.

    Returns
    -------
    low, high : array, shape (rows,)
        [m]; NaN where no stack is planned: the tie sits on the ground or would be in it, or nothing closes.
    """
    found = {
        (end.tie, stack.side): [end.seat_raise + stack.height + own for own in (end.low, end.high)]
        for stack in stacks.stacks
        for end in stack.closings
    }
    none = [float("nan"), float("nan")]
    pairs = [found.get(end, none) for end in zip(fills["tie"], fills["side"], strict=True)]
    both = np.array(pairs, dtype=float).reshape(-1, 2)
    return both[:, 0], both[:, 1]
