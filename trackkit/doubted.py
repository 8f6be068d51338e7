"""What is doubtful about the readings: misread rods, pegs, corners nobody read, steps nobody typed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from trackkit.layout.grounds import SIDES
from trackkit.problems import Advisory
from trackkit.survey.readings import read_on_rail
from trackkit.tables.rows import rows_of
from trackkit.units import Display

if TYPE_CHECKING:
    from trackkit.plan import Plan

__all__ = ["doubt_words", "reading_advisories"]

#: Section ends whose rods differ by more, over the short way between the two corners, do not lie flush [m].
#: Half an inch: anyone feels that. Guess.
FLUSH: Final = 0.0127

#: From one rod to the next under the same rail, so much [m] and so steep is taken for a step (guesses).
JUMP: Final = 0.03
STEEP: Final = 0.25
#: A rod this near to a break stands on it [m]: no tape tells the two apart. Guess.
ON_BREAK: Final = 0.01
#: So near to a break a reading in doubt may be the break's fault [m]. Guess.
NEAR_BREAK: Final = 0.6

#: Fewer readings to spare than this check next to nothing (a choice).
FEW_CHECKS: Final = 2.5


def doubt_words(row: Any, display: Display) -> str:
    """Return how far a doubtful reading is from what the others make it; a row of ``Ground.doubtful``."""
    if row.others_m == row.others_m:
        return (
            f"reads {display.small_unit(row.read_m)}, the others make it {display.small_unit(row.others_m)}"
        )
    off = row.off_m if row.off_m == row.off_m else row.residual_m
    return f"rises {display.small_unit(abs(off))} {'less' if off > 0 else 'more'} than the others make it"


def reading_advisories(plan: Plan) -> tuple[Advisory, ...]:
    """Return what the readings of a plan must warn of."""
    parts = (_corners_not_read, _readings, _jumps, _on_a_break, _hardly_checked)
    return tuple(advisory for part in parts for advisory in part(plan))


def _readings(plan: Plan) -> list[Advisory]:
    show = plan.job.display
    basis = "tried against a fit without it; 1 survey in 20 gives a false alarm"
    found = []
    for row in rows_of(plan.ground.doubtful):
        at = f" at {show.long(row.station_m)}" if row.station_m == row.station_m else ""
        side = f" {plan.job.side(row.side)}" if row.side else ""
        do = "read it again before laying"
        if row.kind == "step":
            do = "tape it again before laying; up towards the end mark is positive"
        elif any(abs(row.station_m - edge) < NEAR_BREAK for pair in plan.run.breaks for edge in pair):
            do += ". A break is near: perhaps its stations are wrong, or those of left and right exchanged"
        text = f"{row.kind}{at}{side}{f' ({row.point})' if row.point else ''} {doubt_words(row, show)}; {do}"
        found.append(Advisory("caution", row.reading, text, basis))
    found += [*_pegs_in_doubt(plan), *_corners_in_doubt(plan), *_perhaps_a_step(plan)]
    marks = plan.ground.survey.benchmarks
    stated = {str(name) for name in marks.loc[marks["sd_m"] == 0, "point"]}
    blamed = sorted(stated & {str(name) for name in plan.ground.doubtful["point"]})
    if blamed and len(stated) > 1:
        text = (
            "rods on points of stated height are in doubt: perhaps the stated heights contradict each other. "
            "Check benchmarks.csv before laying"
        )
        found.append(Advisory("stop", ", ".join(blamed), text, "heights with sd 0 are held exactly"))
    return found


def _pegs_in_doubt(plan: Plan) -> list[Advisory]:
    """Pegs with a reading in doubt that heights, and the target, hang on."""
    table = plan.ground.doubtful
    table = table[(table["point"] != "") & table["read_m"].notna()]
    control = plan.targets.control.name if plan.targets is not None else ""
    basis = "heights are carried from peg to peg, and the track is set out from one"
    do = "or leave it out (leave_out in job.toml)"
    found = []
    for name, rows in table.groupby("point", sort=False):
        equal = rows[rows["rivals"] == rows["rivals"].iloc[0]]
        if len(equal) > 1:
            text = (
                f"of its readings {_readings_of(plan, equal, ' and ')} nothing tells which is wrong. Read it "
                "again, and leave the wrong one out (leave_out in job.toml)"
            )
        elif name in (control, plan.job.file.pegs.check):
            read = _readings_of(plan, rows, ", ")
            text = f"heights here lean on {read}, which is in doubt. Read it again, {do}"
        else:
            continue
        found.append(Advisory("stop", str(name), text, basis))
    return found


def _readings_of(plan: Plan, rows: pd.DataFrame, joined: str) -> str:
    """Return rods in words, with the laser position where there are several."""
    show, lasers = plan.job.display.small_unit, len(plan.ground.lasers) > 1
    return joined.join(
        f"{row.reading} ({show(row.read_m)}{f' from laser position {row.instrument}' if lasers else ''})"
        for row in rows_of(rows)
    )


def _corners_in_doubt(plan: Plan) -> list[Advisory]:
    """Corners of roughed-in track whose rod is in doubt: their lifts come from nothing else."""
    table = plan.ground.doubtful
    levels = plan.ground.survey.levels.dropna(subset=["section"]).set_index("reading")
    rows = levels.loc[[name for name in table["reading"] if name in levels.index]]
    if not plan.job.rough_in or rows.empty:
        return []
    where = [f"section {int(row.section)} {row.end} {plan.job.side(row.side)}" for row in rows_of(rows)]
    text = "its rod is in doubt, and its lift comes from that rod alone. Read it again, and plan again"
    return [Advisory("stop", ", ".join(where), text, "common practice, no source: every corner is read")]


def _perhaps_a_step(plan: Plan) -> list[Advisory]:
    """Neighbouring rods on one side that are off the same way: the ground may step there."""
    show, found = plan.job.display, []
    table = plan.ground.doubtful.set_index("reading")
    levels = plan.ground.survey.levels
    for side in SIDES:
        rods = levels[(levels["side"] == side) & levels["station_m"].notna()].sort_values("station_m")
        if rods.empty:
            continue
        off = np.sign(rods["reading"].map(table["off_m"]).astype(float).fillna(0.0).to_numpy())
        stations = rods["station_m"].to_numpy(dtype=float)
        starts = np.flatnonzero(np.diff(off, prepend=np.nan))
        for start, stop in zip(starts, [*starts[1:], len(off)], strict=True):
            if off[start] == 0 or stop - start < 2:
                continue
            text = (
                f"{stop - start} rods next to each other, from {show.long(stations[start])} to "
                f"{show.long(stations[stop - 1])}, are off the same way. If they are right, the ground steps "
                "on that side, and breaks.csv must say where; if not, read them again"
            )
            basis = "two readings seldom go wrong alike"
            found.append(Advisory("stop", f"the ground, {plan.job.side(side)}", text, basis))
    return found


def _corners_not_read(plan: Plan) -> list[Advisory]:
    """Corners of roughed-in track without a rod on them.

    Where the corner across the joint was read, and the two ends lie flush, that reading serves for both.
    """
    if not plan.job.rough_in:
        return []
    levels = plan.ground.survey.levels.dropna(subset=["section"])
    read = set(zip(levels["section"].astype(int), levels["end"], levels["side"], strict=True))
    last = len(plan.run.sections)
    missing: list[str] = []
    across: list[str] = []
    for section in range(1, last + 1):
        for end, beside in (("head", (section - 1, "tail")), ("tail", (section + 1, "head"))):
            for side in SIDES:
                if (section, end, side) in read:
                    continue
                found = across if (*beside, side) in read else missing
                found.append(f"section {section} {end} {plan.job.side(side)}")
    basis = "common practice, no source: every corner is read"
    advisories = []
    if missing:
        text = "no rod was read there: its lift is a guess from the others. Read it"
        advisories.append(Advisory("stop", ", ".join(missing), text, basis))
    if across:
        apart = _parted_joints(plan)
        text = (
            "no rod was read there, only on the end across the joint: that serves for both only where the "
            "two ends lie flush. "
        )
        if apart is None:
            text += "Feel the joint with a fingertip, or read it"
        else:
            text += f"At other joints the rods differ by up to {plan.job.display.small_unit(apart)}: read it"
        advisories.append(Advisory("caution" if apart is None else "stop", ", ".join(across), text, basis))
    return advisories


def _parted_joints(plan: Plan) -> float | None:
    """Return by how much two ends at a joint that were both read differ at most, if more than rods do [m]."""
    levels = plan.ground.survey.levels.dropna(subset=["section"])
    same = levels.groupby(["laser", "section", "end", "side"])["rod_m"].mean()
    places = [(str(laser), int(number), str(end), str(side)) for laser, number, end, side in same.index]
    rods = dict(zip(places, same.to_numpy(dtype=float), strict=True))
    steps = []
    for (laser, section, end, side), rod in rods.items():
        other = rods.get((laser, section + 1, "head", side))
        if end == "tail" and other is not None:
            steps.append(abs(rod - other))
    most = max(steps, default=0.0)
    return most if most > FLUSH else None


def _jumps(plan: Plan) -> list[Advisory]:
    """Neighbouring rods between which the ground jumps, and no break is given."""
    show, found = plan.job.display, []
    levels = plan.ground.survey.levels
    levels = levels[levels["station_m"].notna() & levels["side"].isin(SIDES) & (levels["on"] != "rail")]
    for (_, side), rows in levels.groupby(["laser", "side"], sort=False):
        at = rows.sort_values("station_m")
        stations, rods = (at[name].to_numpy(dtype=float) for name in ("station_m", "rod_m"))
        edges = [pair[SIDES.index(str(side))] for pair in plan.run.breaks]
        for first, last, rise in zip(stations, stations[1:], -np.diff(rods), strict=False):
            jumps = abs(rise) > JUMP and abs(rise) > STEEP * (last - first)
            if jumps and not any(first <= edge <= last for edge in edges):
                text = (
                    f"the ground {'rises' if rise > 0 else 'falls'} {show.small_unit(abs(rise))} from "
                    f"{show.long(first)} to {show.long(last)}: if that is an edge or a step, give its place "
                    "in breaks.csv; boxes must not reach over it"
                )
                place = f"the ground, {plan.job.side(str(side))}"
                found.append(Advisory("caution", place, text, "steeper than 1 in 4 between two rods: guess"))
    return found


def _on_a_break(plan: Plan) -> list[Advisory]:
    """Rods that stand on a break: nobody knows on which side of it."""
    show, found = plan.job.display, []
    for row in rows_of(plan.ground.survey.levels):
        for pair in plan.run.breaks if row.side in SIDES else ():
            edge = pair[SIDES.index(row.side)]
            if abs(row.station_m - edge) < ON_BREAK:
                text = (
                    f"stands on the break at {show.long(edge)} {plan.job.side(row.side)}: taken "
                    f"{'beyond' if row.station_m >= edge else 'short of'} it. Stand the rod clear of the "
                    "edge, on one side and on the other, and give both"
                )
                found.append(Advisory("caution", row.reading, text, "a break parts the ground"))
    return found


def _hardly_checked(plan: Plan) -> list[Advisory]:
    """A survey in which next to nothing checks a reading."""
    found = []
    spare = float(plan.ground.residuals["redundancy_readings"].sum())
    if spare < 1.0:
        what = "track" if read_on_rail(plan.ground.survey) else "ground"
        text = (
            f"no reading checks another, only the smoothness of the {what} does: a misreading of a few "
            "centimetres may not show. Read some points twice, or from a second laser position"
        )
        found.append(Advisory("caution", "the survey", text, "readings counted against heights to find"))
    elif spare < FEW_CHECKS:
        text = (
            f"only {spare:.0f} reading{'s' if spare >= 1.5 else ''} more than there are heights to find: "
            "next to nothing checks this survey; read some points again, or close back to the first peg"
        )
        found.append(Advisory("caution", "the survey", text, "readings counted against heights to find"))
    return found
