"""Guided local search: move overlapping items until nothing overlaps.

Pairs that stay in overlap weigh more and more, so that the search is pushed out of dead ends (Umetani et al. 2009,
doi:10.1111/j.1475-3995.2009.00707.x; Gardeyn et al. 2025, arXiv:2509.13329).
"""

import math

import numpy as np

from nesting.search.kernels.arrays import Floats, Ints, Items, Losses, Region, Scratch, Shapes
from nesting.search.kernels.compiled import driver_kernel, kernel, random, random_normal
from nesting.search.kernels.pose import place, pose_loss, update_losses, weighted_loss

KEPT = 3
"""Best samples that are refined."""


@driver_kernel
def separate(
    shapes: Shapes, region: Region, items: Items, losses: Losses, s: Scratch, best: Floats, movable: int,
    settings: Floats, rng: np.ndarray, counters: Ints,
) -> float:  # fmt: skip
    """Drive the overlap of the items to zero; return what is left of it, 0 if nothing.

    `best` (items, 4) receives shape, x, y, turn of the best state met; the items themselves end in that state.
    Items below `movable` stay where they are.  `settings`: most passes, patience, samples over the region, samples
    near by.  `counters[0]` grows by poses tried, `counters[1]` by passes; a `counters[2]` other than 0, set from
    outside, stops the work.
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
            if i >= movable and weighted_loss(i, losses) > 0.0:
                improve(i, shapes, region, items, losses, s, settings, rng, counters)
        counters[1] += 1
    for i in range(n):
        s.key[0] = -1.0
        place(i, int(best[i, 0]), best[i, 1], best[i, 2], best[i, 3], shapes, items, s)
    return least


@driver_kernel
def improve(
    i: int, shapes: Shapes, region: Region, items: Items, losses: Losses, s: Scratch, settings: Floats,
    rng: np.ndarray, counters: Ints,
) -> None:  # fmt: skip
    """Look for a better pose for one item, over the whole region and near by, and take the best found."""
    now = weighted_loss(i, losses)
    kept = np.empty((KEPT, 5))
    kept[:, 0] = 1e300
    kept[0, 0], kept[0, 1], kept[0, 2], kept[0, 3], kept[0, 4] = (
        now, items.shape[i], items.x[i], items.y[i], items.turn[i],
    )  # fmt: skip
    wide, near = int(settings[2]), int(settings[3])
    for q in range(wide + near):
        k = items.shape[i]
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
        if kept[q, 0] < 1e299:
            _descend(i, kept[q], 0.02, 0.002, shapes, region, items, losses, s, rng, counters)
            if kept[q, 0] < kept[winner, 0]:
                winner = q
            if kept[q, 0] == 0.0:
                break
    _descend(i, kept[winner], 0.003, 0.0003, shapes, region, items, losses, s, rng, counters)
    w = kept[winner]
    if w[0] < now:
        place(i, int(w[1]), w[2], w[3], w[4], shapes, items, s)
        update_losses(i, shapes, region, items, losses, s)


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
    if shapes.free[k]:
        turn += random_normal(rng) * 0.2
    elif random(rng) < 0.3 or k != items.shape[i]:
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
        most = max(most, losses.edge[i])
        for j in range(i + 1, n):
            most = max(most, losses.pair[i, j])
    if most == 0.0:
        return
    for i in range(n):
        e = losses.edge[i]
        losses.edge_weight[i] = (
            losses.edge_weight[i] * (1.2 + 0.8 * e / most) if e > 0.0 else max(1.0, losses.edge_weight[i] * 0.95)
        )
        for j in range(i + 1, n):
            p = losses.pair[i, j]
            w = losses.pair_weight[i, j]
            w = w * (1.2 + 0.8 * p / most) if p > 0.0 else max(1.0, w * 0.95)
            losses.pair_weight[i, j] = w
            losses.pair_weight[j, i] = w
