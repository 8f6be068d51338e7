"""Simulated grounds, of the model's own kind and of others, for statistical studies.

Each function returns heights of both sides at given stations, shape (2, n) [m].
"""

from __future__ import annotations

import numpy as np

__all__ = ["GROUNDS", "integrated_noise", "road_spectrum", "sinusoid", "smooth", "smooth_with_relief"]

Q_MEAN, Q_TWIST, RELIEF = 3e-5, 1e-5, 0.002


def integrated_noise(rng, stations, q):
    """Return a profile whose curvature is white noise of intensity q, drawn exactly at the stations."""
    height = np.zeros(stations.size)
    slope = 0.0
    for i, gap in enumerate(np.diff(stations)):
        cov = q * np.array([[gap**3 / 3, gap**2 / 2], [gap**2 / 2, gap]])
        step = np.linalg.cholesky(cov) @ rng.standard_normal(2)
        height[i + 1] = height[i] + slope * gap + step[0]
        slope += step[1]
    return height


def smooth(rng, stations):
    """The model's own kind: mean and twist of integrated noise, on a slope."""
    mean, twist = integrated_noise(rng, stations, Q_MEAN), integrated_noise(rng, stations, Q_TWIST)
    plane = rng.normal(0, 0.03) * stations
    return np.stack([plane + mean - twist / 2, plane + mean + twist / 2])


def smooth_with_relief(rng, stations):
    """The same with stones and tussocks."""
    return smooth(rng, stations) + rng.normal(0, RELIEF, (2, stations.size))


def sinusoid(rng, stations):
    """Waves of one length between 3 and 9 m, up to 4 cm high, a little apart on the two sides."""
    length, phase, height = rng.uniform(3, 9), rng.uniform(0, 2 * np.pi), rng.uniform(0.005, 0.04)
    lag = rng.uniform(-0.5, 0.5)
    waves = [height * np.sin(2 * np.pi * stations / length + phase + side * lag) for side in (0, 1)]
    return np.stack(waves) + rng.normal(0, 0.03) * stations


def road_spectrum(rng, stations, roughness=256e-6):
    """Power falling with the square of the wave number, ISO 8608 form, class C mean (from memory).

    Waves from 40 m down to 0.1 m; half of the power is common to both sides.
    """
    wave_number = np.arange(1, 400) / 40.0
    density = roughness * (wave_number / 0.1) ** -2.0
    amplitude = np.sqrt(2.0 * density / 40.0)
    sides = []
    shared, own = (
        rng.uniform(0, 2 * np.pi, (2, wave_number.size)),
        rng.uniform(0, 2 * np.pi, (2, wave_number.size)),
    )
    for side in (0, 1):
        waves = [
            amplitude / np.sqrt(2) * np.cos(2 * np.pi * np.outer(stations, wave_number) + phase)
            for phase in (shared[0], own[side])
        ]
        sides.append(sum(waves).sum(axis=1))
    return np.stack(sides)


GROUNDS = {
    "smooth, model's kind": smooth,
    "the same with relief": smooth_with_relief,
    "sinusoid": sinusoid,
    "road spectrum": road_spectrum,
}
