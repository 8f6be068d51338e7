"""From the program's counts to one pile for every place, alike where that costs little."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from trackkit.cribbing.formulate import Formulation
from trackkit.cribbing.heights import to_cost
from trackkit.cribbing.program import Solution
from trackkit.cribbing.rules import StackRules

__all__ = ["Choice", "assign", "make_alike"]

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Choice:
    """What one place gets.

    Attributes
    ----------
    pattern, column : int
        Variables of the program.
    partner : int
        The place at the other end of the tie that stands on the same pile, or -1.
    """

    pattern: int
    column: int
    partner: int = -1


def assign(formulation: Formulation, solution: Solution) -> list[Choice]:
    """Return a choice for every place, with exactly the patterns and columns that the program took.

    Places of a class are the same to the program; here they are served along the run, so that equal
    piles stand together.
    """
    program = formulation.program
    columns: list[tuple[int, int]] = [(-1, -1)] * len(formulation.sites)  # column, partner
    open_members = [list(group) for group in formulation.members]
    open_pairs = [list(group) for group in formulation.pair_members]
    for column in np.flatnonzero((solution.columns > 0) & (program.column_pair >= 0)):
        for _ in range(int(solution.columns[column])):
            left, right = open_pairs[program.column_pair[column]].pop(0)
            columns[left], columns[right] = (int(column), right), (int(column), left)
            for site in (left, right):
                open_members[formulation.class_of[site]].remove(site)
    alone = np.flatnonzero((solution.columns > 0) & (program.column_pair < 0))
    own = (alone, program.column_class[alone], solution.columns[alone])
    for column, number, count in zip(*(values.tolist() for values in own), strict=True):
        group = open_members[number]
        for _ in range(count):
            columns[group.pop(0)] = (column, -1)
    return _piles(formulation, solution, columns)


def _piles(formulation: Formulation, solution: Solution, columns: Sequence[tuple[int, int]]) -> list[Choice]:
    """Give the places in every cell the patterns that the program took there, along the run."""
    program = formulation.program
    users: dict[int, list[int]] = defaultdict(list)
    cell_of = program.column_cell.tolist()
    order = sorted(range(len(columns)), key=lambda i: (formulation.sites[i].side, formulation.sites[i].key))
    for site in order:
        column, partner = columns[site]
        if partner < 0 or formulation.sites[site].side == "left":
            users[cell_of[column]].append(site)
    choices = [Choice(-1, -1)] * len(columns)
    for pattern in np.flatnonzero(solution.patterns > 0):
        waiting = users[int(program.pattern_cell[pattern])]
        for _ in range(int(solution.patterns[pattern])):
            site = waiting.pop(0)
            column, partner = columns[site]
            choices[site] = Choice(int(pattern), column, partner)
            if partner >= 0:
                choices[partner] = Choice(int(pattern), column, site)
    return choices


def make_alike(
    formulation: Formulation, solution: Solution, choices: Sequence[Choice], rules: StackRules
) -> tuple[list[Choice], int]:
    """Return the choices with neighbours made alike where that is worth its price, and the price.

    A place takes its neighbour's pile if the closing piece reaches and the truck has it, or swaps
    piles with a place elsewhere. A step is taken only if what it costs is less than ``alike_worth``
    for each pair of neighbours made alike. Nothing that is missing grows.

    Returns
    -------
    choices : list of Choice
    extra : int
        Cost on top of the program's optimum [cost units]; 0 or more.
    """
    step = _Alike(formulation, solution, choices, rules)
    for _ in range(4):
        if not step.sweep():
            break
    return step.choices, step.extra


class _Alike:
    def __init__(
        self, formulation: Formulation, solution: Solution, choices: Sequence[Choice], rules: StackRules
    ) -> None:
        program = formulation.program
        self.program, self.choices = program, list(choices)
        used = solution.patterns @ program.pattern_use + solution.columns @ program.column_use
        self.slack = program.stock + solution.missing - used
        self.worth, self.extra = to_cost(rules.alike_worth), 0
        self.class_of = formulation.class_of
        self.options: dict[tuple[int, int], list[int]] = defaultdict(list)
        alone = np.flatnonzero(program.column_pair < 0)
        own = (alone, program.column_class[alone], program.column_cell[alone])
        for column, number, cell in zip(*(values.tolist() for values in own), strict=True):
            self.options[number, cell].append(column)
        self.beside: dict[int, list[int]] = defaultdict(list)
        for side in ("left", "right"):
            line = [i for i, site in enumerate(formulation.sites) if site.side == side]
            for one, two in pairwise(line):
                if "fill" in (formulation.sites[one].role, formulation.sites[two].role):
                    self.beside[one].append(two)
                    self.beside[two].append(one)

    def sweep(self) -> bool:
        """Try every place once; return whether anything changed."""
        changed = False
        for site in sorted(self.beside):
            if self.choices[site].partner >= 0:
                continue
            for pattern in sorted({self.choices[other].pattern for other in self.beside[site]}):
                if pattern != self.choices[site].pattern and (
                    self._copy(site, pattern) or self._swap(site, pattern)
                ):
                    changed = True
                    break
        return changed

    def _alike(self, sites: Sequence[int]) -> int:
        """Return how many neighbour pairs with one of these places in them are alike."""
        pairs = {(min(i, j), max(i, j)) for i in sites for j in self.beside[i]}
        return sum(self.choices[i].pattern == self.choices[j].pattern for i, j in pairs)

    def _columns(self, site: int, pattern: int) -> list[int]:
        return self.options.get((int(self.class_of[site]), int(self.program.pattern_cell[pattern])), [])

    def _copy(self, site: int, pattern: int) -> bool:
        return any(self._try({site: Choice(pattern, column)}) for column in self._columns(site, pattern))

    def _swap(self, site: int, pattern: int) -> bool:
        mine = self.choices[site].pattern
        for other, choice in enumerate(self.choices):
            if choice.pattern != pattern or choice.partner >= 0 or other == site:
                continue
            for there in self._columns(other, mine)[:1]:
                for here in self._columns(site, pattern)[:1]:
                    if self._try({site: Choice(pattern, here), other: Choice(mine, there)}):
                        return True
        return False

    def _try(self, changes: dict[int, Choice]) -> bool:
        """Make the change if the truck has the pieces and it is worth its price."""
        program = self.program
        before = {site: self.choices[site] for site in changes}
        price = sum(self._cost(c) for c in changes.values()) - sum(self._cost(c) for c in before.values())
        takes = sum((self._use(c) for c in changes.values()), np.zeros_like(program.stock))
        takes = takes - sum((self._use(c) for c in before.values()), np.zeros_like(program.stock))
        if ((takes > self.slack) & (takes > 0)).any():
            return False
        alike = self._alike(list(changes))
        for site, choice in changes.items():
            self.choices[site] = choice
        gain = self._alike(list(changes)) - alike
        if gain > 0 and price < self.worth * gain:
            self.slack = self.slack - takes
            self.extra += price
            return True
        for site, choice in before.items():
            self.choices[site] = choice
        return False

    def _cost(self, choice: Choice) -> int:
        return int(self.program.pattern_cost[choice.pattern] + self.program.column_cost[choice.column])

    def _use(self, choice: Choice) -> Ints:
        return np.asarray(self.program.pattern_use[choice.pattern] + self.program.column_use[choice.column])
