"""Which tie end governs, as a chance, against exact small cases and against solving every draw."""

from collections import Counter

import numpy as np
import pandas as pd
import pytest

from trackkit.layout.governing import STEP, governing_chances, governing_in_steps
from trackkit.layout.line import follow_line, grade_line, least_fill_line, level_line
from trackkit.layout.run import run_from_sections
from trackkit.layout.sections import Section

SECTION = Section("2 m", 2.0, (0.1, 1.9), rail_top=0.08, bearing=0.08)


class Known:
    """A ground with a known mean, a sloping plane, and independent errors."""

    def __init__(self, slope, sd):
        self.slope, self.sd = slope, sd

    def mean(self, points):
        return np.array([self.slope * s - (0.05 if side == "right" else 0.0) for s, side in points])

    def covariance(self, points):
        return np.diag(np.full(len(points), self.sd**2))

    def height(self, station, side):
        mean = self.slope * np.asarray(station, dtype=float) - (0.05 if side == "right" else 0.0)
        return mean, np.full(np.shape(station), self.sd)

    def draw(self, points, n, seed):
        normals = np.random.default_rng(seed).standard_normal((n, len(points)))
        return self.mean(points) + self.sd * normals


@pytest.mark.parametrize("slope", [0.0, 0.04])
def test_equal_ends_above_the_grade_have_equal_chances(slope):
    """Four ends on a plane, two of them 5 cm lower: one half each for the upper two (symmetry)."""
    run = run_from_sections([SECTION])
    ground = Known(slope, 0.001)
    line = grade_line(ground, run, slope) if slope else level_line(ground, run)
    table = governing_chances(ground, line, draws=20_000).table
    np.testing.assert_allclose(table["chance"], [0.5, 0.0, 0.5, 0.0], atol=4 * 0.5 / np.sqrt(20_000))


def test_on_a_level_line_the_upper_end_of_a_slope_governs():
    run = run_from_sections([SECTION])
    ground = Known(0.04, 0.001)
    table = governing_chances(ground, level_line(ground, run)).table
    assert table.loc[table["chance"].idxmax(), ["tie", "side"]].tolist() == [2, "left"]
    assert table["chance"].sum() == pytest.approx(1.0)


class Drawn(Known):
    """One draw of a ground, taken for the truth."""

    def __init__(self, points, heights):
        super().__init__(0.0, 0.0)
        self.heights = {(round(s, 2), side): z for (s, side), z in zip(points, heights, strict=True)}

    def mean(self, points):
        return np.array([self.heights[round(s, 2), side] for s, side in points])


def test_least_fill_is_solved_anew_over_every_draw():
    """The share of draws that rest on the same two ends, from `least_fill_line` over each of them."""
    run = run_from_sections([SECTION, SECTION])
    ground = Known(0.0, 0.004)
    line = least_fill_line(ground, run, grade_limit=0.01)
    found = governing_chances(ground, line, draws=200, seed=3)
    points = line.resting.rows.points
    rested = Counter(
        frozenset(least_fill_line(Drawn(points, heights), run, grade_limit=0.01).rests_on)
        for heights in ground.draw(points, 200, 3)
    )
    assert found.another == pytest.approx(1.0 - rested[frozenset(line.rests_on)] / 200)
    assert len(rested) > 3  # or the case shows nothing


def test_an_obstacle_as_high_as_the_ground_governs_half_of_the_time():
    """One end alone is high, the obstacle is exactly known: the chance is 1/2 (symmetry)."""
    run = run_from_sections([SECTION])

    class OneHigh(Known):
        def mean(self, points):
            return np.array([0.05 if point == (1.9, "left") else 0.0 for point in points])

    ground = OneHigh(0.0, 0.001)
    obstacles = pd.DataFrame({"station_m": [1.0], "offset_m": [0.0], "height_m": [0.05]})
    line = level_line(ground, run, obstacles=obstacles)
    found = governing_chances(ground, line, draws=20_000)
    assert found.table["chance"].sum() == pytest.approx(0.5, abs=4 * 0.5 / np.sqrt(20_000))
    assert found.another == pytest.approx(0.5, abs=4 * 0.5 / np.sqrt(20_000))


def test_chances_worked_out_in_steps_are_the_same():
    run = run_from_sections([SECTION] * 3)
    ground = Known(0.01, 0.02)
    for line, steps in ((follow_line(ground, run), 8), (least_fill_line(ground, run), 1)):
        found = []

        def asked(line=line, found=found):
            found.append((yield from governing_in_steps(ground, line, draws=8 * STEP)))

        assert len(list(asked())) == steps
        (found,) = found
        whole = governing_chances(ground, line, draws=8 * STEP)
        pd.testing.assert_frame_equal(found.table, whole.table)
        assert (found.another, found.likeliest) == (whole.another, whole.likeliest)
        assert 0 < found.another < 1
