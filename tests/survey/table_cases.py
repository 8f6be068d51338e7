"""A table with a column of every kind, and how the tests write and read it."""

from __future__ import annotations

from pathlib import Path

import openpyxl

from trackkit.problems import Problems
from trackkit.tables import Column, TableSpec, Ways, read_table

SPEC = TableSpec(
    "heights",
    (
        Column("point", "name"),
        Column("side", "choice", choices=("left", "right"), also=(("l", "left"),)),
        Column("station", "length"),
        Column("rod", "length", needed=True, least=0.0, most=50.0),
        Column("slope", "angle", units=("deg",), least=-1.0, most=1.0),
        Column("load", "mass", above=0.0),
        Column("count", "count", least=0),
        Column("factor", "number", default=1.0),
        Column("wet", "yesno", default=True),
        Column("note", "text"),
    ),
    (Ways("where it is", (("station", "side"), ("point",))),),
)
HEAD = "point,rod_mm\n"


def read(source, *, limits=None):
    problems = Problems()
    return read_table(source, SPEC, problems, limits=limits), problems


def read_text(folder: Path, text: str | bytes, **options):
    data = text if isinstance(text, bytes) else text.encode()
    (folder / "heights.csv").write_bytes(data)
    return read(folder, **options)


def read_sheets(folder: Path, name: str, **sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    book.save(folder / name)
    return read(folder)


def told(problems: Problems) -> str:
    return "\n".join(map(str, problems.found))
