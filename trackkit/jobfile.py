r"""Read a job file, and tell every fault in it at once.

Lengths, grades, angles and masses are text with their unit (``"12 mm"``, ``"5' 3 1/2"``,
``"2 %"``, ``"0.3 deg"``, ``"400 kg"``): a bare number is refused, for nobody could check it.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from trackkit.jobschema import JobFile
from trackkit.jobwords import Place, fault_in_words, meant_key, place_of, row_of
from trackkit.problems import InputProblems, Problem, hidden_characters

__all__ = ["JOB_FILE", "Examined", "examine_job_file", "examine_table", "job_path", "read_job_file"]

#: Name of the job file in a job folder.
JOB_FILE = "job.toml"


@dataclass(frozen=True)
class Examined:
    """A job file with its faults, and what can be made of it in spite of them.

    Attributes
    ----------
    file : JobFile or None
        The file without what is faulty in it; None if nothing can be made of it.
    faults : tuple of Problem
        All of them.
    unsound : frozenset of tuple
        Keys that are faulty, so that nothing can be said of what hangs on them.
    """

    file: JobFile | None
    faults: tuple[Problem, ...]
    unsound: frozenset[tuple[str, ...]] = frozenset()

    def sound(self, *keys: str) -> bool:
        """Return whether these keys ("line.grade") and all inside them are without fault."""
        for key in keys:
            path = tuple(key.split("."))
            for bad in self.unsound:
                shared = min(len(path), len(bad))
                if path[:shared] == bad[:shared]:
                    return False
        return True


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
    examined = examine_job_file(path)
    if examined.faults or examined.file is None:
        raise InputProblems(examined.faults)
    return examined.file


def examine_job_file(path: Path) -> Examined:
    """Return a job file with its faults; what a misspelt key was meant for is looked at too."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        found = f"a byte that is not UTF-8 at position {wrong.start}"
        return Examined(None, (Problem(path.name, found, "text in UTF-8", "save it as UTF-8"),))
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as broken:
        return Examined(None, (_toml_fault(path.name, str(broken)),))
    except RecursionError:
        found = "brackets nested too deep to be a job"
        return Examined(None, (Problem(path.name, found, "tables and keys as in the demo jobs"),))
    return _examine(path.name, text, content)


def examine_table(table: str, wishes: Mapping[str, Any]) -> Examined:
    """Return what stands under one table of the job file as if it stood in a file, with its faults.

    Parameters
    ----------
    table : str
        'line', 'track' or 'shot'.
    wishes : mapping
        Keys and values as in the job file; what the table cannot do without need not be named.
    """
    needed = _STAND_IN_SHOT if table == "shot" else {}
    return _examine(f"the {table}", "", {**_STAND_IN, table: {**needed, **wishes}})


def _examine(name: str, text: str, content: dict[str, Any]) -> Examined:
    """Return a job file that has been read as TOML, with its faults; takes what is faulty out of it."""
    faults = [_hidden_fault(name, text, key, value) for key, value in _hidden(content)]
    written: dict[str, str] = {}
    slips = True
    errors: list[tuple[dict[str, Any], Place]] = []
    while slips:
        errors = _errors(content)
        slips = False
        for error, place in errors:
            meant = meant_key(place, content) if error["type"] == "extra_forbidden" else ""
            if meant:
                slips = True
                faults.append(fault_in_words(name, text, error, place, written))
                written[meant] = str(place[-1])
                _rename(content, place, meant)
    faults += [fault_in_words(name, text, error, place, written) for error, place in errors]
    unsound = {place[:-1] if error["type"] == "missing" else place for error, place in errors}
    unsound |= {place for error, place in errors if error["type"] == "missing"}
    keys = {tuple(part for part in place if isinstance(part, str)) for place in unsound} - {()}
    return Examined(_sound_part(content), tuple(dict.fromkeys(faults)), frozenset(keys))


def _errors(content: dict[str, Any]) -> list[tuple[dict[str, Any], Place]]:
    """Return pydantic's errors with their places, without those that only follow from others."""
    try:
        JobFile.model_validate(content)
    except ValidationError as error:
        found = [dict(each) for each in error.errors()]
        placed = [(each, place_of(each, content)) for each in found]
        return [(each, place) for each, place in placed if not _follows(each, place, placed)]
    return []


def _follows(error: dict[str, Any], place: Place, placed: list[tuple[dict[str, Any], Place]]) -> bool:
    """Return whether an error is told by another.

    A list is called too short only because what stands in it is faulty; of a key that takes text
    or a table, the table's own faults say it all.
    """
    others = [each for each, _ in placed if each is not error]
    inside = any(at[: len(place)] == place for each, at in placed if each in others)
    return error["type"] in ("too_short", "string_type") and inside


def _rename(content: Any, place: Place, key: str) -> None:
    for part in place[:-1]:
        content = content[part]
    if place[-1] in content:
        content[key] = content.pop(place[-1])


#: What stands in for a name and a section that cannot be read, so that the rest can be looked at.
_STAND_IN = {
    "name": "?",
    "section": [
        {"name": "?", "length": "1 m", "ties": ["0 m", "1 m"], "rail_top": "1 cm", "bearing": "1 cm"}
    ],
}

#: The same for the marks of a shot.
_STAND_IN_SHOT = {"end_mark": "0 m"}


def _sound_part(content: dict[str, Any]) -> JobFile | None:
    """Return the job file without what is faulty in it; takes it out of ``content``."""
    errors = _errors(content)
    while errors:
        places = {place[:-1] if error["type"] == "missing" else place for error, place in errors}
        if () in places:
            content |= {key: value for key, value in _STAND_IN.items() if key not in content}
        for place in sorted(places - {()}, reverse=True):
            _take_out(content, place)
        left = _errors(content)
        if left == errors:
            return None
        errors = left
    return JobFile.model_validate(content)


def _take_out(content: Any, place: Place) -> None:
    for part in place[:-1]:
        try:
            content = content[part]
        except (KeyError, IndexError, TypeError):
            return
    if isinstance(content, list) or place[-1] in content:
        del content[place[-1]]


def _toml_fault(file: str, message: str) -> Problem:
    place = re.search(r"\(at line (\d+), column (\d+)\)", message)
    what = message.split(" (at ")[0]
    if not place:
        return Problem(file, f"broken TOML ({what})", 'lines like key = "value"', "look at its last line")
    do = "text stands in quotes, a table's name in [brackets] on a line of its own"
    return Problem(file, f"broken TOML ({what})", 'key = "value"', do, int(place[1]), f"column {place[2]}")


def _hidden(content: object, key: str = "") -> Iterator[tuple[str, str]]:
    """Yield key and text for every text with characters that cannot be seen."""
    if isinstance(content, dict):
        for name, inner in content.items():
            path = f"{key}.{name}" if key else name
            if hidden_characters(name):
                yield path, name
            yield from _hidden(inner, path)
    elif isinstance(content, list):
        for number, inner in enumerate(content, start=1):
            yield from _hidden(inner, f"{key}.{number}")
    elif isinstance(content, str) and hidden_characters(content, lines=key == "note"):
        yield key, content


def _hidden_fault(file: str, text: str, key: str, value: str) -> Problem:
    found = f"{hidden_characters(value, lines=key == 'note')} in {value[:40]!r}"
    last = re.sub(r"(\.\d+)+$", "", key).rpartition(".")[2]
    return Problem(file, found, "text of one line that can be seen", "type it anew", row_of(text, last), key)
