"""Where round an edge one straight or round piece ends and the next begins: the cheapest way to part it, of all.

Each piece costs what its points are off it, squared, and a fixed price (the principle of least description; dynamic
programming over places where the edge may break).  Points beside a break count for nothing: a corner is seen round.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LEAST_POINTS: Final = 5
LEAST_ARC_MM: Final = 25.0
LARGEST_RADIUS_MM: Final = 3000.0
FEWEST_DEG: Final = 20.0
_PRICE: Final = {False: 12.0, True: 16.0}
"""Of a line and of an arc, in squared deviations (experience with rendered edges)."""

_TOGETHER_MM: Final = 12.0
"""Over this length points err alike (they are measured along the edge over it), so that it counts as one."""


@dataclass(frozen=True, kw_only=True)
class Run:
    """Points `first` to `last` (numbers may run over the end) that make one line, or one arc."""

    first: int
    last: int
    round: bool


def part(points: Floats, *, tolerance_mm: float, corner_mm: float) -> list[Run]:
    """Return the runs round a ring of points (n, 2), in order."""
    n = len(points)
    start = int(np.hypot(*(points - points.mean(axis=0)).T).argmax())
    chain = points[(start + np.arange(n + 1)) % n]
    step = float(np.hypot(*np.diff(chain, axis=0).T).mean())
    trim = max(1, math.ceil(corner_mm / step))
    breaks = _breaks(chain, 0.5 * tolerance_mm, 3 * trim)
    sums = np.concatenate([np.zeros((1, 5)), _moments(chain).cumsum(axis=0)])
    weight = step / _TOGETHER_MM / (0.5 * tolerance_mm) ** 2
    least = np.full(len(breaks), math.inf)
    least[0] = 0.0
    came: list[tuple[int, bool]] = [(0, False)] * len(breaks)
    for j in range(1, len(breaks)):
        begins = breaks[:j]
        lines = _line_costs(sums, begins, breaks[j], trim) * weight + _PRICE[False]
        total = least[:j] + lines
        best = int(total.argmin())
        least[j], came[j] = float(total[best]), (best, False)
        # An arc can only win where the line is dear, and what went before is not too dear already.
        hopeful = np.flatnonzero((lines > _PRICE[True]) & (least[:j] + _PRICE[True] < least[j]))
        for i in hopeful:
            if (breaks[j] - breaks[i]) * step < LEAST_ARC_MM:
                continue
            cost = least[i] + _PRICE[True] + weight * _arc_cost(chain, int(breaks[i]), int(breaks[j]), trim, lines[i])
            if cost < least[j]:
                least[j], came[j] = cost, (int(i), True)
    runs: list[Run] = []
    at = len(breaks) - 1
    while at > 0:
        before, is_round = came[at]
        runs.append(Run(first=start + int(breaks[before]), last=start + int(breaks[at]), round=is_round))
        at = before
    return [Run(first=r.first % n, last=r.first % n + r.last - r.first, round=r.round) for r in reversed(runs)]


def trimmed(first: int, last: int, trim: int) -> tuple[int, int]:
    """The points of a run that are measured well: those beside its ends left out, as far as enough remain."""
    cut = max(0, min(trim, (last - first - LEAST_POINTS) // 2))
    return first + cut, last - cut


def _moments(chain: Floats) -> Floats:
    x, y = (chain - chain.mean(axis=0)).T
    return np.column_stack([x, y, x * x, x * y, y * y])


def _line_costs(sums: Floats, begins: Ints, end: int, trim: int) -> Floats:
    """Sum of squared distances from the line of each run begins-end, brought to its whole length."""
    cut = ((end - begins - LEAST_POINTS) // 2).clip(0, trim)
    low, high = begins + cut, end - cut
    count = high - low + 1.0
    x, y, xx, xy, yy = (sums[high + 1] - sums[low]).T
    a, b, c = xx - x * x / count, xy - x * y / count, yy - y * y / count
    least = (a + c) / 2 - np.hypot((a - c) / 2, b)
    found: Floats = least.clip(0.0) * (end - begins + 1.0) / count
    return found


def _arc_cost(chain: Floats, first: int, last: int, trim: int, otherwise: float) -> float:
    """As `_line_costs` for the circle nearest by algebra (I. Kasa, 1976); `otherwise` where it is none."""
    low, high = trimmed(first, last, trim)
    run = chain[low : high + 1]
    middle = run.mean(axis=0)
    u = run - middle
    squared = (u**2).sum(axis=1)
    try:
        center = np.linalg.solve(u.T @ u, u.T @ squared) / 2
    except np.linalg.LinAlgError:
        return otherwise
    radius = math.sqrt(float(center @ center) + float(squared.mean()))
    if radius > LARGEST_RADIUS_MM:
        return otherwise
    spokes = u - center
    turned = np.unwrap(np.arctan2(spokes[:, 1], spokes[:, 0]))
    if abs(float(turned[-1] - turned[0])) < math.radians(FEWEST_DEG):
        return otherwise
    off = np.hypot(*spokes.T) - radius
    return float((off**2).sum()) * (last - first + 1) / len(run)


def _breaks(chain: Floats, tolerance_mm: float, near: int) -> Ints:
    """Places at which the edge may break: corners of a chain of chords near to it, and the middles of short chords."""
    found = {0, len(chain) - 1}
    far = int(np.hypot(*(chain - chain[0]).T).argmax())
    stack = [(0, far), (far, len(chain) - 1)]
    while stack:
        a, b = stack.pop()
        found.add(a)
        if b - a < 2:
            continue
        chord, away = chain[b] - chain[a], chain[a + 1 : b] - chain[a]
        off = abs(chord[0] * away[:, 1] - chord[1] * away[:, 0]) / max(float(np.hypot(*chord)), 1e-9)
        worst = int(off.argmax())
        if off[worst] > tolerance_mm:
            stack += [(a, a + 1 + worst), (a + 1 + worst, b)]
    ordered = np.array(sorted(found))
    gaps = np.diff(ordered)
    middles = (ordered[:-1] + gaps // 2)[(gaps > 2) & (gaps <= near)]
    return np.unique(np.concatenate([ordered, middles]))
