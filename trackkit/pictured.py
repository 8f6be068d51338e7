"""A job's side view, and the numbers that a crew asks first: what stands on the picture and in large type."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from trackkit.cribbing.results import StackPlan
from trackkit.layout.fills import summarise_fills
from trackkit.layout.grounds import SIDES
from trackkit.plan import Laid, Plan

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from trackkit.survey.ground import Ground

__all__ = [
    "breaks_on",
    "draw_laid",
    "headline",
    "laid_headline",
    "plan_picture",
    "plan_title",
    "signs_of",
    "truck_words",
]


#: What is said of a truck that is enough, and of one that would be, were the line not stopped.
SUFFICES: Final = "suffices"
SEE_STOP: Final = "see STOP"


def laid_headline(laid: Laid | Plan) -> list[tuple[str, str]]:
    """Return how much track and the largest fill: what, and the number in the crew's unit."""
    job, show, summary = laid.job, laid.job.display, summarise_fills(laid.fills)
    track = laid.line.run.length if job.rough_in else laid.line.run.needed
    side = job.side(summary.largest_side)
    fill = "lift" if job.rough_in else "fill"
    largest = (f"largest {fill}, at tie {summary.largest_tie} {side}", show.small_unit(summary.largest))
    if summary.deepest < -laid.line.doubt.touch:
        count = summary.negative
        ends = f"tie end{'s' if count > 1 else ''} in the ground, up to"
        largest = (f"{count} {ends}", show.small_unit(-summary.deepest))
    return [("track as it lies" if job.rough_in else "track needed", show.long(track)), largest]


def truck_words(stacks: StackPlan | None) -> str:
    """Return whether the truck is enough, and what it is short of; "see STOP" where stacks leave one.

    "suffices" would be taken for "all is well" where tie ends are in the ground.
    """
    if stacks is None:
        return "not given"
    count = len(stacks.unfillable)
    found = [f"short of {', '.join(f'{one.missing} {one.item}' for one in stacks.shortages)}"]
    found = found if stacks.shortages else []
    if count:
        found.append(f"cannot fill {count} support{'s' if count > 1 else ''}")
    if found:
        return ", ".join(found)
    stopped = stacks.negative or any(advisory.level == "stop" for advisory in stacks.advisories)
    return SEE_STOP if stopped else SUFFICES


def headline(plan: Plan, *, none: str = "") -> list[tuple[str, str]]:
    """Return what a crew asks first: track, largest fill, the truck, and the target if there is one.

    Parameters
    ----------
    plan : Plan
    none : str
        What stands for a target that there is not for all rails alike; '' leaves it out.
    """
    truck = truck_words(plan.stacks)
    if truck == SUFFICES and not plan.can_be_done:
        truck = SEE_STOP
    found = [*laid_headline(plan), ("the truck", truck)]
    if plan.targets is not None and plan.targets.headline and not plan.withholds_target:
        found.append(plan.targets.headline)
    elif none:
        found.append(("target, one for all rails", none))
    return found


def plan_title(plan: Plan) -> str:
    """Return the job's name, behind a warning where it must not be laid like this."""
    return (
        plan.job.name
        if plan.can_be_done
        else f"STOP, not to be laid like this: see the plan · {plan.job.name}"
    )


def breaks_on(ground: Ground) -> dict[str, list[float]]:
    """Return the stations where edges meet each side [m]."""
    from trackkit.survey.observe import breaks_of

    edges = breaks_of(ground.survey)
    return {side: [edge.station for edge in edges if edge.side == side] for side in SIDES}


def draw_laid(
    laid: Laid | Plan,
    stacks: StackPlan | None = None,
    *,
    fills: pd.DataFrame | None = None,
    figure: Figure | None = None,
    head: tuple[tuple[str, str], ...] = (),
    title: str = "",
    legend: bool = True,
) -> Figure:
    """Draw a job's side view, with stacks or with its fills as bars; see `side_view` for the rest.

    Parameters
    ----------
    laid : Laid or Plan
    stacks : StackPlan, optional
    fills : DataFrame, optional
        The fills with their zones, once they are known; by default those of ``laid``.
    figure, head, title, legend
        See `side_view`.
    """
    from trackkit.show.plots import side_view

    job = laid.job
    return side_view(
        laid.ground, laid.line.run, laid.line, laid.fills if fills is None else fills, stacks,
        figure=figure, headline=head,
        side_names=job.side_names, display=job.display, breaks=breaks_on(laid.ground), title=title,
        held_at=getattr(job.reference, "station", None), legend=legend,
    )  # fmt: skip


def signs_of(laid: Laid | Plan, stacks: StackPlan | None) -> list[tuple[str, str]]:
    """Return style and words of every sign that stands in a job's side view."""
    from trackkit.show.page import legend_entries
    from trackkit.show.scene import make_scenes

    scenes = make_scenes(
        laid.ground, laid.line.run, laid.line, laid.fills, stacks, sides=SIDES, breaks=breaks_on(laid.ground)
    )
    return legend_entries(scenes)


def plan_picture(plan: Plan) -> Figure:
    """Return the side view of a plan on a page, with the numbers that a crew asks first."""
    return draw_laid(plan, plan.stacks, head=tuple(headline(plan)), title=plan_title(plan))
