"""Undoing in the table by real keys, and the rows of the file that rows came from, on a page of its own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from table_page import FAULT, ROWS, Table, table_page

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture
def table(browser: Browser) -> Iterator[Table]:
    """Return a table on a page that must stay free of errors and of requests to outside."""
    with table_page(browser) as shown:
        yield shown


def type_into(table: Table, row: int, column: int, text: str) -> None:
    """Type over a cell and leave it."""
    table.cell(row, column).focus()
    table.press("Control+a")
    table.page.keyboard.type(text)
    table.press("Tab")


# --- within a cell ----------------------------------------------------------------------------


@pytest.mark.parametrize("keys", ["Control+z", "Meta+z"])
def test_ctrl_z_puts_back_the_cell_that_is_being_typed_in_and_nothing_else(table, keys):
    table.show()
    type_into(table, 1, 2, "7")
    table.cell(0, 2).focus()
    table.page.keyboard.type("99")
    table.press(keys)
    assert table.texts() == [ROWS[0], ["1", "right", "7"], *ROWS[2:]]
    assert table.notice == "Undone: what was typed into rod, mm, row 2."
    assert table.at() == "rod, mm, row 2, tie 1 left"
    table.press("Tab")
    assert table.told() == table.texts()


def test_escape_brings_back_text_of_several_lines_whole(table):
    note = "by the gate\nsoft"
    table.show(rows=[["1", "left", note]]).cell(0, 2).focus()
    table.page.keyboard.type("x")
    table.press("Escape", "Tab")
    assert table.told() == [["1", "left", note]]


# --- steps, last first --------------------------------------------------------------------------


def test_every_step_is_undone_in_order_last_first(table):
    table.show()
    stood = [ROWS]
    type_into(table, 3, 2, "1191")
    stood.append(table.told())
    table.paste("8\tleft\t1\n8\tright\t2\n9\tleft\t3", 2, 0)
    stood.append(table.told())
    table.page.get_by_role("button", name="remove row 3").click()
    stood.append(table.told())
    table.cell(0, 0).focus()
    table.press("Control+Enter")
    stood.append(table.told())
    type_into(table, 1, 0, "4")
    assert len({str(rows) for rows in [*stood, table.told()]}) == 6
    words = [
        "the change of tie, row 3 from nothing to 4", "the new row 3", "the removal of row 3",
        "the paste into rows 4 to 6", "the change of rod, mm, row 5 from 1190 to 1191",
    ]  # fmt: skip
    for rows, what in zip(reversed(stood), words, strict=True):
        table.press("Control+z")
        assert table.told() == rows == table.texts()
        assert table.notice == f"Undone: {what}."
    table.press("Control+z")
    assert table.told() == ROWS
    assert table.notice == "There is nothing to undo."


def test_after_a_paste_no_other_cell_takes_an_older_text(table):
    """The browser's own undo put another input back than the last that was changed."""
    table.show()
    type_into(table, 3, 2, "55")
    table.paste("1\n2", 0, 2)
    table.press("Control+z")
    assert table.texts() == [*ROWS[:3], ["2", "right", "55"]]
    assert table.at() == "rod, mm, row 2, tie 1 left"


def test_a_cell_that_was_typed_in_twice_goes_back_in_two_steps(table):
    table.show()
    type_into(table, 0, 2, "1")
    type_into(table, 0, 2, "2")
    table.press("Control+z")
    assert table.texts()[0][2] == "1"
    table.press("Control+z")
    assert table.texts()[0][2] == "1234"


def test_what_was_told_while_it_was_typed_is_one_step(table):
    table.show().cell(2, 2).focus()
    table.page.keyboard.type("12")
    table.page.wait_for_function("saved === 1", timeout=2000)
    table.page.keyboard.type("34")
    table.press("Tab", "Control+z")
    assert table.told() == ROWS


def test_a_row_added_from_a_cell_that_is_typed_in_is_a_step_after_it(table):
    table.show().cell(0, 2).select_text()
    table.page.keyboard.type("9")
    table.press("Control+Enter", "Control+z")
    assert table.told() == [["1", "left", "9"], *ROWS[1:]]
    table.press("Control+z")
    assert table.told() == ROWS


@pytest.mark.parametrize("where", ["remove row 3", "Add row"])
def test_ctrl_z_undoes_from_the_buttons_too(table, where):
    table.show()
    type_into(table, 0, 2, "9")
    table.page.get_by_role("button", name=where).focus()
    table.press("Control+z")
    assert table.told() == ROWS


def test_the_button_undoes_an_edit_and_says_so(table):
    table.show()
    type_into(table, 0, 2, "9")
    table.page.get_by_role("button", name="Undo edit").click()
    assert table.told() == ROWS
    assert table.notice == "Undone: the change of rod, mm, row 2 from 1234 to 9."
    assert table.at() == "rod, mm, row 2, tie 1 left"
    assert table.page.get_by_role("button", name="Undo").count() == 0


def test_the_last_row_comes_back_and_the_first_goes_again(table):
    table.show(rows=[])
    table.page.get_by_role("button", name="Add row").click()
    table.press("Control+z")
    assert table.told() == []
    assert table.page.evaluate("document.activeElement.textContent") == "Add row"
    table.press("Control+y")
    assert table.told() == [["", "", ""]]


def test_faults_stay_with_their_rows_when_steps_are_undone(table):
    table.show(faults=[FAULT])
    table.page.get_by_role("button", name="remove row 2").click()
    assert table.cell(0, 2).get_attribute("aria-invalid") == "true"
    table.press("Control+z")
    assert table.cell(1, 2).get_attribute("aria-invalid") == "true"
    assert table.page.locator("[aria-invalid]").count() == 1
    assert table.page.locator(".trackkit-entry-why").count() == 1


def test_a_row_comes_back_without_the_fault_that_went_with_it(table):
    table.show(faults=[FAULT])
    table.page.get_by_role("button", name="remove row 3").click()
    table.press("Control+z")
    assert table.page.locator("[aria-invalid], .trackkit-entry-why, .trackkit-entry-bad").count() == 0
    table.from_python(faults=[FAULT])
    assert table.cell(1, 2).get_attribute("aria-invalid") == "true"


def test_rows_from_python_leave_nothing_to_undo(table):
    table.show()
    type_into(table, 0, 2, "9")
    table.from_python(rows=ROWS[:2], origins=[2, 3])
    table.cell(0, 0).focus()
    table.press("Control+z")
    assert table.texts() == ROWS[:2]


def test_the_button_says_what_it_would_undo_while_a_cell_is_typed_in(table):
    table.show().cell(0, 2).focus()
    assert table.page.get_by_role("button", name="Undo").count() == 0
    table.page.keyboard.type("9")
    assert table.page.get_by_role("button", name="Undo edit").is_visible()
    table.press("Escape")
    assert table.page.get_by_role("button", name="Undo").count() == 0


# --- again --------------------------------------------------------------------------------------


@pytest.mark.parametrize("keys", ["Control+Shift+z", "Control+y"])
def test_what_was_undone_is_done_again(table, keys):
    table.show()
    type_into(table, 0, 2, "9")
    table.page.get_by_role("button", name="remove row 3").click()
    done = table.told()
    table.press("Control+z", "Control+z", keys, keys)
    assert table.told() == done == table.texts()
    assert table.notice == "Done again: the removal of row 3."
    table.press(keys)
    assert table.notice == "There is nothing to do again."


def test_a_new_step_leaves_nothing_to_do_again(table):
    table.show()
    type_into(table, 0, 2, "9")
    table.press("Control+z")
    type_into(table, 1, 2, "8")
    table.press("Control+y")
    assert table.told() == [ROWS[0], ["1", "right", "8"], *ROWS[2:]]


# --- the browser's own --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("command", "rod"), [("historyUndo", "1234"), ("historyRedo", "9")], ids=["undo", "redo"]
)
def test_undo_from_the_browser_s_menu_is_the_table_s_own(table, command, rod):
    table.show()
    type_into(table, 0, 2, "9")
    if command == "historyRedo":
        table.press("Control+z")
    event = f"new InputEvent('beforeinput', {{ inputType: '{command}', bubbles: true, cancelable: true }})"
    assert table.cell(0, 0).evaluate(f"(input) => input.dispatchEvent({event})") is False
    assert table.texts()[0][2] == rod


def test_the_browser_s_own_undo_changes_no_cell(table):
    table.show()
    type_into(table, 3, 2, "55")
    table.cell(0, 2).focus()
    table.page.evaluate("document.execCommand('undo')")
    assert table.texts() == table.told()


# --- where rows came from -----------------------------------------------------------------------


def test_rows_keep_the_row_of_the_file_that_they_came_from(table):
    table.show()
    table.page.get_by_role("button", name="remove row 3").click()
    assert table.origins() == [2, 4, 5]
    table.cell(0, 0).focus()
    table.press("Control+Enter")
    assert table.origins() == [2, 0, 4, 5]
    table.paste("1\n2", 3, 2)
    assert table.origins() == [2, 0, 4, 5, 0]
    type_into(table, 2, 2, "7")
    assert table.origins() == [2, 0, 4, 5, 0]
    table.press("Control+z", "Control+z", "Control+z", "Control+z")
    assert (table.origins(), table.told()) == ([2, 3, 4, 5], ROWS)
    table.press("Control+y", "Control+y")
    assert table.origins() == [2, 0, 4, 5]


def test_rows_and_their_origins_are_told_in_one_message(table):
    table.show()
    table.page.evaluate("seen = []; saves = (now) => seen.push([state.rows.length, state.origins.length])")
    table.page.get_by_role("button", name="remove row 3").click()
    table.press("Control+z")
    assert table.page.evaluate("seen.every(([rows, origins]) => rows === origins)")
    assert table.page.evaluate("seen.length") >= 2


def test_python_says_anew_where_rows_came_from(table):
    table.show()
    table.from_python(rows=ROWS[:3], origins=[9, 0, 8])
    table.page.get_by_role("button", name="remove row 2").click()
    assert table.origins() == [0, 8]
    table.from_python(origins=[2, 3])
    type_into(table, 0, 2, "7")
    assert table.origins() == [2, 3]


def test_where_it_is_not_known_the_page_does_not_make_it_up(table):
    table.show()
    table.from_python(rows=ROWS[:3], origins=[])
    table.page.get_by_role("button", name="Add row").click()
    assert table.origins() == []
