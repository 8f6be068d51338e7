"""What a job says and nothing uses is a fault, told with what would be used."""

import json
import shutil

import pytest
from demo_jobs import DEMO, GOOD

from trackkit.fitted import fit_job
from trackkit.job import load_job
from trackkit.jobchecks import pegs_of
from trackkit.plan import make_plan
from trackkit.problems import InputProblems

ROUGH = GOOD.replace('[shot]\nend_mark = "6 m"\n', '[track]\nlies = ["3 m", "3 m"]\n')
LEVELS = """point,station_m,side,rod_mm
P1,,,1300
P2,,,1310
P3,,,1320
,0,left,1200
,3,left,1210
,0,right,1200
,3,right,1205
"""
CORNERS = "section,end,side,rod_mm\n1,head,left,1200\n2,tail,right,1210\n"


def found(folder, job=GOOD, **tables):
    """Return the faults of a job, as text."""
    (folder / "job.toml").write_text(job, encoding="utf-8")
    for name, text in ({"levels": LEVELS} | tables).items():
        if text:
            (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    try:
        load_job(folder)
    except InputProblems as faults:
        return [str(fault) for fault in faults.problems]
    return []


PEGS = '[pegs]\ncontrol = "P1"\ncheck = "P2"\n'


@pytest.mark.parametrize(
    ("extra", "fault"),
    [
        (
            PEGS + '[pegs.today]\nP1 = "1342 m"\nP2 = "1 m"\n',
            "pegs.today: found 1342.00 m on 'P1'",
        ),
        (
            PEGS + '[pegs.today]\nP1 = "1 m"\nP3 = "1 m"\n',
            "pegs.today: found a reading on 'P3', which is neither",
        ),
        ('[pegs.today]\nP1 = "1 m"\nP3 = "1 m"\n', "pegs.today: found a reading on 'P3', which is neither"),
        (
            PEGS + '[pegs.today]\nP1 = "1 m"\np2 = "1 m"\n',
            "found 'p2', which no table names; accepted: a peg in",
        ),
        (
            PEGS + '[pegs.today]\nP2 = "1 m"\n',
            "found a reading on the check peg 'P2' alone; accepted: a reading on",
        ),
        ('[pegs.today]\nP2 = "1 m"\n', "found a reading on the check peg 'P2' alone"),
        (
            '[pegs]\ncontrol = "P1"\ncheck = "P1"\n',
            "pegs.check: found 'P1' for the control and the check peg",
        ),
        ('[pegs]\ncheck = "P1"\n', "pegs.check: found 'P1' for the control and the check peg"),
        (
            '[pegs]\ncontrol = "P9"\n',
            "pegs.control: found 'P9', which no table names; accepted: a peg in the tables: P1",
        ),
        ('[pegs]\ncheck = "P9"\n', "pegs.check: found 'P9', which no table names"),
        ('[ground]\ndatum = "P9"\n', "ground.datum: found 'P9', which no table names"),
        (
            '[line.reference]\nrail = "1 m"\nabove = "P9"\n',
            "line.reference.above: found 'P9', which no table names",
        ),
        ('[line.reference]\nrail = "1 m"\nside = "left"\n', "line.reference.side: found side beside rail"),
        ('[line.reference]\ntie = 1\nside = "left"\nat = "1 m"\n', "line.reference.at: found at beside tie"),
        ('[line.reference]\nlens = "1 m"\nat = "1 m"\n', "line.reference.above_rail: found nothing"),
        (
            '[track]\nlies = ["3 m"]\n',
            "track.lies: found track that lies already, and a [shot] to lay it for",
        ),
        (
            '[line]\ngrade = "1 %"\n',
            'line.grade: found a grade for kind = "level", which has none; accepted: grade only',
        ),
        ('[line]\nbend_limit = "1 %"\n', 'line.bend_limit: found a bend_limit for kind = "level"'),
        ('[sides]\nleft = "Wall"\nright = "wall "\n', "sides.right: found 'Wall' for both sides"),
        ('[sides]\nleft = "right"\n', "sides.right: found 'right' for both sides"),
        (
            '[instruments.angles]\nphon = "0.2 deg"\n',
            "instruments.angles: found 'phon', which no table names",
        ),
        ('[stacks]\nrefuse_height = "40 cm"\n', "found refuse_height 40.0 cm below caution_height 45.0 cm"),
        (
            '[track]\norder = ["3m"]\n',
            "track.order: found '3m'; accepted: names of the sections: 3 m. → did you mean",
        ),
    ],
)
def test_what_nothing_would_use_is_a_fault(tmp_path, extra, fault):
    (only,) = found(tmp_path, GOOD + extra)
    assert fault in only


@pytest.mark.parametrize(
    "extra",
    [
        "",
        PEGS + '[pegs.today]\nP1 = "1 m"\nP2 = "1 m"\n',
        '[pegs.today]\nP1 = "1 m"\n',
        '[line]\nkind = "grade"\ngrade = "1 %"\n',
        '[line.reference]\nlens = "1 m"\nabove_rail = "0.5 m"\nover = "datum"\nat = "1 m"\n',
    ],
)
def test_what_is_used_is_no_fault(tmp_path, extra):
    assert found(tmp_path, GOOD + extra) == []


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('"1.5 m"', '"15 m"', "section.1.ties: found a tie at 290.0 cm after one at 1500.0 cm"),
        ('"2.9 m"', '"3.1 m"', "section.1.ties: found a tie at 310.0 cm on a section of 300.0 cm"),
        ("count = 4", "count = 4\ndinged = 5", "section.1.dinged: found 5 dinged of 4"),
        ('"6 m"', '"6 m"\nstart_mark = "7 m"', "found an end mark at 6.00 m, before the start at 7.00 m"),
    ],
)
def test_sizes_that_do_not_fit_are_told_in_the_jobs_unit(tmp_path, old, new, fault):
    told = found(tmp_path, GOOD.replace(old, new))
    assert fault in told[0]


@pytest.mark.parametrize("key", ['order = ["3 m"]', 'shift = "10 cm"', 'surplus = "head"'])
def test_a_way_to_lay_track_that_lies_already_is_a_fault(tmp_path, key):
    (only,) = found(tmp_path, ROUGH.replace("[track]", f"[track]\n{key}"), levels=CORNERS)
    assert "found a way to lay track that lies already" in only


def test_an_unknown_ground_in_the_zones_is_a_fault_with_its_row(tmp_path):
    (only,) = found(tmp_path, zones="from_m,to_m,ground\n0,2,lawn\n2,5,grvel\n")
    accepted = "accepted: one of lawn, soft, sand, gravel, paving, floor. → did you mean 'gravel'?"
    assert only == f"zones.csv, row 3, ground: found 'grvel'; {accepted}"


def test_faults_between_keys_and_tables_come_all_at_once(tmp_path):
    extra = (
        '[line]\ngrade = "1 %"\n[pegs]\ncontrol = "P9"\n[ground]\nkind = "moon"\n[stacks]\nmax_shims = -1\n'
    )
    told = found(tmp_path, GOOD + extra, zones="from_m,to_m,ground\n2,5,grvel\n")
    for place in ("line.grade", "pegs.control", "ground.kind", "stacks.max_shims", "zones.csv, row 2"):
        assert sum(place in fault for fault in told) == 1, place
    assert len(told) == 5


def test_pegs_stand_in_the_order_in_which_a_plan_takes_them(tmp_path):
    levels = LEVELS.replace("P1", "Q").replace("P2", "fixed")
    tables = {
        "levels": levels,
        "benchmarks": "point,height_m,sd_mm\nsoft,2,3\nfixed,1,0\n",
        "differences": "point,to_point,rise_mm\nQ,soft,10\nR,Q,5\n",
    }
    assert found(tmp_path, **tables) == []
    job = load_job(tmp_path)
    _, ground = fit_job(job)
    assert list(pegs_of(job.survey)) == [*ground.setting.observations.fixed, *ground.pegs["peg"]]


def copied(tmp_path):
    folder = tmp_path / "job"
    shutil.copytree(DEMO / "market_yard", folder, ignore=shutil.ignore_patterns("plan"))
    return folder


def test_a_truck_in_a_sheet_of_a_workbook_is_read(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    folder = copied(tmp_path)
    rows = [line.split(",") for line in (folder / "truck.csv").read_text().splitlines()]
    (folder / "truck.csv").unlink()
    book = openpyxl.Workbook()
    book.active.title = "truck"
    for row in rows:
        book.active.append(row)
    book.save(folder / "everything.xlsx")
    assert load_job(folder).truck.pieces


def test_a_table_that_is_nearly_called_truck_is_a_fault(tmp_path):
    folder = copied(tmp_path)
    (folder / "truck.csv").rename(folder / "trucks.csv")
    with pytest.raises(InputProblems, match=r"trucks.*did you mean 'truck'"):
        load_job(folder)


def test_a_damaged_workbook_is_told_once(tmp_path):
    folder = copied(tmp_path)
    (folder / "truck.xlsx").write_bytes(b"PK\x03\x04 and nothing else")
    with pytest.raises(InputProblems) as caught:
        load_job(folder)
    assert len(caught.value.problems) == 1


def test_a_long_name_and_note_break_nothing(tmp_path):
    folder = copied(tmp_path)
    text = (folder / "job.toml").read_text(encoding="utf-8")
    name = "Tracking shot along the old wall, " * 8 + "x" * 200
    text = text.replace("Market yard, roughed in", name).replace("units", f'note = "{"words " * 300}"\nunits')
    (folder / "job.toml").write_text(text, encoding="utf-8")
    plan = make_plan(load_job(folder))
    assert "".join(name.upper().split()) in "".join(plan.text().split())
    written = {path.name for path in plan.save(tmp_path / "out")}
    assert written == {"plan.json", "supports.csv", "pull_list.csv", "profile.svg", "profile.png"}
    assert json.loads((tmp_path / "out" / "plan.json").read_text(encoding="utf-8"))["name"] == name


@pytest.mark.parametrize(
    ("extra", "message"),
    [
        ('[line]\nkind = "grade"\ngrade = "3 %"\ngrade_limit = "1 %"\n', "a grade of 3.0% beside"),
        ('[track]\norder = ["3 m", "3 m", "3 m", "3 m", "3 m", "3 m", "3 m", "3 m", "3 m"]\n', "9 times"),
        ('[track]\nhalf_box = "0 m"\n', "half_box"),
        ('gauge = "24.5 cm"\n', "section.1.gauge: found 24.5 cm"),
    ],
)
def test_what_contradicts_itself_is_told(tmp_path, extra, message):
    assert any(message in one for one in found(tmp_path, GOOD + extra))


def test_brackets_without_end_are_a_fault(tmp_path):
    assert any("nested too deep" in one for one in found(tmp_path, "a=" + "[" * 3000 + "]" * 3000))


def test_a_datum_beside_benchmarks_is_told(tmp_path):
    extra = '[ground]\ndatum = "P1"\n'
    told = found(tmp_path, GOOD + extra, benchmarks="point,height_m\nP1,10\n")
    assert any("a datum beside benchmarks" in one for one in told)
