"""A phone's log becomes board readings: signs, what is cleaned out, and what a thinned reading is worth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from log_cases import BOARD, as_csv, autoregressive, random_walk, survey_of, thinned, together, walk

from trackkit.problems import InputProblems
from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.leaving import without_readings
from trackkit.survey.prior import GroundType
from trackkit.survey.readings import Survey, make_survey, read_survey
from trackkit.survey.wander import KNOTS, wander_of

STEADY = Instruments(pass_zero_sd=1e-7, drift_sd=1e-7, drift_sd_s=1e-7)


def cubic(station):
    return 0.02 * station - 0.004 * station**2 + 0.0006 * station**3


def end_to_end(ground):
    """Return the fitted height difference of the last and the first station, and its sd."""
    places = [(float(ground.stations[0]), "left"), (float(ground.stations[-1]), "left")]
    c, z = ground.covariance(places), ground.mean(places)
    return z[1] - z[0], float(np.sqrt(c[0, 0] + c[1, 1] - 2 * c[0, 1]))


# --- signs and values ----------------------------------------------------------------------------


@pytest.mark.parametrize("facing", ["ahead", "back"])
def test_a_rising_ground_has_a_positive_angle_in_both_facings(facing):
    boards, _ = thinned(walk(lambda s: 0.03 * s, 0, 6, 600, facing=facing))
    assert boards["angle_rad"].to_numpy() == pytest.approx(np.arctan(0.03))
    assert (boards["to_station_m"] - boards["station_m"]).to_numpy() == pytest.approx(BOARD)


def test_a_zero_error_adds_ahead_and_takes_away_back_and_a_pair_finds_it():
    pair = [walk(lambda s: 0.03 * s, 0, 6, 600, facing=f, error=0.01) for f in ("ahead", "back")]
    boards, _ = thinned(*pair)
    ahead, back = (boards.loc[boards["facing"] == f, "angle_rad"].mean() for f in ("ahead", "back"))
    assert (ahead, back) == pytest.approx((np.arctan(0.03) + 0.01, np.arctan(0.03) - 0.01))
    ground = fit_ground(make_survey(boards=boards), instruments=STEADY)
    assert ground.zero_errors["zero_rad"].tolist() == pytest.approx([0.01], abs=1e-6)
    length = np.ptp(ground.stations)
    # the zero error enters to first order: what is left is zero^2 times the slope, here 3e-6
    assert end_to_end(ground)[0] == pytest.approx(0.03 * length, abs=4e-6 * length)


@pytest.mark.parametrize("spread", ["even", "uneven"])
def test_a_cubic_without_noise_is_read_exactly(spread):
    """Over a board a cubic rises by L times a quadratic in the station; means over windows are undone."""
    log = walk(cubic, 0.3, 9.7, 3000)
    if spread == "uneven":
        keep = np.random.default_rng(1).random(3000) < 0.3 + 0.6 * (np.arange(3000) % 700 < 350)
        log = log[keep]
    boards, _ = thinned(log)
    near, far = boards["station_m"].to_numpy(), boards["to_station_m"].to_numpy()
    true = (cubic(far) - cubic(near)) / BOARD
    assert np.tan(boards["angle_rad"].to_numpy()) == pytest.approx(true, abs=1e-9)


def test_the_plain_mean_over_a_window_would_not_be_exact():
    log = walk(cubic, 0.3, 9.7, 3000)
    boards, _ = thinned(log)
    at, step = 5.1, BOARD / 8
    rows = log[np.abs(log["station_m"] - at) <= step / 2]
    true = (cubic(at + BOARD / 2) - cubic(at - BOARD / 2)) / BOARD
    reading = boards[np.isclose((boards["station_m"] + boards["to_station_m"]) / 2, at)].iloc[0]
    assert abs(np.tan(rows["angle_rad"]).mean() - true) > 1e-6
    assert abs(np.tan(reading["angle_rad"]) - true) < 1e-9


def test_a_log_alone_gives_the_shape_of_the_ground():
    pair = [walk(cubic, 0, 9, 3000, facing=facing, error=0.004) for facing in ("ahead", "back")]
    ground = fit_ground(survey_of(*pair), instruments=STEADY)
    found = ground.height(ground.stations, "left")[0]
    off = found - cubic(ground.stations)
    assert np.ptp(off) < 5e-4


def test_feet_of_all_passes_with_one_board_stand_on_one_row_of_stations():
    boards, _ = thinned(walk(cubic, 0.01, 9, 3000), walk(cubic, 0.5, 8.93, 2100, facing="back"))
    feet = np.unique(np.concatenate([boards["station_m"], boards["to_station_m"]]))
    assert np.diff(feet) == pytest.approx(BOARD / 8)


def test_rods_and_a_log_are_fitted_together():
    rods = {"station_m": [0.0, 3.0, 6.0, 9.0], "side": "left", "rod_m": 1.5 - cubic(np.arange(0, 10, 3.0))}
    log = walk(cubic, 0.6, 8.4, 3000, error=0.003)
    ground = fit_ground(survey_of(log, levels=rods), instruments=STEADY)
    assert set(ground.residuals["kind"]) == {"rod", "phone log"}
    at = np.array([1.5, 4.5, 7.5])
    rise = ground.height(at, "left")[0] - ground.height(0.0, "left")[0]
    assert rise == pytest.approx(cubic(at), abs=1e-3)
    assert ground.zero_errors["zero_rad"].tolist() == pytest.approx([0.003], abs=2e-4)


def test_the_order_of_rows_in_a_pass_does_not_matter_without_times():
    log = walk(
        cubic, 0, 9, 2000, error=autoregressive(np.random.default_rng(2), 2000, 0.0045, sd=0.003, length=0.05)
    )
    mixed = log.sample(frac=1.0, random_state=3)
    one, other = thinned(log)[0], thinned(mixed)[0]
    for column in ("station_m", "angle_rad", "sd_rad", "walked_m"):
        assert one[column].to_numpy() == pytest.approx(other[column].to_numpy(), abs=1e-12)


def test_rows_a_board_apart_are_one_reading_each():
    boards, notes = thinned(walk(cubic, 0, 12, 11))
    assert len(boards) == 11
    assert boards["sd_rad"].isna().all()
    assert "too far apart to average" in notes[-1]


def test_a_pass_of_one_row_is_one_reading_and_said():
    boards, notes = thinned(walk(cubic, 3.0, 3.0, 1))
    assert boards["reading"].tolist() == ["phone_log.csv row 2"]
    assert "pass 1: one row" in notes[-1]


# --- what a reading is worth ---------------------------------------------------------------------


def noisy_pair(seed, *, sd, length, drift=0.0, own=0.0, rows=2000, end=12.0):
    """Two passes, ahead and back, with correlated noise, a zero error that wanders and one of each pass."""
    rng = np.random.default_rng(seed)
    step = end / (rows - 1)
    zero = np.radians(1.0) * rng.standard_normal()
    logs = []
    for facing in ("ahead", "back"):
        error = zero + own * rng.standard_normal() + random_walk(rng, rows, step, drift)
        error += autoregressive(rng, rows, step, sd=sd, length=length)
        logs.append(walk(cubic, 0, end, rows, facing=facing, error=error))
    return logs


def covered(instruments, *, naive=False, passes=100, **noise):
    """Return the share of simulated pairs whose 95 % interval for the ends holds the truth."""
    ground_type = GroundType(q_mean=1e-4, q_twist=1e-4, relief=0.0)
    inside, empty = 0, Survey()
    for seed in range(passes):
        boards, _ = thinned(*noisy_pair(seed, **noise))
        if naive:
            boards["sd_rad"] = noise["sd"] / np.sqrt(2 * 2000 / len(boards))
        survey = replace(empty, boards=boards)
        ground = fit_ground(survey, instruments=instruments, ground_type=ground_type)
        rise, sd = end_to_end(ground)
        truth = cubic(ground.stations[-1]) - cubic(ground.stations[0])
        inside += abs(rise - truth) < 1.96 * sd
    return inside / passes


def test_stated_sd_of_the_ends_holds_under_correlated_noise():
    """Measured .97 in 100 pairs; noise of 0.3 degrees that dies out over 4 cm, rows every 6 mm."""
    assert 0.90 <= covered(STEADY, sd=np.radians(0.3), length=0.04) <= 0.99


def test_the_naive_sd_of_a_mean_does_not_hold():
    assert covered(STEADY, naive=True, passes=60, sd=np.radians(0.3), length=0.04) < 0.7


def test_stated_sd_of_the_ends_holds_where_the_zero_wanders():
    drift, own = np.radians(0.03), np.radians(0.03)
    stated = Instruments(drift_sd=drift, pass_zero_sd=own)
    noise = {"sd": np.radians(0.1), "length": 0.02, "drift": drift, "own": own}
    assert 0.90 <= covered(stated, **noise) <= 0.99
    assert covered(STEADY, passes=40, **noise) < 0.7


def test_drift_is_recovered_as_far_as_it_is_said_to_be():
    drift = np.radians(0.05)
    logs = noisy_pair(5, sd=np.radians(0.02), length=0.01, drift=drift)
    stated = Instruments(drift_sd=drift, pass_zero_sd=np.radians(0.03))
    found = wander_of(fit_ground(survey_of(*logs), instruments=stated))
    assert len(found) == 2 * (KNOTS + 1)
    for name, log in zip(found["log_pass"].unique(), logs, strict=True):
        own = found[found["log_pass"] == name]
        sign = 1 if log["facing"].iloc[0] == "ahead" else -1
        s = log["station_m"].to_numpy()
        clean = walk(cubic, 0, 12, len(log))["angle_rad"].to_numpy()
        error = sign * (log["angle_rad"].to_numpy() - clean)
        knots = np.linspace(s[0], s[-1], KNOTS + 1)
        smooth = [error[np.abs(s - knot) < 0.3].mean() for knot in knots]
        off = (own["zero_rad"].to_numpy() - smooth) / own["sd_rad"].to_numpy()
        assert np.sqrt(np.mean(off**2)) < 2.0


def test_a_long_pass_does_not_fix_its_ends_ever_better():
    sds = []
    for rows in (1000, 16_000):
        logs = noisy_pair(1, sd=np.radians(0.3), length=0.02, rows=rows)
        sds.append(end_to_end(fit_ground(survey_of(*logs)))[1])
    wander = Instruments().drift_sd * np.sqrt(12.0**3 / 3) / np.sqrt(2)
    assert min(sds) > 0.5 * wander


def test_a_reading_that_is_left_out_is_left_out_by_its_name():
    survey = survey_of(walk(cubic, 0, 9, 2000))
    name = survey.boards["reading"].iloc[3]
    assert name.startswith("phone_log.csv rows ")
    less = without_readings(survey, [name])
    assert len(less.boards) == len(survey.boards) - 1
    assert name in less.notes[-1]


def test_names_of_readings_are_all_different_and_cover_the_rows():
    boards, _ = thinned(walk(cubic, 0, 9, 2000), walk(cubic, 9, 0, 2000, facing="back"))
    assert boards["reading"].is_unique
    assert boards["row"].min() == 2


# --- as a table ----------------------------------------------------------------------------------


def test_a_table_is_read_and_told(tmp_path):
    rng = np.random.default_rng(4)
    logs = [
        walk(cubic, 0, 9, 4000, facing=f, error=0.005 * rng.standard_normal(4000)) for f in ("ahead", "back")
    ]
    as_csv(tmp_path / "phone_log.csv", *logs)
    survey = read_survey(tmp_path)
    same, _ = thinned(*logs)
    assert survey.boards["reading"].tolist() == same["reading"].tolist()
    assert survey.boards["angle_rad"].to_numpy() == pytest.approx(same["angle_rad"].to_numpy(), abs=1e-4)
    assert (
        "8 000 of 8 000 rows used; 0 spikes, 0 dropped out; 0 gaps; became 122 board readings"
        in survey.notes[0]
    )


HEADER = "station_m,side,angle_deg,board_m,pass,facing,instrument,time_s\n"


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (["0,left,1,1.2,,,,", "1,left,1,1.3,,,,"], r"row 3, board: found board 1.3 m in pass 1"),
        (["0,left,1,1.2,a,,,", "1,right,1,1.2,a,,,"], r"row 3, side: found side 'right' in a"),
        (["0,left,1,1.2,a,,,", "1,left,1,1.2,a,back,,"], r"row 3, facing: found facing 'back' in a"),
        (["0,left,1,1.2,a,,,", "1,left,1,1.2,,,,"], r"row 3, pass: found an empty cell"),
        (["0,left,1,,,,,"], r"row 2, board_m: found an empty cell"),
        (["0,left,200,1.2,,,,"], r"row 2, angle_deg: found '200'; accepted: an angle in deg, at least -180"),
        (["0,left,1,120,,,,"], r"row 2, board_m: found '120'"),
        (["99999,left,1,1.2,,,,"], r"row 2, station_m: found '99999'"),
        (["0,left,,1.2,,,,", "1,left,nan,1.2,,,,"], r"pass 1 without one sound row"),
        (["0,left,80,1.2,,,,", "1,left,1,1.2,,,,"], r"1 of 2 angles of pass 1 that are steeper"),
        (["0,left,1,1.2,,,,", ".01,left,1,1.2,,,,", ".02,left,1,1.2,,,,"], r"3 rows within 20 mm"),
        ([",left,1,1.2,,,,"], r"nothing to say where it was read"),
    ],
)
def test_what_cannot_be_a_log_is_told_with_its_place(tmp_path, rows, message):
    (tmp_path / "phone_log.csv").write_text(HEADER + "\n".join(rows))
    with pytest.raises(InputProblems, match=message):
        read_survey(tmp_path)


def test_a_log_without_a_slope_is_told(tmp_path):
    (tmp_path / "phone_log.csv").write_text("station_m,side,board_m\n0,left,1.2\n1,left,1.2\n")
    with pytest.raises(InputProblems, match="no column that says the slope"):
        read_survey(tmp_path)


def test_times_in_some_rows_only_are_said(tmp_path):
    rows = ["0,left,1,1.2,,,,0", "1,left,1,1.2,,,,"]
    (tmp_path / "phone_log.csv").write_text(HEADER + "\n".join(rows))
    assert any("time in some rows only" in note for note in read_survey(tmp_path).notes)


def test_with_times_the_zero_wanders_with_time():
    log = walk(cubic, 0, 9, 2000, time_s=np.linspace(100.0, 400.0, 2000))
    boards, _ = thinned(log)
    assert boards["walked_m"].isna().all()
    assert boards["clock_s"].is_monotonic_increasing
    assert boards["clock_s"].max() == pytest.approx(300.0, abs=5.0)


def test_all_rows_of_a_log_off_the_run_are_few_faults(tmp_path):
    from trackkit.survey.readings import check_stations

    survey = survey_of(walk(np.zeros_like, 500, 530, 9000))
    faults = check_stations(survey, 0.0, 20.0)
    assert 0 < len(faults) <= 2 * 21
    assert "more like it" in faults[-1].found


def test_rows_are_numbered_as_in_the_file():
    boards, _ = thinned(walk(cubic, 0, 9, 2000))
    log = together(walk(cubic, 0, 9, 2000))
    first, last = boards["reading"].iloc[0].removeprefix("phone_log.csv rows ").split(" to ")
    inside = log[(log["row"] >= int(first)) & (log["row"] <= int(last))]
    middle = (boards["station_m"].iloc[0] + boards["to_station_m"].iloc[0]) / 2
    assert np.abs(inside["station_m"] - middle).max() <= BOARD / 16 + 1e-9
