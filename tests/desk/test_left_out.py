"""The list of what a job file leaves out, written anew in whatever legal dress it stands."""

from __future__ import annotations

import tomllib

import pytest

from trackkit.desk.left_out import with_left_out, with_only_left_out

OLD = ["levels.csv row 5", "levels.csv row 9"]
HEAD = 'name = "Porch # [1]"\n'
TAIL = '\n[shot]\nend_mark = "8 m"\nleave_out = ["levels.csv row 5"]\n'
DRESSES = {
    "plain": 'leave_out = ["levels.csv row 5", "levels.csv row 9"]',
    "indented": '   leave_out=[ "levels.csv row 5","levels.csv row 9" ]',
    "single quotes": "leave_out = ['levels.csv row 5', 'levels.csv row 9']",
    "bracket in a comment": 'leave_out = [ # as in [1]\n"levels.csv row 5", # "]\n"levels.csv row 9",\n]',
    "comment before a comma": 'leave_out = [\n"levels.csv row 5" # misread\n, "levels.csv row 9"]',
    "quoted key": '"leave_out" = ["levels.csv row 5", "levels.csv row 9"]',
    "key in single quotes": "'leave_out' = [\"levels.csv row 5\", 'levels.csv row 9']",
    "long text": "leave_out = [\"\"\"levels.csv row 5\"\"\", '''levels.csv row 9''']",
    "escapes": r'leave_out = ["levels.csv\u0020row 5", "levels.csv row 9"]',
    "windows lines": 'leave_out = [\r\n  "levels.csv row 5",\r\n  "levels.csv row 9",\r\n]\r',
    "after a note that looks like it": (
        'note = """\nleave_out = ["levels.csv row 5"]\n""""\n'
        'leave_out = ["levels.csv row 5", "levels.csv row 9"]'
    ),
    "after a list and a table in a line": (
        'more = [[1, 2],\n[3]]\none = { leave_out = ["x"] }\n'
        'leave_out = ["levels.csv row 5", "levels.csv row 9"]'
    ),
}


@pytest.mark.parametrize("dress", DRESSES.values(), ids=DRESSES)
@pytest.mark.parametrize(
    "wanted",
    [["levels.csv row 4", "levels.csv row 8"], [None, "levels.csv row 8"], [OLD[0], None], [None, None]],
    ids=["both moved", "one gone", "the last gone", "none left"],
)
def test_the_list_is_written_anew_and_nothing_else(dress, wanted):
    text = HEAD + dress + TAIL
    new = with_left_out(text, wanted)
    kept = [name for name in wanted if name is not None]
    assert tomllib.loads(new) == tomllib.loads(text) | {"leave_out": kept}
    assert new.startswith(HEAD) and new.endswith(TAIL)
    assert [line.partition("#")[2] for line in new.splitlines()] == [
        line.partition("#")[2] for line in text.splitlines()
    ]


def test_a_list_that_stays_as_it_is_keeps_every_letter():
    text = HEAD + DRESSES["long text"] + TAIL
    assert with_left_out(text, OLD) == text


@pytest.mark.parametrize(
    "text",
    ['"leave\\u005fout" = ["levels.csv row 5", "levels.csv row 9"]\n', 'leave_out = ["levels.csv row 5"]\n'],
    ids=["a key with an escape", "another number of entries"],
)
def test_a_list_that_cannot_be_written_surely_is_refused(text):
    with pytest.raises(ValueError, match="the list leave_out could not be found as it is written"):
        with_left_out(text, ["levels.csv row 4", "levels.csv row 8"])


@pytest.mark.parametrize("dress", DRESSES)
@pytest.mark.parametrize(
    "names",
    [OLD, OLD[:1], [], [*OLD, "levels.csv row 12"], ["boards.csv row 2", OLD[1]], ['a "b" row 3']],
    ids=["same", "one less", "none", "one more", "one exchanged", "others, with quotes"],
)
def test_only_the_readings_asked_for_are_left_out_afterwards(dress, names):
    text = HEAD + DRESSES[dress] + TAIL
    try:
        before = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        pytest.skip("not every dress stands with these lines about it")
    new = with_only_left_out(text, names)
    assert sorted(tomllib.loads(new)["leave_out"]) == sorted(names)
    assert {**tomllib.loads(new), "leave_out": 0} == {**before, "leave_out": 0}
    assert new.endswith(TAIL)


def test_a_job_file_without_the_list_gets_one_above_its_tables():
    new = with_only_left_out(HEAD + "[shot]\nend_mark = '8 m'\n", OLD)
    assert tomllib.loads(new)["leave_out"] == OLD and new.endswith(HEAD + "[shot]\nend_mark = '8 m'\n")
    assert with_only_left_out(HEAD, []) == HEAD
