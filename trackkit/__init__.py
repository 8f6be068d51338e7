"""trackkit: read the ground, find the finished line, plan what stands under every tie of a dolly track.

The chain, in the order of the work::

    survey = read_survey(folder)             # rods, boards, left-to-rights -> one Survey
    ground = fit_ground(survey)              # heights with sd, residuals, draws
    run    = lay_out_run(shot, sections)     # sections, joints, ties, supports
    line   = level_line(ground, run)         # or grade_line, least_fill_line, follow_line
    fills  = fill_table(ground, run, line)   # what goes under every tie end
    stacks = choose_stacks(fills, truck)     # out of which pieces

or all of it: ``make_plan(load_job("job.toml"))``; several ways of it side by side: `compare_choices`. Whether
readings can be believed: `closures`, `overall_test`, `variance_components`, `knocked_lasers`,
`likely_mistakes`, `detectable_errors`; what to read: `next_readings`, `worth_table`. Lengths are in metres,
angles in radians, heights count up; a larger rod reading is lower ground; a positive fill means that
something goes under.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

#: Public names and the modules they are loaded from, when first asked for.
_HOMES = {
    "trackkit.problems": ("Advisory", "CannotDo", "FitError", "InputProblems", "Problem"),
    "trackkit.units": ("DISPLAYS", "Display", "parse_angle", "parse_length", "parse_mass", "parse_quantity"),
    "trackkit.survey.readings": ("Survey", "make_survey", "place_on_ties", "read_survey"),
    "trackkit.survey.instruments": (
        "Instruments", "half_turn", "plane_tilt", "repeatability", "reversal", "rod_zero", "two_pegs",
    ),
    "trackkit.survey.prior": ("GroundType",),
    "trackkit.survey.grid": ("Break",),
    "trackkit.survey.ground": ("Ground", "fit_ground"),
    "trackkit.survey.likely": ("likely_grounds",),
    "trackkit.survey.quality": (
        "Booking", "Conflict", "Mistake", "NextReadings", "OverallTest", "Readers", "book_levels",
        "closures", "compare_readers", "corrected", "detectable_errors", "influence", "knocked_lasers",
        "laser_against_phone", "likely_mistakes", "next_readings", "overall_test", "reading_order",
        "unnoticed_effects", "variance_components", "worth_table",
    ),
    "trackkit.layout": (
        "FinishedLine", "LensHeight", "RailHeight", "Run", "Section", "Shot", "fill_table", "follow_line",
        "grade_line", "lay_out_run", "least_fill_line", "level_line", "level_verdict", "run_from_sections",
        "target_rods",
    ),
    "trackkit.layout.governing": ("governing_chances",),
    "trackkit.cribbing.truck": ("Piece", "Truck", "read_truck"),
    "trackkit.cribbing.rules": ("StackRules",),
    "trackkit.cribbing.stacks": ("choose_stacks",),
    "trackkit.cribbing.results": ("StackPlan",),
    "trackkit.cribbing.card": ("card_text", "gap_card"),
    "trackkit.booking": ("stations_of",),
    "trackkit.form": ("save_form",),
    "trackkit.job": ("Job", "load_job", "with_line", "with_shot", "with_track"),
    "trackkit.plan": ("Laid", "Plan", "Stacked", "lay_line", "make_plan", "plan_of", "stack_up"),
    "trackkit.choices": ("Choice", "Choices", "choices_in_steps", "compare_choices"),
    "trackkit.ways": ("Steps",),
    "trackkit.study.reference": ("ReferenceStudy", "compare_references"),
    "trackkit.study.pairs": ("compare_pairs",),
    "trackkit.study.high_point": ("HighPoint", "high_point"),
    "trackkit.study.datum": ("compare_datums", "reduced_to"),
    "trackkit.study.causes": ("Causes", "find_causes"),
    "trackkit.study.settle": ("Settled", "what_settles"),
    "trackkit.study.wrong_start": (
        "ExpectedWork", "Obstacles", "Pace", "best_spare", "best_start", "expected_work", "lifted_again",
    ),
    "trackkit.cribbing.by_height": ("PiecesByHeight", "expected_pieces", "pieces_by_height"),
    "trackkit.studied": ("Studied", "set_from", "study_job"),
    "trackkit.studied_day": ("study_text",),
    "trackkit.chosen_words": ("choices_listing", "choices_text"),
}  # fmt: skip
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

if TYPE_CHECKING:
    from trackkit.booking import stations_of
    from trackkit.choices import Choice, Choices, choices_in_steps, compare_choices
    from trackkit.chosen_words import choices_listing, choices_text
    from trackkit.cribbing.by_height import PiecesByHeight, expected_pieces, pieces_by_height
    from trackkit.cribbing.card import card_text, gap_card
    from trackkit.cribbing.results import StackPlan
    from trackkit.cribbing.rules import StackRules
    from trackkit.cribbing.stacks import choose_stacks
    from trackkit.cribbing.truck import Piece, Truck, read_truck
    from trackkit.form import save_form
    from trackkit.job import Job, load_job, with_line, with_shot, with_track
    from trackkit.layout import (
        FinishedLine,
        LensHeight,
        RailHeight,
        Run,
        Section,
        Shot,
        fill_table,
        follow_line,
        grade_line,
        lay_out_run,
        least_fill_line,
        level_line,
        level_verdict,
        run_from_sections,
        target_rods,
    )
    from trackkit.layout.governing import governing_chances
    from trackkit.plan import Laid, Plan, Stacked, lay_line, make_plan, plan_of, stack_up
    from trackkit.problems import Advisory, CannotDo, FitError, InputProblems, Problem
    from trackkit.studied import Studied, set_from, study_job
    from trackkit.studied_day import study_text
    from trackkit.study.causes import Causes, find_causes
    from trackkit.study.datum import compare_datums, reduced_to
    from trackkit.study.high_point import HighPoint, high_point
    from trackkit.study.pairs import compare_pairs
    from trackkit.study.reference import ReferenceStudy, compare_references
    from trackkit.study.settle import Settled, what_settles
    from trackkit.study.wrong_start import (
        ExpectedWork,
        Obstacles,
        Pace,
        best_spare,
        best_start,
        expected_work,
        lifted_again,
    )
    from trackkit.survey.grid import Break
    from trackkit.survey.ground import Ground, fit_ground
    from trackkit.survey.instruments import (
        Instruments,
        half_turn,
        plane_tilt,
        repeatability,
        reversal,
        rod_zero,
        two_pegs,
    )
    from trackkit.survey.likely import likely_grounds
    from trackkit.survey.prior import GroundType
    from trackkit.survey.quality import (
        Booking,
        Conflict,
        Mistake,
        NextReadings,
        OverallTest,
        Readers,
        book_levels,
        closures,
        compare_readers,
        corrected,
        detectable_errors,
        influence,
        knocked_lasers,
        laser_against_phone,
        likely_mistakes,
        next_readings,
        overall_test,
        reading_order,
        unnoticed_effects,
        variance_components,
        worth_table,
    )
    from trackkit.survey.readings import Survey, make_survey, place_on_ties, read_survey
    from trackkit.units import DISPLAYS, Display, parse_angle, parse_length, parse_mass, parse_quantity
    from trackkit.ways import Steps

__all__ = [
    "DISPLAYS",
    "Advisory",
    "Booking",
    "Break",
    "CannotDo",
    "Causes",
    "Choice",
    "Choices",
    "Conflict",
    "Display",
    "ExpectedWork",
    "FinishedLine",
    "FitError",
    "Ground",
    "GroundType",
    "HighPoint",
    "InputProblems",
    "Instruments",
    "Job",
    "Laid",
    "LensHeight",
    "Mistake",
    "NextReadings",
    "Obstacles",
    "OverallTest",
    "Pace",
    "Piece",
    "PiecesByHeight",
    "Plan",
    "Problem",
    "RailHeight",
    "Readers",
    "ReferenceStudy",
    "Run",
    "Section",
    "Settled",
    "Shot",
    "StackPlan",
    "StackRules",
    "Stacked",
    "Steps",
    "Studied",
    "Survey",
    "Truck",
    "best_spare",
    "best_start",
    "book_levels",
    "card_text",
    "choices_in_steps",
    "choices_listing",
    "choices_text",
    "choose_stacks",
    "closures",
    "compare_choices",
    "compare_datums",
    "compare_pairs",
    "compare_readers",
    "compare_references",
    "corrected",
    "detectable_errors",
    "expected_pieces",
    "expected_work",
    "fill_table",
    "find_causes",
    "fit_ground",
    "follow_line",
    "gap_card",
    "governing_chances",
    "grade_line",
    "half_turn",
    "high_point",
    "influence",
    "knocked_lasers",
    "laser_against_phone",
    "lay_line",
    "lay_out_run",
    "least_fill_line",
    "level_line",
    "level_verdict",
    "lifted_again",
    "likely_grounds",
    "likely_mistakes",
    "load_job",
    "make_plan",
    "make_survey",
    "next_readings",
    "overall_test",
    "parse_angle",
    "parse_length",
    "parse_mass",
    "parse_quantity",
    "pieces_by_height",
    "place_on_ties",
    "plan_of",
    "plane_tilt",
    "read_survey",
    "read_truck",
    "reading_order",
    "reduced_to",
    "repeatability",
    "reversal",
    "rod_zero",
    "run_from_sections",
    "save_form",
    "set_from",
    "stack_up",
    "stations_of",
    "study_job",
    "study_text",
    "target_rods",
    "two_pegs",
    "unnoticed_effects",
    "variance_components",
    "what_settles",
    "with_line",
    "with_shot",
    "with_track",
    "worth_table",
]


def __getattr__(name: str) -> Any:
    """Load a public name when it is first asked for, so that importing trackkit stays quick."""
    if name not in _HOME_OF:
        raise AttributeError(f"module 'trackkit' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOME_OF[name]), name)


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
