"""The panel that lays the line: what it is set from, its kind, grade, gap and confidence."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from trackkit.advice import chance_words
from trackkit.desk import asked
from trackkit.desk.controls import (
    bends,
    choice,
    confidences,
    grades,
    heights,
    rows_of_steps,
    slider,
    support_ends,
)
from trackkit.desk.jobs import job_choice
from trackkit.desk.panel import EXPECTED, Panel
from trackkit.desk.picture import Picture
from trackkit.desk.words import list_html, listing_html, numbers_html, pre_html, sheet_html, title_html
from trackkit.fitted import fit_job
from trackkit.job import load_job, with_line
from trackkit.layout.governing import governing_in_steps
from trackkit.layout.line import BEND
from trackkit.listed import lift_words, list_corners, list_pieces, list_supports
from trackkit.pictured import draw_laid, headline, laid_headline, signs_of, truck_words
from trackkit.plan import Laid, Plan, Stacked, lay_line, plan_of, stack_up
from trackkit.report import hangs_on, said, stops_first, summary_lines
from trackkit.spoken import above_words, fills_text, fills_words, governing_words, side_words

if TYPE_CHECKING:
    from trackkit.job import Job
    from trackkit.layout.laid import Run
    from trackkit.survey.ground import Ground

__all__ = ["LinePanel"]

#: Sizes of the pictures [in].
SIDE: Final = (9.6, 5.3)
SIGNS: Final = (9.6, 0.6)
BARS: Final = (9.6, 2.6)
ABOVE: Final = (9.6, 2.9)
#: What the sliders reach: gap [m], grade and bend (rise over distance), and their steps.
GAPS: Final = {"in": (0.0, 0.0508, 0.0254 / 8), "cm": (0.0, 0.05, 0.001), "mm": (0.0, 0.05, 0.001)}
GRADES: Final = (-0.10, 0.10, 0.001)
BENDS: Final = (0.0, 0.010, 0.0005)
CONFIDENCES: Final = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99)
KINDS: Final = (
    ("level", "level"), ("at a grade", "grade"), ("straight, least fill", "least fill"),
    ("bent at the joints", "follow"),
)  # fmt: skip


class LinePanel(Panel):
    """What the line is set from, and all that hangs on it.

    Parameters
    ----------
    job : path
        A job's folder.

    Attributes
    ----------
    laid : Laid
        The last line that could be laid.
    plan : Plan
        The same with stacks, targets and doubts.
    """

    def __init__(self, job: str | Path) -> None:
        from ipywidgets import HTML

        chosen = job_choice(job)
        self._numbers, self._hangs, self._sheet = HTML(), HTML(), HTML()
        self._side = Picture("side", SIDE)
        self._signs = Picture("signs", SIGNS)
        self._fills = Picture("fills", BARS)
        self._governing = Picture("governing", BARS)
        self._above = Picture("above", ABOVE)
        later: list[tuple[str, Any]] = [("-", 0.0)]  # a job brings its own
        self.controls = {
            "job": chosen,
            "kind": choice("kind of line", KINDS, "level"),
            "reference": slider("set from", later, 0.0, wide=560),
            "gap": slider("gap under the track", later, 0.0),
            "grade": slider("grade, up towards the end", later, 0.0),
            "bend": slider("bend at a joint, at most", later, 0.0, wide=420),
            "confidence": slider("sure that nothing touches", later, 0.0),
        }
        pictures = (self._side, self._signs, self._fills, self._governing, self._above)
        below = [picture.widget for picture in pictures[1:]]
        parts = [self._numbers, self._hangs, self._side.widget]
        self._begin(parts, pictures, later=[*below, self._sheet])

    # --- state --------------------------------------------------------------------------------------

    def _open(self, folder: Path) -> None:
        """Open a job: its readings are fitted once, and the controls stand as its file says."""
        job = load_job(folder)
        run, ground = fit_job(job)
        self.job: Job = job
        self._run: Run = run
        self._ground: Ground = ground
        wishes = asked.wishes_of(job)
        options = {
            "kind": list(KINDS),
            "reference": asked.references(job, support_ends(job, run)),
            "gap": heights(
                rows_of_steps(*GAPS[job.display.unit], wishes["gap"]), job.display, own=wishes["gap"]
            ),
            "grade": grades(rows_of_steps(*GRADES, wishes["grade"])),
            "bend": bends(rows_of_steps(*BENDS, wishes["bend"], BEND), job.display),
            "confidence": [
                ("not asked", asked.NOT_ASKED),
                *confidences(sorted({*CONFIDENCES, wishes["confidence"]} - {asked.NOT_ASKED})),
            ],
        }
        for name, offered in options.items():
            control: Any = self.controls[name]
            control.options = offered
            control.value = wishes[name]

    def work(self, moved: frozenset[str]) -> None:
        """Lay the line as the controls say and draw it, its fills as bars while the stacks are to come."""
        values = self.values
        self._show_controls(values["kind"], values["reference"])
        job = with_line(self.job, **asked.line_of(values))
        laid = lay_line(job, self._run, self._ground)
        if not self._at_once:
            self._draw_bars(laid)
        self.laid: Laid = laid
        self._offer_ends(laid.line.run)
        self._numbers.value = numbers_html([*laid_headline(laid), ("the truck", "…")], waits=True)
        warned = [said(laid, one) for one in laid.line.advisories if one.level != "note"]
        self._hangs.value = sheet_html(list_html("", [hangs_on(laid), *lift_words(job), *warned]))

    def _show_controls(self, kind: str, reference: Any) -> None:
        """Show only the controls that this kind of line, set from there, listens to."""
        shown = {"grade": kind == "grade", "bend": kind == "follow", "gap": reference != asked.AS_IN_FILE}
        for name, there in shown.items():
            self.controls[name].layout.display = None if there else "none"

    def _offer_ends(self, run: Run) -> None:
        """Offer the tie ends of this run: on another grade there may be other ties."""
        control: Any = self.controls["reference"]
        offered = asked.references(self.job, support_ends(self.job, run))
        if list(control.options) != offered:
            with self._held(), control.hold_sync():
                kept = control.value
                control.options = offered
                control.value = kept

    def settle(self) -> Iterator[None]:
        """Choose the stacks, then draw what hangs on the line."""
        laid = self.laid
        try:
            stacked = stack_up(laid)
        except EXPECTED:
            self._draw_bars(laid)
            raise
        truck = ("the truck", truck_words(stacked.stacks))
        self._numbers.value = numbers_html([*laid_headline(laid), truck], waits=True)
        yield
        self._draw_side(stacked)
        yield
        governing = yield from governing_in_steps(laid.ground, laid.line)
        plan = plan_of(stacked, governing=governing)
        yield
        self.plan: Plan = plan
        self._whole = stacked
        self._tell()
        yield
        yield from self._draw_others()

    def restore(self) -> None:
        """Show the last whole plan again."""
        self.laid = self._whole.laid
        self._draw_side(self._whole)
        self._tell()
        for _ in self._draw_others():
            pass

    def _draw_bars(self, laid: Laid) -> None:
        """Draw the side view with the fills as bars."""
        self._side.show(lambda figure: draw_laid(laid, figure=figure, legend=False), side_words(laid))

    def _draw_side(self, stacked: Stacked) -> None:
        """Draw the side view with what stands under the ties, and what its signs mean."""
        from trackkit.show.page import draw_signs

        laid, stacks = stacked.laid, stacked.stacks
        self._side.show(
            lambda figure: draw_laid(laid, stacks, fills=stacked.fills, figure=figure, legend=False),
            side_words(laid),
        )
        entries = signs_of(laid, stacks)
        words = "; ".join(word for _, word in entries)
        self._signs.show(lambda figure: draw_signs(entries, figure=figure), f"The signs in it: {words}.")

    def _tell(self) -> None:
        """Write the numbers, what the line hangs on, and the tables."""
        plan = self.plan
        self._numbers.value = numbers_html(self.numbers())
        stops, others = stops_first(plan)
        told = [*stops, *(one for one in plan.line.advisories if one.level == "caution")]
        words = [hangs_on(plan), *lift_words(plan.job), *(said(plan, one) for one in told)]
        self._hangs.value = sheet_html(list_html("", words))
        pieces = list_pieces(plan)
        self._sheet.value = sheet_html(
            list_html("In words", summary_lines(plan)),
            listing_html(list_corners(plan)) if plan.job.rough_in else "",
            listing_html(list_supports(plan)),
            listing_html(pieces) if pieces is not None else "",
            list_html("What to mind", [said(plan, one) for one in others]),
            title_html(
                "To keep this line, put these keys in place of those under [line] in the job's job.toml"
            ),
            pre_html("", asked.as_toml(plan.job)),
        )

    def _draw_others(self) -> Iterator[None]:
        """Draw the fills, the chances to govern, and the strip from above."""
        from trackkit.show.plots import draw_above, draw_fills, draw_governing

        plan = self.plan
        common: dict[str, Any] = {"display": plan.job.display, "side_names": plan.job.side_names}
        self._fills.show(
            lambda _: draw_fills(
                plan.fills, ax=self._fills.ax, caution_height=plan.job.stack_rules.caution_height, **common
            ),
            fills_words(plan),
        )
        yield
        self._governing.show(
            lambda _: draw_governing(plan.governing, ax=self._governing.ax, words=chance_words, **common),
            governing_words(plan.job, plan.governing),
        )
        yield
        survey = plan.ground.survey
        self._above.show(
            lambda _: draw_above(
                plan.line.run, plan.line, plan.fills, plan.stacks, ax=self._above.ax,
                walk=plan.job.stack_rules.walk_side, breaks=plan.line.run.breaks, zones=survey.zones,
                obstacles=survey.obstacles, width=plan.job.width, **common,
            ),
            above_words(plan),
        )  # fmt: skip

    def settings(self) -> list[str]:
        """Return the job and how its line is set."""
        return [f"{self.plan.job.name} ({self.plan.job.folder.name})", *asked.in_words(self.plan.job)]

    def numbers(self) -> list[tuple[str, str]]:
        """Return what a crew asks first; where there is no target, that there is none."""
        return headline(self.plan, none="none, see below")

    def told(self) -> str:
        """Return the numbers, what the line is set from, and the fills, a line each."""
        lines = [f"{what}: {number}" for what, number in self.numbers()]
        stops, _ = stops_first(self.plan)
        told = [hangs_on(self.plan), *(said(self.plan, one) for one in stops)]
        return "\n".join([*lines, *told, fills_text(self.plan)])

    def lead(self) -> str:
        """Return what it hangs on, stops first."""
        return str(self._hangs.value)

    def sheet(self) -> str:
        """Return the tables."""
        return str(self._sheet.value)
