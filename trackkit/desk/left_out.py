"""The list of readings that a job file leaves out, written anew; all else in the file stays as it is."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Sequence
from typing import Final

__all__ = ["with_left_out", "with_only_left_out"]

_KEY: Final = "leave_out"
#: What a TOML file is made of, as far as it matters where a value ends.
_TOKEN: Final = re.compile(
    r"""(?P<text>"{3}(?:\\.|[^\\])*?"{3,5}|'{3}.*?'{3,5}|"(?:\\.|[^"\\\n])*"|'[^'\n]*')"""
    r"""|(?P<comment>\#[^\n]*)|(?P<mark>[\[\]{},=])|(?P<line>\n)|(?P<word>[^\s\[\]{},=\#"']+)|(?P<blank>[^\S\n]+|.)""",
    flags=re.DOTALL,
)


def with_left_out(text: str, wanted: Sequence[str | None]) -> str:
    r"""Return a job file's text with other readings left out.

    Parameters
    ----------
    text : str
        TOML with the key ``leave_out``.
    wanted : sequence of str or None
        What is to stand in place of each entry of its list; None takes the entry out.

    Returns
    -------
    str
        Its comments, and all that stands elsewhere, are as they were.

    Raises
    ------
    ValueError
        If it could not be done surely: what was written does not read back as what was wanted.

    Examples
    --------
    >>> with_left_out('leave_out = ["levels.csv row 5", "levels.csv row 9"]\n', ["levels.csv row 4", None])
    'leave_out = ["levels.csv row 4", ]\n'
    """
    tokens = list(_TOKEN.finditer(text))
    pieces = [token[0] for token in tokens]
    entries = list(_entries(tokens))
    if len(entries) == len(wanted):
        for (place, comma), name in zip(entries, wanted, strict=True):
            if name is None:
                pieces[place] = ""
                if comma is not None:
                    pieces[comma] = ""
            elif tomllib.loads(f"name = {tokens[place][0]}")["name"] != name:
                pieces[place] = json.dumps(name, ensure_ascii=False)
    new = "".join(pieces)
    asked = tomllib.loads(text) | {_KEY: [name for name in wanted if name is not None]}
    if tomllib.loads(new) != asked:
        raise ValueError(f"the list {_KEY} could not be found as it is written")
    return new


def with_only_left_out(text: str, names: Sequence[str]) -> str:
    r"""Return a job file's text that leaves out these readings and no others.

    Parameters
    ----------
    text : str
        TOML, with the key ``leave_out`` or without.
    names : sequence of str

    Returns
    -------
    str
        Entries that stay keep their places; new ones come first. All else is as it was.

    Raises
    ------
    ValueError
        If it could not be done surely.

    Examples
    --------
    >>> with_only_left_out('name = "Porch"\n', ["levels.csv row 5"])
    'leave_out = ["levels.csv row 5"]\nname = "Porch"\n'
    >>> with_only_left_out('leave_out = ["a row 2", "a row 3"] # seen\n', ["a row 3", "a row 9"])
    'leave_out = ["a row 9", "a row 3"] # seen\n'
    """
    have = list(tomllib.loads(text).get(_KEY, []))
    names = list(dict.fromkeys(names))
    if set(have) == set(names):
        return text
    kept = with_left_out(text, [name if name in names else None for name in have]) if have else text
    new = [json.dumps(name, ensure_ascii=False) for name in names if name not in have]
    if new and _KEY in tomllib.loads(kept):
        tokens = list(_TOKEN.finditer(kept))
        span = _span(tokens)
        if span is None:
            raise ValueError(f"the list {_KEY} could not be found as it is written")
        pieces = [token[0] for token in tokens]
        rest = any(tokens[place]["text"] for place in range(span[0] + 1, span[1]))
        after = "".join(pieces[span[0] + 1 :])
        pieces[span[0]] = "[" + ", ".join(new) + ("," + " " * (after == after.lstrip()) if rest else "")
        kept = "".join(pieces)
    elif new:
        kept = f"{_KEY} = [{', '.join(new)}]\n{kept}"
    if tomllib.loads(kept) != tomllib.loads(text) | {_KEY: tomllib.loads(kept).get(_KEY)}:
        raise ValueError(f"the list {_KEY} could not be written")
    if set(tomllib.loads(kept)[_KEY]) != set(names):
        raise ValueError(f"the list {_KEY} could not be written")
    return kept


def _entries(tokens: Sequence[re.Match[str]]) -> Iterator[tuple[int, int | None]]:
    """Yield where each entry of the list stands among the tokens, and the comma behind it if there is one."""
    found: int | None = None
    start, stop = _span(tokens) or (0, 0)
    for place in range(start + 1, stop):
        if tokens[place]["text"]:
            if found is not None:
                return  # two texts without a comma: no list
            found = place
        elif tokens[place]["mark"] == "," and found is not None:
            yield found, place
            found = None
    if found is not None:
        yield found, None


def _span(tokens: Sequence[re.Match[str]]) -> tuple[int, int] | None:
    """Return the places of the list's brackets among the tokens; None if it is not found."""
    depth, opened = 0, -1
    line: list[str] = []  # what stands on this line so far, outside of brackets
    for place, token in enumerate(tokens):
        if token["line"] and depth == 0:
            line = []
        elif token["mark"] in ("[", "{"):
            if depth == 0 and not line:
                return None  # the header of a table: the list stands above all of them
            if depth == 0 and line[1:] == ["="] and line[0].strip("\"'") == _KEY:
                opened = place
            depth += 1
        elif token["mark"] in ("]", "}"):
            depth -= 1
            if opened >= 0 and depth == 0:
                return opened, place
        elif depth == 0 and not token["comment"] and token[0].strip():
            line.append(token[0])
    return None
