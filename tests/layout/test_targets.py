"""Target rods, by playing the laying day with a laser of known height."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from trackkit.layout import (
    Peg,
    Section,
    TargetRules,
    check_pegs,
    fill_table,
    least_fill_line,
    level_line,
    pegs_from_ground,
    run_from_sections,
    target_rods,
)
from trackkit.units import DISPLAYS

RUN = run_from_sections([Section("3 m", 3.0, (0.15, 0.825, 1.5, 2.175, 2.85), 0.12, 0.1)] * 3)
LASER = 1.7345  # true height on the day; only rods know it
CONTROL = 0.31


def day(ground, make=level_line, **more):
    line = make(ground, RUN)
    return line, target_rods(fill_table(ground, RUN, line), line, RUN, **more)


def test_a_rail_at_its_target_is_at_its_height_wherever_the_laser_stands(make_ground):
    ground = make_ground(surface=lambda s, side: 0.02 * s)
    for laser in (LASER, LASER + 0.4):
        line, targets = day(ground, least_fill_line, control=Peg("A", CONTROL, laser - CONTROL))
        table = targets.table
        underside = laser - table["rod_m"].to_numpy() - 0.12
        np.testing.assert_allclose(underside, line.height(table["station_m"]), atol=1e-12)
        assert targets.laser == pytest.approx(laser)


def test_a_level_line_has_one_target_for_the_whole_job(make_ground):
    line, targets = day(make_ground(), control=Peg("A", CONTROL, LASER - CONTROL))
    assert targets.one_rod == pytest.approx(LASER - float(line.rail_top(0.0)))
    assert (
        targets.text
        == f"Target for the whole job: {targets.one_rod * 1000:.0f} mm on the rod, standing on the rail."
    )
    np.testing.assert_allclose(targets.table["rod_m"], targets.one_rod)


def test_larger_target_means_lower_rail(make_ground):
    _, targets = day(
        make_ground(surface=lambda s, side: 0.02 * s), least_fill_line, control=Peg("A", 0.0, 1.9)
    )
    table = targets.table
    assert np.corrcoef(table["rail_top_m"], table["rod_m"])[0, 1] == pytest.approx(-1.0)
    assert targets.one_rod is None
    assert "Each corner has a target of its own" in targets.text


def test_before_the_peg_is_read_rails_are_given_above_it(make_ground):
    line, targets = day(make_ground(), control=Peg("A", CONTROL))
    offset = float(line.rail_top(0.0)) - CONTROL
    assert targets.one_offset == pytest.approx(offset)
    assert targets.one_rod is None
    assert math.isnan(targets.laser)
    assert targets.table["rod_m"].isna().all()
    np.testing.assert_allclose(targets.table["above_control_m"], offset)
    sign = "minus" if offset > 0 else "plus"
    assert f"the reading on A {sign} {abs(offset) * 1000:.0f} mm" in targets.text
    _, sloped = day(make_ground(surface=lambda s, side: 0.02 * s), least_fill_line, control=Peg("A", CONTROL))
    assert "add to that reading what the table says with plus" in sloped.text
    assert sloped.one_offset is None


@pytest.mark.parametrize(("peg", "words"), [(0.1, "A minus 20 mm"), (0.5, "A plus 380 mm")])
def test_a_target_in_large_type_says_what_to_do_with_the_peg_s_reading(make_ground, peg, words):
    """ "reading on P1 less / 19.7 cm" was read as less than 19.7: the sign stands with the number."""
    line = level_line(make_ground(surface=lambda s, side: 0.0 * s), RUN, gap=0.0)
    fills = fill_table(make_ground(surface=lambda s, side: 0.0 * s), RUN, line)
    targets = target_rods(fills, line, RUN, control=Peg("A", peg))  # rail top is 0.12 above ground at 0
    assert targets.headline == ("target: rod on the rail", words)
    assert f"the reading on A {words.removeprefix('A ')}." in targets.text
    read = target_rods(fills, line, RUN, control=Peg("A", peg, 1.4))
    assert read.headline == ("target: rod on the rail", f"{1000 * (peg + 1.4 - 0.12):.0f} mm")


def test_targets_are_for_the_corners_of_sections_unless_every_tie_is_asked_for(make_ground):
    _, corners = day(make_ground(), control=Peg("A", CONTROL, 1.5))
    assert list(corners.table["tie"].unique()) == [1, 5, 6, 10, 11, 15]
    assert set(corners.table["role"]) == {"set"}
    _, every = day(make_ground(), control=Peg("A", CONTROL, 1.5), every_tie=True)
    assert len(every.table) == 30


def test_pegs_come_from_the_ground_with_the_sd_of_their_difference(make_ground):
    ground = make_ground(pegs={"A": (0.31, 0.002), "B": (0.10, 0.001)}, common_sd=0.5)
    control, check, sd = pegs_from_ground(ground, ("A", "B"), {"A": 1.4})
    assert (control, check) == (Peg("A", 0.31, 1.4), Peg("B", 0.10, None))
    # A datum in doubt by half a metre does not touch the difference.
    assert sd == pytest.approx(math.hypot(0.002, 0.001), rel=1e-6)


@pytest.mark.parametrize(
    ("moved", "verdict", "words"),
    [
        (
            0.001,
            "agrees",
            "The pegs agree: B reads 1 mm more than it should, up to 6 mm is usual. Lay from A.",
        ),
        (-0.007, "read again", "Doubtful: B reads 7 mm less than it should. Read both pegs again"),
        (0.020, "do not lay", "Do not lay from these pegs: B reads 20 mm more than it should."),
    ],
)
def test_the_check_peg_gives_a_verdict_in_plain_words(moved, verdict, words):
    # sd = hypot(2 mm survey, 1.5 mm * sqrt 2 rods) = 2.9 mm; limits at two and three of these.
    control, check = Peg("A", 0.31, LASER - 0.31), Peg("B", 0.10, LASER - 0.10 + moved)
    result = check_pegs(control, check, difference_sd=0.002, run=RUN, rules=TargetRules(rod_sd=0.0015))
    assert result.verdict == verdict
    assert result.difference == pytest.approx(moved)
    assert result.sd == pytest.approx(math.hypot(0.002, 0.0015 * math.sqrt(2)))
    assert result.text.startswith(words)
    assert "2 mm from the survey" in result.basis


def test_a_peg_that_nothing_checks_is_said_to_be_unchecked(make_ground):
    _, alone = day(make_ground(), control=Peg("A", CONTROL, 1.5))
    assert alone.check.verdict == "unchecked"
    assert any("Nothing checks the control peg" in str(advisory) for advisory in alone.advisories)
    _, unread = day(make_ground(), control=Peg("A", CONTROL), check=Peg("B", 0.1))
    assert unread.check.text == (
        "Read A, then B, before laying: B should read 210 mm more than A, give or take 4 mm."
    )


def test_a_bad_check_peg_stops_the_job(make_ground):
    _, targets = day(make_ground(), control=Peg("A", CONTROL, 1.4), check=Peg("B", CONTROL, 1.5))
    assert [advisory.level for advisory in targets.advisories] == ["stop"]


def test_a_laser_too_low_or_too_high_for_the_rod_is_pointed_out(make_ground):
    low = day(make_ground(), control=Peg("A", 0.0, 0.1))[1]
    assert any("the laser stands too low for the rail" in str(advisory) for advisory in low.advisories)
    high = day(make_ground(), control=Peg("A", 0.0, 6.0))[1]
    assert any("more than the rod's 5000 mm" in str(advisory) for advisory in high.advisories)


def test_lengths_are_written_as_the_crew_reads_them(make_ground):
    ground = make_ground(surface=lambda s, side: 0.0)
    run = run_from_sections(
        [Section("8 ft", 2.4384, (0.1524, 2.286), 0.127, 0.1)], display=DISPLAYS["1/8 in"]
    )
    line = level_line(ground, run, gap=0.0127)
    targets = target_rods(fill_table(ground, run, line), line, run, control=Peg("A", 0.0, 1.27))
    # Gap 1/2 in, 5 in from tie underside to rail top, 50 in on the peg.
    assert targets.text == "Target for the whole job: 44 1/2 in on the rod, standing on the rail."


def test_a_reading_that_is_no_number_is_refused(make_ground):
    with pytest.raises(ValueError, match="peg 'A': height and reading must be finite"):
        day(make_ground(), control=Peg("A", CONTROL, math.nan))


def test_sections_of_different_height_share_one_target_on_the_rail(make_ground):
    ground = make_ground(surface=lambda s, side: 0.0)
    section = Section("3 m", 3.0, (0.15, 2.85), 0.12, 0.1)
    run = run_from_sections([section, replace(section, rail_top=0.15)])
    line = level_line(ground, run)
    targets = target_rods(fill_table(ground, run, line), line, run, control=Peg("A", 0.0, 1.5))
    assert targets.one_rod == pytest.approx(1.5 - 0.012 - 0.15)
