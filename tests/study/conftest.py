"""What several tests of the study use."""

from pathlib import Path

import pytest

from trackkit.cribbing import read_truck
from trackkit.cribbing.by_height import pieces_by_height

DEMO = Path(__file__).parents[2] / "data_demo"


@pytest.fixture(scope="session")
def demo():
    """Return what closing each height takes from the truck of a demo job."""
    return pieces_by_height(read_truck(DEMO / "terrace_edge"), bearing=0.09)
