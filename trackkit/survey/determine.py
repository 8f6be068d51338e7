"""Whether the readings determine every height: decided from the readings, never from a failed factor.

Smoothness says nothing of a side's level and slope, so those must come from readings, as must the
height of every laser position and peg.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.problems import FitError
from trackkit.survey.grid import Grid
from trackkit.survey.rows import Observations

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["Straights", "check_determined", "straights"]

Array = NDArray[np.float64]

#: Singular values below this share of the largest count as zero (columns are scaled to one first).
TOLERANCE = 1e-9
#: Border unknowns that are no heights.
ZEROS = ("zero", "drift")


class Straights:
    """Level and slope of each unbroken piece of each side: what smoothness leaves open.

    Attributes
    ----------
    basis : sparse array, shape (grid.size, p)
        States that each of them moves.
    names : list of str
        What each of them is, in plain words.
    """

    def __init__(self, basis: csr_array, names: list[str], are_levels: NDArray[np.bool_]) -> None:
        self.basis = basis
        self.names = names
        self.are_levels = are_levels


def straights(grid: Grid) -> Straights:
    """Return a basis of the profiles that smoothness does not resist."""
    from scipy.sparse import csr_array

    rows: list[NDArray[np.intp]] = []
    columns: list[NDArray[np.intp]] = []
    values: list[Array] = []
    names: list[str] = []
    levels: list[bool] = []
    pieces = grid.pieces()
    middle = float(grid.stations.mean()) if grid.stations.size else 0.0
    half = max(float(np.ptp(grid.stations)) / 2.0, 1.0) if grid.stations.size else 1.0
    for side, name in enumerate(grid.sides):
        slope_of = 0
        for piece in range(int(pieces[side, -1]) + 1):
            nodes = np.flatnonzero(pieces[side] == piece)
            opened = piece == 0 or grid.cut[side, nodes[0] - 1] == 2
            where = f"{name} side, {grid.stations[nodes[0]]:.2f} to {grid.stations[nodes[-1]]:.2f} m"
            for what in ("smooth", "surface") if grid.relief else ("smooth",):
                rows.append(grid.column(nodes, side, what))
                columns.append(np.full(nodes.size, len(names)))
                values.append(np.ones(nodes.size))
            names.append(f"height of the {where}")
            levels.append(True)
            if opened:
                slope_of = len(names)
                names.append(f"slope of the {where}")
                levels.append(False)
            for what in ("smooth", "surface") if grid.relief else ("smooth",):
                rows.append(grid.column(nodes, side, what))
                columns.append(np.full(nodes.size, slope_of))
                values.append((grid.stations[nodes] - middle) / half)
            rows.append(grid.column(nodes, side, "slope"))
            columns.append(np.full(nodes.size, slope_of))
            values.append(np.full(nodes.size, grid.scale / half))
    joined = [np.concatenate(part) if part else np.zeros(0) for part in (values, rows, columns)]
    basis = csr_array(
        (joined[0], (joined[1].astype(int), joined[2].astype(int))), shape=(grid.size, len(names))
    )
    return Straights(basis, names, np.array(levels, dtype=bool))


def check_determined(
    observations: Observations, free: Straights | None, *, level_is_free: bool, smooth_ties: bool
) -> tuple[Array, int]:
    """Return the best straight profiles and border unknowns, and how many unknowns are improper.

    Parameters
    ----------
    observations : Observations
    free : Straights or None
        None for a survey of pegs alone.
    level_is_free : bool
        Whether no benchmark gives a height, so that one datum may be chosen.
    smooth_ties : bool
        Whether laser positions that only the ground's smoothness joins are allowed.

    Returns
    -------
    start : array, shape (p + k,)
        Least-squares levels, slopes and border unknowns, from which the fit starts.
    improper : int
        Unknowns that nothing but readings determines.

    Raises
    ------
    FitError
        Names every height that the readings leave open, and what to read.
    """
    names = list(free.names) if free else []
    design = observations.border.toarray()
    if free is not None:
        design = np.hstack([(observations.ground @ free.basis).toarray(), design])
    names += [_border_name(kind, name) for kind, name in observations.names]
    zero_error = np.array([name.startswith("zero error") for name in names], dtype=bool)
    white = design / observations.sd[:, None]
    value = observations.value / observations.sd
    if level_is_free:
        lifted = np.concatenate(
            [free.are_levels if free else [], [k not in ZEROS for k, _ in observations.names]]
        )
        datum = lifted / np.sqrt(max(lifted.sum(), 1.0))
        white = np.vstack([white, datum / np.median(observations.sd)])
        value = np.append(value, 0.0)
    size = np.linalg.norm(white, axis=0)
    scaled = white / np.where(size > 0, size, 1.0)
    lacking = max(0, len(names) - value.size)
    scaled = np.vstack([scaled, np.zeros((lacking, len(names)))])
    left, singular, right = np.linalg.svd(scaled, full_matrices=False)
    short = right[singular < TOLERANCE * max(singular.max(initial=0.0), 1.0)]
    if len(short) or np.any(size == 0):
        if level_is_free and len(short):  # the level is one datum's: heights that only follow it are not open
            moved = short / np.where(size > 0, size, 1.0)
            moved[:, lifted > 0] -= np.median(moved[:, lifted > 0], axis=1, keepdims=True)
            short = moved * size
        raise FitError(_what_is_open(names, short, size))
    if not smooth_ties:
        _check_ties(observations)
    start = (right.T @ ((left.T @ np.append(value, np.zeros(lacking))) / singular)) / size
    return start, int(len(names) - zero_error.sum() - level_is_free)


def _border_name(kind: str, name: str) -> str:
    words = {"laser": "height of laser position", "peg": "height of peg", "zero": "zero error of"}
    words["drift"] = words["zero"]
    return f"{words.get(kind, 'height at')} {name!r}"


_READ_NEXT = {
    "height of laser": "read a point that another laser position has read, or a benchmark, from it",
    "height of peg": "read the peg with a laser position that also reads the ground",
    "height of the": "read a rod on that side, or a left-to-right",
    "slope of the": "read a second station there, well away from the first",
    "height at": "read it with a laser position that also reads the ground",
    "zero error of": "read a board both ways round (ahead and back)",
}


def _what_is_open(names: list[str], short: Array, size: Array) -> str:
    """Return a message that names what no reading determines, most involved first."""
    weight = np.max(np.abs(short), axis=0) if len(short) else np.zeros(len(names))
    weight = np.where(size == 0, 1.0, weight)
    lines = []
    for index in np.argsort(-weight, kind="stable"):
        if weight[index] > 0.05:
            advice = next(text for start, text in _READ_NEXT.items() if names[index].startswith(start))
            lines.append(f"  {names[index]}: {advice}")
    return "the readings do not determine these heights against the others:\n" + "\n".join(lines)


def _check_ties(observations: Observations) -> None:
    """Raise if laser positions hang together only by the ground's smoothness."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    lasers = [i for i, (kind, _) in enumerate(observations.names) if kind == "laser"]
    if len(lasers) < 2:
        return
    ground, border = observations.ground.tocoo(), observations.border.tocoo()
    n, size = observations.ground.shape[0], observations.ground.shape[1]
    kinds = observations.table["kind"].to_numpy()
    heights = np.array([kind not in ZEROS for kind, _ in observations.names], dtype=bool)
    links_row = np.concatenate([ground.coords[0], border.coords[0][heights[border.coords[1]]]])
    links_to = np.concatenate([ground.coords[1], size + border.coords[1][heights[border.coords[1]]]])
    strong = ~np.isin(kinds[links_row], ["crown beforehand", "rod at offset"])
    strong |= links_to >= size
    total = n + size + border.shape[1] + 1
    rows, to = links_row[strong], n + links_to[strong]
    to_fixed = np.isin(kinds, ["rod on peg", "difference"]) & (np.diff(observations.border.indptr) < 2)
    anchors = np.flatnonzero(to_fixed | (kinds == "benchmark"))
    rows = np.concatenate([rows, anchors])
    to = np.concatenate([to, np.full(anchors.size, total - 1)])
    graph = coo_array((np.ones(rows.size), (rows, to)), shape=(total, total))
    _, group = connected_components(graph, directed=False)
    own = pd.Series(group[[n + size + i for i in lasers]])
    if own.nunique() > 1:
        main = own.mode().iloc[0]
        apart = [observations.names[lasers[i]][1] for i in own.index[own != main]]
        raise FitError(
            "only the ground's smoothness joins laser position"
            f"{'s' if len(apart) > 1 else ''} {', '.join(map(repr, apart))} to the others: "
            + "read a peg or a point that another position has read, from each of them "
            + "(or allow it: smooth_ties = true)"
        )
