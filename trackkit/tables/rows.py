"""Rows of a frame, one by one, for the small tables that people read."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pandas as pd

__all__ = ["rows_of"]


def rows_of(frame: pd.DataFrame) -> Iterator[Any]:
    """Return the rows of a frame as tuples with named fields, without the index."""
    return frame.itertuples(index=False)
