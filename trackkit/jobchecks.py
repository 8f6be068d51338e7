"""What does not fit together: between the keys of a job file, and between them and the tables.

What a job says and nothing uses is a fault: whoever wrote it believes that it counts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final, TypeAlias

from trackkit.jobfile import Examined
from trackkit.jobschema import JobFile, ReferenceTable
from trackkit.problems import Problem, nearest
from trackkit.survey.leaving import readings_of, without_readings
from trackkit.survey.observe import DEFAULT_PHONE
from trackkit.survey.prior import GROUND_KINDS
from trackkit.survey.readings import Survey
from trackkit.survey.tables import SurveyRules
from trackkit.tables.rows import rows_of
from trackkit.units import DISPLAYS

__all__ = ["job_faults", "pegs_alone", "pegs_of"]

#: Key, what was found, what is accepted, what to do.
Fault: TypeAlias = tuple[str, str, str, str]


def job_faults(examined: Examined, survey: Survey | None, *, file_name: str) -> list[Problem]:
    """Return what does not fit together in a job.

    Parameters
    ----------
    examined : Examined
        The job file. Nothing is said of what hangs on keys that are faulty themselves.
    survey : Survey or None
        None where it cannot be read, or isn't wanted.
    file_name : str
        What the job file is called.
    """
    file = examined.file
    if file is None:
        return []
    found = [
        Problem(file_name, what, accepted, do, None, key)
        for check in _OF_KEYS
        if examined.sound(*check.needs)
        for key, what, accepted, do in check.faults(file)
    ]
    if survey is None:
        return found
    found += _table_faults(survey)
    kept = without_readings(survey, file.leave_out)
    for check in _OF_TABLES:
        if examined.sound(*check.needs):
            found += [
                Problem(file_name, what, accepted, do, None, key)
                for key, what, accepted, do in check.faults(file, survey, kept)
            ]
    return found


#: The narrowest and the widest gauge that is taken for one [m]. Guess: most tracks have about 0.62 m.
GAUGES: Final = (0.30, 2.0)


def pegs_of(survey: Survey) -> tuple[str, ...]:
    """Return the pegs of a survey in the order in which they serve as control and check peg.

    Those that are held at a height come first.
    """
    marks, rises = survey.benchmarks, survey.differences
    held = marks["point"][marks["sd_m"] == 0]
    soft = marks["point"][marks["sd_m"] != 0]
    names = [*held, *soft, *rises["point"], *rises["to_point"], *survey.levels["point"]]
    return tuple(dict.fromkeys(str(name) for name in names if name))


# --- between keys -------------------------------------------------------------------------------


def _sections(file: JobFile) -> Iterator[Fault]:
    show = DISPLAYS[file.units].small_unit
    names = [section.name for section in file.section]
    for name in dict.fromkeys(name for name in names if names.count(name) > 1):
        yield "section", f"two sections called {name!r}", "each kind once, with its count", "add the counts"
    for number, section in enumerate(file.section, start=1):
        for first, second in zip(section.ties, section.ties[1:], strict=False):
            if second <= first:
                found = f"a tie at {show(second)} after one at {show(first)}"
                accepted = "tie centres from the section's head, each farther than the one before"
                yield f"section.{number}.ties", found, accepted, "measure them all from one end"
        if max(section.ties) > section.length:
            found = f"a tie at {show(max(section.ties))} on a section of {show(section.length)}"
            accepted = "tie centres between 0 and the section's length"
            yield f"section.{number}.ties", found, accepted, "check the length and the ties"
        if section.gauge is not None and not GAUGES[0] <= section.gauge <= GAUGES[1]:
            accepted = f"a distance between the rails from {show(GAUGES[0])} to {show(GAUGES[1])}"
            yield f"section.{number}.gauge", show(section.gauge), accepted, "check the unit"
        if section.dinged > section.count:
            found = f"{section.dinged} dinged of {section.count}"
            yield f"section.{number}.dinged", found, "at most as many as there are (count)", "count again"


def _laid(file: JobFile) -> Iterator[Fault]:
    names = [section.name for section in file.section]
    for key, listed in (("track.lies", file.track.lies), ("track.order", file.track.order)):
        for name in dict.fromkeys(listed or ()):
            if name not in names:
                yield key, repr(name), "names of the sections: " + ", ".join(names), nearest(name, names)
    for section in file.section:
        used = list(file.track.order or ()).count(section.name)
        if used > section.count:
            found = f"{section.name!r} {used} times"
            accepted = f"each section as often as there are of it: {section.count} of {section.name!r}"
            yield "track.order", found, accepted, "give its count, or take some out"


def _lay(file: JobFile) -> Iterator[Fault]:
    if file.shot is None and not file.track.lies:
        accepted = "[shot] with an end_mark, or for roughed-in track lies = [names of its sections in order]"
        yield "track", "neither [shot] nor track.lies", accepted, "add one of them"
    if file.shot is not None and file.track.lies:
        do = "take out [shot] if the track lies already, else take out lies"
        yield "track.lies", "track that lies already, and a [shot] to lay it for", "one of the two", do
    if file.shot is None and file.track.lies:
        for key in ("order", "shift", "surplus"):
            if key in file.track.model_fields_set:
                found = "a way to lay track that lies already"
                yield f"track.{key}", found, f"{key} only with [shot]", "take it out"
    if file.shot is not None and file.shot.end_mark < file.shot.start_mark:
        show = DISPLAYS[file.units].long
        found = f"an end mark at {show(file.shot.end_mark)}, before the start at {show(file.shot.start_mark)}"
        yield "shot.end_mark", found, "start_mark or more", "count stations from the start mark to the end"


def _side_names(file: JobFile) -> Iterator[Fault]:
    sides = file.sides
    if sides.left.strip().casefold() == sides.right.strip().casefold():
        found = f"{sides.left!r} for both sides"
        yield "sides.right", found, "a landmark of its own for each side", "rename one of them"


def _line_kind(file: JobFile) -> Iterator[Fault]:
    line = file.line
    if line.kind == "grade" and line.grade is None:
        yield "line.grade", "nothing", 'the grade for kind = "grade", like "2 %"', "add grade = ..."
    for key, kind in (("grade", "grade"), ("bend_limit", "follow")):
        if line.kind != kind and getattr(line, key) is not None:
            found = f'a {key} for kind = "{line.kind}", which has none'
            yield f"line.{key}", found, f'{key} only with kind = "{kind}"', "take it out, or change the kind"


def _steep(file: JobFile) -> Iterator[Fault]:
    grade, limit = file.line.grade, file.line.grade_limit
    if grade is not None and limit is not None and abs(grade) > limit:
        found = f"a grade of {grade:.1%} beside a grade_limit of {limit:.1%}"
        yield "line.grade", found, "a grade within the limit", "change one of them"


#: What a line may be set from, and the keys that go with it.
_WAYS: Final = {
    "tie": ("side",),
    "rail": ("at", "above"),
    "lens": ("above_rail", "at", "over"),
}
_NEEDED: Final = {"tie": ("side", "'left' or 'right'"), "lens": ("above_rail", "lens above the rail's top")}


def _reference(file: JobFile) -> Iterator[Fault]:
    table: ReferenceTable | None = file.line.reference
    if table is None:
        return
    given = [key for key in table.model_fields_set if getattr(table, key) is not None]
    ways = [way for way in _WAYS if way in given]
    if len(ways) != 1:
        accepted = "one of: tie and side; rail (a height) and at; lens, above_rail and at"
        yield "line.reference", " and ".join(ways) or "none of them", accepted, "keep one of them"
        return
    (way,) = ways
    for key in table.__class__.model_fields:
        if key in given and key not in (way, *_WAYS[way]):
            accepted = f"with {way}: " + ", ".join(_WAYS[way])
            yield f"line.reference.{key}", f"{key} beside {way}", accepted, "take it out"
    needed, what = _NEEDED.get(way, (way, ""))
    if needed not in given:
        yield f"line.reference.{needed}", "nothing", f"{what}, with {way}", f"add {needed} = ..."


def _places(file: JobFile) -> Iterator[Fault]:
    study = file.study
    named = [("study.by_eye", study.by_eye)] if study.by_eye is not None else []
    named += [(f"study.points.{number}", place) for number, place in enumerate(study.points, start=1)]
    for key, place in named:
        given = [way for way in ("station", "tie") if getattr(place, way) is not None]
        if len(given) != 1:
            accepted = "one of station (a length from the start mark) and tie (its number), and a side"
            yield key, " and ".join(given) or "neither station nor tie", accepted, "keep one of them"


def _ground_kind(file: JobFile) -> Iterator[Fault]:
    kind = file.ground.kind or ""
    if kind and kind not in GROUND_KINDS:
        yield "ground.kind", repr(kind), "one of " + ", ".join(GROUND_KINDS), nearest(kind, GROUND_KINDS)


def _heights(file: JobFile) -> Iterator[Fault]:
    from trackkit.cribbing.rules import StackRules

    show = DISPLAYS[file.units].small_unit
    caution = file.stacks.caution_height or StackRules.caution_height
    refuse = file.stacks.refuse_height or StackRules.refuse_height
    if refuse < caution:
        key = "refuse_height" if file.stacks.refuse_height else "caution_height"
        found = f"refuse_height {show(refuse)} below caution_height {show(caution)}"
        yield f"stacks.{key}", found, "refuse_height at caution_height or above", "change one of them"


# --- between keys and tables --------------------------------------------------------------------


def _left_out(file: JobFile, survey: Survey, kept: Survey) -> Iterator[Fault]:
    known = readings_of(survey)
    for name in dict.fromkeys(file.leave_out):
        if name not in known:
            accepted = 'readings as they are called in the report, like "levels.csv row 7"'
            yield "leave_out", f"{name!r}: no such reading", accepted, nearest(name, known)


def _named_pegs(file: JobFile, survey: Survey, kept: Survey) -> Iterator[Fault]:
    known = pegs_of(kept)
    reference, datum = file.line.reference, file.ground.datum
    named = {
        "line.reference.above": reference.above if reference else "",
        "ground.datum": datum if isinstance(datum, str) else "",
        "pegs.control": file.pegs.control,
        "pegs.check": file.pegs.check,
    }
    for key, name in [*named.items(), *(("pegs.today", name) for name in file.pegs.today)]:
        if name and name not in known:
            accepted = "a peg in the tables: " + (", ".join(known) or "there is none")
            yield key, f"{name!r}, which no table names", accepted, nearest(name, known)
    if datum is not None and len(survey.benchmarks):
        accepted = "a datum only where no benchmark gives heights"
        yield "ground.datum", "a datum beside benchmarks", accepted, "take it out, or move benchmarks away"


def _pegs(file: JobFile, survey: Survey, kept: Survey) -> Iterator[Fault]:
    known = pegs_of(kept)
    control = file.pegs.control or next(iter(known), None)
    check = file.pegs.check or next((name for name in known if name != control), None)
    if control is not None and control == file.pegs.check:
        found = f"{control!r} for the control and the check peg"
        do = "name another check peg, or read one: a peg cannot check itself"
        yield "pegs.check", found, "two different pegs", do
        return
    for name, rod in file.pegs.today.items():
        if rod > SurveyRules.longest_rod:
            show, limit = DISPLAYS[file.units], SurveyRules.longest_rod
            accepted = f"a rod reading up to {show.long(limit)}"
            yield "pegs.today", f"{show.long(rod)} on {name!r}", accepted, "check the unit and the figure"
    today = [name for name in file.pegs.today if name in known]
    for name in today:
        if name not in (control, check):
            accepted = f"readings on the control peg {control!r} and the check peg {check!r}"
            do = "take it out, or name the peg as control or check"
            yield "pegs.today", f"a reading on {name!r}, which is neither", accepted, do
    if check in today and control not in today:
        accepted = f"a reading on the control peg {control!r}, and on {check!r} to check it"
        do = f"read {control!r} too, or name {check!r} as control"
        yield "pegs.today", f"a reading on the check peg {check!r} alone", accepted, do


#: Keys of [instruments] that hold something for each named angle instrument.
_OF_ANGLES: Final = ("angles", "zeros", "zero_sds")


def _angle_instruments(file: JobFile, survey: Survey, kept: Survey) -> Iterator[Fault]:
    named = [*survey.boards["instrument"], *survey.crosslevels["instrument"]]
    known = list(dict.fromkeys(name or DEFAULT_PHONE for name in named))
    for key in _OF_ANGLES:
        for name in getattr(file.instruments, key):
            if name not in known:
                accepted = "an instrument of boards or crosslevels: " + (", ".join(known) or "there is none")
                yield f"instruments.{key}", f"{name!r}, which no table names", accepted, nearest(name, known)


# --- in the tables ------------------------------------------------------------------------------


def _table_faults(survey: Survey) -> list[Problem]:
    """Return what no plan can use in tables that are each sound."""
    found = []
    for zone in rows_of(survey.zones):
        if zone.ground and zone.ground not in GROUND_KINDS:
            accepted, do = "one of " + ", ".join(GROUND_KINDS), nearest(zone.ground, GROUND_KINDS)
            do = do or "take the nearest of these"
            found.append(Problem(zone.file, repr(zone.ground), accepted, do, int(zone.row), "ground"))
    return found


def pegs_alone(survey: Survey) -> str:
    """Return how a survey comes to know of pegs alone, '' if it knows of the ground."""
    if len(survey.boards) or len(survey.crosslevels) or (survey.levels["point"] == "").any():
        return ""
    return "rods on pegs alone" if len(survey.levels) else "differences between pegs alone"


@dataclass(frozen=True)
class _OfKeys:
    """A check between keys, and the keys that must be sound for it."""

    faults: Callable[[JobFile], Iterator[Fault]]
    needs: tuple[str, ...]


@dataclass(frozen=True)
class _OfTables:
    """A check between keys and tables, and the keys that must be sound for it."""

    faults: Callable[[JobFile, Survey, Survey], Iterator[Fault]]
    needs: tuple[str, ...]


_OF_KEYS: Final = (
    _OfKeys(_sections, ("section", "units")),
    _OfKeys(_laid, ("section", "track.lies", "track.order")),
    _OfKeys(_lay, ("shot", "track", "units")),
    _OfKeys(_side_names, ("sides",)),
    _OfKeys(_line_kind, ("line.kind", "line.grade", "line.bend_limit")),
    _OfKeys(_steep, ("line.grade", "line.grade_limit")),
    _OfKeys(_reference, ("line.reference",)),
    _OfKeys(_places, ("study.by_eye", "study.points")),
    _OfKeys(_ground_kind, ("ground.kind",)),
    _OfKeys(_heights, ("stacks.caution_height", "stacks.refuse_height", "units")),
)
_OF_TABLES: Final = (
    _OfTables(_left_out, ("leave_out",)),
    _OfTables(_named_pegs, ("line.reference", "ground.datum", "pegs", "leave_out")),
    _OfTables(_pegs, ("pegs", "leave_out")),
    _OfTables(_angle_instruments, tuple(f"instruments.{key}" for key in _OF_ANGLES)),
)
