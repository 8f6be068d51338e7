"""The line panel without a browser: controls moved, library asked, artists changed, faults told."""

import asyncio
import re

import numpy as np
import pytest
from demo_jobs import DEMO, changed

from trackkit.desk import LinePanel
from trackkit.desk.asked import line_of, wishes_of
from trackkit.desk.controls import nearest_option
from trackkit.desk.panel import STILL
from trackkit.job import load_job, with_line
from trackkit.pictured import signs_of
from trackkit.plan import make_plan
from trackkit.units import LENGTH_UNITS

NAMES = ("boathouse_lawn", "market_yard", "terrace_edge")


@pytest.fixture(scope="module")
def opened():
    return LinePanel(DEMO / "boathouse_lawn")


@pytest.fixture
def panel(opened):
    """The panel that the tests share, with the job and its line as the file says."""
    job = str((DEMO / "boathouse_lawn").resolve())
    if opened.values["job"] != job or opened.trouble:
        with opened._held():
            opened.controls["job"].value = job
        opened._answer(frozenset(["job"]))
    wishes = wishes_of(opened.job)
    if any(opened.values[name] != value for name, value in wishes.items()):
        with opened._held():
            for name, value in wishes.items():
                opened.controls[name].value = value
        opened._answer(frozenset(wishes))
    opened._stop_waiting()
    return opened


def drawn(panel, pattern):
    """Return the visible artists of the side view whose name fits."""
    every = [one for ax in panel._side.figure.axes for one in (*ax.lines, *ax.patches, *ax.texts)]
    return [one for one in every if one.get_visible() and re.fullmatch(pattern, one.get_gid() or "")]


def figures(panel, side):
    """Return the fills that stand in the picture of a side, by tie."""
    texts = drawn(panel, rf"{side}-tie-\d+-fill")
    return {int(text.get_gid().split("-")[2]): text.get_text() for text in texts}


@pytest.mark.parametrize("name", NAMES)
def test_a_panel_opens_with_the_plan_of_its_job(name):
    panel = LinePanel(DEMO / name)
    plan = make_plan(load_job(DEMO / name))
    assert panel.trouble == ""
    np.testing.assert_allclose(panel.plan.fills["fill_m"], plan.fills["fill_m"], atol=1e-12)
    assert panel.plan.stacks.used == plan.stacks.used
    assert panel.plan.advisories == plan.advisories


@pytest.mark.parametrize(
    "wishes",
    [
        {"reference": (5, "left")}, {"gap": 0.03}, {"kind": "grade", "grade": 0.02},
        {"kind": "follow", "bend": 0.005}, {"kind": "least fill", "confidence": 0.0},
        {"confidence": 0.99, "reference": (15, "right")},
    ],
    ids=str,
)  # fmt: skip
def test_moved_controls_give_what_the_library_gives_for_the_same_wishes(panel, wishes):
    panel.set(**wishes)
    plan = make_plan(with_line(panel.job, **line_of(panel.values)))
    np.testing.assert_allclose(panel.plan.fills["fill_m"], plan.fills["fill_m"], atol=1e-9)
    assert panel.plan.stacks.used == plan.stacks.used
    show = plan.job.display
    for side in ("left", "right"):
        own = plan.fills[plan.fills["side"] == side]
        written = {
            t: word.split(":")[-1].strip().replace("−", "-") for t, word in figures(panel, side).items()
        }
        assert written == {tie: show.small(fill) for tie, fill in zip(own["tie"], own["fill_m"], strict=True)}


def test_the_line_in_the_picture_moves_by_as_much_as_the_gap(panel):
    heights = []
    for gap in (0.010, 0.030):
        panel.set(gap=gap, confidence=0.0)
        (line,) = drawn(panel, "left-line")
        heights.append(np.array(line.get_ydata()) * LENGTH_UNITS[panel.job.display.unit])
    np.testing.assert_allclose(heights[1] - heights[0], 0.020, atol=1e-12)


def test_a_moved_control_changes_artists_and_makes_no_new_ones(panel):
    panel.set(reference=(5, "left"))
    panel.set(reference="governing")
    before = sum(len(ax.get_children()) for ax in panel._side.figure.axes)
    for tie in (5, 9, 12):
        panel.set(reference=(tie, "left"))
    panel.set(reference="governing")
    assert sum(len(ax.get_children()) for ax in panel._side.figure.axes) == before


def test_what_a_line_is_raised_by_for_the_confidence_is_said(panel):
    """Else a reference further down would seem to change nothing."""
    panel.set(reference=(5, "left"), confidence=0.9)
    raised = panel.job.display.small_unit(panel.laid.line.raised)
    assert (
        f"set from tie 5 house side, and raised by {raised} from there so that nothing" in panel._hangs.value
    )
    panel.set(confidence=0.0)
    assert "raised" not in panel._hangs.value


def test_ties_in_the_ground_are_said_and_drawn(panel):
    panel.set(reference=(5, "left"), confidence=0.0)
    assert drawn(panel, "left-negative")
    assert any("in the ground" in what for what, _ in panel.numbers())
    assert "in the ground" in panel._side.words
    panel.set(reference="governing")
    assert not drawn(panel, "left-negative")


def test_bars_stand_in_for_stacks_until_the_controls_are_still(panel):
    with panel._held():
        panel.controls["gap"].value = panel.controls["gap"].options[20][1]
    panel._answer(frozenset(["gap"]))
    assert drawn(panel, "left-fill")
    assert not drawn(panel, "left-box")
    assert "trackkit-waits" in panel._numbers.value
    panel._settle_now()
    assert not drawn(panel, "left-fill")
    assert drawn(panel, "left-box")
    assert "trackkit-waits" not in panel._numbers.value


def test_the_signs_of_the_side_view_are_said_once_the_stacks_are_drawn(panel):
    panel.set(reference=(5, "left"))
    entries = signs_of(panel.plan, panel.plan.stacks)

    def shown():
        parts = [one for one in panel._signs.figure.get_children() if one.get_visible()]
        return {one.get_text() for one in parts if (one.get_gid() or "").startswith("legend-")}

    assert shown() == {word for _, word in entries} >= {"set from tie 5 left", "box", "wedge"}
    assert all(word in panel._signs.words for word in shown())
    pieces = drawn(panel, "left-(box|lumber|lumber-end|ply|pad|shim|pair|wedge|seat)")
    assert {one.get_gid().removeprefix("left-").replace("-", " ") for one in pieces} <= dict(entries).keys()
    panel.set(confidence=0.0)
    assert "tie in the ground" in shown()
    panel.set(reference="governing")
    assert "tie in the ground" not in shown()


def test_the_chances_of_a_bent_line_are_worked_out_in_steps_so_that_a_key_can_cut_in(panel):
    with panel._held():
        panel.controls["kind"].value = "follow"
    panel._answer(frozenset(["kind"]))
    steps = panel.settle()
    for _ in range(10):
        next(steps)
    assert panel.laid.line.kind == "follow"
    assert panel.plan.line.kind != "follow"


def test_in_a_kernel_the_stacks_wait_for_still_controls_and_a_new_move_cuts_in(panel):
    def taken():
        return panel.plan.line.gap

    async def move():
        gaps = [gap for _, gap in panel.controls["gap"].options]
        before = taken()
        for gap in gaps[10:14]:
            panel.controls["gap"].value = gap
            await asyncio.sleep(STILL / 8)
        assert taken() == before
        assert panel.laid.line.gap == pytest.approx(gaps[13])
        for _ in range(200):
            await asyncio.sleep(0.05)
            if taken() != before and panel._timer is None:
                break
        return gaps[13]

    panel.set(confidence=0.0)
    assert asyncio.run(move()) == pytest.approx(taken())


def test_values_can_be_read_and_set_and_strange_ones_are_refused(panel):
    panel.set(kind="grade", grade=0.013)
    assert panel.values["grade"] == pytest.approx(0.013)
    with pytest.raises(ValueError, match="no control colour; there are job, kind, reference"):
        panel.set(colour=3)
    with pytest.raises(ValueError, match=r"reference takes no \(99, 'left'\); it takes 'governing'"):
        panel.set(reference=(99, "left"))
    assert panel.values["kind"] == "grade"


def test_a_refused_value_leaves_all_controls_as_they_were(panel):
    before = panel.values
    with pytest.raises(ValueError, match="takes no"):
        panel.set(gap=0.03, reference=(99, "left"))
    assert panel.values == before


def test_a_job_that_cannot_be_opened_is_told_and_the_last_good_picture_stays(panel, tmp_path):
    folder = changed(tmp_path, "market_yard")
    panel = LinePanel(folder)
    panel.controls["job"].options = [*panel.controls["job"].options, ("broken", str(tmp_path / "broken"))]
    shown, plan = panel._side.widget.value, panel.plan
    (folder.parent / "broken").mkdir()
    (folder.parent / "broken" / "job.toml").write_text('name = "x"\nspeed = 3\n', encoding="utf-8")
    panel.set(job=str(tmp_path / "broken"))
    assert "speed" in panel.trouble
    assert 'role="alert"' in panel._trouble.value
    assert panel._side.widget.value == shown
    assert panel.plan is plan
    panel.set(job=str(folder.resolve()))
    assert panel.trouble == ""
    assert panel._trouble.value == ""


def test_another_job_brings_its_own_unit_and_ties(panel):
    panel.set(job=str((DEMO / "terrace_edge").resolve()))
    assert panel.trouble == ""
    words = [word for word, _ in panel.controls["gap"].options]
    assert words[:3] == ["0 in", "1/8 in", "1/4 in"]
    assert panel.values["gap"] == pytest.approx(0.0127)
    ends = [word for word, _ in panel.controls["reference"].options]
    assert ends[1:3] == ["tie 1 garden wall", "tie 1 pond"]


def test_only_controls_that_the_kind_listens_to_are_shown(panel):
    for kind, shown in (("level", set()), ("grade", {"grade"}), ("follow", {"bend"})):
        panel.set(kind=kind)
        there = {name for name in ("grade", "bend") if panel.controls[name].layout.display != "none"}
        assert there == shown


def test_the_text_for_the_job_file_gives_the_same_line_when_it_is_read(panel, tmp_path):
    panel.set(kind="grade", grade=0.011, gap=0.02, confidence=0.8, reference=(3, "right"))
    text = re.search(r"<pre[^>]*>(\[line\].*?)</pre>", panel._sheet.value, flags=re.DOTALL)[1]
    text = text.replace("&quot;", '"')
    folder = changed(tmp_path, "boathouse_lawn")
    path = folder / "job.toml"
    old = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r"\[line\].*?(?=\n\[)", text + "\n", old, flags=re.DOTALL), encoding="utf-8")
    plan = make_plan(load_job(folder))
    np.testing.assert_allclose(plan.fills["fill_m"], panel.plan.fills["fill_m"], atol=1e-9)


def test_a_panel_can_be_shown_without_a_kernel(panel):
    bundle = panel._repr_mimebundle_()
    assert set(bundle) == {"application/vnd.jupyter.widget-view+json", "text/html", "text/plain"}
    assert bundle["text/html"].count("<img ") == 5
    assert bundle["text/html"].count('alt="') == 5
    assert "track needed: 10.80 m" in bundle["text/plain"]


def test_no_two_pictures_of_a_page_share_an_id(panel):
    page = "".join(picture.widget.value for picture in panel.pictures)
    page += "".join(picture.widget.value for picture in LinePanel(DEMO / "boathouse_lawn").pictures)
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids)) > 100
    used = set(re.findall(r'(?:href="#|url\(#)([^")]+)', page))
    assert used <= set(ids)
    assert used


def test_names_of_people_cannot_become_markup(tmp_path):
    odd = '<b>house & \\"garden\\"</b>'
    panel = LinePanel(changed(tmp_path, "boathouse_lawn", **{'left = "house side"': f'left = "{odd}"'}))
    page = panel._numbers.value + panel._sheet.value + panel.still()
    page += "".join(picture.widget.value for picture in panel.pictures)
    assert "<b>" not in page
    assert "&lt;b&gt;house &amp; " in page


@pytest.mark.parametrize("gap", ["9 mm", "13 mm", "36 mm", "12.34 mm", "0 mm"])
def test_any_gap_that_a_job_has_can_be_shown(tmp_path, gap):
    panel = LinePanel(changed(tmp_path, "boathouse_lawn", **{'gap = "12 mm"': f'gap = "{gap}"'}))
    assert panel.trouble == ""
    assert panel.values["gap"] == panel.job.file.line.gap


def test_no_two_stops_of_a_slider_read_the_same():
    for name in NAMES:
        panel = LinePanel(DEMO / name)
        for control in ("reference", "gap", "grade", "bend", "confidence"):
            words = [word for word, _ in panel.controls[control].options]
            assert len(words) == len(set(words))


def test_a_job_and_what_is_wished_of_it_can_be_set_in_one_go(panel):
    panel.set(kind="grade", grade=0.03, job=str((DEMO / "terrace_edge").resolve()))
    assert panel.job.name.startswith("Terrace")
    assert (panel.values["kind"], panel.values["grade"]) == ("grade", pytest.approx(0.03))
    assert panel.laid.line.steepest == pytest.approx(0.03)


def test_a_refused_wish_is_told_first_and_the_rest_is_of_one_line(tmp_path):
    """Too steep for the track that there is: what stands below is still the line before, and says so."""
    panel = LinePanel(changed(tmp_path, "boathouse_lawn", **{'end_mark = "8 m"': 'end_mark = "10.2 m"'}))
    panel.set(gap=0.02, confidence=0.0)
    panel.set(kind="grade", grade=0.10)
    assert panel.plain().startswith("NOT DONE: not enough track")
    assert "Still from boathouse_lawn, before:" in panel.plain()
    bundle = panel._repr_mimebundle_()
    assert "not enough track" in bundle["text/html"]
    assert panel.plan.line.gap == panel.laid.line.gap == pytest.approx(0.02)
    assert "trackkit-settling" not in panel.body._dom_classes


def test_a_refusal_after_a_wish_that_had_not_settled_leaves_no_mixture(tmp_path):
    panel = LinePanel(changed(tmp_path, "boathouse_lawn", **{'end_mark = "8 m"': 'end_mark = "10.2 m"'}))
    with panel._held():
        panel.controls["gap"].value = nearest_option(panel.controls["gap"], 0.02)
        panel.controls["confidence"].value = 0.0
    panel._answer(frozenset(["gap"]))
    panel.set(kind="grade", grade=0.10)
    assert panel.trouble
    assert panel.plan.line.gap == panel.laid.line.gap == pytest.approx(0.02)
    assert "trackkit-waits" not in panel._numbers.value


def test_keys_of_the_file_that_no_control_shows_are_kept_in_the_text_for_it(tmp_path):
    panel = LinePanel(
        changed(tmp_path, "boathouse_lawn", **{'gap = "12 mm"': 'gap = "12 mm"\ntouch = "5 mm"'})
    )
    assert "touch = &quot;5 mm&quot;" in panel._sheet.value
