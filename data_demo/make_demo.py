"""Make the three demo jobs from stated true grounds: ``python data_demo/make_demo.py``.

Everything here is invented. The readings are the true ground plus seeded noise of the instruments,
rounded as a crew would write them down; the same seed gives the same files.
"""

from __future__ import annotations

import argparse
import csv
import math
from fractions import Fraction
from pathlib import Path

import numpy as np

SEED = 20261125
WIDTH = 0.62
INCH = 0.0254


def bump(station: float, at: float, half: float) -> float:
    """Return a smooth hump of height 1."""
    return math.exp(-(((station - at) / half) ** 2))


def boathouse_lawn(station: float, side: str) -> float:
    """True height of the lawn [m]: it climbs towards the end mark and falls to the lake on the right.

    The eye takes the far end for the highest; a hump two thirds along, on the left, is higher.
    """
    offset = -WIDTH / 2 if side == "left" else WIDTH / 2
    slope = 0.012 * station - 0.025 * offset
    hump = 0.085 * bump(station, 6.1, 1.5) * (1.0 if side == "left" else 0.75)
    hollow = -0.05 * bump(station, 1.5, 1.8)
    return slope + hump + hollow


def terrace_edge(station: float, side: str) -> float:
    """True height of the lawn and terrace [m]; the stone edge crosses the run on a diagonal."""
    offset = -WIDTH / 2 if side == "left" else WIDTH / 2
    if station >= terrace_at(side):
        return 0.150 + 0.006 * (station - 5.5)
    return 0.015 * station - 0.02 * offset - 0.03 * bump(station, 2.6, 1.5)


def terrace_at(side: str) -> float:
    """Station at which the stone edge meets a side [m]: 18 ft 8 in on the left, 19 ft 6 in on the right."""
    return (18 * 12 + 8) * INCH if side == "left" else (19 * 12 + 6) * INCH


def market_yard(station: float, side: str) -> float:
    """True height under the roughed-in track [m]: a yard that falls to a drain on the right."""
    offset = -WIDTH / 2 if side == "left" else WIDTH / 2
    return -0.010 * station - 0.025 * offset + 0.03 * bump(station, 4.6, 1.6) - 0.02 * bump(station, 8.0, 1.2)


def relief(rng: np.random.Generator, sd: float) -> dict[tuple[float, str], float]:
    """Return a store of stones and tussocks that gives every point its own."""

    class Store(dict[tuple[float, str], float]):
        def __missing__(self, key: tuple[float, str]) -> float:
            self[key] = float(rng.normal(0, sd))
            return self[key]

    return Store()


def feet_inches(metres: float, denominator: int = 8) -> str:
    """Return metres as a crew writes them: 5' 3 1/2"."""
    steps = round(metres / INCH * denominator)
    whole, part = divmod(abs(steps), denominator)
    feet, inches = divmod(whole, 12)
    fraction = f" {Fraction(part, denominator)}" if part else ""
    return f"{'-' if steps < 0 else ''}{feet}' {inches}{fraction}\""


def inches(metres: float, denominator: int = 8) -> str:
    """Return metres as inches and a fraction."""
    whole, part = divmod(round(metres / INCH * denominator), denominator)
    return f"{whole} {Fraction(part, denominator)}" if part else str(whole)


def write(path: Path, head: list[str], rows: list[list[object]]) -> None:
    """Write one table."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(head)
        writer.writerows(rows)


def make_lawn(folder: Path, rng: np.random.Generator) -> None:
    """Two laser positions, two pegs, boards and left-to-rights; one rod misread by 10 cm."""
    rough = relief(rng, 0.002)

    def surface(station: float, side: str) -> float:
        return boathouse_lawn(station, side) + rough[(station, side)]

    planes = {"by the boathouse": 1.412, "by the willow": 1.538}
    pegs = {"P1": 0.061, "P2": 0.204}
    rows: list[list[object]] = []

    def rod(laser: str, point: str, station: object, side: str, height: float, note: str = "") -> None:
        reading = planes[laser] - height + float(rng.normal(0, 0.0015))
        rows.append([laser, point, station, side, round(1000 * reading), note])

    for laser, stations in (
        ("by the boathouse", np.arange(-2.5, 4.6, 1.0)),
        ("by the willow", np.arange(3.5, 9.6, 1.0)),
    ):
        for peg in pegs:
            rod(laser, peg, "", "", pegs[peg])
        for station in stations:
            for side in ("left", "right"):
                at = float(station)
                rod(laser, "", f"{at:g}", side, surface(at, side))
        rod(laser, "P1", "", "", pegs["P1"], "closing back")
    misread = next(i for i, row in enumerate(rows) if row[2] == "7.5" and row[3] == "right")
    rows[misread][4] = int(rows[misread][4]) + 100  # the misread decimetre
    write(folder / "levels.csv", ["laser", "point", "station_m", "side", "rod_mm", "note"], rows)

    zero, sd = 0.4, 0.15
    boards: list[list[object]] = []
    for near in (-2.5, -0.5, 1.5, 3.5, 5.5, 7.5):
        far = near + 1.0
        slope = math.degrees(math.atan(surface(far, "left") - surface(near, "left")))
        for facing, sign in (("ahead", 1.0), ("back", -1.0)):
            boards.append(
                [f"{near:g}", f"{far:g}", "left", f"{slope + sign * zero + rng.normal(0, sd):.1f}", facing]
            )
    write(folder / "boards.csv", ["station_m", "to_station_m", "side", "angle_deg", "facing"], boards)
    cross: list[list[object]] = []
    for station in (-1.5, 0.5, 2.5, 4.5, 5.5, 6.5, 7.5, 8.5):
        tilt = math.degrees(math.atan((surface(station, "right") - surface(station, "left")) / WIDTH))
        facing, sign = ("ahead", 1.0) if rng.random() < 0.5 else ("back", -1.0)
        cross.append([f"{station:g}", f"{tilt + sign * zero + rng.normal(0, sd):.1f}", facing])
    write(folder / "crosslevels.csv", ["station_m", "angle_deg", "facing"], cross)
    write(folder / "zones.csv", ["from_m", "to_m", "ground"], [[-3, 12, "lawn"]])


def make_terrace(folder: Path, rng: np.random.Generator) -> None:
    """One laser position in feet and inches; the run meets a stone edge at an angle."""
    rough = relief(rng, 0.0015)
    plane, pegs = 1.46, {"gate post": 0.31, "step": 0.42}
    rows: list[list[object]] = []

    def rod(point: str, station: object, side: str, height: float) -> None:
        rows.append([point, station, side, feet_inches(plane - height + float(rng.normal(0, 0.0015)))])

    for peg, height in pegs.items():
        rod(peg, "", "", height)
    for feet in (-6, -3, 0, 3, 6, 9, 12, 15, 17.5, 18.5, 19, 20, 22, 24, 26):
        for side in ("left", "right"):
            at = feet * 12 * INCH
            if abs(at - terrace_at(side)) > 0.04:
                rod("", f"{feet:g}", side, terrace_edge(at, side) + rough[(at, side)])
    for peg, height in pegs.items():
        rod(peg, "", "", height)
    write(folder / "levels.csv", ["point", "station_ft", "side", "rod_ft"], rows)
    edge = [[feet_inches(terrace_at("left")), feet_inches(terrace_at("right")), "stone edge"]]
    write(folder / "breaks.csv", ["left_station_ft", "right_station_ft", "note"], edge)
    zones = [
        ["-8", feet_inches(terrace_at("left")), "left", "lawn"],
        ["-8", feet_inches(terrace_at("right")), "right", "lawn"],
    ]
    zones += [[feet_inches(terrace_at(side)), "30", side, "paving"] for side in ("left", "right")]
    write(folder / "zones.csv", ["from_ft", "to_ft", "side", "ground"], zones)
    sprinkler = terrace_edge(2.0, "left") + 0.03
    rows = [["6' 7\"", "-8", feet_inches(plane - sprinkler), "sprinkler head"]]
    write(folder / "obstacles.csv", ["station_ft", "offset_in", "rod_ft", "note"], rows)


def make_rough_in(folder: Path, rng: np.random.Generator) -> None:
    """Twelve rod readings on the rails of roughed-in track, by section corner; nothing else."""
    plane, rail_top = 1.30, 3.0 * INCH
    head, rows = 0.0, []
    for section, length in enumerate((10.0, 8.0, 10.0), start=1):
        for end, offset in (("head", 4 * INCH), ("tail", length * 12 * INCH - 4 * INCH)):
            for side in ("left", "right"):
                top = market_yard(head + offset, side) + rail_top + float(rng.normal(0, 0.0015))
                rows.append([section, end, side, inches(plane - top)])
        head += length * 12 * INCH
    write(folder / "levels.csv", ["section", "end", "side", "rod_in"], rows)


def main() -> None:
    """Write the tables of all three jobs beside their job files."""
    parser = argparse.ArgumentParser(description="Make the tables of the demo jobs.")
    parser.add_argument("folder", nargs="?", type=Path, default=Path(__file__).parent)
    folder = parser.parse_args().folder
    makers = {"boathouse_lawn": make_lawn, "terrace_edge": make_terrace, "market_yard": make_rough_in}
    for number, (name, make) in enumerate(makers.items()):
        make(folder / name, np.random.default_rng([SEED, number]))


if __name__ == "__main__":
    main()
