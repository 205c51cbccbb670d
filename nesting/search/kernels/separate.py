"""Guided local search: move overlapping items until nothing overlaps.

Pairs that stay in overlap weigh more and more, so that the search is pushed out of dead ends (Umetani et al. 2009,
doi:10.1111/j.1475-3995.2009.00707.x; Gardeyn et al. 2025, arXiv:2509.13329).
"""

import math

import numpy as np

from nesting.search.kernels.arrays import Floats, Ints, Items, Losses, Region, Scratch, Shapes, Stock
from nesting.search.kernels.compiled import driver_kernel, kernel, random, random_normal
from nesting.search.kernels.pose import place, pose_loss, update_losses, weighted_loss

KEPT = 3
"""Best samples that are refined."""

SWAPPING = 0.4
"""Share of samples that try another waiting piece in an item's place."""

POLISHING = 20
"""How often every item is tried for a larger one once nothing overlaps."""

ENLARGING, ENLARGING_TRIES = 0.2, 10
"""How often an item that overlaps nothing is tried for a larger one, and with how many poses."""


@driver_kernel
def separate(
    shapes: Shapes, region: Region, items: Items, losses: Losses, s: Scratch, stock: Stock, best: Floats,
    settings: Floats, rng: np.ndarray, counters: Ints,
) -> float:  # fmt: skip
    """Drive the overlap of the items to zero; return what is left of it, 0 if nothing.

    `best` (items, 4) receives shape, x, y, turn of the best state met; the items themselves end in that state.
    Waiting pieces of the stock may take the places of items.  `settings`: most passes, patience, samples over the
    region, samples near by.  `counters[0]` grows by poses tried, `counters[1]` by passes; a `counters[2]` other than
    0, set from outside, stops the work.
    """
    n = items.shape.shape[0]
    most, patience = int(settings[0]), int(settings[1])
    for i in range(n):
        s.key[0] = -1.0
        place(i, items.shape[i], items.x[i], items.y[i], items.turn[i], shapes, items, s)
    for i in range(n):
        update_losses(i, shapes, region, items, losses, s)
    order = np.arange(n)
    least, mark, since = 1e300, 1e300, 0
    for step in range(most + 1):
        total = _total(losses)
        if total < least:
            least = total
            for i in range(n):
                best[i, 0], best[i, 1], best[i, 2], best[i, 3] = items.shape[i], items.x[i], items.y[i], items.turn[i]
        if total < 0.98 * mark:
            mark, since = total, 0
        else:
            since += 1
        if total == 0.0 or since > patience or step == most or counters[2] != 0:
            break
        _reweigh(losses)
        for a in range(n - 1, 0, -1):
            b = int(random(rng) * (a + 1))
            order[a], order[b] = order[b], order[a]
        for i in order:
            if weighted_loss(i, losses) > 0.0:
                improve(i, shapes, region, items, losses, s, stock, settings, rng, counters)
            elif stock.swaps[stock.kind[items.shape[i]]] and random(rng) < ENLARGING:
                enlarge(i, shapes, region, items, losses, s, stock, rng, counters)
        counters[1] += 1
    if total == 0.0:
        for _ in range(POLISHING):
            for i in range(n):
                if stock.swaps[stock.kind[items.shape[i]]]:
                    enlarge(i, shapes, region, items, losses, s, stock, rng, counters)
        return 0.0
    for i in range(n):
        s.key[0] = -1.0
        _change_kind(items.shape[i], int(best[i, 0]), stock)
        place(i, int(best[i, 0]), best[i, 1], best[i, 2], best[i, 3], shapes, items, s)
    return least


@driver_kernel
def improve(
    i: int, shapes: Shapes, region: Region, items: Items, losses: Losses, s: Scratch, stock: Stock, settings: Floats,
    rng: np.ndarray, counters: Ints,
) -> None:  # fmt: skip
    """Look for a better pose for one item, over the whole region and near by, and take the best found.

    A waiting piece may take its place, if the crowd stays worth what is asked; or nothing at all may.
    """
    old = items.shape[i]
    now = weighted_loss(i, losses)
    kept = np.empty((KEPT, 5))
    kept[:, 0] = 1e300
    kept[0, 0], kept[0, 1], kept[0, 2], kept[0, 3], kept[0, 4] = now, old, items.x[i], items.y[i], items.turn[i]
    wide, near = int(settings[2]), int(settings[3])
    swaps = stock.swaps[stock.kind[old]]
    for q in range(wide + near):
        k = old
        if swaps and random(rng) < SWAPPING:
            k = _another(k, False, stock, rng)
            if k == shapes.nothing:
                _keep(kept, 0.0, k, items.x[i], items.y[i], 0.0)
                break
        if shapes.mirror[k] >= 0 and random(rng) < 0.5:
            k = shapes.mirror[k]
        if q < wide:
            x, y, turn = anywhere(k, shapes, region, rng)
        else:
            x, y, turn = near_by(i, k, shapes, items, rng)
        loss = pose_loss(i, k, x, y, turn, kept[KEPT - 1, 0], shapes, region, items, losses, s)
        counters[0] += 1
        if loss < kept[KEPT - 1, 0]:
            _keep(kept, loss, k, x, y, turn)
    # A rough descent from each of the best, then a fine one from the winner.
    winner = 0
    for q in range(KEPT):
        if kept[q, 0] == 0.0:
            winner = q
            break
        if kept[q, 0] < 1e299:
            _descend(i, kept[q], 0.06, 0.01, shapes, region, items, losses, s, rng, counters)
            if kept[q, 0] < kept[winner, 0]:
                winner = q
    _descend(i, kept[winner], 0.01, 0.001, shapes, region, items, losses, s, rng, counters)
    w = kept[winner]
    if w[0] < now:
        _change_kind(old, int(w[1]), stock)
        place(i, int(w[1]), w[2], w[3], w[4], shapes, items, s)
        update_losses(i, shapes, region, items, losses, s)


@kernel
def enlarge(
    i: int, shapes: Shapes, region: Region, items: Items, losses: Losses, s: Scratch, stock: Stock,
    rng: np.ndarray, counters: Ints,
) -> None:  # fmt: skip
    """Let a piece worth more take the place of item `i`, which overlaps nothing, if it overlaps nothing either."""
    old = items.shape[i]
    for _ in range(ENLARGING_TRIES):
        k = _another(old, True, stock, rng)
        if k == old:
            return
        if shapes.mirror[k] >= 0 and random(rng) < 0.5:
            k = shapes.mirror[k]
        if old == shapes.nothing:
            x, y, turn = anywhere(k, shapes, region, rng)
        else:
            x, y, turn = near_by(i, k, shapes, items, rng)
        counters[0] += 1
        if pose_loss(i, k, x, y, turn, 0.0, shapes, region, items, losses, s) == 0.0:
            _change_kind(old, k, stock)
            place(i, k, x, y, turn, shapes, items, s)
            return


@kernel
def _another(k: int, dearer: bool, stock: Stock, rng: np.ndarray) -> int:
    """Draw a waiting piece that may take the place of one of shape `k`, or return `k`.

    With `dearer` it must be worth more; else it may be worth less, as far as the slack goes.
    """
    kinds = stock.waiting.shape[0]
    own = stock.kind[k]
    for _ in range(6):
        other = int(random(rng) * kinds)
        if stock.waiting[other] <= 0 or other == own:
            continue
        gain = stock.worth[other] - stock.worth[own]
        if gain > 0.0 if dearer else gain + stock.slack[0] >= 0.0:
            return stock.first_shape[other]
    return k


@kernel
def _change_kind(old: int, new: int, stock: Stock) -> None:
    """Book that a piece of one shape has taken the place of another."""
    a, b = stock.kind[old], stock.kind[new]
    if a != b:
        stock.waiting[a] += 1
        stock.waiting[b] -= 1
        stock.slack[0] += stock.worth[b] - stock.worth[a]


@kernel
def anywhere(k: int, shapes: Shapes, region: Region, rng: np.ndarray) -> tuple[float, float, float]:
    """Draw a pose for shape `k` whose box lies in the region's box.

    A free shape lies square with the axes a third of the time, and at another listed turn a third: the listed ones
    start along its own longest direction, and what is cut straight usually wants to lie straight.
    """
    first = shapes.turn_start[k]
    count = shapes.turn_start[k + 1] - first
    t = first + int(random(rng) * count)
    if shapes.free[k]:
        how = random(rng)
        if how < 0.33:
            fold = shapes.fold[k]
            square = 1 if fold % 4 == 0 else 2 if fold % 2 == 0 else 4
            t = first + int(random(rng) * square) * (count // square)
        turn = shapes.turn[t]
        if how > 0.67:
            turn += (random(rng) - 0.5) * (2.0 * math.pi / (count * shapes.fold[k]))
    else:
        turn = shapes.turn[t]
    b, own = region.bounds, shapes.turn_box[t]
    low, high = b[0] - own[0], b[2] - own[2]
    x = low + random(rng) * (high - low)
    low, high = b[1] - own[1], b[3] - own[3]
    y = low + random(rng) * (high - low)
    nx, ny, c = region.limit[0], region.limit[1], region.limit[2]
    if nx == 1.0:
        low, high = b[0] - own[0], min(b[2], c) - own[2]
        x = low + random(rng) * (high - low)
    elif nx != 0.0 or ny != 0.0:
        over = nx * x + ny * y - c
        if over > 0.0:
            x -= over * (1.0 + random(rng)) * nx
            y -= over * (1.0 + random(rng)) * ny
    return x, y, turn


@kernel
def near_by(i: int, k: int, shapes: Shapes, items: Items, rng: np.ndarray) -> tuple[float, float, float]:
    """Draw a pose near where item `i` is."""
    spread = 0.3 * shapes.radius[k]
    turn = items.turn[i]
    other = k != items.shape[i] and (not shapes.free[k] or k != shapes.mirror[items.shape[i]])
    if shapes.free[k]:
        turn += random_normal(rng) * 0.2
    if other or (not shapes.free[k] and random(rng) < 0.3):
        first = shapes.turn_start[k]
        turn = shapes.turn[first + int(random(rng) * (shapes.turn_start[k + 1] - first))]
    return items.x[i] + random_normal(rng) * spread, items.y[i] + random_normal(rng) * spread, turn


@kernel
def _keep(kept: Floats, loss: float, k: int, x: float, y: float, turn: float) -> None:
    q = KEPT - 1
    while q > 0 and kept[q - 1, 0] > loss:
        for f in range(5):
            kept[q, f] = kept[q - 1, f]
        q -= 1
    kept[q, 0], kept[q, 1], kept[q, 2], kept[q, 3], kept[q, 4] = loss, k, x, y, turn


@kernel
def _descend(
    i: int, pose: Floats, start: float, end: float, shapes: Shapes, region: Region, items: Items, losses: Losses,
    s: Scratch, rng: np.ndarray, counters: Ints,
) -> None:  # fmt: skip
    """Coordinate descent: try both ways along x, y, a diagonal or the turn; longer steps on success, shorter else.

    `pose` holds loss, shape, x, y, turn and is improved in place; steps run from `start` to `end` times the size.
    """
    k = int(pose[1])
    size = 2.0 * shapes.radius[k]
    sx = start * size
    sy = sx
    st = 1.5 * start
    low = end * size
    ways = 4 if shapes.free[k] else 3
    while (sx > low or sy > low) and pose[0] > 0.0:
        way = int(random(rng) * ways)
        dx, dy, dt = 0.0, 0.0, 0.0
        if way == 0:
            dx = sx
        elif way == 1:
            dy = sy
        elif way == 2:
            dx, dy = sx, sy if random(rng) < 0.5 else -sy
        else:
            dt = st
        better = False
        for sign in (1.0, -1.0):
            x, y, turn = pose[2] + sign * dx, pose[3] + sign * dy, pose[4] + sign * dt
            loss = pose_loss(i, k, x, y, turn, pose[0], shapes, region, items, losses, s)
            counters[0] += 1
            if loss < pose[0]:
                pose[0], pose[2], pose[3], pose[4] = loss, x, y, turn
                better = True
                break
        factor = 1.1 if better else 0.5
        if way == 0:
            sx *= factor
        elif way == 1:
            sy *= factor
        elif way == 2:
            both = 1.1 if better else 0.7071
            sx *= both
            sy *= both
        else:
            st *= factor


@kernel
def _total(losses: Losses) -> float:
    n = losses.edge.shape[0]
    total = 0.0
    for i in range(n):
        if losses.faults[i] > 0:
            total += losses.edge[i]
            for j in range(i + 1, n):
                total += losses.pair[i, j]
    return total


@kernel
def _reweigh(losses: Losses) -> None:
    """Raise the weights of what overlaps, most for the worst; let the others fall back towards 1."""
    n = losses.edge.shape[0]
    most = 0.0
    for i in range(n):
        if losses.faults[i] > 0:
            most = max(most, losses.edge[i])
            for j in range(i + 1, n):
                most = max(most, losses.pair[i, j])
    if most == 0.0:
        return
    _relax(losses)
    for i in range(n):
        if losses.edge[i] > 0.0:
            losses.edge_weight[i] *= 1.2 + 0.8 * losses.edge[i] / most
        if losses.faults[i] == 0:
            continue
        for j in range(i + 1, n):
            if losses.pair[i, j] > 0.0:
                _raise(i, j, 1.2 + 0.8 * losses.pair[i, j] / most, losses)


@kernel
def _relax(losses: Losses) -> None:
    """Let the weights of what does not overlap fall back by a twentieth."""
    for i in range(losses.edge.shape[0]):
        if losses.edge[i] == 0.0:
            losses.edge_weight[i] = max(1.0, losses.edge_weight[i] * 0.95)
    q = 0
    while q < losses.heavies[0]:
        i, j = losses.heavy[q, 0], losses.heavy[q, 1]
        w = losses.pair_weight[i, j]
        if losses.pair[i, j] == 0.0:
            w = max(1.0, w * 0.95)
            losses.pair_weight[i, j] = losses.pair_weight[j, i] = w
        if w > 1.0:
            q += 1
        else:
            last = losses.heavies[0] - 1
            losses.heavy[q, 0], losses.heavy[q, 1] = losses.heavy[last, 0], losses.heavy[last, 1]
            losses.heavies[0] = last


@kernel
def _raise(i: int, j: int, factor: float, losses: Losses) -> None:
    """Make a pair weigh more; while the list of heavy pairs is full no other pair is added to it."""
    if losses.pair_weight[i, j] <= 1.0:
        q = losses.heavies[0]
        if q == losses.heavy.shape[0]:
            return
        losses.heavy[q, 0], losses.heavy[q, 1] = i, j
        losses.heavies[0] = q + 1
    w = losses.pair_weight[i, j] * factor
    losses.pair_weight[i, j] = losses.pair_weight[j, i] = w
