"""Cases that pictures are drawn of: an invented lawn, and the demo jobs."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.figure import Figure
from matplotlib.text import Text

from trackkit.cribbing import Truck, choose_stacks
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.truck import Piece
from trackkit.job import load_job
from trackkit.layout import Section, Shot, fill_table, follow_line, lay_out_run, level_line
from trackkit.pictured import plan_picture
from trackkit.plan import make_plan
from trackkit.show.plots import side_view
from trackkit.survey.grid import Break
from trackkit.survey.ground import fit_ground
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey
from trackkit.units import DISPLAYS, LENGTH_UNITS, Display

DEMO = Path(__file__).parents[2] / "data_demo"
#: Invented: 1 mm of rod noise on a lawn that is stated, so that nothing must be estimated.
LAWN = GroundType(1e-4, 3e-5, 0.001)
TRUCK = Truck(
    (
        Piece("full", "box", 0.203, 0.508, 0.305, 5, 14),
        Piece("half", "box", 0.102, 0.508, 0.305, 3, 20),
        Piece("quarter", "box", 0.051, 0.508, 0.305, 2, 20),
        Piece("pancake", "box", 0.0254, 0.508, 0.305, 1, 14),
        Piece("2x4", "lumber", 0.038, 0.4, 0.089, 1, 40),
        Piece("ply 12", "ply", 0.012, 0.4, 0.3, 1, 20),
        Piece("mat", "pad", 0.018, 0.4, 0.3, 1, 30),
        Piece("wedge", "wedge", 0.038, 0.25, 0.09, 0.2, 80, 0.006),
        Piece("shim", "shim", 0.003, count=60),
    )
)
THREE = Section("3 m", 3.0, (0.1, 0.8, 1.5, 2.2, 2.9), 0.085, 0.08, count=6)
TWO = Section("2 m", 2.0, (0.1, 0.7, 1.3, 1.9), 0.085, 0.08, count=2)
CLOSE = Section("2.4 m", 2.4, (0.1, 0.54, 0.98, 1.42, 1.86, 2.3), 0.085, 0.08, count=8)


@dataclass(frozen=True)
class Case:
    """All that a picture is drawn of."""

    ground: Any
    run: Any
    line: Any
    fills: pd.DataFrame
    stacks: Any
    display: Display
    more: dict[str, Any] = field(default_factory=dict)

    @property
    def scene(self):
        return self.ground, self.run, self.line, self.fills, self.stacks

    @property
    def unit(self) -> float:
        """Units of the height axis in a metre."""
        return 1.0 / LENGTH_UNITS[self.display.unit]

    def picture(self, size=None):
        figure = Figure(figsize=size, dpi=100) if size else None
        return side_view(*self.scene, display=self.display, figure=figure, **self.more)


def lawn(station, side):
    """A bumpy lawn, 3 per cent lower on the right (0.62 m between the rails)."""
    hump = 0.05 * np.exp(-(((station - 7.3) / 1.6) ** 2)) + 0.02 * np.sin(1.7 * station) - 0.008 * station
    return hump - (0.0186 if side == "right" else 0.0)


def worked(
    shot, *, sections=(THREE, TWO), surface=lawn, step=0.9, edge=None, line=level_line, truck=TRUCK,
    display="cm", more=None, rules=None, **options,
):  # fmt: skip
    """Return a case on an invented surface: read, fitted, laid, stacked."""
    run = lay_out_run(shot, list(sections), display=DISPLAYS[display])
    rng, rows = np.random.default_rng(3), []
    for side in ("left", "right"):
        for station in np.arange(run.head - 0.5, run.tail + 0.5 + 1e-9, step):
            jump = edge[1] if edge and station > edge[0][side] else 0.0
            rod = 1.6 - surface(station, side) - jump + rng.normal(0.0, 0.001)
            rows.append({"laser": "1", "station_m": station, "side": side, "rod_m": rod, "point": ""})
    breaks = [Break(side, at) for side, at in edge[0].items()] if edge else None
    ground = fit_ground(make_survey(levels=pd.DataFrame(rows)), ground_type=LAWN, breaks=breaks)
    laid = line(ground, run, **options)
    fills = fill_table(ground, run, laid, along=0.5).assign(ground_type="lawn")
    rules = rules or StackRules(walk_side="right")
    stacks = choose_stacks(fills, truck, rules=rules, display=display) if truck else None
    names = {"left": "house side", "right": "lake side"}
    asked = headline(laid.run, fills, DISPLAYS[display])
    words = {"side_names": names, "title": "Lawn", "headline": asked}
    return Case(ground, laid.run, laid, fills, stacks, DISPLAYS[display], {**words, **(more or {})})


def headline(run, fills, display, truck="suffices"):
    worst = fills.loc[fills["fill_m"].idxmax()]
    return (
        ("track needed", display.long(run.needed)),
        (f"largest fill, at tie {worst.tie} {worst.side}", display.small_unit(worst.fill_m)),
        ("the truck", truck),
    )


def in_the_ground():
    base = worked(Shot(end_mark=10.5), display="mm")
    line = level_line(base.ground, base.run, reference=(9, "right"), gap=0.0)
    fills = fill_table(base.ground, base.run, line, along=0.5).assign(ground_type="lawn")
    coarse = Truck(tuple(piece for piece in TRUCK.pieces if piece.item in ("half", "pancake", "wedge")))
    stacks = choose_stacks(fills, coarse, display="mm")
    return replace(base, run=line.run, line=line, fills=fills, stacks=stacks)


def with_pairs():
    """A truck with little but boxes, and wedges whose tips are thick enough for pairs."""
    kept = (piece for piece in TRUCK.pieces if piece.item in ("half", "pancake", "wedge"))
    thick = (replace(piece, thin=0.008) if piece.kind == "wedge" else piece for piece in kept)
    return worked(Shot(end_mark=10.5), truck=Truck(tuple(thick)))


def over_an_edge():
    at = {"left": 5.0, "right": 5.6}
    more = {"breaks": {side: [station] for side, station in at.items()}}
    shot = Shot(end_mark=9.0, chassis_trails="ahead")
    return worked(shot, edge=(at, 0.16), line=follow_line, bend_limit=0.01, more=more)


def short_of_pieces():
    few = {"box": 2, "lumber": 2}
    truck = Truck(tuple(replace(piece, count=few.get(piece.kind, 12)) for piece in TRUCK.pieces))
    case = worked(Shot(end_mark=8.0), truck=truck, surface=lambda s, side: lawn(s, side) - 0.05 * s)
    short = "short of " + ", ".join(f"{one.missing} {one.item}" for one in case.stacks.shortages)
    odd = {"left": "$5 & <b>the old house</b>, north " * 4, "right": "100_%$ x^2"}
    asked = headline(case.run, case.fills, case.display, short)
    asked = (asked[0], (asked[1][0] + " of the old boathouse by the jetty " * 3, asked[1][1]), asked[2])
    more = {"side_names": odd, "title": "a $ b $ c <i> " * 20, "headline": asked}
    return replace(case, more=more)


def words_on(page):
    """Return the texts that stand on the page itself, beside its axes."""
    return [artist for artist in page.get_children() if isinstance(artist, Text)]


def demo(name):
    plan = make_plan(load_job(DEMO / name))
    figure = plan_picture(plan)
    words = {text.get_gid(): text.get_text() for text in words_on(figure)}
    asked = tuple((words[f"question-{n}"], words[f"answer-{n}"]) for n in (1, 2, 3))
    names = {side: plan.job.side(side) for side in ("left", "right")}
    more = {"side_names": names, "title": plan.job.name, "headline": asked}
    return Case(plan.ground, plan.run, plan.line, plan.fills, plan.stacks, plan.job.display, more)


CASES = {
    "lawn": lambda: worked(Shot(end_mark=10.5)),
    "no truck": lambda: worked(Shot(end_mark=10.5), truck=None),
    "in the ground": in_the_ground,
    "pairs of wedges": with_pairs,
    "over an edge": over_an_edge,
    "forty ties in sixteenths": lambda: worked(
        Shot(end_mark=15.0), sections=(CLOSE,), step=1.2, display="1/16 in"
    ),
    "short of pieces": short_of_pieces,
    "boathouse lawn": lambda: demo("boathouse_lawn"),
    "terrace edge": lambda: demo("terrace_edge"),
    "market yard": lambda: demo("market_yard"),
}
