"""Faults, rows that come and go, and the looks of the table, on a page of its own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from faults import serious_faults
from table_page import FAULT, ROWS, Table, many, table_page

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture
def table(browser: Browser) -> Iterator[Table]:
    """Return a table on a page that must stay free of errors and of requests to outside."""
    with table_page(browser) as shown:
        yield shown


# --- faults -----------------------------------------------------------------------------------


def test_a_fault_marks_its_cell_says_why_beside_it_and_goes_again(table):
    cell = table.show().cell(1, 2)
    table.from_python(faults=[FAULT])
    assert cell.get_attribute("aria-invalid") == "true"
    why = table.page.locator(f"#{cell.get_attribute('aria-describedby')}")
    assert why.is_visible()
    assert why.inner_text() == "! rod, mm: Found '12x0'. Accepted: a length in mm."
    assert table.page.locator("td.trackkit-entry-bad").inner_text() == "!"
    assert table.page.locator("[aria-invalid]").count() == 1
    table.from_python(faults=[])
    assert table.page.locator("[aria-invalid], [aria-describedby], .trackkit-entry-why").count() == 0
    assert table.page.locator(".trackkit-entry-bad").count() == 0


def test_a_fault_of_a_whole_row_stands_by_its_number(table):
    table.show(faults=[{"row": 0, "column": -1, "text": "Found nothing to say where it is."}])
    assert table.page.get_by_role("rowheader").first.inner_text() == "2!"
    assert table.page.locator("[aria-invalid]").count() == 0
    by = table.cell(0, 0).get_attribute("aria-describedby")
    assert table.page.locator(f"#{by}").inner_text() == "! this row: Found nothing to say where it is."


def test_several_faults_of_one_cell_are_all_told(table):
    table.show(faults=[FAULT, FAULT | {"text": "Another."}])
    assert len(table.cell(1, 2).get_attribute("aria-describedby").split()) == 2
    assert table.page.locator(".trackkit-entry-why p").count() == 2


def test_faults_of_the_header_stand_above_the_table(table):
    table.show(header_faults=["rod_nm: Found the unknown column 'rod_nm'."])
    above = table.page.get_by_role("listitem")
    assert above.inner_text() == "! rod_nm: Found the unknown column 'rod_nm'."
    assert above.bounding_box()["y"] < table.page.locator("table").bounding_box()["y"]
    table.from_python(header_faults=[])
    assert above.count() == 0


def test_python_neither_takes_the_caret_nor_the_text_of_the_cell_that_is_typed_in(table):
    table.show().cell(1, 2).focus()
    table.press("End")
    table.page.keyboard.type("77")
    table.press("ArrowLeft", "ArrowLeft")
    changed = [["8", "left", "1"], ["8", "right", "2"], *ROWS[2:], ["9", "", ""]]
    table.from_python(rows=changed, faults=[FAULT], notice="1 fault to mend")
    assert table.cell(1, 2).input_value() == "125077"
    assert table.at() == "rod, mm, row 3, tie 8 right"
    assert table.page.evaluate("document.activeElement.selectionStart") == 4
    assert table.cell(0, 2).input_value() == "1"
    table.press("Tab")
    assert table.told() == [["8", "left", "1"], ["8", "right", "125077"], *ROWS[2:], ["9", "", ""]]


def test_a_cell_that_has_only_the_focus_takes_pythons_text_and_keeps_the_caret(table):
    table.show().cell(1, 2).focus()
    table.press("Home", "ArrowRight")
    table.from_python(rows=[ROWS[0], ["1", "right", "9999"], *ROWS[2:]])
    assert table.cell(1, 2).input_value() == "9999"
    assert table.page.evaluate("document.activeElement.selectionStart") == 1


def test_python_may_take_rows_away(table):
    table.show(faults=[FAULT])
    table.from_python(rows=ROWS[:1], faults=[])
    assert table.page.locator("tbody tr").count() == 1


# --- rows -------------------------------------------------------------------------------------


def test_a_row_is_added_at_the_foot_and_typed_into(table):
    table.show()
    table.page.get_by_role("button", name="Add row").click()
    assert table.at() == "tie, row 6"
    assert table.told() == [*ROWS, ["", "", ""]]


def test_ctrl_enter_adds_a_row_below_and_faults_move_with_their_rows(table):
    table.show(faults=[FAULT]).cell(0, 2).focus()
    table.press("Control+Enter")
    assert table.at() == "tie, row 3"
    assert table.told() == [ROWS[0], ["", "", ""], *ROWS[1:]]
    assert table.cell(2, 2).get_attribute("aria-invalid") == "true"
    assert table.page.evaluate("state.faults")[0]["row"] == 2


def test_a_removed_row_goes_with_its_fault_and_comes_back(table):
    table.show(faults=[FAULT])
    table.page.get_by_role("button", name="remove row 3").click()
    assert table.told() == [ROWS[0], *ROWS[2:]]
    assert table.page.evaluate("state.faults") == []
    assert table.page.locator(".trackkit-entry-why").count() == 0
    assert (table.at(), table.notice) == ("remove row 3", "Row 3 removed.")
    table.page.get_by_role("button", name="Undo remove").click()
    assert table.told() == ROWS
    assert table.at() == "tie, row 3, right"


def test_rows_come_back_in_turn_after_what_was_typed_since(table):
    table.show()
    for _ in range(2):
        table.page.get_by_role("button", name="remove row 3").click()
    table.cell(0, 2).fill("5")
    for kind in ("edit", "remove", "remove"):
        table.page.get_by_role("button", name=f"Undo {kind}").click()
    assert table.told() == ROWS
    assert table.page.get_by_role("button", name="Undo").count() == 0


def test_a_double_click_removes_one_row(table):
    table.show()
    table.page.get_by_role("button", name="remove row 2").dblclick()
    assert table.told() == ROWS[1:]


def test_the_last_row_can_go_and_one_be_added(table):
    table.show(rows=ROWS[:1])
    table.page.get_by_role("button", name="remove row 2").click()
    assert table.page.evaluate("document.activeElement.textContent") == "Add row"
    table.press("Enter")
    assert table.told() == [["", "", ""]]


def test_leaving_the_page_tells_what_was_typed_and_hears_no_more(table):
    table.show().cell(0, 2).select_text()
    table.page.keyboard.type("5")
    table.page.evaluate("leave()")
    assert table.told()[0][2] == "5"
    assert table.page.evaluate("listeners()") == 0


# --- looks ------------------------------------------------------------------------------------


def test_header_and_row_numbers_stay_in_sight_and_the_box_is_no_higher_than_22_lines(table):
    table.show(**many(columns=30))
    box = table.page.locator(".trackkit-entry-box")
    assert box.bounding_box()["height"] <= 22 * 14 + 2
    assert table.page.evaluate("getComputedStyle(document.querySelector('input')).fontSize") == "14px"
    box.evaluate("(node) => node.scrollTo(900, 900)")
    left, top = box.bounding_box()["x"], box.bounding_box()["y"]
    head = table.page.get_by_role("columnheader").nth(20).bounding_box()
    number = table.page.get_by_role("rowheader").nth(30).bounding_box()
    assert (head["y"] - top, number["x"] - left) == pytest.approx((1, 1), abs=1)


def test_a_cell_that_is_moved_to_does_not_hide_under_the_header(table):
    table.show(**many()).cell(39, 0).focus()
    table.press(*["ArrowUp"] * 25)
    head = table.page.get_by_role("columnheader").first.bounding_box()
    cell = table.cell(14, 0).bounding_box()
    assert cell["y"] >= head["y"] + head["height"] - 1


def test_a_print_has_every_row_and_no_buttons(table):
    table.show(**many())
    table.page.emulate_media(media="print")
    assert table.page.locator("button:visible").count() == 0
    box, body = (table.page.locator(name).bounding_box() for name in (".trackkit-entry-box", "table"))
    assert box["height"] >= body["height"]


def test_faults_and_labels_stand_no_obstacle_for_people_who_cannot_see(table):
    table.show(faults=[FAULT, FAULT | {"column": -1}], header_faults=["rod_nm: Found."], notice="2 faults")
    assert serious_faults(table.page, ".trackkit-entry") == []


def test_only_rows_with_other_faults_are_touched(table):
    table.show(faults=[FAULT])
    table.page.evaluate("window.kept = document.querySelector('.trackkit-entry-why')")
    table.from_python(faults=[FAULT, FAULT | {"row": 3}])
    assert table.page.evaluate("kept.isConnected")
    assert table.page.locator(".trackkit-entry-why").count() == 2
