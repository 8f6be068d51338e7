"""How fast a crew works, and in which order it goes along the run."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["ORDERS", "Pace", "laying_order"]

#: Orders of laying: from the start to both sides, the nearest tie end first; or from one end of the run.
ORDERS: Final = ("outward", "from the head", "from the tail")

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Pace:
    """Minutes that a crew takes, one support after the other. All are guesses: put in your own crew's.

    Attributes
    ----------
    level : float
        To bring one support to height with the level the first time, its pieces not counted. Guess.
    restack : float
        To open one stack, build it higher and bring it to height again, its pieces not counted. Guess.
    slide : float
        To only slide a closing piece farther in, up to the new height. Guess.
    piece : float
        To carry one piece or wedge there and place it. Guess.
    reset : float
        For each time that the line is lifted: to find the new height, mark it and tell everyone. Guess.

    Raises
    ------
    ValueError
        If one of them is negative or not finite; it names every one.

    Examples
    --------
    >>> Pace(slide=2.0).slide
    2.0
    """

    level: float = 3.0
    restack: float = 4.0
    slide: float = 1.0
    piece: float = 0.5
    reset: float = 5.0

    def __post_init__(self) -> None:
        values = {each.name: getattr(self, each.name) for each in fields(self)}
        bad = [
            f"{name} = {value!r}"
            for name, value in values.items()
            if not (math.isfinite(value) and value >= 0)
        ]
        if bad:
            raise ValueError(f"a pace is in minutes, finite and not negative; got {', '.join(bad)}")


def laying_order(stations: ArrayLike, start: int, order: str = "outward") -> Ints:
    """Return the tie ends in the order in which the crew comes to them.

    Parameters
    ----------
    stations : array_like, shape (ends,)
        Of each tie end, from head to tail, left before right [m].
    start : int
        The tie end that the line is set from.
    order : {'outward', 'from the head', 'from the tail'}
        Outward from the start: the nearest first, of two equally near the one towards the head, left
        before right. From the head or the tail the start has its turn like any other.

    Returns
    -------
    ndarray of int, shape (ends,)

    Raises
    ------
    ValueError
        If there is no such order or no such tie end.

    Examples
    --------
    >>> laying_order([0.0, 0.0, 1.0, 1.0, 2.0, 2.0], 3).tolist()
    [3, 2, 0, 1, 4, 5]
    >>> laying_order([0.0, 0.0, 1.0, 1.0], 3, "from the tail").tolist()
    [2, 3, 0, 1]
    """
    along = np.asarray(stations, dtype=float)
    if order not in ORDERS:
        raise ValueError(f"order must be one of {', '.join(map(repr, ORDERS))}; got {order!r}")
    if not 0 <= start < len(along):
        raise ValueError(f"start must be a tie end from 0 to {len(along) - 1}; got {start}")
    if order == "from the head":
        return np.argsort(along, kind="stable")
    if order == "from the tail":
        return np.argsort(-along, kind="stable")
    away = np.round(np.abs(along - along[start]), 9)
    others = np.arange(len(along)) != start
    return np.lexsort((along, others, away))
