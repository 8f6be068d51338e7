"""The job file: every fault at once, each with its place and its mend."""

import copy
import datetime
import math
import re
import tomllib
from typing import get_args

import pytest
from demo_jobs import GOOD
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from trackkit.job import load_job
from trackkit.jobchecks import job_faults
from trackkit.jobfile import examine_job_file, job_path, read_job_file
from trackkit.jobschema import JobFile
from trackkit.layout.reference import LensHeight, RailHeight
from trackkit.problems import InputProblems
from trackkit.units import DISPLAYS


def write(folder, text):
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return path


def faults(folder, text):
    with pytest.raises(InputProblems) as caught:
        read_job_file(write(folder, text))
    return caught.value.problems


def test_a_good_file_is_read_with_its_units(tmp_path):
    file = read_job_file(write(tmp_path, GOOD))
    assert file.shot.end_mark == 6.0
    assert file.section[0].ties == (0.1, 1.5, 2.9)


def test_a_job_may_ask_for_every_display_there_is():
    assert set(get_args(JobFile.model_fields["units"].annotation)) == set(DISPLAYS)


def test_feet_and_inches_stand_in_a_job_file(tmp_path):
    text = GOOD.replace('"6 m"', '''"20' 3 1/2\\""''').replace('"3 m"\nties', '"10 ft"\nties')
    file = read_job_file(write(tmp_path, text))
    assert file.shot.end_mark == pytest.approx(20 * 0.3048 + 3.5 * 0.0254)
    assert file.section[0].length == pytest.approx(3.048)


def test_broken_toml_is_told_with_line_and_column(tmp_path):
    (fault,) = faults(tmp_path, 'name = "Test"\nunits = cm\n')
    assert fault.row == 2
    assert fault.column.startswith("column ")
    assert "broken TOML" in fault.found


@pytest.mark.parametrize(
    ("old", "new", "column", "do"),
    [
        ("end_mark", "endmark", "shot.endmark", "did you mean 'end_mark'?"),
        ("[shot]", "[shots]", "shots", "did you mean 'shot'?"),
        ("rail_top", "rail_topp", "section.1.rail_topp", "did you mean 'rail_top'?"),
        ("units", "unit", "unit", "did you mean 'units'?"),
    ],
)
def test_an_unknown_key_is_told_with_the_nearest_known_one(tmp_path, old, new, column, do):
    found = {fault.column: fault for fault in faults(tmp_path, GOOD.replace(old, new))}
    assert found[column].do == do
    assert found[column].found == "an unknown key"
    assert found[column].row is not None


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"6 m"', "6", "has no unit"),
        ('"6 m"', '"six m"', "not a number"),
        ('"6 m"', '"6 yd"', "no unit of length"),
        ('"8 cm"', '"-8 cm"', "not above 0"),
        ('"cm"', '"furlong"', "'furlong'"),
        ("count = 4", 'count = "four"', "'four'"),
    ],
)
def test_a_value_that_a_key_does_not_take_is_told(tmp_path, old, new, message):
    (fault,) = faults(tmp_path, GOOD.replace(old, new))
    assert message in fault.found


def test_all_faults_come_at_once(tmp_path):
    text = GOOD.replace('"6 m"', "6").replace('"cm"', '"furlong"').replace("rail_top", "railtop")
    columns = {fault.column for fault in faults(tmp_path, text)}
    assert columns == {"shot.end_mark", "units", "section.1.railtop"}


def test_a_folder_without_a_job_file_is_told_what_to_do(tmp_path):
    with pytest.raises(InputProblems, match=r"no such file.*trackkit start DIR"):
        job_path(tmp_path)
    with pytest.raises(InputProblems, match="no such folder"):
        job_path(tmp_path / "nowhere" / "job.toml")


def test_a_file_that_is_not_utf8_is_told(tmp_path):
    path = tmp_path / "job.toml"
    path.write_bytes('name = "Café"\n'.encode("cp1252"))
    with pytest.raises(InputProblems, match="not UTF-8"):
        read_job_file(path)


def loaded(folder, extra="", survey=True):
    write(folder, GOOD + extra)
    (folder / "levels.csv").write_text(
        "point,station_m,side,rod_mm\nP,,,1300\n,0,left,1200\n,1,left,1210\n,0,right,1200\n,1,right,1\n"
    )
    return load_job(folder, survey=survey)


@pytest.mark.parametrize(
    ("extra", "reference"),
    [
        ('[line.reference]\ntie = 4\nside = "left"\n', (4, "left")),
        ('[line.reference]\nrail = "1.2 m"\nat = "2 m"\nabove = "P"\n', RailHeight(1.2, 2.0, "P")),
        ('[line.reference]\nlens = "1.5 m"\nabove_rail = "1.1 m"\nat = "3 m"\n', LensHeight(1.5, 1.1, 3.0)),
    ],
    ids=["tie end", "rail height", "lens height"],
)
def test_the_reference_is_one_of_three_things(tmp_path, extra, reference):
    assert loaded(tmp_path, extra).reference == reference


@pytest.mark.parametrize(
    ("extra", "column"),
    [
        ('[line.reference]\ntie = 4\nrail = "1 m"\n', "line.reference"),
        ("[line.reference]\ntie = 4\n", "line.reference.side"),
        ('[line]\nkind = "grade"\n', "line.grade"),
        ('[ground]\nkind = "moon"\n', "ground.kind"),
        ('[track]\norder = ["9 m"]\n', "track.order"),
    ],
)
def test_keys_that_do_not_fit_together_are_told(tmp_path, extra, column):
    with pytest.raises(InputProblems) as caught:
        loaded(tmp_path, extra)
    assert [fault.column for fault in caught.value.problems] == [column]


def test_a_job_without_marks_must_say_how_its_track_lies(tmp_path):
    text = GOOD.replace('[shot]\nend_mark = "6 m"\n', "")
    write(tmp_path, text)
    (tmp_path / "levels.csv").write_text("section,end,side,rod_mm\n1,head,left,1200\n")
    with pytest.raises(InputProblems, match=r"neither \[shot\] nor track.lies"):
        load_job(tmp_path)


def test_readings_are_left_out_only_by_name_and_with_a_note(tmp_path):
    folder = tmp_path
    write(folder, 'leave_out = ["levels.csv row 5"]\n' + GOOD)
    (folder / "levels.csv").write_text(
        "station_m,side,rod_mm\n0,left,1200\n1,left,1210\n0,right,1200\n1,right,1\n"
    )
    job = load_job(folder)
    assert len(job.survey.levels) == 3
    assert job.survey.notes[-1] == "left out, because the job file says so: levels.csv row 5"
    write(folder, 'leave_out = ["levels.csv row 9"]\n' + GOOD)
    with pytest.raises(InputProblems, match="no such reading"):
        load_job(folder)


def test_faults_in_the_job_file_and_in_a_table_come_together(tmp_path):
    write(tmp_path, GOOD.replace('"6 m"', "6"))
    (tmp_path / "levels.csv").write_text("station_m,side,rod_mm\n0,left,abc\n")
    with pytest.raises(InputProblems) as caught:
        load_job(tmp_path)
    assert {fault.file for fault in caught.value.problems} == {"job.toml", "levels.csv"}


def wrong_values():
    """Every key of the job file with a value of every kind that TOML has."""
    when = datetime.date(2026, 1, 1)
    values = (
        3,
        -1,
        0,
        0.5,
        math.nan,
        True,
        "",
        "x",
        "-5 mm",
        "-3 deg",
        "200 deg",
        [],
        [1],
        {},
        {"x": 1},
        when,
    )
    for key, field in JobFile.model_fields.items():
        for value in values:
            yield {key: value}
        for table in _tables(field.annotation):
            for inner, inner_field in table.model_fields.items():
                for value in values:
                    one = {inner: value}
                    yield {key: [one] if key == "section" else one}
                for deep in _tables(inner_field.annotation):
                    for last in deep.model_fields:
                        for value in values:
                            yield {key: {inner: {last: value}}}


def _tables(annotation):
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _tables(inner)


#: What the library that checks values says in its own words.
FOREIGN = re.compile(
    r"[Ii]nput|should|valid|dict\b|dictionary|tuple|integer|instance|boolean|[Nn]one\b|True|False"
)


def test_no_fault_speaks_the_checking_librarys_words(tmp_path, monkeypatch):
    sound = tomllib.loads(GOOD)
    path = write(tmp_path, "")
    seen = 0
    for wrong in wrong_values():
        if (
            "section" in wrong
            and isinstance(wrong["section"], list)
            and isinstance(wrong["section"][0:1], list)
        ):
            wrong = {
                "section": [
                    sound["section"][0] | each if isinstance(each, dict) else each
                    for each in wrong["section"]
                ]
            }
        content = sound | wrong
        monkeypatch.setattr("trackkit.jobfile.tomllib.loads", lambda text, c=content: copy.deepcopy(c))
        for fault in examine_job_file(path).faults:
            seen += 1
            said = re.sub(r"'[^']*'", "", f"{fault.found} {fault.accepted} {fault.do}")
            assert not FOREIGN.search(said), str(fault)
            assert fault.accepted
            assert fault.column
    assert seen > 1000


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        (
            "count = 4",
            "count = 4.5",
            "row 12, section.1.count: found 4.5 is not a whole number; accepted: a whole number, 0 or more.",
        ),
        ('"1.5 m", "2.9 m"', "", "row 9, section.1.ties: found \\['10 cm'\\]; accepted: a list like"),
        (
            "count = 4",
            'count = 4\n[stacks]\ntilt_limit = "-3 deg"',
            "row 14, stacks.tilt_limit: found '-3 deg' is negative; accepted: an angle like",
        ),
        (
            "count = 4",
            "count = 4\n[line]\nconfidence = 1.2",
            "line.confidence: found 1.2 is not below 1; accepted",
        ),
        (
            "[[section]]",
            "[section]",
            "section: found a table with .* write \\[\\[section\\]\\], with two brackets",
        ),
        ("[shot]", "[[shot]]", "shot: found .* write \\[shot\\] once, with single brackets"),
        (
            "count = 4",
            "count = 4\n[ground]\ndatum = 3",
            'datum: found 3; accepted: text in "quotes" or a table with',
        ),
    ],
    ids=["count", "ties", "tilt", "confidence", "one bracket", "two brackets", "datum"],
)
def test_a_fault_is_told_in_the_words_and_units_of_the_job(tmp_path, old, new, fault):
    (found,) = faults(tmp_path, GOOD.replace(old, new))
    assert re.search(fault, str(found)), str(found)


def test_a_job_without_a_section_is_told_to_add_one_with_two_brackets(tmp_path):
    (fault,) = faults(tmp_path, GOOD[: GOOD.index("[[section]]")])
    assert fault.do == "add a table [[section]] with name, length, ties, rail_top, bearing"


def test_faults_inside_a_table_with_a_misspelt_name_are_told_too(tmp_path):
    text = GOOD.replace("[[section]]", "[[sections]]").replace('"8 cm"', '"-8 cm"')
    assert [fault.column for fault in faults(tmp_path, text)] == ["sections", "section.1.rail_top"]


def test_faults_of_values_and_of_what_hangs_together_come_at_once(tmp_path):
    text = 'leave_out = ["levels.csv row 9"]\n' + GOOD.replace("[shot]", "[shto]").replace('"6 m"', "6")
    write(tmp_path, text)
    loaded_levels(tmp_path)
    with pytest.raises(InputProblems) as caught:
        load_job(tmp_path)
    assert {fault.column for fault in caught.value.problems} == {"shto", "shot.end_mark", "leave_out"}


def test_nothing_is_said_of_what_hangs_on_a_faulty_key(tmp_path):
    text = GOOD + '[line]\nkind = "lvel"\ngrade = "1 %"\n[track]\norder = ["3 m"]\n'
    write(tmp_path, text.replace('length = "3 m"', "length = 3"))
    loaded_levels(tmp_path)
    with pytest.raises(InputProblems) as caught:
        load_job(tmp_path)
    assert {fault.column for fault in caught.value.problems} == {"line.kind", "section.1.length"}


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('name = "Test"', r'name = "a\u001b[2Jb"'),
        ("[shot]", 'note = "a\\u001bb"\n[shot]'),
        ("count = 4", 'count = 4\n[sides]\nleft = "\\u001bwall"'),
        ("count = 4", 'count = 4\n[pegs.today]\n"P\\u001b" = "1 m"'),
        ("[shot]", 'leave_out = ["\\u001b"]\n[shot]'),
    ],
    ids=["name", "note", "side", "key", "list"],
)
def test_a_character_that_a_terminal_obeys_is_a_fault(tmp_path, old, new):
    found = faults(tmp_path, GOOD.replace(old, new, 1))
    assert "U+001B" in found[0].found
    assert not any("\x1b" in str(fault) for fault in found)


def test_a_note_may_have_lines_and_is_told_as_one(tmp_path):
    write(tmp_path, 'note = """one\ntwo"""\n' + GOOD)
    loaded_levels(tmp_path)
    assert load_job(tmp_path).note == "one two"


def loaded_levels(folder):
    (folder / "levels.csv").write_text("station_m,side,rod_mm\n0,left,1200\n0,right,1200\n")


WORDS = st.sampled_from(
    [
        "name",
        "shot",
        "shto",
        "section",
        "sections",
        "end_mark",
        "endmark",
        "line",
        "reference",
        "tie",
        "side",
        "ground",
        "datum",
        "station",
        "pegs",
        "today",
        "track",
        "lies",
        "length",
        "lenght",
        "ties",
        "rail_top",
    ]
)
VALUES = st.recursive(
    st.one_of(
        st.integers(-2, 2), st.floats(), st.booleans(), WORDS, st.sampled_from(["3 m", "2 %", "1 kg", "\x1b"])
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(WORDS, inner, max_size=4)),
    max_leaves=12,
)


@given(content=st.dictionaries(WORDS, VALUES, max_size=6), keep=st.booleans())
@settings(max_examples=300, deadline=None, derandomize=True)
def test_whatever_stands_in_a_job_file_it_is_read_or_every_fault_has_a_place(tmp_path_factory, content, keep):
    path = write(tmp_path_factory.mktemp("job"), "")
    whole = (tomllib.loads(GOOD) if keep else {}) | content
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("trackkit.jobfile.tomllib.loads", lambda text: copy.deepcopy(whole))
        examined = examine_job_file(path)
    assert examined.faults or examined.file is not None
    assert all(fault.column and str(fault).isprintable() for fault in examined.faults)
    assert job_faults(examined, None, file_name="job.toml") is not None
