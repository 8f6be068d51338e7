"""The gap card: every gap by itself, from what is on the truck, on a card that fits a pocket."""

import re

import numpy as np
import pytest
from crib_cases import INCH, box, shim, truck, wedge
from crib_direct import options

from trackkit.cribbing import StackRules, Truck, card_text, gap_card
from trackkit.cribbing.card import READING

FEW = StackRules(max_layers=4)


def test_card_has_a_row_for_every_quarter_inch():
    card = gap_card(truck(), display="1/8 in")
    assert np.allclose(np.diff(card["gap_m"]), INCH / 4)
    assert card["gap_m"].iloc[0] == pytest.approx(INCH / 4)
    assert card["gap_m"].iloc[-1] <= StackRules().caution_height < card["gap_m"].iloc[-1] + INCH / 4


def test_card_has_a_row_for_every_five_millimetres():
    assert gap_card(truck(), display="mm", largest=0.1)["gap_m"].tolist() == pytest.approx(
        [0.005 * n for n in range(1, 21)]
    )


def test_each_gap_is_the_cheapest_by_itself():
    """Against the direct model's list of all choices, held to the truck's counts."""
    there = Truck((box("half", 4, 1), box("quarter", 2, 1), wedge(2)))
    card = gap_card(there, rules=FEW, largest=0.2, step=0.0052)  # no box is just over a gap
    for row in card.itertuples():
        if row.gap_m <= FEW.touch:
            continue
        found = [
            cost
            for cost, use in options([row.gap_m], [0.0], there, FEW)
            if all(count <= there.piece(item).count for item, count in use.items())
        ]
        assert bool(found) == row.made
        if found:
            assert row.cost == pytest.approx(min(found) / 1000)


def test_a_gap_needs_no_more_than_is_on_the_truck():
    card = gap_card(Truck((box("half", 4, 1), wedge(1))), largest=0.3, step=0.005)
    made = card[card["made"]]
    assert made["gap_m"].max() < 4 * INCH + 1.25 * INCH
    assert not made["words"].str.contains("two half").any()


def test_gaps_that_cannot_be_made_are_marked():
    card = gap_card(Truck((box("half", 4, 1), wedge(1))), largest=0.2, step=0.02)
    text = card_text(card, display="mm")
    assert text.count("-- not with this truck") == (~card["made"]).sum() > 0


def test_made_gap_lies_in_the_range_of_its_own_pile():
    card = gap_card(truck(), largest=0.4)
    made = card[card["made"]]
    assert (made["low_m"] <= made["gap_m"] + 1e-6).all()
    assert (made["gap_m"] <= made["high_m"] + 1e-6).all()


@pytest.mark.parametrize("display", ["1/8 in", "mm"])
def test_card_fits_a_pocket(display):
    text = card_text(gap_card(truck(), display=display), display=display)
    assert max(map(len, text.splitlines())) <= 60
    assert "fingers" in text


def test_card_of_an_empty_truck_says_so_for_every_gap():
    card = gap_card(Truck(()), largest=0.05)
    assert not card["made"].any()


def test_card_refuses_a_step_of_nothing():
    with pytest.raises(ValueError, match="step and largest must be above 0"):
        gap_card(truck(), step=0.0)


def test_card_ends_with_a_newline_and_tells_how_its_columns_are_read():
    text = card_text(gap_card(truck(), largest=0.05))
    assert text.endswith("up.\n")
    assert not text.endswith("\n\n")
    flat = " ".join(text.split())
    assert all(line in flat for line in READING)
    assert "First column: the gap" in flat


@pytest.mark.parametrize(
    ("display", "unit"), [("cm", "cm"), ("mm", "mm"), ("1/8 in", "in"), ("1/16 in", "in")]
)
def test_card_is_in_the_display_of_the_job_only(display, unit):
    there = truck(extra=(shim("shim 3", 0.003, 3),))
    text = card_text(gap_card(there, display=display, largest=0.2), display=display)
    said = set(re.findall(r"\d (mm|cm|in|m)\b", text))
    assert not said  # the head says it, once
    assert f"gaps in {'inches' if unit == 'in' else unit};" in text


def test_shims_on_the_card_are_not_thicker_than_the_gap_and_the_nearest_to_it():
    """3 + 2 and 6 + 2 + 2 fill 5 and 10 mm exactly; 6 mm would have to be driven into 5."""
    shims = tuple(shim(f"shim {n}", n / 1000, 20) for n in (6, 3, 2))
    card = gap_card(Truck((wedge(9, thick=1.5, thin=0.4), *shims)), display="cm", largest=0.02)
    assert card["words"].tolist()[:2] == ["shim 3 + shim 2", "shim 6 + 2 x shim 2"]
    few = gap_card(Truck((shim("shim 3", 0.003, 9), shim("shim 1", 0.001, 9))), step=0.004, largest=0.004)
    assert few["words"].tolist() == ["shim 3 + shim 1"]  # 3 alone would do, give or take 1 mm
    assert "cut or pack them to it on the day" in " ".join(card_text(card, display="cm").split())


def test_nothing_stiff_on_the_card_is_thicker_than_its_gap():
    extra = (shim("shim 6", 0.006, 9), shim("shim 4", 0.004, 9))
    card = gap_card(truck(extra=extra), display="mm", largest=0.2)
    stiff = card[card["closing"].isin(["none", "shim"]) & (card["item"] != "")]
    shims = stiff["item"].map(lambda item: _made_of(item))
    assert len(stiff) and (stiff["closing_m"] - shims > -1e-5).all()


def _made_of(item):
    """Return how thick a lot of shims is, by its words [m]."""
    lots = (lot.split(" x ") if " x " in lot else ("1", lot) for lot in item.split(" + "))
    return sum(int(count) * float(name.split()[-1]) / 1000 for count, name in lots)


def test_a_gap_that_its_printed_figure_rounds_up_takes_the_shim_of_that_figure():
    """1/4 in is 6.35 mm and a gap of 6.3 mm is printed 1/4: a shim of 1/4 in is for it."""
    there = Truck((shim("shim 1/4", 0.25 * INCH, 9),))
    assert gap_card(there, step=0.0063, largest=0.0063, display="1/8 in")["made"].tolist() == [True]
    assert gap_card(there, step=0.0060, largest=0.0060, display="mm")["made"].tolist() == [False]
