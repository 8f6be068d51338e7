r"""Read a job file, and tell every fault in it at once.

Lengths, grades, angles and masses are text with their unit (``"12 mm"``, ``"5' 3 1/2"``,
``"2 %"``, ``"0.3 deg"``, ``"400 kg"``): a bare number is refused, for nobody could check it.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any, get_args, get_origin

from pydantic import BaseModel, ValidationError

from trackkit.jobschema import JobFile
from trackkit.problems import InputProblems, Problem, nearest

__all__ = ["JOB_FILE", "job_path", "read_job_file"]

#: Name of the job file in a job folder.
JOB_FILE = "job.toml"


def job_path(job: str | Path) -> Path:
    """Return the job file of a job given by its folder or by the file itself.

    Raises
    ------
    InputProblems
        If there is neither.
    """
    path = Path(job)
    if path.is_dir():
        path = path / JOB_FILE
    if not path.is_file():
        found = "no such file" if path.parent.is_dir() else "no such folder"
        do = "give the job's folder; `trackkit start DIR` makes one to begin from"
        raise InputProblems([Problem(str(path), found, f"a job folder with a {JOB_FILE} in it", do)])
    return path


def read_job_file(path: Path) -> JobFile:
    """Return the checked job file.

    Raises
    ------
    InputProblems
        With every fault: TOML errors with line and column, unknown keys with the nearest known
        one, missing keys, values that are not what the key takes.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found = f"a byte that is not UTF-8 at position {error.start}"
        raise InputProblems([Problem(path.name, found, "text in UTF-8", "save it as UTF-8")]) from None
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputProblems([_toml_fault(path.name, str(error))]) from None
    try:
        return JobFile.model_validate(content)
    except ValidationError as error:
        errors = [dict(each) for each in error.errors()]
        faults = [_fault(path.name, text, each) for each in errors if not _follows(each, errors)]
        raise InputProblems(dict.fromkeys(faults)) from None


def _toml_fault(file: str, message: str) -> Problem:
    place = re.search(r"\(at line (\d+), column (\d+)\)", message)
    what = message.split(" (at ")[0]
    if not place:
        return Problem(file, f"broken TOML ({what})", 'lines like key = "value"', "look at its last line")
    do = "text stands in quotes, a table's name in [brackets] on a line of its own"
    return Problem(file, f"broken TOML ({what})", 'key = "value"', do, int(place[1]), f"column {place[2]}")


def _follows(error: dict[str, Any], errors: list[dict[str, Any]]) -> bool:
    """Return whether a list is called too short only because what stands in it is faulty."""
    place = error["loc"]
    inside = [each for each in errors if each is not error and each["loc"][: len(place)] == place]
    return error["type"] == "too_short" and bool(inside)


def _fault(file: str, text: str, error: dict[str, Any]) -> Problem:
    """Return pydantic's error as a fault in the crew's words."""
    place = [part for part in error["loc"] if not (isinstance(part, str) and part.startswith("function-"))]
    path = ".".join(str(part + 1) if isinstance(part, int) else str(part) for part in place)
    last = str(place[-1]) if place else ""
    row = _row_of(text, last)
    kind = error["type"]
    if kind == "extra_forbidden":
        known = _keys_at(JobFile, place[:-1])
        hint = nearest(last, known)
        do = hint or "take it out, or check where the key belongs"
        return Problem(file, "an unknown key", "one of " + ", ".join(known), do, row, path)
    if kind == "missing":
        return Problem(file, "nothing", f"a value for {last}", f"add {last} = ...", None, path)
    if kind == "literal_error":
        accepted = str(error["ctx"]["expected"])
        hint = nearest(str(error["input"]), re.findall(r"'([^']*)'", accepted))
        return Problem(file, repr(error["input"]), accepted, hint, row, path)
    if kind == "value_error":
        return Problem(
            file, str(error["ctx"]["error"]), _WANTED.get(last, "a value with its unit"), "", row, path
        )
    accepted = _KINDS.get(kind.split("_")[0], error["msg"].lower())
    found = repr(error["input"])
    return Problem(
        file, found if len(found) < 60 else found[:57] + "...", error["msg"].lower(), "", row, path
    )


#: What pydantic's kinds of errors are about.
_KINDS = {
    "int": "a whole number",
    "string": 'text in "quotes"',
    "bool": "true or false",
    "tuple": 'a list like ["10 cm", "1.5 m"]',
    "float": "a number",
    "model": "a table with keys of its own",
}
_WANTED = {
    "confidence": 'a share between 0 and 1, or like "90 %"',
    "grade": 'a grade like "2 %" or "1.1 deg"',
    "grade_limit": 'a grade like "4 %"',
    "bend_limit": 'a change of grade like "0.3 %"',
    "mass": 'a mass like "400 kg" or "900 lb"',
}


def _row_of(text: str, key: str) -> int | None:
    """Return the line on which a key stands, if it stands on one line only."""
    lines = [
        number
        for number, line in enumerate(text.splitlines(), start=1)
        if re.match(rf"\s*\[*{re.escape(key)}\]*\s*(=|\]|$)", line)
    ]
    return lines[0] if key and len(lines) == 1 else None


def _keys_at(model: type[BaseModel], place: list[Any]) -> list[str]:
    """Return the keys that a table takes."""
    current: type[BaseModel] | None = model
    for part in place:
        if isinstance(part, int) or current is None or part not in current.model_fields:
            continue
        current = _table_in(current.model_fields[part].annotation)
    return list((current or model).model_fields)


def _table_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in get_args(annotation) if get_origin(annotation) else ():
        found = _table_in(inner)
        if found:
            return found
    return None
