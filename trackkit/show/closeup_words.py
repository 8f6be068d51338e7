"""The words beside one support close up: broken into lines, put in order, led to what they speak of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from trackkit.show.closeup_shapes import CloseUp
from trackkit.show.lettering import line_height, spread, text_width, wrapped
from trackkit.show.pen import Pen
from trackkit.show.room import Paper
from trackkit.show.stack_words import Part
from trackkit.show.style import STYLE

__all__ = ["LEAD", "Lettering", "draw_words", "lettered"]

#: Sizes of the words [points], and how much of the width they may take, the first that fits is taken.
SIZES: Final = (13.0, 12.0, 11.0, 10.0, 9.0, 8.0)
SHARES: Final = (0.42, 0.5, 0.58)
#: How words are tried in turn: down to which size [points], in at most how many lines, whether broken
#: after any word, and from one part's words to the next [in].
WAYS: Final = ((9.0, 4, False, 0.08), (8.0, 8, True, 0.08), (8.0, 8, True, 0.02))
#: From the picture's right end to the words [in].
LEAD: Final = 0.42
#: A leader starts so far from a block's right end [in].
FROM_END: Final = 0.06


@dataclass(frozen=True)
class Lettering:
    """The parts of a stack with their words in lines, their size [points], and how wide all are [in].

    ``apart`` is from one part's words to the next [in].
    """

    parts: tuple[Part, ...]
    lines: tuple[tuple[str, ...], ...]
    size: float
    wide: float
    apart: float

    @property
    def heights(self) -> list[float]:
        """Height that the words of each part take, with the room to the next [in]."""
        return [len(lines) * line_height(self.size) + self.apart for lines in self.lines]


def lettered(parts: Sequence[Part], wide: float, tall: float) -> Lettering:
    """Return words in the largest size in which all fit, broken after commas as long as they can be read.

    Parameters
    ----------
    parts : sequence of Part
    wide, tall : float
        Of the whole picture, and the height that words may take [in].
    """
    tried = []
    for least, lines, anywhere, apart in WAYS:
        for size, share in ((size, share) for size in SIZES if size >= least for share in SHARES):
            found = _broken(parts, share * wide, size, lines, anywhere, apart)
            whole = all(" ".join(own) == part.text for own, part in zip(found.lines, parts, strict=True))
            if whole and sum(found.heights) <= tall:
                return found
            tried.append((not whole, sum(found.heights), found))
    return min(tried, key=lambda one: one[:2])[2]  # rather too high than cut


def _broken(
    parts: Sequence[Part], width: float, size: float, lines: int, anywhere: bool, apart: float
) -> Lettering:
    """Return words broken into lines of at most a width [in]."""
    broken = tuple(
        tuple(wrapped(part.text, width, _look(part), size=size, lines=lines, anywhere=anywhere))
        for part in parts
    )
    column = max(
        text_width(line, _look(part), size=size)
        for part, own in zip(parts, broken, strict=True)
        for line in own
    )
    return Lettering(tuple(parts), broken, size, column + 0.1, apart)


def _look(part: Part) -> dict[str, Any]:
    heavy = part.kind == "fill" or part.missing
    return {**STYLE["layer"], "weight": "bold" if heavy else "normal"}


def draw_words(
    pen: Pen, paper: Paper, lettering: Lettering, seen: CloseUp, *, right: float, high: float
) -> None:
    """Write the words from the bottom up, each led to from its place without crossing another.

    Parameters
    ----------
    pen, paper
    lettering : Lettering
    seen : CloseUp
    right : float
        Right end of the picture [m]; the words stand beyond it.
    high : float
        Up to where words may stand [in].
    """
    elbow = paper.inch(right, 0.0)[0] + 0.02
    column, step = elbow + LEAD - 0.06, line_height(lettering.size)
    places = _places(lettering.parts, seen, paper)
    wanted, last = [], 0.1
    for place, own in zip(places, lettering.heights, strict=True):
        last = last + own if place is None else place[1]
        wanted.append(last)
    middles = spread(np.array(wanted), np.array(lettering.heights), low=0.02, high=high)
    leaders, dots = [], []
    for number, (part, lines) in enumerate(zip(lettering.parts, lettering.lines, strict=True)):
        middle, place = float(middles[number]), places[number]
        for row, line in enumerate(lines):
            over = middle + ((len(lines) - 1) / 2 - row) * step
            name = f"words-{number}-{row}"
            look = {"va": "center", **_look(part), "fontsize": lettering.size}
            pen.words(name, line, *paper.data(column, over), **look)
        if place is not None:
            bends = [paper.data(*bend) for bend in (place, (elbow, place[1]), (column - 0.05, middle))]
            leaders += [bends[:2], bends[1:]]
            dots.append(bends[0])
    pen.strokes("leaders", np.asarray(leaders, dtype=float), **STYLE["from piece"])
    ends = np.asarray(dots, dtype=float).reshape(-1, 2)
    pen.line("dots", ends[:, 0], ends[:, 1], **STYLE["dot"])


def _places(parts: Sequence[Part], seen: CloseUp, paper: Paper) -> list[tuple[float, float] | None]:
    """Return what each part's words speak of, rising [in]; None where it isn't in the picture."""
    found: list[tuple[float, float] | None] = []
    last = 0.0
    for part in parts:
        place = _place(part, seen, paper)
        if place is not None:
            last = max(place[1], last + 0.03)
            place = (place[0], last)
        found.append(place)
    return found


def _place(part: Part, seen: CloseUp, paper: Paper) -> tuple[float, float] | None:
    """Return the place that words speak of: in a block near its right end, in a wedge its middle [in]."""
    if part.kind == "fill":
        return None
    if part.kind == "seat":
        corners = [
            c for kind, place, shape in seen.shapes if (kind, place) == ("piece", 0) for c in shape.corners
        ]
        right = max(place for place, _ in corners)
        ground = seen.ground(right)
        return paper.inch(right + 0.004, 0.7 * min(seen.base, ground) + 0.3 * max(seen.base, ground))
    own = [
        np.asarray(shape.corners)
        for kind, place, shape in seen.shapes
        if kind == part.kind and place in ({part.place} if part.place or kind == "piece" else {place})
    ]
    if not own:
        return None
    corners_of = max(own, key=lambda one: float(one[:, 0].max()))
    middle = corners_of.mean(axis=0)
    if len(np.unique(corners_of[:, 1].round(9))) == 2:  # a block
        return paper.inch(float(corners_of[:, 0].max()) - FROM_END / paper.inches[0], float(middle[1]))
    return paper.inch(float(middle[0]), float(middle[1]))
