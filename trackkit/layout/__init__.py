"""Where the track lies: sections to a run, ground and run to a finished line, line to targets.

- `run`: `lay_out_run` finds the fewest sections that cover a shot; `run_from_sections` takes
  track as it lies.
- `line`: `level_line`, `grade_line`, `least_fill_line`, `follow_line`.
- `fills`: `fill_table`, what goes under every tie end and how well that is known.
- `verdict`: `level_verdict`, whether level will do, and which grade will do instead.
- `targets`: `target_rods`, what to read on the rod on the day.

The fits themselves work on plain arrays: `straight` (level, least fill) and `bends` (follow).
"""

from trackkit.layout.clearance import Clearance, with_laser_heights
from trackkit.layout.doubt import Doubt, FillModel, chance_any_touches, extra_gap, fill_model
from trackkit.layout.fills import FillSummary, count_negative, fill_table, largest_fill, summarise_fills
from trackkit.layout.grounds import GroundLike, Point
from trackkit.layout.line import (
    BEND,
    GAP,
    FinishedLine,
    LensHeight,
    RailHeight,
    follow_line,
    grade_line,
    least_fill_line,
    level_line,
)
from trackkit.layout.rolling import Rolling, hold_back
from trackkit.layout.run import LayRules, Run, Section, Shot, lay_out_run, run_from_sections
from trackkit.layout.targets import (
    CheckVerdict,
    Peg,
    TargetRules,
    Targets,
    check_pegs,
    pegs_from_ground,
    target_rods,
)
from trackkit.layout.verdict import HEIGHT_LIMIT, LevelVerdict, level_verdict

__all__ = [
    "BEND",
    "GAP",
    "HEIGHT_LIMIT",
    "CheckVerdict",
    "Clearance",
    "Doubt",
    "FillModel",
    "FillSummary",
    "FinishedLine",
    "GroundLike",
    "LayRules",
    "LensHeight",
    "LevelVerdict",
    "Peg",
    "Point",
    "RailHeight",
    "Rolling",
    "Run",
    "Section",
    "Shot",
    "TargetRules",
    "Targets",
    "chance_any_touches",
    "check_pegs",
    "count_negative",
    "extra_gap",
    "fill_model",
    "fill_table",
    "follow_line",
    "grade_line",
    "hold_back",
    "largest_fill",
    "lay_out_run",
    "least_fill_line",
    "level_line",
    "level_verdict",
    "pegs_from_ground",
    "run_from_sections",
    "summarise_fills",
    "target_rods",
    "with_laser_heights",
]
