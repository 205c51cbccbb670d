"""Trying a pose: the weighted loss of putting one item somewhere, given up as soon as it is too large to matter."""

import numpy as np

from nesting.search.kernels.arrays import FAR, POLES, Items, Losses, Region, Scratch, Shapes, Slices
from nesting.search.kernels.collide import leaves_region, shapes_overlap, surely_inside
from nesting.search.kernels.compiled import inner_kernel, kernel, lowest_bit
from nesting.search.kernels.proxy import pole_overlap, region_overlap, rotate


@inner_kernel
def turn_to(shapes: Shapes, k: int, turn: float, s: Scratch) -> None:
    """Make the coordinates in `s` those of shape `k` at this turn; does nothing if they are already."""
    if s.key[0] != k or s.key[1] != turn:
        rotate(shapes, k, turn, s)
        s.key[0], s.key[1] = k, turn


@inner_kernel
def pose_loss(
    i: int, k: int, x: float, y: float, turn: float, bound: float,
    shapes: Shapes, region: Region, items: Items, losses: Losses, s: Scratch,
) -> float:  # fmt: skip
    """Return the weighted loss of item `i` as shape `k` in this pose, or some figure above `bound`."""
    turn_to(shapes, k, turn, s)
    edge, sure, weight = 0.0, True, losses.edge_weight[i]
    if not surely_inside(shapes, k, s, x, y, region):
        edge, sure = region_overlap(shapes, k, s, x, y, region)
    total = weight * edge if sure else 0.0
    if total > bound:
        return total
    doubt_edge = not sure
    s.doubts[0] = 0
    slices = items.slices
    i0, i1, j0, j1 = _span(s.box[0] + x, s.box[1] + y, s.box[2] + x, s.box[3] + y, slices)
    for word in range(slices.column.shape[0]):
        left = _near(word, i0, i1, j0, j1, slices)
        while left != 0:
            total = _meet(i, 64 * word + lowest_bit(left), k, x, y, total, bound, shapes, items, losses, s)
            if total > bound:
                return total
            left &= left - np.uint64(1)
    if doubt_edge and leaves_region(shapes, k, s, x, y, region):
        total += weight * edge
        if total > bound:
            return total
    for q in range(s.doubts[0]):
        if shapes_overlap(shapes, k, s, x, y, items, s.doubtful[q]):
            total += s.doubtful_loss[q]
            if total > bound:
                return total
    return total


@inner_kernel
def _meet(
    i: int, j: int, k: int, x: float, y: float, total: float, bound: float,
    shapes: Shapes, items: Items, losses: Losses, s: Scratch,
) -> float:  # fmt: skip
    """Add to `total` what the candidate surely loses against item `j`; note the item where edges must decide."""
    box = items.box
    if (
        box[j, 2] <= s.box[0] + x or box[j, 0] >= s.box[2] + x or box[j, 3] <= s.box[1] + y
        or box[j, 1] >= s.box[3] + y or j == i
    ):  # fmt: skip
        return total
    dx, dy, reach = x - items.x[j], y - items.y[j], shapes.radius[k] + shapes.radius[items.shape[j]]
    if dx * dx + dy * dy >= reach * reach:
        return total
    w = losses.pair_weight[i, j]
    loss, sure = pole_overlap(shapes, k, s, x, y, items, j, (bound - total) / w)
    if sure:
        return total + w * loss
    s.doubtful[s.doubts[0]] = j
    s.doubtful_loss[s.doubts[0]] = w * loss
    s.doubts[0] += 1
    return total


@inner_kernel
def _span(x0: float, y0: float, x1: float, y1: float, slices: Slices) -> tuple[int, int, int, int]:
    """Return the first and last column, and the first and last row, that a box lies across."""
    columns, rows = slices.column.shape[1], slices.row.shape[1]
    across, up = slices.columns_per_unit, slices.rows_per_unit
    return (
        _slice((x0 - slices.x0) * across, columns), _slice((x1 - slices.x0) * across, columns),
        _slice((y0 - slices.y0) * up, rows), _slice((y1 - slices.y0) * up, rows),
    )  # fmt: skip


@inner_kernel
def _slice(at: float, count: int) -> int:
    return int(min(max(at, 0.0), count - 1.0))


@inner_kernel
def _near(word: int, i0: int, i1: int, j0: int, j1: int, slices: Slices) -> np.uint64:
    """Return the bits of 64 items: which lie across some of the columns and some of the rows."""
    across = along = np.uint64(0)
    for column in range(i0, i1 + 1):
        across |= slices.column[word, column]
    for row in range(j0, j1 + 1):
        along |= slices.row[word, row]
    return across & along


@kernel
def place(i: int, k: int, x: float, y: float, turn: float, shapes: Shapes, items: Items, s: Scratch) -> None:
    """Put item `i` as shape `k` in this pose."""
    items.shape[i], items.x[i], items.y[i], items.turn[i] = k, x, y, turn
    if k == shapes.nothing:
        items.box[i, 0], items.box[i, 1], items.box[i, 2], items.box[i, 3] = 1e18, 1e18, 1e18, 1e18
        _file(i, False, items)
        return
    turn_to(shapes, k, turn, s)
    for v in range(shapes.vertex_start[k + 1] - shapes.vertex_start[k]):
        items.wx[i, v], items.wy[i, v] = s.wx[v] + x, s.wy[v] + y
    for r in range(shapes.run_start[k + 1] - shapes.run_start[k]):
        items.run_x[i, r], items.run_y[i, r] = s.run_x[r] + x, s.run_y[r] + y
    for p in range(POLES):
        items.pole_x[i, p], items.pole_y[i, p] = s.pole_x[p], s.pole_y[p]
    items.box[i, 0], items.box[i, 1] = s.box[0] + x, s.box[1] + y
    items.box[i, 2], items.box[i, 3] = s.box[2] + x, s.box[3] + y
    _file(i, abs(x) < 0.5 * FAR, items)


@kernel
def _file(i: int, there: bool, items: Items) -> None:
    """Note the slices that item `i` lies across now; one that is not there, or waits far off, is in none."""
    slices, box = items.slices, items.box
    span, word, bit = slices.span, i >> 6, np.uint64(1) << np.uint64(i & 63)
    if span[i, 0] >= 0:
        for column in range(span[i, 0], span[i, 1] + 1):
            slices.column[word, column] &= ~bit
        for row in range(span[i, 2], span[i, 3] + 1):
            slices.row[word, row] &= ~bit
    if not there:
        span[i, 0] = -1
        return
    span[i, 0], span[i, 1], span[i, 2], span[i, 3] = _span(box[i, 0], box[i, 1], box[i, 2], box[i, 3], slices)
    for column in range(span[i, 0], span[i, 1] + 1):
        slices.column[word, column] |= bit
    for row in range(span[i, 2], span[i, 3] + 1):
        slices.row[word, row] |= bit


@kernel
def update_losses(i: int, shapes: Shapes, region: Region, items: Items, losses: Losses, s: Scratch) -> None:
    """Compute the loss of item `i` against the region and every other item."""
    for j in range(items.shape.shape[0]):
        if losses.pair[i, j] > 0.0:
            losses.pair[i, j] = losses.pair[j, i] = 0.0
            losses.faults[j] -= 1
    losses.faults[i] = 0
    losses.edge[i] = 0.0
    k, x, y, turn = items.shape[i], items.x[i], items.y[i], items.turn[i]
    if k == shapes.nothing:
        return
    turn_to(shapes, k, turn, s)
    if not surely_inside(shapes, k, s, x, y, region):
        edge, sure = region_overlap(shapes, k, s, x, y, region)
        if sure or leaves_region(shapes, k, s, x, y, region):
            losses.edge[i] = edge
            losses.faults[i] = 1
    slices = items.slices
    i0, i1, j0, j1 = _span(items.box[i, 0], items.box[i, 1], items.box[i, 2], items.box[i, 3], slices)
    for word in range(slices.column.shape[0]):
        left = _near(word, i0, i1, j0, j1, slices)
        while left != 0:
            _update_pair(i, 64 * word + lowest_bit(left), shapes, items, losses, s)
            left &= left - np.uint64(1)


@kernel
def _update_pair(i: int, j: int, shapes: Shapes, items: Items, losses: Losses, s: Scratch) -> None:
    box = items.box
    if (
        box[j, 2] <= box[i, 0] or box[j, 0] >= box[i, 2] or box[j, 3] <= box[i, 1] or box[j, 1] >= box[i, 3] or j == i
    ):  # fmt: skip
        return
    k, x, y = items.shape[i], items.x[i], items.y[i]
    loss, sure = pole_overlap(shapes, k, s, x, y, items, j, 1e100)
    if sure or shapes_overlap(shapes, k, s, x, y, items, j):
        losses.pair[i, j] = losses.pair[j, i] = loss
        losses.faults[i] += 1
        losses.faults[j] += 1


@kernel
def weighted_loss(i: int, losses: Losses) -> float:
    """Return the weighted loss of item `i` where it is, from the losses on record."""
    if losses.faults[i] == 0:
        return 0.0
    total = losses.edge_weight[i] * losses.edge[i]
    for j in range(losses.pair.shape[0]):
        total += losses.pair_weight[i, j] * losses.pair[i, j]
    return total
