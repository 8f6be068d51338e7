"""What a booking sheet asks for besides rods: a check of the level, edges, things to clear, angles."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from trackkit.show.form_blank import BlankForm
from trackkit.show.form_parts import BOX_HIGH, MM, SMALLEST, Part, grid, heading, words
from trackkit.show.form_words import listed

__all__ = ["CHECK_ROWS", "check_parts", "edge_parts", "phone_parts"]

#: Lines for edges and for things to clear (choices).
EDGES, THINGS = 3, 3
#: How far apart the pegs of a check of the level stand (common practice, no source).
CHECK_APART: Final = {"m": "30 m", "ft": "100 ft"}
#: Rows of the check of the level: setup, peg, and by how much the laser is turned.
CHECK_ROWS: Final = (
    ("middle", "A", ""), ("middle", "B", ""), ("near A", "A", ""), ("near A", "B", ""),
    ("along", "A", "0°"), ("along", "A", "180°"), ("across", "A", "0°"), ("across", "A", "180°"),
)  # fmt: skip
#: Heights of the heads of columns and of rows, low enough for all of it on one page [mm].
_HEAD_HIGH, _HIGH = 8.0, 9.2


def check_parts(form: BlankForm, wide: float) -> list[Part]:
    """Return the check of the level before it is used: two pegs, or half a turn."""
    unit = form.long_unit
    say = [
        f"Any level, two pegs A and B about {CHECK_APART[unit]} apart: read both from the middle, then both "
        "from close to A. B less A should be the same both times.",
        "A rotating laser: one rod A as far off as the run is long. Read it, turn the laser round by half "
        "(180°) on the spot, read it again; once along its axis, once across.",
    ]
    heads = (
        "setup",
        "peg",
        f"distance from the level in {form.long_word}",
        f"rod in {form.rod_word}",
        "turned",
        "note",
    )
    rows = [(setup, peg, "", "", turned, "") for setup, peg, turned in CHECK_ROWS]
    typed = (
        f"Type into check_level.csv: setup, peg, distance_{unit}, {form.rod_column}, turned_deg; leave out "
        "what was not read. “trackkit check” says what it comes to."
    )
    return [
        [
            heading("Is the level sound? One of these two, before the first reading"),
            *listed(say),
            _rows(heads, rows, (32, 16, 40, 36, 20), wide),
            words(typed, 9),
        ]
    ]


def edge_parts(form: BlankForm, wide: float) -> list[Part]:
    """Return edges that the run crosses, and things to clear."""
    unit, small = form.long_unit, form.display.unit
    edges = (
        "",
        f"left station in {form.long_word}",
        f"right station in {form.long_word}",
        f"step in {form.rod_word}",
        "what it is",
    )
    things = (
        "", f"station in {form.long_word}", f"beside the middle in {form.rod_word}",
        f"rod in {form.rod_word}", "what it is, and from which laser position",
    )  # fmt: skip
    widths = (11, 34, 38, 34)
    return [
        [
            heading("Edges, kerbs, ditches that the run crosses"),
            words(
                "Where each meets the left and the right line. Step: far side above near side, minus down.",
                10,
            ),
            _rows(edges, [(f"e{n}", "", "", "", "") for n in range(1, EDGES + 1)], widths, wide),
            words(f"Type into breaks.csv: left_station_{unit}, right_station_{unit}, step_{small}, note.", 9),
        ],
        [
            heading("Things to clear: sprinkler heads, roots, covers"),
            words("Beside the middle: plus to the right, minus to the left. Rod on the highest point.", 10),
            _rows(things, [(f"o{n}", "", "", "", "") for n in range(1, THINGS + 1)], widths, wide),
            words(
                f"Type into obstacles.csv: station_{unit}, offset_{small}, {form.rod_column}, laser, note.", 9
            ),
        ],
    ]


def phone_parts(form: BlankForm, wide: float) -> list[Part]:
    """Return boards and left-to-rights by phone, each read both ways, and the check of the phone."""
    if not form.phone:
        return []
    unit = form.long_unit
    say = [
        "Each row twice: AHEAD with the phone's top towards the far end (for a left-to-right: towards the "
        "right side), then BACK, turned end for end on the same spot. The pair takes out the phone's error.",
        "In BOTH boxes write plus where the far end (the right side) is HIGHER and minus where it is lower, "
        "whatever sign the phone shows.",
        "A straight board, one foot on the station, the other farther along: write where that foot stands.",
    ]
    if form.by_section:
        say.append("Stations here count from the head of the track.")
    typed = (
        f"Each box is a row of its own. Boards into boards.csv: station_{unit}, to_station_{unit}, side, "
        f"angle_deg, facing (ahead or back). Left-to-rights into crosslevels.csv: station_{unit}, angle_deg, "
        "facing. The check into check_phone.csv: instrument, place, facing, angle_deg."
    )
    groups, number = [], 0
    for station in form.phone:
        rows = []
        for what in (f"board, {form.side('left')}", f"board, {form.side('right')}", "left-to-right"):
            number += 1
            rows.append(_angles(f"p{number}", what, form.long(station), unit if what[0] == "b" else ""))
        groups.append(_boxed(rows, _PHONE, wide))
    check = [_angles(f"q{n}", f"the phone lies at place {n}", "", "") for n in (1, 2)]
    return [
        [heading("Boards and left-to-rights by phone"), *listed(say), groups[0]],
        *[[group] for group in groups[1:]],
        [
            heading("Check of the phone, at two places that slope differently"),
            _boxed(check, _PHONE, wide),
            words(typed, 9),
        ],
    ]


#: Widths of a row of angles [mm]; the note takes what the paper leaves.
_PHONE: Final = (11, 44, 26, 28, 29, 29)


def _angles(name: str, what: str, station: str, far_in: str) -> list[Any]:
    """Return one row: what is read where, and two boxes that say which way the phone lies."""
    corner = [words(f"{way}, °", SMALLEST) for way in ("AHEAD", "BACK")]
    far = words(f"far end, {far_in}", SMALLEST) if far_in else words("–", 10, align="center")
    plain = [words(text, 10, bold=True) if text else "" for text in (name, what, station)]
    return [*plain, far, *corner, words("note", SMALLEST)]


def _boxed(rows: Sequence[Sequence[Any]], widths: Sequence[float], wide: float) -> Any:
    """Return rows whose boxes have their labels in the upper corner."""
    style = [("VALIGN", (3, 0), (-1, -1), "TOP"), ("BOX", (4, 0), (5, -1), 1.6, "black")]
    heights = [BOX_HIGH] * len(rows)
    return grid(rows, [*widths, wide / MM - sum(widths)], heights=heights, style=style)


def _rows(heads: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float], wide: float) -> Any:
    """Return rows of boxes under their heads, the last column as wide as the paper leaves."""
    cells: list[list[Any]] = [
        [words(head, SMALLEST, bold=True, align="center") if head else "" for head in heads]
    ]
    cells += [[words(text, 10, bold=True) if text else "" for text in row] for row in rows]
    heights = [_HEAD_HIGH, *[_HIGH] * len(rows)]
    return grid(cells, [*widths, wide / MM - sum(widths)], heights=heights)
