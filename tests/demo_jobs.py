"""Job files that tests change."""

import shutil
from pathlib import Path

DEMO = Path(__file__).parents[1] / "data_demo"

#: The shortest sound job file.
GOOD = """
name = "Test"
units = "cm"
[shot]
end_mark = "6 m"
[[section]]
name = "3 m"
length = "3 m"
ties = ["10 cm", "1.5 m", "2.9 m"]
rail_top = "8 cm"
bearing = "9 cm"
count = 4
"""


def changed(tmp_path, name, **replacements):
    """Return a copy of a demo job with pieces of its job file replaced."""
    folder = tmp_path / name
    shutil.copytree(DEMO / name, folder, ignore=shutil.ignore_patterns("plan"))
    retyped(folder / "job.toml", **replacements)
    return folder


def retyped(path, **replacements):
    """Replace pieces of a table; each must be there."""
    text = path.read_text(encoding="utf-8")
    for old, new in replacements.items():
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
