"""A job that cannot be opened: every panel says why, as text, and the next job mends it."""

import pytest
from demo_jobs import changed

from trackkit.desk import GroundPanel, LinePanel, StacksPanel

BROKEN = {
    "a slip in the job file": ("job.toml", 'name = "Boathouse', 'nam = "Boathouse', "nam"),
    "a rod that cannot be read": ("levels.csv", "1434", "abc", "levels.csv, row 4, rod_mm"),
    "not enough track": ("job.toml", 'end_mark = "8 m"', 'end_mark = "80 m"', "not enough track"),
}


@pytest.fixture(params=BROKEN, ids=str)
def broken(request, tmp_path):
    file, old, new, told = BROKEN[request.param]
    folder = changed(tmp_path, "boathouse_lawn")
    path = folder / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    return folder, told, lambda: path.write_text(text, encoding="utf-8")


@pytest.mark.parametrize("panel", [GroundPanel, LinePanel, StacksPanel], ids=lambda panel: panel.__name__)
def test_a_panel_opens_with_words_instead_of_a_traceback(broken, panel):
    folder, told, mend = broken
    made = panel(folder)
    if not made.trouble:  # readings can be checked where the job cannot be laid
        assert panel is GroundPanel and told == "not enough track"
        assert told in made._sheet.value
        return
    assert told in made.trouble
    bundle = made._repr_mimebundle_()
    assert told in bundle["text/plain"]
    assert 'role="alert"' in bundle["text/html"]
    mend()
    made.set(job=made.values["job"])
    assert made.trouble == ""
    assert "<img " in made._repr_mimebundle_()["text/html"]
