"""What the readings alone say, in words: can they be trusted, and what do they leave open."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from trackkit.checked_instruments import check_words
from trackkit.checked_logs import log_lines
from trackkit.checked_quality import log_contradicts
from trackkit.found import Found, Undoubted, find_out, leave_aside, undoubted_words
from trackkit.job import Job
from trackkit.listed import Listing
from trackkit.mistaken import short_names
from trackkit.nextread import next_for, next_listing
from trackkit.paper import columns, wrapped
from trackkit.problems import CannotDo, FitError, InputProblems
from trackkit.survey.ground import Ground
from trackkit.survey.instruments import BASIS
from trackkit.survey.known import sd_against_best
from trackkit.survey.quality import detectable_errors
from trackkit.survey.quality.at_hand import kinds_of
from trackkit.survey.quality.detectable import POWER
from trackkit.survey.readings import cautions, read_on_rail
from trackkit.survey.sights import SIGHT
from trackkit.tables.rows import rows_of
from trackkit.units import LENGTH_UNITS, Display
from trackkit.unnoticed import unnoticed_lines

if TYPE_CHECKING:
    from trackkit.plan import Laid

__all__ = ["check_lines", "check_text", "instrument_lines", "known_to"]

#: How many places are asked on each side how well the ground is known there (a choice).
PLACES: Final = 200
#: Fewer readings to spare than this hardly tell how rough the ground is (a choice).
FEW_FOR_ROUGHNESS: Final = 4


def known_to(ground: Ground) -> float:
    """Return the give or take (2 sd) to which the ground is known from its first to its last reading [m].

    Of heights against each other, at the worst place: where the ground is rough, that lies between the
    readings, where the ties stand too. It is what the picture of the ground hatches where it is large.

    Parameters
    ----------
    ground : Ground

    Returns
    -------
    float
        NaN where the ground itself was never read.
    """
    if not ground.sides:
        return float("nan")
    stations = np.linspace(ground.stations[0], ground.stations[-1], PLACES)
    return 2.0 * max(float(sd_against_best(ground, stations, side).max()) for side in ground.sides)


def check_text(job: Job, ground: Ground, no_run: str = "", laid: Laid | None = None) -> str:
    """Return what the readings alone say: which are in doubt and why, how much they check each other.

    Parameters
    ----------
    job : Job
    ground : Ground
    no_run : str
        Why the job has no run, which the readings don't need.
    laid : Laid, optional
        The job's line over that ground: what to read next, and what would not be noticed, is said of its
        fills.
    """
    found = find_out(job, ground)
    if log_contradicts(ground):
        laid = None
    undoubted = leave_aside(job, ground, found.aside)
    counted = laid
    if laid is not None and undoubted.out:
        counted = _laid_again(undoubted)
    out = undoubted.out if counted is not laid else ()
    paragraphs = [
        [job.name.upper()],
        *_first(found),
        list(found.agreement),
        check_words(job.folder, ground.instruments, job.display),
        [
            *undoubted_words(undoubted, found.whole),
            *check_lines(undoubted.job, undoubted.ground),
            *(unnoticed_lines(counted) if counted is not None else []),
        ],
        [_next(counted, out, bool(found.doubts.rows or found.whole))] if counted is not None else [],
        list(ground.survey.notes),
        [str(caution) for caution in cautions(ground.survey)],
    ]
    if no_run:
        paragraphs.append([f"CAUTION: the readings were checked, but the job cannot be laid: {no_run}"])
    texts = ("\n".join(_broken(line) for line in lines) for lines in paragraphs)
    return "\n\n".join(text for text in texts if text) + "\n"


def _first(found: Found) -> list[list[str]]:
    """Return what is in doubt and what may have happened, whole explanations before single readings."""
    happened = ["WHAT MAY HAVE HAPPENED", *found.happened] if found.happened else []
    again = [found.verdict or _table(found.doubts)]
    return [happened, again] if found.explained_first and found.doubts.rows else [again, happened]


def _laid_again(undoubted: Undoubted) -> Laid | None:
    """Return the job's line over the ground without the readings in doubt; None if there is none."""
    from trackkit.plan import lay_on

    try:
        return lay_on(undoubted.job, undoubted.ground)
    except (InputProblems, FitError, CannotDo):
        return None


def _broken(line: str) -> str:
    """Return a line broken over several, but a table as it stands."""
    return line if "\n" in line else wrapped(line, hang=2)


def _table(listing: Listing) -> str:
    notes = [wrapped(note, hang=2) for note in listing.notes]
    table = columns(listing.head, listing.rows, right=listing.right, wrap=listing.wide)
    return "\n".join([listing.title, table, *notes])


def _next(laid: Laid, out: Sequence[str], open_: bool) -> str:
    """Return what to read next, for the fills, once what is in doubt has been settled."""
    text = _table(next_listing(next_for(laid, kinds=kinds_of(laid.ground.survey)), laid.job))
    if out:
        text += f"\nFirst settle what is in doubt: this leaves {short_names(out)} out."
    elif open_:
        text += "\nFirst settle what is in doubt: this counts it as it was read."
    return text


def check_lines(job: Job, ground: Ground) -> list[str]:
    """Return how much the readings check each other, and what was found beside the ground, a line each."""
    show, table = job.display, ground.residuals
    checked, spare = table["checked"].value_counts(), round(table["redundancy_readings"].sum())
    rail = read_on_rail(ground.survey)
    ground_words = f"{'Track, as it lies' if rail else 'Ground'}: {ground.roughness.words(show, rail=rail)}."
    lines = [
        f"{len(table)} readings; {spare} more than there are heights to find.",
        f"{checked.get('readings', 0)} are checked by other readings, {checked.get('smoothness', 0)} only by "
        f"the smoothness of the {'track' if rail else 'ground'}, {checked.get('nothing', 0)} by nothing.",
        *_noticed(ground, show),
        ground_words if ground.sides else "No reading of the ground itself.",
        *_hardly_estimated(ground),
        *instrument_lines(job, ground),
    ]
    for laser in rows_of(ground.lasers):
        lines.append(f"Laser position {laser.laser}: {show.small_unit(laser.height_m)} above the datum, "
                     f"give or take {show.small_unit(2 * laser.sd_m)}.")  # fmt: skip
    for phone in rows_of(ground.zero_errors):
        if phone.instrument.startswith(SIGHT):
            far = 10.0 * LENGTH_UNITS["mm" if show.unit != "in" else "in"] ** -1
            rise, sd = far * phone.zero_rad, far * phone.sd_rad
            unit = "mm" if show.unit != "in" else "in"
            lines.append(f"{phone.instrument}: rises {rise:+.2f} {unit} in 10 m, give or take {2 * sd:.2f}.")
            continue
        degrees, sd = np.degrees(phone.zero_rad), np.degrees(phone.sd_rad)
        lines.append(f"{phone.instrument}: zero error {degrees:+.2f} degrees, give or take {2 * sd:.2f}.")
    return [*lines, *log_lines(ground)]


def _hardly_estimated(ground: Ground) -> list[str]:
    """Return that the roughness is hardly more than a guess, where few readings tell of it."""
    if not ground.sides or not ground.roughness.estimated or ground.dof >= FEW_FOR_ROUGHNESS:
        return []
    return ["With so few readings that is hardly more than a guess: read more places."]


def _noticed(ground: Ground, show: Display) -> list[str]:
    """Return from which size on a misread rod would be noticed."""
    found = detectable_errors(ground)
    rods = found[found["kind"].str.startswith("rod") & np.isfinite(found["noticed_m"])]
    if rods.empty:
        return []
    usual, worst = float(rods["noticed_m"].median()), rods.loc[rods["noticed_m"].idxmax()]
    return [
        f"A misread rod is noticed {POWER:.0%} of the time from about {show.small_unit(usual)} on; the one "
        f"checked least, {worst['reading']}, from {show.small_unit(float(worst['noticed_m']))} on."
    ]


def instrument_lines(job: Job, ground: Ground) -> list[str]:
    """Return what a single reading was taken to be worth, and where that comes from."""
    sds, show = ground.instruments, job.display
    kinds = set(ground.residuals["kind"])
    stated = job.file.instruments.model_dump(exclude_none=True)

    def source(name: str) -> str:
        if name == ground.estimated:
            return "estimated from the readings"
        return "as stated in the job" if name in stated else BASIS[name].split(":")[0].split(",")[0]

    lines = []
    if any(kind.startswith("rod") for kind in kinds):
        lines.append(f"One rod reading: give or take {show.small_unit(2 * sds.rod_sd)} ({source('rod_sd')}).")
    if len(ground.zero_errors):
        degrees = np.degrees(2 * sds.angle_sd)
        lines.append(f"One angle: give or take {degrees:.1f} degrees ({source('angle_sd')}).")
    return lines
