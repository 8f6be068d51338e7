"""What a line set from each reference comes to: against lines set from it, and against plain loops."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from lawn_by_hand import HandLawn

from trackkit.cribbing import Piece, Truck
from trackkit.cribbing.by_height import expected_pieces, pieces_by_height
from trackkit.layout.clearance import Clearance
from trackkit.layout.doubt import Doubt, chance_any_touches, fill_model, point_covariance
from trackkit.layout.fills import fill_table
from trackkit.layout.governing import governing_chances
from trackkit.layout.line import (
    LensHeight,
    RailHeight,
    follow_line,
    grade_line,
    least_fill_line,
    level_line,
)
from trackkit.layout.run import run_from_sections
from trackkit.layout.sections import Section
from trackkit.study.candidates import contest_of
from trackkit.study.contest import compare, draw
from trackkit.study.reference import compare_references

SECTION = Section("3 m", 3.0, (0.15, 1.5, 2.85), rail_top=0.12, bearing=0.1)
RUN = run_from_sections([SECTION] * 2)
ENDS = [(tie, side) for tie in range(1, 7) for side in ("left", "right")]
STILL = Doubt(sideways_sd=0.0)
#: A stone that the line lies clear of as it is planned: 2 mm are kept over it, where the gap is 4 mm.
OBSTACLES = pd.DataFrame({"station_m": [2.2], "offset_m": [0.0], "height_m": [0.0075]})
LITTLE = Clearance(over=0.002)
TRUCK = Truck((
    Piece("quarter", "box", 0.05, 0.5, 0.3, 2.0, 9), Piece("pancake", "box", 0.025, 0.5, 0.3, 1.0, 9),
    Piece("wedge", "wedge", 0.03, 0.3, 0.1, 0.3, 9, 0.0),
    Piece("shim", "shim", 0.003, 0.15, 0.05, 0.1, 9),
))  # fmt: skip
GROUND = HandLawn(pegs={"P1": (0.1, 0.003), "P2": (-0.2, 0.001)})

LINES = {
    "level": lambda ground, **more: level_line(ground, RUN, **({"gap": 0.004} | more)),
    "grade": lambda ground, **more: grade_line(ground, RUN, 0.001, **({"gap": 0.004} | more)),
    "raised": lambda ground, **more: level_line(ground, RUN, gap=0.004, confidence=0.9, **more),
    "obstacle": lambda ground, **more: level_line(
        ground, RUN, gap=0.004, obstacles=OBSTACLES, clearance=LITTLE, **more
    ),
}


def noise(chance, draws):
    """Four standard errors of a chance that is known from draws, and a hair for chances of 0 or 1."""
    return 4 * math.sqrt(max(chance * (1 - chance), 1 / draws) / draws)


@pytest.mark.parametrize("kind", LINES)
def test_fills_from_the_plan_s_own_reference_are_those_of_the_fill_table_with_their_sd(kind):
    line = LINES[kind](GROUND)
    study = compare_references(GROUND, line.run, line, draws=10)
    assert study.candidates[study.planned].label == line.rests_on[0]
    table = fill_table(GROUND, line.run, line)
    np.testing.assert_allclose(study.contest.fills[study.planned], table["fill_m"], atol=1e-12)
    np.testing.assert_allclose(study.contest.fill_sds[study.planned], table["fill_sd_m"], atol=1e-9)
    ends = study.table[study.table["kind"] == "tie"]
    np.testing.assert_allclose(ends["fill_m"], table["fill_m"], atol=1e-12)


@pytest.mark.parametrize("kind", ["level", "grade"])
@pytest.mark.parametrize("end", [(1, "left"), (3, "right"), (6, "left")])
def test_fills_from_another_tie_end_are_those_of_a_line_that_is_set_from_it(kind, end):
    line = LINES[kind](GROUND, gap=0.007)
    study = compare_references(GROUND, line.run, line, draws=10)
    again = LINES[kind](GROUND, gap=0.007, reference=end)
    table = fill_table(GROUND, again.run, again)
    own = study.index(f"tie {end[0]} {end[1]}")
    np.testing.assert_allclose(study.contest.fills[own], table["fill_m"], atol=1e-12)
    np.testing.assert_allclose(study.contest.fill_sds[own], table["fill_sd_m"], atol=1e-9)
    row = study.table.iloc[own]
    assert row["total_m"] == pytest.approx(table["fill_m"].sum())
    model = fill_model(GROUND, again.run, again)
    assert row["total_sd_m"] == pytest.approx(math.sqrt(model.covariance.sum()))
    below = np.where(
        model.sd > 1e-9, 0.5 * np.vectorize(math.erfc)(model.fills / np.maximum(model.sd, 1e-9) / 2**0.5), 0
    )
    assert row["in_ground"] == pytest.approx(below.sum(), abs=1e-9)


@pytest.mark.parametrize("kind", LINES)
def test_the_chance_that_the_plan_s_line_touches_is_that_of_all_fills_together(kind):
    """The obstacle, whose room is 2 mm where the gap is 4 mm, is joined to the fills by hand."""
    line = LINES[kind](GROUND)
    study = compare_references(GROUND, line.run, line)
    model = fill_model(GROUND, line.run, line)
    fills, jacobian = model.fills, model.jacobian
    if kind == "obstacle":
        fills = np.append(fills, line.height(2.2) - 0.0075)
        row = np.zeros((1, len(model.points)))
        row[0, [model.points.index(point) for point in line.contacts]] = line.weights_at(2.2)[0]
        jacobian = np.vstack([jacobian, row])
    covariance = jacobian @ point_covariance(GROUND, model.points, line.doubt) @ jacobian.T
    chance = chance_any_touches(fills, covariance, touch=line.doubt.touch, draws=40_000, seed=7)
    assert 0.03 < chance < 0.9  # or the case shows nothing
    found = study.table["touches"].iloc[study.planned]
    assert found == pytest.approx(chance, abs=noise(chance, 40_000) + noise(chance, 10_000))
    drawn = compare(study.contest, touch=line.doubt.touch).touches[study.planned]
    assert drawn == pytest.approx(chance, abs=noise(chance, 40_000) + noise(chance, 10_000))


def test_an_obstacle_adds_to_the_chance_of_touching():
    line = LINES["obstacle"](GROUND)
    with_it = compare_references(GROUND, line.run, line)
    bare = level_line(GROUND, RUN, gap=0.004)
    assert bare.rests_on == line.rests_on
    without = compare_references(GROUND, bare.run, bare)
    assert (with_it.table["touches"].iloc[:12] > without.table["touches"]).all()
    assert with_it.candidates[12].label == with_it.labels[-1]
    assert with_it.labels[-1].startswith("obstacle 1")


def test_a_line_set_from_a_peg_has_the_plan_s_fills_with_the_peg_s_doubt():
    line = LINES["level"](GROUND)
    study = compare_references(GROUND, line.run, line, pegs=["P2", "P1"], draws=10)
    for peg in ("P1", "P2"):
        own = study.index(f"peg {peg}")
        table = fill_table(GROUND, line.run, line, set_from=peg)
        np.testing.assert_allclose(study.contest.fills[own], table["fill_m"], atol=1e-12)
        np.testing.assert_allclose(study.contest.fill_sds[own], table["fill_sd_m"], atol=1e-12)
        assert study.table.loc[own, ["fill_m", "governs"]].isna().all()


@pytest.mark.parametrize("common_sd", [0.0, 0.5], ids=["", "datum in doubt"])
def test_a_chosen_point_is_set_from_like_a_tie_end_in_the_same_place(common_sd):
    ground = replace(GROUND, common_sd=common_sd)
    line = LINES["level"](ground)
    place = (float(line.run.ties["station_m"].iloc[3]), "right")
    study = compare_references(ground, line.run, line, chosen=[place], by_eye=(3.9, "left"), draws=2000)
    same = np.ptp(study.drawn.heights[study.contest.starts[[7, 12]]], axis=0)
    assert same.max() < 1e-13 + 1e-12 * common_sd
    tie, point, eye = study.table.iloc[7], study.table.iloc[12], study.table.iloc[13]
    assert (tie["candidate"], point["kind"], eye["kind"]) == ("tie 4 right", "point", "eye")
    assert eye["candidate"].endswith("left, by eye")
    for column in ("fill_m", "touches_at_chance", "largest_m", "total_m", "total_sd_m", "in_ground"):
        assert point[column] == pytest.approx(tie[column], abs=1e-6)
    assert point["governs"] == pytest.approx(tie["governs"], abs=noise(tie["governs"], 2000))
    np.testing.assert_allclose(eye["fill_m"], line.height(3.9) - GROUND.surface(3.9, "left"))


def test_under_lower_track_a_point_is_set_from_like_the_tie_end_in_its_place():
    """Track with rails 2 cm lower lies 2 cm higher under them; all rails are in one line."""
    low = Section("low", 3.0, (0.15, 1.5, 2.85), rail_top=0.10, bearing=0.1)
    run = run_from_sections([SECTION, low])
    line = level_line(GROUND, run)
    place = (float(run.ties["station_m"].iloc[4]), "left")
    table = compare_references(GROUND, run, line, chosen=[place], draws=500).table
    assert table["fill_m"].iloc[12] == pytest.approx(table["fill_m"].iloc[8])
    assert table["total_m"].iloc[12] == pytest.approx(table["total_m"].iloc[8])
    np.testing.assert_allclose(run.drop_at([0.0, 2.99, 3.0, 6.0, 9.0]), [0, 0, 0.02, 0.02, 0.02])
    again = level_line(GROUND, run, reference=(5, "left"))
    assert table["total_m"].iloc[12] == pytest.approx(fill_table(GROUND, run, again)["fill_m"].sum())


def test_ties_of_two_sections_in_one_place_are_compared_alike():
    end = Section("2 m", 2.0, (0.0, 1.0, 2.0), rail_top=0.12, bearing=0.1)
    run = run_from_sections([end] * 2)
    line = level_line(GROUND, run)
    study = compare_references(GROUND, run, line, pegs=["P1"], draws=2000)
    table = fill_table(GROUND, run, line)
    np.testing.assert_allclose(study.contest.fills[study.planned], table["fill_m"], atol=1e-12)
    np.testing.assert_allclose(study.contest.fill_sds[study.planned], table["fill_sd_m"], atol=1e-9)
    same = study.table.iloc[[4, 6]].drop(columns=["candidate", "tie"])  # tie 3 left, tie 4 left
    pd.testing.assert_series_equal(same.iloc[0], same.iloc[1], check_names=False, rtol=1e-6)


@pytest.mark.parametrize("kind", LINES)
def test_touches_at_is_where_a_touch_is_likeliest(kind):
    line = LINES[kind](GROUND)
    study = compare_references(GROUND, line.run, line)
    heights = study.drawn.heights
    for own, (start, offset) in enumerate(zip(study.contest.starts, study.contest.offsets, strict=True)):
        each = (heights[: len(study.labels)] > heights[start] + offset + study.touch).mean(axis=1)
        at = study.table["touches_at"].iloc[own]
        assert study.table["touches_at_chance"].iloc[own] == pytest.approx(
            each.max(), abs=noise(each.max(), 10_000)
        )
        assert at == "" or each[study.labels.index(at)] >= each.max() - noise(each.max(), 10_000)
    table = fill_table(GROUND, line.run, line)
    worst = table.loc[table["p_touch"].idxmax()]
    if kind != "obstacle":
        assert study.table["touches_at"].iloc[study.planned] == f"tie {worst['tie']} {worst['side']}"


def test_where_nothing_can_touch_no_place_is_named():
    high = HandLawn(surface=lambda s, side: 0.5 * (s < 1.0 and side == "left"), sd=0.001)
    line = level_line(high, RUN)
    table = compare_references(high, line.run, line).table
    assert table["touches_at"].iloc[0] == "" and table["touches"].iloc[0] == 0.0
    assert (table["touches_at"].iloc[1:] == "tie 1 left").all() and (table["touches"].iloc[1:] == 1.0).all()


@pytest.mark.parametrize(
    "reference",
    [RailHeight(0.15), RailHeight(0.2, station=2.0, above="P1"), LensHeight(1.4, 1.25, station=3.0)],
    ids=["rail", "rail above a peg", "lens above the ground"],
)
def test_a_given_height_is_a_candidate_of_its_own_with_the_fills_of_the_plan(reference):
    line = level_line(GROUND, RUN, reference=reference)
    study = compare_references(GROUND, line.run, line, pegs=["P1"], draws=500)
    assert study.planned == len(study.candidates) - 1
    assert (study.candidates[-1].kind, study.candidates[-1].label) == ("plan", line.reference)
    assert math.isnan(study.table["governs"].iloc[-1])
    table = fill_table(GROUND, line.run, line)
    np.testing.assert_allclose(study.contest.fills[-1], table["fill_m"], atol=1e-12)
    np.testing.assert_allclose(study.contest.fill_sds[-1], table["fill_sd_m"], atol=1e-12)


@pytest.mark.parametrize("kind", ["level", "grade"])
def test_a_line_set_from_a_tie_end_has_that_tie_end_for_its_own_reference(kind):
    line = LINES[kind](GROUND, reference=(2, "right"))
    study = compare_references(GROUND, line.run, line, draws=500)
    assert study.candidates[study.planned].label == "tie 2 right"
    assert len(study.candidates) == 12


def test_a_line_that_rests_on_an_obstacle_is_a_candidate_of_its_own():
    obstacles = OBSTACLES.assign(height_m=0.08)
    line = level_line(GROUND, RUN, obstacles=obstacles)
    study = compare_references(GROUND, line.run, line, draws=2000)
    assert study.candidates[study.planned].kind == "obstacle"
    np.testing.assert_allclose(
        study.contest.fill_sds[study.planned], fill_table(GROUND, RUN, line)["fill_sd_m"], atol=1e-12
    )
    assert (study.table["governs"].iloc[:12] < 1e-6).all()
    assert study.table["governs"].iloc[study.planned] == pytest.approx(1.0)
    assert study.contenders().index.tolist() == [study.planned]
    assert (study.table["touches"].iloc[:12] == 1.0).all() and study.table["touches"].iloc[-1] == 0.0


@pytest.mark.parametrize("kind", ["level", "grade", "raised", "obstacle"])
def test_chances_to_govern_agree_with_those_of_the_layout(kind):
    line = LINES[kind](GROUND, doubt=STILL)
    study = compare_references(GROUND, line.run, line)
    found = governing_chances(GROUND, line).table["chance"]
    for mine, theirs in zip(study.table["governs"], found, strict=False):
        assert mine == pytest.approx(theirs, abs=2 * noise(theirs, 10_000))
    assert (found > 0.02).sum() > 2


def test_chances_of_a_line_with_least_fill_add_up_to_two_and_agree_with_the_layout():
    line = least_fill_line(GROUND, RUN, grade_limit=1.0, doubt=STILL)
    study = compare_references(GROUND, line.run, line)
    assert study.planned == -1 and not study.is_exact
    governs = study.table["governs"].iloc[:12]
    assert governs.sum() == pytest.approx(2.0)
    for mine, theirs in zip(governs, governing_chances(GROUND, line).table["chance"], strict=True):
        assert mine == pytest.approx(theirs, abs=2 * noise(theirs, 10_000))


def test_bends_are_kept_while_the_line_moves_up_and_down():
    line = follow_line(GROUND, RUN, doubt=STILL)
    study = compare_references(GROUND, line.run, line)
    heights = GROUND.draw(line.run.tie_points(), 10_000, 3) - np.repeat(
        line.height(line.run.ties["station_m"]), 2
    )
    shares = np.bincount(heights.argmax(axis=1), minlength=12) / 10_000
    for mine, share in zip(study.table["governs"], shares, strict=False):
        assert mine == pytest.approx(share, abs=2 * noise(share, 10_000))


@pytest.mark.parametrize("kind", ["level", "obstacle"])
def test_with_the_margin_added_a_touch_is_no_likelier_than_was_accepted(kind):
    line = LINES[kind](GROUND)
    study = compare_references(GROUND, line.run, line, pegs=["P1"], accepted=0.1)
    margin = study.table["margin_m"].to_numpy()
    raised = replace(study.contest, offsets=study.contest.offsets + margin)
    fresh = compare(raised, touch=study.touch, draws=40_000, seed=99).touches
    assert (fresh <= 0.1 + noise(0.1, 40_000) + noise(0.1, 10_000)).all()
    needed = margin > 0
    assert (fresh[needed] >= 0.1 - noise(0.1, 40_000) - noise(0.1, 10_000)).all() and needed.sum() > 5
    assert (study.table["touches"][~needed] <= 0.1 + noise(0.1, 10_000)).all()


def test_the_stacks_that_would_not_close_are_those_of_a_plain_loop():
    line = LINES["level"](GROUND)
    rng = np.random.default_rng(4)
    fills = fill_table(GROUND, line.run, line)["fill_m"].to_numpy()
    low, high = fills - rng.uniform(0.0, 0.015, 12), fills + rng.uniform(0.0, 0.015, 12)
    low[[2, 7]] = high[[2, 7]] = np.nan
    study = compare_references(GROUND, line.run, line, travel=(low, high), pegs=["P1"])
    heights = study.drawn.heights
    for own, (start, offset) in enumerate(zip(study.contest.starts, study.contest.offsets, strict=True)):
        wrong = []
        for one in heights.T[:4000]:
            fill = one[start] + offset - one[:12]
            wrong.append(sum(f < a - 1e-6 or f > b + 1e-6 for f, a, b in zip(fill, low, high, strict=True)))
        any_wrong = np.mean(np.array(wrong) > 0)
        row = study.table.iloc[own]
        assert row["any_changed"] == pytest.approx(any_wrong, abs=noise(any_wrong, 4000))
        assert row["changed"] == pytest.approx(np.mean(wrong), abs=4 * np.std(wrong) / math.sqrt(4000) + 1e-9)


def test_without_stacks_nothing_is_said_of_them():
    line = LINES["level"](GROUND)
    table = compare_references(GROUND, line.run, line, draws=100).table
    assert table[["changed", "any_changed", "pieces", "wedges", "margin_pieces"]].isna().all(axis=None)
    none = np.full(12, np.nan)
    table = compare_references(GROUND, line.run, line, draws=100, travel=(none, none)).table
    assert table[["changed", "any_changed"]].isna().all(axis=None)


def test_pieces_are_those_expected_at_every_tie_end():
    own = pieces_by_height(TRUCK, bearing=0.1)
    line = LINES["level"](GROUND)
    study = compare_references(GROUND, line.run, line, by_height=own)
    for end in (0, 5, study.planned):
        again = level_line(GROUND, RUN, reference=ENDS[end], gap=line.gap)
        table = fill_table(GROUND, RUN, again)
        fills, sds = table["fill_m"].to_numpy(), table["fill_sd_m"].to_numpy()
        pieces, wedges = expected_pieces(own, fills, sds)
        row = study.table.iloc[end]
        assert row["pieces"] == pytest.approx(pieces.sum(), abs=1e-6)
        assert row["wedges"] == pytest.approx(wedges.sum(), abs=1e-6)
        more = (
            sum(x.sum() for x in expected_pieces(own, fills + row["margin_m"], sds)) - (pieces + wedges).sum()
        )
        assert row["margin_pieces"] == pytest.approx(more if row["margin_m"] > 0 else 0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("wish", "message"),
    [
        ({"chosen": [(7.0, "left")]}, "lies off the run, which goes from"),
        ({"chosen": [(-0.1, "left")]}, "choose a point along it"),
        ({"by_eye": (1.0, "middle")}, r"must be \(station, 'left' or 'right'\), got \(1.0, 'middle'\)"),
        ({"chosen": ["P1"]}, "must be .station, 'left' or 'right'., got 'P1'"),
        ({"accepted": 0.0}, "accepted must lie between 0 and 1, got 0"),
        ({"accepted": 5.0}, "accepted must lie between 0 and 1, got 5"),
        ({"run": run_from_sections([SECTION])}, "run is not the one that line was worked out for"),
    ],
)
def test_what_cannot_be_compared_is_refused(wish, message):
    line = LINES["level"](GROUND)
    with pytest.raises(ValueError, match=message):
        compare_references(GROUND, **({"run": line.run, "line": line, "draws": 10} | wish))


def test_a_candidate_that_does_not_exist_is_named_with_those_that_do():
    line = LINES["level"](GROUND)
    study = compare_references(GROUND, line.run, line, draws=10)
    with pytest.raises(KeyError, match="no candidate 'tie 9 left'; there are tie 1 left, tie 1 right"):
        study.index("tie 9 left")


def test_the_same_seed_gives_the_same_table_and_another_another():
    line = LINES["level"](GROUND)
    one, same, other = (
        compare_references(GROUND, line.run, line, draws=1000, seed=seed).table for seed in (3, 3, 4)
    )
    pd.testing.assert_frame_equal(one, same)
    assert (one["largest95_m"] != other["largest95_m"]).all()


def test_contenders_come_by_their_chance():
    line = LINES["level"](GROUND)
    study = compare_references(GROUND, line.run, line, pegs=["P1"], chosen=[(1.0, "left")])
    found = study.contenders(0.05)
    assert found["governs"].is_monotonic_decreasing and (found["governs"] >= 0.05).all()
    assert set(found["kind"]) == {"tie"}
    assert len(found) == (study.table["governs"].iloc[:12] >= 0.05).sum()
    np.testing.assert_allclose(study.largest_fills(3).mean(), study.table["largest_m"].iloc[3], atol=4e-4)
    np.testing.assert_allclose(study.largest_fills(3, spare=0.01) - study.largest_fills(3), 0.01)


def test_moving_the_datum_changes_nothing():
    """All heights 5 m higher, and all of them in doubt together by 5 cm."""
    line = LINES["level"](GROUND)
    one = compare_references(GROUND, line.run, line).table
    moved = replace(GROUND, shift=5.0, common_sd=0.05)
    again = LINES["level"](moved)
    other = compare_references(moved, again.run, again).table
    assert one["candidate"].tolist() == other["candidate"].tolist()
    for column in ("fill_m", "total_m", "total_sd_m", "in_ground", "touches_at_chance"):
        np.testing.assert_allclose(one[column], other[column], atol=1e-6)
    for column in ("governs", "touches"):
        np.testing.assert_allclose(one[column], other[column], atol=2 * noise(0.5, 10_000))
    for column in ("largest_m", "largest95_m", "margin_m"):
        np.testing.assert_allclose(one[column], other[column], atol=6e-4)


def test_the_contest_has_rows_in_the_order_of_what_must_be_cleared():
    line = LINES["obstacle"](GROUND)
    contest, candidates, labels, planned = contest_of(GROUND, line, pegs=["P1"], chosen=[(1.0, "left")])
    assert labels == line.resting.rows.labels
    assert (contest.ends, contest.rows, contest.mean.size) == (12, 13, 16)
    assert contest.room[-1] == 0.002 and contest.room[0] == 0.004
    assert contest.starts.tolist() == [*range(15)]
    assert contest.offsets.tolist() == [0.004] * 12 + [0.002, 0.004, 0.0]
    assert [one.kind for one in candidates[12:]] == ["obstacle", "point", "peg"] and planned < 12
    seen = draw(contest, 20_000, 1).heights
    np.testing.assert_allclose(np.cov(seen), contest.covariance, atol=1e-6)
    np.testing.assert_allclose(seen.mean(axis=1), contest.mean, atol=2e-4)


# --- several grounds are likely -------------------------------------------------------------------

#: Rougher, and higher in the middle than the lawn that was fitted; the peg has another height there.
ROUGH = HandLawn(
    surface=lambda s, side: GROUND.surface(s, side) + 0.003 * (1.0 < s < 5.0), sd=0.009, reach=0.4,
    pegs={"P1": (0.104, 0.003)},
)  # fmt: skip
MIXED = ((0.7, GROUND), (0.3, ROUGH))


def test_over_likely_grounds_every_chance_is_the_average_of_those_over_each():
    line = LINES["obstacle"](GROUND)
    wishes = {"pegs": ["P1"], "chosen": [(1.0, "left")], "draws": 40_000}
    found = compare_references(GROUND, line.run, line, likely=MIXED, **wishes)
    alone = [compare_references(GROUND, line.run, line, likely=[(1.0, one)], **wishes) for _, one in MIXED]
    for name in ("governs", "touches", "in_ground", "total_m", "largest_m"):
        ours = found.table[name].to_numpy(dtype=float)
        both = sum(
            share * study.table[name].to_numpy(dtype=float)
            for (share, _), study in zip(MIXED, alone, strict=True)
        )
        loose = 4 * 0.5 / math.sqrt(40_000) + 1e-3 if name in ("governs", "touches") else 1e-3
        np.testing.assert_allclose(ours, both, atol=loose, err_msg=name)
    np.testing.assert_allclose(found.table["fill_m"], alone[0].table["fill_m"])  # as planned


def test_the_total_of_fills_spreads_within_the_likely_grounds_and_between_them():
    line = LINES["level"](GROUND)
    study = compare_references(GROUND, line.run, line, likely=MIXED, draws=40_000)
    heights, ends = study.drawn.heights, study.contest.ends
    for own, (start, offset) in enumerate(zip(study.contest.starts, study.contest.offsets, strict=True)):
        total = (heights[start] + offset - heights[:ends]).sum(axis=0)
        sd = study.table["total_sd_m"].iloc[own]
        assert study.table["total_m"].iloc[own] == pytest.approx(total.mean(), abs=4 * sd / 200)
        assert sd == pytest.approx(total.std(), rel=0.03)


def test_a_peg_that_a_likely_ground_has_higher_sets_the_line_higher():
    line = LINES["level"](GROUND)
    contest, candidates, _, _ = contest_of(GROUND, line, pegs=["P1"], likely=MIXED)
    at = contest.starts[[one.kind for one in candidates].index("peg")]
    assert contest.mean[at] == 0.0
    assert [one.mean[at] for one in contest.likely] == pytest.approx([0.0, 0.004])
    covariances = [one.covariance[at, at] for one in contest.likely]
    assert covariances == pytest.approx([0.003**2, 0.003**2])


def test_pieces_over_likely_grounds_are_counted_over_each():
    line, own = LINES["level"](GROUND), pieces_by_height(TRUCK, bearing=0.1)
    study = compare_references(GROUND, line.run, line, by_height=own, likely=MIXED, draws=200)
    for at in (0, 5):
        start, offset = study.contest.starts[at], study.contest.offsets[at]
        expected = 0.0
        for share, one in zip((0.7, 0.3), study.contest.likely, strict=True):
            fills = one.mean[start] + offset - one.mean[:12]
            spread = (
                one.covariance[start, start] + np.diag(one.covariance)[:12] - 2 * one.covariance[start, :12]
            )
            sds = np.sqrt(np.maximum(spread, 0.0))
            sds[start] = 0.0
            expected += share * expected_pieces(own, fills, sds)[0].sum()
        assert study.table["pieces"].iloc[at] == pytest.approx(expected, abs=1e-6)


def test_shares_of_likely_grounds_must_add_up():
    line = LINES["level"](GROUND)
    with pytest.raises(ValueError, match=r"shares of likely grounds must add up to 1, got 0\.9"):
        compare_references(GROUND, line.run, line, likely=[(0.5, GROUND), (0.4, ROUGH)])
