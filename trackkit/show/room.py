"""Room on the paper: boxes that are taken, and the first place where another fits. All in inches."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from trackkit.show.lettering import line_height, text_width

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Box", "Paper", "Room", "word_box"]

#: Where a word may lie beside what it names, the best first: to the right and up, in halves of its size.
BESIDE: Final = (
    (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1), (0, 1), (0, -1), (0.5, 1), (-0.5, 1),
    (0.5, -1), (-0.5, -1),
)  # fmt: skip
#: Places are tried in rings so far apart [in].
STEP: Final = 0.08


@dataclass(frozen=True)
class Box:
    """A rectangle on the paper [in].

    Examples
    --------
    >>> Box(0, 0, 1, 1).meets(Box(0.5, 0.5, 2, 2)), Box(0, 0, 1, 1).meets(Box(1, 0, 2, 1))
    (True, False)
    """

    left: float
    bottom: float
    right: float
    top: float

    @property
    def middle(self) -> tuple[float, float]:
        """Its middle [in]."""
        return (self.left + self.right) / 2, (self.bottom + self.top) / 2

    def meets(self, other: Box) -> bool:
        """Return whether the two share any room."""
        across = self.left < other.right and other.left < self.right
        return across and self.bottom < other.top and other.bottom < self.top

    def within(self, other: Box) -> bool:
        """Return whether it lies in another altogether."""
        across = other.left <= self.left and self.right <= other.right
        return across and other.bottom <= self.bottom and self.top <= other.top


def word_box(
    text: str, look: Mapping[str, Any], x: float, y: float, *, size: float | None = None, turned: bool = False
) -> Box:
    """Return the room of a word with its middle at x, y, with a little to spare [in]."""
    points = float(look["fontsize"]) if size is None else size
    wide, tall = text_width(text, look, size=points) + 0.06, line_height(points)
    if turned:
        wide, tall = tall, wide
    return Box(x - wide / 2, y - tall / 2, x + wide / 2, y + tall / 2)


@dataclass
class Room:
    """What is taken on a sheet, and where another word fits."""

    sheet: Box
    taken: list[Box] = field(default_factory=list)

    def free(self, box: Box) -> bool:
        """Return whether a box lies on the sheet and meets nothing."""
        return box.within(self.sheet) and not any(box.meets(other) for other in self.taken)

    def first(self, boxes: Iterable[Box]) -> Box | None:
        """Take the first of these places that is free; None if none is."""
        found = next((box for box in boxes if self.free(box)), None)
        if found is not None:
            self.taken.append(found)
        return found

    def beside(
        self, text: str, look: Mapping[str, Any], x: float, y: float, *, off: float = 0.09, far: float = 0.5
    ) -> Box | None:
        """Take the free place for a word that is nearest to a point; None if there is none.

        Parameters
        ----------
        text, look
            The word and its style.
        x, y : float
            The point [in].
        off : float
            Least distance from it [in].
        far : float
            Places are tried so far from it [in].
        """
        own = word_box(text, look, 0.0, 0.0)
        wide, tall = own.right - own.left, own.top - own.bottom
        reaches = (off + ring * STEP for ring in range(int((far - off) / STEP) + 1))
        places = (
            (x + right * (wide + 2 * reach) / 2, y + up * (tall + 2 * reach) / 2)
            for reach in reaches
            for right, up in BESIDE
        )
        return self.first(word_box(text, look, *place) for place in places)


@dataclass(frozen=True)
class Paper:
    """Axes as a sheet in inches from their lower left corner, for the limits that they have now."""

    wide: float
    tall: float
    low: tuple[float, float]
    inches: tuple[float, float]

    @classmethod
    def of(cls, ax: Axes) -> Paper:
        """Return the sheet of axes."""
        wide, tall = (float(size) / ax.figure.dpi for size in (ax.bbox.width, ax.bbox.height))
        (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
        return cls(wide, tall, (left, bottom), (wide / (right - left), tall / (top - bottom)))

    @property
    def sheet(self) -> Box:
        """The whole of it."""
        return Box(0.0, 0.0, self.wide, self.tall)

    def inch(self, x: float, y: float) -> tuple[float, float]:
        """Return a place of the data in inches."""
        return (x - self.low[0]) * self.inches[0], (y - self.low[1]) * self.inches[1]

    def data(self, x: float, y: float) -> tuple[float, float]:
        """Return a place in inches in units of the data."""
        return self.low[0] + x / self.inches[0], self.low[1] + y / self.inches[1]
