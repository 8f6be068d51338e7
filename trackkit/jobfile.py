r"""What may stand in a job file: its tables and keys, and every fault in it at once.

Lengths, grades, angles and masses are text with their unit (``"12 mm"``, ``"5' 3 1/2"``,
``"2 %"``, ``"0.3 deg"``, ``"400 kg"``): a bare number is refused, for nobody could check it.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, Literal, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from trackkit.problems import InputProblems, Problem, nearest
from trackkit.units import DISPLAYS, parse_angle, parse_mass, parse_number, parse_quantity

__all__ = ["JOB_FILE", "JobFile", "job_path", "read_job_file"]

#: Name of the job file in a job folder.
JOB_FILE = "job.toml"


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


def job_path(job: str | Path) -> Path:
    """Return the job file of a job given by its folder or by the file itself.

    Raises
    ------
    InputProblems
        If there is neither.
    """
    path = Path(job)
    if path.is_dir():
        path = path / JOB_FILE
    if not path.is_file():
        found = "no such file" if path.parent.is_dir() else "no such folder"
        do = "give the job's folder; `trackkit start DIR` makes one to begin from"
        raise InputProblems([Problem(str(path), found, f"a job folder with a {JOB_FILE} in it", do)])
    return path


def read_job_file(path: Path) -> JobFile:
    """Return the checked job file.

    Raises
    ------
    InputProblems
        With every fault: TOML errors with line and column, unknown keys with the nearest known
        one, missing keys, values that are not what the key takes.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found = f"a byte that is not UTF-8 at position {error.start}"
        raise InputProblems([Problem(path.name, found, "text in UTF-8", "save it as UTF-8")]) from None
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputProblems([_toml_fault(path.name, str(error))]) from None
    try:
        return JobFile.model_validate(content)
    except ValidationError as error:
        errors = [dict(each) for each in error.errors()]
        faults = [_fault(path.name, text, each) for each in errors if not _follows(each, errors)]
        raise InputProblems(dict.fromkeys(faults)) from None


def _toml_fault(file: str, message: str) -> Problem:
    place = re.search(r"\(at line (\d+), column (\d+)\)", message)
    what = message.split(" (at ")[0]
    if not place:
        return Problem(file, f"broken TOML ({what})", 'lines like key = "value"', "look at its last line")
    do = "text stands in quotes, a table's name in [brackets] on a line of its own"
    return Problem(file, f"broken TOML ({what})", 'key = "value"', do, int(place[1]), f"column {place[2]}")


def _follows(error: dict[str, Any], errors: list[dict[str, Any]]) -> bool:
    """Return whether a list is called too short only because what stands in it is faulty."""
    place = error["loc"]
    inside = [each for each in errors if each is not error and each["loc"][: len(place)] == place]
    return error["type"] == "too_short" and bool(inside)


def _fault(file: str, text: str, error: dict[str, Any]) -> Problem:
    """Return pydantic's error as a fault in the crew's words."""
    place = [part for part in error["loc"] if not (isinstance(part, str) and part.startswith("function-"))]
    path = ".".join(str(part + 1) if isinstance(part, int) else str(part) for part in place)
    last = str(place[-1]) if place else ""
    row = _row_of(text, last)
    kind = error["type"]
    if kind == "extra_forbidden":
        known = _keys_at(JobFile, place[:-1])
        hint = nearest(last, known)
        do = hint or "take it out, or check where the key belongs"
        return Problem(file, "an unknown key", "one of " + ", ".join(known), do, row, path)
    if kind == "missing":
        return Problem(file, "nothing", f"a value for {last}", f"add {last} = ...", None, path)
    if kind == "literal_error":
        accepted = str(error["ctx"]["expected"])
        hint = nearest(str(error["input"]), re.findall(r"'([^']*)'", accepted))
        return Problem(file, repr(error["input"]), accepted, hint, row, path)
    if kind == "value_error":
        return Problem(
            file, str(error["ctx"]["error"]), _WANTED.get(last, "a value with its unit"), "", row, path
        )
    accepted = _KINDS.get(kind.split("_")[0], error["msg"].lower())
    found = repr(error["input"])
    return Problem(
        file, found if len(found) < 60 else found[:57] + "...", error["msg"].lower(), "", row, path
    )


#: What pydantic's kinds of errors are about.
_KINDS = {
    "int": "a whole number",
    "string": 'text in "quotes"',
    "bool": "true or false",
    "tuple": 'a list like ["10 cm", "1.5 m"]',
    "float": "a number",
    "model": "a table with keys of its own",
}
_WANTED = {
    "confidence": 'a share between 0 and 1, or like "90 %"',
    "grade": 'a grade like "2 %" or "1.1 deg"',
    "grade_limit": 'a grade like "4 %"',
    "bend_limit": 'a change of grade like "0.3 %"',
    "mass": 'a mass like "400 kg" or "900 lb"',
}


def _row_of(text: str, key: str) -> int | None:
    """Return the line on which a key stands, if it stands on one line only."""
    lines = [
        number
        for number, line in enumerate(text.splitlines(), start=1)
        if re.match(rf"\s*\[*{re.escape(key)}\]*\s*(=|\]|$)", line)
    ]
    return lines[0] if key and len(lines) == 1 else None


def _keys_at(model: type[BaseModel], place: list[Any]) -> list[str]:
    """Return the keys that a table takes."""
    current: type[BaseModel] | None = model
    for part in place:
        if isinstance(part, int) or current is None or part not in current.model_fields:
            continue
        current = _table_in(current.model_fields[part].annotation)
    return list((current or model).model_fields)


def _table_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in get_args(annotation) if get_origin(annotation) else ():
        found = _table_in(inner)
        if found:
            return found
    return None


assert set(get_args(JobFile.model_fields["units"].annotation)) == set(DISPLAYS)
