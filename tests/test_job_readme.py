"""What users are told of job.toml and of the tables is all there is, and the example works."""

import dataclasses
import re
from pathlib import Path
from typing import get_args

import pytest
from pydantic import BaseModel

from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.truck import TRUCK_TABLE
from trackkit.job import load_job
from trackkit.jobschema import JobFile
from trackkit.layout.clearance import Clearance
from trackkit.layout.doubt import Doubt
from trackkit.layout.line import BEND, GAP
from trackkit.layout.rolling import Rolling
from trackkit.layout.sections import Section
from trackkit.layout.shot import LayRules, Shot
from trackkit.plan import make_plan
from trackkit.survey.instruments import Instruments
from trackkit.survey.prior import GROUND_KINDS
from trackkit.survey.tables import log_spec, table_specs
from trackkit.units import parse_angle, parse_mass, parse_quantity

README = (Path(__file__).parents[1] / "data_demo" / "README.md").read_text(encoding="utf-8")


def part(heading):
    """Return the text under a heading."""
    found = re.search(rf"(?ms)^### {re.escape(heading)}\n(.*?)(?=^##|\Z)", README)
    assert found, f"no heading {heading}"
    return found[1]


def job_tables(model=JobFile, path=""):
    """Yield the heading of every table of the job file, and its model."""
    yield path, model
    for key, field in model.model_fields.items():
        below = f"{path}.{key}" if path else key
        for table in tables_in(field.annotation):
            yield from job_tables(table, below)


def tables_in(annotation):
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from tables_in(inner)


def heading_of(path):
    return {"": "At the top", "section": "[[section]]"}.get(path, f"[{path}]")


@pytest.mark.parametrize(("path", "model"), list(job_tables()))
def test_every_key_of_the_job_file_is_told(path, model):
    told = set(re.findall(r"`(\w+)`", part(heading_of(path))))
    keys = {key for key, field in model.model_fields.items() if not list(tables_in(field.annotation))}
    assert keys <= told


@pytest.mark.parametrize(
    "spec", [*table_specs().values(), log_spec(), TRUCK_TABLE], ids=lambda spec: spec.name
)
def test_every_column_of_every_table_is_told(spec):
    told = set(re.findall(r"`([\w*]+)`", part(spec.name)))
    for column in spec.columns:
        assert f"{column.name}_*" in told or set(column.written) <= told, column.name


@pytest.mark.parametrize(
    "spec", [*table_specs().values(), log_spec(), TRUCK_TABLE], ids=lambda spec: spec.name
)
def test_no_column_is_told_that_there_is_not(spec):
    rows = re.findall(r"(?m)^\| (`.*?) \|", part(spec.name))
    told = {name for row in rows for name in re.findall(r"`([\w*]+)`", row)}
    known = {name for column in spec.columns for name in (*column.written, f"{column.name}_*")}
    assert told <= known


def test_every_kind_of_ground_is_told():
    assert set(GROUND_KINDS) <= set(re.findall(r'"(\w+)"', part("[ground]")))


DEFAULTS = [
    ("[shot]", Shot, "chassis chassis_lead pusher run_up overrun end_stop start_mark"),
    ("[[section]]", Section, "gauge"),
    ("[track]", LayRules, "half_box half_width joint_box"),
    ("[line]", Doubt, "touch sideways_sd"),
    ("[line]", Clearance, "crown"),
    (
        "[instruments]",
        Instruments,
        " ".join(each for each in Instruments.__dataclass_fields__ if each[-2:] == "sd"),
    ),
    ("[rolling]", Rolling, "mass"),
    (
        "[stacks]",
        StackRules,
        "caution_height refuse_height single_up_to wedge_spare edge_clear tilt_limit max_shims",
    ),
]


def told_default(heading, key):
    """Return the default that a row of the README gives for a key, in SI units."""
    (row,) = [
        line
        for line in part(heading).splitlines()
        if line.startswith("|") and f"`{key}`" in line.split("|")[1]
    ]
    text = re.search(r'"?([^"(`]+)"?', row.split("|")[3].strip().strip("`"))[1].strip()
    if text.endswith("deg"):
        return parse_angle(text[:-3].strip(), "deg")
    if text.endswith("kg"):
        return parse_mass(text[:-2].strip(), "kg")
    return parse_quantity(text) if re.search(r"[a-z]", text) else float(text)


@pytest.mark.parametrize(
    ("heading", "owner", "key"),
    [(heading, owner, key) for heading, owner, keys in DEFAULTS for key in keys.split()],
)
def test_the_default_that_is_told_is_the_one_that_counts(heading, owner, key):
    default = {each.name: each.default for each in dataclasses.fields(owner)}[key]
    assert told_default(heading, key) == pytest.approx(default, rel=1e-3)


def test_defaults_with_another_name_are_told_right():
    assert told_default("[line]", "gap") == pytest.approx(GAP)
    assert told_default("[line]", "obstacle_room") == Clearance().over
    assert told_default("[rolling]", "hold_force_newton") == Rolling().force
    assert told_default("[stacks]", "time_limit_seconds") == StackRules().time_limit
    assert f'"{BEND:.1%}"'.replace("%", " %") in part("[line]")


def test_the_shortest_way_in_is_a_whole_job(tmp_path):
    job, levels = (re.search(rf"(?s)```{kind}\n(.*?)```", README)[1] for kind in ("toml", "csv"))
    assert len(job.splitlines()) == 12
    (tmp_path / "job.toml").write_text(job, encoding="utf-8")
    (tmp_path / "levels.csv").write_text(levels, encoding="utf-8")
    plan = make_plan(load_job(tmp_path))
    assert plan.can_be_done
    assert plan.fills["fill_m"].min() == pytest.approx(0.0, abs=1e-6)
    # the lowest corner lies 2 1/4 in below the highest: rods of 50 1/4 and 48 in
    assert plan.fills["fill_m"].iloc[-1] == pytest.approx(2.25 * 0.0254, abs=0.0015)


def test_the_rough_ins_figure_is_told_to_be_the_lift():
    assert re.search(r"lift plus whatever gap is already\s+under the tie", README)
