"""What has which part in the doubt of heights: against refits, simulations and error propagation by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from holed import ENDS, GROUND, KNOWN, READINGS, ROD_SD, RUN, ground_of, reread, rods

from trackkit.study.parts import SHARED, parts_of
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import make_survey


def test_scatter_and_unread_ground_add_up_to_the_fit_s_covariance():
    points = [*ENDS, "P1", (3.3, "left")]
    found = parts_of(GROUND, points)
    assert set(found) == {"scatter", "unread"}  # rods alone share nothing
    np.testing.assert_allclose(sum(found.values()), GROUND.covariance(points), atol=1e-18)
    for part in found.values():
        assert np.linalg.eigvalsh(part).min() > -1e-12 * np.trace(part)


def test_scatter_is_what_each_reading_s_own_doubt_does_to_the_fitted_heights():
    """Every reading is read anew, one standard deviation off, and the ground fitted again."""
    points = [*ENDS, (3.3, "left")]
    scatter = parts_of(GROUND, points)["scatter"]
    total = np.zeros_like(scatter)
    for row in np.flatnonzero(READINGS):
        off = np.zeros(READINGS.size)
        off[row] = ROD_SD
        moved = reread(GROUND, off).mean(points) - GROUND.mean(points)
        total += np.outer(moved, moved)
    np.testing.assert_allclose(scatter, total, atol=1e-6 * scatter.max())


def test_scatter_is_the_spread_of_heights_fitted_to_the_same_ground_read_again_and_again():
    rng = np.random.default_rng(8)
    scatter = parts_of(GROUND, ENDS)["scatter"]
    seen = np.array(
        [reread(GROUND, READINGS * rng.normal(0, ROD_SD, READINGS.size)).mean(ENDS) for _ in range(60)]
    )
    np.testing.assert_allclose(seen.var(axis=0, ddof=1), np.diag(scatter), rtol=4 * math.sqrt(2 / 59))
    np.testing.assert_allclose(seen.mean(axis=0), GROUND.mean(ENDS), atol=4 * math.sqrt(scatter.max() / 60))


def test_where_roughness_was_estimated_all_parts_are_widened_alike():
    ground = ground_of(kind=None)
    assert ground.inflation > 1.0
    wide, bare = (parts_of(one, ENDS) for one in (ground, replace(ground, inflation=1.0)))
    for name, part in wide.items():
        np.testing.assert_allclose(part, ground.inflation * bare[name], atol=1e-15)


def test_unread_ground_counts_for_little_where_it_is_read_and_most_midway_in_a_hole():
    at = np.linspace(0.0, 6.0, 61)
    unread = parts_of(GROUND, [(float(s), "left") for s in at])["unread"]
    sd = np.sqrt(np.diag(unread))
    assert at[sd.argmax()] == pytest.approx(3.25, abs=0.15)
    assert sd[at == 1.0] < 0.25 * sd.max()


def test_half_the_scatter_of_a_rod_has_a_quarter_of_its_part_where_many_readings_check():
    often = rods(tuple(np.repeat((0.0, 2.0, 4.0, 6.0), 25)))
    points = [(2.0, "left"), (4.0, "right"), (6.0, "left")]
    away = np.array([[1.0, -1.0, 0.0], [0.0, 1.0, -1.0]])  # the peg that heights count from was read but once
    grounds = [ground_of(often, rod_sd=sd) for sd in (ROD_SD, ROD_SD / 2)]
    whole, half = (np.diag(away @ parts_of(ground, points)["scatter"] @ away.T) for ground in grounds)
    np.testing.assert_allclose(half, whole / 4, rtol=0.1)


# --- what readings share --------------------------------------------------------------------------

ZERO_SD = math.radians(0.5)


def boards_of(facings, *, logged=False, often=1):
    """Return boards end to end under the left rail, and left-to-rights at both ends."""
    chain = [
        {"station_m": at, "to_station_m": at + 1.2, "side": "left", "angle_rad": 0.003, "facing": facing}
        for at in (0.0, 1.2, 2.4, 3.6, 4.8) for facing in facings
    ] * often  # fmt: skip
    boards = pd.DataFrame(chain)
    if logged:
        boards = boards.assign(log_pass="pass 1", walked_m=boards["station_m"], clock_s=np.nan)
    cross = [{"station_m": at, "angle_rad": 0.0, "facing": f} for at in (0.0, 6.0) for f in facings] * often
    return {"boards": boards, "crosslevels": pd.DataFrame(cross)}


def phone_alone(*facings, often=1):
    """Return the ground as a phone has it, with twists so rough that boards alone tell its heights."""
    survey = make_survey(**boards_of(facings, often=often))
    tools = Instruments(station_sd=0.0, zero_sd=ZERO_SD)
    return fit_ground(
        survey, stations=RUN.ties["station_m"], ground_type=GroundType(q_mean=1.0, q_twist=1.0, relief=0.0),
        instruments=tools, datum=(0.0, "left"),
    )  # fmt: skip


def everything(kind=KNOWN):
    """Return ground with all that readings can share: a phone, a log, a line of sight, a doubtful peg.

    And with a place between the rails that was read twice.
    """
    lasers = pd.DataFrame({"laser": ["1"], "station_m": [-5.0], "offset_m": [1.0]})
    pegs = pd.DataFrame({"point": ["P1"], "height_m": [0.1], "sd_m": [0.004]})
    twice = [{"laser": "1", "station_m": 3.0, "offset_m": 0.1, "rod_m": 1.49, "point": "", "side": ""}] * 2
    logged = boards_of(["ahead"], logged=True)["boards"]
    by_hand = boards_of(["ahead"])
    return ground_of(
        pd.concat([rods(), pd.DataFrame(twice)]), lasers=lasers, benchmarks=pegs,
        boards=pd.concat([logged, by_hand["boards"].assign(log_pass="")]), crosslevels=by_hand["crosslevels"],
        kind=kind,
    )  # fmt: skip


def test_with_all_that_readings_share_the_parts_still_add_up():
    ground = everything()
    kinds = set(ground.setting.observations.table["kind"])
    assert {"benchmark", "zero error beforehand", "crown beforehand", "phone log", "board"} <= kinds
    points = [*ENDS, "P1", (3.3, "left")]
    found = parts_of(ground, points)
    assert set(found) == {"scatter", "unread", *SHARED}
    np.testing.assert_allclose(sum(found.values()), ground.covariance(points), atol=1e-16)
    for part in found.values():
        assert np.linalg.eigvalsh(part).min() > -1e-12 * np.trace(part)
        assert np.trace(part) > 1e-12


def test_of_pegs_alone_no_part_is_widened_for_the_ground_that_was_estimated():
    ground = everything(kind=None)
    assert ground.inflation > 1.05  # or the case shows nothing
    found = parts_of(ground, ["P1"])
    bare = parts_of(replace(ground, inflation=1.0), ["P1"])
    for name, part in found.items():
        np.testing.assert_allclose(part, bare[name], atol=1e-18)
        assert part[0, 0] > -1e-12
    assert sum(found.values())[0, 0] == pytest.approx(ground.covariance(["P1"])[0, 0])
    assert found["pegs"][0, 0] == pytest.approx(0.004**2, rel=0.1)


@pytest.mark.parametrize("name", SHARED)
def test_what_readings_share_is_what_a_fit_does_that_believed_something_else_beforehand(name):
    ground = everything()
    table = ground.setting.observations.table
    instrument = table["instrument"]
    mine = {
        "zero": instrument.eq("phone") & ~table["counts"],
        "sight": instrument.eq("line of sight of the level"),
        "drift": table["kind"].eq("zero error beforehand") & instrument.eq(""),
        "pegs": table["kind"].eq("benchmark"),
    }[name].to_numpy()
    total = np.zeros((len(ENDS), len(ENDS)))
    for row in np.flatnonzero(mine):
        off = np.zeros(len(table))
        off[row] = ground.setting.observations.sd[row]
        moved = reread(ground, off).mean(ENDS) - ground.mean(ENDS)
        total += np.outer(moved, moved)
    np.testing.assert_allclose(parts_of(ground, ENDS)[name], total, atol=1e-5 * total.max())


def test_a_phone_read_one_way_round_tilts_the_run_by_its_zero_error():
    """Heights summed from boards are off by length times the zero error: error propagation by hand."""
    ground = phone_alone("ahead")
    part = parts_of(ground, [(1.2, "left"), (3.6, "left"), (6.0, "left")])["zero"]
    lever = np.array([1.2, 3.6, 6.0]) / math.cos(0.003) ** 2
    np.testing.assert_allclose(part, ZERO_SD**2 * np.outer(lever, lever), rtol=0.01)


def test_more_readings_average_out_scatter_and_leave_what_they_share():
    ends = [(6.0, "left")]
    once, often = (parts_of(phone_alone("ahead", often=n), ends) for n in (1, 9))
    assert often["scatter"][0, 0] == pytest.approx(once["scatter"][0, 0] / 9, rel=0.05)
    assert often["zero"][0, 0] == pytest.approx(once["zero"][0, 0], rel=0.05)


def test_read_both_ways_round_the_zero_error_drops_out():
    ends = [(6.0, "left")]
    one, both = (parts_of(phone_alone(*ways), ends)["zero"][0, 0] for ways in (["ahead"], ["ahead", "back"]))
    assert both < 1e-4 * one


# --- several grounds are likely -------------------------------------------------------------------


@pytest.fixture(scope="module")
def two():
    """Return two likely grounds, the smoother one with a share of 1 in 4."""
    uneven = rods()
    uneven["rod_m"] += np.random.default_rng(2).normal(0, 0.004, len(uneven))
    rough = ground_of(uneven, kind=GroundType(q_mean=3e-3, q_twist=1e-3, relief=0.004))
    return ((0.25, ground_of(uneven)), (0.75, rough))


def test_over_likely_grounds_parts_add_up_to_what_heights_are_off_from_the_fitted_ones(two):
    """In draws of the mixture, and by hand."""
    (_, smooth), (_, rough) = two
    points = [*ENDS, "P1", (3.3, "left")]
    found = parts_of(smooth, points, likely=two)
    fitted, other = smooth.mean(points), rough.mean(points)
    off = np.outer(other - fitted, other - fitted)
    assert np.trace(off) > 1e-6  # or the case shows nothing
    whole = 0.25 * smooth.covariance(points) + 0.75 * (rough.covariance(points) + off)
    np.testing.assert_allclose(sum(found.values()), whole, atol=1e-16)
    mine, others = (parts_of(one, points) for _, one in two)
    np.testing.assert_allclose(
        found["scatter"], 0.25 * mine["scatter"] + 0.75 * others["scatter"], atol=1e-18
    )
    unread = 0.25 * mine["unread"] + 0.75 * (others["unread"] + off)
    np.testing.assert_allclose(found["unread"], unread, atol=1e-16)
    rng, draws = np.random.default_rng(4), 40_000
    heights = np.vstack(
        [
            rng.multivariate_normal(
                one.mean(points), one.covariance(points), int(share * draws), method="eigh"
            )
            for share, one in two
        ]
    )
    square = (heights - fitted) ** 2
    np.testing.assert_allclose(
        square.mean(axis=0), np.diag(whole), atol=5 * (square.std(axis=0) / math.sqrt(draws)).max()
    )


def test_fitted_to_one_of_the_likely_grounds_or_the_other_the_parts_are_not_the_same(two):
    """They are about the ground that the line is laid over, which the mixture alone does not tell."""
    one, other = (sum(parts_of(ground, ENDS, likely=two).values()) for _, ground in two)
    off = two[0][1].mean(ENDS) - two[1][1].mean(ENDS)
    np.testing.assert_allclose(one - other, (0.75 - 0.25) * np.outer(off, off), atol=1e-16)


@pytest.mark.parametrize(
    ("shares", "message"),
    [
        ((0.5, 0.4), r"shares of likely grounds must add up to 1, got 0\.9"),
        ((1.5, -0.5), r"shares of likely grounds must lie between 0 and 1, got \[1\.5, -0\.5\]"),
        ((math.nan, 1.0), r"shares of likely grounds must lie between 0 and 1, got \[nan, 1\.0\]"),
    ],
)
def test_shares_that_are_none_are_refused(shares, message):
    with pytest.raises(ValueError, match=message):
        parts_of(GROUND, ENDS, likely=[(share, GROUND) for share in shares])


def test_a_ground_that_is_likely_for_certain_changes_no_part():
    alone = parts_of(GROUND, ENDS, likely=((1.0, GROUND),))
    for name, part in parts_of(GROUND, ENDS).items():
        np.testing.assert_allclose(alone[name], part, atol=1e-18)
