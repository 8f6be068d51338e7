"""The passes of a phone's log: which rows belong together, and what cannot be of one pass."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.problems import Problem, Problems

__all__ = ["Pass", "passes_of"]

Array = NDArray[np.float64]

#: What is one and the same in all rows of a pass, and what to do where it is not.
_SAME: Final = {
    "side": "give each side a pass of its own",
    "facing": "turning the phone begins a new pass: give it another name",
    "instrument": "give each instrument a pass of its own",
    "board_m": "another board begins a new pass: name it in the column pass",
}


@dataclass(frozen=True)
class Pass:
    """One uninterrupted run of the phone.

    Attributes
    ----------
    name : str
    side, facing, instrument : str
    board : float
        Distance between the feet [m].
    along : bool
        Whether the distances were taped on the slope.
    station, angle, seconds : array, shape (n,)
        In the order of the file [m], [rad], [s]; angles NaN where the phone dropped out, seconds NaN if no
        time is given.
    row : array of int, shape (n,)
    """

    name: str
    side: str
    facing: str
    instrument: str
    board: float
    along: bool
    station: Array
    angle: Array
    seconds: Array
    row: NDArray[np.intp]


def passes_of(log: pd.DataFrame, problems: Problems) -> Iterator[Pass]:
    """Yield the passes of a log; a fault for each that holds what cannot be of one pass.

    Without names a pass ends where side, facing or instrument change from one row to the next.

    Parameters
    ----------
    log : DataFrame
        side, facing, instrument, pass, board_m, station_m, along, angle_rad, time_s, file, row.
    problems : Problems
    """
    facing = log["facing"].where(log["facing"] != "", "ahead")
    log = log.assign(facing=facing)
    named = log["pass"] != ""
    if named.any() and not named.all():
        place = log[~named].iloc[0]
        accepted, do = "the name of a pass", "fill it in in every row, or in none"
        problems.add(Problem(str(place["file"]), "an empty cell", accepted, do, int(place["row"]), "pass"))
        return
    if named.all():
        codes, found = pd.factorize(log["pass"])
        names = np.asarray(found, dtype=object)
    else:
        fixed = [log[name].to_numpy(dtype=object) for name in ("side", "facing", "instrument")]
        changes = np.any([words[1:] != words[:-1] for words in fixed], axis=0)
        codes = np.concatenate([[0], np.cumsum(changes)])
        names = np.array([f"pass {number}" for number in range(1, codes[-1] + 2)], dtype=object)
    order = np.argsort(codes, kind="stable")
    for name, rows in zip(names, np.split(order, np.flatnonzero(np.diff(codes[order])) + 1), strict=True):
        own = log.iloc[rows]
        if not _differs(own, str(name), problems):
            yield _made(own, str(name), problems)


def _differs(own: pd.DataFrame, name: str, problems: Problems) -> bool:
    """Report what changes within a pass."""
    found = False
    for column, do in _SAME.items():
        values = own[column].to_numpy()
        other = np.flatnonzero(values != values[0])
        if other.size:
            found = True
            place, title = own.iloc[other[0]], column.removesuffix("_m")
            text = f"{title} {_shown(place[column])} in {name}, which began with {_shown(values[0])}"
            accepted = f"one {title} in all rows of a pass"
            problems.add(Problem(str(place["file"]), text, accepted, do, int(place["row"]), title))
    return found


def _shown(value: object) -> str:
    return f"{value:g} m" if isinstance(value, float) else repr(str(value))


def _made(own: pd.DataFrame, name: str, problems: Problems) -> Pass:
    seconds = own["time_s"].to_numpy(dtype=float)
    timed = np.isfinite(seconds)
    if timed.any() and not timed.all():
        problems.note(f"{own['file'].iloc[0]}: {name} has a time in some rows only; times are not used")
        seconds = np.full(len(own), np.nan)
    along = own["along"].to_numpy(dtype=bool)
    first = own.iloc[0]
    return Pass(
        name, str(first["side"]), str(first["facing"]), str(first["instrument"]), float(first["board_m"]),
        bool(along[0]), own["station_m"].to_numpy(dtype=float), own["angle_rad"].to_numpy(dtype=float),
        seconds, own["row"].to_numpy(dtype=np.intp),
    )  # fmt: skip
