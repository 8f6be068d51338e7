"""A job: its file and the tables beside it, checked and ready to be planned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.truck import Truck, read_truck
from trackkit.jobchecks import job_faults
from trackkit.jobfile import JOB_FILE, Examined, examine_job_file, examine_table, job_path
from trackkit.jobschema import JobFile, ReferenceTable
from trackkit.layout.clearance import Clearance
from trackkit.layout.doubt import Doubt
from trackkit.layout.reference import LensHeight, RailHeight, Reference
from trackkit.layout.rolling import Rolling
from trackkit.layout.sections import Section
from trackkit.layout.shot import LayRules, Shot
from trackkit.problems import InputProblems, Problem, Problems
from trackkit.survey.instruments import Instruments
from trackkit.survey.leaving import without_readings
from trackkit.survey.points import Point
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import Survey, read_survey
from trackkit.tables import find_tables
from trackkit.units import DISPLAYS, Display

__all__ = ["Job", "load_job", "with_line", "with_shot", "with_track"]


@dataclass(frozen=True, eq=False)
class Job:
    """Everything that a plan is made from. What the job file leaves out has the library's defaults.

    Attributes
    ----------
    name, note : str
    folder : Path
    display : Display
        How lengths are written for this crew.
    shot : Shot or None
        None for a rough-in: the track lies already, section by section.
    sections : tuple of Section
    lies : tuple of str
        Names of the sections in laid order, for a rough-in.
    order : tuple of str or None
        Names in laid order that the job asks for.
    shift : float
        [m]
    side_names : mapping
        Landmarks for 'left' and 'right'.
    file : JobFile
        The job file, for what concerns the line.
    survey : Survey or None
        None where readings are not wanted (the gap card, the booking sheet).
    truck : Truck or None
        None if there is no truck.csv, or it is not wanted.
    """

    name: str
    note: str
    folder: Path
    display: Display
    shot: Shot | None
    sections: tuple[Section, ...]
    lies: tuple[str, ...]
    order: tuple[str, ...] | None
    shift: float
    lay_rules: LayRules
    side_names: Mapping[str, str]
    instruments: Instruments
    ground_type: GroundType
    ground_kind: str
    width: float
    datum: Point | None
    reference: Reference
    rolling: Rolling
    clearance: Clearance
    doubt: Doubt
    stack_rules: StackRules
    file: JobFile
    survey: Survey | None
    truck: Truck | None

    @property
    def rough_in(self) -> bool:
        """Whether the track lies already and is only to be brought to a line."""
        return self.shot is None

    def side(self, side: str) -> str:
        """Return a side's landmark name."""
        return self.side_names[side]


def load_job(job: str | Path, *, survey: bool = True, truck: bool = True) -> Job:
    """Return a job from its folder, or from its ``job.toml``.

    Parameters
    ----------
    job : path
        The folder, or the job file in it.
    survey : bool
        Whether readings are wanted; a gap card needs none.
    truck : bool
        Whether the truck is wanted; a booking sheet needs none.

    Raises
    ------
    InputProblems
        With every fault in the job file and all tables beside it.
    """
    path = job_path(job)
    examined = examine_job_file(path)
    problems = list(examined.faults)

    def collect(read: Any) -> Any:
        try:
            return read()
        except InputProblems as faults:
            problems.extend(faults.problems)
            return None

    readings = collect(lambda: read_survey(path.parent)) if survey else None
    wanted = truck and (not survey or _brings_truck(path.parent))
    loaded = collect(lambda: read_truck(path.parent)) if wanted else None
    problems += job_faults(examined, readings, file_name=path.name)
    if problems or examined.file is None:
        raise InputProblems(dict.fromkeys(problems))
    if readings is not None:
        readings = without_readings(readings, examined.file.leave_out)
    return _make(examined.file, path, readings, loaded)


def with_line(job: Job, **wishes: Any) -> Job:
    """Return the job with other wishes for its line; what is not named stays as it was.

    Parameters
    ----------
    job : Job
    **wishes
        Keys and values as under [line] in the job file: ``kind="level"``, ``gap="12 mm"``,
        ``reference={"tie": 7, "side": "left"}``. None takes a key out, as one must that the new kind does
        not have: ``kind="level", grade=None``.

    Raises
    ------
    InputProblems
        With everything that is wrong with them. Whether the run has the tie is seen when it is laid.
    TypeError
        If a key that no line has is to be taken out.

    Examples
    --------
    >>> with_line(job, kind="grade", grade="1.5 %", confidence=None)  # doctest: +SKIP
    """
    return _with_table(job, "line", wishes)


def with_track(job: Job, **wishes: Any) -> Job:
    """Return the job with its sections used in another way; what is not named stays as it was.

    Parameters
    ----------
    job : Job
    **wishes
        Keys and values as under [track] in the job file: ``order=["3 m", "2 m"]``, ``shift="20 cm"``. None
        takes a key out.

    Raises
    ------
    InputProblems
        With everything that is wrong with them. Whether the run then covers the shot is seen when it is laid.
    TypeError
        If a key that no track has is to be taken out.

    Examples
    --------
    >>> with_track(job, shift="-10 cm")  # doctest: +SKIP
    """
    return _with_table(job, "track", wishes)


def with_shot(job: Job, **wishes: Any) -> Job:
    """Return the job with another shot; what is not named stays as it was.

    Parameters
    ----------
    job : Job
    **wishes
        Keys and values as under [shot] in the job file: ``chassis_trails="ahead"``. None takes a key out.

    Raises
    ------
    InputProblems
        With everything that is wrong with them, and for track that lies already, which has no shot.
    TypeError
        If a key that no shot has is to be taken out.

    Examples
    --------
    >>> with_shot(job, chassis_trails="ahead")  # doctest: +SKIP
    """
    if job.file.shot is None:
        do = "leave the shot as it is, or plan a job that is not laid yet"
        problem = Problem("the shot", "track that lies already", "a job with [shot]", do, None, "shot")
        raise InputProblems([problem])
    return _with_table(job, "shot", wishes)


def _with_table(job: Job, name: str, wishes: Mapping[str, Any]) -> Job:
    """Return the job with other values under one table of its file, checked as a job file is."""
    asked = examine_table(name, {key: value for key, value in wishes.items() if value is not None})
    if asked.faults or asked.file is None:
        raise InputProblems(asked.faults)
    table = getattr(job.file, name)
    known = type(table).model_fields
    unknown = wishes.keys() - known.keys()
    if unknown:
        raise TypeError(f"a {name} has no {', '.join(sorted(unknown))}; it has {', '.join(known)}")
    changed = table.model_copy(update={key: getattr(getattr(asked.file, name), key) for key in wishes})
    file = job.file.model_copy(update={name: changed})
    kept = file.model_copy(update={"leave_out": ()})  # those readings are out of the survey already
    reference = file.line.reference if name == "line" else None
    pegs = reference is not None and reference.above
    faults = job_faults(Examined(kept, ()), job.survey if pegs else None, file_name=f"the {name}")
    if faults:
        raise InputProblems(dict.fromkeys(faults))
    return _make(file, job.folder / JOB_FILE, job.survey, job.truck)


def _brings_truck(folder: Path) -> bool:
    """Return whether a folder holds a table of the truck, or what may be meant for one."""
    looked = Problems()
    return "truck" in find_tables(folder, ("truck",), looked) or bool(looked.found)


def _make(file: JobFile, path: Path, survey: Survey | None, truck: Truck | None) -> Job:
    """Return the job of a checked file; InputProblems if the library refuses what it says all the same."""
    faults: list[Problem] = []

    def build(where: str, kind: Any, **values: Any) -> Any:
        try:
            return kind(**{key: value for key, value in values.items() if value is not None})
        except ValueError as error:
            faults.append(Problem(path.name, str(error), "values that fit together", "", None, where))
            return None

    shot = build("shot", Shot, **file.shot.model_dump()) if file.shot else None
    sections = tuple(
        build(f"section.{i}", Section, **table.model_dump()) for i, table in enumerate(file.section, start=1)
    )
    track, ground, line = file.track, file.ground, file.line
    width = ground.width or (file.section[0].gauge or Section.gauge)
    rules = build(
        "stacks",
        StackRules,
        walk_side=file.sides.walk,
        gauge=file.section[0].gauge,
        touch=line.touch,
        tall_stacks_taken_over=file.stacks.competent_person_has_taken_over,
        time_limit=file.stacks.time_limit_seconds,
        **_same_fields(StackRules, file.stacks.model_dump()),
    )
    datum: Point | None = None
    if isinstance(ground.datum, str):
        datum = ground.datum
    elif ground.datum is not None:
        datum = (ground.datum.station, str(ground.datum.side))
    made = Job(
        name=file.name,
        note=" ".join(file.note.split()),
        folder=path.parent,
        display=DISPLAYS[file.units],
        shot=shot,
        sections=sections,
        lies=track.lies or (),
        order=track.order,
        shift=track.shift,
        lay_rules=build(
            "track",
            LayRules,
            surplus=track.surplus,
            half_box=track.half_box,
            half_width=track.half_width,
            joint_box=track.joint_box,
        ),
        side_names={"left": file.sides.left, "right": file.sides.right},
        instruments=build("instruments", Instruments, **_instruments(file)),
        ground_type=build("ground", GroundType, **_roughness(file)),
        ground_kind=ground.kind or "",
        width=width,
        datum=datum,
        reference=_reference(line.reference),
        rolling=build("rolling", Rolling, mass=file.rolling.mass, force=file.rolling.hold_force_newton),
        clearance=build("line", Clearance, crown=line.crown, over=line.obstacle_room),
        doubt=build("line", Doubt, touch=line.touch, sideways_sd=_sideways_sd(file), width=width),
        stack_rules=rules,
        file=file,
        survey=survey,
        truck=truck,
    )
    if faults:
        raise InputProblems(faults)
    return made


def _same_fields(kind: Any, values: dict[str, Any]) -> dict[str, Any]:
    known = {each.name for each in fields(kind)}
    return {key: value for key, value in values.items() if key in known and key != "time_limit"}


def _instruments(file: JobFile) -> dict[str, Any]:
    values = file.instruments.model_dump()
    angles, _ = values.pop("angles"), values.pop("estimate")
    named = {key: values.pop(key) or None for key in ("zeros", "zero_sds")}
    return {**values, "angle_sds": angles or None, **named}


def _roughness(file: JobFile) -> dict[str, Any]:
    """Return roughness from how far the ground wanders from straight over 1 m: sd = sqrt(q / 3)."""
    ground = file.ground
    return {
        "q_mean": 3.0 * ground.wander**2 if ground.wander is not None else None,
        "q_twist": 3.0 * ground.twist**2 if ground.twist is not None else None,
        "relief": ground.relief,
    }


def _sideways_sd(file: JobFile) -> float | None:
    """Return how far off its line track may be laid; track that lies already was read where it lies: 0."""
    stated = file.line.sideways_sd
    return 0.0 if stated is None and file.shot is None else stated


def _reference(table: ReferenceTable | None) -> Reference:
    if table is None:
        return "governing"
    if table.tie is not None:
        return (table.tie, table.side or "left")
    if table.rail is not None:
        return RailHeight(table.rail, table.at, table.above)
    lens = LensHeight(table.lens or 0.0, table.above_rail or 0.0, over=table.over)
    return lens if table.at is None else replace(lens, station=table.at)
