"""Marks on a side view: joints, breaks, start and end mark with their words, and height marks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from trackkit.show.lettering import text_width
from trackkit.show.scene import Scene
from trackkit.show.style import INK, PAPER, STYLE
from trackkit.units import LENGTH_UNITS, Display

if TYPE_CHECKING:
    from trackkit.show.pen import Pen

__all__ = ["Flag", "draw_flags", "draw_height_marks", "lay_flags"]

#: Grades that differ by less meet without a bend that is worth a mark.
SAME_GRADE: Final = 1e-6
#: Rows in which a place is looked for that no line crosses.
MOST_ROWS: Final = 3
#: On which side of its line a word may stand, the best first.
_SIDES: Final = {"joint": ("center", "left", "right"), "mark": ("left", "right"), "break": ("left", "right")}


@dataclass(frozen=True)
class Flag:
    """A vertical line with a word over it.

    Attributes
    ----------
    kind : {'joint', 'break', 'mark'}
    word : str
    station : float
        [m]
    row : int
        Which row of words, from below.
    stands : {'left', 'center', 'right'}
        The end of the word that is at the line.
    """

    kind: str
    word: str
    station: float
    row: int
    stands: str


def lay_flags(scene: Scene, per_metre: float) -> tuple[Flag, ...]:
    """Return the marks of a scene with their words placed so that none overlaps another or a line.

    Parameters
    ----------
    scene : Scene
    per_metre : float
        Inches of paper in a metre of station.
    """
    wanted: list[tuple[str, str, float]] = []
    if scene.run.shot is not None:
        shot = scene.run.shot
        wanted += [("mark", "start mark", shot.start_mark), ("mark", "end mark", shot.end_mark)]
    wanted += [("break", "break", station) for station in scene.breaks]
    joints = zip(scene.run.joints["joint"], scene.run.joints["station_m"], strict=True)
    wanted += [("joint", str(name), float(station)) for name, station in joints]
    low, high = scene.ends
    wide = (high - low) * per_metre
    lines = [(station - low) * per_metre for _, _, station in wanted]
    taken: list[tuple[int, float, float]] = []
    flags = []
    for place, (kind, word, station) in enumerate(wanted):
        others = lines[:place] + lines[place + 1 :]
        row, stands, box = _free_place(kind, word, lines[place], others, taken, wide)
        taken.append((row, *box))
        flags.append(Flag(kind, word, station, row, stands))
    return tuple(flags)


def _free_place(
    kind: str, word: str, line: float, others: Sequence[float], taken: Sequence[tuple[int, float, float]],
    wide: float,
) -> tuple[int, str, tuple[float, float]]:  # fmt: skip
    """Return the lowest row where a word overlaps no other; where it can, crossed by no line either."""
    room, air = text_width(word, STYLE["flag"]), PAPER["between"]
    boxes = {
        "left": (line, line + room + air), "right": (line - room - air, line),
        "center": (line - (room + air) / 2, line + (room + air) / 2),
    }  # fmt: skip
    strictly = [(row, True) for row in range(MOST_ROWS)]
    for row, strict in [*strictly, *((row, False) for row in range(len(taken) + 1))]:
        for stands in _SIDES[kind]:
            low, high = boxes[stands]
            inside = low >= 0 and high <= wide
            clear = all(row != other or high <= left or right <= low for other, left, right in taken)
            crossed = any(low < other < high for other in others)
            if inside and clear and not (strict and crossed):
                return row, stands, boxes[stands]
    return len(taken) + 1, _SIDES[kind][0], boxes[_SIDES[kind][0]]


def draw_flags(
    pen: Pen, scene: Scene, flags: Sequence[Flag], *, floor: float, top: float, row: float
) -> None:
    """Draw the lines from the floor to their words, and the words.

    Parameters
    ----------
    pen : Pen
    scene : Scene
    flags : sequence of Flag
    floor, top, row : float
        Where the ground ends, where the lowest row of words starts, and the height of a row, all in
        units of the height axis.
    """
    for place, flag in enumerate(flags):
        foot = top + flag.row * row
        end = foot if flag.stands == "center" else foot + 0.85 * row
        name = f"{scene.side}-{flag.kind}-{place}"
        pen.line(name, [flag.station] * 2, [floor, end], **STYLE[flag.kind])
        shift = {"left": 3, "center": 0, "right": -3}[flag.stands]
        pen.words(
            f"{name}-word", flag.word, flag.station, foot, shift=(shift, 1.5), ha=flag.stands, va="bottom",
            bbox=STYLE["clear"], **STYLE["flag"],
        )  # fmt: skip


def draw_height_marks(pen: Pen, scene: Scene, *, display: Display, per_metre: float) -> None:
    """Draw drafting triangles on the rail: filled where the line is set from, open at ends and bends.

    The height of the rail's top stands beside those at the ends, at bends and at the reference, as far
    as there is room.
    """
    scale = 1.0 / LENGTH_UNITS[display.unit]
    line, run, look = scene.line, scene.run, STYLE["height mark"]
    bends = np.abs(np.diff(line.grade((line.knots_station[1:] + line.knots_station[:-1]) / 2))) > SAME_GRADE
    open_at = [run.head, run.tail, *line.knots_station[1:-1][bends].tolist()]
    half = look["markersize"] * 0.62 / 2 / 72 + 0.02
    marks = [(at, True) for at in scene.reference]
    marks += [
        (at, False)
        for at in open_at
        if all(abs(at - held) * per_metre > 2 * half for held in scene.reference)
    ]
    taken = [((at - half / per_metre), (at + half / per_metre)) for at, _ in marks]
    for place, (at, filled) in enumerate(sorted(marks)):
        height = float(line.rail_top(at)) * scale
        name = f"{scene.side}-{'reference' if filled else 'height-mark'}-{place}"
        pen.line(name, [at], [height], markerfacecolor=INK if filled else "white", **look)
        word = display.small(float(line.rail_top(at))).replace("-", "−")
        word = f"rail top {word} {display.unit}" if place == 0 else word
        room = (text_width(word, STYLE["height"]) + 0.04) / per_metre
        for stands, sign in (("left", 1), ("right", -1)):
            start = at + sign * half / per_metre
            low, high = min(start, start + sign * room), max(start, start + sign * room)
            inside = scene.ends[0] <= low and high <= scene.ends[1]
            if inside and all(high <= left or right <= low for left, right in taken):
                taken.append((low, high))
                over = float(line.rail_top([low, high]).max()) * scale
                pen.words(
                    f"{name}-height", word, start, over, shift=(sign * 1.5, 3.0), ha=stands, va="bottom",
                    bbox=STYLE["clear"], **STYLE["height"],
                )  # fmt: skip
                break
