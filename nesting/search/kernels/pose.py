"""Trying a pose: the weighted loss of putting one item somewhere, given up as soon as it is too large to matter."""

from nesting.search.kernels.arrays import Items, Losses, Region, Scratch, Shapes
from nesting.search.kernels.collide import leaves_region, shapes_overlap
from nesting.search.kernels.compiled import kernel
from nesting.search.kernels.proxy import pole_overlap, region_overlap, rotate


@kernel
def turn_to(shapes: Shapes, k: int, turn: float, s: Scratch) -> None:
    """Make the coordinates in `s` those of shape `k` at this turn; does nothing if they are already."""
    if s.key[0] != k or s.key[1] != turn:
        rotate(shapes, k, turn, s)
        s.key[0], s.key[1] = k, turn


@kernel
def pose_loss(
    i: int, k: int, x: float, y: float, turn: float, bound: float,
    shapes: Shapes, region: Region, items: Items, losses: Losses, s: Scratch,
) -> float:  # fmt: skip
    """Return the weighted loss of item `i` as shape `k` in this pose, or some figure above `bound`."""
    turn_to(shapes, k, turn, s)
    edge, sure = region_overlap(shapes, k, s, x, y, region)
    weight = losses.edge_weight[i]
    total = weight * edge if sure else 0.0
    if total > bound:
        return total
    doubt_edge = not sure
    doubtful = 0
    x0, y0, x1, y1 = s.box[0] + x, s.box[1] + y, s.box[2] + x, s.box[3] + y
    box = items.box
    for j in range(items.shape.shape[0]):
        if box[j, 2] <= x0 or box[j, 0] >= x1 or box[j, 3] <= y0 or box[j, 1] >= y1 or j == i:
            continue
        w = losses.pair_weight[i, j]
        loss, sure = pole_overlap(shapes, k, s, x, y, items, j, (bound - total) / w)
        if sure:
            total += w * loss
            if total > bound:
                return total
        else:
            s.doubtful[doubtful] = j
            s.doubtful_loss[doubtful] = w * loss
            doubtful += 1
    if doubt_edge and leaves_region(shapes, k, s, x, y, region):
        total += weight * edge
        if total > bound:
            return total
    for q in range(doubtful):
        if shapes_overlap(shapes, k, s, x, y, items, s.doubtful[q]):
            total += s.doubtful_loss[q]
            if total > bound:
                return total
    return total


@kernel
def place(i: int, k: int, x: float, y: float, turn: float, shapes: Shapes, items: Items, s: Scratch) -> None:
    """Put item `i` as shape `k` in this pose."""
    turn_to(shapes, k, turn, s)
    items.shape[i], items.x[i], items.y[i], items.turn[i] = k, x, y, turn
    for v in range(shapes.vertex_start[k + 1] - shapes.vertex_start[k]):
        items.wx[i, v], items.wy[i, v] = s.wx[v] + x, s.wy[v] + y
    for r in range(shapes.run_start[k + 1] - shapes.run_start[k]):
        items.run_x[i, r], items.run_y[i, r] = s.run_x[r] + x, s.run_y[r] + y
    for p in range(shapes.pole_start[k + 1] - shapes.pole_start[k]):
        items.pole_x[i, p], items.pole_y[i, p] = s.pole_x[p], s.pole_y[p]
    items.box[i, 0], items.box[i, 1] = s.box[0] + x, s.box[1] + y
    items.box[i, 2], items.box[i, 3] = s.box[2] + x, s.box[3] + y


@kernel
def update_losses(i: int, shapes: Shapes, region: Region, items: Items, losses: Losses, s: Scratch) -> None:
    """Compute the loss of item `i` against the region and every other item."""
    k, x, y, turn = items.shape[i], items.x[i], items.y[i], items.turn[i]
    turn_to(shapes, k, turn, s)
    edge, sure = region_overlap(shapes, k, s, x, y, region)
    losses.edge[i] = edge if sure or leaves_region(shapes, k, s, x, y, region) else 0.0
    x0, y0, x1, y1 = s.box[0] + x, s.box[1] + y, s.box[2] + x, s.box[3] + y
    box = items.box
    for j in range(items.shape.shape[0]):
        if j == i:
            continue
        loss = 0.0
        if box[j, 2] > x0 and box[j, 0] < x1 and box[j, 3] > y0 and box[j, 1] < y1:
            overlap, sure = pole_overlap(shapes, k, s, x, y, items, j, 1e100)
            if sure or shapes_overlap(shapes, k, s, x, y, items, j):
                loss = overlap
        losses.pair[i, j] = loss
        losses.pair[j, i] = loss


@kernel
def weighted_loss(i: int, losses: Losses) -> float:
    """Return the weighted loss of item `i` where it is, from the losses on record."""
    total = losses.edge_weight[i] * losses.edge[i]
    for j in range(losses.pair.shape[0]):
        total += losses.pair_weight[i, j] * losses.pair[i, j]
    return total
