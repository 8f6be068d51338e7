"""The choice of stacks built again without any of the library's reductions, one variable a choice.

For every support every pile and every closing piece are written down, priced from the rules as they
are documented, and OR-tools CP-SAT picks. No cells, no classes, no pruning, no ticks shared. It holds no
wedges for seats and no crossed cribs.
"""

import itertools
import math

from ortools.sat.python import cp_model

from trackkit.cribbing.rules import StackRules
from trackkit.cribbing.truck import Truck

MISSING = 100_000
TICK = 3.125e-6


def ways_to_lie(truck, rules):
    """(item, thickness, length, width, kind, edge, price), widest first, then by area."""
    found = []
    for piece in truck.pieces:
        if piece.kind not in ("box", "lumber", "ply", "pad"):
            continue
        price = rules.piece_cost[piece.kind]
        long, short = max(piece.length, piece.width), min(piece.length, piece.width)
        found.append((piece.item, piece.thickness, long, short, piece.kind, False, price))
        if piece.kind == "lumber":
            if piece.thickness < piece.width <= rules.edge_ratio * piece.thickness:
                edge = (piece.item, piece.width, piece.length, piece.thickness, "lumber", True)
                found.append((*edge, price + rules.on_edge_cost))
            if piece.length >= 4 * piece.width:  # a crossed pair; it takes its place in the order only
                found.append((piece.item, piece.thickness, piece.length, piece.width, "crossed", False, None))

    def base(way):
        return way[2] - 2 * way[3] if way[4] == "crossed" else min(way[2], way[3])

    return sorted(found, key=lambda w: (-base(w), -w[2] * w[3], w[4] != "pad", -w[1], w[0], w[5]))


def piles(truck, rules, top, long_need=None, long_kinds=None):
    """Every pile: (height, cost, use, foot's length and width or None, room for the closing piece)."""
    ways = ways_to_lie(truck, rules)
    long = [
        long_need is None or (w[2] >= long_need - 1e-9 and (long_kinds is None or w[4] in long_kinds))
        for w in ways
    ]
    for n in range(rules.max_layers + 1):
        for chosen in itertools.combinations_with_replacement(range(len(ways)), n):
            height = sum(ways[i][1] for i in chosen)
            kinds = [ways[i][4] for i in chosen]
            if "crossed" in kinds:
                continue
            edges = sum(ways[i][5] for i in chosen)
            if height > top or edges > rules.max_of_kind["edge"]:
                continue
            if any(kinds.count(kind) > rules.max_of_kind[kind] for kind in set(kinds)):
                continue
            if n and not long[chosen[0]]:
                continue
            below, room = 0.0, math.inf
            for i in chosen:
                room = min(room, below + rules.height_per_base * min(ways[i][2:4]) - height)
                below += ways[i][1]
            if room < -1e-9:
                continue
            use, cost = {}, 0
            for i in chosen:
                times = 1 if long[i] else 2
                use[ways[i][0]] = use.get(ways[i][0], 0) + times
                cost += times * round(1000 * ways[i][6]) + i  # the place in the order breaks ties
            cost += round(1000 * rules.layer_cost) * max(n - 1, 0) ** 2
            yield height, cost, use, ways[chosen[0]][2:4] if n else None, room


def closings(truck, rules, bearing, packed=False):
    """(use, low, high, first planned, last planned, price), see the rules' documentation.

    With ``packed`` every wedge may stand on up to three shims.
    """
    found = [({}, -rules.snug, rules.snug, -rules.snug, rules.snug, 0.0)]
    for piece in truck.pieces:
        if piece.kind == "wedge":
            taper = (piece.thickness - piece.thin) / piece.length
            one, spare = rules.piece_cost["wedge"], rules.wedge_spare
            low, high = piece.thin + taper * bearing, piece.thickness
            limit = rules.single_up_to
            found.append(({piece.item: 1}, low, high, low + spare, min(high - spare, limit), one))
            tall = one + rules.tall_single_cost
            found.append(({piece.item: 1}, low, high, max(low + spare, limit), high - spare, tall))
            low, high = (
                max(2 * piece.thin + taper * bearing, piece.thickness),
                piece.thin + piece.thickness,
            )
            spare = min(spare, (high - low) / 4)
            if piece.thin:
                price = 2 * one + rules.pair_cost
                found.append(({piece.item: 2}, low, high, low + spare, high - spare, price))
    shims = [piece for piece in truck.pieces if piece.kind == "shim"]
    for n in range(1, rules.max_shims + 1):
        for chosen in itertools.combinations_with_replacement(shims, n):
            use = {piece.item: chosen.count(piece) for piece in chosen}
            if all(count <= truck.piece(item).count for item, count in use.items()):
                height = sum(piece.thickness for piece in chosen)
                low, high = height - rules.snug, height + rules.snug
                found.append((use, low, high, low, high, n * rules.piece_cost["shim"]))
    if packed:
        wedges = [one for one in found if any(truck.piece(item).kind == "wedge" for item in one[0])]
        packs = [one for one in found if any(truck.piece(item).kind == "shim" for item in one[0])]
        for wedge, (use, low, high, *_, price) in itertools.product(wedges, packs):
            travel = [value + (low + high) / 2 for value in wedge[1:5]]
            found.append((wedge[0] | use, *travel, wedge[5] + price))
    return found


def price_of(closing, height, sd, rules):
    """Cost of a closing piece at a height with its chance of change; None where it can't be planned."""
    _, low, high, first, last, price = closing
    if not first - 1e-9 <= height <= last + 1e-9:
        return None
    sd = math.hypot(sd, rules.build_sd)
    if sd == 0:
        return round(1000 * price)
    tail = [0.5 * math.erfc(d / sd / math.sqrt(2)) for d in (height - low, high - height)]
    band = next(i for i, limit in enumerate(rules.chance_bands) if sum(tail) <= limit)
    change = 0.0 if band == 0 else rules.chance_bands[band] * rules.change_cost
    return round(1000 * (price + change))


def options(fills, sds, truck, rules, ground="", bearing=0.06, packed=False, scraped=None, **long):
    """Every (cost, use) that serves all the tie ends in ``fills`` with one pile.

    ``scraped`` are the slopes along and across [rad] of ground that is scraped level under a pile, down to
    the low corner of its foot.
    """
    found = {}
    least = rules.foot_area.get(ground, 0.0)
    ways = closings(truck, rules, bearing, packed)
    along, across = (math.tan(abs(slope)) for slope in scraped or (0.0, 0.0))
    deepest = (along + across) * max(max(piece.length, piece.width) for piece in truck.pieces) / 2
    for above, cost, use, foot, room in piles(truck, rules, max(fills) + rules.snug + deepest, **long):
        area = foot[0] * foot[1] if foot else None
        height = above - ((along * foot[0] + across * foot[1]) / 2 if foot else 0.0)
        cost += round(1000 * rules.seat_cost) if scraped and foot else 0
        if (area is None and least > 0) or (area is not None and area < least - 1e-9):
            continue
        ends = []
        for fill, sd in zip(fills, sds, strict=True):
            priced = [(price_of(way, fill - height, sd, rules), way) for way in ways if way[2] <= room + 1e-9]
            ends.append([(price, way[0]) for price, way in priced if price is not None])
        for combination in itertools.product(*ends):
            total, taken = cost, dict(use)
            for price, more in combination:
                total += price
                for item, count in more.items():
                    taken[item] = taken.get(item, 0) + count
            key = tuple(sorted(taken.items()))
            found[key] = min(total, found.get(key, total))
    return [(cost, dict(key)) for key, cost in found.items()]


def direct_optimum(units, truck: Truck, rules: StackRules, *, shared=()):
    """Return the least cost [cost units] that serves every unit; shared[(i, j)] are piles for two at once.

    ``units`` and the values of ``shared`` are lists of options, as `options` gives them.
    """
    model = cp_model.CpModel()
    terms, costs, use = [[] for _ in units], [], {piece.item: [] for piece in truck.pieces}
    groups = [((i,), found) for i, found in enumerate(units)] + list(dict(shared).items())
    for owners, found in groups:
        for cost, taken in found:
            variable = model.new_bool_var("")
            for owner in owners:
                terms[owner].append(variable)
            costs.append(cost * variable)
            for item, count in taken.items():
                use[item].append(count * variable)
    for variables in terms:
        model.add_exactly_one(variables)
    for piece in truck.pieces:
        missing = model.new_int_var(0, 1000, "")
        model.add(sum(use[piece.item]) <= piece.count + missing)
        costs.append(MISSING * missing)
    model.minimize(sum(costs))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 2
    solver.parameters.max_time_in_seconds = 60.0
    assert solver.solve(model) == cp_model.OPTIMAL
    return round(solver.objective_value)
