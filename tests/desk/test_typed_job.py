"""A job as typed: what is left out stays left out, names of copies, files that changed meanwhile."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from demo_jobs import changed

from trackkit.desk.table import EntryTable
from trackkit.desk.typed_job import TypedJob
from trackkit.job import load_job
from trackkit.problems import CannotDo, InputProblems
from trackkit.survey.leaving import readings_of
from trackkit.tables.typed import TypedTable

LEFT_OUT = "levels.csv row 32"
LIST = f'leave_out = ["{LEFT_OUT}"]'


@pytest.fixture
def folder(tmp_path):
    """Return the boathouse job, which leaves out row 32: misread by 10 cm."""
    return changed(tmp_path, "boathouse_lawn")


@pytest.fixture
def typed(folder):
    return TypedJob(folder)


def rows_of(typed):
    """Return the rows of levels with their origins, to be changed and given back to `give`."""
    table = typed.tables["levels"]
    return [(list(cells), origin) for cells, origin in zip(table.rows, table.origins, strict=True)]


def give(typed, rows, *, known=True):
    table = typed.tables["levels"]
    origins = tuple(origin for _, origin in rows) if known else None
    typed.change(replace(table, rows=tuple(tuple(cells) for cells, _ in rows), origins=origins))


def misread(typed):
    """Return the rod of the row that the file leaves out."""
    table = typed.tables["levels"]
    return table.rows[30][table.header.index("rod_mm")]


def counted(job):
    """Return the rods that are counted [mm]."""
    return {f"{rod * 1000:.0f}" for rod in job.survey.levels["rod_m"]}


def remove_and_type_again(rows):
    """Remove row 6 and add it again at the foot."""
    rows.append((rows[4][0], 0))
    del rows[4]
    return "levels.csv row 31"


def remove_before(rows):
    del rows[29]
    return "levels.csv row 31"


def add_before(rows):
    rows.insert(3, (["by the willow", "", "3.25", "left", "1400"], 0))
    return "levels.csv row 33"


def cut_and_paste(rows):
    """Paste row 32 over row 33 and the other way about, as a block that was sorted elsewhere."""
    (one, first), (other, second) = rows[30:32]
    rows[30:32] = [(other, first), (one, second)]
    return "levels.csv row 33"


def mend_in_place(rows):
    rows[30][0][4] = "1503"
    return "levels.csv row 32"


def remove_before_and_mend(rows):
    """Remove row 31 and mend the row itself that is left out."""
    del rows[29]
    rows[29][0][4] = "1503"
    return "levels.csv row 31"


SURE = [remove_and_type_again, remove_before, add_before, cut_and_paste, mend_in_place]


# --- what is left out ---------------------------------------------------------------------------


@pytest.mark.parametrize("change", [*SURE, remove_before_and_mend], ids=lambda one: one.__name__)
def test_a_left_out_reading_stays_left_out_and_no_other_is(typed, change):
    rows = rows_of(typed)
    now = change(rows)
    give(typed, rows)
    job = typed.load()
    left = rows[int(now.split()[-1]) - 2][0][4]
    assert job.file.leave_out == (now,)
    assert counted(job) == {cells[4] for cells, _ in rows} - {left}
    saved = load_job(typed.save())
    assert saved.file.leave_out == (now,)
    assert counted(saved) == counted(job)
    assert typed.notes == []


@pytest.mark.parametrize("change", [remove_and_type_again, remove_before, cut_and_paste, mend_in_place])
def test_it_stays_left_out_by_its_text_where_origins_are_not_known(typed, change):
    rows = rows_of(typed)
    now = change(rows)
    give(typed, rows, known=False)
    assert typed.load().file.leave_out == (now,)


def test_where_it_cannot_be_said_which_row_it_is_nothing_is_counted_or_saved(typed, folder):
    rows = rows_of(typed)
    remove_before_and_mend(rows)
    give(typed, rows, known=False)
    for act in (typed.load, typed.save):
        with pytest.raises(CannotDo, match=r"leaves out levels.csv row 32, and which row .* cannot be said"):
            act()
    assert [path.name for path in folder.parent.iterdir()] == [folder.name]


def test_a_table_pasted_over_with_the_left_out_row_mended_is_not_guessed_at(typed):
    """Row 6 was taken out in a spreadsheet and row 32 mended there: row 32 now holds what row 33 held."""
    rows = rows_of(typed)
    texts = [list(cells) for cells, _ in rows]
    texts[30][4] = "1503"
    del texts[4]
    give(typed, [(cells, origin) for cells, (_, origin) in zip(texts, rows, strict=False)])
    with pytest.raises(CannotDo, match="cannot be said"):
        typed.load()


def test_a_removed_reading_is_left_out_no_more_and_that_is_told(typed):
    rows = rows_of(typed)
    rod = misread(typed)
    del rows[30]
    give(typed, rows)
    job = typed.load()
    assert job.file.leave_out == ()
    assert counted(job) == {cells[4] for cells, _ in rows}
    (note,) = typed.notes
    assert note.startswith(f"{LEFT_OUT} is left out in job.toml and was removed here")
    assert "leave_out = []" in (typed.save() / "job.toml").read_text()
    rows.append((["by the willow", "", "7.5", "right", rod], 0))
    give(typed, rows)
    assert (typed.load().file.leave_out, typed.notes) == (("levels.csv row 37",), [])


def test_a_row_that_was_emptied_is_removed(typed):
    rows = rows_of(typed)
    rows[30] = ([""] * 6, 32)
    give(typed, rows)
    assert typed.load().file.leave_out == ()
    assert len(typed.notes) == 1


@pytest.mark.parametrize(
    "dress",
    [f'  leave_out = ["{LEFT_OUT}"]', f"leave_out = ['{LEFT_OUT}']", f'"leave_out" = ["{LEFT_OUT}"]',
     f'leave_out = [ # not ]\n"{LEFT_OUT}" # misread\n]'],
    ids=["indented", "single quotes", "quoted key", "bracket in a comment"],
)  # fmt: skip
def test_the_list_is_found_in_every_legal_dress(tmp_path, dress):
    typed = TypedJob(changed(tmp_path, "boathouse_lawn", **{LIST: dress}))
    rows = rows_of(typed)
    now = remove_before(rows)
    give(typed, rows)
    assert typed.load().file.leave_out == (now,)
    assert load_job(typed.save()).file.leave_out == (now,)


def test_a_list_that_cannot_be_written_surely_is_neither_counted_nor_saved(tmp_path):
    odd = rf'"leave\u005fout" = ["{LEFT_OUT}"]'
    typed = TypedJob(changed(tmp_path, "boathouse_lawn", **{LIST: odd}))
    rows = rows_of(typed)
    add_before(rows)
    give(typed, rows)
    with pytest.raises(CannotDo, match=r"its list cannot be written anew .* write it there as leave_out ="):
        typed.save()
    with pytest.raises(CannotDo, match="its list cannot be written anew"):
        typed.load()


def test_a_file_with_capitals_has_its_rows_followed_too(tmp_path):
    folder = changed(tmp_path, "boathouse_lawn", **{"levels.csv row": "Levels.CSV row"})
    (folder / "levels.csv").rename(folder / "Levels.CSV")
    typed = TypedJob(folder)
    rows = rows_of(typed)
    remove_before(rows)
    give(typed, rows)
    assert typed.load().file.leave_out == ("Levels.CSV row 31",)


def test_a_list_that_names_no_reading_does_not_come_to_name_one(tmp_path):
    typed = TypedJob(changed(tmp_path, "boathouse_lawn", **{LEFT_OUT: "levels.csv row 38"}))
    rows = rows_of(typed)
    mend_in_place(rows)
    give(typed, rows)
    with pytest.raises(InputProblems, match="no such reading"):
        typed.load()
    rows.append((["by the willow", "", "7.5", "right", "1"], 0))
    give(typed, rows)
    with pytest.raises(CannotDo, match=r"leaves out levels.csv row 38"):
        typed.save()


def test_a_broken_job_file_is_told_and_no_row_is_renumbered_in_it(folder):
    typed = TypedJob(folder)
    rows = rows_of(typed)
    mend_in_place(rows)
    give(typed, rows)
    (folder / "job.toml").write_text("name = \n")
    with pytest.raises(InputProblems, match="broken TOML"):
        typed.load()
    assert (typed.save() / "job.toml").read_text() == "name = \n"
    remove_before(rows)
    give(typed, rows)
    with pytest.raises(CannotDo, match=r"which of them job.toml leaves out cannot be read; mend it first"):
        typed.save()
    assert typed.notes == []


def test_what_the_page_sends_keeps_the_rows_apart(typed):
    """Rows and origins come in one message; the table is told of once, with both."""
    entry, heard = EntryTable.of(typed.tables["levels"]), []
    entry.on_rows(heard.append)
    rows, origins = [list(row) for row in entry.rows], list(entry.origins)
    del rows[29], origins[29]
    rows[29][4] = "1503"
    entry.set_state({"origins": origins, "rows": rows})
    (table,) = heard
    typed.change(table)
    assert typed.load().file.leave_out == ("levels.csv row 31",)


def test_a_table_is_shown_again_with_the_rows_it_came_from(typed):
    rows = rows_of(typed)
    del rows[3]
    give(typed, rows)
    entry = EntryTable.of(typed.tables["levels"])
    assert entry.table.origins == typed.tables["levels"].origins == (2, 3, 4, *range(6, 38))


def test_every_reading_can_be_counted_all_the_same(typed):
    rows = rows_of(typed)
    now = remove_before(rows)
    give(typed, rows)
    assert now in readings_of(typed.load(all_readings=True).survey)


# --- saving -------------------------------------------------------------------------------------


def edit(typed):
    rows = rows_of(typed)
    mend_in_place(rows)
    give(typed, rows)
    return typed


@pytest.mark.parametrize(
    ("name", "beside", "saved"),
    [
        ("porch", [], "porch_2"),
        ("porch_2024", [], "porch_2024_2"),
        ("porch_2", ["porch"], "porch_3"),
        ("porch_2", [], "porch_2_2"),
        ("porch_2024", ["porch_2024_2"], "porch_2024_3"),
        ("_2", [], "_2_2"),
    ],
)
def test_a_copy_is_named_after_the_first_of_its_name(tmp_path, folder, name, beside, saved):
    place = tmp_path / "jobs"
    shutil.copytree(folder, place / name)
    for other in beside:
        (place / other).mkdir()
    assert edit(TypedJob(place / name)).save() == place / saved


def test_a_job_given_as_the_folder_one_stands_in_is_saved_beside_it(folder, monkeypatch):
    monkeypatch.chdir(folder)
    assert edit(TypedJob(Path("."))).save() == folder.with_name(f"{folder.name}_2")


def test_nothing_is_saved_where_nothing_was_changed(typed, folder):
    with pytest.raises(CannotDo, match="nothing differs from the files, so there is nothing to save"):
        typed.save()
    assert [path.name for path in folder.parent.iterdir()] == [folder.name]


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda path: path.unlink(), r"job.toml could not be read \(No such file or directory\)"),
        (lambda path: path.write_bytes(b'name = "caf\xe9"'), "job.toml is not in UTF-8; save it as UTF-8"),
    ],
    ids=["gone", "not UTF-8"],
)
def test_a_job_file_that_cannot_be_read_is_told_in_words(typed, folder, spoil, words):
    edit(typed)
    spoil(folder / "job.toml")
    with pytest.raises(CannotDo, match=words):
        typed.save()
    with pytest.raises(InputProblems):
        typed.load()


# --- files that changed, and going back to them -------------------------------------------------


@pytest.mark.parametrize("name", ["levels.csv", "job.toml", "truck.csv"])
def test_a_job_is_stale_once_a_file_of_it_holds_something_else(typed, folder, name):
    assert not typed.stale()
    old = (folder / name).read_bytes()
    (folder / name).write_bytes(old)
    (folder / ".levels.csv.swp").write_bytes(b"x")
    (folder / "notes.txt").write_bytes(b"x")
    assert not typed.stale()
    (folder / name).write_bytes(old + b"\n")
    assert typed.stale()


def test_a_job_is_stale_once_a_table_came_or_went(typed, folder):
    (folder / "obstacles.csv").write_text("station_m,offset_m,height_m\n1,0,0.1\n")
    assert typed.stale()
    (folder / "obstacles.csv").unlink()
    assert not typed.stale()
    (folder / "truck.csv").unlink()
    assert typed.stale()


def test_typing_does_not_make_a_job_stale(typed):
    edit(typed).save()
    assert not typed.stale()


def test_rows_of_a_file_that_changed_meanwhile_are_not_renumbered_by_the_old_one(typed, folder):
    edit(typed)
    lines = (folder / "levels.csv").read_text().splitlines(keepends=True)
    (folder / "levels.csv").write_text("".join(lines[:5] + lines[6:]))
    with pytest.raises(CannotDo, match=r"levels.csv was changed on the disk .* begin again from the files"):
        typed.save()


def test_one_table_is_put_back_as_it_was_read(typed):
    edit(typed)
    boards = typed.tables["boards"]
    typed.change(TypedTable("boards", boards.header, boards.rows[1:]))
    typed.reset("levels")
    assert typed.changed == ["boards"]
    assert typed.tables["levels"].origins == tuple(range(2, 38))
    with pytest.raises(KeyError, match="wheels"):
        typed.reset("wheels")


def test_going_back_to_the_files_reads_them_anew(typed, folder):
    edit(typed)
    text = (folder / "levels.csv").read_text()
    (folder / "levels.csv").write_text(text.replace("1453", "1454"))
    typed.back_to_file()
    assert (typed.changed, typed.stale()) == ([], False)
    assert typed.tables["levels"].rows[3][4] == "1454"


def test_files_that_cannot_be_read_leave_what_was_typed(typed, folder):
    edit(typed)
    (folder / "levels.csv").write_text("")
    with pytest.raises(InputProblems, match="an empty table"):
        typed.back_to_file()
    assert typed.changed == ["levels"]
    assert typed.stale()
