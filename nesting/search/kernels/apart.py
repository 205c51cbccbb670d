"""How far convex pieces lie apart, and along which direction."""

import math

from nesting.search.kernels.arrays import Floats, Ints
from nesting.search.kernels.compiled import kernel


@kernel
def gaps(
    x: Floats, y: Floats, start: Ints, box: Floats, owner: Ints, order: Ints, reach: float, found: Floats, who: Ints
) -> int:
    """Find all pairs of pieces of different owners less than `reach` apart; return how many, -1 if there is no room.

    Piece `p` has the corners start[p]..start[p + 1] - 1, counter-clockwise, and the bounds box[p] (x0, y0, x1, y1);
    `order` lists pieces by their x0.  `found` (n, 3) gets the direction from the first to the second, the normal of an
    edge of either along which they are farthest apart, and how far that is, negative where they overlap; `who` (n, 2)
    their owners.
    """
    count = 0
    for p in range(order.shape[0]):
        a = order[p]
        for q in range(p + 1, order.shape[0]):
            b = order[q]
            if box[b, 0] > box[a, 2] + reach:
                break
            if owner[a] == owner[b] or box[b, 1] > box[a, 3] + reach or box[b, 3] < box[a, 1] - reach:
                continue
            s, nx, ny = _beyond_an_edge(x, y, start, a, b)
            back, mx, my = _beyond_an_edge(x, y, start, b, a)
            if back > s:
                s, nx, ny = back, -mx, -my
            if s > reach:
                continue
            if count == found.shape[0]:
                return -1
            found[count, 0], found[count, 1], found[count, 2] = nx, ny, s
            who[count, 0], who[count, 1] = owner[a], owner[b]
            count += 1
    return count


@kernel
def _beyond_an_edge(x: Floats, y: Floats, start: Ints, a: int, b: int) -> tuple[float, float, float]:
    """Return how far all of piece `b` lies beyond an edge of `a`, the edge where that is most, and its normal."""
    best, best_x, best_y = -1e300, 1.0, 0.0
    for e in range(start[a], start[a + 1]):
        f = e + 1 if e + 1 < start[a + 1] else start[a]
        dx, dy = x[f] - x[e], y[f] - y[e]
        length = math.sqrt(dx * dx + dy * dy)
        if length == 0.0:
            continue
        nx, ny = dy / length, -dx / length
        least = 1e300
        for v in range(start[b], start[b + 1]):
            least = min(least, nx * (x[v] - x[e]) + ny * (y[v] - y[e]))
            if least < best:
                break
        if least > best:
            best, best_x, best_y = least, nx, ny
    return best, best_x, best_y
