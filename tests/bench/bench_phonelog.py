"""Reading, cleaning and thinning a log of 100,000 rows against reading it with pandas and one running median.

Run it alone on a quiet machine: ``python tests/bench/bench_phonelog.py``. Ratios count, not seconds.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.interpolate import make_smoothing_spline
from scipy.ndimage import median_filter

sys.path.insert(0, str(Path(__file__).parents[1] / "survey"))
from log_cases import as_csv, autoregressive, walk

from trackkit.survey.ground import fit_ground
from trackkit.survey.readings import read_survey

ROWS, TURNS = 50_000, 7


def timed(work):
    begin = time.perf_counter()
    result = work()
    return time.perf_counter() - begin, result


def main() -> None:
    rng = np.random.default_rng(1)
    logs = []
    for facing in ("ahead", "back"):
        error = np.radians(0.4) + autoregressive(rng, ROWS, 30 / ROWS, sd=np.radians(0.3), length=0.05)
        error[rng.integers(0, ROWS, 100)] += 0.2
        logs.append(walk(lambda s: 0.03 * np.sin(s / 2), 0.0, 30.0, ROWS, facing=facing, error=error))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "phone_log.csv"
        as_csv(path, *logs)
        ours, theirs = [], []
        for _ in range(TURNS):
            ours.append(timed(lambda: read_survey(folder))[0])
            peer = timed(lambda: median_filter(pd.read_csv(path)["angle_deg"].to_numpy(), size=51))
            theirs.append(peer[0])
        survey = read_survey(folder)
    ratio = statistics.median(ours) / statistics.median(theirs)
    print(
        f"{2 * ROWS} rows read, cleaned and thinned, against read_csv and one median: {ratio:.1f} (aim <= 10)"
    )
    fits = [timed(lambda: fit_ground(survey))[0] for _ in range(3)]
    boards = survey.boards.drop_duplicates("station_m")
    at, slope = boards["station_m"].to_numpy(), boards["angle_rad"].to_numpy()
    splines = [timed(lambda: make_smoothing_spline(at, slope))[0] for _ in range(3)]
    both = statistics.median(fits) / statistics.median(splines)
    print(f"fit of the {len(survey.boards)} readings, with roughness, against a smoothing spline: {both:.1f}")


if __name__ == "__main__":
    main()
