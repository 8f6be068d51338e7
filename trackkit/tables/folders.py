"""Which file of a job folder holds which table.

A table ``levels`` is ``levels.csv``, or ``levels.xlsx``, or a sheet called ``levels`` of any ``.xlsx``
workbook. A workbook named after a table may call its sheet anything, as long as it has only
one that holds something. Capitals don't matter.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

from trackkit.problems import Problem, Problems
from trackkit.tables.cells import Limits, Source, sheet_titles

__all__ = ["find_tables"]

_TEXT: Final = (".csv",)
_BOOKS: Final = (".xlsx", ".xlsm")
_OTHERS: Final = (".xls", ".xlsb", ".ods", ".numbers", ".tsv", ".txt", ".tab", ".xltx")
#: How alike a name must be to a table's name to be taken for a slip (guess).
_SLIP: Final = 0.8


def find_tables(
    path: Path,
    names: Sequence[str],
    problems: Problems,
    *,
    limits: Limits | None = None,
    any_name: bool = False,
) -> dict[str, Source]:
    """Return where each of the tables ``names`` stands; those that are absent are left out.

    Parameters
    ----------
    path : Path
        A job folder, or with ``any_name`` one file that holds the table, whatever it is called.
    names : sequence of str
        The tables that are wanted.
    limits : Limits, optional
        When to refuse a workbook unread.
    any_name : bool
        Whether ``path`` is the file itself.
    problems : Problems
        Takes the faults: no such folder, a table given twice, a workbook of which no sheet fits,
        a file that is nearly named like a table that is missing.
    """
    limits = limits or Limits()
    found: dict[str, list[Source]] = {}
    strays: list[tuple[str, str]] = []
    for file in [path] if any_name else _files(path, problems):
        stem = names[0] if any_name else file.stem.strip().casefold()
        ending = file.suffix.lower()
        if ending in _BOOKS:
            _look_into(file, stem, names, found, strays, problems, limits)
        elif any_name or (stem in names and ending in _TEXT):
            found.setdefault(stem, []).append(Source(file))
        elif ending in (*_TEXT, *_OTHERS):
            strays.append((stem, file.name))
    for name, sources in found.items():
        if len(sources) > 1:
            given = " and ".join(source.label for source in sources)
            do = "keep the one that holds, move the others out of the folder"
            problems.add(Problem(name, f"the table twice: {given}", "each table once", do))
    _report_slips(strays, names, found, problems)
    return {name: sources[0] for name, sources in found.items()}


def _files(folder: Path, problems: Problems) -> list[Path]:
    accepted = "the folder that holds the tables (levels.csv and others)"
    try:
        if not folder.exists():
            problems.add(Problem(str(folder), "no such folder", accepted, "check the name"))
            return []
        if not folder.is_dir():
            problems.add(Problem(str(folder), "a file", accepted, "give the folder it stands in"))
            return []
        files = sorted(file for file in folder.iterdir() if file.is_file())
    except (OSError, ValueError) as error:
        problems.add(Problem(str(folder), f"a folder that cannot be opened ({error})", accepted))
        return []
    return [file for file in files if not file.name.startswith((".", "~$"))]


def _look_into(
    file: Path,
    stem: str,
    names: Sequence[str],
    found: dict[str, list[Source]],
    strays: list[tuple[str, str]],
    problems: Problems,
    limits: Limits,
) -> None:
    """Find the wanted tables among the sheets of a workbook."""
    titles = sheet_titles(file, problems, limits=limits)
    if titles is None:
        return
    fits: dict[str, list[str]] = {}
    rest = []
    for title in titles:
        name = title.strip().casefold()
        if name in names:
            fits.setdefault(name, []).append(title)
        else:
            rest.append(title)
    for name, sheets in fits.items():
        if len(sheets) > 1:
            several = " and ".join(repr(sheet) for sheet in sheets)
            problems.add(Problem(file.name, f"sheets {several}", f"one sheet {name!r}", "rename the others"))
        found.setdefault(name, []).append(Source(file, sheets[0]))
    if stem in names and stem not in fits:
        if len(rest) == 1:
            found.setdefault(stem, []).append(Source(file, rest[0]))
            return
        found_text = f"sheets {', '.join(map(repr, rest))}" if rest else "no sheet that holds anything"
        problems.add(
            Problem(file.name, found_text, f"a sheet {stem!r}", "name the sheet that holds the table")
        )
        return
    strays.extend((title.strip().casefold(), f"{file.name}, sheet {title}") for title in rest)


def _report_slips(
    strays: Iterable[tuple[str, str]],
    names: Sequence[str],
    found: dict[str, list[Source]],
    problems: Problems,
) -> None:
    """Report what is nearly named like a table that is missing; remark on what is like one that is there."""
    for stem, label in strays:
        meant = next(iter(difflib.get_close_matches(stem, names, n=1, cutoff=_SLIP)), None)
        if meant in found:
            problems.note(f"{label}: not read; the table {meant!r} is {found[meant][0].label}")
        elif stem == meant:
            accepted = f"{stem}.csv or {stem}.xlsx"
            problems.add(
                Problem(label, "a kind of file that is not read", accepted, "save it as one of these")
            )
        elif meant is not None:
            do = f"did you mean {meant!r}? rename it, or move it out of the folder"
            problems.add(Problem(label, f"the name {stem!r}", f"a table's name: {', '.join(names)}", do))
