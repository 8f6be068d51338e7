"""Faults planted in 50 other drawings of each demo job: found, blamed rightly, recognised; and false blame.

Run ``python tests/study/planted_study.py`` to print the table that is kept in ``planted.txt``. The grounds,
tracks and instruments are those of ``data_demo/make_demo.py``; every seed draws its noise and stones anew. On
the lawn the fault is its own (row 32, a decimetre); at the other two jobs one rod, another for each seed, is
misread by a whole foot and by a whole inch.
"""

from __future__ import annotations

import csv
import shutil
import sys
import tempfile
from collections import Counter
from fractions import Fraction
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "data_demo"))

import make_demo  # noqa: E402

from trackkit.fitted import fit_readings  # noqa: E402
from trackkit.job import load_job  # noqa: E402
from trackkit.survey.quality import likely_mistakes  # noqa: E402
from trackkit.units import parse_length  # noqa: E402

MAKERS = {
    "boathouse_lawn": make_demo.make_lawn,
    "terrace_edge": make_demo.make_terrace,
    "market_yard": make_demo.make_rough_in,
}
FAULTS = {"boathouse_lawn": ("decimetre",), "terrace_edge": ("foot", "inch"), "market_yard": ("foot", "inch")}
LAWN_ROW = 32


def drawn(name, seed, into):
    """Return a demo job drawn with another seed, all its readings counted."""
    folder = Path(into) / name
    shutil.copytree(ROOT / "data_demo" / name, folder)
    MAKERS[name](folder, np.random.default_rng([seed, 77]))
    text = (folder / "job.toml").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("leave_out")]
    (folder / "job.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def plant(folder, kind, seed):
    """Misread one rod of a table, or mend the lawn's own fault; return its row, or None."""
    path = folder / "levels.csv"
    with path.open(newline="", encoding="utf-8") as file:
        head, *rows = list(csv.reader(file))
    column = next(i for i, word in enumerate(head) if word.startswith("rod"))
    if folder.name == "boathouse_lawn":
        if kind is None:
            rows[LAWN_ROW - 2][column] = str(int(rows[LAWN_ROW - 2][column]) - 100)
        row = LAWN_ROW
    else:
        row = 2 + int(np.random.default_rng([seed, 5]).integers(len(rows)))
        if kind is not None:
            unit = head[column].split("_")[1]
            inches = parse_length(rows[row - 2][column], unit) / 0.0254 + {"foot": 12, "inch": 1}[kind]
            eighths = round(8 * inches)
            whole, part = divmod(eighths, 8)
            fraction = f" {Fraction(part, 8)}" if part else ""
            feet = f"{whole // 12}' {whole % 12}{fraction}\""
            rows[row - 2][column] = feet if unit == "ft" else f"{whole}{fraction}"
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file, lineterminator="\n").writerows([head, *rows])
    return row


def outcome(name, kind, seed):
    """Return what the check makes of one drawing: found, right, wrong blame, recognised."""
    with tempfile.TemporaryDirectory() as place:
        folder = drawn(name, seed, place)
        wrong = f"levels.csv row {plant(folder, kind, seed)}"
        job = load_job(folder)
        ground, _ = fit_readings(job)
        doubt = set(ground.doubtful["reading"])
        mistakes = likely_mistakes(ground, display=job.display)
    return Counter(
        found=bool(doubt),
        right=doubt == {wrong},
        among=wrong in doubt,
        blamed=bool(doubt - {wrong}) if kind else bool(doubt),
        recognised=any(m.kind == kind and m.readings == (wrong,) for m in mistakes),
    )


def table(seeds):
    """Return the table as text."""
    lines = [
        f"{seeds} drawings of each demo job",
        f"{'job':<16}{'fault':<12}{'found':>7}{'it alone':>10}{'among others':>14}{'another blamed':>16}"
        f"{'recognised':>12}",
    ]
    for name, kinds in FAULTS.items():
        for kind in (*kinds, None):
            total = sum((outcome(name, kind, seed) for seed in range(seeds)), Counter())
            cells = [total["found"], total["right"], total["among"], total["blamed"], total["recognised"]]
            if kind is None:
                cells = [total["found"], "", "", total["blamed"], ""]
            widths = (7, 10, 14, 16, 12)
            figures = "".join(str(cell).rjust(wide) for cell, wide in zip(cells, widths, strict=True))
            lines.append(f"{name:<16}{kind or 'none':<12}{figures}")
            print(lines[-1], file=sys.stderr, flush=True)
    return "\n".join(lines)


if __name__ == "__main__":
    print(table(int(sys.argv[1]) if len(sys.argv) > 1 else 50))
