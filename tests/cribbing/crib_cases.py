"""Trucks and fills that several tests share. Sizes are dressed sizes (PS 20) and trade sizes from memory."""

import numpy as np
import pandas as pd

from trackkit.cribbing import Piece, Truck

INCH = 0.0254


def box(item, inches, count, length=20.0, width=12.0):
    """A box of the trade's series, 20 by 12 in (common practice, no source)."""
    return Piece(item, "box", inches * INCH, length * INCH, width * INCH, 5.0, count)


def two_by_four(count, length=12.0, item="2x4"):
    """Dressed 1 1/2 by 3 1/2 in: PS 20, as in NDS Supplement Table 1A."""
    return Piece(item, "lumber", 1.5 * INCH, length * INCH, 3.5 * INCH, 0.8, count)


def wedge(count, item="wedge", thick=1.25, thin=0.0, length=12.0):
    return Piece(item, "wedge", thick * INCH, length * INCH, 4 * INCH, 0.4, count, thin * INCH)


def shim(item, metres, count):
    return Piece(item, "shim", metres, 0.15, 0.05, 0.05, count)


def pad(count, item="ply pad", inches=0.75, side=12.0):
    return Piece(item, "pad", inches * INCH, side * INCH, side * INCH, 1.2, count)


def truck(boxes=24, wedges=100, lumber=40, pads=40, extra=()):
    """A plausible truck."""
    return Truck(
        (
            box("full", 8, boxes),
            box("half", 4, boxes),
            box("quarter", 2, boxes),
            box("pancake", 1, boxes),
            two_by_four(lumber),
            Piece("1x4", "lumber", 0.75 * INCH, 12 * INCH, 3.5 * INCH, 0.4, lumber),
            pad(pads),
            wedge(wedges),
            *extra,
        )
    )


def fills(values, *, sides=None, stations=None, role="set", sd=0.0, supports=None, ties=None, **columns):
    """A fill table: one row a value; without sides, left and right by turns."""
    n = len(values)
    place = np.arange(n) // 2
    return pd.DataFrame(
        {
            "support": supports if supports is not None else [f"T{i + 1}" for i in place],
            "tie": ties if ties is not None else place + 1,
            "side": sides if sides is not None else ["left" if i % 2 == 0 else "right" for i in range(n)],
            "role": role,
            "station_m": stations if stations is not None else 0.8 * place,
            "fill_m": np.asarray(values, dtype=float),
            "fill_sd_m": sd,
            **columns,
        }
    )


def random_fills(n, seed, *, low=0.02, high=0.45, sd=0.002, **columns):
    rng = np.random.default_rng(seed)
    return fills(rng.uniform(low, high, n), sd=sd, **columns)
