"""The printed page alone must do: rows that add up, seats, order of sections, targets, all places named."""

import re
from fractions import Fraction

import numpy as np
import pytest
from demo_jobs import DEMO, changed

from trackkit.files import supports_frame
from trackkit.job import load_job
from trackkit.listed import seat_table, support_table, truck_table
from trackkit.naming import compact
from trackkit.paper import WIDTH
from trackkit.plan import make_plan
from trackkit.units import LENGTH_UNITS, MASS_UNITS

NAMES = ("boathouse_lawn", "market_yard", "terrace_edge")


@pytest.fixture(scope="module", params=NAMES)
def plan(request):
    return make_plan(load_job(DEMO / request.param))


def number(text):
    """Return a printed height: '13.1', '1 3/8' or '5/8'."""
    return float(sum(Fraction(part) for part in text.split())) if text else 0.0


def printed_rows(plan):
    """Return (tie, side, fill, pile in words, height to close) of every printed row, read by columns."""
    lines = support_table(plan).splitlines()
    head = next(i for i, line in enumerate(lines) if line.lstrip().startswith("tie "))
    starts = {
        name: lines[head].index(name) for name in ("side", "from the", "closed by", "height", "may change")
    }
    sides = {plan.job.side(side): side for side in ("left", "right")}
    rows, tie = [], 0
    for line in lines[head + 1 :]:
        line = line.ljust(120)
        if line.startswith("role:"):
            break
        pile = line[starts["from the"] : starts["closed by"]].strip()
        named = re.match(r"(.*?)\s{2,}(.*)", line[starts["side"] : starts["from the"]].strip())
        if not named or named[1] not in sides:  # a cell that goes on in the next line
            rows[-1][3] = f"{rows[-1][3]} {pile}".strip()
            continue
        tie = int(line[:3]) if line[:3].strip() else tie
        fill = re.match(r"[\d ./-]*\d", named[2])[0]
        closed = line[: starts["may change"]].rstrip()
        height = re.search(r"(?<![\d/.])(\d+ \d+/\d+|\d+/\d+|\d+\.?\d*)$", closed[starts["height"] - 4 :])
        rows.append([tie, sides[named[1]], number(fill), pile, number(height[0]) if height else 0.0])
    return rows


def test_every_printed_row_adds_up_to_its_fill(plan):
    """Seat (or scraped ground), pieces and what is left to close make the fill, to rounding."""
    show = plan.job.display
    unit = LENGTH_UNITS[show.unit]
    thick = {piece.item: piece.thickness for piece in plan.stacks.truck.pieces}
    width = {piece.item: piece.width for piece in plan.stacks.truck.pieces}
    below = {}
    checked = 0
    for tie, side, fill, pile, height in printed_rows(plan):
        seat = re.match(r"(seat|scrape)( [\d ./]*\d)?(?: \+ |, |$)", pile)
        rest = pile[seat.end() :] if seat else pile
        lift = number((seat[2] or "").strip()) * (-1 if seat[1] == "scrape" else 1) if seat else 0.0
        if rest.startswith("with tie"):
            made = below[int(re.search(r"\d+", rest)[0]), side]
        elif rest.startswith(("sits", "nothing", "IN THE")):
            continue
        else:
            made = 0.0
            for part in filter(None, rest.split(" + ")):
                count, item = re.match(r"(?:(two|three|four|five) )?(.*)", part).groups()
                item, edge, _ = re.match(r"(.*?)( on edge)?( turned across)?$", item).groups()
                many = {"two": 2, "three": 3, "four": 4, "five": 5}.get(count, 1)
                made += many * (width if edge else thick)[item]
            below[tie, side] = made
        assert lift + made / unit + height == pytest.approx(fill, abs=1.51 * show.step / unit), (
            tie,
            side,
            pile,
        )
        checked += 1
    assert checked > 20


def test_a_joint_that_needs_a_seat_tells_it_at_each_of_its_ties(plan):
    text = support_table(plan)
    for stack in plan.stacks.stacks:
        if stack.seat and len(stack.ties) == 2:
            lifts = [end.seat_raise for end in stack.closings]
            assert np.sign(lifts[0]) == np.sign(lifts[1]) or min(map(abs, lifts)) < 1e-9
            for lift in lifts:
                assert f"{'seat' if lift > 0 else 'scrape'} {plan.job.display.small(abs(lift))}" in text


def test_every_seat_is_told_on_the_page(plan):
    seated = [stack for stack in plan.stacks.stacks if stack.seat]
    table = seat_table(plan)
    firsts = [line for line in table.splitlines() if re.match(r"\s*\d+( and \d+)?  ", line)]
    assert len(firsts) == len(seated)
    assert ("scrape N" in table) == any(stack.seat.startswith("scrape") for stack in seated)


def test_the_page_says_which_wedges_make_seats():
    plan = make_plan(load_job(DEMO / "market_yard"))
    seats = sum(stack.seat.count("thick") for stack in plan.stacks.stacks)  # one for each way told
    close = sum(dict(end.takes).get("wedge", 0) for stack in plan.stacks.stacks for end in stack.closings)
    assert seats
    assert f"Of the {seats + close} wedge, {seats} make seats and {close} close." in truck_table(plan)


def test_masses_are_told_in_pounds_where_heights_are_in_inches():
    plan = make_plan(load_job(DEMO / "terrace_edge"))
    mass = plan.stacks.pull_list()["mass_kg"].sum() / MASS_UNITS["lb"]
    assert f"Together about {mass:.0f} lb." in plan.text()


def test_the_order_of_the_sections_and_a_dinged_end_are_told():
    text = make_plan(load_job(DEMO / "boathouse_lawn")).text()
    assert "Sections in order from the head: 3 m with its dinged end to the head, 2 x 3 m, 2 m." in text


def test_the_check_peg_and_the_sum_for_the_day_are_told():
    plan = make_plan(load_job(DEMO / "boathouse_lawn"))
    first, second = plan.ground.mean(["P1", "P2"])
    words = " ".join(plan.text().split())
    assert f"P2 should read {plan.job.display.small_unit(second - first)} less than P1" in words
    offset = plan.job.display.small_unit(plan.targets.one_offset)
    assert f"P1 reads ________ minus {offset} = ________ on the rod, on every rail" in words


def test_a_confidence_that_raised_nothing_is_told():
    plan = make_plan(load_job(DEMO / "boathouse_lawn"))
    assert plan.line.raised == 0
    assert "did not have to be raised for 90%" in plan.text()


def test_what_is_spent_is_told_with_the_truck_that_suffices(plan):
    used = dict(plan.stacks.used)
    spent = [piece.item for piece in plan.stacks.truck.pieces if used.get(piece.item) == piece.count]
    line = next(line for line in plan.text().splitlines() if line.startswith("The truck suffices"))
    told = f", with nothing to spare of {', '.join(spent)}" if spent else ""
    assert line == f"The truck suffices{told}."


def test_a_tie_that_the_line_rests_on_is_not_told_as_known_exactly():
    text = support_table(make_plan(load_job(DEMO / "market_yard")))
    assert "±0" not in text.replace("±0.", "")
    assert re.search(r"1 +0' 4\" +set +left +0 +rests", text)


@pytest.mark.parametrize("kind", ["level", "follow", "least fill"])
@pytest.mark.parametrize("name", ["boathouse_lawn", "terrace_edge"])
def test_no_line_of_the_page_is_wider_than_the_page(tmp_path, name, kind):
    plan = make_plan(load_job(changed(tmp_path, name, **{'kind = "level"': f'kind = "{kind}"'})))
    assert max(len(line) for line in plan.text().splitlines()) <= WIDTH


def test_a_rough_in_fits_the_page_too():
    text = make_plan(load_job(DEMO / "market_yard")).text()
    assert max(len(line) for line in text.splitlines()) <= WIDTH


def test_no_place_hides_behind_and_more(plan):
    assert not re.search(r"and \d+ more", plan.text())


@pytest.mark.parametrize(
    ("places", "said"),
    [
        ("tie 4 left", "tie 4 wall"),
        ("joint J1 left (ties 5 and 6)", "joint J1 wall (ties 5 and 6)"),
        ("tie 4 left, joint J1 left (ties 5 and 6), tie 9 right", "ties 4 to 6 wall, tie 9 pond"),
        ("tie 4 left, tie 5 left", "ties 4 and 5 wall"),
        ("levels.csv row 7, tie 5 left", "levels.csv row 7, tie 5 wall"),
    ],
)
def test_places_are_drawn_together_by_side(places, said):
    assert compact(places, {"left": "wall", "right": "pond"}.__getitem__) == said


def test_a_board_on_its_edge_is_cautioned(tmp_path):
    plan = make_plan(load_job(changed(tmp_path, "boathouse_lawn")))
    edged = [stack for stack in plan.stacks.stacks if any(piece.on_edge for piece in stack.pieces)]
    assert edged
    assert "a board on its edge can tip" in " ".join(plan.text().split())


def test_the_supports_file_says_how_far_a_stack_is_slid():
    plan = make_plan(load_job(DEMO / "terrace_edge"))
    table = supports_frame(plan).set_index(["tie", "side"])
    slid = {(tie, s.side): s.slid for s in plan.stacks.stacks for tie in s.ties}
    assert slid[12, "left"] < -0.02  # away from the stone edge, towards the head
    for key, value in slid.items():
        assert table.loc[key, "slid_m"] == pytest.approx(value)


def test_a_wedge_on_shims_adds_up_to_the_height_that_is_printed(tmp_path):
    """Height is what is left to close over the pile: the shims under the wedge are part of it."""
    folder = changed(tmp_path, "boathouse_lawn")
    (folder / "truck.csv").write_text(
        "item,kind,thickness_mm,length_mm,width_mm,thin_mm,count\n"
        "half,box,102,508,305,,99\nwedge,wedge,32,254,89,2,99\n"
        "shim 6,shim,6,100,75,,99\nboard,lumber,38,400,89,,99\n"
    )
    plan = make_plan(load_job(folder))
    packed = {(end.tie, s.side): end for s in plan.stacks.stacks for end in s.closings if end.packed}
    assert packed
    rows = {(tie, side): height for tie, side, _, _, height in printed_rows(plan)}
    for key, end in packed.items():
        assert rows[key] == pytest.approx(100 * end.height, abs=0.06)
        assert end.height == pytest.approx(end.gap + end.packed)
