"""Tables that people type: found in a folder, read from CSV or a workbook, checked against a description.

- `reading`: `read_table` by a `TableSpec`; every fault with its place.
- `columns`, `values`: one column's description and header, and its cells as SI values.
- `folders`, `cells`: which file holds a table, and its raw text.
"""

from trackkit.tables.cells import Limits, Source
from trackkit.tables.columns import Column
from trackkit.tables.folders import find_tables
from trackkit.tables.reading import TableSpec, Ways, empty_table, read_table

__all__ = ["Column", "Limits", "Source", "TableSpec", "Ways", "empty_table", "find_tables", "read_table"]
