"""In which order rods are read, so that a slip or a laser that moved shows before the crew leaves.

::

    pegs    P1, P2                                     start
    left    s1 -> s2 -> s3 -> ... -> sn                ground, out
    right   s1 <- s2 <- s3 <- ... <- sn                ground, back
    left    s1                                         again
    pegs    P1, P2                                     close

Out on one side and back on the other is the shortest walk, and it closes where it began: what has moved in
between shows as a difference there (common practice in levelling, no source).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
import pandas as pd

__all__ = ["ORDER_COLUMNS", "reading_order"]

#: Columns of the order of reading.
ORDER_COLUMNS: Final = ("laser", "point", "station_m", "side", "why")
_SIDES: Final = ("left", "right")


def reading_order(
    stations: Sequence[float],
    *,
    sides: Sequence[str] = _SIDES,
    lasers: int = 1,
    pegs: Sequence[str] = ("P1", "P2"),
    close: bool = True,
    shared: int = 2,
) -> pd.DataFrame:
    """Return which rods to read, one row a reading, in the order of reading.

    From each laser position first the pegs are read, then the ground out along the first side with growing
    stations and back along the second with falling ones. With several positions the run is cut into as many
    stretches of about as many stations each; a position also reads ground points at the end of the stretch
    before it, so that positions hang together by readings and not by the ground being smooth.

    Parameters
    ----------
    stations : sequence of float, shape (n,)
        Where the rod is to stand on each side, growing [m].
    sides : sequence of str
        'left' and 'right', the one to go out along first; or one of them alone.
    lasers : int
        How many laser positions; their names are "1", "2", ...
    pegs : sequence of str
        Control peg and check peg, read from every position. May be empty: then nothing carries the height
        to another day.
    close : bool
        Whether each position ends with its first ground point and its pegs read again.
    shared : int
        From the second position on, read at least so many ground points of the stretch before.

    Returns
    -------
    DataFrame
        laser, point ('' but for a peg), station_m (NaN for a peg), side ('' for a peg), and why: "start",
        "ground", "shared", "again" or "close". All but ``why`` are columns of ``Survey.levels``: with rods
        in ``rod_m`` they make a survey (`trackkit.survey.readings.make_survey`).

    Raises
    ------
    ValueError
        With everything that is wrong.

    Examples
    --------
    >>> order = reading_order([0.0, 2.0], pegs=("P1",))
    >>> print(order.to_string(index=False, header=False, na_rep="-"))
    1 P1   -        start
    1    0.0  left ground
    1    2.0  left ground
    1    2.0 right ground
    1    0.0 right ground
    1    0.0  left  again
    1 P1   -        close
    """
    at = [float(station) for station in stations]
    faults = [*_place_faults(at, sides, pegs), *_laser_faults(len(at), len(sides), lasers, len(pegs), shared)]
    if faults:
        raise ValueError("; ".join(faults))
    rows: list[tuple[str, str, float, str, str]] = []
    ends = [0, *np.cumsum([len(part) for part in np.array_split(np.arange(len(at)), lasers)]).tolist()]
    for number, (first, last) in enumerate(pairwise(ends), start=1):
        before = math.ceil(shared / len(sides)) if number > 1 else 0
        rows += [(str(number), peg, math.nan, "", "start") for peg in pegs]
        ground = _out_and_back(at, first - before, first, last, sides)
        rows += [(str(number), "", station, side, why) for station, side, why in ground]
        if close:
            station, side, _ = ground[0]
            rows.append((str(number), "", station, side, "again"))
            rows += [(str(number), peg, math.nan, "", "close") for peg in pegs]
    return pd.DataFrame(rows, columns=list(ORDER_COLUMNS)).astype({"station_m": float})


def _out_and_back(
    at: list[float], begin: int, first: int, last: int, sides: Sequence[str]
) -> list[tuple[float, str, str]]:
    """Return the ground points of one position: those before ``first`` belong to the position before."""
    out = [(at[i], "shared" if i < first else "ground") for i in range(begin, last)]
    walk = [(station, sides[0], why) for station, why in out]
    return walk + [(station, side, why) for side in sides[1:] for station, why in reversed(out)]


def _place_faults(at: list[float], sides: Sequence[str], pegs: Sequence[str]) -> list[str]:
    """Return what is wrong with stations, sides and pegs."""
    faults = []
    if not at:
        faults.append("stations must hold at least one, got none")
    for i, station in enumerate(at):
        if not math.isfinite(station):
            faults.append(f"stations must be numbers; stations[{i}] is {station}")
        elif i and station <= at[i - 1]:
            after = f"{station:g} m follows stations[{i - 1}] = {at[i - 1]:g} m"
            faults.append(f"stations must grow; stations[{i}] = {after}")
    named = [sides] if isinstance(sides, str) else list(sides)
    if not named or set(named) - set(_SIDES) or len(set(named)) < len(named) or isinstance(sides, str):
        faults.append(f"sides must be a list of 'left' and 'right', each at most once, got {sides!r}")
    wrong = isinstance(pegs, str) or not all(isinstance(peg, str) and peg.strip() for peg in pegs)
    if wrong or len(set(pegs)) < len(pegs):
        faults.append(f"pegs must be a list of different names, got {pegs!r}")
    return faults


def _laser_faults(stations: int, sides: int, lasers: int, pegs: int, shared: int) -> list[str]:
    """Return what is wrong with the number of laser positions, and with what ties them together."""
    faults = []
    if lasers < 1:
        faults.append(f"lasers must be 1 or more, got {lasers}")
    elif stations and lasers > stations:
        faults.append(f"lasers must be at most the number of stations ({stations}), got {lasers}")
    if shared < 0:
        faults.append(f"shared must be 0 or more, got {shared}")
    elif 1 < lasers <= stations and sides:
        most = sides * (stations // lasers)
        if shared > most:
            faults.append(f"shared must be at most {most}, what a stretch before has, got {shared}")
        if not shared and not pegs:
            faults.append("nothing would tie the laser positions together: give pegs, or shared above 0")
    return faults
