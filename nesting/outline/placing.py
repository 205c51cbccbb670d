"""Every figure that goes with a set of taped distances: each corner held by two tapes has a mirror image.

Corners are laid one after the other by two tapes to such as lie already, on both sides of the line between these;
further tapes sort the wrong ones out.  Figures that cannot be built so are sought from scattered starts.
"""

import math
from collections.abc import Callable
from typing import Final

import numpy as np

from nesting.outline.network import Adjusted, Floats, Tapes, adjust, in_place

_WIDEST: Final = 1024
_ENOUGH: Final = 12
_SCATTERED: Final = 120
_HOPELESS: Final = 1e4
_AS_GOOD: Final = 25.0
"""A figure whose sum of squared misfits is larger than the best one's by this much is out (odds of e^12)."""

Judge = Callable[[Floats, Adjusted | None], bool]
Placed = dict[int, tuple[float, float]]
Hopeful = Callable[[Placed], bool]


def figures(tapes: Tapes, lawful: Judge, hopeful: Hopeful) -> tuple[list[Adjusted], bool]:
    """Return figures that fit the readings about equally well and are `lawful`, the best first; True if all of them.

    Mirror images of a whole figure count as one; `lawful` is asked with corners in either sense.  `hopeful` tells of
    corners laid so far, in either sense too, whether they can become a lawful figure.
    """
    found: list[Adjusted] = []
    best = math.inf
    starts, complete = _starts(tapes, hopeful)
    for cost, start in starts:
        if found and cost > max(_HOPELESS, 100.0 * best):
            break
        if len(found) >= _ENOUGH:
            complete = False
            break
        for points in (start, start * (1.0, -1.0)):
            if not lawful(points, None):
                continue
            one = adjust(tapes, points)
            if not lawful(one.points, one):
                continue
            best = min(best, one.cost)
            if not any(np.abs(in_place(one.points) - in_place(o.points)).max() < 0.05 for o in found):
                found.append(one)
    found.sort(key=lambda f: f.cost)
    return [f for f in found if f.cost <= found[0].cost + _AS_GOOD], complete


def _starts(tapes: Tapes, hopeful: Hopeful) -> tuple[list[tuple[float, Floats]], bool]:
    lengths = _mean_lengths(tapes)
    order = _order(tapes.count, lengths)
    if order is None:
        return _scattered(tapes), True
    layouts: list[tuple[float, Placed]] = [(0.0, {})]
    complete = True
    for step, corner in enumerate(order):
        grown = []
        for cost, placed in layouts:
            for at in _places(corner, placed, lengths, first=step < 3):
                misses = [
                    (math.dist(at, p) - lengths[_key(corner, k)][0]) / lengths[_key(corner, k)][1]
                    for k, p in placed.items()
                    if _key(corner, k) in lengths
                ]
                laid = {**placed, corner: at}
                if hopeful(laid):
                    grown.append((cost + sum(m * m for m in misses), laid))
        grown.sort(key=lambda g: g[0])
        complete &= len(grown) <= _WIDEST or grown[_WIDEST][0] > max(_HOPELESS, 100.0 * grown[0][0])
        layouts = grown[:_WIDEST]
    return [(cost, np.array([placed[k] for k in range(tapes.count)])) for cost, placed in layouts], complete


def _key(a: int, b: int) -> tuple[int, int]:
    return (a, b) if a < b else (b, a)


def _mean_lengths(tapes: Tapes) -> dict[tuple[int, int], tuple[float, float]]:
    """Length and deviation of each pair, taken together where it was taped more than once."""
    grouped: dict[tuple[int, int], list[tuple[float, float]]] = {}
    for (i, j), length, sigma in zip(tapes.pairs, tapes.lengths, tapes.sigmas, strict=True):
        grouped.setdefault(_key(i, j), []).append((float(length), float(sigma)))
    return {k: (sum(x for x, _ in v) / len(v), min(s for _, s in v) / math.sqrt(len(v))) for k, v in grouped.items()}


def _order(count: int, lengths: dict[tuple[int, int], tuple[float, float]]) -> list[int] | None:
    """An order in which every corner has two tapes to earlier ones, or None; begins at the longest tape possible."""
    for first, second in sorted(lengths, key=lambda k: -lengths[k][0]):
        order = [first, second]
        while len(order) < count:
            ties = {k: sum(_key(k, o) in lengths for o in order) for k in range(count) if k not in order}
            corner = max(ties, key=lambda k: ties[k])
            if ties[corner] < 2:
                break
            order.append(corner)
        if len(order) == count:
            return order
    return None


def _places(
    corner: int,
    placed: Placed,
    lengths: dict[tuple[int, int], tuple[float, float]],
    *,
    first: bool,
) -> list[tuple[float, float]]:
    if not placed:
        return [(0.0, 0.0)]
    known = [k for k in placed if _key(corner, k) in lengths]
    if len(placed) == 1:
        return [(lengths[_key(corner, known[0])][0], 0.0)]
    pairs = [(p, q) for n, p in enumerate(known) for q in known[n + 1 :]]
    p, q = max(pairs, key=lambda pq: _crossing(corner, pq[0], pq[1], placed, lengths))
    both = _two_tapes(placed[p], placed[q], lengths[_key(corner, p)][0], lengths[_key(corner, q)][0])
    return both[:1] if first else both


def _crossing(
    corner: int,
    p: int,
    q: int,
    placed: Placed,
    lengths: dict[tuple[int, int], tuple[float, float]],
) -> float:
    """Sine of the angle at which two tapes cross at a corner."""
    a, b = lengths[_key(corner, p)][0], lengths[_key(corner, q)][0]
    cosine = (a * a + b * b - math.dist(placed[p], placed[q]) ** 2) / (2 * a * b)
    return math.sqrt(max(0.0, 1.0 - cosine * cosine))


def _two_tapes(p: tuple[float, float], q: tuple[float, float], a: float, b: float) -> list[tuple[float, float]]:
    """Both ends of tapes of length a from p and b from q; on the line where they do not quite meet."""
    base = math.dist(p, q)
    if base == 0.0:
        return [(p[0] + a, p[1])]
    x = (a * a - b * b + base * base) / (2 * base)
    y = math.sqrt(max(0.0, a * a - x * x))
    ux, uy = (q[0] - p[0]) / base, (q[1] - p[1]) / base
    ends = [(p[0] + x * ux - s * y * uy, p[1] + x * uy + s * y * ux) for s in (1.0, -1.0)]
    # A tape stretched flat leaves both images on one spot; a hair apart they may go their own ways.
    return (
        ends
        if y > 0.0
        else [(e[0] - s * 1e-3 * a * uy, e[1] + s * 1e-3 * a * ux) for e, s in zip(ends, (1, -1), strict=True)]
    )


def _scattered(tapes: Tapes) -> list[tuple[float, Floats]]:
    rng = np.random.default_rng(11)
    size = float(tapes.lengths.max())
    found = []
    for _ in range(_SCATTERED):
        one = adjust(tapes, rng.uniform(-size, size, (tapes.count, 2)))
        found.append((one.cost, one.points))
    return sorted(found, key=lambda f: f[0])
