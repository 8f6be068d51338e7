"""What may have gone wrong with readings that are in doubt: proposed, never applied.

Every slip of `slips` is tried as if it had happened: the reading is changed back, and must then agree with
what all other readings make of it. Readings in doubt elsewhere do not count meanwhile, nor does their
roughness: the ground is fitted with the roughness that the readings beyond doubt have.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from trackkit.survey.boards import DEFAULT_PHONE
from trackkit.survey.fitting import Fitted, Setting, fit_rows
from trackkit.survey.prior import GroundType
from trackkit.survey.quality.joint import Joint, joint_of
from trackkit.survey.quality.slips import Change, Slip, readings_in, single_slips, slips_across
from trackkit.survey.readings import Survey
from trackkit.survey.significance import CHANCE_OF_FALSE_ALARM, roughness_freedom
from trackkit.tables.rows import rows_of
from trackkit.units import DISPLAYS, Display

if TYPE_CHECKING:
    from trackkit.survey.ground import Ground

__all__ = ["Change", "Mistake", "corrected", "likely_mistakes"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: A changed reading agrees with the others if chance explains what is left so often (a choice).
AGREES: Final = 0.01
#: Explanations whose squares are no more than this worse than the best one's are as good: 2 sd (a choice).
AS_GOOD: Final = 4.0
#: ... and of these, a kind that needs a rod of just the right length comes last (a choice).
RARE: Final = ("upside down",)
#: Where that cannot be asked, because the fit needs them all, their root mean square w is at most this (a
#: choice).
PLAIN: Final = 1.5
#: More rows than this are not looked at: the arrays are dense.
MOST_ROWS: Final = 3000


@dataclass(frozen=True)
class Mistake:
    """One thing that may have gone wrong, and how well that would explain what is in doubt.

    Attributes
    ----------
    kind : str
        What happened: 'decimetre', 'sides', 'facing', ...
    changes : tuple of Change
        Figures as read, and as they would be.
    off_m : float
        Largest distance of one of the readings from what all others make of it, as read [m]; an
        angle's as the rise over its board.
    left_m : float
        The same once they are changed, the others among them too [m].
    w, w_left : float
        The same in standard deviations; of several readings together the root mean square.
    others : int
        How many other explanations of the same doubt are as good.
    doubts : tuple of int
        The doubts that it explains, by their numbers in ``Ground.residuals["rivals"]``; none where no
        reading was in doubt by itself.
    """

    kind: str
    changes: tuple[Change, ...]
    off_m: float
    left_m: float
    w: float
    w_left: float
    others: int
    doubts: tuple[int, ...]

    @property
    def readings(self) -> tuple[str, ...]:
        """The readings that would be changed."""
        return tuple(change.reading for change in self.changes)


def corrected(survey: Survey, mistake: Mistake) -> Survey:
    """Return the survey with the figures of a mistake changed, and a note that says so."""
    frames: dict[str, Any] = {}
    for change in mistake.changes:
        frame = frames.get(change.table, getattr(survey, change.table)).copy()
        frame.loc[frame["reading"] == change.reading, change.column] = change.new
        frames[change.table] = frame
    note = f"changed, to try whether that is what went wrong: {', '.join(dict.fromkeys(mistake.readings))}"
    return replace(survey, **frames, notes=(*survey.notes, note))


def likely_mistakes(ground: Ground, *, display: Display = DISPLAYS["mm"]) -> tuple[Mistake, ...]:
    """Return what may have gone wrong, for each doubt the best explanation first.

    Only what leaves the readings in agreement with all others is returned. A single reading is looked at if
    it is in doubt; readings that may have been exchanged, and whole tables, also if none of them is.

    Parameters
    ----------
    ground : Ground
    display : Display
        Of the job; it says whether the crew works in feet and inches.

    Returns
    -------
    tuple of Mistake
        Empty for a survey without doubt, or of more than `MOST_ROWS` readings.
    """
    if ground.setting.observations.value.size > MOST_ROWS:
        return ()
    table = ground.residuals
    doubts = {str(row.reading): int(row.rivals) for row in rows_of(table) if row.rivals > 0}
    trial = _Trial.of(ground, doubts)
    known = readings_in(ground.survey)
    alone = [
        slip for reading in doubts if reading in known for slip in single_slips(*known[reading], display)
    ]
    together = [slip for slip in slips_across(ground.survey) if trial.knows(slip)]
    tried = [trial.explains(slip, len(table)) for slip in alone if trial.knows(slip)]
    tried += [trial.explains(slip, len(together)) for slip in together]
    return _ranked([found for found in tried if found is not None], trial.worth)


@dataclass(frozen=True)
class _Trial:
    """A fit that the readings in doubt have not spoilt, and where every reading stands in it."""

    joint: Joint
    rows: dict[str, int]
    known: dict[str, tuple[str, Any]]
    doubts: dict[str, int]
    zeros: tuple[str, ...]
    width: float
    freedom: float
    known_without: dict[tuple[int, ...], tuple[float, Joint]]

    @classmethod
    def of(cls, ground: Ground, doubts: dict[str, int]) -> _Trial:
        setting, fitted = ground.setting, ground.fitted
        rows = setting.observations
        if doubts and fitted.roughness.estimated:
            setting, fitted = _unspoilt(setting, fitted, ~rows.table["reading"].isin(list(doubts)).to_numpy())
        return cls(
            joint_of(setting, fitted),
            {str(name): i for i, name in enumerate(rows.table["reading"]) if rows.table["counts"].iloc[i]},
            readings_in(ground.survey),
            doubts,
            tuple(name for kind, name in rows.names if kind == "zero"),
            ground.width,
            roughness_freedom(setting, fitted),
            {},
        )

    @property
    def worth(self) -> float:
        """What the squares must fall by for a reading to be in doubt."""
        from scipy.special import ndtri, stdtrit

        share = 1.0 - CHANCE_OF_FALSE_ALARM / (2.0 * max(len(self.rows), 1))
        return float(ndtri(share) if np.isinf(self.freedom) else stdtrit(self.freedom, share)) ** 2

    def knows(self, slip: Slip) -> bool:
        """Return whether all readings of a slip are in the fit."""
        return all(name in self.rows for name in slip.readings)

    def explains(self, slip: Slip, tried: int) -> tuple[Mistake, float] | None:
        """Return a slip as a mistake if, so many slips being tried, it explains what chance does not.

        And by how much the squares fall, with all readings set aside that are in doubt all the same.
        """
        from scipy.special import chdtri, ndtri, stdtrit

        rows = np.array([self.rows[name] for name in slip.readings], dtype=np.intp)
        own, place = np.unique(rows, return_inverse=True)
        share = 1.0 - CHANCE_OF_FALSE_ALARM / (2.0 * max(tried, 1))
        wide = 1.0 if np.isinf(self.freedom) else float(stdtrit(self.freedom, 0.995) / ndtri(0.995))
        limit = float(ndtri(share) if np.isinf(self.freedom) else stdtrit(self.freedom, share))
        change = self._change(slip, self.joint, own, place)
        if self.joint.gain(own, change) <= 0.0:
            return None
        numbers = self._settled(own, change, limit)
        numbers |= {self.doubts[name] for name in slip.readings if name in self.doubts}
        fall, joint = self._without_doubts_but(frozenset(numbers), own)
        if any(one.column == "facing" for one in slip.changes):
            change = self._change(slip, joint, own, place)
        gain = joint.gain(own, change)
        if gain <= limit**2:
            return None
        # how far off is told of each against all others: without any of them little is known of the place
        off, before = joint.each_off(own)
        off_then, left = joint.changed(own, change).each_off(own)
        if joint.can_do_without(own):
            before = joint.gain_without(own)
            left = max(before - gain, 0.0)
            agree = left <= wide**2 * chdtri(own.size, AGREES)
        else:  # all rods, say
            agree = left <= (wide * PLAIN) ** 2 * own.size
        if not agree:
            return None
        mistake = Mistake(
            slip.kind,
            slip.changes,
            float(np.abs(off).max()),
            float(np.abs(off_then).max()),
            float(np.sqrt(before / own.size)),
            float(np.sqrt(left / own.size)),
            0,
            tuple(sorted(numbers)),
        )
        return mistake, fall + gain

    def _settled(self, own: Indices, change: Array, limit: float) -> set[int]:
        """Return the doubts that are none any more once a slip is put right."""
        if not self.doubts:
            return set()
        names = [name for name in self.doubts if name in self.rows]
        at = np.array([self.rows[name] for name in names], dtype=np.intp)
        joint = self.joint
        pull = joint.pull[at] - joint.hold[np.ix_(at, own)] @ change
        w = np.abs(pull) / np.sqrt(np.maximum(joint.hold[at, at], 1e-12))
        before = np.abs(joint.pull[at]) / np.sqrt(np.maximum(joint.hold[at, at], 1e-12))
        numbers = np.array([self.doubts[name] for name in names])
        quiet = (w < limit) & (w < before)
        return {int(number) for number in np.unique(numbers) if quiet[numbers == number].all()}

    def _without_doubts_but(self, numbers: frozenset[int], own: Indices) -> tuple[float, Joint]:
        """Return how far the squares fall without the other readings in doubt, and the fit without them."""
        others = tuple(
            self.rows[name]
            for name, number in self.doubts.items()
            if name in self.rows and number not in numbers and self.rows[name] not in own
        )
        if others not in self.known_without:
            aside: list[int] = []
            for row in others:  # as many as the fit can do without
                if self.joint.can_do_without(np.array([*aside, row], dtype=np.intp)):
                    aside.append(row)
            which = np.array(aside, dtype=np.intp)
            fall = self.joint.gain_without(which) if aside else 0.0
            self.known_without[others] = (fall, self.joint.without(which))
        return self.known_without[others]

    def _change(self, slip: Slip, joint: Joint, own: Indices, place: NDArray[np.intp]) -> Array:
        """Return what a slip's changes are worth in height for each of its rows [m]."""
        change = np.zeros(own.size)
        np.add.at(change, place, self._changes(slip, joint, own))
        return change

    def _changes(self, slip: Slip, joint: Joint, own: Indices) -> Array:
        """Return what the changes of a slip are worth in height, one for each of its readings [m]."""
        turned = any(change.column == "facing" for change in slip.changes)
        zero = joint.zero
        if turned and joint.can_do_without(own):
            zero = joint.zero_without(own)
        found = []
        for change in slip.changes:
            table, row = self.known[change.reading]
            if change.column == "rod_m":
                found.append(change.new - change.old)
                continue
            length = self.width if table == "crosslevels" else abs(row.to_station_m - row.station_m)
            if change.column == "facing":  # what was added as zero error is to be taken off, and the reverse
                facing = -1.0 if change.old == "back" else 1.0
                at = self.zeros.index(str(row.instrument) or DEFAULT_PHONE)
                found.append(2.0 * facing * length / np.cos(row.angle_rad) ** 2 * zero[at])
            elif change.column == "angle_rad":
                found.append(length * (np.tan(change.new) - np.tan(change.old)))
            else:
                found.append(change.new - change.old)
        return np.array(found, dtype=float)


def _unspoilt(setting: Setting, fitted: Fitted, keep: NDArray[np.bool_]) -> tuple[Setting, Fitted]:
    """Return the fit of all rows with the roughness that some of them have."""
    try:
        rough = fit_rows(setting, keep=keep).roughness
    except np.linalg.LinAlgError:  # readings in doubt that the fit needs
        return setting, fitted
    known = replace(setting, ground_type=GroundType(rough.q_mean, rough.q_twist, rough.relief))
    again = fit_rows(known)
    return known, replace(again, roughness=replace(again.roughness, estimated=fitted.roughness.estimated))


def _ranked(found: Sequence[tuple[Mistake, float]], worth: float) -> tuple[Mistake, ...]:
    """Return for each doubt, or doubts that one mistake explains together, the best explanations.

    A doubt that an explanation leaves open costs what made it a doubt, ``worth`` in squares.
    """
    ranked: list[Mistake] = []
    for together in _linked(mistake.doubts for mistake, _ in found):
        if not together and any(len(mistake.changes) > 1 for mistake in ranked):
            continue  # part of what explains the doubts
        some = [(m, fall) for m, fall in found if set(m.doubts) <= together and (m.doubts or not together)]
        scores = [worth * (len(together) - len(m.doubts)) - fall for m, fall in some]
        best = min(scores)
        good = sorted(
            (some[i][0].kind in RARE, score, i) for i, score in enumerate(scores) if score <= best + AS_GOOD
        )
        kept = _shortest([some[i][0] for *_, i in good])
        ranked += [replace(mistake, others=len(kept) - 1) for mistake in kept]
    return tuple(ranked)


def _shortest(good: Sequence[Mistake]) -> list[Mistake]:
    """Return explanations that are as good, without those that change all that another one does, and more."""
    changed = [frozenset(mistake.changes) for mistake in good]
    kept = [all(not other < own for other in changed) for own in changed]
    first = [own not in changed[:place] for place, own in enumerate(changed)]
    return [mistake for mistake, *here in zip(good, kept, first, strict=True) if all(here)]


def _linked(doubts: Iterable[tuple[int, ...]]) -> list[set[int]]:
    """Return the doubts in sets, so that what explains several of them lies in one; first the lowest."""
    sets: list[set[int]] = []
    for some in dict.fromkeys(doubts):
        joined = set(some)
        for other in [other for other in sets if other & joined or not (other or joined)]:
            joined |= other
            sets.remove(other)
        sets.append(joined)
    return sorted(sets, key=lambda one: (not one, min(one, default=0)))
