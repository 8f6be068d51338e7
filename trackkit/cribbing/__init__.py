"""Cribbing: what stands under every tie, out of what is on the truck.

`read_truck` reads what there is, `choose_stacks` turns a fill table into stacks piece by piece, and
`gap_card` lists what to put into every gap. `StackRules` holds every habit that they obey.
"""

from trackkit.cribbing.card import card_text, gap_card
from trackkit.cribbing.results import (
    BareCandidate,
    Closing,
    Placed,
    Shortage,
    Stack,
    StackPlan,
    Unfillable,
)
from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.stacks import choose_stacks
from trackkit.cribbing.truck import Piece, Truck, read_truck
from trackkit.cribbing.wedges import Wedge

__all__ = [
    "BareCandidate",
    "Closing",
    "Piece",
    "Placed",
    "Shortage",
    "Stack",
    "StackPlan",
    "StackRules",
    "Truck",
    "Unfillable",
    "Wedge",
    "card_text",
    "choose_stacks",
    "gap_card",
    "read_truck",
]
