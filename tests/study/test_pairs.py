"""Pairs that a line with least fill rests on, against solving it anew over every draw."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pandas as pd
import pytest
from lawn_by_hand import HandLawn

from trackkit.layout.clearance import Clearance
from trackkit.layout.line import least_fill_line, level_line
from trackkit.layout.run import run_from_sections
from trackkit.layout.sections import Section
from trackkit.study.pairs import compare_pairs
from trackkit.study.reference import compare_references

SECTION = Section("2 m", 2.0, (0.1, 1.0, 1.9), rail_top=0.08, bearing=0.08)
RUN = run_from_sections([SECTION] * 2)
GROUND = HandLawn(sd=0.003, reach=1.0)
OBSTACLES = pd.DataFrame({"station_m": [1.5], "offset_m": [0.0], "height_m": [0.017]})
DRAWS = 120


class OneDraw(HandLawn):
    """One draw of a ground, taken for the truth; ties that move a little with the grade stay on it."""

    def __init__(self, points, heights):
        super().__init__(sd=0.0)
        self.known = {(round(s, 2), side): z for (s, side), z in zip(points, heights, strict=True)}

    def mean(self, points):
        return np.array([self.known[round(s, 2), side] for s, side in points])


def solved(limit, obstacles=None, confidence=None, gap=0.012):
    """Return the line, the study, and each draw's heights of ties."""
    line = least_fill_line(
        GROUND,
        RUN,
        gap=gap,
        grade_limit=limit,
        obstacles=obstacles,
        clearance=Clearance(over=0.002),
        confidence=confidence,
    )
    study = compare_references(GROUND, line.run, line, draws=DRAWS)
    rows = line.resting.rows
    ties = (
        study.drawn.heights[: study.contest.ends] + line.height(rows.stations[: study.contest.ends])[:, None]
    )
    return line, study, ties


@pytest.mark.parametrize(
    ("limit", "obstacles"),
    [(0.1, None), (0.0015, None), (0.1, OBSTACLES)],
    ids=["free", "limited", "obstacle"],
)
def test_pairs_are_those_of_the_line_solved_anew_over_every_draw(limit, obstacles):
    line, study, ties = solved(limit, obstacles)
    points = line.run.tie_points()
    rested = Counter()
    for heights in ties.T:
        again = least_fill_line(
            OneDraw(points, heights),
            RUN,
            grade_limit=limit,
            obstacles=obstacles,
            clearance=Clearance(over=0.002),
        )
        rested[frozenset(again.rests_on)] += 1
    found = compare_pairs(study, line, least=0.0)
    assert {
        frozenset({row.first, row.second} - {""}): round(row.chance * DRAWS) for row in found.itertuples()
    } == dict(rested)
    assert found["chance"].is_monotonic_decreasing and found["chance"].sum() == pytest.approx(1.0)
    assert len(found) > 3  # or the case shows nothing
    if limit < 0.01:
        assert (found["second"] == "").sum() > 1
    if obstacles is not None:
        assert found[["first", "second"]].isin([study.labels[-1]]).any(axis=None)


@pytest.mark.parametrize(
    ("limit", "confidence", "gap", "stone"),
    [(0.1, None, 0.012, 0.017), (0.0015, None, 0.012, 0.017), (0.1, 0.95, 0.001, -0.02)],
)
def test_touches_and_fills_of_a_pair_are_those_of_a_plain_loop(limit, confidence, gap, stone):
    """A line through both true heights, by what the plan keeps there; from one alone at the plan's grade."""
    line, study, ties = solved(limit, OBSTACLES.assign(height_m=stone), confidence, gap)
    assert line.raised > 0.001 or confidence is None
    stations = np.repeat(line.run.ties["station_m"].to_numpy(dtype=float), 2)
    labels = list(study.labels)
    for row in compare_pairs(study, line, least=0.01).itertuples():
        touched, largest, totals, grades = [], [], [], []
        for ends in ties.T:
            at, own = np.append(stations, 1.5), np.append(ends, stone)
            room = np.append(np.full(len(ends), gap), 0.002) + line.raised
            a = labels.index(row.first)
            grade = line.steepest
            if row.second:
                b = labels.index(row.second)
                grade = (own[b] + room[b] - own[a] - room[a]) / (at[b] - at[a])
            under = own[a] + room[a] + grade * (at - at[a])
            touched.append((own > under + study.touch).any())
            largest.append((under - own)[:-1].max())
            totals.append((under - own)[:-1].sum())
            grades.append(grade)
        assert row.touches == pytest.approx(np.mean(touched))
        assert row.largest_m == pytest.approx(np.mean(largest))
        assert row.largest95_m == pytest.approx(np.quantile(largest, 0.95))
        assert row.total_m == pytest.approx(np.mean(totals))
        assert row.grade == pytest.approx(np.mean(grades), abs=1e-12)


def test_the_plan_s_own_pair_is_marked_and_told_however_unlikely():
    line, study, _ = solved(0.1)
    found = compare_pairs(study, line, least=1.0)
    assert found["planned"].tolist() == [True]
    assert {found["first"][0], found["second"][0]} == set(line.rests_on)
    assert compare_pairs(study, line)["planned"].sum() == 1
    assert (compare_pairs(study, line, least=0.1)[lambda t: ~t["planned"]]["chance"] >= 0.1).all()


@pytest.mark.parametrize("kind", ["level", "held"])
def test_lines_of_another_kind_and_held_lines_have_no_pairs(kind):
    line = level_line(GROUND, RUN) if kind == "level" else least_fill_line(GROUND, RUN, reference=(1, "left"))
    found = compare_pairs(compare_references(GROUND, line.run, line, draws=DRAWS), line)
    assert found.empty and list(found.columns)[:3] == ["first", "second", "chance"]
