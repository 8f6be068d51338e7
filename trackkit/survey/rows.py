"""Linear rows: what a fit is made from, and a builder that collects them table by table."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trackkit.survey.grid import Grid

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["Observations", "Rows"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Observations:
    """Linear rows: value = ground @ states + border @ unknowns + error.

    Attributes
    ----------
    value, sd : array, shape (n,)
        Readings in metres (angles as a rise over their board) and their standard deviations.
    ground : sparse array, shape (n, grid.size)
    border : sparse array, shape (n, k)
    names : tuple of (kind, name)
        Border unknowns: ('laser', ...), ('peg', ...), ('zero', instrument), ('spot', place).
    table : DataFrame
        One row each: reading, kind, instrument, station_m, to_station_m, side, point, counts
        (False for what is known beforehand), slope (column of the local slope for a rod set
        down at a station, else -1).
    fixed : dict
        Heights of benchmarks that are held exactly [m].
    """

    value: Array
    sd: Array
    ground: csr_array
    border: csr_array
    names: tuple[tuple[str, str], ...]
    table: pd.DataFrame
    fixed: dict[str, float]

    def border_index(self, kind: str, name: str) -> int:
        """Return the index of a border unknown; KeyError if there is none."""
        try:
            return self.names.index((kind, name))
        except ValueError:
            raise KeyError(f"{kind} {name!r} is not in the survey") from None


@dataclass
class Rows:
    """Collects rows while the tables are walked through."""

    grid: Grid
    names: dict[tuple[str, str], int] = field(default_factory=dict)
    value: list[Array] = field(default_factory=list)
    sd: list[Array] = field(default_factory=list)
    entries: tuple[list[Any], list[Any], list[Any]] = field(default_factory=lambda: ([], [], []))
    border: tuple[list[Any], list[Any], list[Any]] = field(default_factory=lambda: ([], [], []))
    tables: list[pd.DataFrame] = field(default_factory=list)
    count: int = 0

    def add(
        self,
        value: Array,
        sd: Array,
        ground: list[tuple[NDArray[np.intp], Array]],
        border: list[tuple[NDArray[np.intp], Array]],
        **columns: Any,
    ) -> None:
        """Add rows; ``ground`` and ``border`` are pairs of (columns, coefficients)."""
        rows = self.count + np.arange(value.size)
        for store, terms in ((self.entries, ground), (self.border, border)):
            for where, share in terms:
                used = where >= 0
                store[0].append(rows[used])
                store[1].append(where[used])
                store[2].append(np.broadcast_to(share, value.shape)[used])
        self.value.append(value)
        self.sd.append(sd)
        defaults = {"reading": "", "kind": "", "instrument": "", "station_m": np.nan, "to_station_m": np.nan}
        defaults |= {"side": "", "point": "", "counts": True, "slope": -1}
        self.tables.append(pd.DataFrame({**defaults, **columns}, index=rows))
        self.count += value.size

    def unknown(self, kind: str, names: pd.Series[str]) -> NDArray[np.intp]:
        """Return border columns for names, making new unknowns as needed."""
        codes, distinct = pd.factorize(names)
        columns = [self.names.setdefault((kind, str(name)), len(self.names)) for name in distinct]
        return np.asarray(np.array(columns, dtype=np.intp)[codes])

    def finish(self, fixed: dict[str, float]) -> Observations:
        """Return everything as arrays."""
        from scipy.sparse import csr_array

        def sparse(store: tuple[list[Any], list[Any], list[Any]], width: int) -> csr_array:
            row, column, share = (np.concatenate(part) if part else np.zeros(0) for part in store)
            matrix = csr_array((share, (row.astype(int), column.astype(int))), shape=(self.count, width))
            matrix.sum_duplicates()
            return matrix

        return Observations(
            np.concatenate(self.value) if self.value else np.zeros(0),
            np.concatenate(self.sd) if self.sd else np.zeros(0),
            sparse(self.entries, self.grid.size),
            sparse(self.border, len(self.names)),
            tuple(self.names),
            pd.concat(self.tables, ignore_index=True) if self.tables else pd.DataFrame(),
            fixed,
        )
