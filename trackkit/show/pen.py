"""A pen that draws by name: what stands on the axes already is changed, and only what is new is made.

Every picture is drawn through it, so the code that draws a picture once is the code that moves it:
called again on the same axes with other values, a drawing function changes the artists that are there
and hides those that it no longer needs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import TracebackType
from typing import TYPE_CHECKING, Any, Final, Self, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path
    from matplotlib.text import Annotation

__all__ = ["Pen"]

#: By so much a layer lies over the one drawn before it.
_LATER: Final = 1e-7
#: Where an artist keeps the look that it was made with.
_LOOK: Final = "_trackkit_look"
#: Where a word keeps the look that it was given last.
_WORE: Final = "_trackkit_wore"
_Kind = TypeVar("_Kind", bound="Artist")


class Pen:
    """Draws on axes, or on a figure in inches from its lower left corner; to be used in a ``with``.

    Names become the artists' group ids: in an SVG the parts of a picture can be found by them. What
    bears no name is left alone. On leaving the ``with``, artists whose names were not drawn are hidden.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> ax = Figure().add_subplot()
    >>> for heights in ([0.0, 1.0], [0.5, 2.0]):
    ...     with Pen(ax) as pen:
    ...         _ = pen.line("ground", [0.0, 1.0], heights, color="black")
    >>> [line.get_ydata().tolist() for line in ax.lines]
    [[0.5, 2.0]]
    """

    def __init__(self, surface: Axes | Figure) -> None:
        self._surface = surface
        self._there = {name: one for one in surface.get_children() if (name := one.get_gid())}
        self._drawn: dict[str, None] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is not None:  # what is there is half old and half new: leave it to the next drawing
            return
        for name, artist in self._there.items():
            artist.set_visible(name in self._drawn)
        for place, name in enumerate(self._drawn):  # what is drawn later lies on top, however old it is
            if name in self._there:
                self._there[name].set_zorder(round(self._there[name].get_zorder(), 3) + place * _LATER)

    def line(self, name: str, x: ArrayLike, y: ArrayLike, **look: Any) -> Line2D:
        """Draw a line, or marks, through points."""
        from matplotlib.lines import Line2D

        found = self._found(name, Line2D, look)
        if found is None:
            return self._keep(name, Line2D(np.asarray(x), np.asarray(y), **look), look)
        found.set_data(np.asarray(x), np.asarray(y))
        found.set(**{key: value for key, value in look.items() if key != "marker"})
        return found

    def strokes(self, name: str, segments: ArrayLike, **look: Any) -> Line2D:
        """Draw many straight strokes as one artist; ``segments`` has the shape (n, 2, 2)."""
        ends = np.asarray(segments, dtype=float).reshape(-1, 2, 2)
        apart = np.concatenate([ends, np.full((len(ends), 1, 2), np.nan)], axis=1).reshape(-1, 2)
        return self.line(name, apart[:, 0], apart[:, 1], **look)

    def areas(self, name: str, polygons: Sequence[ArrayLike], **look: Any) -> PathPatch | None:
        """Draw many polygons as one artist; each has the shape (corners, 2). None if there is none."""
        from matplotlib.patches import PathPatch

        if not len(polygons):  # an empty patch would still bring its hatch into an SVG
            return None
        path = _closed(polygons)
        found = self._found(name, PathPatch, look)
        if found is None:
            return self._keep(name, PathPatch(path, **look), look)
        found.set_path(path)
        found.set(**look)
        return found

    def band(self, name: str, x: ArrayLike, low: ArrayLike, high: ArrayLike, **look: Any) -> None:
        """Draw the area between two curves over one x."""
        along = np.asarray(x, dtype=float)
        below, above = (np.broadcast_to(np.asarray(one, dtype=float), along.shape) for one in (low, high))
        there, back = np.column_stack([along, above]), np.column_stack([along, below])[::-1]
        self.areas(name, [np.concatenate([there, back])], **look)

    def words(
        self, name: str, text: str, x: float, y: float, *, shift: tuple[float, float] = (0.0, 0.0),
        coords: Any = None, **look: Any,
    ) -> Annotation:  # fmt: skip
        """Write a text at a place, shifted by so many points to the right and up.

        Parameters
        ----------
        name, text : str
        x, y : float
        shift : tuple of float
            [points]
        coords : str or transform, optional
            What x and y are: by default the axes' data, or inches on a figure; see matplotlib's
            ``annotate`` for others.
        **look
            As for a text; ``bbox`` may be None.
        """
        from matplotlib.text import Annotation

        from trackkit.show.word import Word

        look = {"bbox": None, **look}
        found = self._found(name, Annotation, look)
        if found is None:
            where = coords or self._units
            made = Word(
                text, (x, y), xycoords=where, xytext=shift, textcoords="offset points",
                annotation_clip=False, **look,
            )  # fmt: skip
            kept = self._keep(name, made, look)
            kept.set_clip_on(False)
            setattr(kept, _WORE, look)
            return kept
        found.xy = (x, y)
        found.set_position(shift)
        found.set_text(text)
        if getattr(found, _WORE) != look:  # most words keep theirs, and putting a look on takes its time
            box = look["bbox"]
            found.set(**{key: value for key, value in look.items() if key != "bbox"})
            found.set_bbox(dict(box) if box else None)  # its pad goes by the letters' size
            setattr(found, _WORE, look)
        return found

    @property
    def _units(self) -> Any:
        """What places are measured in: the axes' data, or inches of a figure."""
        scale = getattr(self._surface, "transData", None)
        return getattr(self._surface, "dpi_scale_trans", None) if scale is None else "data"

    def _found(self, name: str, kind: type[_Kind], look: Mapping[str, Any]) -> _Kind | None:
        """Return what bears a name; what is of another kind, or says more than the new look, makes way."""
        self._drawn[name] = None
        found = self._there.get(name)
        if found is None:
            return None
        if not isinstance(found, kind) or getattr(found, _LOOK) != _fixed(look):
            found.remove()
            del self._there[name]
            return None
        return found

    def _keep(self, name: str, made: _Kind, look: Mapping[str, Any]) -> _Kind:
        """Put a new artist on the surface; the axes' limits stay as they are."""
        made.set_gid(name)
        setattr(made, _LOOK, _fixed(look))
        if self._units != "data" and not made.is_transform_set():
            made.set_transform(self._units)
        self._surface.add_artist(made)
        self._there[name] = made
        return made


def _fixed(look: Mapping[str, Any]) -> tuple[Any, ...]:
    """Return what of a look only a new artist can take on: which keys it has, and its marker and hatch."""
    return (frozenset(look), str(look.get("marker")), look.get("hatch"))


def _closed(polygons: Sequence[ArrayLike]) -> Path:
    """Return polygons as one path."""
    from matplotlib.path import Path

    corners: list[NDArray[np.float64]] = []
    codes: list[int] = []
    for polygon in polygons:
        own = np.asarray(polygon, dtype=float)
        corners += [own, own[:1]]
        codes += [int(Path.MOVETO), *[int(Path.LINETO)] * (len(own) - 1), int(Path.CLOSEPOLY)]
    return Path(np.concatenate(corners), codes)
