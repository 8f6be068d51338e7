"""What each table of a survey may hold: its columns, their bounds, and the ways of saying one thing."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

from trackkit.survey.log.choices import LogRules
from trackkit.tables import Column, TableSpec, Ways

__all__ = ["LOG_TABLES", "READING_TABLES", "TABLE_NAMES", "SurveyRules", "log_spec", "table_specs"]

#: Tables that hold readings; a survey needs at least one of them.
READING_TABLES: Final = ("levels", "differences", "boards", "crosslevels")
TABLE_NAMES: Final = (*READING_TABLES, "benchmarks", "lasers", "breaks", "zones", "obstacles")
#: Tables that an instrument writes, not a person: read from their files, too long to be typed into.
LOG_TABLES: Final = ("phone_log",)


@dataclass(frozen=True)
class SurveyRules:
    """Bounds that tell a slip of the pen from a reading. All may be changed.

    Attributes
    ----------
    steepest : float
        Slopes beyond it are faults [rad]. 60 degrees: a guess; nobody lays track there, and
        a grade in per cent written as degrees is caught.
    farthest : float
        Stations, offsets and heights beyond it are faults [m]. Guess: millimetres in a column of
        metres are caught.
    tall_rod : float
        Rod readings beyond it are cautions, never faults [m]. Common practice, no source: longer
        rods than 5 m are rare.
    longest_rod : float
        Rod readings beyond it are faults [m]. Common practice, no source: no staff is that long, but
        millimetres in a column of metres are.
    shortest_rod : float
        Rod readings below it, but for 0, are faults [m], and so are readings that are all below ten
        times as much. Common practice, no source: metres in a column of millimetres are.
    shortest_survey : float
        Three or more stations that all lie within it are a fault [m]. Common practice, no source:
        metres in a column of millimetres do.
    across : float
        Left-to-right differences beyond it are faults [m]. Guess: the slope ``steepest`` over the
        usual width of track.
    off_run : float
        How far beyond the ends of the run a reading still counts as belonging to it [m] (guess).
    log : LogRules
        How a phone's log is cleaned and thinned.
    """

    steepest: float = math.radians(60.0)
    farthest: float = 10_000.0
    tall_rod: float = 6.0
    longest_rod: float = 30.0
    shortest_rod: float = 0.001
    shortest_survey: float = 0.05
    across: float = 1.1
    off_run: float = 15.0
    log: LogRules = field(default_factory=LogRules)


def table_specs(rules: SurveyRules | None = None) -> dict[str, TableSpec]:
    """Return the description of every table of a survey, by its name."""
    rules = rules or SurveyRules()
    specs = (
        TableSpec("levels", _levels(rules), (_STOOD,)),
        TableSpec("differences", _differences(rules)),
        TableSpec("boards", _boards(rules), (_FEET, Ways("its slope", (("angle",), ("grade",), ("drop",))))),
        TableSpec("crosslevels", _crosslevels(rules), (_ALONG, _ACROSS)),
        TableSpec("benchmarks", _benchmarks(rules)),
        TableSpec("lasers", _lasers(rules)),
        TableSpec(
            "breaks", _breaks(rules), (Ways("where it is", (("left_station",), ("right_station",), _BOTH)),)
        ),
        TableSpec("zones", _zones(rules)),
        TableSpec(
            "obstacles", _obstacles(rules), (Ways("its height", (("rod", "laser"), ("rod",), ("height",))),)
        ),
    )
    return {spec.name: spec for spec in specs}


def log_spec(rules: SurveyRules | None = None) -> TableSpec:
    """Return the description of the table that a phone logs on its board.

    An empty angle, or one that reads nan, is a drop-out and no fault; all angles up to half a turn are
    read, and those steeper than a board lies are left to the cleaning.
    """
    rules = rules or SurveyRules()
    half_turn = math.pi
    columns = (
        _place("station", rules),
        _place("along", rules),
        _side(needed=True),
        Column("angle", "angle", units=("deg",), least=-half_turn, most=half_turn, missing=_DROPPED),
        Column("grade", "angle", units=("pct",), missing=_DROPPED),
        Column("board", "length", needed=True, least=rules.log.shortest_board, most=rules.log.longest_board),
        Column("pass", "name"),
        _FACING,
        Column("instrument", "name"),
        Column("time_s", "number"),
        _NOTE,
    )
    slope = Ways("its slope", (("angle",), ("grade",)), optional=True)
    return TableSpec(LOG_TABLES[0], columns, (_ALONG, slope))


#: What logs write where there is no angle.
_DROPPED: Final = ("nan", "na", "n/a", "null", "none")
_BOTH: Final = ("left_station", "right_station")
_ALONG: Final = Ways("where it was read", (("station",), ("along",)))
_ACROSS: Final = Ways("its slope", (("angle",), ("grade",), ("right_above_left",)))
_FEET: Final = Ways("where the board lay", (("station", "to_station"), ("along", "to_along")))
_STOOD: Final = Ways(
    "where the rod stood",
    (
        ("station", "side"),
        ("station", "offset"),
        ("along", "side"),
        ("along", "offset"),
        ("tie", "side"),
        ("section", "end", "side"),
        ("point",),
    ),
)


def _side(*, needed: bool = False) -> Column:
    return Column(
        "side", "choice", needed=needed, choices=("left", "right"), also=(("l", "left"), ("r", "right"))
    )


def _place(name: str, rules: SurveyRules, *, needed: bool = False) -> Column:
    return Column(name, "length", needed=needed, least=-rules.farthest, most=rules.farthest)


def _slopes(rules: SurveyRules) -> tuple[Column, ...]:
    least, most = -rules.steepest, rules.steepest
    return (
        Column("angle", "angle", units=("deg",), least=least, most=most),
        Column("grade", "angle", units=("pct",), least=least, most=most),
    )


def _sds() -> tuple[Column, ...]:
    return (
        Column("sd", "angle", units=("deg",), above=0.0, most=math.pi / 2, key="sd_angle"),
        Column("sd", "length", above=0.0),
    )


_FACING: Final = Column("facing", "choice", choices=("ahead", "back"))
_NOTE: Final = Column("note", "text")


def _levels(rules: SurveyRules) -> tuple[Column, ...]:
    return (
        Column("laser", "name"),
        Column("point", "name"),
        _place("station", rules),
        _place("along", rules),
        _side(),
        _place("offset", rules),
        Column("tie", "count", least=1),
        Column("section", "count", least=1),
        Column("end", "choice", choices=("head", "tail")),
        Column("on", "choice", choices=("ground", "rail")),
        Column("rod", "length", needed=True, least=0.0),
        Column("sd", "length", above=0.0),
        Column("reader", "name"),
        _NOTE,
    )


def _differences(rules: SurveyRules) -> tuple[Column, ...]:
    return (
        Column("point", "name", needed=True),
        Column("to_point", "name", needed=True),
        _place("rise", rules, needed=True),
        Column("sd", "length", above=0.0),
        _NOTE,
    )


def _boards(rules: SurveyRules) -> tuple[Column, ...]:
    places = tuple(_place(name, rules) for name in ("station", "to_station", "along", "to_along"))
    drop = _place("drop", rules)
    instrument = Column("instrument", "name")
    return (*places, _side(needed=True), *_slopes(rules), drop, _FACING, instrument, *_sds(), _NOTE)


def _crosslevels(rules: SurveyRules) -> tuple[Column, ...]:
    rise = Column("right_above_left", "length", least=-rules.across, most=rules.across)
    places = (_place("station", rules), _place("along", rules))
    return (*places, *_slopes(rules), rise, _FACING, Column("instrument", "name"), *_sds(), _NOTE)


def _benchmarks(rules: SurveyRules) -> tuple[Column, ...]:
    height = _place("height", rules, needed=True)
    return (Column("point", "name", needed=True), height, Column("sd", "length", least=0.0), _NOTE)


def _lasers(rules: SurveyRules) -> tuple[Column, ...]:
    return (
        Column("laser", "name", needed=True),
        _place("station", rules, needed=True),
        _place("offset", rules, needed=True),
        Column("instrument", "name"),
        _NOTE,
    )


def _breaks(rules: SurveyRules) -> tuple[Column, ...]:
    return (*(_place(name, rules) for name in _BOTH), _place("step", rules), _NOTE)


def _zones(rules: SurveyRules) -> tuple[Column, ...]:
    return (
        _place("from", rules, needed=True),
        _place("to", rules, needed=True),
        _side(),
        Column("ground", "name"),
        Column("support", "yesno", default=True),
        _NOTE,
    )


def _obstacles(rules: SurveyRules) -> tuple[Column, ...]:
    return (
        _place("station", rules, needed=True),
        _place("offset", rules, needed=True),
        Column("laser", "name"),
        Column("rod", "length", least=0.0),
        _place("height", rules),
        _NOTE,
    )
