"""Where the rows of a table stand after it was changed, as far as that is sure."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from trackkit.tables.typed import TypedTable

__all__ = ["REMOVED", "moved_rows", "moved_since"]

#: Where a row stands that is there no more.
REMOVED = 0


def moved_rows(old: TypedTable, new: TypedTable) -> dict[int, int]:
    """Return where each row of an old table stands in a new one; rows count as in a spreadsheet.

    A row is where its text is, if that text stands once in both tables: a row that was taken out and typed
    again, or pasted further down, is the same reading. Otherwise it is where ``new.origins`` say, with
    other text: it was mended. Without origins a table of the same length is taken to be mended in its
    places, and a shorter one to have lost rows if all that is in it is known from the old.

    Parameters
    ----------
    old : TypedTable
        As in the file.
    new : TypedTable

    Returns
    -------
    dict of int to int
        From the row in ``old`` to the row in ``new``; `REMOVED` for one that is there no more, or blank.
        Blank rows, and rows of which it cannot be said, are not in it: where one should stand there is
        another row's text.

    Examples
    --------
    >>> three = TypedTable("a", ("x",), (("1",), ("2",), ("3",)))
    >>> moved_rows(three, TypedTable("a", ("x",), (("1",), ("3",))))
    {2: 2, 3: 0, 4: 3}
    >>> moved_rows(three, TypedTable("a", ("x",), (("7",), ("3",)), origins=(3, 4)))
    {2: 0, 3: 2, 4: 3}
    """
    before, after = _by_row(old), _by_row(new)
    was, now = _rows_of_single_texts(before), _rows_of_single_texts(after)
    places = _places(old, new)
    if places is None:
        strangers = any(text not in was or text not in now for text in after.values())
        known = {} if strangers else dict.fromkeys(before, REMOVED)
    else:
        known = {row: places.get(row, REMOVED) for row in before}
    found = {}
    for row, text in before.items():
        place = known.get(row)
        stands = after.get(place or 0)
        if stands == text and place is not None:
            found[row] = place
        elif text in was and text in now:
            found[row] = now[text]
        elif place is not None and stands is None:
            found[row] = REMOVED
        elif place is not None and was.get(stands or (), row) == row:
            found[row] = place
    return found


def moved_since(before: TypedTable, after: TypedTable) -> dict[int, int]:
    """Return where each row of a table stands after one more change of it; see `moved_rows`.

    Parameters
    ----------
    before, after : TypedTable
        Both with ``origins`` in the file, or without.

    Examples
    --------
    >>> file = TypedTable("a", ("x",), (("1",), ("2",)), origins=(2, 3))
    >>> added = TypedTable("a", ("x",), (("1",), ("9",), ("2",)), origins=(2, 0, 3))
    >>> moved_since(file, added), moved_since(added, file)
    ({2: 2, 3: 4}, {2: 2, 3: 0, 4: 3})
    """
    if before.origins is None or after.origins is None:
        return moved_rows(before, replace(after, origins=None))
    first = before.header_row + 1
    rows = {origin: first + place for place, origin in enumerate(before.origins) if origin}
    return moved_rows(before, replace(after, origins=tuple(rows.get(origin, 0) for origin in after.origins)))


def _by_row(table: TypedTable) -> dict[int, tuple[str, ...]]:
    """Return the text of each row below the header that is not blank."""
    return {row: text for row, text in enumerate(table.bare(), 1) if text and row > table.header_row}


def _rows_of_single_texts(rows: dict[int, tuple[str, ...]]) -> dict[tuple[str, ...], int]:
    """Return the rows of those texts that stand in one row only."""
    counts = Counter(rows.values())
    return {text: row for row, text in rows.items() if counts[text] == 1}


def _places(old: TypedTable, new: TypedTable) -> dict[int, int] | None:
    """Return where rows of the old table stand by what is known of their origins; None if nothing is."""
    first = new.header_row + 1
    if new.origins is not None:
        return {origin: first + place for place, origin in enumerate(new.origins) if origin}
    if len(old.rows) == len(new.rows):
        return {old.header_row + 1 + place: first + place for place in range(len(old.rows))}
    return None
