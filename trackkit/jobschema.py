"""What may stand in a job file: its tables, their keys, and the kind of value that each takes."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from trackkit.jobvalues import (
    Angle,
    AngleSd,
    Count,
    Figure,
    Grade,
    GradeLimit,
    Length,
    Mass,
    Number,
    Rate,
    Room,
    Share,
    SignedAngle,
    Size,
)

__all__ = ["JobFile", "ReferenceTable"]


Side = Literal["left", "right"]


class _Table(BaseModel):
    """A table of the job file; unknown keys are faults."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class ShotTable(_Table):
    """[shot]: marks, chassis, and room at the ends."""

    start_mark: Length = 0.0
    end_mark: Length
    chassis: Room | None = None
    chassis_trails: Literal["behind", "ahead"] | None = None
    chassis_lead: Room | None = None
    pusher: Room | None = None
    run_up: Room | None = None
    overrun: Room | None = None
    end_stop: Room | None = None


class SectionTable(_Table):
    """[[section]]: one kind of straight section."""

    name: str = Field(min_length=1)
    length: Size
    ties: tuple[Room, ...] = Field(min_length=2)
    rail_top: Size
    bearing: Size
    count: Count = 1
    dinged: Count = 0
    gauge: Size | None = None
    curved: bool = False


class TrackTable(_Table):
    """[track]: how the sections are used."""

    lies: tuple[str, ...] | None = None
    order: tuple[str, ...] | None = None
    shift: Length = 0.0
    surplus: Literal["tail", "head", "split"] | None = None
    half_box: Size | None = None
    half_width: Size | None = None
    joint_box: Size | None = None


class SidesTable(_Table):
    """[sides]: landmarks for left and right, and where the pusher walks."""

    left: str = "left"
    right: str = "right"
    walk: Literal["left", "right", "both"] | None = None


class ReferenceTable(_Table):
    """[line.reference]: what the line is set from, if not the governing point."""

    tie: Number | None = None
    side: Side | None = None
    rail: Length | None = None
    above: str = ""
    lens: Length | None = None
    above_rail: Length | None = None
    over: Literal["ground", "datum"] = "ground"
    at: Length | None = None


class LineTable(_Table):
    """[line]: the finished line."""

    kind: Literal["level", "grade", "least fill", "follow"] = "level"
    grade: Grade | None = None
    grade_limit: GradeLimit | None = None
    bend_limit: GradeLimit | None = None
    gap: Room | None = None
    confidence: Share | None = None
    reference: ReferenceTable | None = None
    touch: Room | None = None
    sideways_sd: Room | None = None
    crown: Room | None = None
    obstacle_room: Room | None = None


class DatumTable(_Table):
    """[ground.datum]: a surface point whose height is called 0."""

    station: Length
    side: Side


class GroundTable(_Table):
    """[ground]: what is stated of the ground, and the datum."""

    kind: str | None = None
    wander: Size | None = None
    twist: Size | None = None
    relief: Room | None = None
    width: Size | None = None
    datum: str | DatumTable | None = None
    smooth_ties: bool = False
    breaks_free: Literal["all", "height"] = "all"


class InstrumentsTable(_Table):
    """[instruments]: standard deviations of single readings."""

    rod_sd: Size | None = None
    angle_sd: AngleSd | None = None
    zero_sd: AngleSd | None = None
    pass_zero_sd: AngleSd | None = None
    drift_sd: AngleSd | None = None
    drift_sd_s: AngleSd | None = None
    bubble_sd: AngleSd | None = None
    tape_sd: Size | None = None
    difference_sd: Size | None = None
    station_sd: Room | None = None
    crown_sd: Room | None = None
    step_sd: Size | None = None
    collimation: Grade | None = None
    collimation_sd: AngleSd | None = None
    longest_sight: Size | None = None
    estimate: Literal["rod_sd", "angle_sd"] | None = None
    angles: dict[str, AngleSd] = Field(default_factory=dict)
    zeros: dict[str, SignedAngle] = Field(default_factory=dict)
    zero_sds: dict[str, AngleSd] = Field(default_factory=dict)


class PegsTable(_Table):
    """[pegs]: which pegs carry the height to the laying day, and the day's rod readings on them."""

    control: str | None = None
    check: str | None = None
    today: dict[str, Room] = Field(default_factory=dict)


class RollingTable(_Table):
    """[rolling]: what rolls, and how hard somebody may hold it."""

    mass: Mass | None = None
    hold_force_newton: Figure | None = None


class StacksTable(_Table):
    """[stacks]: habits of building up."""

    caution_height: Size | None = None
    refuse_height: Size | None = None
    competent_person_has_taken_over: bool = False
    long_lumber: bool | None = None
    single_up_to: Size | None = None
    wedge_spare: Room | None = None
    edge_clear: Room | None = None
    max_shims: Count | None = None
    tilt_limit: Angle | None = None
    time_limit_seconds: Figure | None = None


class PlaceTable(_Table):
    """A place along the run: a station and a side, or a tie end."""

    station: Length | None = None
    tie: Number | None = None
    side: Side


class PaceTable(_Table):
    """[study.pace]: minutes that a crew takes."""

    level_minutes: Figure | None = None
    restack_minutes: Figure | None = None
    slide_minutes: Figure | None = None
    piece_minutes: Figure | None = None
    reset_minutes: Figure | None = None


class StudyTable(_Table):
    """[study]: what the study of the reference looks at."""

    by_eye: PlaceTable | None = None
    points: tuple[PlaceTable, ...] = ()
    accepted: Share | None = None
    misread: Rate | None = None
    misread_by: tuple[Size, ...] | None = Field(default=None, min_length=1)
    order: Literal["outward", "from the head", "from the tail"] | None = None
    pace: PaceTable = PaceTable()


class JobFile(_Table):
    """The whole job file."""

    name: str = Field(min_length=1, pattern=r"\S")
    units: Literal["mm", "cm", "1/8 in", "1/16 in"] = "mm"
    note: str = ""
    leave_out: tuple[str, ...] = ()
    shot: ShotTable | None = None
    section: tuple[SectionTable, ...] = Field(min_length=1)
    track: TrackTable = TrackTable()
    sides: SidesTable = SidesTable()
    line: LineTable = LineTable()
    ground: GroundTable = GroundTable()
    instruments: InstrumentsTable = InstrumentsTable()
    pegs: PegsTable = PegsTable()
    rolling: RollingTable = RollingTable()
    stacks: StacksTable = StacksTable()
    study: StudyTable = StudyTable()
