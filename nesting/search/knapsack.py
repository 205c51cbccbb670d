"""The most value that a few sacks take: a bound by a solver, never too low."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

SOLVER_SECONDS: Final = 0.7

_UNITS: Final = 1e8
"""All capacity in the solver's whole numbers; fine enough that rounding 2000 pieces costs 0.002 %."""

_GAP: Final = 1e-4
"""The solver may stop when its bound is this near to what it has found; less than is shown of the bound."""

_HAIR: Final = 1e-9


@dataclass(frozen=True, kw_only=True)
class Sack:
    """What one sack takes, kinds by index: `apart` are pairs that it does not hold together, or one kind twice;
    `crowds` kinds of which it holds no more than so many pieces in all."""

    capacity: float
    takes: tuple[int, ...]
    apart: tuple[tuple[int, int], ...] = ()
    crowds: tuple[tuple[tuple[int, ...], int], ...] = ()


def most_value(
    values: Sequence[float],
    weights: Sequence[float],
    counts: Sequence[int | None],
    sacks: Sequence[Sack],
    capacity: float,
) -> float:
    """Return a value that no choice of pieces exceeds, nearly the least such.

    `counts` says how many pieces of each kind there are, None for any number; weights are above 0.  Besides each sack's
    own capacity all of them together have one.
    """
    from ortools.sat.python import cp_model  # slow to load, and not always needed

    scale = _UNITS / capacity
    heavy = [math.floor(w * (1 - _HAIR) * scale) for w in weights]
    worth = [math.ceil(v * scale) for v in values]
    model = cp_model.CpModel()
    pieces: dict[tuple[int, int], cp_model.IntVar] = {}
    for k, sack in enumerate(sacks):
        for i in sack.takes:
            room, count = int(sack.capacity * (1 + _HAIR) / weights[i]), counts[i]
            pieces[i, k] = model.new_int_var(0, room if count is None else min(room, count), "")
        model.add(sum(heavy[i] * pieces[i, k] for i in sack.takes) <= math.ceil(sack.capacity * (1 + _HAIR) * scale))
        for members, most in sack.crowds:
            model.add(sum(pieces[i, k] for i in members) <= most)
        there = {i: model.new_bool_var("") for i in set(itertools.chain.from_iterable(sack.apart))}
        for i, is_there in there.items():
            model.add(pieces[i, k] == 0).only_enforce_if(~is_there)
        for i, j in sack.apart:
            if i == j:
                model.add(pieces[i, k] <= 1)
            else:
                model.add_at_most_one([there[i], there[j]])
    model.add(sum(heavy[i] * n for (i, _), n in pieces.items()) <= math.ceil(capacity * (1 + _HAIR) * scale))
    for i, count in enumerate(counts):
        if count is not None:
            model.add(sum(n for (j, _), n in pieces.items() if j == i) <= count)
    model.maximize(sum(worth[i] * n for (i, _), n in pieces.items()))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = SOLVER_SECONDS
    solver.parameters.relative_gap_limit = _GAP
    # It would take Ctrl-C away from the caller, for good.
    solver.parameters.catch_sigint_signal = False
    solver.solve(model)
    return solver.best_objective_bound / scale
