"""What each reading says of the ground: every kind of reading as one linear row.

Signs, stated here once: a larger rod reading is lower ground (rod = height of laser - height); a
board is positive when its far end is higher (far - near), a left-to-right when the right side is
higher (right - left). A zero error b adds to an angle read ``ahead`` and takes from one read
``back``.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.boards import DEFAULT_PHONE, add_boards, add_crosslevels
from trackkit.survey.grid import MERGE, Break, Grid, make_grid
from trackkit.survey.instruments import Instruments
from trackkit.survey.readings import Survey
from trackkit.survey.rows import Observations, Rows
from trackkit.survey.sights import SIGHT, sights_of, with_sight
from trackkit.survey.terms import labels_of, or_default, surface_terms
from trackkit.tables.rows import rows_of

__all__ = ["DEFAULT_PHONE", "breaks_of", "grid_of", "observe"]

Array = NDArray[np.float64]


def breaks_of(survey: Survey) -> tuple[Break, ...]:
    """Return the survey's breaks, one for each side that they meet."""
    found = []
    for row in rows_of(survey.breaks):
        step = float(row.step_m)
        for side, station in (("left", row.left_station_m), ("right", row.right_station_m)):
            if np.isfinite(station):
                found.append(Break(side, float(station), step, name=f"{row.file} row {row.row}"))
    return tuple(found)


def grid_of(survey: Survey, stations: Array, *, relief: bool, breaks: tuple[Break, ...]) -> Grid | None:
    """Return the grid of all surveyed and asked-for stations, or None for a survey of pegs alone.

    A break within the survey has a node on either side of it, so that what one side's ground says
    of the other's holds right up to it; not so a strip that nobody read, such as a ditch.
    """
    levels, boards, crosslevels = survey.levels, survey.boards, survey.crosslevels
    read = [levels["station_m"], boards["station_m"], boards["to_station_m"], crosslevels["station_m"]]
    places = np.concatenate([np.asarray(column, dtype=float) for column in read])
    places = places[np.isfinite(places)]
    if places.size == 0:
        return None
    two = len(crosslevels) > 0 or bool(np.any(np.abs(levels["offset_m"]) > 0))
    said = {*levels["side"], *boards["side"]} - {""}
    sides = ("left", "right") if two or len(said) != 1 else tuple(said)
    feet = np.asarray(boards["station_m"], dtype=float), np.asarray(boards["to_station_m"], dtype=float)
    everything = np.concatenate(
        [places, _beside(breaks, np.unique(places)), np.asarray(stations, dtype=float)]
    )
    return make_grid(everything, sides, relief=relief, breaks=breaks, spans=feet)


def _beside(breaks: tuple[Break, ...], read: Array) -> Array:
    """Return stations just before and beyond each break, but none in a gap where a side has two."""
    gaps = [(int(np.searchsorted(read, edge.station)), edge) for edge in breaks]
    sides = [(gap, edge.side) for gap, edge in gaps]
    crowded = {gap for gap, side in sides if sides.count((gap, side)) > 1}
    found = [
        edge.station + step
        for gap, edge in gaps
        if gap not in crowded and read[0] < edge.station - MERGE and edge.station + MERGE < read[-1]
        for step in (-MERGE / 2, MERGE / 2)
    ]
    return np.array(found)


def observe(
    survey: Survey, grid: Grid | None, instruments: Instruments, *, width: float, breaks: tuple[Break, ...]
) -> Observations:
    """Return the survey as linear rows on a grid.

    Parameters
    ----------
    survey : Survey
        With all readings placed at stations (see ``place_on_ties``).
    grid : Grid or None
        None for a survey of pegs alone.
    width : float
        Distance between the two sides [m].
    """
    rows = Rows(grid or Grid(np.zeros(0), (), False, 1.0, np.zeros((0, 0), np.int8), np.zeros((0, 0))))
    held = survey.benchmarks[survey.benchmarks["sd_m"] == 0]
    fixed = dict(zip(held["point"].astype(str), held["height_m"].astype(float), strict=True))
    _add_pegs(rows, survey, instruments, fixed)
    sights = sights_of(survey.levels, survey.lasers, width)
    _add_levels(rows, survey.levels, instruments, width, fixed, sights)
    add_boards(rows, survey.boards, instruments)
    add_crosslevels(rows, survey.crosslevels, instruments, width)
    _add_steps(rows, breaks, instruments)
    zeros = [name for kind, name in rows.names if kind == "zero"]
    if zeros:
        sight = np.array([name.startswith(SIGHT) for name in zeros])
        stated = np.array([instruments.zeros.get(name, 0.0) for name in zeros])
        doubt = np.array([instruments.zero_sds.get(name, instruments.zero_sd) for name in zeros])
        rows.add(
            np.where(sight, instruments.collimation, stated),
            np.where(sight, instruments.collimation_sd, doubt),
            [],
            [(rows.unknown("zero", pd.Series(zeros)), np.ones(len(zeros)))],
            kind="zero error beforehand",
            instrument=zeros,
            counts=False,
        )
    return rows.finish(fixed)


def _pegs(rows: Rows, names: pd.Series[str], fixed: dict[str, float]) -> tuple[NDArray[np.intp], Array]:
    """Return border columns (-1 for a fixed peg) and the heights of fixed pegs (0 for others)."""
    columns = np.full(len(names), -1, dtype=np.intp)
    free = ~names.isin(list(fixed)).to_numpy()
    if free.any():
        columns[free] = rows.unknown("peg", names[free])
    return columns, np.asarray(names.map(fixed).fillna(0.0), dtype=float)


def _add_pegs(rows: Rows, survey: Survey, instruments: Instruments, fixed: dict[str, float]) -> None:
    soft = survey.benchmarks[survey.benchmarks["sd_m"] != 0]
    if len(soft):
        columns, _ = _pegs(rows, soft["point"], fixed)
        sd = or_default(soft["sd_m"], instruments.difference_sd)
        labels = labels_of(soft, "benchmark", point=soft["point"].to_numpy())
        rows.add(soft["height_m"].to_numpy(dtype=float), sd, [], [(columns, np.ones(len(soft)))], **labels)
    rises = survey.differences
    if len(rises):
        near, near_height = _pegs(rows, rises["point"], fixed)
        far, far_height = _pegs(rows, rises["to_point"], fixed)
        value = rises["rise_m"].to_numpy(dtype=float) + near_height - far_height
        one = np.ones(len(rises))
        sd = or_default(rises["sd_m"], instruments.difference_sd)
        points = (rises["point"] + " to " + rises["to_point"]).to_numpy()
        rows.add(value, sd, [], [(far, one), (near, -one)], **labels_of(rises, "difference", point=points))


def _add_levels(
    rows: Rows,
    levels: pd.DataFrame,
    instruments: Instruments,
    width: float,
    fixed: dict[str, float],
    sights: pd.DataFrame,
) -> None:
    rail = levels["rail_top_m"].fillna(0.0) if "rail_top_m" in levels else pd.Series(0.0, levels.index)
    height = levels["rod_m"] + rail
    on_peg = levels["point"] != ""
    on_side = ~on_peg & (levels["side"] != "")
    aside = ~on_peg & ~on_side
    unplaced = levels[~on_peg & levels["station_m"].isna()]
    if len(unplaced):
        raise ValueError(f"{unplaced['reading'].iloc[0]} is given by tie or section: place it on a run first")
    for mask, kind in ((on_peg, "rod on peg"), (on_side, "rod"), (aside, "rod at offset")):
        some = levels[mask]
        if not len(some):
            continue
        sd = or_default(some["sd_m"], instruments.rod_sd)
        laser = rows.unknown("laser", some["laser"])
        sight, long, sd = with_sight(rows, sights[mask], sd, instruments)
        one = np.ones(len(some))
        value = height[mask].to_numpy(dtype=float)
        labels = labels_of(some, kind, instrument=some["laser"].to_numpy(), side=some["side"].to_numpy())
        labels |= {"station_m": some["station_m"].to_numpy(), "point": some["point"].to_numpy()}
        if kind == "rod on peg":
            pegs, known = _pegs(rows, some["point"], fixed)
            rows.add(value + known, sd, [], [(laser, one), (pegs, -one), (sight, long)], **labels)
        elif kind == "rod":
            ground, slope = surface_terms(rows.grid, some["station_m"], some["side"])
            # corners of laid track are known to the millimetre; a rod set down by tape is not
            taped = (some["on"] == "ground").to_numpy()
            labels["slope"] = np.where(taped, slope, -1)
            rows.add(value, sd, [(c, -share) for c, share in ground], [(laser, one), (sight, long)], **labels)
        else:
            labels["point"] = [f"{offset:+.2f} m off the centre line" for offset in some["offset_m"]]
            _add_offsets(rows, some, value, sd, [(laser, one), (sight, long)], instruments, width, labels)


def _add_offsets(
    rows: Rows,
    some: pd.DataFrame,
    value: Array,
    sd: Array,
    above: list[tuple[NDArray[np.intp], Array]],
    instruments: Instruments,
    width: float,
    labels: dict[str, Any],
) -> None:
    """A place read once is the straight line across plus crown; one read again is an unknown of its own."""
    if len(rows.grid.sides) < 2:
        raise ValueError("readings at an offset need readings on both sides")
    across = np.asarray(some["offset_m"], dtype=float) / width
    node = rows.grid.node(np.asarray(some["station_m"], dtype=float))
    left, right = (rows.grid.column(node, side, "smooth") for side in (0, 1))
    one = np.ones(len(some))
    place = some["station_m"].map("{:.3f} m".format) + some["offset_m"].map(" {:+.3f} m".format)
    again = place.duplicated(keep=False).to_numpy()
    spots = np.full(len(some), -1, dtype=np.intp)
    if again.any():
        spots[again] = rows.unknown("spot", place[again])
    shares = [(np.where(again, -1, left), across - 0.5), (np.where(again, -1, right), -across - 0.5)]
    spread = np.where(again, sd, np.hypot(sd, instruments.crown_sd))
    rows.add(value, spread, shares, [*above, (spots, -one)], **labels)
    first = again & ~place.duplicated().to_numpy()
    if first.any():
        own = [(left[first], 0.5 - across[first]), (right[first], 0.5 + across[first])]
        zero, crown = np.zeros(int(first.sum())), np.full(int(first.sum()), max(instruments.crown_sd, 1e-6))
        rows.add(zero, crown, own, [(spots[first], -one[first])], kind="crown beforehand", counts=False)


def _add_steps(rows: Rows, breaks: tuple[Break, ...], instruments: Instruments) -> None:
    """A taped step ties the two sides of a break, each carried on along its own slope."""
    grid = rows.grid
    for edge in breaks:
        interval = int(np.searchsorted(grid.stations, edge.station, side="left")) - 1
        inside = 0 <= interval < grid.stations.size - 1 and edge.side in grid.sides
        if not np.isfinite(edge.step) or not inside:
            continue
        side = grid.side_index(edge.side)
        near, far = edge.station - grid.stations[interval], grid.stations[interval + 1] - edge.station
        terms = [
            (grid.column(np.array([interval + 1]), side, "smooth"), np.array([1.0])),
            (grid.column(np.array([interval + 1]), side, "slope"), np.array([-far / grid.scale])),
            (grid.column(np.array([interval]), side, "smooth"), np.array([-1.0])),
            (grid.column(np.array([interval]), side, "slope"), np.array([-near / grid.scale])),
        ]
        name = (
            f"{edge.name}, {edge.side}" if edge.name else f"step on the {edge.side} at {edge.station:.2f} m"
        )
        labels = {"reading": name, "kind": "step", "side": edge.side}
        rows.add(
            np.array([edge.step]),
            np.array([instruments.step_sd]),
            terms,
            [],
            **labels,
            station_m=edge.station,
        )
