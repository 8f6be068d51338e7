"""What a plan must say of doubt and danger: doubtful readings, touching ties, and the usual cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from trackkit.fitted import doubtful_readings
from trackkit.layout.footing import BESIDE
from trackkit.layout.grounds import SIDES
from trackkit.naming import stretches
from trackkit.problems import Advisory
from trackkit.tables.rows import rows_of
from trackkit.units import Display

if TYPE_CHECKING:
    from trackkit.plan import Plan

__all__ = ["USUAL_CAUTIONS", "chance_words", "doubt_words", "no_support", "plan_advisories"]

#: From this chance of touching on, a tie end is mentioned (a choice).
WORTH_SAYING: Final = 0.05

#: Give or take of the ground from which it counts as hardly known, more than a wedge travels, and as not
#: known, more than a half box (4 in): no pieces kept at hand make up for that [m]. Guesses.
HARDLY_KNOWN: Final = 0.03
NOT_KNOWN: Final = 0.1016

#: Section ends whose rods differ by more, over the short way between the two corners, do not lie flush [m].
#: Half an inch: anyone feels that. Guess.
FLUSH: Final = 0.0127

#: Fewer readings to spare than this check next to nothing (a choice).
FEW_CHECKS: Final = 2.5

#: From so many tie ends closed with shims on, a higher gap is suggested (a choice).
MANY_SHIMS: Final = 6

#: What holds for every job of this kind.
USUAL_CAUTIONS: Final = (
    "Local codes, the site's rules and licensed practice come before this plan: it is arithmetic.",
    "Stops at both ends before a wheel is on the track; chock the dolly whenever nobody holds it.",
    "On any grade somebody holds the dolly from above; nobody stands below it on the track.",
    "Lift rails with two people; fingers never between rail, tie and box. Slide wedges in, never drive them.",
    "No stack from 45 cm (18 in) up without somebody competent looking at it, none above 60 cm (24 in) "
    "unless they have taken it over: that is a platform, not a stack.",
    "After the first pass with full weight check every wedge and the level again; so after rain or sun.",
)


def chance_words(chance: float) -> str:
    """Return a chance in plain words.

    Examples
    --------
    >>> chance_words(0.2), chance_words(0.0), chance_words(0.75), chance_words(0.999)
    ('1 chance in 5', 'hardly any chance', '3 chances in 4', 'almost certain')
    """
    if chance < 0.001:
        return "hardly any chance"
    if chance > 0.99:
        return "almost certain"
    if chance <= 0.4:
        return f"1 chance in {round(1 / chance)}"
    fractions = [(1, 2), (2, 3), (3, 4), (4, 5), (9, 10)]
    top, bottom = min(fractions, key=lambda pair: abs(pair[0] / pair[1] - chance))
    return f"{top} chance{'s' if top > 1 else ''} in {bottom}"


def plan_advisories(plan: Plan) -> tuple[Advisory, ...]:
    """Return what the plan as a whole must warn of; parts of it have warnings of their own."""
    found = [
        *_too_high(plan),
        *_high(plan),
        *_corners_not_read(plan),
        *_readings(plan),
        *no_support(plan),
        *_steps(plan),
        *_slope_not_known(plan),
        *_hardly_known(plan),
        *_touching(plan),
    ]
    return (*found, *_unknown(plan), *_low_gap(plan))


def _too_high(plan: Plan) -> list[Advisory]:
    if plan.verdict.level_ok or plan.line.kind != "level":
        return []
    return [Advisory("stop", "the whole run", plan.verdict.text, "height limit: common practice, no source")]


def _high(plan: Plan) -> list[Advisory]:
    """How high the fills are, where no stacks were chosen that say so."""
    rules, show = plan.job.stack_rules, plan.job.display
    if plan.stacks is not None or plan.summary.largest < rules.caution_height:
        return []
    summary, size = plan.summary, show.small_unit(plan.summary.largest)
    place = f"tie {summary.largest_tie} {summary.largest_side}"
    basis = "common practice, no source"
    if summary.largest > rules.top:
        text = f"{size} to build up: it needs a platform and a competent person, not boxes: lower the line"
        return [Advisory("stop", place, text, basis)]
    text = f"{size} to build up: have a competent person look at it, and tie the stack in"
    return [Advisory("caution", place, text, basis)]


def doubt_words(row: Any, display: Display) -> str:
    """Return how far a doubtful reading is from what the others make it; a row of `doubtful_readings`."""
    if row.others_m == row.others_m:
        return (
            f"reads {display.small_unit(row.read_m)}, the others make it {display.small_unit(row.others_m)}"
        )
    off = row.off_m if row.off_m == row.off_m else row.residual_m
    return f"rises {display.small_unit(abs(off))} {'less' if off > 0 else 'more'} than the others make it"


def _readings(plan: Plan) -> list[Advisory]:
    show = plan.job.display
    basis = "tried against a fit without it; 1 survey in 20 gives a false alarm"
    found = []
    for row in rows_of(doubtful_readings(plan.ground)):
        at = f" at {show.long(row.station_m)}" if row.station_m == row.station_m else ""
        side = f" {plan.job.side(row.side)}" if row.side else ""
        text = f"{row.kind}{at}{side}{f' ({row.point})' if row.point else ''} {doubt_words(row, show)}; " + (
            "tape it again before laying; up towards the end mark is positive"
            if row.kind == "step"
            else "read it again before laying"
        )
        found.append(Advisory("caution", row.reading, text, basis))
    found += [*_pegs_in_doubt(plan), *_perhaps_a_step(plan)]
    marks = plan.ground.survey.benchmarks
    stated = {str(name) for name in marks.loc[marks["sd_m"] == 0, "point"]}
    blamed = sorted(stated & {str(name) for name in doubtful_readings(plan.ground)["point"]})
    if blamed and len(stated) > 1:
        text = (
            "rods on points of stated height are in doubt: perhaps the stated heights contradict each other. "
            "Check benchmarks.csv before laying"
        )
        found.append(Advisory("stop", ", ".join(blamed), text, "heights with sd 0 are held exactly"))
    return found


def _pegs_in_doubt(plan: Plan) -> list[Advisory]:
    """Pegs of which nothing tells which reading is right."""
    table = doubtful_readings(plan.ground)
    table = table[(table["point"] != "") & table["read_m"].notna()]
    found = []
    for name, rows in table.groupby("point", sort=False):
        if len(rows) > 1:
            read = " and as ".join(plan.job.display.small_unit(value) for value in rows["read_m"])
            text = (
                f"was read as {read}, and nothing tells which is right: heights here are from their mean. "
                "Read it again, and leave the wrong one out (leave_out in job.toml)"
            )
            found.append(Advisory("stop", str(name), text, "heights are carried from peg to peg"))
    return found


def _perhaps_a_step(plan: Plan) -> list[Advisory]:
    """Neighbouring rods on one side that are off the same way: the ground may step there."""
    show, found = plan.job.display, []
    table = doubtful_readings(plan.ground)
    rods = table[table["station_m"].notna() & table["side"].isin(SIDES) & table["off_m"].notna()]
    for side in SIDES:
        rows = rods[(rods["side"] == side) & rods["read_m"].notna()].sort_values("station_m")
        for sign in (1.0, -1.0):
            same = rows[np.sign(rows["off_m"]) == sign]
            if len(same) < 2:
                continue
            first, last = (show.long(float(same["station_m"].iloc[place])) for place in (0, -1))
            text = (
                f"{len(same)} rods between {first} and {last} are off the same way. If they are right, the "
                "ground steps on that side, and breaks.csv must say where; if not, read them again"
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
    rods: dict[tuple[str, int, str, str], float] = {
        (row.laser, int(row.section), row.end, row.side): float(row.rod_m) for row in rows_of(levels)
    }
    steps = []
    for (laser, section, end, side), rod in rods.items():
        other = rods.get((laser, section + 1, "head", side))
        if end == "tail" and other is not None:
            steps.append(abs(rod - other))
    most = max(steps, default=0.0)
    return most if most > FLUSH else None


def _hardly_known(plan: Plan) -> list[Advisory]:
    """Stretches of the run that the readings do not reach, or hardly."""
    show = plan.job.display
    misread = not doubtful_readings(plan.ground).empty
    covariance = plan.ground.covariance(plan.run.tie_points())
    variance = np.diag(covariance)
    best = int(np.argmin(variance))  # against the tie end known best: a doubtful datum is another matter
    apart = np.sqrt(np.maximum(variance + variance[best] - 2.0 * covariance[best], 0.0))
    give = pd.Series(2.0 * apart.reshape(-1, 2).max(axis=1), index=plan.run.ties["tie"].to_numpy())
    found = []
    for level, least, most in (("stop", NOT_KNOWN, np.inf), ("caution", HARDLY_KNOWN, NOT_KNOWN)):
        ties = give.index[(give > least) & (give <= most)]
        if ties.empty:
            continue
        stations = plan.run.ties.set_index("tie")["station_m"]
        where = [
            f"{show.long(stations[first])} to {show.long(stations[last])}" if last > first else
            show.long(stations[first])
            for first, last in stretches([int(tie) for tie in ties])
        ]  # fmt: skip
        text = (
            f"at {', '.join(where)} from the start mark the ground was not read, or too far apart: its "
            f"height is known to ±{show.small_unit(float(give[ties].max()))} only. Read rods there"
        )
        if misread:
            text += ", but first the readings in doubt again: one that is far off makes all ground look rough"
        place = f"{len(ties)} of {len(give)} ties"
        basis = f"more than {show.small_unit(least)}: guess"
        found.append(Advisory("stop" if level == "stop" else "caution", place, text, basis))
    return found


def no_support(plan: Plan) -> list[Advisory]:
    """Return the stops for ties where a zone says that nothing may stand."""
    found = []
    for row in rows_of(plan.fills[~plan.fills["support_here"]]):
        place = f"tie {row.tie} {row.side}"
        text = "stands where the zone says that nothing may stand: shift the run, or bridge it"
        found.append(Advisory("stop", place, text, "zones.csv"))
    return found


def _steps(plan: Plan) -> list[Advisory]:
    """Which way the ground steps at every break, and how far."""
    show, found = plan.job.display, []
    taped = [
        (row.left_station_m, row.right_station_m)
        for row in rows_of(plan.ground.survey.breaks)
        if np.isfinite(row.step_m)
    ]
    for pair in plan.run.breaks:
        known = any(np.array_equal(pair, one, equal_nan=True) for one in taped)
        basis = f"{'as taped, and ' if known else ''}the readings on both sides of it"
        for side, place in zip(SIDES, pair, strict=True):
            if not plan.run.head <= place <= plan.run.tail:
                continue
            beside = [(place - BESIDE, side), (place + BESIDE, side)]
            before, beyond = plan.ground.mean(beside)
            covariance = plan.ground.covariance(beside)
            sd = float(np.sqrt(max(covariance[0, 0] + covariance[1, 1] - 2.0 * covariance[0, 1], 0.0)))
            step = float(beyond - before)
            way, size = "up" if step > 0 else "down", show.small_unit(abs(step))
            if abs(step) > 2.0 * sd:
                text = f"the ground steps {way} {size} (±{show.small_unit(2.0 * sd)}) towards the end mark"
            else:
                text = (
                    f"whether the ground steps up or down is not known: {size} {way} towards the end mark, "
                    f"±{show.small_unit(2.0 * sd)}; read rods close to it on both sides, or tape the step"
                )
            at = f"the break at {show.long(place)} {plan.job.side(side)}"
            found.append(Advisory("note", at, text, basis))
    return found


def _slope_not_known(plan: Plan) -> list[Advisory]:
    """Stacks whose ground may slope across, but a break under one rail only leaves that unknown."""
    rows = plan.fills[plan.fills["cross_slope"].isna() & (plan.fills["fill_m"] > plan.line.doubt.touch)]
    if rows.empty:
        return []
    text = (
        "a break crosses under one rail only, so the two rails do not stand on the same ground there, and "
        "how the ground slopes across under a box is not known: no seat is planned for it. Lay a level "
        "across the ground under each box, and make a seat where it leans"
    )
    place = ", ".join(f"tie {row.tie} {row.side}" for row in rows_of(rows))
    return [Advisory("caution", place, text, "at the head of the run both rails are taken on one ground")]


def _touching(plan: Plan) -> list[Advisory]:
    likely = plan.fills[plan.fills["p_touch"] > WORTH_SAYING]
    if likely.empty:
        return []
    worst = likely.iloc[int(likely["p_touch"].to_numpy().argmax())]
    ends = f"{len(likely)} tie end{'s' if len(likely) > 1 else ''} may touch"
    text = (
        f"{ends} the ground; most likely tie {worst['tie']} {worst['side']} "
        f"({chance_words(float(worst['p_touch']))}). Read there again, or raise the gap"
    )
    basis = f"touch is more than {plan.job.display.small_unit(plan.line.doubt.touch)} (guess, can be changed)"
    return [Advisory("caution", "the whole run", text, basis)]


def _low_gap(plan: Plan) -> list[Advisory]:
    """Many shims because the gap is lower than the lowest that a wedge on the truck closes."""
    if plan.stacks is None:
        return []
    bare = [stack for stack in plan.stacks.stacks if not stack.pieces]  # shims on a board are another matter
    shims = sum(end.kind == "shim" for stack in bare for end in stack.closings)
    bearing = float(plan.fills["bearing_m"].min())
    wedges = [piece.wedge for piece in plan.stacks.truck.pieces if piece.kind == "wedge"]
    lowest = min((one.single_range(bearing)[0] for one in wedges if one.length >= bearing), default=0.0)
    if shims < MANY_SHIMS or plan.line.gap >= lowest:
        return []
    show = plan.job.display
    text = (
        f"{shims} tie ends stand on shims alone, since no wedge closes less than {show.small_unit(lowest)} "
        f"and the gap is {show.small_unit(plan.line.gap)}: raise the gap, and wedges do"
    )
    return [Advisory("note", "the whole run", text, "the wedges on the truck")]


def _unknown(plan: Plan) -> list[Advisory]:
    found = []
    spare = float(plan.ground.residuals["redundancy_readings"].sum())
    if spare < 1.0:
        text = (
            "no reading checks another, only the smoothness of the ground does: a misreading of a few "
            "centimetres may not show. Read some points twice, or from a second laser position"
        )
        found.append(Advisory("caution", "the survey", text, "readings counted against heights to find"))
    elif spare < FEW_CHECKS:
        text = (
            f"only {spare:.0f} reading{'s' if spare >= 1.5 else ''} more than there are heights to find: "
            "next to nothing checks this survey; read some points again, or close back to the first peg"
        )
        found.append(Advisory("caution", "the survey", text, "readings counted against heights to find"))
    if plan.stacks is None:
        text = "no truck.csv: the stacks were not chosen"
        found.append(Advisory("note", "the truck", text, "the job folder"))
    return found
