"""Writing a plan's files: whole or not at all, the same bytes for the same plan."""

from __future__ import annotations

import json
import math
import os
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from trackkit.plan import Plan
from trackkit.survey.instruments import BASIS
from trackkit.tables.rows import rows_of

__all__ = ["SCHEMA", "csv_bytes", "plan_dict", "save_plan", "supports_frame", "write_whole"]

#: Version of plan.json; it grows when a key changes its meaning or goes.
SCHEMA: Final = 1
#: Columns of the fills that say what a stack stands on; the files have what came of it.
_FOOTING: Final = (
    "cross_slope", "along_slope", "support_here", "ground_type", "free_head_m", "free_tail_m",
)  # fmt: skip
#: A spreadsheet takes a cell that starts with one of these for a formula.
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def write_whole(files: Mapping[Path, bytes], *, gone: Sequence[Path] = ()) -> tuple[Path, ...]:
    """Write files as one set: all are there whole, or all old ones are as they were.

    Parameters
    ----------
    files : mapping
        What to write where.
    gone : sequence of Path
        Old files that no longer belong to the set, removed with it.

    Raises
    ------
    OSError
        If the disk is full or the folder cannot be written; old files are then as they were.
    """
    for path in files:
        if path.is_dir():
            raise IsADirectoryError(21, "a folder stands where a file is to be written", str(path))
    waiting: list[tuple[str, Path]] = []
    olds: dict[Path, bytes | None] = {}
    try:
        for path, content in files.items():
            path.parent.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
            waiting.append((name, path))
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(name, 0o644)
        for name, path in waiting:
            olds[path] = path.read_bytes() if path.exists() else None
            os.replace(name, path)
        for path in gone:
            if path.exists():
                olds[path] = path.read_bytes()
                path.unlink()
    except BaseException:
        for path, old in olds.items():
            if old is None:
                path.unlink(missing_ok=True)
            else:
                path.write_bytes(old)
        raise
    finally:
        for name, _ in waiting:
            Path(name).unlink(missing_ok=True)
    return tuple(files)


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """Return a frame as CSV in UTF-8, metres to 0.1 mm, text made harmless for spreadsheets.

    A text that a spreadsheet would take for a formula gets an apostrophe in front.

    Examples
    --------
    >>> csv_bytes(pd.DataFrame({"item": ["=1+1", "half"], "fill_m": [0.05, -0.01]})).decode().splitlines()
    ['item,fill_m', "'=1+1,0.0500", 'half,-0.0100']
    """
    safe = frame.copy()
    for name in safe.columns:
        if not pd.api.types.is_numeric_dtype(safe[name]) and not pd.api.types.is_bool_dtype(safe[name]):
            safe[name] = pd.Series([_harmless(value) for value in safe[name]], index=safe.index)
    return safe.to_csv(index=False, float_format="%.4f", lineterminator="\n").encode("utf-8")


def _harmless(value: object) -> object:
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def supports_frame(plan: Plan) -> pd.DataFrame:
    """Return one row a tie end: fills, what stands there, targets.

    Returns
    -------
    DataFrame
        tie, section, support, role, station_m, side, side_name, ground_m, line_m, fill_m, fill_sd_m,
        p_touch, governs (chance), stack (words), slid_m (the farthest that a piece is slid along the run to
        stand clear, towards the tail positive), seat_raise_m, pile_m, closing, closing_m, low_m, high_m,
        in_m, goes_in, from_side, stick_out_m, stick_side, seat, change_chance, target_rod_m,
        rail_above_control_m.
    """
    table = plan.fills.drop(columns=list(_FOOTING))
    table.insert(6, "side_name", [plan.job.side(side) for side in table["side"]])
    table["governs"] = plan.governing.table["chance"].to_numpy()
    if plan.stacks is not None:
        by_tie = {
            (tie, s.side): (s, end)
            for s in plan.stacks.stacks
            for tie, end in zip(s.ties, s.closings, strict=True)
        }
        rows: list[dict[str, Any]] = []
        for key in zip(table["tie"], table["side"], strict=True):
            found = by_tie.get(key)
            if found is None:
                rows.append({})
                continue
            stack, end = found
            rows.append(
                {
                    "stack": stack.words(plan.job.display.name), "slid_m": stack.slid,
                    "seat_raise_m": end.seat_raise, "pile_m": stack.height, "closing": end.kind,
                    "closing_m": end.height, "low_m": end.low, "high_m": end.high, "in_m": end.how_far_in,
                    "goes_in": end.goes_in, "from_side": end.from_side, "stick_out_m": end.stick_out,
                    "stick_side": end.stick_side, "seat": stack.seat, "change_chance": stack.change_chance,
                }
            )  # fmt: skip
        names = ["stack", "slid_m", "seat_raise_m", "pile_m", "closing", "closing_m", "low_m", "high_m"]
        names += ["in_m", "goes_in", "from_side", "stick_out_m", "stick_side", "seat", "change_chance"]
        table = pd.concat([table, pd.DataFrame(rows, columns=names, index=table.index)], axis=1)
    if plan.targets is not None:
        targets = plan.targets.table.set_index(["tie", "side"])[["rod_m", "above_control_m"]]
        targets.columns = ["target_rod_m", "rail_above_control_m"]
        targets = targets * math.nan if plan.withholds_target else targets
        table = table.join(targets, on=["tie", "side"])
    return table


def plan_dict(plan: Plan) -> dict[str, Any]:
    """Return the plan as plain values: lengths in metres, angles in radians, chances 0 to 1."""
    run, line, ground = plan.run, plan.line, plan.ground
    stacks = plan.stacks
    content: dict[str, Any] = {
        "schema": SCHEMA,
        "kind": "trackkit plan",
        "name": plan.job.name,
        "side_names": dict(plan.job.side_names),
        "track": {
            "needed_m": run.needed, "length_m": run.length, "surplus_m": run.surplus, "head_m": run.head,
            "tail_m": run.tail, "sections": _records(run.sections), "joints": _records(run.joints),
        },
        "line": {
            "kind": line.kind, "reference": line.reference, "rests_on": list(line.rests_on),
            "gap_m": line.gap,
            "raised_for_confidence_m": line.raised, "grade": line.steepest,
            "knots_station_m": line.knots_station, "knots_height_m": line.knots_height,
        },
        "ground": {
            "datum": ground.datum, "q_mean": ground.roughness.q_mean, "q_twist": ground.roughness.q_twist,
            "relief_m": ground.roughness.relief, "estimated": list(ground.roughness.estimated),
            "covariance_factor": ground.inflation, "degrees_of_freedom": ground.dof,
            "instruments": vars(ground.instruments), "instruments_basis": dict(BASIS),
            "instrument_estimated": ground.estimated,
            "lasers": _records(ground.lasers), "pegs": _records(ground.pegs),
            "zero_errors": _records(ground.zero_errors), "residuals": _records(ground.residuals),
        },
        "largest_fill": {
            "fill_m": plan.summary.largest, "tie": plan.summary.largest_tie,
            "side": plan.summary.largest_side,
        },
        "in_the_ground": plan.summary.negative,
        "supports": _records(supports_frame(plan)),
        "advisories": [vars(advisory) for advisory in plan.advisories],
    }  # fmt: skip
    if stacks is not None:
        content["truck"] = {
            "shortages": [vars(s) for s in stacks.shortages],
            "unfillable": [vars(u) for u in stacks.unfillable],
            "pull_list": _records(stacks.pull_list()), "cost": stacks.cost, "bound": stacks.bound,
            "proven": stacks.proven,
        }  # fmt: skip
    if plan.targets is not None:
        content["targets"] = {
            "withheld": plan.withholds_target,
            "one_rod_m": None if plan.withholds_target else plan.targets.one_rod,
            "one_above_control_m": None if plan.withholds_target else plan.targets.one_offset,
            "text": plan.targets.text, "check": vars(plan.targets.check),
        }  # fmt: skip
    return content


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [dict(zip(frame.columns, row, strict=True)) for row in rows_of(frame)]


def _plain(value: Any) -> Any:
    """Return a value that JSON knows; numbers to 9 digits, what is not a number as null."""
    if isinstance(value, Mapping):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [_plain(each) for each in value]
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(f"{value:.9g}") if math.isfinite(value) else None
    return value if value is None or isinstance(value, str) else None if value is pd.NA else str(value)


def save_plan(plan: Plan, folder: Path) -> tuple[Path, ...]:
    """Write a plan's files into a folder; see `Plan.save`."""
    from trackkit.pictured import plan_picture
    from trackkit.show.saving import picture_bytes

    figure = plan_picture(plan)
    text = json.dumps(_plain(plan_dict(plan)), indent=1, ensure_ascii=False) + "\n"
    files = {
        folder / "plan.json": text.encode("utf-8"),
        folder / "supports.csv": csv_bytes(supports_frame(plan)),
        folder / "profile.svg": picture_bytes(figure, "svg"),
        folder / "profile.png": picture_bytes(figure, "png"),
    }
    pulls = folder / "pull_list.csv"
    if plan.stacks is not None:
        return write_whole(files | {pulls: csv_bytes(plan.stacks.pull_list())})
    ours = (folder / "plan.json").exists()  # an older plan's pull list would be taken for this one's
    return write_whole(files, gone=(pulls,) if ours else ())
