"""A short way through places that are entered and left at points of their own, from a given start.

Nearest next, then improved until no reversal of a stretch (2-opt: Croes, A method for solving traveling-salesman
problems, Operations Research 6, 1958) and no moving of up to three places (Or-opt: Or, 1976) shortens it, then kicked
out of that state and improved again a set number of times (double bridge: Martin, Otto and Felten, Large-step Markov
chains for the traveling salesman problem, Complex Systems 5, 1991).  The random numbers have a fixed seed, so that the
same places give the same way.
"""

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nesting.geometry.pose import Point

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_GAIN: Final = 1e-9
_LONGEST_MOVED: Final = 3
_MOST_KICKS: Final = 30
_KICK_WORK: Final = 60_000
"""Kicks times places squared: small problems are kicked more, for about half a second at most."""


def nearest_next(entries: ArrayLike, exits: ArrayLike, start: Point) -> list[int]:
    """Return the order that goes to the nearest entry each time; the first of equals."""
    ins, outs = _points(entries), _points(exits)
    left = np.ones(len(ins), dtype=bool)
    at: Floats = np.array(start, dtype=np.float64)
    order: list[int] = []
    for _ in range(len(ins)):
        away = np.hypot(*(ins - at).T)
        away[~left] = math.inf
        order.append(int(np.argmin(away)))
        left[order[-1]] = False
        at = outs[order[-1]]
    return order


def short_way(
    entries: ArrayLike, exits: ArrayLike, start: Point, end: Point | None = None, *, kicks: bool = True
) -> list[int]:
    """Return an order of n places, given as (n, 2) arrays, that makes the way from `start` short.

    The way leads from each place's exit to the next one's entry and, if given, to `end`.  Never longer than nearest
    next.  Without `kicks` the first state that no move shortens is taken, which is quicker and a few per cent longer.
    """
    first = nearest_next(entries, exits, start)
    if len(first) < 2:
        return first
    costs = _costs(_points(entries), _points(exits), start, end)
    tour = _improved(np.array([0, *(i + 1 for i in first)]), costs)
    rng = np.random.default_rng(0)
    for _ in range(min(_KICK_WORK // len(tour) ** 2, _MOST_KICKS) if kicks and len(tour) >= 8 else 0):
        other = _improved(_kicked(tour, rng), costs)
        if _length(other, costs) < _length(tour, costs) - _GAIN:
            tour = other
    return [int(i) - 1 for i in tour[1:]]


def way_length(order: list[int], entries: ArrayLike, exits: ArrayLike, start: Point, end: Point | None = None) -> float:
    """Return the length of the way from `start` through the places in that order, to `end` if given."""
    ins, outs = _points(entries)[order], _points(exits)[order]
    stops = np.vstack([ins, [end]]) if end is not None else ins
    starts = np.vstack([[start], outs])[: len(stops)]
    return float(np.hypot(*(stops - starts).T).sum())


def _points(values: ArrayLike) -> Floats:
    return np.asarray(values, dtype=np.float64).reshape(-1, 2)


def _costs(entries: Floats, exits: Floats, start: Point, end: Point | None) -> Floats:
    """Distances from (row) to (column); place 0 stands for the start, and for the end when gone to."""
    ins, outs = np.vstack([[start if end is None else end], entries]), np.vstack([[start], exits])
    costs: Floats = np.hypot(ins[None, :, 0] - outs[:, None, 0], ins[None, :, 1] - outs[:, None, 1])
    if end is None:
        costs[:, 0] = 0.0
    return costs


def _length(tour: Ints, costs: Floats) -> float:
    return float(costs[tour, np.roll(tour, -1)].sum())


def _improved(tour: Ints, costs: Floats) -> Ints:
    """Return a tour that neither move shortens; place 0 stays first."""
    better = True
    while better:
        better = False
        for i in range(1, len(tour)):
            for move in (_reversal, _shift):
                changed = move(tour, i, costs)
                if changed is not None:
                    tour, better = changed, True
    return tour


def _reversal(tour: Ints, i: int, costs: Floats) -> Ints | None:
    """Return the tour with the best stretch from position i on turned round, if that is shorter."""
    after = np.append(tour[i + 1 :], 0)
    along = tour[i:]
    back = np.concatenate([[0.0], np.cumsum(costs[along[1:], along[:-1]] - costs[along[:-1], along[1:]])])
    before = tour[i - 1]
    gains = costs[before, along] + costs[tour[i], after] + back - costs[before, tour[i]] - costs[along, after]
    j = int(np.argmin(gains))
    if gains[j] >= -_GAIN:
        return None
    turned = tour.copy()
    turned[i : i + j + 1] = turned[i : i + j + 1][::-1]
    return turned


def _shift(tour: Ints, i: int, costs: Floats) -> Ints | None:
    """Return the tour with the one to three places at position i moved elsewhere, either way round, if shorter."""
    for count in range(1, min(_LONGEST_MOVED, len(tour) - i) + 1):
        part, rest = tour[i : i + count], np.concatenate([tour[:i], tour[i + count :]])
        after = np.append(rest[1:], 0)
        saved = costs[tour[i - 1], part[0]] + costs[part[-1], after[i - 1]] - costs[tour[i - 1], after[i - 1]]
        turned = costs[part[1:], part[:-1]].sum() - costs[part[:-1], part[1:]].sum()
        gap = -costs[rest, after] - saved
        plain = costs[rest, part[0]] + costs[part[-1], after] + gap
        round_ = costs[rest, part[-1]] + costs[part[0], after] + turned + gap
        p, q = int(np.argmin(plain)), int(np.argmin(round_))
        if min(plain[p], round_[q]) < -_GAIN:
            at, moved = (p, part) if plain[p] <= round_[q] else (q, part[::-1])
            return np.concatenate([rest[: at + 1], moved, rest[at + 1 :]])
    return None


def _kicked(tour: Ints, rng: np.random.Generator) -> Ints:
    """Return the tour with two neighbouring stretches swapped."""
    a, b, c = np.sort(rng.choice(np.arange(1, len(tour)), 3, replace=False))
    return np.concatenate([tour[:a], tour[b:c], tour[a:b], tour[c:]])
