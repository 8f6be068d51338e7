"""Time of the whole command over the time of importing what it needs, as whole processes.

Run ``python tests/bench/bench_plan.py``: `trackkit plan` on a demo job should take no more than three
times as long as importing its dependencies, and `import trackkit` no more than 1.2 times numpy and pandas.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
NEEDED = (
    "import numpy, pandas, pydantic, typer, scipy.linalg, scipy.optimize, scipy.sparse.csgraph, "
    "scipy.special, "
    "matplotlib.figure, matplotlib.backends.backend_agg, matplotlib.backends.backend_svg"
)


def seconds(*arguments: str) -> float:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    times = []
    for _ in range(7):
        start = time.perf_counter()
        subprocess.run([sys.executable, *arguments], env=environment, check=True, capture_output=True)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def main() -> None:
    empty = seconds("-c", "pass")
    needed = seconds("-c", NEEDED)
    own = (seconds("-c", "import trackkit") - empty) / (seconds("-c", "import numpy, pandas") - empty)
    print(f"import trackkit / import numpy and pandas: {own:.2f}")
    with tempfile.TemporaryDirectory() as folder:
        for job in ("boathouse_lawn", "terrace_edge", "market_yard"):
            plan = seconds("-m", "trackkit", "plan", str(ROOT / "data_demo" / job), "--out", folder)
            print(f"trackkit plan {job} / import its dependencies: {plan / needed:.2f}")


if __name__ == "__main__":
    main()
