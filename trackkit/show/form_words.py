"""What a booking sheet says in words: what to do before the first reading, cautions, how to type it in."""

from __future__ import annotations

from typing import Any, Final

from trackkit.show.form_blank import BlankForm
from trackkit.show.form_parts import MM, Part, boxes, grid, heading, words

__all__ = ["CAUTIONS", "before_parts", "listed", "rod_unit", "typing_part"]

#: Cautions for whoever holds rod and board (common practice, no source, but for what law and site say).
CAUTIONS: Final = (
    "Keep rods clear of overhead lines. Look up before a rod is raised or carried: near a power line it "
    "kills, a wet or metal one above all. Carry it shortened and level.",
    "Traffic and machines: somebody who reads nothing watches for those who read.",
    "Hands: fingers never between rail, tie, box and ground, nor where track may be let down.",
    "Never look into the laser's beam, and don't set it up at the height of eyes.",
    "Local codes, the site's rules and licensed practice come before anything on this sheet.",
)
#: Widest label beside a line to write on [mm].
_LABEL: Final = 70.0


def listed(lines: tuple[str, ...] | list[str], mark: str = "•", *, size: float = 10.0) -> Part:
    """Return lines with a mark in front, or numbered if the mark is '1'."""
    marks = [f"{at}." if mark == "1" else mark for at in range(1, len(lines) + 1)]
    return [words(f"{own}  {line}", size, hang=4.5) for own, line in zip(marks, lines, strict=True)]


def rod_unit(form: BlankForm) -> str:
    """Return in what the rod is written, with an example and what not to write."""
    return {
        "mm": "Write the rod in MILLIMETRES, without a point, as 1348.",
        "cm": "Write the rod in CENTIMETRES to the millimetre, as 134.8.",
        "in": "Write the rod in INCHES, as 58 3/8, or with marks, as 4' 10 3/8\". Never in tenths of a foot.",
    }[form.display.unit]


def before_parts(form: BlankForm, wide: float) -> list[Part]:
    """Return what is to be done and known before the first reading, on a page so wide [points]."""
    title = [words("Booking sheet for level and rod", 17, bold=True)]
    if form.note:
        title.append(words(form.note, 10))
    place = "section, end" if form.by_section else "station"
    guess = [(place, 3.0), ("side", 3.0), ("looks higher than the rest by", 4.0), ("who says so", 3.0)]
    by_eye = [
        heading("Highest by eye: walk the run and write this first"),
        words("Which place looks highest? Write it before any reading, and don't change it after.", 10),
        boxes(guess, wide / MM),
    ]
    steps = [_where(form), _sides(form), _pegs(form), _level(form), *_reading(form), _again(form)]
    return [
        title,
        by_eye,
        [heading("Before the first reading"), *listed(steps, "1")],
        [_lines(form, wide)],
        [heading("Cautions"), *listed(CAUTIONS)],
    ]


def _lines(form: BlankForm, wide: float) -> Any:
    """Return lines to say where the start mark and the pegs are."""
    what = [f"Where {'the head of the track' if form.by_section else 'the start mark'} is"]
    what += [f"Where the {form.peg(peg)} “{peg}” stands" for peg in form.pegs]
    own = min(_LABEL, wide / MM / 3)
    return grid([[words(text, 10, bold=True), ""] for text in what], [own, wide / MM - own])


def _where(form: BlankForm) -> str:
    if form.marks is None:
        return (
            "The rod stands ON THE RAIL, over the first and the last tie of every section, left and right. "
            "Sections count from the head of the track: 1, 2, ... A section's head is its end towards the "
            "head of the track, its tail the other."
        )
    start, end = map(form.long, form.marks)
    return (
        f"The start mark is at station {start}, the end mark at {end}. Stations are LEVEL distances that "
        "grow from the start mark towards the end mark; behind station 0 they are minus. The track will lie "
        f"from {form.long(form.head)} to {form.long(form.tail)}. Tape and mark every station on both sides "
        "before you read. The rod stands ON THE GROUND."
    )


def _sides(form: BlankForm) -> str:
    look = (
        "from the head of the track to its tail" if form.by_section else "from the start mark to the end mark"
    )
    left, right = form.side("left"), form.side("right")
    said = f": {left}, {right}" if (left, right) != ("left", "right") else ""
    apart = "" if form.by_section else f" The two lines are {form.display.small_unit(form.width)} apart."
    return f"Left and right are as you look {look}{said}.{apart}"


def _pegs(form: BlankForm) -> str:
    if not form.pegs:
        return (
            "No peg is asked for. If the level comes down before the track is brought to height, name pegs "
            "under [pegs] in job.toml and print this sheet again."
        )
    control, check = form.pegs
    return (
        f"The control peg “{control}” carries the height to the laying day; the check peg “{check}” shows "
        f"whether “{control}” still stands. Choose hard points off the track that nobody moves, walks or "
        "drives on, and say below where they are."
    )


def _level(form: BlankForm) -> str:
    sees = "every place and both pegs" if form.pegs else "every place"
    if form.lasers == 1:
        stands = f"Set it up where it sees {sees}, and let nobody touch it until the last row is read."
    else:
        stands = (
            f"It stands in {form.lasers} positions, each with pages of its own. Each reads the pegs and some "
            "places of the one before again: never leave those out."
        )
    return f"Check the level first (next page). {stands}"


def _reading(form: BlankForm) -> list[str]:
    return [
        f"Hold the rod upright. A LARGER reading is LOWER ground. {rod_unit(form)}",
        "Read the rows from top to bottom. A wrong figure is struck through and written again beside it, "
        "never rubbed out. A rod that cannot be read: strike the row through and say why.",
    ]


def _again(form: BlankForm) -> str:
    return (
        f"Rows read once more have a box for the difference. Is it more than {form.within(form.allowed)}, "
        "read both again; if it stays, the laser has moved: read everything from that position anew, on a "
        f"new sheet. (A choice: 3 x √2 x {1000 * form.rod_sd:.3g} mm, three times what the difference of two "
        "good readings scatters by.)"
    )


def typing_part(form: BlankForm) -> Part:
    """Return how the sheet is typed in, and which of its columns is which in levels.csv."""
    say = [
        "COPY levels_blank.csv, which lies beside this sheet, into the job's folder AS levels.csv, and type "
        "into the copy. If there is a levels.csv already, it is an earlier survey: move it away first.",
        "The rows are the same, in the same order: the number at the left of each is its row in the "
        f"spreadsheet. Only {form.rod_column} needs typing.",
        "A row that was not read is deleted whole: an empty rod is a fault. Rows read once more are rows "
        "like any other: type what was read, not the difference.",
        "Then “trackkit check” on the job's folder says which readings are in doubt.",
    ]
    if form.display.unit == "in":
        say[1] += " Format that column as text first, or the spreadsheet makes a date of 3/8."
    unit = form.long_unit
    places = "section, end, side: the corner" if form.by_section else f"station_{unit}, side: as printed"
    columns = [
        "laser: the laser position on top of the page",
        *(["point: the peg, in place of a station and side"] if form.pegs else []),
        f"{places}; the side is typed left or right, not by its landmark",
        f"{form.rod_column}: the rod, in {form.rod_word}",
        "reader: initials, if you like. note: anything",
    ]
    return [
        heading("Typing it in"),
        *listed(say, "1"),
        words("Columns of levels.csv on this sheet", 10, bold=True),
        *listed(columns),
    ]
