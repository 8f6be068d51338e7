"""The same aggregated program, handed to OR-tools CP-SAT."""

from ortools.sat.python import cp_model


def cpsat_optimum(program, *, time_limit=60.0, workers=1):
    """Return (cost, bound, proven) of a `trackkit.cribbing.program.Program`."""
    model = cp_model.CpModel()
    most = int(program.class_size.sum())
    y = [model.new_int_var(0, most, "") for _ in program.pattern_cost]
    x = [model.new_int_var(0, most, "") for _ in program.column_cost]
    top = int(program.pattern_use.max(initial=0) + program.column_use.max(initial=0)) * most
    e = [model.new_int_var(0, top, "") for _ in program.stock]
    served = [[] for _ in program.class_size]
    balance = [[] for _ in range(program.n_cells)]
    pairs = [[] for _ in program.pair_size]
    for i, variable in enumerate(x):
        served[program.column_class[i]].append(variable)
        if program.column_other[i] >= 0:
            served[program.column_other[i]].append(variable)
        if program.column_pair[i] >= 0:
            pairs[program.column_pair[i]].append(variable)
        balance[program.column_cell[i]].append(-variable)
    for i, variable in enumerate(y):
        balance[program.pattern_cell[i]].append(variable)
    for variables, size in zip(served, program.class_size, strict=True):
        model.add(sum(variables) == int(size))
    for variables in balance:
        model.add(sum(variables) == 0)
    for variables, size in zip(pairs, program.pair_size, strict=True):
        model.add(sum(variables) <= int(size))
    for k, stock in enumerate(program.stock):
        used = [int(u) * v for u, v in zip(program.pattern_use[:, k], y, strict=True) if u]
        used += [int(u) * v for u, v in zip(program.column_use[:, k], x, strict=True) if u]
        model.add(sum(used) <= int(stock) + e[k])
    costs = [*program.pattern_cost, *program.column_cost, *program.missing_cost]
    model.minimize(sum(int(c) * v for c, v in zip(costs, [*y, *x, *e], strict=True)))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = time_limit
    solver.parameters.num_workers = workers
    status = solver.solve(model)
    return round(solver.objective_value), round(solver.best_objective_bound), status == cp_model.OPTIMAL
