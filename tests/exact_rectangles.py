"""The least cost of cutting rectangles, with quarter turns, from rectangles: an exact model, for small orders."""

from nesting.batch.stock import Batch


def least(of: Batch) -> tuple[float, float, int]:
    """Return price, worth and number of pieces of the best plan that makes everything; quarter turns are free."""
    from ortools.sat.python import cp_model

    slots = [piece for piece in of.pieces for _ in range(piece.count)]
    parts = [line.demand.part.size_mm for line in of.lines for _ in range(line.quantity)]
    model = cp_model.CpModel()
    used = [model.new_bool_var("") for _ in slots]
    here = [[model.new_bool_var("") for _ in slots] for _ in parts]
    for row in here:
        model.add_exactly_one(row)
    for s, piece in enumerate(slots):
        width, height = (round(v) for v in piece.plate.fine_polygon.bounds[2:])
        along, up = [], []
        for i, (w, h) in enumerate(parts):
            model.add_implication(here[i][s], used[s])
            for a, b in ((round(w), round(h)), (round(h), round(w))):
                lies = model.new_bool_var("")
                model.add_implication(lies, here[i][s])
                if a > width or b > height:
                    model.add(lies == 0)
                x, y = model.new_int_var(0, max(0, width - a), ""), model.new_int_var(0, max(0, height - b), "")
                along.append(model.new_optional_fixed_size_interval_var(x, a, lies, ""))
                up.append(model.new_optional_fixed_size_interval_var(y, b, lies, ""))
                here[i].append(lies)
            model.add(sum(here[i][-2:]) == here[i][s])
            del here[i][-2:]
        model.add_no_overlap_2d(along, up)
    aims = [
        sum(round(p.price) * u for p, u in zip(slots, used, strict=True)),
        sum(round(p.worth) * u for p, u in zip(slots, used, strict=True)),
        sum(used),
    ]
    found = []
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.catch_sigint_signal = False
    for aim in aims:
        model.minimize(aim)
        assert solver.solve(model) == cp_model.OPTIMAL
        found.append(round(solver.objective_value))
        model.add(aim == found[-1])
    return found[0], found[1], found[2]
