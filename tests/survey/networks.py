"""Levelling networks with published answers, for several tests."""

from trackkit.survey.ground import fit_ground
from trackkit.survey.instruments import Instruments
from trackkit.survey.readings import make_survey


def network(benchmarks, differences, sd):
    start, end, rise = zip(*differences, strict=True)
    points, heights = zip(*benchmarks.items(), strict=True)
    return fit_ground(
        make_survey(
            benchmarks={"point": points, "height_m": heights, "sd_m": 0.0},
            differences={"point": start, "to_point": end, "rise_m": rise, "sd_m": sd},
        ),
        instruments=Instruments(),
    )


#: Sample output of a general network adjustment program, vrmapper.com/gama/1doutput.html; '1a' is fixed.
N3 = [
    ("1a", "4", -1.225), ("4", "3", -0.848), ("3", "2", 1.342), ("2", "1a", 0.720),
    ("1a", "2", -0.724), ("2", "3", -1.335), ("3", "4", 0.842), ("4", "1a", 1.231),
]  # fmt: skip

#: C. D. Ghilani, *Adjustment Computations*, chapter 12, unweighted example (from memory); X and Y are fixed.
N1 = [
    ("X", "A", 5.10), ("A", "Y", 2.34), ("Y", "C", -1.25), ("C", "X", -6.13),
    ("A", "B", -0.68), ("Y", "B", -3.00), ("B", "C", 1.70),
]  # fmt: skip

#: E. M. Mikhail and F. Ackermann, *Observations and Least Squares* (1976), Table 7-1: rise m, length km.
N7 = [
    ("A", "B", 25.42, 18.1), ("B", "C", 10.34, 9.4), ("C", "A", -35.20, 14.2), ("B", "D", -15.54, 17.6),
    ("D", "E", 21.32, 13.5), ("E", "C", 4.82, 9.9), ("E", "A", -31.02, 13.8), ("C", "D", -26.11, 14.0),
]  # fmt: skip
