"""Controls, numbers, pictures and words are of one answer, whatever is refused, fails or comes late."""

import asyncio
import re
import shutil
import threading

import pytest
from demo_jobs import DEMO, changed

from trackkit.desk import GroundPanel, LinePanel, StacksPanel
from trackkit.desk import laying as laying_module
from trackkit.desk.controls import nearest_option
from trackkit.desk.panel import STILL
from trackkit.problems import CannotDo

LONG = {'end_mark = "8 m"': 'end_mark = "10.17 m"'}


def move(panel, **values):
    """Move controls as a person does: answered, but not settled yet."""
    with panel._held():
        for name, value in values.items():
            panel.controls[name].value = nearest_option(panel.controls[name], value)
    panel._answer(frozenset(values))


def shown(panel):
    """Return everything on the page."""
    words = (panel._numbers.value, panel._hangs.value, panel._sheet.value)
    return (*words, *(picture.widget.value for picture in panel.pictures))


@pytest.fixture
def bad(tmp_path):
    folder = tmp_path / "bad"
    folder.mkdir()
    (folder / "job.toml").write_text('name = "x"\nspeed = 3\n', encoding="utf-8")
    return folder


def offer(panel, folder):
    control = panel.controls["job"]
    with panel._held():
        kept = control.value
        control.options = [*control.options, (folder.name, str(folder))]
        control.value = kept


def test_the_keys_to_keep_a_line_are_those_of_the_line_that_is_shown(tmp_path):
    """A wish that is refused before the one before it has settled must not get into them."""
    panel = LinePanel(changed(tmp_path, "boathouse_lawn", **LONG))
    panel.set(kind="grade", grade=0.01)
    move(panel, gap=0.02)
    move(panel, grade=0.10)
    assert "not enough track" in panel.trouble
    panel._settle_now()
    assert 100 * panel.plan.line.steepest == pytest.approx(1.0)
    keys = re.search(r"\[line\].*?</pre>", panel._sheet.value, flags=re.DOTALL)[0]
    assert "grade = &quot;1 %&quot;" in keys
    assert "gap = &quot;20 mm&quot;" in keys


def test_what_is_told_or_stored_is_of_one_piece_though_it_has_not_settled():
    """A cell that runs just after a key must not print the plan before it."""

    async def told():
        panel = LinePanel(DEMO / "boathouse_lawn")
        control = panel.controls["gap"]
        control.value = nearest_option(control, 0.04)
        assert panel._timer is not None
        waits = panel.plan
        page = panel._repr_mimebundle_()
        assert panel.plan is not waits
        return panel, page

    panel, page = asyncio.run(told())
    largest = panel.job.display.small_unit(float(panel.laid.fills["fill_m"].max()))
    assert f"tie 6 lake side: {largest}" in page["text/plain"]
    assert f'trackkit-number">{largest}<' in page["text/html"]
    assert "gap 4.0 cm" in page["text/html"]


def test_an_answer_that_cannot_be_settled_gives_way_to_the_last_whole_one(monkeypatch):
    panel = LinePanel(DEMO / "boathouse_lawn")
    before, plan = shown(panel), panel.plan

    def fails(*_, **__):
        raise CannotDo("the ties stand beside a break")

    monkeypatch.setattr(laying_module, "plan_of", fails)
    panel.set(gap=0.03)
    assert panel.trouble == "the ties stand beside a break"
    assert "still those from before" in panel._trouble.value
    assert panel.plan is plan
    assert panel.laid.line.gap == plan.line.gap
    marks = re.compile(r'-[0-9a-f]{8,}-|(?<=#)\w+|(?<=id=")\w+')
    assert [marks.sub("", one) for one in shown(panel)] == [marks.sub("", one) for one in before]
    assert "trackkit-settling" not in panel.body._dom_classes
    monkeypatch.undo()
    panel.set(gap=0.03)
    assert panel.trouble == ""
    assert panel.plan.line.gap == pytest.approx(0.03)


def test_a_job_that_opens_but_gives_no_line_does_not_own_the_numbers_below(tmp_path):
    """Its readings are at fault, or its track too short: what stands there is the other job's."""
    market = changed(tmp_path, "market_yard")
    twin = changed(tmp_path / "twin", "boathouse_lawn")
    path = twin / "levels.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("1434", "abc"), encoding="utf-8")
    for kind in (LinePanel, GroundPanel):
        panel = kind(market)
        offer(panel, twin)
        panel.set(job=str(twin))
        assert "abc" in panel.trouble
        assert "pale, is market_yard, from before" in panel._trouble.value
        assert "trackkit-other" in panel.body._dom_classes
        assert "Still from market_yard, before:" in panel.plain()


def test_while_a_job_cannot_be_opened_the_controls_go_on_for_the_one_that_is_open(bad):
    panel = StacksPanel(DEMO / "boathouse_lawn")
    panel.set(support="J1")
    offer(panel, bad)
    panel.set(job=str(bad))
    assert "speed" in panel.trouble
    panel.set(support="J2")
    assert "speed" in panel.trouble  # the list still says the other job
    assert "J2" in panel._close["left"].words
    assert "joint J2" in panel._numbers.value
    assert panel.plain().count("joint J2") == panel.plain().count("joint J") > 1
    line = LinePanel(DEMO / "boathouse_lawn")
    offer(line, bad)
    line.set(job=str(bad), gap=0.03)
    assert line.values["gap"] == line.plan.line.gap  # meant for the job that could not be opened
    line.set(gap=0.03)
    assert line.plan.line.gap == pytest.approx(0.03)


def test_a_fault_of_the_kit_is_told_in_the_panel_too(monkeypatch):
    panel = LinePanel(DEMO / "boathouse_lawn")

    def fails(*_, **__):
        raise KeyError("nobody thought of this")

    monkeypatch.setattr(laying_module, "lay_line", fails)
    with pytest.raises(KeyError):
        panel.set(gap=0.03)
    assert "a fault of the kit, not yours: KeyError" in panel.trouble
    assert "fault of the kit" in panel._trouble.value


def test_ties_are_offered_as_the_line_lays_them(tmp_path):
    """At 10 per cent more sections are laid than level: other ties can carry the line."""
    panel = LinePanel(changed(tmp_path, "boathouse_lawn", **{'end_mark = "8 m"': 'end_mark = "8.18 m"'}))
    for wishes in ({"kind": "grade", "grade": 0.10}, {"kind": "level"}, {"kind": "grade", "grade": 0.10}):
        panel.set(**wishes)
        offered = {value[0] for _, value in panel.controls["reference"].options if isinstance(value, tuple)}
        assert offered == set(panel.laid.line.run.ties["tie"])
        assert panel.values["reference"] == "governing"
        last = max(offered)
        panel.set(reference=(last, "left"))
        assert panel.trouble == ""
        panel.set(reference="governing")
    assert last > 19


def test_saving_leaves_the_list_of_jobs_at_the_job_that_is_open(tmp_path):
    changed(tmp_path, "boathouse_lawn")
    folder = changed(tmp_path, "terrace_edge")  # not the first in the list
    panel = GroundPanel(folder)
    name = panel.table.columns[-1]["name"]
    rows = [list(row) for row in panel.table.rows]
    rows[0][-1] = "first"
    panel.table.rows = rows
    panel._save()
    assert "Saved as the new job terrace_edge_2" in panel._saved.value
    assert panel.values["job"] == str(folder.resolve())
    rows[1][-1] = "second"
    panel.table.rows = [list(row) for row in rows]
    assert panel._opened == folder.resolve()
    assert panel.table.rows[1][-1] == "second", name
    assert panel.job.folder.name == "terrace_edge"


def test_what_cannot_be_saved_is_said(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn")
    panel = GroundPanel(folder)
    rows = [list(row) for row in panel.table.rows]
    rows[0][-1] = "first"
    panel.table.rows = rows
    shutil.rmtree(folder)
    panel._save()
    assert "Not saved:" in panel._saved.value


def test_a_print_says_of_which_job_it_is_and_how_the_line_is_set(tmp_path):
    panel = LinePanel(DEMO / "terrace_edge")
    panel.set(kind="grade", grade=0.015, reference=(3, "right"))
    page = panel.still()
    assert "(terrace_edge)</strong>" in page
    for words in ("at a grade of +1.5 %", "set from tie 3 ", "gap "):
        assert words in page
    assert "(boathouse_lawn)</strong>" in StacksPanel(DEMO / "boathouse_lawn").still()
    assert "(market_yard)</strong>" in GroundPanel(DEMO / "market_yard").still()


def test_a_cell_that_sets_the_panel_while_its_widgets_settle_in_a_thread_of_their_own():
    """A notebook's cells and its widgets may run side by side; steps of an older answer are not taken."""
    panel = LinePanel(DEMO / "boathouse_lawn")
    moved = threading.Event()

    async def keys():
        for gap in (0.02, 0.03):
            panel.controls["gap"].value = nearest_option(panel.controls["gap"], gap)
            await asyncio.sleep(STILL + 0.05)  # a few steps of settling are taken
            moved.set()
        await asyncio.sleep(2.0)

    widgets = threading.Thread(target=lambda: asyncio.run(keys()))
    widgets.start()
    assert moved.wait(20.0)
    for gap in (0.010, 0.015, 0.040):
        panel.set(gap=gap)
    widgets.join()
    panel._catch_up()
    shown = panel.values["gap"]
    assert panel.plan.line.gap == panel.laid.line.gap == pytest.approx(shown)
    assert "trackkit-waits" not in panel._numbers.value
    assert f"gap {panel.job.display.small_unit(shown)}" in panel.still()
