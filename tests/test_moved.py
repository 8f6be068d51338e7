"""Where rows of a table went: by their text, else by what is known of their origins, else not said."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trackkit.tables.moved import REMOVED, moved_rows
from trackkit.tables.typed import TypedTable


def table(letters, origins=None, *, header_row=1):
    """Return a table of one column with a letter a row; a space is a blank row."""
    rows = tuple((letter.strip(),) for letter in letters)
    return TypedTable("levels", ("point",), rows, header_row, origins)


@pytest.mark.parametrize(
    ("old", "new", "origins", "moved"),
    [
        ("ABC", "ABC", (2, 3, 4), {2: 2, 3: 3, 4: 4}),
        ("ABC", "BCA", (3, 4, 0), {2: 4, 3: 2, 4: 3}),
        ("ABC", "BX", (3, 4), {2: REMOVED, 3: 2, 4: 3}),
        ("AAA", "AA", (2, 4), {2: 2, 3: REMOVED, 4: 3}),
        ("ABC", "CBA", (2, 3, 4), {2: 4, 3: 3, 4: 2}),
        ("ABC", "ACX", (2, 3, 4), {2: 2, 4: 3}),
        ("A C", "AC", (2, 4), {2: 2, 4: 3}),
        ("ABC", "A C", (2, 3, 4), {2: 2, 3: REMOVED, 4: 4}),
        ("ABC", "BCA", None, {2: 4, 3: 2, 4: 3}),
        ("ABC", "AXC", None, {2: 2, 3: 3, 4: 4}),
        ("ABC", "AC", None, {2: 2, 3: REMOVED, 4: 3}),
        ("ABC", "AX", None, {2: 2}),
        ("AAB", "AB", None, {4: 3}),
    ],
    ids=[
        "nothing done", "removed and typed again", "removed and another mended", "one of three alike removed",
        "pasted in another order", "another row's text in its place", "a blank row removed", "emptied",
        "no origins: typed again", "no origins: mended", "no origins: removed",
        "no origins: removed and mended", "no origins: alike",
    ],
)  # fmt: skip
def test_rows_are_followed_as_far_as_it_is_sure(old, new, origins, moved):
    assert moved_rows(table(old), table(new, origins)) == moved


def test_rows_count_from_the_header_of_each_table():
    assert moved_rows(table("AB", header_row=3), table("B", (5,), header_row=3)) == {4: REMOVED, 5: 4}


@given(st.data())
def test_rows_that_came_went_and_were_mended_are_all_followed(data):
    """Texts that are typed are none of the old ones, so every row can be told."""
    rows = [(letter, row) for row, letter in enumerate("ABCDEFGH", 2)]
    for number in range(data.draw(st.integers(0, 12))):
        at = data.draw(st.integers(0, max(0, len(rows) - 1)))
        act = data.draw(st.sampled_from(["add", "remove", "mend"]))
        if act == "add":
            rows.insert(at, (f"new {number}", 0))
        elif rows and act == "remove":
            del rows[at]
        elif rows:
            rows[at] = (f"mended {number}", rows[at][1])
    new = table([letter for letter, _ in rows], tuple(origin for _, origin in rows))
    places = {origin: at for at, (_, origin) in enumerate(rows, 2) if origin}
    assert moved_rows(table("ABCDEFGH"), new) == {row: places.get(row, REMOVED) for row in range(2, 10)}
