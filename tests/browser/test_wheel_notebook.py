"""What somebody has who installed the package and has no checkout: its notebooks run with what it brought."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from lab import running_lab
from page import open_notebook
from panel_page import Panel

ROOT = Path(__file__).parents[2]


def run(*command, **more):
    """Run a command; if it fails, the test says what it said."""
    done = subprocess.run([sys.executable, "-m", *map(str, command)], capture_output=True, text=True, **more)
    assert done.returncode == 0, (
        f"{' '.join(map(str, command))} failed:\n{done.stdout[-2000:]}{done.stderr[-2000:]}"
    )
    return done.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """Return a folder that holds the package as its wheel brings it."""
    folder = tmp_path_factory.mktemp("wheel")
    run("pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", folder, ROOT)
    (wheel,) = folder.glob("trackkit-*.whl")
    run("pip", "install", "--quiet", "--no-deps", "--no-index", "--target", folder / "installed", wheel)
    return folder / "installed"


def test_the_installed_package_starts_a_folder_whose_notebook_runs(installed, browser, tmp_path, monkeypatch):
    monkeypatch.setenv("PYTHONPATH", str(installed))
    start = tmp_path / "served" / "my track"
    start.parent.mkdir()
    said = run("trackkit", "start", start, cwd=tmp_path, env=dict(os.environ))
    assert "Copied" in said
    with (
        running_lab(start) as lab,
        open_notebook(browser, lab, "notebooks/02_lay_the_line.ipynb") as notebook,
    ):
        notebook.run_all()
        panel = Panel(notebook)
        assert Path(panel.run("import trackkit; print(trackkit.__file__)")).parent == installed / "trackkit"
        before = panel.seen("Side view")
        panel.slide("gap under the track", "ArrowRight")
        panel.wait_changed(before)
        assert panel.numbers["track needed"] == "10.80 m"
        assert notebook.problems() == []
