"""What really goes wrong on the day, beside the scatter of the readings.

The doubt of a fill has parts that a crew can do different things about: the readings' own scatter, what
readings share (a phone's zero error), ground that nobody read between them, and track that is laid beside the
line that was read. All but the last add up to the fit's covariance (`trackkit.study.parts`). A rod that was
misread without being noticed is in none of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.layout.doubt import Doubt, sideways_covariance
from trackkit.layout.finished import FinishedLine
from trackkit.layout.grounds import Point
from trackkit.study.cleared import HARDLY, CauseRow, Cleared, cleared_by
from trackkit.study.contest import deal
from trackkit.study.humps import Unread, between_readings, humps_under
from trackkit.study.misread import Misread, misread_rods
from trackkit.study.parts import ONE_IN_20, SHARED, Parts, parts_each
from trackkit.survey.ground import Ground

__all__ = ["CAUSES", "MISREAD", "Causes", "find_causes"]

Array = NDArray[np.float64]

#: What each part is called.
CAUSES: Final = {
    "unread": "a hump that nobody read",
    "sideways": "track laid beside the line that was read",
    "misread": "a rod that was misread",
    "zero": "the zero error of the phone or digital level",
    "sight": "a line of sight that is not level",
    "drift": "the zero error wandering along a log",
    "pegs": "the given heights of pegs",
    "scatter": "the scatter of the readings",
}
#: Of so many rods one is misread by a whole unit: 1 in 200. Guess.
MISREAD: Final = 0.005
DRAWS: Final = 10_000
#: What readings share is not told of where it comes to less than a rod can be read to [m]: half a
#: millimetre, common practice, no source.
_NOTHING: Final = 0.0005
#: Heights that differ by less may be the same but for rounding [m].
_ROUND: Final = 1e-9


@dataclass(frozen=True, eq=False)
class Causes:
    """What each cause does to the fills of a line.

    Attributes
    ----------
    table : DataFrame
        One row a cause that is there, the one that touches most often first: cause (a key of `CAUSES`),
        chance (that it happens at all: 1 but for a misread rod), at (where it does most: a tie end or an
        obstacle), size_m (what it takes off the line's height over that: 1 time in 20 more than this; the
        misread rod that does most, weighed by its chance to pass unnoticed), touches (chance that the line
        touches anything it must clear, for this cause alone), touches_at (what it then touches most often;
        '' where hardly ever), lift_m (how much higher the line has to be then for all that touches to have
        its room again, a tie end its gap, on average over the cases that touch; 0 where hardly any does).
    humps : DataFrame
        See `trackkit.study.humps.humps_between`.
    misread : DataFrame
        One row a rod and unit: reading, unit_m, unnoticed (chance that such a misreading passes unnoticed),
        at (what it moves most against the line), effect_m (by so much), touches (chance that the line touches
        then).
    parts : dict of str to array
        Covariance of the fills by 'scatter', 'unread', 'sideways' and those of `trackkit.study.parts.SHARED`
        that the survey has, shape (ends, ends) [m²].
    fills : array, shape (ends,)
        As they are planned [m].
    units : tuple of float
        What rods are misread by [m].
    rate : float
        Share of rods that are misread.
    line : FinishedLine
        The line that all this is of.
    unmoved : Unmoved
        What was worked out for it and stays as it is when the line is raised.
    """

    table: pd.DataFrame
    humps: pd.DataFrame
    misread: pd.DataFrame
    parts: dict[str, Array]
    fills: Array
    units: tuple[float, ...]
    rate: float
    line: FinishedLine
    unmoved: Unmoved

    def raised(self, more: float) -> Causes:
        """Return what the causes do to the line once it lies so much higher, with so much more gap [m].

        The same as `find_causes` of that line, in a fraction of the time: the parts, what each misread rod
        moves and how well the ground between readings is known do not hang on how high the line lies.
        """
        return _causes(self.line.higher(more), self.unmoved, self.units, self.rate)

    @property
    def told(self) -> pd.DataFrame:
        """The table, less what does nothing: rods where none was read, the zero of a reversed phone."""
        least = np.where(self.table["cause"].isin(SHARED), _NOTHING, 0.0)
        return self.table[self.table["size_m"] > least]


def find_causes(
    ground: Ground,
    line: FinishedLine,
    *,
    units: Sequence[float] = (0.1, 0.01),
    rate: float = MISREAD,
    doubt: Doubt | None = None,
    set_from: Point | None = None,
    likely: Sequence[tuple[float, Ground]] = (),
    draws: int = DRAWS,
    seed: int = 1,
) -> Causes:
    """Return what a hump nobody read, track laid sideways, a misread rod and the readings do to a line.

    Parameters
    ----------
    ground : Ground
    line : FinishedLine
    units : sequence of float
        What rods are misread by, each as often as the others: a decimetre and a centimetre, a foot and an
        inch [m].
    rate : float
        Share of rods that are misread. 1 in 200: guess.
    doubt : Doubt, optional
        By default that of the line.
    set_from : Point, optional
        The peg that the line is set from; by default it is set from what it rests on.
    likely : sequence of (share, Ground), optional
        The grounds of which the readings may be, see `trackkit.survey.likely.likely_grounds`; by default it
        is this ground for certain.
    draws, seed : int

    Raises
    ------
    ValueError
        If a unit is not above 0, or ``rate`` not between 0 and 1.
    """
    if not units or not all(unit > 0.0 for unit in units):
        raise ValueError(f"units must be above 0 m, at least one, got {list(units)}")
    if not 0.0 <= rate <= 1.0:
        raise ValueError(f"rate must lie between 0 and 1, got {rate}")
    doubt = doubt or line.doubt
    held = line if set_from is None else line.held_by(set_from)
    cleared = cleared_by(line, held, doubt.touch)
    rails = between_readings(ground, line)
    more = [point for rail in rails for point in rail.points]
    points = tuple(dict.fromkeys([*cleared.points, *more]))
    each = parts_each(ground, points, likely=likely)
    sideways = sideways_covariance(ground, cleared.points, doubt, line.run.breaks, head=line.run.head)
    over = [_over(one, cleared, sideways) for one in each]
    of = deal([one.share for one in each], draws)
    normals = np.random.default_rng(seed).standard_normal((len(cleared.labels), draws))
    unread = sum(one.share * (one.parts["unread"] + np.outer(one.off, one.off)) for one in each)
    unmoved = Unmoved(
        cleared=cleared,
        parts={name: _whole(name, over) for name in over[0].parts},
        drawn=tuple(_drawn(name, over, cleared, normals, of) for name in over[0].parts),
        misread=misread_rods(ground, cleared, units, rate),
        rails=tuple(rail.known(ground, held, points, np.asarray(unread)) for rail in rails),
    )
    return _causes(line, unmoved, tuple(units), rate)


@dataclass(frozen=True, eq=False)
class Unmoved:
    """What of the causes does not hang on how high the line lies.

    Attributes
    ----------
    cleared : Cleared
        What the line must clear, as it lay first.
    parts : dict of str to array, shape (rows, rows)
        Covariance of what is cleared, cause by cause [m²].
    drawn : tuple of DrawnPart
        Of each of them.
    misread : Misread
    rails : tuple of Unread
        Ground between the readings.
    """

    cleared: Cleared
    parts: dict[str, Array]
    drawn: tuple[DrawnPart, ...]
    misread: Misread
    rails: tuple[Unread, ...]


@dataclass(frozen=True, eq=False)
class DrawnPart:
    """Draws of what one cause does to the heights of the line above what it must clear.

    Attributes
    ----------
    cause : str
    sd : array, shape (rows,)
        [m]
    off : array, shape (rows, draws)
        What each draw adds to the heights [m].
    above : array, shape (rows,)
        The heights as the line lay first, and...
    lowest : array, shape (draws,)
        ...the lowest of them in each draw [m]: it tells which draws cannot touch under another line.
    """

    cause: str
    sd: Array
    off: Array
    above: Array
    lowest: Array

    def told(self, cleared: Cleared) -> CauseRow:
        """Return what the cause does to a line, by the draws in which it may touch."""
        worst, draws = int(self.sd.argmax()), self.lowest.size
        least = self.lowest + float((cleared.above - self.above).min())
        some = self.off[:, least < _ROUND - cleared.touch] + cleared.above[:, None]
        share, place, lift = cleared.outcome(some, np.full(some.shape[1], 1.0 / draws))
        if share < HARDLY:
            place, lift = "", 0.0
        size = ONE_IN_20 * float(self.sd[worst])
        return CauseRow(self.cause, 1.0, cleared.labels[worst], size, share, place, lift)


def _over(one: Parts, cleared: Cleared, sideways: Array) -> Parts:
    """Return the parts of how high the line lies above what is cleared, over one of the likely grounds."""
    own, jacobian = len(cleared.points), cleared.jacobian
    given = {**{name: part[:own, :own] for name, part in one.parts.items()}, "sideways": sideways}
    return Parts(
        one.share,
        {name: jacobian @ part @ jacobian.T for name, part in given.items()},
        jacobian @ one.off[:own],
    )


def _whole(cause: str, over: Sequence[Parts]) -> Array:
    """Return a part over all likely grounds; what their heights differ by is of ground that nobody read."""
    unread = cause == "unread"
    return np.asarray(
        sum(one.share * (one.parts[cause] + unread * np.outer(one.off, one.off)) for one in over)
    )


def _drawn(
    cause: str, over: Sequence[Parts], cleared: Cleared, normals: Array, of: NDArray[np.int64]
) -> DrawnPart:
    """Return draws of what a cause does, out of normals (rows, draws), each of a draw's own likely ground."""
    off = np.empty_like(normals)
    for i, one in enumerate(over):
        part, mine = one.parts[cause], of == i
        values, vectors = np.linalg.eigh((part + part.T) / 2.0)
        off[:, mine] = (vectors * np.sqrt(np.maximum(values, 0.0))) @ normals[:, mine]
        if cause == "unread":
            off[:, mine] += one.off[:, None]
    sd = np.sqrt(np.maximum(np.diag(_whole(cause, over)), 0.0))
    return DrawnPart(cause, sd, off, cleared.above, (off + cleared.above[:, None]).min(axis=0))


def _causes(line: FinishedLine, unmoved: Unmoved, units: tuple[float, ...], rate: float) -> Causes:
    """Return what the causes do to a line, as high as it lies."""
    cleared = unmoved.cleared.under(line)
    misread, told = unmoved.misread.told(cleared)
    table = pd.DataFrame([*(part.told(cleared) for part in unmoved.drawn), told], columns=CauseRow._fields)
    order = {name: i for i, name in enumerate(CAUSES)}
    table = table.sort_values(
        ["touches", "cause"], key=lambda own: own.map(order) if own.name == "cause" else -own, kind="stable"
    ).reset_index(drop=True)
    ends = cleared.ends
    return Causes(
        table=table,
        humps=humps_under(line, unmoved.rails),
        misread=misread,
        parts={name: part[:ends, :ends] for name, part in unmoved.parts.items()},
        fills=cleared.above[:ends],
        units=units,
        rate=rate,
        line=line,
        unmoved=unmoved,
    )
