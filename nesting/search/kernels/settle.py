"""Put one item where it overlaps nothing, as far along a direction of pull as it will go; the others stay."""

import numpy as np

from nesting.search.kernels.arrays import Floats, Ints, Items, Losses, Region, Scratch, Shapes
from nesting.search.kernels.compiled import driver_kernel, kernel, random
from nesting.search.kernels.pose import place, pose_loss, turn_to
from nesting.search.kernels.separate import anywhere

KEPT = 4


@driver_kernel
def settle(
    i: int, tries: int, pull: Floats, shapes: Shapes, region: Region, items: Items, losses: Losses, s: Scratch,
    rng: np.ndarray, counters: Ints,
) -> bool:  # fmt: skip
    """Place item `i` free of overlap with the least `reach` that `tries` samples and a slide find; False if none does.

    `pull` holds weights (left, right, down, up) of how far the item's box reaches to each side.  Some samples lie
    against the box of an item before `i`, which makes rows of what is rectangular.
    """
    kept = np.empty((KEPT, 5))
    kept[:, 0] = 1e300
    start = items.shape[i]
    for _ in range(tries):
        k = start
        if shapes.mirror[k] >= 0 and random(rng) < 0.5:
            k = shapes.mirror[k]
        x, y, turn = anywhere(k, shapes, region, rng)
        turn_to(shapes, k, turn, s)
        if i > 0 and random(rng) < 0.3:
            x, y = _beside(int(random(rng) * i), items, s, rng)
        aim = _reach(x, y, s, pull)
        if aim >= kept[KEPT - 1, 0]:
            continue
        counters[0] += 1
        if pose_loss(i, k, x, y, turn, 0.0, shapes, region, items, losses, s) == 0.0:
            q = KEPT - 1
            while q > 0 and kept[q - 1, 0] > aim:
                for f in range(5):
                    kept[q, f] = kept[q - 1, f]
                q -= 1
            kept[q, 0], kept[q, 1], kept[q, 2], kept[q, 3], kept[q, 4] = aim, k, x, y, turn
        if counters[2] != 0:
            break
    winner = -1
    for q in range(KEPT):
        if kept[q, 0] < 1e299:
            _slide(i, kept[q], pull, shapes, region, items, losses, s, rng, counters)
            if winner < 0 or kept[q, 0] < kept[winner, 0]:
                winner = q
    if winner < 0:
        return False
    w = kept[winner]
    place(i, int(w[1]), w[2], w[3], w[4], shapes, items, s)
    return True


@kernel
def _beside(j: int, items: Items, s: Scratch, rng: np.ndarray) -> tuple[float, float]:
    """Return where the candidate's box touches item `j`'s on one side, flush with it at one end."""
    box = items.box[j]
    side = int(random(rng) * 4.0)
    low = random(rng) < 0.5
    if side < 2:
        x = box[2] - s.box[0] if side == 0 else box[0] - s.box[2]
        return x, box[1] - s.box[1] if low else box[3] - s.box[3]
    y = box[3] - s.box[1] if side == 2 else box[1] - s.box[3]
    return box[0] - s.box[0] if low else box[2] - s.box[2], y


@kernel
def _reach(x: float, y: float, s: Scratch, pull: Floats) -> float:
    return pull[1] * (x + s.box[2]) - pull[0] * (x + s.box[0]) + pull[3] * (y + s.box[3]) - pull[2] * (y + s.box[1])


@driver_kernel
def _slide(
    i: int, pose: Floats, pull: Floats, shapes: Shapes, region: Region, items: Items, losses: Losses, s: Scratch,
    rng: np.ndarray, counters: Ints,
) -> None:  # fmt: skip
    """Move along the axes and turn, never into overlap, while the reach shrinks."""
    k = int(pose[1])
    size = 2.0 * shapes.radius[k]
    pose_loss(i, k, pose[2], pose[3], pose[4], 0.0, shapes, region, items, losses, s)
    pose[0] = _reach(pose[2], pose[3], s, pull)
    step = np.zeros(3)
    step[0] = step[1] = 0.5 * size
    step[2] = 0.1
    ways = 3 if shapes.free[k] else 2
    while step[0] > 1e-5 * size or step[1] > 1e-5 * size:
        way = int(random(rng) * ways)
        better = False
        for sign in (1.0, -1.0):
            x, y, turn = pose[2], pose[3], pose[4]
            if way == 0:
                x += sign * step[0]
            elif way == 1:
                y += sign * step[1]
            else:
                turn += sign * step[2]
            counters[0] += 1
            if pose_loss(i, k, x, y, turn, 0.0, shapes, region, items, losses, s) == 0.0:
                reach = _reach(x, y, s, pull)
                if reach < pose[0]:
                    pose[0], pose[2], pose[3], pose[4] = reach, x, y, turn
                    better = True
                    break
        step[way] *= 1.3 if better else 0.5
    _snap(i, pose, pull, shapes, region, items, losses, s)


@kernel
def _snap(
    i: int,
    pose: Floats,
    pull: Floats,
    shapes: Shapes,
    region: Region,
    items: Items,
    losses: Losses,
    s: Scratch,
) -> None:
    """Bring the box exactly to the boxes and bounds that it all but touches, so that rows fit to the last digit."""
    k = int(pose[1])
    near = 1e-3 * shapes.radius[k]
    turn_to(shapes, k, pose[4], s)
    for axis in range(2):
        for j in range(-1, i):
            for side in range(2):
                wall = region.bounds[axis + 2 * side] if j < 0 else items.box[j, axis + 2 * (1 - side)]
                at = wall - s.box[axis + 2 * side]
                if at == pose[2 + axis] or abs(at - pose[2 + axis]) > near:
                    continue
                x = at if axis == 0 else pose[2]
                y = at if axis == 1 else pose[3]
                if pose_loss(i, k, x, y, pose[4], 0.0, shapes, region, items, losses, s) == 0.0:
                    reach = _reach(x, y, s, pull)
                    if reach <= pose[0]:
                        pose[0], pose[2], pose[3] = reach, x, y
