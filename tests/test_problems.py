"""Faults carry their place and their mend, and are raised all together."""

from __future__ import annotations

import pytest

from trackkit.problems import (
    Advisory,
    CannotDo,
    FitError,
    InputProblems,
    Problem,
    Problems,
    closest,
    nearest,
    visible,
)


def test_a_fault_says_where_what_and_how_to_mend_it():
    fault = Problem("levels.csv", "'lft'", "left | right", "did you mean 'left'?", row=7, column="side")
    assert (
        str(fault) == "levels.csv, row 7, side: found 'lft'; accepted: left | right. → did you mean 'left'?"
    )
    assert str(Problem("job.toml", "nothing", "a table")) == "job.toml: found nothing; accepted: a table."


def test_all_faults_are_raised_together():
    problems = Problems()
    problems.add(Problem("a.csv", "x", "y"))
    problems.add(Problem("b.csv", "x", "y"))
    with pytest.raises(InputProblems, match=r"(?s)a\.csv: found x.*b\.csv: found x") as caught:
        problems.raise_if_any()
    assert [fault.file for fault in caught.value.problems] == ["a.csv", "b.csv"]


def test_no_faults_raise_nothing():
    assert Problems().raise_if_any() is None


def test_the_same_fault_is_kept_once():
    problems = Problems()
    for _ in range(2):
        problems.add(Problem("a.csv", "x", "y"))
        problems.note("read so")
    assert (len(problems.found), problems.notes) == (1, ["read so"])


def test_every_error_of_the_library_is_a_value_error():
    assert all(issubclass(error, ValueError) for error in (InputProblems, FitError, CannotDo))


@pytest.mark.parametrize(
    ("word", "known", "found"),
    [
        ("lft", ["left", "right"], "left"),
        ("Rod_nm", ["rod_mm", "side"], "rod_mm"),
        ("weather", ["rod_mm"], ""),
    ],
)
def test_the_nearest_known_word_is_offered_or_none(word, known, found):
    assert closest(word, known) == found
    assert nearest(word, known) == (f"did you mean {found!r}?" if found else "")


def test_an_advisory_shows_its_level_and_its_basis():
    text = str(Advisory("caution", "tie 4 left", "the stack is 0.5 m high", "common practice, no source"))
    assert text == "CAUTION: tie 4 left: the stack is 0.5 m high (common practice, no source)"


def test_no_fault_or_note_sends_commands_to_a_terminal():
    fault = Problem("a\x1b[31m.csv", "\x07", "x\u202ey", "do\x9b2J", row=1, column="c\r")
    assert str(fault).isprintable()
    problems = Problems()
    problems.note("stray\x1b]0;title\x07.csv: not read")
    assert problems.notes == ["stray\\x1b]0;title\\x07.csv: not read"]


def test_letters_of_any_script_are_shown_as_they_are():
    text = "Rasenfläche 草地 שביל 5′ 3½″ \u00a0 🎬"
    assert visible(text) == text
