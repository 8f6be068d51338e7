"""Demo jobs as tests change them."""

import shutil
from pathlib import Path

DEMO = Path(__file__).parents[1] / "data_demo"


def changed(tmp_path, name, **replacements):
    """Return a copy of a demo job with pieces of its job file replaced."""
    folder = tmp_path / name
    shutil.copytree(DEMO / name, folder, ignore=shutil.ignore_patterns("plan"))
    text = (folder / "job.toml").read_text(encoding="utf-8")
    for old, new in replacements.items():
        assert old in text
        text = text.replace(old, new)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder
