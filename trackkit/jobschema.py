"""What may stand in a job file: its tables, their keys, and the kind of value that each takes."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from trackkit.units import parse_angle, parse_mass, parse_number, parse_quantity

__all__ = ["JobFile", "ReferenceTable"]


def _length(value: object) -> float:
    return parse_quantity(value)


def _positive(value: object) -> float:
    length = parse_quantity(value)
    if length <= 0:
        raise ValueError(f"{value!r} is not above zero")
    return length


def _not_negative(value: object) -> float:
    length = parse_quantity(value)
    if length < 0:
        raise ValueError(f"{value!r} is negative")
    return length


def _with_unit(
    value: object, units: dict[str, str], read: Callable[[str, str], float], example: str
) -> float:
    match = re.fullmatch(r"\s*(.*?)\s*([a-zA-Z%°]+)\s*", value) if isinstance(value, str) else None
    unit = units.get(match[2].lower()) if match else None
    if not match or unit is None:
        raise ValueError(f'{value!r} has no unit; write it like "{example}"')
    return read(match[1], unit)


def _angle(value: object) -> float:
    units = {"deg": "deg", "°": "deg", "degrees": "deg", "%": "pct", "pct": "pct"}
    return _with_unit(value, units, parse_angle, "0.3 deg")


def _grade(value: object) -> float:
    return math.tan(_angle(value))


def _mass(value: object) -> float:
    return _with_unit(value, {"kg": "kg", "lb": "lb", "lbs": "lb"}, parse_mass, "400 kg")


def _share(value: object) -> float:
    if isinstance(value, str) and value.strip().endswith("%"):
        return parse_number(value.strip()[:-1]) / 100.0
    return parse_number(value)


Length = Annotated[float, BeforeValidator(_length)]
Size = Annotated[float, BeforeValidator(_positive)]
Room = Annotated[float, BeforeValidator(_not_negative)]
Grade = Annotated[float, BeforeValidator(_grade)]
Angle = Annotated[float, BeforeValidator(_angle)]
Mass = Annotated[float, BeforeValidator(_mass)]
Share = Annotated[float, BeforeValidator(_share)]
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
    count: int = Field(default=1, ge=0)
    dinged: int = Field(default=0, ge=0)
    gauge: Size | None = None
    curved: bool = False


class TrackTable(_Table):
    """[track]: how the sections are used."""

    lies: tuple[str, ...] | None = None
    order: tuple[str, ...] | None = None
    shift: Length = 0.0
    surplus: Literal["tail", "head", "split"] | None = None
    half_box: Room | None = None
    joint_box: Room | None = None


class SidesTable(_Table):
    """[sides]: landmarks for left and right, and where the pusher walks."""

    left: str = "left"
    right: str = "right"
    walk: Literal["left", "right", "both"] | None = None


class ReferenceTable(_Table):
    """[line.reference]: what the line is set from, if not the governing point."""

    tie: int | None = Field(default=None, ge=1)
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
    grade_limit: Grade | None = None
    bend_limit: Grade | None = None
    gap: Room | None = None
    confidence: Share | None = Field(default=None, gt=0, lt=1)
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
    wander: Room | None = None
    twist: Room | None = None
    relief: Room | None = None
    width: Size | None = None
    datum: str | DatumTable | None = None
    smooth_ties: bool = False
    breaks_free: Literal["all", "height"] = "all"


class InstrumentsTable(_Table):
    """[instruments]: standard deviations of single readings."""

    rod_sd: Size | None = None
    angle_sd: Angle | None = None
    zero_sd: Angle | None = None
    bubble_sd: Angle | None = None
    tape_sd: Size | None = None
    difference_sd: Size | None = None
    station_sd: Room | None = None
    crown_sd: Room | None = None
    step_sd: Size | None = None
    estimate: Literal["rod_sd", "angle_sd"] | None = None
    angles: dict[str, Angle] = Field(default_factory=dict)


class PegsTable(_Table):
    """[pegs]: which pegs carry the height to the laying day, and the day's rod readings on them."""

    control: str | None = None
    check: str | None = None
    today: dict[str, Room] = Field(default_factory=dict)


class RollingTable(_Table):
    """[rolling]: what rolls, and how hard somebody may hold it."""

    mass: Mass | None = None
    hold_force_newton: float | None = Field(default=None, gt=0)


class StacksTable(_Table):
    """[stacks]: habits of building up."""

    caution_height: Size | None = None
    refuse_height: Size | None = None
    competent_person_has_taken_over: bool = False
    long_lumber: bool | None = None
    single_up_to: Size | None = None
    wedge_spare: Room | None = None
    max_shims: int | None = Field(default=None, ge=0)
    tilt_limit: Angle | None = None
    time_limit_seconds: float | None = Field(default=None, gt=0)


class JobFile(_Table):
    """The whole job file."""

    name: str = Field(min_length=1)
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
