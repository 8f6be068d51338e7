"""The numbers in large type, and the tables and words beside them: none may say more than is so."""

import pytest
from demo_jobs import DEMO, changed, retyped

from trackkit.advice import chance_words, sure_words
from trackkit.job import load_job, with_line
from trackkit.paper import NOTEBOOK_WIDTH, wrapped_lines
from trackkit.pictured import headline, truck_words
from trackkit.plan import make_plan
from trackkit.report import line_words, plan_text
from trackkit.spoken import fills_text


@pytest.fixture(scope="module")
def lawn():
    return load_job(DEMO / "boathouse_lawn")


@pytest.fixture(scope="module")
def poor(tmp_path_factory):
    """The lawn with few boxes and no shims."""
    folder = changed(tmp_path_factory.mktemp("poor"), "boathouse_lawn")
    rows = (folder / "truck.csv").read_text(encoding="utf-8").splitlines()
    counts = {"half": 4, "quarter": 4, "pancake": 2, "wedge": 12}
    kept = [
        row.rsplit(",", 1)[0] + f",{counts[row.split(',')[0]]}" for row in rows if row.split(",")[0] in counts
    ]
    (folder / "truck.csv").write_text("\n".join([rows[0], *kept, ""]), encoding="utf-8")
    return make_plan(load_job(folder))


def test_a_truck_that_would_do_for_a_line_in_the_ground_points_to_the_stop(lawn):
    plan = make_plan(
        with_line(lawn, kind="level", reference={"tie": 5, "side": "right"}, gap="0 mm", confidence=None)
    )
    assert plan.summary.negative > 10
    assert dict(headline(plan))["the truck"] == truck_words(plan.stacks) == "see STOP"
    assert "The truck suffices" not in plan_text(plan)
    assert "The truck: enough for what is planned, but see STOP." in plan_text(plan)


def test_a_truck_that_is_enough_suffices(lawn):
    assert dict(headline(make_plan(lawn)))["the truck"] == "suffices"


def test_what_is_to_be_taken_is_weighed_whether_it_is_on_the_truck_or_not(poor):
    masses = {piece.item: piece.mass for piece in poor.stacks.truck.pieces}
    weight = sum(count * masses[item] for item, count in poor.stacks.used)
    assert poor.stacks.pull_list()["mass_kg"].sum() == pytest.approx(weight)
    assert f"Together about {weight:.0f} kg, with what is short." in plan_text(poor)


def test_no_stop_speaks_of_a_break_where_there_is_none_or_contradicts_itself(poor):
    assert poor.stacks.unfillable
    for lost in poor.stacks.unfillable:
        assert "break" not in lost.reason and "bridge" not in lost.reason
        assert lost.reason.count(f"{100 * lost.fill:.2f} cm") == 1
    assert "1.20 cm would" not in plan_text(poor)


def test_a_support_alone_is_not_said_in_the_plural(poor):
    from dataclasses import replace

    one = replace(poor.stacks, shortages=(), unfillable=poor.stacks.unfillable[:1])
    assert truck_words(one) == "cannot fill 1 support"
    two = replace(one, unfillable=poor.stacks.unfillable[:2])
    assert truck_words(two) == "cannot fill 2 supports"


@pytest.mark.parametrize("grade", ["0 %", "-0 %"])
def test_a_grade_of_nothing_is_level(lawn, grade):
    assert line_words(make_plan(with_line(lawn, kind="grade", grade=grade))) == "level"


@pytest.mark.parametrize("name", ["boathouse_lawn", "terrace_edge", "market_yard"])
def test_no_row_of_fills_is_broken_in_a_notebook(name):
    text = fills_text(make_plan(load_job(DEMO / name)))
    assert wrapped_lines(text, width=NOTEBOOK_WIDTH) == text


@pytest.mark.parametrize("side", ["the side of the old ropewalk with the green door", "x" * 12])
def test_no_row_of_fills_is_broken_by_a_long_name(tmp_path, side):
    folder = changed(tmp_path, "terrace_edge")
    retyped(folder / "job.toml", **{'"garden wall"': f'"{side}"'})
    plan = make_plan(load_job(folder))
    text = fills_text(plan)
    assert wrapped_lines(text, width=NOTEBOOK_WIDTH) == text
    ties = [
        word for line in text.splitlines() if line.startswith("fill, in; tie") for word in line.split()[3:]
    ]
    assert ties == [str(tie) for tie in plan.run.ties["tie"]]


def test_rails_with_targets_of_their_own_say_the_sign_in_words(tmp_path):
    """A rail below the peg reads more: -9 3/8 "taken off" was taken off, and the rail set 18 3/4 in high."""
    folder = changed(tmp_path, "terrace_edge", **{'kind = "level"': 'kind = "follow"'})
    plan = make_plan(load_job(folder))
    text = plan_text(plan)
    table = plan.targets.table.set_index(["tie", "side"])["above_control_m"]
    show, peg = plan.job.display, plan.targets.control.name
    first = table.iloc[0]
    assert f"{'plus' if first < 0 else 'minus'} {show.small(abs(first))}" in text
    assert f"the reading on {peg}, plus or minus this as it says" in " ".join(text.split())
    assert "rail*" not in text and "figure off" not in text


@pytest.mark.parametrize("chance", [0.0005, 0.004, 0.02, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.45])
def test_a_chance_and_its_opposite_add_up(chance):
    said = [chance_words(chance), chance_words(1.0 - chance)]
    if chance < 0.001:
        assert said == ["hardly any chance", "almost certain"]
        return
    tops, bottoms = zip(*((int(w.split()[0]), int(w.split()[-1])) for w in said), strict=True)
    assert bottoms[0] == bottoms[1] == sum(tops)


def test_no_confidence_short_of_certain_reads_as_certain():
    assert [sure_words(one) for one in (0.5, 0.9, 0.999, 0.9999)] == ["50%", "90%", "99.9%", "99.99%"]
