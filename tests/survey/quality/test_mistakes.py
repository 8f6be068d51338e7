"""Slips planted one by one in a survey that is well checked: each is recognised, and no other blamed."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GroundType
from trackkit.survey.quality.mistakes import corrected, likely_mistakes
from trackkit.survey.quality.slips import single_slips, slips_across
from trackkit.survey.readings import make_survey
from trackkit.tables.rows import rows_of
from trackkit.units import DISPLAYS

KNOWN = GroundType(q_mean=3e-5, q_twist=1e-5, relief=0.001)
TOOLS = Instruments(rod_sd=0.0015, station_sd=0.0, angle_sd=math.radians(0.2))
FOOT, INCH = 0.3048, 0.0254


def surface(station, side):
    across = 0.02 * (1.0 if side == "right" else -1.0)
    return 0.03 * station + 0.06 * math.sin(station / 1.5) + across


def tables(seed=4):
    """Two laser positions over ten stations read from both, boards both ways round, left-to-rights."""
    rng = np.random.default_rng(seed)
    rods = [
        {"laser": laser, "station_m": float(at), "side": side}
        | {"rod_m": round(height - surface(at, side) + rng.normal(0, 0.001), 3)}
        for laser, height in (("1", 1.612), ("2", 1.743))
        for at in range(10)
        for side in ("left", "right")
    ]
    boards, cross = [], []
    for at in range(9):
        angle = math.atan(surface(at + 1, "left") - surface(at, "left"))
        for facing, sign in (("ahead", 1), ("back", -1)):
            read = angle + sign * math.radians(1.2) + rng.normal(0, math.radians(0.1))
            boards.append(
                {"station_m": at, "to_station_m": at + 1, "side": "left", "angle_rad": read, "facing": facing}
            )
    for at in range(10):
        tilt = math.atan(0.04 / 0.62)
        facing, sign = ("ahead", 1) if at % 2 else ("back", -1)
        read = tilt + sign * math.radians(1.2) + rng.normal(0, math.radians(0.1))
        cross.append({"station_m": at, "angle_rad": read, "facing": facing})
    return {
        name: pd.DataFrame(rows)
        for name, rows in (("levels", rods), ("boards", boards), ("crosslevels", cross))
    }


def found(changed, display="mm", known=KNOWN):
    survey = make_survey(**changed)
    ground = fit_ground(survey, ground_type=known, instruments=TOOLS)
    return survey, ground, likely_mistakes(ground, display=DISPLAYS[display])


SINGLE = {
    "decimetre": ("levels", 7, lambda rod: rod + 0.1, "mm"),
    "metre": ("levels", 26, lambda rod: rod - 1.0, "mm"),
    "digits": ("levels", 12, lambda rod: 1.257, "mm"),
    "feet as metres": ("levels", 13, lambda rod: round(rod / FOOT, 2), "cm"),
    "inches as centimetres": ("levels", 20, lambda rod: rod / 2.54, "cm"),
    "upside down": ("levels", 5, lambda rod: 4.0 - rod, "mm"),
    "foot": ("levels", 30, lambda rod: rod + FOOT, "1/8 in"),
    "inch": ("levels", 31, lambda rod: rod - INCH, "1/8 in"),
    "metres as feet": ("levels", 8, lambda rod: rod * FOOT, "1/8 in"),
    "centimetres as inches": ("levels", 9, lambda rod: rod * 2.54, "1/8 in"),
    "decimal point": ("levels", 7, lambda rod: rod / 10.0, "mm"),
    "sign": ("boards", 16, lambda angle: -angle, "mm"),
    "grade as degrees": ("boards", 16, lambda angle: math.radians(100 * math.tan(angle)), "mm"),
}


@pytest.mark.parametrize("kind", SINGLE)
def test_a_single_slip_is_recognised(kind):
    table, row, slip, display = SINGLE[kind]
    changed = tables()
    column = "rod_m" if table == "levels" else "angle_rad"
    before = float(changed[table].loc[row, column])
    if kind == "digits":
        changed[table].loc[row, column] = before = 1.275
        level = surface(int(changed[table].loc[row, "station_m"]), changed[table].loc[row, "side"])
        same = changed["levels"]["laser"] == changed["levels"].loc[row, "laser"]
        changed["levels"].loc[same & (changed["levels"].index != row), "rod_m"] += 1.275 - (1.612 - level)
    changed[table].loc[row, column] = slip(before)
    survey, ground, mistakes = found(changed, display)
    assert [mistake.kind for mistake in mistakes] == [kind]
    (mistake,) = mistakes
    assert mistake.readings == (f"{table} row {row + 2}",)
    assert ground.doubtful["reading"].tolist() == list(mistake.readings)
    assert mistake.changes[0].new == pytest.approx(before, abs=0.004 if column == "rod_m" else 1e-3)
    assert mistake.others == 0 and mistake.w > 4 * max(mistake.w_left, 0.5)
    assert mistake.left_m < 0.3 * mistake.off_m
    again = fit_ground(corrected(survey, mistake), ground_type=KNOWN, instruments=TOOLS)
    assert again.doubtful.empty and "changed, to try" in again.survey.notes[-1]


@pytest.mark.parametrize(("typed", "meant"), [("5.3", 5.25), ("5.11", 5 + 11 / 12), ("4.10", 4 + 10 / 12)])
def test_feet_and_inches_typed_as_decimal_feet_are_recognised(typed, meant):
    """5' 3" typed as 5.3, 5' 11" as 5.11, 4' 10" as 4.10; the laser stands so that they would fit."""
    changed = tables()
    levels, row = changed["levels"], 14
    lift = meant * FOOT - float(levels.loc[row, "rod_m"])
    levels.loc[levels["laser"] == "1", "rod_m"] += lift
    levels.loc[row, "rod_m"] = float(typed) * FOOT
    _, _, mistakes = found(changed, "1/8 in")
    assert mistakes[0].kind == "feet and inches"
    assert mistakes[0].changes[0].new == pytest.approx(meant * FOOT, abs=1e-6)


def test_a_facing_that_was_turned_is_recognised():
    changed = tables()
    changed["boards"].loc[4, "facing"] = "back"
    _, _, mistakes = found(changed)
    assert mistakes[0].kind == "facing" and mistakes[0].readings == ("boards row 6",)
    assert mistakes[0].w_left < 2.5


def test_left_and_right_exchanged_at_a_station_are_recognised():
    changed = tables()
    changed["levels"].loc[[8, 9], "rod_m"] = changed["levels"].loc[[9, 8], "rod_m"].to_numpy()
    survey, _, mistakes = found(changed)
    assert mistakes[0].kind == "sides" and set(mistakes[0].readings) == {"levels row 10", "levels row 11"}
    assert mistakes[0].others == 0
    assert fit_ground(corrected(survey, mistakes[0]), ground_type=KNOWN, instruments=TOOLS).doubtful.empty


def test_left_and_right_exchanged_to_the_end_are_recognised():
    changed = tables()
    levels = changed["levels"]
    rows = levels.index[(levels["laser"] == "2") & (levels["station_m"] >= 6)]
    levels.loc[rows, "rod_m"] = levels.loc[rows, "rod_m"].to_numpy().reshape(-1, 2)[:, ::-1].ravel()
    _, _, mistakes = found(changed)
    assert mistakes[0].kind == "sides on a stretch"
    assert set(mistakes[0].readings) == {f"levels row {row + 2}" for row in rows}


@pytest.mark.parametrize(("first", "kind"), [(0.0, "sides of all"), (5.0, "sides on a stretch")])
def test_left_and_right_exchanged_from_a_station_on_are_recognised_over_all_lasers(first, kind):
    """Left-to-rights contradict all of these rods; nothing else is blamed, and no part of it is offered."""
    changed = tables()
    levels = changed["levels"]
    rows = levels.index[levels["station_m"] >= first]
    levels.loc[rows, "rod_m"] = levels.loc[rows, "rod_m"].to_numpy().reshape(-1, 2)[:, ::-1].ravel()
    for known in (KNOWN, GroundType()):
        _, _, mistakes = found(changed, known=known)
        assert mistakes[0].kind == kind
        assert set(mistakes[0].readings) == {f"levels row {row + 2}" for row in rows}


def test_two_stations_that_are_no_neighbours_exchanged_are_recognised():
    changed = tables()
    rows, others = [4, 5], [12, 13]
    levels = changed["levels"]
    levels.loc[rows + others, "rod_m"] = levels.loc[others + rows, "rod_m"].to_numpy()
    _, _, mistakes = found(changed)
    assert mistakes[0].kind == "stations"
    assert set(mistakes[0].readings) == {f"levels row {row + 2}" for row in rows + others}


def test_two_stations_exchanged_are_recognised():
    changed = tables()
    rows, others = [4, 5], [6, 7]
    levels = changed["levels"]
    levels.loc[rows + others, "rod_m"] = levels.loc[others + rows, "rod_m"].to_numpy()
    _, _, mistakes = found(changed)
    assert mistakes[0].kind == "stations"
    assert set(mistakes[0].readings) == {f"levels row {row + 2}" for row in rows + others}


def test_a_whole_table_with_the_wrong_sign_is_recognised():
    changed = tables()
    changed["crosslevels"]["angle_rad"] *= -1
    _, _, mistakes = found(changed)
    assert mistakes[0].kind == "sign of all" and len(mistakes[0].changes) == 10


def test_two_slips_are_told_apart():
    changed = tables()
    changed["levels"].loc[3, "rod_m"] += 0.1
    changed["levels"].loc[35, "rod_m"] -= 1.0
    _, _, mistakes = found(changed)
    assert {(m.kind, *m.readings) for m in mistakes} == {
        ("decimetre", "levels row 5"), ("metre", "levels row 37")
    }  # fmt: skip


def test_a_misreading_that_no_slip_explains_has_no_proposal():
    changed = tables()
    changed["levels"].loc[7, "rod_m"] += 0.0437
    _, ground, mistakes = found(changed)
    assert ground.doubtful["reading"].tolist() == ["levels row 9"] and mistakes == ()


def test_explanations_that_are_as_good_are_counted():
    """A peg read twice, 10 cm apart: either reading may be the one that was misread."""
    changed = tables()
    rows = [{"laser": "1", "point": "P", "rod_m": 1.3}, {"laser": "1", "point": "P", "rod_m": 1.4}]
    changed["levels"] = pd.concat([changed["levels"], pd.DataFrame(rows)], ignore_index=True)
    changed["levels"][["point", "side"]] = changed["levels"][["point", "side"]].fillna("")
    _, _, mistakes = found(changed)
    assert {mistake.readings for mistake in mistakes} == {("levels row 42",), ("levels row 43",)}
    assert {mistake.others for mistake in mistakes} == {1}


def test_clean_surveys_have_no_proposals():
    assert [found(tables(seed))[2] for seed in range(20)] == [()] * 20


def test_roughness_that_the_mistake_spoilt_does_not_hide_it():
    changed = tables()
    changed["levels"].loc[7, "rod_m"] += 0.1
    _, _, mistakes = found(changed, known=GroundType())
    assert [(m.kind, m.readings) for m in mistakes] == [("decimetre", ("levels row 9",))]


def test_every_slip_of_a_rod_is_another_figure():
    row = next(rows_of(make_survey(levels={"station_m": [1.0], "side": "left", "rod_m": 5.3 * FOOT}).levels))
    for name in ("mm", "1/8 in"):
        new = [slip.changes[0].new for slip in single_slips("levels", row, DISPLAYS[name])]
        assert len(np.unique(np.round(new, 6))) == len(new) and min(new) >= 0


def test_a_correction_changes_nothing_else():
    changed = tables()
    changed["levels"].loc[7, "rod_m"] += 0.1
    survey, _, (mistake,) = found(changed)
    mended = corrected(survey, mistake)
    levels = survey.levels.copy()
    levels.loc[7, "rod_m"] -= 0.1
    pd.testing.assert_frame_equal(mended.levels, levels)
    assert replace(mended, levels=survey.levels, notes=survey.notes).boards is survey.boards


@pytest.mark.parametrize(("table", "typed"), [("boards", 16.0), ("boards", 0.16), ("crosslevels", -18.0)])
def test_an_angle_whose_decimal_point_slipped_is_recognised(table, typed):
    """16 for 1.6 degrees, 0.16 for 1.6, -18 for -1.8."""
    meant = 1.6 if table == "boards" else -1.8
    one = tables()[table].head(1).assign(angle_rad=math.radians(typed))
    row = next(rows_of(getattr(make_survey(**{table: one}), table)))
    slips = single_slips(table, row, DISPLAYS["mm"])
    new = [slip.changes[0].new for slip in slips if slip.kind == "decimal point"]
    assert pytest.approx(meant) in [math.degrees(angle) for angle in new]
    changed = tables()
    level = changed["boards"].loc[4, "angle_rad"]
    changed["boards"].loc[4, "angle_rad"] = math.radians(10.0 * round(math.degrees(level), 1))
    mistakes = found(changed)[2]
    assert [one.kind for one in mistakes] == ["decimal point"] and mistakes[0].readings == ("boards row 6",)


def test_an_exchange_of_equal_rods_is_not_offered():
    """Rods that are the same on both sides change nothing."""
    changed = tables()
    levels = changed["levels"]
    levels.loc[[18, 19], "rod_m"] = 1.333
    for slip in slips_across(make_survey(**changed)):
        assert all(change.new != change.old for change in slip.changes)
    sides = [slip for slip in slips_across(make_survey(**changed)) if slip.kind.startswith("sides")]
    assert not [slip for slip in sides if set(slip.readings) == {"levels row 20", "levels row 21"}]


def test_a_whole_decimetre_comes_before_a_rod_that_stood_upside_down():
    """A 3 m rod at 1.553 m: 10 cm too much, or turned over, 6 mm apart; the plainer one is told first."""
    changed = tables()
    levels = changed["levels"]
    lift = 1.453 - float(levels.loc[7, "rod_m"])
    levels.loc[levels["laser"] == "1", "rod_m"] += lift
    levels.loc[7, "rod_m"] = 1.553
    tools = replace(TOOLS, rod_sd=0.004)
    ground = fit_ground(make_survey(**changed), ground_type=KNOWN, instruments=tools)
    kinds = [mistake.kind for mistake in likely_mistakes(ground)]
    assert kinds == ["decimetre", "upside down"]
