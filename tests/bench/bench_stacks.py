"""The choice of stacks against OR-tools CP-SAT on the same aggregated program, one process, one thread each.

Run: ``python tests/bench/bench_stacks.py``. Prints, for 30, 80 and 500 supports on a tight truck, the median
time of `solve` (proven optimum), of CP-SAT (model built and solved, proven optimum), their ratio, and
the whole of `choose_stacks`. Wanted: median ratio at most 1/5; 500 supports cost at most three times 30.
"""

import statistics
import sys
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1] / "cribbing"), str(Path(__file__).parents[2])]

from crib_cases import random_fills, truck  # noqa: E402
from crib_cpsat import cpsat_optimum  # noqa: E402

from trackkit.cribbing import StackRules, choose_stacks  # noqa: E402
from trackkit.cribbing.formulate import formulate  # noqa: E402
from trackkit.cribbing.program import solve  # noqa: E402
from trackkit.cribbing.sites import sort_fills  # noqa: E402

SEEDS = range(9)
SIZES = (30, 80, 500)


def timed(function, *args, **options):
    start = time.perf_counter()
    result = function(*args, **options)
    return time.perf_counter() - start, result


def tight_truck(sites, rules):
    """The truck with the fewest boxes, boards and pads of each kind that is still enough."""
    short, enough = 0, 3 * len(sites)
    while enough - short > 1:
        n = (short + enough) // 2
        there = truck(boxes=n, wedges=len(sites) + 1, lumber=n, pads=n)
        found = solve(formulate(sites, there, rules).program, time_limit=120)
        short, enough = (short, n) if not found.missing.any() else (n, enough)
    return truck(boxes=enough, wedges=len(sites) + 1, lumber=enough, pads=enough)


def one(n, seed, workers):
    rules = StackRules(time_limit=120.0)
    table = random_fills(n, seed, low=0.03)
    sites = sort_fills(table, rules).sites
    there = tight_truck(sites, rules)
    task = formulate(sites, there, rules)
    ours, solution = timed(solve, task.program, time_limit=120)
    theirs, (cost, _, proven) = timed(cpsat_optimum, task.program, time_limit=120, workers=workers)
    whole, plan = timed(choose_stacks, table, there, rules=rules)
    assert solution.proven and plan.proven
    assert not proven or cost == solution.cost
    return (
        ours,
        theirs,
        whole,
        len(task.program.pattern_cost),
        len(task.program.column_cost),
        len(plan.shortages),
    )


def main(workers=1):
    one(30, 99, workers)  # imports
    print("supports  patterns  columns  short   solve [ms]   CP-SAT [ms]   ratio   choose_stacks [ms]")
    medians, means = {}, {}
    for n in SIZES:
        rows = [one(n, seed, workers) for seed in SEEDS]
        ours, theirs, whole = (statistics.median(row[i] for row in rows) for i in range(3))
        ratio = statistics.median(row[0] / row[1] for row in rows)
        medians[n], means[n] = (ours, whole), tuple(statistics.mean(row[i] for row in rows) for i in (0, 2))
        p, x, short = (int(statistics.median(row[i] for row in rows)) for i in (3, 4, 5))
        print(
            f"{n:8d}  {p:8d}  {x:7d}  {short:5d}  {ours * 1e3:11.1f}  {theirs * 1e3:12.1f}  {ratio:6.3f}"
            f"  {whole * 1e3:19.1f}"
        )
    for name, times in (("median", medians), ("mean", means)):
        solving, choosing = (times[500][i] / times[30][i] for i in range(2))
        print(
            f"500 against 30 supports, {name}: solve {solving:.2f} times, choose_stacks {choosing:.2f} times"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1)
