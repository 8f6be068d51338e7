"""What a plan must say of doubt and danger: doubtful readings, touching ties, and the usual cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from trackkit.problems import Advisory
from trackkit.tables.rows import rows_of

if TYPE_CHECKING:
    from trackkit.plan import Plan

__all__ = ["USUAL_CAUTIONS", "chance_words", "plan_advisories"]

#: From this chance of touching on, a tie end is mentioned (a choice).
WORTH_SAYING: Final = 0.05

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
    found = [*_too_high(plan), *_readings(plan), *_not_to_stand(plan), *_touching(plan), *_unknown(plan)]
    found += _low_gap(plan)
    return tuple(found)


def _too_high(plan: Plan) -> list[Advisory]:
    if plan.verdict.level_ok or plan.line.kind != "level":
        return []
    return [Advisory("stop", "the whole run", plan.verdict.text, "height limit: common practice, no source")]


def _readings(plan: Plan) -> list[Advisory]:
    from trackkit.plan import doubtful_readings

    show = plan.job.display
    found = []
    for row in rows_of(doubtful_readings(plan.ground)):
        at = f" at {show.long(row.station_m)}" if row.station_m == row.station_m else ""
        side = f" {plan.job.side(row.side)}" if row.side else ""
        off = show.small_unit(abs(row.residual_m))
        text = (
            f"{row.kind}{at}{side}{f' ({row.point})' if row.point else ''} does not fit the others: it is "
            f"{off} off even after the ground has given way to it; read it again before laying"
        )
        found.append(
            Advisory(
                "caution", row.reading, text, "tested against the fit without it, 1 false alarm in 20 surveys"
            )
        )
    return found


def _not_to_stand(plan: Plan) -> list[Advisory]:
    found = []
    for row in rows_of(plan.fills[~plan.fills["support_here"]]):
        place = f"tie {row.tie} {plan.job.side(row.side)}"
        text = "stands where the zone says that nothing may stand: shift the run, or bridge it"
        found.append(Advisory("stop", place, text, "zones.csv"))
    return found


def _touching(plan: Plan) -> list[Advisory]:
    likely = plan.fills[plan.fills["p_touch"] > WORTH_SAYING]
    if likely.empty:
        return []
    worst = likely.iloc[int(likely["p_touch"].to_numpy().argmax())]
    ends = f"{len(likely)} tie end{'s' if len(likely) > 1 else ''} may touch"
    text = (
        f"{ends} the ground; most likely tie {worst['tie']} {plan.job.side(worst['side'])} "
        f"({chance_words(float(worst['p_touch']))}). Read there again, or raise the gap"
    )
    basis = f"touch is more than {plan.job.display.small_unit(plan.line.doubt.touch)} (guess, can be changed)"
    return [Advisory("caution", "the whole run", text, basis)]


def _low_gap(plan: Plan) -> list[Advisory]:
    """Many shims because the gap is lower than the lowest that a wedge on the truck closes."""
    if plan.stacks is None:
        return []
    ends = [end for stack in plan.stacks.stacks for end in stack.closings]
    shims = sum(end.kind == "shim" for end in ends)
    lowest = min((end.low for end in ends if end.kind == "single"), default=0.0)
    if shims < MANY_SHIMS or plan.line.gap >= lowest:
        return []
    show = plan.job.display
    text = (
        f"{shims} tie ends are closed with shims, since no wedge closes less than {show.small_unit(lowest)} "
        f"and the gap is {show.small_unit(plan.line.gap)}: raise the gap, and wedges do"
    )
    return [Advisory("note", "the whole run", text, "the wedges on the truck")]


def _unknown(plan: Plan) -> list[Advisory]:
    found = []
    if plan.ground.residuals["redundancy_readings"].sum() < 1.0:
        text = (
            "no reading checks another, only the smoothness of the ground does: a misreading of a few "
            "centimetres may not show. Read some points twice, or from a second laser position"
        )
        found.append(Advisory("caution", "the survey", text, "redundancy of the readings alone"))
    elif plan.ground.dof <= 2:
        text = (
            f"only {max(plan.ground.dof, 0)} reading(s) more than unknown heights: next to nothing "
            "checks this survey; read some points again, or close back to the first peg"
        )
        found.append(Advisory("caution", "the survey", text, "count of readings and unknowns"))
    if plan.stacks is None:
        text = "no truck.csv: the stacks were not chosen"
        found.append(Advisory("note", "the truck", text, "the job folder"))
    return found
