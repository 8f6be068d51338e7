"""Pictures as bytes and files: the same for the same input, whole or not at all."""

import hashlib
import os
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

from trackkit.show.plots import side_view
from trackkit.show.saving import picture_bytes, save_picture

ROOT = Path(__file__).parents[2]
FRESH = """
import hashlib, sys
sys.path.insert(0, "tests/show")
import show_cases
from trackkit.show.saving import picture_bytes
figure = show_cases.CASES["terrace edge"]().picture()
for kind in ("svg", "png"):
    print(hashlib.sha256(picture_bytes(figure, kind)).hexdigest())
print("matplotlib.pyplot" in sys.modules)
"""


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_the_same_picture_has_the_same_bytes(case, kind):
    drawn = case("in the ground")
    first = picture_bytes(drawn.picture(), kind)
    assert picture_bytes(drawn.picture(), kind) == first
    figure = drawn.picture()
    picture_bytes(figure, "png", dpi=40)
    assert picture_bytes(figure, kind) == first


def test_another_process_gives_the_same_bytes_and_needs_no_pyplot(case):
    figure = case("terrace edge").picture()
    own = [hashlib.sha256(picture_bytes(figure, kind)).hexdigest() for kind in ("svg", "png")]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONHASHSEED": "12345"}
    done = subprocess.run(
        [sys.executable, "-c", FRESH], cwd=ROOT, env=environment, check=True, capture_output=True, text=True
    )
    assert done.stdout.split() == [*own, "False"]


def test_scenes_and_pieces_need_no_matplotlib():
    code = "import sys, trackkit.show.scene, trackkit.show.plots; print('matplotlib' in sys.modules)"
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=environment, check=True, capture_output=True, text=True
    )
    assert done.stdout.strip() == "False"


def test_svg_keeps_text_as_text_and_tells_no_date(case):
    svg = picture_bytes(case("terrace edge").picture(), "svg").decode()
    assert "track needed" in svg
    assert "<dc:date>" not in svg


def test_every_id_in_an_svg_is_there_once(case):
    """XML 1.0, 3.3.1: an ID names one element."""
    svg = picture_bytes(case("short of pieces").picture(), "svg").decode()
    names = re.findall(r'\bid="([^"]+)"', svg)
    assert len(names) == len(set(names)) > 100


@pytest.mark.parametrize(
    "name",
    [
        "a\x00b\x07c",
        "two\nlines\ttab",
        "\ufffe\ud800",
        "家の側",
        "<script>&amp;\"'",
        "$x_{1$",
        "x" * 5000,
        "",
    ],
    ids=["control", "white", "no letters", "another script", "html", "mathematics", "long", "empty"],
)
def test_any_name_gives_a_picture_that_can_be_read_back(case, name):
    drawn = case("lawn")
    figure = side_view(
        *drawn.scene, side_names={"left": name, "right": name}, title=name, headline=((name, name),)
    )
    ElementTree.fromstring(picture_bytes(figure, "svg"))
    assert picture_bytes(figure, "png", dpi=40).startswith(b"\x89PNG")


@pytest.mark.parametrize("name", ["side.svg", "side.png", "SIDE.PNG"])
def test_a_picture_is_saved_as_its_ending_says(case, tmp_path, name):
    figure = case("lawn").picture()
    path = save_picture(figure, tmp_path / name)
    kind = "svg" if name.endswith("svg") else "png"
    assert path.read_bytes() == picture_bytes(figure, kind)
    assert [each.name for each in tmp_path.iterdir()] == [name]


def test_an_old_picture_stays_whole_when_the_new_one_cannot_be_put_in_place(case, tmp_path, monkeypatch):
    path = tmp_path / "side.png"
    path.write_bytes(b"old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(OSError, match="No space left"):
        save_picture(case("lawn").picture(), path)
    assert path.read_bytes() == b"old"
    assert [each.name for each in tmp_path.iterdir()] == ["side.png"]


def test_another_ending_is_refused_by_name(case, tmp_path):
    with pytest.raises(ValueError, match=r"path must end in \.svg or \.png, got 'side\.gif'"):
        save_picture(case("lawn").picture(), tmp_path / "side.gif")
    assert not list(tmp_path.iterdir())
