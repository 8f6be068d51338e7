"""What a crew can read with."""

import pandas as pd
import pytest

from trackkit.survey.quality.at_hand import kinds_of
from trackkit.survey.quality.next_reading import KINDS
from trackkit.survey.readings import make_survey

RODS = {"levels": pd.DataFrame({"laser": ["1"], "station_m": [0.0], "side": ["left"], "rod_m": [1.5]})}
BOARD = {"station_m": [0.0], "to_station_m": [1.2], "side": ["left"], "angle_rad": [0.0], "facing": ["ahead"]}
BOARDS = {"boards": pd.DataFrame(BOARD)}
ACROSS = {"crosslevels": pd.DataFrame({"station_m": [0.0], "angle_rad": [0.0], "facing": ["ahead"]})}


@pytest.mark.parametrize(
    ("tables", "kinds"),
    [
        (RODS, ("rod",)),
        (BOARDS, ("across", "board")),
        (ACROSS, ("across", "board")),
        (RODS | BOARDS, ("rod", "across", "board")),
        ({}, ("rod",)),
    ],
)
def test_a_crew_has_the_tools_that_it_has_read_with(tables, kinds):
    assert kinds_of(make_survey(**tables)) == kinds
    assert set(kinds) <= set(KINDS)
