"""The choice among columns, among sets of pieces worth trying, and what no plan can beat: small models for CP-SAT.

Aims count one after the other: each is solved for, then held while the next is.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from nesting.batch.columns import Column, Picked, trimmed
from nesting.batch.stock import Batch

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

SECONDS: Final = 2.0
"""Longest that one aim is solved for."""

_FINE: Final = 1000
"""Money is counted in thousandths, worth and area in square millimetres."""


@dataclass(frozen=True, kw_only=True)
class Solved:
    """What a model came to: `values` of the variables asked for, `bounds` of each aim that no solution can beat."""

    values: tuple[int, ...]
    bounds: tuple[float, ...]
    proven: bool


def pick(
    batch: Batch, columns: Sequence[Column], *, pieces: Mapping[int, int] | None = None, hint: Picked | None = None
) -> Picked:
    """Return the best plan that the columns make; with `pieces` only so many of each are cut."""
    from ortools.sat.python import cp_model  # slow to load, and not always needed

    model = cp_model.CpModel()
    limit = {p: piece.count for p, piece in enumerate(batch.pieces)} if pieces is None else dict(pieces)
    columns = [c for c in columns if limit.get(c.piece, 0) > 0]
    if not columns:
        return Picked(batch=batch)
    times = [model.new_int_var(0, limit[c.piece], "") for c in columns]
    for p, most in limit.items():
        model.add(sum(x for x, c in zip(times, columns, strict=True) if c.piece == p) <= most)
    short = {}
    for line in batch.lines:
        short[line.id] = model.new_int_var(0, line.quantity, "")
        made = sum(c.counts[line.id] * x for x, c in zip(times, columns, strict=True) if c.counts[line.id])
        model.add(made + short[line.id] >= line.quantity)
    for x, count in zip(times, _counted(columns, hint), strict=True):
        model.add_hint(x, count)
    solved = solve(model, _aims(batch, columns, times, short), times)
    if solved is None:
        return hint or Picked(batch=batch)
    return trimmed(batch, [c for c, n in zip(columns, solved.values, strict=True) for _ in range(n)])


def short_prices(batch: Batch, columns: Sequence[Column], pieces: Mapping[int, int]) -> dict[str, float]:
    """Return for each line what one more piece of it would save, as a share of its area.

    From the dual of the linear program that picks, in fractions, the columns that leave least area without a place.
    """
    from scipy.optimize import linprog

    area = [line.demand.part.area_mm2 for line in batch.lines]
    columns = [c for c in columns if pieces.get(c.piece, 0) > 0]
    if not columns:
        return {line.id: 1.0 for line in batch.lines}
    limits = list(pieces)
    rows = [[-c.counts[line.id] for c in columns] for line in batch.lines]
    used = [[1.0 if c.piece == p else 0.0 for c in columns] for p in limits]
    short = np.vstack([-np.eye(len(area)), np.zeros((len(limits), len(area)))])
    found = linprog(
        [*([0.0] * len(columns)), *(a / max(area) for a in area)],
        A_ub=np.hstack([np.array([*rows, *used], dtype=float), short]),
        b_ub=[*(-float(line.quantity) for line in batch.lines), *(float(pieces[p]) for p in limits)],
        method="highs",
    )
    if found.status != 0:
        return {line.id: 1.0 for line in batch.lines}
    duals = -found.ineqlin.marginals[: len(area)] * max(area)
    return {line.id: float(min(1.0, max(0.0, d / a))) for line, d, a in zip(batch.lines, duals, area, strict=True)}


def _counted(columns: Sequence[Column], hint: Picked | None) -> list[int]:
    """How often each column, or one that holds as much, is in a plan."""
    used: Counter[int] = Counter()
    for picked in hint.columns if hint is not None else ():
        like = [n for n, c in enumerate(columns) if c.piece == picked.piece and picked.counts <= c.counts]
        used.update(like[:1])
    return [used[n] for n in range(len(columns))]


def _aims(batch: Batch, columns: Sequence[Column], times: Sequence[Any], short: Mapping[str, Any]) -> list[Any]:
    area = {line.id: max(1, round(line.demand.part.area_mm2)) for line in batch.lines}
    ranks = sorted({line.rank for line in batch.lines if not line.later})
    late, price, worth = [], [], []
    for column, x in zip(columns, times, strict=True):
        piece = batch.pieces[column.piece]
        one = Picked(batch=batch, columns=(column,))
        late.append(one.late * x)
        price.append(round(piece.price * _FINE) * x)
        worth.append(round(piece.worth) * x)
    missing = [sum(area[n.id] * short[n.id] for n in batch.lines if n.rank == rank) for rank in ranks]
    later = [area[n.id] * short[n.id] for n in batch.lines if n.later]
    return [*missing, sum(late), sum(price), sum(worth), sum(times), sum(later)]


def solve(model: "cp_model.CpModel", aims: Iterable[Any], asked: Sequence[Any]) -> Solved | None:
    """Solve for one aim after the other; None if there is no solution at all.

    `bounds` holds for each aim a value that it cannot fall below while those before it are at what was found.
    """
    from ortools.sat.python import cp_model

    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = SECONDS
    # It would take Ctrl-C away from the caller, for good.
    solver.parameters.catch_sigint_signal = False
    values: tuple[int, ...] = ()
    bounds, proven = [], True
    for aim in aims:
        if isinstance(aim, int):
            bounds.append(float(aim))
            continue
        model.minimize(aim)
        status = solver.solve(model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            if not values:
                return None
            proven = False
            break
        proven = proven and status == cp_model.OPTIMAL
        bounds.append(solver.best_objective_bound)
        values = tuple(solver.value(x) for x in asked)
        model.add(aim <= round(solver.objective_value))
        model.clear_hints()  # type: ignore[no-untyped-call]
        for x, value in zip(asked, values, strict=True):
            model.add_hint(x, value)
    return Solved(values=values, bounds=tuple(bounds), proven=proven)


@dataclass(frozen=True, kw_only=True)
class Guess:
    """What a set of pieces must promise: net part area each is thought to take, and what must fit somewhere."""

    potential: tuple[float, ...]
    fits: tuple[frozenset[str], ...]


def promising(
    batch: Batch,
    guess: Guess,
    *,
    below: Picked | None,
    tried: Iterable[Counter[int]],
    roomiest: bool = False,
) -> Counter[int] | None:
    """Return the cheapest set of pieces that may take all lines due, better than a plan and not tried yet.

    With `roomiest` it is the one that promises most area among those that are better.  None if there is none.
    """
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    pieces = batch.pieces
    cut = [model.new_int_var(0, piece.count, "") for piece in pieces]
    due = [line for line in batch.lines if not line.later and any(line.id in f for f in guess.fits)]
    wanted = sum(line.demand.part.area_mm2 * line.quantity for line in due)
    room = sum(round(a) * y for a, y in zip(guess.potential, cut, strict=True))
    # Where nothing is due no piece at all would do, and there is nothing to try.
    model.add(sum(cut) >= 1)
    if not roomiest:
        model.add(room >= round(wanted))
    for line in due:
        model.add(sum(y for y, f in zip(cut, guess.fits, strict=True) if line.id in f) >= 1)
    aims = _costs(batch, cut)
    for done in tried:
        _exclude(model, cut, [piece.count for piece in pieces], done)
    if below is not None:
        _require_better(model, aims, below)
    solved = solve(model, [-room] if roomiest else aims, cut)
    return None if solved is None else Counter({p: n for p, n in enumerate(solved.values) if n})


def _costs(batch: Batch, cut: Sequence[Any]) -> list[Any]:
    """What a set of pieces costs, the first first: pieces that come after something is due, price, worth, number."""
    due = [line.due for line in batch.lines if line.due is not None]
    late = [p.comes is not None and bool(due) and p.comes > min(due) for p in batch.pieces]
    return [
        sum(y for y, comes_late in zip(cut, late, strict=True) if comes_late),
        sum(round(p.price * _FINE) * y for p, y in zip(batch.pieces, cut, strict=True)),
        sum(round(p.worth) * y for p, y in zip(batch.pieces, cut, strict=True)),
        sum(cut),
    ]


def _exclude(model: "cp_model.CpModel", cut: Sequence[Any], counts: Sequence[int], done: Counter[int]) -> None:
    """Ask for something that is in no set tried: at least one piece more of some kind than it has."""
    more = []
    for p, y in enumerate(cut):
        if done[p] < counts[p]:
            there = model.new_bool_var("")
            model.add(y >= done[p] + 1).only_enforce_if(there)
            more.append(there)
    model.add_bool_or(more)


def _require_better(model: "cp_model.CpModel", aims: Sequence[Any], below: Picked) -> None:
    """Ask for one of the aims to be better than a plan's, and those before it no worse."""
    there = Counter(below.pieces)
    values = _costs(below.batch, [there[p] for p in range(len(below.batch.pieces))])
    # Fewer pieces that come late are better only if a part is late for it.
    first = 0 if below.late else 1
    ways = {n: model.new_bool_var("") for n in range(first, len(aims))}
    model.add_bool_or(ways.values())
    for n, way in ways.items():
        for m in range(n):
            model.add(aims[m] <= values[m]).only_enforce_if(way)
        model.add(aims[n] <= values[n] - 1).only_enforce_if(way)


def least_cost(batch: Batch, most: Sequence[float], fits: Sequence[frozenset[str]]) -> tuple[float, float]:
    """Return a price and, at the least price, a worth that no plan with all due lines that fit can stay below.

    `most` bounds the net part area of each piece.
    """
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    cut = [model.new_int_var(0, piece.count, "") for piece in batch.pieces]
    due = [line for line in batch.lines if not line.later and any(line.id in f for f in fits)]
    wanted = sum(line.demand.part.area_mm2 * line.quantity for line in due)
    room = sum(int(a) * y for a, y in zip([m + 1 for m in most], cut, strict=True))
    model.add(room >= int(wanted))
    price = sum(round(p.price * _FINE) * y for p, y in zip(batch.pieces, cut, strict=True))
    worth = sum(int(p.worth) * y for p, y in zip(batch.pieces, cut, strict=True))
    solved = solve(model, [price, worth], cut)
    if solved is None or len(solved.bounds) < 2:
        return (0.0, 0.0)
    return (max(0.0, solved.bounds[0] / _FINE), max(0.0, solved.bounds[1]))
