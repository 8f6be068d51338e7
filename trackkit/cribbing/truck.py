"""What is on the truck: every kind of piece that can stand under a tie, with its measured size and count."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from trackkit.cribbing.wedges import Wedge
from trackkit.problems import Problem, Problems
from trackkit.tables import Column, TableSpec, read_table
from trackkit.units import DISPLAYS, LENGTH_UNITS

__all__ = ["KINDS", "TRUCK_TABLE", "Piece", "Truck", "read_truck"]

#: Kinds of pieces. A box or a pad lies flat; lumber lies flat or, where stable, on edge; ply lies flat;
#: wedges and shims close the last height.
KINDS: Final = ("box", "lumber", "ply", "wedge", "pad", "shim")
_NEEDS_FOOTPRINT: Final = ("box", "lumber", "ply", "pad")

TRUCK_TABLE: Final = TableSpec(
    "truck",
    (
        Column("item", "name", needed=True),
        Column("kind", "choice", needed=True, choices=KINDS, also=(("plywood", "ply"), ("boxes", "box"))),
        Column("thickness", "length", needed=True, above=0.0, most=1.5),
        Column("length", "length", above=0.0, most=15.0),
        Column("width", "length", above=0.0, most=3.0),
        Column("mass", "mass", least=0.0),
        Column("thin", "length", least=0.0, most=0.5),
        Column("count", "count", needed=True, least=0.0),
    ),
)


@dataclass(frozen=True)
class Piece:
    """One kind of piece on the truck.

    Attributes
    ----------
    item : str
        What the crew calls it; unique on the truck.
    kind : str
        One of `KINDS`.
    thickness : float
        Height as it lies flat, of a wedge the thick end [m]. Measured, not nominal.
    length, width : float
        Footprint as it lies flat [m]; NaN where it doesn't matter (shims, a wedge's width).
    mass : float
        Of one [kg]; NaN if not known.
    count : int
        How many there are.
    thin : float
        Of a wedge, the height of the thin end [m]; NaN otherwise.

    Raises
    ------
    ValueError
        If the kind is unknown, a size is missing or not positive, or the count is negative.
    """

    item: str
    kind: str
    thickness: float
    length: float = math.nan
    width: float = math.nan
    mass: float = math.nan
    count: int = 0
    thin: float = math.nan

    def __post_init__(self) -> None:
        fault = _fault_of(vars(self), "m")
        if fault:
            raise ValueError(f"{self.item or 'a piece'}: {fault}")

    @property
    def wedge(self) -> Wedge:
        """The shape, if it is a wedge."""
        if self.kind != "wedge":
            raise ValueError(f"{self.item} is no wedge but {self.kind}")
        return Wedge(self.thin, self.thickness, self.length)


@dataclass(frozen=True)
class Truck:
    """All that is on the truck.

    Attributes
    ----------
    pieces : tuple of Piece
        One for each item, in the order of the file.
    notes : tuple of str
        How doubtful things were read, and sizes that look nominal.

    Raises
    ------
    ValueError
        If two pieces have the same item.
    """

    pieces: tuple[Piece, ...]
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        items = [piece.item for piece in self.pieces]
        twice = sorted({item for item in items if items.count(item) > 1})
        if twice:
            raise ValueError(f"items must differ; {', '.join(twice)} stands more than once on the truck")

    def piece(self, item: str) -> Piece:
        """Return the piece of this name."""
        for piece in self.pieces:
            if piece.item == item:
                return piece
        raise KeyError(f"no {item!r} on the truck; there are {[piece.item for piece in self.pieces]}")

    def of_kind(self, *kinds: str) -> tuple[Piece, ...]:
        """Return the pieces of these kinds."""
        return tuple(piece for piece in self.pieces if piece.kind in kinds)

    def table(self) -> pd.DataFrame:
        """Return one row a piece: item, kind, thickness_m, length_m, width_m, mass_kg, count, thin_m."""
        return pd.DataFrame(
            {
                "item": [p.item for p in self.pieces],
                "kind": [p.kind for p in self.pieces],
                "thickness_m": [p.thickness for p in self.pieces],
                "length_m": [p.length for p in self.pieces],
                "width_m": [p.width for p in self.pieces],
                "mass_kg": [p.mass for p in self.pieces],
                "count": [p.count for p in self.pieces],
                "thin_m": [p.thin for p in self.pieces],
            }
        )


def read_truck(path: str | Path) -> Truck:
    """Return what is on the truck, from ``truck.csv``, ``truck.xlsx`` or the folder that holds it.

    Columns: item, kind, thickness_*, length_*, width_*, mass_*, count, and for wedges thin_*; the
    star is a unit. Give measured sizes: a 2x4 is 1 1/2 by 3 1/2 in.

    Raises
    ------
    InputProblems
        If there is no such table or anything in it cannot be used; it lists every fault.
    """
    problems = Problems()
    frame = read_table(path, TRUCK_TABLE, problems)
    if frame is None:
        if not problems.found:
            do = "write one, or copy the one of a demo job"
            problems.add(Problem("truck.csv", "no such table", "a table of what is on the truck", do))
        problems.raise_if_any()
        return Truck(())
    pieces: list[Piece] = []
    seen: dict[str, int] = {}
    known_fault = {problem.row for problem in problems.found}
    if len(frame) and any(row is None or row < frame["row"].iloc[0] for row in known_fault):
        problems.raise_if_any()  # with a column in doubt nothing can be said of the rows
    unit = frame.attrs["units"].get("thickness", "m")
    for row in frame.to_dict("records"):
        piece = _piece(row, seen, known_fault, problems, unit)
        if piece:
            pieces.append(piece)
    problems.raise_if_any()
    nominal = tuple(filter(None, (_nominal(piece) for piece in pieces)))
    return Truck(tuple(pieces), (*problems.notes, *nominal))


def _piece(
    row: dict[Any, Any], seen: dict[str, int], known_fault: set[int | None], problems: Problems, unit: str
) -> Piece | None:
    item, number, label = str(row["item"]), int(row["row"]), str(row["file"])
    if number in known_fault:
        return None
    if item in seen:
        found = f"{item!r} again, after row {seen[item]}"
        problems.add(Problem(label, found, "one row for each item", "add the counts up", number, "item"))
        return None
    seen[item] = number
    sizes = {
        "thickness": "thickness_m",
        "length": "length_m",
        "width": "width_m",
        "mass": "mass_kg",
        "thin": "thin_m",
    }
    values: dict[str, Any] = {"item": item, "kind": str(row["kind"]), "count": int(row["count"])}
    values |= {name: float(row[column]) for name, column in sizes.items()}
    fault = _fault_of(values, unit)
    if fault:
        problems.add(Problem(label, fault, "sizes that fit the kind", "measure it and write it in", number))
        return None
    return Piece(**values)


def _fault_of(piece: Mapping[str, Any], unit: str) -> str:
    """Return what is wrong with a piece's values, its sizes told in ``unit``; or ''."""
    kind, thick, thin, length = (piece[key] for key in ("kind", "thickness", "thin", "length"))
    if not piece["item"]:
        return "it has no name"
    if kind not in KINDS:
        return f"kind must be one of {', '.join(KINDS)}; got {kind!r}"
    if not (math.isfinite(thick) and thick > 0):
        return f"thickness must be above 0; got {_in(thick, unit)}"
    if piece["count"] < 0:
        return f"count must not be negative; got {piece['count']}"
    if kind in _NEEDS_FOOTPRINT and not (length > 0 and piece["width"] > 0):
        return f"{kind} needs a length and a width"
    if kind == "wedge":
        if not (length > 0 and thin >= 0):
            return "a wedge needs a length and the height of its thin end (thin)"
        if thin >= thick:
            return f"the thin end ({_in(thin, unit)}) must be thinner than the thick ({_in(thick, unit)})"
    return ""


def _in(metres: float, unit: str) -> str:
    return f"{metres / LENGTH_UNITS[unit]:.6g} {unit}"


def _nominal(piece: Piece, slack: float = 1e-4) -> str:
    """Return a remark if lumber has round-inch sizes, which are sold sizes and not real ones.

    References
    ----------
    PS 20 (American Softwood Lumber Standard), dressed dry sizes as in NDS Supplement Table 1A:
    thickness 1 in -> 3/4, 2 to 4 in -> 1/2 in less; width up to 6 in -> 1/2 in less (1 in boards
    alike), above 6 in -> 3/4 in less.
    """
    inch = LENGTH_UNITS["in"]
    thick, wide = piece.thickness / inch, piece.width / inch
    whole = all(abs(size - round(size)) * inch < slack and round(size) >= 1 for size in (thick, wide))
    if piece.kind != "lumber" or not whole or round(wide) < 2 or round(thick) > 4:
        return ""
    dressed = (thick - (0.25 if round(thick) == 1 else 0.5), wide - (0.75 if wide > 6.01 else 0.5))
    show = DISPLAYS["1/8 in"]
    return (
        f"{piece.item}: {round(thick)} x {round(wide)} in looks like the size it is sold by; dressed it is "
        f"{show.small(dressed[0] * inch)} x {show.small(dressed[1] * inch)} in. Measure it"
    )
