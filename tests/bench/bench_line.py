"""Least-fill line over 60 ties, against `scipy.optimize.linprog` on the same problem.

Run ``python tests/bench/bench_line.py``. It prints medians, and their ratio, which should stay
at or under 1/50; both must give the same line. Runs on one machine differ; ratios hardly do.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np
from scipy.optimize import linprog

from trackkit.layout.bends import follow
from trackkit.layout.straight import least_fill

TIES = 60
LIMIT = 0.06
SEED = 1
GROUNDS = 40


def grounds() -> list[tuple[np.ndarray, np.ndarray]]:
    """Lawns with a slope, a hump and some roughness: stations and heights of 60 ties, both sides."""
    rng = np.random.default_rng(SEED)
    stations = np.repeat(np.linspace(0.0, 40.0, TIES), 2)
    found = []
    for _ in range(GROUNDS):
        hump = rng.uniform(0.0, 0.2) * np.exp(-(((stations - rng.uniform(5, 35)) / 4) ** 2))
        found.append((stations, rng.normal(0, 0.02) * stations + hump + rng.normal(0, 0.01, 2 * TIES)))
    return found


def by_linprog(stations: np.ndarray, heights: np.ndarray) -> float:
    """Return the total height of the line at the tie ends, by the general solver."""
    rows = np.column_stack([-np.ones(len(stations)), -stations])
    bounds = [(None, None), (-LIMIT, LIMIT)]
    return float(linprog([len(stations), stations.sum()], A_ub=rows, b_ub=-heights, bounds=bounds).fun)


def median_time(run: Callable[[], object], repeats: int) -> float:
    """Return the median seconds of one call."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def main() -> None:
    """Print the ratio, and how the bent line compares."""
    mine, theirs, bent, worst, steps = [], [], [], 0.0, []
    for stations, heights in grounds():
        line = least_fill(stations, heights, limit=LIMIT)
        total = float(line.height_at(stations).sum())
        worst = max(worst, abs(total - by_linprog(stations, heights)))
        steps.append(line.steps)
        mine.append(median_time(lambda s=stations, h=heights: least_fill(s, h, limit=LIMIT), 50))
        theirs.append(median_time(lambda s=stations, h=heights: by_linprog(s, h), 3))
        knots = np.linspace(-0.5, 40.5, 15)
        bent.append(
            median_time(lambda s=stations, h=heights, k=knots: follow(k, s, h, s, bend_limit=0.003), 3)
        )
    ratio = statistics.median(t / m for t, m in zip(theirs, mine, strict=True))
    own, looked = statistics.median(mine), statistics.median(steps)
    print(f"least fill, {TIES} ties: {own * 1e6:.1f} us (looked {looked:g} times)")
    print(
        f"linprog, same problem: {statistics.median(theirs) * 1e6:.0f} us; largest difference {worst:.1e} m"
    )
    print(f"ratio 1/{ratio:.0f} (to reach: 1/50)")
    print(f"follow, 14 sections: {statistics.median(bent) * 1e3:.2f} ms")


if __name__ == "__main__":
    main()
