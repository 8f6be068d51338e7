"""What a plan must say of doubt and danger: doubtful readings, touching ties, and the usual cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from trackkit.doubted import reading_advisories
from trackkit.layout.clearance import buried_obstacles
from trackkit.layout.footing import BESIDE
from trackkit.layout.grounds import SIDES
from trackkit.naming import stretches
from trackkit.problems import Advisory
from trackkit.tables.rows import rows_of
from trackkit.units import few_decimals

if TYPE_CHECKING:
    from trackkit.plan import Plan

__all__ = ["USUAL_CAUTIONS", "chance_words", "no_support", "plan_advisories", "sure_words"]

#: From this chance of touching on, a tie end is mentioned (a choice).
WORTH_SAYING: Final = 0.05

#: Give or take of the ground from which it counts as hardly known, more than a wedge travels, and as not
#: known, more than a half box (4 in): no pieces kept at hand make up for that [m]. Guesses.
HARDLY_KNOWN: Final = 0.03
NOT_KNOWN: Final = 0.1016

#: An obstacle's top that lies so much below the ground, and more than it is uncertain by, was misread [m].
BURIED: Final = 0.01

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
    >>> chance_words(0.2), chance_words(0.0), chance_words(0.75), chance_words(0.9995)
    ('1 chance in 5', 'hardly any chance', '3 chances in 4', 'almost certain')

    A chance and its opposite are said alike:

    >>> chance_words(0.287), chance_words(0.713), chance_words(0.02), chance_words(0.98)
    ('3 chances in 10', '7 chances in 10', '1 chance in 50', '49 chances in 50')
    """
    less = min(chance, 1.0 - chance)
    if less < 0.001:
        return "hardly any chance" if chance < 0.5 else "almost certain"
    if less <= 0.22:
        top, bottom = 1, round(1 / less)
    else:
        fractions = [(1, 4), (3, 10), (1, 3), (2, 5), (1, 2)]
        top, bottom = min(fractions, key=lambda pair: abs(pair[0] / pair[1] - less))
    if chance > 0.5:
        top = bottom - top
    return f"{top} chance{'s' if top > 1 else ''} in {bottom}"


def sure_words(confidence: float) -> str:
    """Return how sure something is to be, in per cent; what is short of certain never reads 100%.

    Examples
    --------
    >>> sure_words(0.9), sure_words(0.975), sure_words(0.9996)
    ('90%', '97.5%', '99.96%')
    """
    return f"{few_decimals(100.0 * confidence, 0.05, short_of=100.0)}%"


def plan_advisories(plan: Plan) -> tuple[Advisory, ...]:
    """Return what the plan as a whole must warn of; parts of it have warnings of their own."""
    found = [
        *_too_high(plan),
        *_high(plan),
        *reading_advisories(plan),
        *no_support(plan),
        *_steps(plan),
        *_slope_not_known(plan),
        *_hardly_known(plan),
        *_touching(plan),
        *_buried(plan),
    ]
    return (*found, *_no_truck(plan), *_low_gap(plan))


def _too_high(plan: Plan) -> list[Advisory]:
    if plan.verdict.level_ok or plan.line.kind != "level":
        return []
    return [Advisory("stop", "the whole run", plan.verdict.text, "height limit: common practice, no source")]


def _buried(plan: Plan) -> list[Advisory]:
    """Obstacles whose tops lie below the ground: misread, so that the line may lie too low over them."""
    from trackkit.plan import obstacles_of

    obstacles, ground = obstacles_of(plan.job, plan.ground), plan.ground
    if obstacles is None or set(ground.sides) != set(SIDES):
        return []
    show = plan.job.display
    return [
        Advisory(
            "caution", label,
            f"lies {show.small_unit(depth)} below the ground as it was read: what is in the way stands over "
            "it; read its top again",
            "more than two standard deviations of the ground, and 1 cm: a choice",
        )
        for label, depth, sd in buried_obstacles(ground, plan.run, obstacles, width=plan.job.width)
        if depth > BURIED + 2.0 * sd
    ]  # fmt: skip


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


def _hardly_known(plan: Plan) -> list[Advisory]:
    """Stretches of the run that the readings do not reach, or hardly."""
    show = plan.job.display
    misread = not plan.ground.doubtful.empty
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
        "how the ground slopes across under a box is not known: no seat across is planned. Lay a level "
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


def _no_truck(plan: Plan) -> list[Advisory]:
    if plan.stacks is not None:
        return []
    return [Advisory("note", "the truck", "no truck.csv: the stacks were not chosen", "the job folder")]
