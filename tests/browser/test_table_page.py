"""Typing, moving about and pasting in the table, by real keys on a page of its own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from table_page import ROWS, Table, table_page

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture
def table(browser: Browser) -> Iterator[Table]:
    """Return a table on a page that must stay free of errors and of requests to outside."""
    with table_page(browser) as shown:
        yield shown


# --- typing -----------------------------------------------------------------------------------


def test_typed_text_reaches_python_once_the_keys_are_still(table):
    table.show().cell(2, 2).focus()
    table.page.keyboard.type("12,50", delay=20)
    assert table.told()[2][2] == ""
    table.page.wait_for_function("saved === 1", timeout=2000)
    assert table.told() == [*ROWS[:2], ["2", "left", "12,50"], ROWS[3]]


def test_typed_text_reaches_python_at_once_on_leaving_the_cell(table):
    table.show().cell(0, 2).select_text()
    table.page.keyboard.type(" 5' 3 1/2\" ")
    table.press("Tab")
    assert table.told()[0][2] == " 5' 3 1/2\" "
    assert table.page.evaluate("saved") == 1


def test_nothing_is_told_where_nothing_was_typed(table):
    table.show().cell(0, 0).focus()
    table.press("Tab", "Enter", "ArrowUp", "Shift+Tab", "Escape")
    assert table.page.evaluate("saved") == 0


def test_text_of_several_lines_stays_whole_unless_it_is_typed_over(table):
    note = "by the gate\nsoft"
    table.show(rows=[["1", "left", note]])
    assert table.cell(0, 2).input_value() == "by the gate soft"
    table.cell(0, 0).fill("7")
    table.press("Tab")
    assert table.told() == [["7", "left", note]]


def test_a_word_that_is_not_among_the_choices_is_kept(table):
    table.show().cell(0, 1).fill("middle")
    table.press("Tab")
    assert table.told()[0][1] == "middle"
    words = table.page.evaluate("[...document.querySelectorAll('input')[1].list.options].map((o) => o.value)")
    assert words == ["left", "right"]


def test_escape_puts_back_what_stood_there_for_python_too(table):
    table.show().cell(0, 2).focus()
    table.page.keyboard.type("99")
    table.page.wait_for_function("saved === 1", timeout=2000)
    table.press("Escape")
    assert table.cell(0, 2).input_value() == "1234"
    table.press("Tab")
    assert table.told() == ROWS


# --- moving -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "keys", "end"),
    [
        ((0, 0), ["Tab"], "side, row 2, tie 1"),
        ((0, 2), ["Tab"], "tie, row 3, right"),
        ((1, 0), ["Shift+Tab"], "rod, mm, row 2, tie 1 left"),
        ((0, 2), ["Enter"], "rod, mm, row 3, tie 1 right"),
        ((1, 2), ["Shift+Enter"], "rod, mm, row 2, tie 1 left"),
        ((0, 1), ["ArrowDown", "ArrowDown"], "side, row 4, tie 2"),
        ((1, 1), ["ArrowUp", "ArrowUp"], "side, row 2, tie 1"),
        ((0, 2), ["End", "ArrowLeft"], "rod, mm, row 2, tie 1 left"),
        ((0, 2), ["Home", "ArrowLeft"], "side, row 2, tie 1"),
        ((0, 1), ["Home", "ArrowRight"], "side, row 2, tie 1"),
        ((0, 1), ["End", "ArrowRight"], "rod, mm, row 2, tie 1 left"),
        ((2, 2), ["ArrowRight"], "remove row 4"),
        ((2, 2), ["ArrowRight", "ArrowDown", "ArrowLeft"], "rod, mm, row 5, tie 2 right"),
        ((0, 0), ["Home", "ArrowLeft"], "tie, row 2, left"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_keys_move_between_cells_and_the_caret_within_one(table, start, keys, end):
    table.show().cell(*start).focus()
    table.press(*keys)
    assert table.at() == end


def test_a_cell_that_is_moved_to_is_typed_over(table):
    table.show().cell(0, 2).focus()
    table.press("Enter")
    table.page.keyboard.type("7")
    assert table.cell(1, 2).input_value() == "7"


def test_enter_in_the_last_row_stays_and_says_how_to_go_on(table):
    table.show().cell(3, 2).focus()
    table.press("Enter")
    assert table.at() == "rod, mm, row 5, tie 2 right"
    assert table.notice == "This is the last row. Ctrl+Enter adds one."


def test_labels_follow_what_is_typed_into_the_cells_that_tell_the_row(table):
    table.show().cell(0, 0).fill("14")
    assert table.cell(0, 2).get_attribute("aria-label") == "rod, mm, row 2, tie 14 left"


def test_keys_do_not_reach_the_notebook(table):
    table.show()
    table.page.evaluate("document.addEventListener('keydown', (e) => (window.heard = e.key))")
    table.cell(0, 0).focus()
    table.press("a", "Shift+Enter", "Escape", "Control+z", "ArrowDown")
    assert table.page.evaluate("window.heard") is None
    quiet = "data-lm-suppress-shortcuts"
    bare = table.page.locator(f"input:not([{quiet}=true]), button:not([{quiet}=true])")
    assert bare.count() == 0


# --- pasting ----------------------------------------------------------------------------------


def test_one_cells_text_is_pasted_at_the_caret(table):
    table.show().copy("56")
    table.cell(0, 2).focus()
    table.press("End", "Control+v")
    assert table.cell(0, 2).input_value() == "123456"


def test_one_cell_of_a_spreadsheet_is_pasted_without_its_line_end(table):
    table.show().copy("1,5\n")
    table.cell(2, 2).focus()
    table.press("Control+v", "Tab")
    assert table.told()[2][2] == "1,5"


def test_a_column_is_pasted_downwards_with_its_commas_and_the_rows_it_needs(table):
    table.show().paste("12,5\n13,5\n5' 3 1/2\"\n", 2, 2)
    assert table.cell(2, 2).input_value() == "12,5"
    assert table.told() == [
        *ROWS[:2], ["2", "left", "12,5"], ["2", "right", "13,5"], ["", "", "5' 3 1/2\""],
    ]  # fmt: skip
    assert table.at() == "rod, mm, row 4, tie 2 left"
    assert table.notice == "Pasted rows 4 to 6."


def test_a_block_is_pasted_to_the_right_and_downwards(table):
    table.show().paste("3\tleft\t1\r\n3\t\t2", 0, 0)
    assert table.told() == [["3", "left", "1"], ["3", "", "2"], *ROWS[2:]]


def test_a_copied_cell_with_marks_or_lines_in_it_comes_without_its_quotation(table):
    table.show().paste('1\t"5\' 3 ""a"""\t"two\nlines"\n"x"\ty', 0, 0)
    assert table.told()[:2] == [["1", '5\' 3 "a"', "two lines"], ['"x"', "y", "1250"]]


def test_a_block_that_is_too_wide_is_refused_with_its_reason(table):
    table.show().paste("left\t1\t2\nright\t3\t4", 0, 1)
    assert table.told() == ROWS
    assert table.cell(0, 1).input_value() == "left"
    assert "Nothing was pasted: the block has 3 columns, from this cell on there are 2." in table.notice


def test_empty_cells_beyond_the_last_column_do_not_matter(table):
    table.show().paste("1300\t\t\n1400\t\t", 0, 2)
    assert [row[2] for row in table.told()[:2]] == ["1300", "1400"]


def test_a_paste_can_be_undone(table):
    table.show().paste("1\n2\n3", 2, 2)
    table.page.get_by_role("button", name="Undo paste").click()
    assert table.told() == ROWS
    assert table.page.get_by_role("button", name="Undo paste").count() == 0
