"""Pydantic's errors about a job file as faults in the crew's words, each with its place and its mend."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Annotated, Any, Final, get_args, get_origin

from pydantic import BaseModel, BeforeValidator
from pydantic_core import PydanticCustomError

from trackkit.jobschema import JobFile
from trackkit.jobvalues import NOT_ACCEPTED, shown
from trackkit.problems import Problem, closest, nearest

__all__ = ["Place", "fault_in_words", "meant_key", "place_of", "row_of"]

#: Where something stands in a job file: keys, and places in lists from 0.
Place = tuple[Any, ...]

_TEXT: Final = 'text in "quotes"'
_PLAIN: Final = {
    "string_type": _TEXT,
    "string_too_short": "text that says something",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "dict_type": 'a table of names and values, like P1 = "1.2 m"',
}


def place_of(error: Mapping[str, Any], content: object) -> Place:
    """Return where an error stands, without the marks that pydantic adds for the members of a choice."""
    place: list[Any] = []
    here: Any = content
    loc = error["loc"]
    for number, part in enumerate(loc, start=1):
        inside = part in here if isinstance(here, dict) else isinstance(here, list) and isinstance(part, int)
        if inside:
            here = here[part]
            place.append(part)
        elif number == len(loc) and error["type"] == "missing":
            place.append(part)
    return tuple(place)


def meant_key(place: Place, content: Any) -> str:
    """Return the known key that an unknown one was surely meant for: like it, and not there; else ''."""
    for part in place[:-1]:
        content = content[part]
    meant = closest(str(place[-1]), _keys_at(place[:-1]))
    return "" if meant in content else meant


def fault_in_words(
    file: str, text: str, error: Mapping[str, Any], place: Place, written: Mapping[str, str]
) -> Problem:
    """Return one of pydantic's errors as a fault.

    Parameters
    ----------
    file, text : str
        Name and text of the job file.
    error : mapping
        One of ``ValidationError.errors()``.
    place : tuple
        Where it stands; see `place_of`.
    written : mapping
        How keys that were read as others stand in the file.
    """
    path = ".".join(str(part + 1) if isinstance(part, int) else str(part) for part in place)
    last = next((str(part) for part in reversed(place) if isinstance(part, str)), "")
    row = row_of(text, written.get(last, last))
    kind, value = error["type"], error.get("input")
    field = _field_at(place)
    table = _table_in(field)
    if kind == "extra_forbidden":
        known = _keys_at(place[:-1])
        do = nearest(last, known) or "take it out, or check where the key belongs"
        return Problem(file, "an unknown key", "one of " + ", ".join(known), do, row, path)
    if kind == "missing":
        add = f"add {last} = ..."
        if table is not None:
            add = f"add a table [[{last}]] with {', '.join(_needed(table))}" if _is_list(field) else add
        return Problem(file, "nothing", _accepted(field), add, None, path)
    if kind == "literal_error":
        accepted = str(error["ctx"]["expected"])
        return Problem(file, shown(value), accepted, _meant(value, accepted), row, path)
    if kind == NOT_ACCEPTED:
        return Problem(file, error["ctx"]["found"], error["ctx"]["accepted"], "", row, path)
    if kind == "too_short":
        least = f"at least {error['ctx']['min_length']} of them"
        return Problem(file, shown(value), f"{_accepted(field)}, {least}", "add what is missing", row, path)
    do = ""
    if table is not None and kind == "tuple_type" and isinstance(value, dict):
        do = f"write [[{path}]], with two brackets"
    elif table is not None and isinstance(value, list):
        do = f"write [{path}] once, with single brackets"
    return Problem(file, shown(value), _PLAIN.get(kind) or _accepted(field), do, row, path)


def row_of(text: str, key: str) -> int | None:
    r"""Return the line on which a key stands, if it stands on one line only.

    Examples
    --------
    >>> row_of('name = "a"\n[shot]\nend_mark = "6 m"', "end_mark")
    3
    """
    lines = [
        number
        for number, line in enumerate(text.splitlines(), start=1)
        if re.match(rf"\s*\[*[\w.]*?\b{re.escape(key)}\]*\s*(=|\]|#|$)", line)
    ]
    return lines[0] if key and len(lines) == 1 else None


def _meant(value: object, accepted: str) -> str:
    return nearest(str(value), re.findall(r"'([^']*)'", accepted))


def _accepted(annotation: Any) -> str:
    """Return in words what a key takes."""
    table = _table_in(annotation)
    if _is_list(annotation):
        if table is not None:
            return "tables with the keys " + ", ".join(table.model_fields)
        first = next(inner for inner in _parts(annotation) if get_origin(inner) is tuple)
        names = str in get_args(first)
        return 'a list of names like ["one", "two"]' if names else 'a list like ["10 cm", "1.5 m"]'
    for each in _parts(annotation):
        if isinstance(each, BeforeValidator):
            try:
                each.func(None)  # type: ignore[call-arg]
            except PydanticCustomError as error:
                return str((error.context or {})["accepted"])
    ways = [_TEXT] if str in _parts(annotation) else []
    if table is not None:
        ways.append("a table with the keys " + ", ".join(table.model_fields))
    return " or ".join(ways) or " or ".join(map(repr, _parts(annotation)[1:]))


def _parts(annotation: Any) -> list[Any]:
    """Return an annotation and all that is inside it."""
    found = [annotation]
    if get_origin(annotation) is not None:
        for inner in get_args(annotation):
            found += _parts(inner)
    return found


def _is_list(annotation: Any) -> bool:
    return any(get_origin(each) is tuple for each in _parts(annotation))


def _table_in(annotation: Any) -> type[BaseModel] | None:
    tables = (each for each in _parts(annotation) if isinstance(each, type) and issubclass(each, BaseModel))
    return next(tables, None)


def _needed(table: type[BaseModel]) -> list[str]:
    return [name for name, field in table.model_fields.items() if field.is_required()]


def _keys_at(place: Iterable[Any]) -> list[str]:
    """Return the keys that a table takes."""
    return list((_table_in(_field_at(place)) or JobFile).model_fields)


def _field_at(place: Iterable[Any]) -> Any:
    """Return the annotation of what stands at a place, with its checks; of a list's item, the list's."""
    annotation: Any = JobFile
    for part in place:
        table = _table_in(annotation)
        if isinstance(part, str) and table is not None and part in table.model_fields:
            field = table.model_fields[part]
            annotation = field.annotation
            for check in field.metadata:
                annotation = Annotated[annotation, check]
    return annotation
