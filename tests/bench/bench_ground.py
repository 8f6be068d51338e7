"""Speed of the ground fit as a ratio to peers in the same run.

Run ``python tests/bench/bench_ground.py``. Sigmas and roughness are stated, arrays in, arrays out:
our side gives mean and sd at every reading, redundancy and w; the smoothing spline gives the mean
alone, the Gaussian process the mean and sd.
"""

from __future__ import annotations

import statistics
import time
import warnings

import numpy as np
from scipy.interpolate import make_smoothing_spline
from scipy.sparse import csr_array

from trackkit.survey.grid import make_grid
from trackkit.survey.posterior import LinearModel
from trackkit.survey.prior import prior_bands, prior_weights

SD, Q, RELIEF = 0.0015, 1e-5, 0.001
REPEATS = 5


def readings(n):
    rng = np.random.default_rng(n)
    station = np.arange(n) * 0.5
    return station, 0.03 * np.sin(station / 3) + rng.normal(0, SD, n)


def ours(station, height, relief):
    """Fit one side read by one laser position of unknown height; the first point is the datum."""
    n = station.size
    grid = make_grid(station, ("left",), relief=relief > 0)
    surface = grid.column(np.arange(n), 0, "surface")
    seen, indices = np.append(-np.ones(n), 1.0), np.append(surface, surface[0])
    ground = csr_array((seen, indices, np.arange(n + 2)), shape=(n + 1, grid.size))
    border = np.append(np.ones(n), 0.0)[:, None]
    bandwidth = 2 * grid.states - 1
    model = LinearModel(
        np.append(1.5 - height, 0.0), np.full(n + 1, SD), ground, border, bandwidth, grid.states
    )
    prior = prior_bands(grid, bandwidth).combine(prior_weights(Q, Q, relief))
    found = model.fit(prior)
    own = found.system.inverse_entries(surface, surface)
    spread = found.system.reach[surface]
    sd = np.sqrt(own + np.sum((spread @ found.system.border_covariance) * spread, axis=1))
    return found.state[surface], sd, found.redundancy, found.w


def spline(station, height):
    return make_smoothing_spline(station, height, lam=SD**2 / Q)(station)


def process(station, height):
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel

    kernel = ConstantKernel(0.03**2) * RBF(3.0)
    model = GaussianProcessRegressor(kernel, alpha=SD**2, optimizer=None)
    return model.fit(station[:, None], height).predict(station[:, None], return_std=True)


def seconds(function, *arguments):
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        function(*arguments)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def main():
    print(f"{'readings':>9} {'fit / spline':>13} {'with relief':>12} {'fit / GPR':>10} {'with relief':>12}")
    mine = {}
    for n in (1_000, 10_000, 100_000):
        station, height = readings(n)
        plain, rough = seconds(ours, station, height, 0.0), seconds(ours, station, height, RELIEF)
        mine[n] = plain
        against = seconds(spline, station, height)
        line = f"{n:>9,} {plain / against:>13.3f} {rough / against:>12.3f}"
        if n == 1_000:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                peer = seconds(process, station, height)
            line += f" {'1/' + str(round(peer / plain)):>10} {'1/' + str(round(peer / rough)):>12}"
        print(line)
    growth = np.log(mine[100_000] / mine[1_000]) / np.log(100)
    print(f"time grows as n^{growth:.2f}")


if __name__ == "__main__":
    main()
