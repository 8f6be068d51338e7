"""What is wished of a line, between controls and the job file: from one to the other and back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from trackkit.jobschema import LineTable
from trackkit.layout.line import BEND, GAP

if TYPE_CHECKING:
    from trackkit.desk.controls import Option
    from trackkit.job import Job
    from trackkit.units import Display

__all__ = ["AS_IN_FILE", "NOT_ASKED", "as_toml", "in_words", "line_of", "references", "wishes_of"]

#: Stands for a reference that only the job file can say: a rail or a lens height.
AS_IN_FILE: Final = "as in the job file"
GOVERNING: Final = "governing"
#: Of a confidence: a slider has no place for None.
NOT_ASKED: Final = 0.0
#: Keys of [line] that are said in per cent; the other numbers are heights.
_SHARES: Final = ("grade", "grade_limit", "bend_limit", "confidence")


def wishes_of(job: Job) -> dict[str, Any]:
    """Return what a job wishes of its line, as values of controls; heights in metres."""
    line, reference = job.file.line, job.reference
    held = reference if isinstance(reference, tuple) or reference == GOVERNING else AS_IN_FILE
    return {
        "kind": line.kind,
        "reference": held,
        "gap": GAP if line.gap is None else line.gap,
        "grade": 0.0 if line.grade is None else line.grade,
        "bend": BEND if line.bend_limit is None else line.bend_limit,
        "confidence": NOT_ASKED if line.confidence is None else line.confidence,
    }


def references(job: Job, ends: Sequence[Option]) -> list[Option]:
    """Return all that a line may be set from: the governing point, what only the file says, every tie end."""
    found: list[Option] = [("the governing point", GOVERNING)]
    if wishes_of(job)["reference"] == AS_IN_FILE:
        found.append(("the height in the job file", AS_IN_FILE))
    return [*found, *ends]


def line_of(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of the controls as they would stand under [line] in a job file.

    Examples
    --------
    >>> line_of({"kind": "grade", "reference": (7, "left"), "gap": 0.012, "grade": 0.015, "bend": 0.003,
    ...          "confidence": 0.9})["reference"]
    {'tie': 7, 'side': 'left'}
    """
    kind, reference = values["kind"], values["reference"]
    wishes: dict[str, Any] = {
        "kind": kind,
        "gap": f"{1000.0 * values['gap']:.10g} mm",
        "grade": f"{100.0 * values['grade']:.10g} %" if kind == "grade" else None,
        "bend_limit": f"{100.0 * values['bend']:.10g} %" if kind == "follow" else None,
        "confidence": None if values["confidence"] == NOT_ASKED else f"{100.0 * values['confidence']:.10g} %",
    }
    if reference == GOVERNING:
        wishes["reference"] = None
    elif reference != AS_IN_FILE:
        wishes["reference"] = {"tie": reference[0], "side": reference[1]}
    return wishes


def as_toml(job: Job) -> str:
    """Return all keys of a job's [line] as they would stand in its file."""
    line = job.file.line
    keys = ["[line]"]
    for key in LineTable.model_fields:
        value = getattr(line, key)
        if value is None or key == "reference":
            continue
        keys.append(f'{key} = "{_written(key, value, job.display)}"')
    if line.reference is None:
        keys.append("# no reference: take one out if it stands there")
    elif line.reference.tie is None:
        keys.append("# and reference as it stands there")
    else:
        keys.append(f'reference = {{ tie = {line.reference.tie}, side = "{line.reference.side}" }}')
    return "\n".join(keys)


def _written(key: str, value: Any, display: Display) -> str:
    """Return a value of [line] with its unit: a word, a share or a height in the crew's unit."""
    if isinstance(value, str):
        return value
    if key in _SHARES:
        return f"{100.0 * value:.10g} %"
    return f"{value / 0.0254:.8g} in" if display.unit == "in" else f"{1000.0 * value:.10g} mm"


def in_words(job: Job) -> list[str]:
    """Return how the line of a job is set, for the top of a page."""
    line, reference = job.file.line, job.reference
    kind = {"grade": f"at a grade of {100.0 * (line.grade or 0.0):+.6g} %", "follow": "bent at the joints"}
    found = [kind.get(line.kind, line.kind)]
    if isinstance(reference, tuple):
        found.append(f"set from tie {reference[0]} {job.side(reference[1])}")
    else:
        found.append("set from the governing point" if reference == GOVERNING else "set as the job file says")
    found.append(f"gap {job.display.small_unit(GAP if line.gap is None else line.gap)}")
    if line.confidence is not None:
        found.append(f"{100.0 * line.confidence:.10g} % sure that nothing touches")
    return found
