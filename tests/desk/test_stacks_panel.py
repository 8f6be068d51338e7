"""The stacks panel without a browser: each support close up, nothing planned said in words, the gap card."""

import shutil

import pytest
from demo_jobs import DEMO, changed

from trackkit.cribbing.card import gap_card
from trackkit.desk import StacksPanel


@pytest.fixture(scope="module")
def panel():
    return StacksPanel(DEMO / "boathouse_lawn")


def words_in(picture):
    return " ".join(
        word.get_text() for ax in picture.figure.axes for word in ax.texts if word.get_visible()
    ).replace("\n", " ")


def test_it_begins_with_the_support_of_the_largest_fill(panel):
    panel.set(support="J1")
    worst = panel.plan.fills.loc[panel.plan.fills["fill_m"].idxmax()]
    assert worst["support"] == "J1"


def test_every_support_can_be_looked_at_and_says_what_the_plan_says(panel):
    show = panel.plan.job.display
    for _, support in panel.controls["support"].options:
        panel.set(support=support)
        for side in ("left", "right"):
            stack = panel.stack(side)
            if stack is None:
                assert "STOP" in panel.nothing_there(side) or "sits" in panel.nothing_there(side)
                continue
            lines = panel.lines(side)
            assert len(lines) >= len(stack.pieces) + 1
            for piece in stack.pieces:
                assert any(line.startswith(piece.item) for line in lines)
            assert show.small(stack.fills[0]) in lines[-1]
            assert show.small(stack.fills[0]) in words_in(panel._close[side])
            assert panel._close[side].words.endswith(lines[-1])


@pytest.mark.parametrize(
    ("side", "shown"), [("left", {"left"}), ("right", {"right"}), ("both", {"left", "right"})]
)
def test_only_the_chosen_side_is_shown(panel, side, shown):
    panel.set(side=side)
    there = {one for one, picture in panel._close.items() if picture.widget.layout.display != "none"}
    assert there == shown


def test_a_support_is_drawn_from_both_directions(panel):
    seen = []
    for view in ("along", "across"):
        panel.set(support="J2", side="both", view=view)
        seen.append(panel._close["left"].widget.value)
    panel.set(view="")
    assert seen[0] != seen[1]


def test_the_gap_line_is_the_card_s(panel):
    job = panel.plan.job
    card = gap_card(job.truck, rules=job.stack_rules, ground=job.ground_kind, display=job.display.name)
    for gap in (0.005, 0.075, 0.2):
        panel.set(gap=gap)
        (row,) = card[(card["gap_m"] - gap).abs() < 1e-9].itertuples()
        assert panel.gap_line().endswith(f": {row.words}.")


def test_a_tie_where_nothing_can_stand_is_said_instead_of_drawn(tmp_path):
    """Without wedges, shims and thin pieces some fill is closed by nothing on the truck."""
    folder = changed(tmp_path, "boathouse_lawn")
    lines = (folder / "truck.csv").read_text(encoding="utf-8").splitlines()
    kept = [lines[0], *(line for line in lines[1:] if line.startswith(("full", "half")))]
    (folder / "truck.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")
    panel = StacksPanel(folder)
    lost = panel.plan.stacks.unfillable[0]
    panel.set(support=lost.support, side="both")
    assert panel.stack(lost.side) is None
    assert panel.nothing_there(lost.side).startswith("STOP")
    assert "STOP" in panel._close[lost.side].widget.value
    assert panel._close[lost.side].still() == ""


def test_a_job_without_a_truck_is_refused_with_what_to_do(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn")
    (folder / "truck.csv").unlink()
    panel = StacksPanel(folder)
    assert "no truck.csv: put in a table of what is on the truck" in panel.trouble
    bundle = panel._repr_mimebundle_()
    assert "no truck.csv" in bundle["text/html"] and "no truck.csv" in bundle["text/plain"]


def test_switching_to_a_job_without_a_truck_keeps_the_last_picture(tmp_path):
    good, bad = changed(tmp_path, "boathouse_lawn"), tmp_path / "bare"
    shutil.copytree(good, bad)
    (bad / "truck.csv").unlink()
    panel = StacksPanel(good)
    plan, shown = panel.plan, panel._close["left"].widget.value
    panel.set(job=str(bad.resolve()))
    assert "no truck.csv" in panel.trouble
    assert panel.plan is plan
    assert panel._close["left"].widget.value == shown
    panel.set(job=str(good.resolve()))
    assert panel.trouble == ""
