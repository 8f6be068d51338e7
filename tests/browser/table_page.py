"""A page that shows the table to type into; a small stand-in plays Python's part."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from faults import Watch

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator, Page

ROWS = [["1", "left", "1234"], ["1", "right", "1250"], ["2", "left", ""], ["2", "right", "1190"]]
COLUMNS = [
    {"name": "tie", "label": "tie", "choices": [], "tells": True},
    {"name": "side", "label": "side", "choices": ["left", "right"], "tells": True},
    {"name": "rod_mm", "label": "rod, mm", "choices": [], "tells": False},
]
FAULT = {"row": 1, "column": 2, "text": "Found '12x0'. Accepted: a length in mm."}
#: A model as the notebook gives it: what the page sets is told apart from what Python sets.
MODEL = """
async ([source, state]) => {
  const acts = {};
  window.saved = 0;
  window.state = state;
  const change = (name, value) => {
    const same = JSON.stringify(state[name]) === JSON.stringify(value);
    state[name] = value;
    if (!same) for (const act of acts[`change:${name}`] ?? []) act();
  };
  window.fromPython = (changes) => {
    Object.assign(state, JSON.parse(JSON.stringify(changes)));
    for (const name of Object.keys(changes)) for (const act of acts[`change:${name}`] ?? []) act();
  };
  window.listeners = () => Object.values(acts).reduce((count, each) => count + each.length, 0);
  const model = {
    get: (name) => state[name],
    set: change,
    on: (event, act) => (acts[event] ??= []).push(act),
    off: (event, act) => (acts[event] = acts[event].filter((one) => one !== act)),
    save_changes: () => {
      window.saved += 1;
      window.saves?.();
    },
  };
  const address = URL.createObjectURL(new Blob([source], { type: "text/javascript" }));
  const table = (await import(address)).default;
  const began = performance.now();
  window.leave = table.render({ model, el: document.querySelector("main") });
  document.body.offsetHeight;
  return performance.now() - began;
}
"""


class Table:
    """The table on its page."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.shown_in = 0.0

    def show(self, **state: Any) -> Table:
        """Show a table: ROWS with COLUMNS, but for what is given."""
        from trackkit.desk.table import EntryTable

        traits = {
            "caption": "Rod readings",
            "columns": COLUMNS,
            "rows": ROWS,
            "first_row": 2,
            "faults": [],
            "header_faults": [],
            "notice": "",
        }
        rows = len(state.get("rows", ROWS))
        traits["origins"] = list(range(2, 2 + rows))  # as in the file
        style = EntryTable._css
        self.page.set_content(
            f"<!doctype html><html lang=en><title>Table</title><style>{style}</style><body>"
            "<textarea aria-label=elsewhere></textarea><main></main></body></html>"
        )
        self.shown_in = self.page.evaluate(MODEL, [str(EntryTable._esm), traits | state])
        return self

    def cell(self, row: int, column: int) -> Locator:
        """Return an input by its place, both from 0."""
        return self.page.locator("tbody tr:not(.trackkit-entry-why)").nth(row).locator("input").nth(column)

    def at(self) -> str:
        """Return the label of what has the focus."""
        return str(self.page.evaluate("document.activeElement.getAttribute('aria-label')"))

    def press(self, *keys: str) -> None:
        """Press keys, one after the other."""
        for key in keys:
            self.page.keyboard.press(key)

    def told(self) -> list[list[str]]:
        """Return the rows as Python has them."""
        return list(self.page.evaluate("state.rows"))

    def origins(self) -> list[int]:
        """Return which rows of the file they came from, as Python has it."""
        return list(self.page.evaluate("state.origins"))

    def texts(self) -> list[list[str]]:
        """Return what stands in the cells."""
        return list(
            self.page.evaluate(
                "[...document.querySelectorAll('tbody tr:not(.trackkit-entry-why)')]"
                ".map((row) => [...row.querySelectorAll('input')].map((input) => input.value))"
            )
        )

    def from_python(self, **changes: Any) -> None:
        """Let Python change something."""
        self.page.evaluate("fromPython", changes)

    def copy(self, text: str) -> None:
        """Copy a text elsewhere on the page."""
        elsewhere = self.page.locator("textarea")
        elsewhere.fill(text)
        elsewhere.select_text()
        self.press("Control+c")

    def paste(self, text: str, row: int, column: int) -> None:
        """Paste a text that was copied elsewhere."""
        self.copy(text)
        self.cell(row, column).focus()
        self.press("Control+v")

    @property
    def notice(self) -> str:
        """The line under the table."""
        return self.page.get_by_role("status").inner_text()


def many(rows: int = 40, columns: int = 8) -> dict[str, Any]:
    """Return the columns and rows of a large table."""
    head = [{"name": f"c{c}", "label": f"column {c}", "choices": [], "tells": c < 3} for c in range(columns)]
    return {"columns": head, "rows": [[f"{r} {c}" for c in range(columns)] for r in range(rows)]}


@contextmanager
def table_page(browser: Browser) -> Iterator[Table]:
    """Open a page for a table; it must stay free of errors and of requests to outside."""
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.set_default_timeout(5000)
    watch = Watch(page)
    yield Table(page)
    page.close()
    assert watch.seen == []
