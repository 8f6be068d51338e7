"""Jobs on ground that is known exactly, read beside the middle of the run, for tests of moving the track."""

import numpy as np

WIDTH = 0.62
SHOT = """
name = "Known ground"
units = "mm"
[shot]
end_mark = "6 m"
[sides]
left = "wall"
right = "pond"
[[section]]
name = "3 m"
length = "3 m"
ties = ["10 cm", "80 cm", "150 cm", "220 cm", "290 cm"]
rail_top = "85 mm"
bearing = "80 mm"
count = 2
[[section]]
name = "2 m"
length = "2 m"
ties = ["10 cm", "70 cm", "130 cm", "190 cm"]
rail_top = "85 mm"
bearing = "80 mm"
count = 1
[ground]
kind = "lawn"
wander = "5 mm"
twist = "3 mm"
relief = "0 mm"
"""


def plane(station, right):
    """Up towards the end mark, higher on the right, twisted."""
    return 0.02 * station + 0.03 * right + 0.002 * station * right


def edge(right):
    """Where a break on a diagonal crosses, `right` of the middle."""
    return 4.03 + 0.5 * right


def terrace(station, right):
    """Two planes; the upper one falls to the right."""
    upper = 0.10 + 0.01 * station - 0.02 * right
    return np.where(station < edge(right), plane(station, right), upper)


def write_job(
    folder, surface, *, offset=0.0, broken=False, obstacle=False, stations=None, line='kind = "level"'
):
    """Write a job whose run lies `offset` to the right of the middle, read where it lies."""
    folder.mkdir()
    (folder / "job.toml").write_text(f"{SHOT}[line]\n{line}\n", encoding="utf-8")
    stations = np.arange(-2.0, 8.51, 0.5) if stations is None else stations
    rows = ["laser,station_m,side,rod_mm"]
    for side, right in (("left", offset - WIDTH / 2), ("right", offset + WIDTH / 2)):
        rows += [f"1,{s:.4f},{side},{1000 * (1.5 - float(surface(s, right))):.5f}" for s in stations]
    (folder / "levels.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    if broken:
        left, right = edge(offset - WIDTH / 2), edge(offset + WIDTH / 2)
        text = f"left_station_m,right_station_m\n{left:.6f},{right:.6f}\n"
        (folder / "breaks.csv").write_text(text, encoding="utf-8")
        zones = f"from_m,to_m,side,ground\n{left:.6f},9,left,paving\n{right:.6f},9,right,paving\n"
        (folder / "zones.csv").write_text(zones, encoding="utf-8")
    if obstacle:  # a head that stands 0.3 m left of the middle, 60 mm over the laser's lowest reading
        text = f"station_m,offset_m,laser,rod_mm\n2.0,{-0.3 - offset:.4f},1,1300\n"
        (folder / "obstacles.csv").write_text(text, encoding="utf-8")
    return folder
