"""Closures: what comes back to where it began, and by how much it misses.

From one laser position a point is read twice; through several laser positions a round leads back to the first
point; between two points of known height a chain must arrive at the right one. Each is a sum of rod readings
and differences that would be zero, were there no errors.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.grid import Grid
from trackkit.survey.rows import Observations
from trackkit.survey.sights import SIGHT

if TYPE_CHECKING:
    from scipy.sparse import csr_array

    from trackkit.survey.ground import Ground

__all__ = ["WITHIN_SDS", "closures"]

Array = NDArray[np.float64]
#: A laser position or a point: kind, then its name, or station and side.
Node = tuple[Any, ...]

#: A misclosure of so many standard deviations is too large: 3, a choice; 1 in 370 is larger by chance.
WITHIN_SDS: Final = 3.0
#: What all known heights are measured from.
_KNOWN: Final[Node] = ("known",)
#: So many laser positions at most are tried as the middle of all rounds.
_MOST_MIDDLES: Final = 40


@dataclass(frozen=True)
class _Sight:
    """Height of ``high`` over ``low``, and each row's share in it; none where it is known exactly."""

    low: Node
    high: Node
    value: float
    share: dict[int, float]

    def turned(self) -> _Sight:
        """Return the same from the other end."""
        return _Sight(self.high, self.low, -self.value, {row: -part for row, part in self.share.items()})

    @property
    def differs(self) -> bool:
        """Whether it was read as a difference, without a laser."""
        return _KNOWN not in (self.low, self.high) and "laser" not in (self.low[0], self.high[0])


def closures(
    ground: Ground, *, per_position: float | None = None, within: float = WITHIN_SDS
) -> pd.DataFrame:
    """Return every closure that the levelling has, no more than are independent of each other.

    A point read again from one laser position is held against the first reading there, and their mean goes
    into the rounds. Rounds are those of a tree of shortest ways, out of the middle for which they are
    shortest in all (a fundamental cycle basis). Where the line of sight was found not to be level, what that
    does to each rod is taken off first.

    Parameters
    ----------
    ground : Ground
        Its readings are used, not its fit, the slope of the line of sight aside.
    per_position : float, optional
        Limit for a closure within one laser position [m]; it grows with the square root of the number of
        positions. By default each limit is ``within`` standard deviations of what is added up, which is the
        same rule with within x sqrt(2) x rod_sd (two sights a position) where all rods are as good and each
        was read once.
    within : float
        See there.

    Returns
    -------
    DataFrame
        One row each: kind ('again', 'loop' or 'benchmarks'), through (words), lasers, points and readings
        (tuples of what it leads through, in that order; a point is a peg's name or (station [m], side)),
        positions (how many laser positions, a difference counting as one), misclosure_m (sign: going round in
        the order of ``through``), limit_m, ok.

    Notes
    -----
    Limits of levelling manuals grow with the root of the length of the line; they are made for lines of
    kilometres and many positions. Where all is done from a few, it is the positions that count, whatever
    their distance. Each limit is for one closure: of 40 without a fault, one is beyond its limit in 1 survey
    of 10. A misreading common to both sights, such as a rod with a wrong foot, does not show in any closure.
    """
    rows = ground.setting.observations
    sd = ground.fitted.posterior.sd
    names = rows.table["reading"].to_numpy(dtype=object)
    found = []
    merged: dict[tuple[Node, Node], list[_Sight]] = {}
    for sight in _sights(ground):
        if (sight.high, sight.low) in merged:
            sight = sight.turned()
        merged.setdefault((sight.low, sight.high), []).append(sight)
    means = []
    for (low, high), several in merged.items():
        first = several[0]
        found += [_closure("again", [(first, -1.0), (other, 1.0)], sd, names) for other in several[1:]]
        share = {row: part / len(several) for one in several for row, part in one.share.items()}
        means.append(_Sight(low, high, float(np.mean([one.value for one in several])), share))
    for steps in _rounds(means):
        kind = "benchmarks" if any(_KNOWN in (sight.low, sight.high) for sight, _ in steps) else "loop"
        found.append(_closure(kind, steps, sd, names))
    columns = [
        "kind",
        "through",
        "lasers",
        "points",
        "readings",
        "positions",
        "misclosure_m",
        "limit_m",
        "ok",
    ]
    table = pd.DataFrame(found, columns=[*columns[:7], "sd_m"])
    root = np.sqrt(table["positions"].to_numpy(dtype=float))
    spread = table.pop("sd_m").to_numpy(dtype=float)
    table["limit_m"] = within * spread if per_position is None else per_position * root
    table["ok"] = table["misclosure_m"].abs() <= table["limit_m"]
    return table


def _closure(
    kind: str, steps: list[tuple[_Sight, float]], sd: Array, names: NDArray[np.object_]
) -> tuple[Any, ...]:
    share = dict[int, float]()
    for sight, sign in steps:
        for row, part in sight.share.items():
            share[row] = share.get(row, 0.0) + sign * part
    total = sum(sign * sight.value for sight, sign in steps)
    spread = float(np.sqrt(sum((part * sd[row]) ** 2 for row, part in share.items())))
    nodes = [sight.low if sign > 0 else sight.high for sight, sign in steps]
    if kind == "again":
        low, high = steps[0][0].low, steps[0][0].high
        nodes = [high, low] if high[0] == "laser" else [low, high]
        through = f"{_word(low)} again from {_word(high)}"
        if high[0] != "laser":
            through = f"{_word(low)} to {_word(high)} again"
    else:
        begin = next((nodes.index(node) for node in nodes if node == _KNOWN), None)
        if begin is None:
            begin = next((i for i, node in enumerate(nodes) if node[0] == "peg"), 0)
        nodes = nodes[begin:] + nodes[:begin]
        ring = nodes[1:] if nodes[0] == _KNOWN else [*nodes, nodes[0]]
        through = " - ".join(map(_word, ring))
    lasers = tuple(str(node[1]) for node in nodes if node[0] == "laser")
    points = tuple(node[1] if node[0] == "peg" else node[1:] for node in nodes if node[0] in ("peg", "at"))
    readings = tuple(str(names[row]) for row in share)
    positions = len(lasers) + sum(sight.differs for sight, _ in steps)
    return kind, through, lasers, points, readings, positions, total, spread


def _word(node: Node) -> str:
    if node[0] == "laser":
        return f"laser position {node[1]}"
    return str(node[1]) if len(node) == 2 else f"{node[1]:.2f} m {node[2]}"


def _sights(ground: Ground) -> list[_Sight]:
    """Return each rod reading, difference and benchmark as a height between two nodes, in the fit's order."""
    rows = ground.setting.observations
    kinds = rows.table["kind"].to_numpy(dtype=object)
    tilted = np.zeros(rows.value.size)
    for index, (kind, name) in enumerate(rows.names):
        if kind == "zero" and name.startswith(SIGHT):
            tilted += rows.border[:, [index]].toarray()[:, 0] * ground.fitted.border(ground.setting)[index]
    value = rows.value - tilted
    differences = ground.survey.differences
    ends = zip(differences["point"].astype(str), differences["to_point"].astype(str), strict=True)
    rises = dict(zip(differences["reading"], ends, strict=True))
    found = [
        _Sight(_KNOWN, ("peg", name), height, {})
        for name, height in rows.fixed.items()
    ]  # fmt: skip
    surface = rows.ground.tocsr()
    for row, kind in enumerate(kinds):
        if kind == "difference":
            low, high = (("peg", name) for name in rises[rows.table["reading"].iloc[row]])
            known = rows.fixed.get(low[1], 0.0) - rows.fixed.get(high[1], 0.0)
            found.append(_Sight(low, high, float(value[row]) - known, {row: 1.0}))
        elif kind == "benchmark":
            found.append(
                _Sight(_KNOWN, ("peg", str(rows.table["point"].iloc[row])), float(value[row]), {row: 1.0})
            )
        elif str(kind).startswith("rod"):
            point = _point(rows, surface, ground.setting.grid, row)
            if point is not None:
                known = rows.fixed.get(point[1], 0.0) if point[0] == "peg" else 0.0
                laser = ("laser", str(rows.table["instrument"].iloc[row]))
                found.append(_Sight(point, laser, float(value[row]) - known, {row: 1.0}))
    return found


def _point(rows: Observations, surface: csr_array, grid: Grid, row: int) -> Node | None:
    """Return the point that a rod stood on; None for a place beside the run that was read once."""
    label = rows.table.iloc[row]
    if label["kind"] == "rod on peg":
        return ("peg", str(label["point"]))
    if label["kind"] == "rod":
        at = float(grid.stations[grid.node(np.array([label["station_m"]]))[0]])
        return ("at", at, str(label["side"]))
    for index in rows.border[[row]].tocoo().coords[1]:
        if rows.names[index][0] == "spot":
            return ("at", float(label["station_m"]), str(label["point"]))
    return None


def _rounds(sights: list[_Sight]) -> list[list[tuple[_Sight, float]]]:
    """Return the rounds of a tree of shortest ways: which sights, and +1 where they lead from low to high."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import breadth_first_order, connected_components

    nodes = list(dict.fromkeys(node for sight in sights for node in (sight.low, sight.high)))
    if not nodes:
        return []
    number = {node: index for index, node in enumerate(nodes)}
    joined: dict[tuple[int, int], list[int]] = defaultdict(list)
    for index, sight in enumerate(sights):
        low, high = number[sight.low], number[sight.high]
        joined[min(low, high), max(low, high)].append(index)
    near, far = np.array(list(joined)).T
    shape = (len(nodes), len(nodes))
    graph = csr_array((np.ones(2 * near.size), (np.r_[near, far], np.r_[far, near])), shape=shape)
    _, part = connected_components(graph, directed=False)
    rounds = []
    for one in range(int(part.max()) + 1):
        own = [index for index in range(len(nodes)) if part[index] == one]
        inner = [i for i, sight in enumerate(sights) if part[number[sight.low]] == one]
        middles = [index for index in own if nodes[index][0] != "at"] or own
        best: list[list[tuple[_Sight, float]]] | None = None
        for middle in middles[:_MOST_MIDDLES]:
            _, before = breadth_first_order(graph, middle, directed=False)
            found = _closed(sights, inner, number, np.asarray(before), joined)
            if best is None or sum(map(len, found)) < sum(map(len, best)):
                best = found
        rounds += best or []
    return rounds


def _closed(
    sights: list[_Sight],
    inner: list[int],
    number: dict[Node, int],
    before: NDArray[np.intp],
    joined: dict[tuple[int, int], list[int]],
) -> list[list[tuple[_Sight, float]]]:
    """Return the round that each sight closes which is not in the tree."""

    def way(node: int) -> list[int]:
        path = [node]
        while before[path[-1]] >= 0:
            path.append(int(before[path[-1]]))
        return path

    def step(start: int, end: int) -> tuple[_Sight, float]:
        sight = sights[joined[min(start, end), max(start, end)][0]]
        return sight, 1.0 if number[sight.low] == start else -1.0

    rounds = []
    for index in inner:
        sight = sights[index]
        low, high = number[sight.low], number[sight.high]
        pair = min(low, high), max(low, high)
        if joined[pair][0] == index and (before[low] == high or before[high] == low):
            continue
        up, down = way(high), way(low)
        while len(up) > 1 and len(down) > 1 and up[-2] == down[-2]:
            up.pop()
            down.pop()
        path = up + down[-2::-1]
        steps = [step(start, end) for start, end in itertools.pairwise(path)]
        rounds.append([(sight, 1.0), *steps])
    return rounds
