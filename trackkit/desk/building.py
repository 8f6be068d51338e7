"""The panel that builds it: each support close up, what goes where, and the gap card."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from trackkit.advice import USUAL_CAUTIONS
from trackkit.cribbing.card import card_text, gap_card
from trackkit.desk.asked import in_words
from trackkit.desk.controls import Option, choice, heights, slider
from trackkit.desk.jobs import job_choice
from trackkit.desk.panel import Panel
from trackkit.desk.picture import Picture
from trackkit.desk.words import list_html, listing_html, numbers_html, pre_html, sheet_html
from trackkit.job import load_job
from trackkit.layout.grounds import SIDES
from trackkit.listed import lift_words, list_pieces, list_seats, list_supports
from trackkit.pictured import truck_words
from trackkit.plan import Plan, make_plan
from trackkit.problems import CannotDo
from trackkit.report import said, stops_first
from trackkit.show.stack_words import stack_lines

if TYPE_CHECKING:
    import pandas as pd

    from trackkit.cribbing.stack import Stack

__all__ = ["StacksPanel"]

#: Size of a picture [in], without room about its axes: it brings its own.
CLOSE: Final = (9.6, 4.1)
EDGES: Final = (0.1, 0.1, 0.08, 0.08)
#: How a stack is looked at.
VIEWS: Final = (
    ("so that the wedge shows", ""),
    ("from beside the track", "along"),
    ("along the track, from its head", "across"),
)


class StacksPanel(Panel):
    """What stands under each support, close up, and the gap card of the truck.

    Parameters
    ----------
    job : path
        A job's folder.

    Attributes
    ----------
    plan : Plan
        Of the job as its file says.
    card : DataFrame
        See `gap_card`.
    """

    def __init__(self, job: str | Path) -> None:
        from ipywidgets import HTML

        chosen = job_choice(job)
        self._numbers, self._stops, self._sheet, self._gap = HTML(), HTML(), HTML(), HTML()
        self._close = {side: Picture(f"close-{side}", CLOSE, margins=EDGES) for side in SIDES}
        later: list[Option] = [("-", 0)]  # a job brings its own
        self.controls = {
            "job": chosen,
            "support": slider("support", later, 0, wide=460),
            "side": choice("side", [("both", "both")], "both", wide=240),
            "view": choice("seen", VIEWS, "", wide=300),
            "gap": slider("gap card: a gap of", later, 0, wide=460),
        }
        pictures = tuple(self._close.values())
        parts = [self._numbers, self._stops, self._gap, *(picture.widget for picture in pictures)]
        self._begin(parts, pictures, later=[self._sheet])

    # --- state --------------------------------------------------------------------------------------

    def _open(self, folder: Path) -> None:
        """Open a job and plan it."""
        job = load_job(folder)
        if job.truck is None:
            raise CannotDo(f"{folder.name} has no truck.csv: put in a table of what is on the truck")
        plan = make_plan(job)
        card = gap_card(job.truck, rules=job.stack_rules, ground=job.ground_kind, display=job.display.name)
        self.plan: Plan = plan
        self.card: pd.DataFrame = card
        offered: dict[str, list[Option]] = {
            "support": _supports(plan),
            "side": [("both", "both"), *((job.side(side), side) for side in SIDES)],
            "gap": heights(map(float, card["gap_m"]), job.display),
        }
        for name, options in offered.items():
            control: Any = self.controls[name]
            control.options = options
            control.value = options[0][1]
        self.controls["support"].value = _worst(plan)

    def work(self, moved: frozenset[str]) -> None:
        """Draw the support that is chosen, and say what goes into the gap that is asked for."""
        values = self.values
        if "job" in moved:
            stops, _ = stops_first(self.plan)
            told = [*(said(self.plan, one) for one in stops), *lift_words(self.plan.job)]
            self._stops.value = sheet_html(list_html("", told))
        if moved - {"gap"}:
            self._numbers.value = numbers_html(self.numbers())
            for side in SIDES:
                self._show_close(side, shown=values["side"] in (side, "both"))
        self._gap.value = sheet_html(list_html("Gap card", [self.gap_line()]))

    def _show_close(self, side: str, *, shown: bool) -> None:
        from trackkit.show.plots import draw_stack

        picture, plan = self._close[side], self.plan
        stack = self.stack(side)
        picture.widget.layout.display = None if shown else "none"
        if stack is None or not shown:
            picture.hide()
            words = f"{self._where(side)}: {self.nothing_there(side)}"
            picture.widget.value = sheet_html(list_html("", [words])) if shown else ""
            return
        picture.show(
            lambda _: draw_stack(
                stack, plan.fills, ax=picture.ax, display=plan.job.display, view=self.values["view"] or None,
                truck=plan.job.truck, side_names=plan.job.side_names,
            ),
            f"{self._where(side)}, from the ground up: " + "; ".join(self.lines(side)),
        )  # fmt: skip

    def settle(self) -> Iterator[None]:
        """List everything: supports, seats, what to take off the truck, the whole gap card."""
        plan = self.plan
        job = plan.job
        _, others = stops_first(plan)
        listings = [list_supports(plan), list_seats(plan), list_pieces(plan)]
        self._sheet.value = sheet_html(
            *(listing_html(listing) for listing in listings if listing is not None),
            list_html("What to mind", [said(plan, one) for one in others]),
            list_html("Always", USUAL_CAUTIONS),
            pre_html(
                "The gap card",
                card_text(self.card, display=job.display.name, notes=(job.name,)),
                abreast=True,
            ),
        )
        yield from ()

    def settings(self) -> list[str]:
        """Return the job, how its line is set, and which support is drawn."""
        return [
            f"{self.plan.job.name} ({self.plan.job.folder.name})",
            *in_words(self.plan.job),
            f"drawn: {self._support()}",
        ]

    # --- what is there ------------------------------------------------------------------------------

    def stack(self, side: str) -> Stack | None:
        """Return the stack of the chosen support on a side; None if nothing is planned there."""
        stacks = self.plan.stacks.stacks if self.plan.stacks is not None else ()
        wanted = self.values["support"]
        return next((s for s in stacks if s.side == side and s.support == wanted), None)

    def lines(self, side: str) -> list[str]:
        """Return the chosen support on a side in words, from the ground up; empty if nothing is planned."""
        stack = self.stack(side)
        if stack is None:
            return []
        own = self.plan.fills[(self.plan.fills["side"] == side) & self.plan.fills["tie"].isin(stack.ties)]
        return stack_lines(
            stack, self.plan.job.display, sds=own["fill_sd_m"].tolist(), side_names=self.plan.job.side_names
        )

    def nothing_there(self, side: str) -> str:
        """Return why nothing is planned under the chosen support on a side."""
        stacks, support = self.plan.stacks, self.values["support"]
        if stacks is None:
            return "there is no truck"
        for lost in stacks.unfillable:
            if lost.side == side and lost.support == support:
                return f"STOP, {lost.reason}"
        if any(there == support and at == side for there, at, *_ in stacks.sitting):
            return "sits on the ground, nothing goes under it"
        if any(there == support and at == side for there, at, *_ in stacks.negative):
            return "STOP, in the ground"
        return "STOP, nothing may stand here"

    def gap_line(self) -> str:
        """Return what goes into the gap that is asked for."""
        row = self.card.iloc[int((self.card["gap_m"] - self.values["gap"]).abs().argmin())]
        gap = self.plan.job.display.small_unit(float(row["gap_m"]))
        words = f"Into a gap of {gap}: {row['words'] if row['made'] else 'nothing on this truck makes it'}."
        caution = self.plan.job.stack_rules.caution_height
        if float(row["gap_m"]) >= caution - 1e-9:
            words += (
                f" From {self.plan.job.display.small_unit(caution)} up somebody competent looks at it first."
            )
        return words

    def _where(self, side: str) -> str:
        """Return the chosen support on a side, in words."""
        return f"{self._support()} {self.plan.job.side(side)}"

    def _support(self) -> str:
        """Return the chosen support in words."""
        chosen = self.values["support"]
        return next(words for words, support in _supports(self.plan) if support == chosen)

    def numbers(self) -> list[tuple[str, str]]:
        """Return the fills at the chosen support, and the truck."""
        plan = self.plan
        show, run = plan.job.display, plan.line.run
        (ties,) = run.supports.loc[run.supports["support"] == self.values["support"], "ties"]
        found = []
        for side in SIDES:
            own = plan.fills[(plan.fills["side"] == side) & plan.fills["tie"].isin(ties)]
            fill = " and ".join(dict.fromkeys(show.small_unit(float(one)) for one in own["fill_m"]))
            found.append((f"fill, {self._where(side)}", fill))
        return [*found, ("the truck", truck_words(plan.stacks))]

    def lead(self) -> str:
        """Return the stops, and what goes into the gap that is asked for."""
        return f"{self._stops.value}{self._gap.value}"

    def sheet(self) -> str:
        """Return the lists."""
        return str(self._sheet.value)

    def told(self) -> str:
        """Return the numbers, the chosen support from the ground up, and the gap that is asked for."""
        lines = [f"{what}: {number}" for what, number in self.numbers()]
        for side in SIDES:
            built = self.lines(side) or [self.nothing_there(side)]
            lines += [f"{self._where(side)}, from the ground up:", *(f"  {line}" for line in built)]
        return "\n".join([*lines, self.gap_line()])


def _supports(plan: Plan) -> list[Option]:
    """Return the supports from the head, in words and by name."""
    found: list[Option] = []
    for support, ties in zip(plan.line.run.supports["support"], plan.line.run.supports["ties"], strict=True):
        each = " and ".join(map(str, ties))
        found.append((f"joint {support}, ties {each}" if len(ties) > 1 else f"tie {each}", str(support)))
    return found


def _worst(plan: Plan) -> str:
    """Return the support with the largest fill."""
    return str(plan.fills["support"].iloc[int(plan.fills["fill_m"].argmax())])
