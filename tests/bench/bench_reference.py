"""Comparing all references of a run, against the bare draws that it is worked out from.

Run ``python tests/bench/bench_reference.py``. It prints medians of runs that take turns in one process, and
their ratios: all candidates should cost at most 1.2 times the bare drawing of the normals and one product of
matrices, and at most twice that with the largest fills' 95 % and the margins. Runs on one machine differ;
ratios hardly do.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from trackkit.job import load_job
from trackkit.plan import make_plan
from trackkit.study.contest import Contest, compare
from trackkit.study.reference import compare_references

ENDS = 120
DRAWS = 10_000
SEED = 1
TURNS = 31
DEMO = Path(__file__).parents[2] / "data_demo"
JOBS = ("boathouse_lawn", "market_yard", "terrace_edge")


def contest() -> Contest:
    """Return 120 tie ends of a rough lawn whose neighbours share their doubt."""
    rng = np.random.default_rng(SEED)
    stations = np.repeat(np.linspace(0.0, 40.0, ENDS // 2), 2)
    near = np.exp(-np.abs(stations[:, None] - stations) / 2.0)
    covariance = 0.004**2 * near + 0.001**2 * np.eye(ENDS)
    return Contest(
        rng.normal(0, 0.01, ENDS), covariance, ENDS, ENDS, np.full(ENDS, 0.012), np.arange(ENDS),
        np.full(ENDS, 0.012),
    )  # fmt: skip


def median_times(runs: dict[str, Callable[[], object]], turns: int) -> dict[str, float]:
    """Return the median seconds of one call of each; they take turns, so that all meet the same machine."""
    times: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(turns):
        for name, run in runs.items():
            start = time.perf_counter()
            run()
            times[name].append(time.perf_counter() - start)
    return {name: statistics.median(some) for name, some in times.items()}


def main() -> None:
    """Print the two ratios, and what the demo jobs take."""
    of = contest()
    values, vectors = np.linalg.eigh(of.covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    found = median_times(
        {
            "draws": lambda: root @ np.random.default_rng(SEED).standard_normal((ENDS, DRAWS)),
            "plain": lambda: compare(of, touch=0.003, quantiles=False, draws=DRAWS, seed=SEED),
            "whole": lambda: compare(of, touch=0.003, accepted=0.05, draws=DRAWS, seed=SEED),
        },
        TURNS,
    )
    print(f"{ENDS} tie ends, {DRAWS} draws; normals and one product: {found['draws'] * 1e3:.1f} ms")
    for name, what, target in (("plain", "compare", 1.2), ("whole", "with 95 % and margins", 2)):
        ratio = found[name] / found["draws"]
        print(f"{what}: {found[name] * 1e3:.1f} ms, ratio {ratio:.2f} (to reach: {target})")
    runs: dict[str, Callable[[], object]] = {}
    for name in JOBS:
        plan = make_plan(load_job(DEMO / name))
        runs[name] = lambda plan=plan: compare_references(plan.ground, plan.line.run, plan.line)
        runs[name]()
    for name, seconds in median_times(runs, 7).items():
        print(f"compare_references, {name}: {seconds * 1e3:.1f} ms")


if __name__ == "__main__":
    main()
