"""How quick the table to type into is, against as many bare input boxes in a table.

    python tests/bench/bench_table.py

Wanted: 40 rows of 8 shown, and a fault told in every row, each in at most 3 times what the bare boxes take.
"""

from __future__ import annotations

import statistics
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "browser"))

from lab import running_browser  # noqa: E402
from table_page import Table, many, table_page  # noqa: E402

TIMES = 15
BARE = """([rows, columns]) => {
  const place = document.querySelector("main");
  place.replaceChildren();
  document.body.offsetHeight;
  const began = performance.now();
  const row = "<tr>" + "<td><input value=12.5 aria-label=cell></td>".repeat(columns) + "</tr>";
  place.innerHTML = "<table><tbody>" + row.repeat(rows) + "</tbody></table>";
  document.body.offsetHeight;
  return performance.now() - began;
}"""
TELL = """faults => {
  const began = performance.now();
  fromPython({ faults });
  document.body.offsetHeight;
  return performance.now() - began;
}"""


def measure(table: Table) -> None:
    """Print the medians and their ratios; the three are taken in turn."""
    big = many()
    rows, columns = len(big["rows"]), len(big["columns"])
    faults = [{"row": r, "column": r % columns, "text": "Found."} for r in range(rows)]
    taken: dict[str, list[float]] = {"shown": [], "told": [], "bare": []}
    for _ in range(TIMES):
        taken["shown"].append(table.show(**big).shown_in)
        taken["told"].append(float(table.page.evaluate(TELL, faults)))
        taken["bare"].append(float(table.page.evaluate(BARE, [rows, columns])))
    shown, told, bare = (statistics.median(taken[name]) for name in ("shown", "told", "bare"))
    print(f"{rows} rows of {columns}: bare boxes {bare:.0f} ms")
    print(
        f"shown {shown:.0f} ms, ratio {shown / bare:.2f}; faults told {told:.0f} ms, ratio {told / bare:.2f}"
    )


if __name__ == "__main__":
    with running_browser() as browser, table_page(browser) as table:
        measure(table)
