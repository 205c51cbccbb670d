"""Compaction: all items moved at once, unturned, as far toward one side as their places among one another allow.

Between every two convex pieces that lie near, and between a piece and the region's edge, the line that parts them is
kept; how far the items can go is then a linear programme (Gomes & Oliveira 2006, doi:10.1016/j.ejor.2004.09.008).
"""

import math
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.optimize import linprog
from scipy.sparse import coo_array

from nesting.search.convex import convex_pieces
from nesting.search.kernels.apart import gaps
from nesting.search.kernels.arrays import Floats, Ints
from nesting.search.problem import Poses, Problem

MOST_MOVES = 200

STEP = 0.1
"""How far an item goes in one move at most, as a share of the usual item's size."""

MOST_MENDINGS = 10

_WALL = -1
_ENOUGH = 1e-6

_TOUCHING = 1e-6
"""Overlap, as a share of the step, that counts as touching and is left as it is."""


@dataclass(frozen=True, kw_only=True)
class _Pieces:
    """Convex pieces where they lie: corners, where each piece's begin, bounds, whose they are."""

    x: Floats
    y: Floats
    start: Ints
    box: Floats
    owner: Ints


def compacted(
    problem: Problem, poses: Poses, direction: tuple[float, float], *, seconds: float,
    should_stop: Callable[[], bool] = lambda: False,
) -> Poses:  # fmt: skip
    """Return the items moved so that they reach less far along a direction (unit vector), or where they were.

    The items must not overlap, and must lie in the region; they do not afterwards either, but for what the solver's
    tolerance of 1e-7 makes.  Ends within `seconds`, or soon after, or at the move after a call to stop.
    """
    pieces = [convex_pieces(s.polygon) for s in problem.shape_list]
    walls = _walls(problem)
    step = STEP * float(np.sqrt(np.median(problem.area)))
    reach = problem.extent(poses, *direction)
    end = time.monotonic() + seconds
    for _ in range(MOST_MOVES):
        left = end - time.monotonic()
        goes_on = left > 0.0 and not should_stop()
        moved = _moved(problem, poses, pieces, walls, direction, step, left) if goes_on else None
        now = reach if moved is None else problem.extent(moved, *direction)
        if moved is None or now >= reach:
            break
        gain, reach, poses = reach - now, now, moved
        if gain < _ENOUGH * step:
            break
    return poses


def mended(problem: Problem, poses: Poses, direction: tuple[float, float], *, seconds: float) -> Poses | None:
    """Return the items moved off one another and into the region where they overlap or stand out a little.

    Of all such moves the one that leaves them reaching least far along a direction (unit vector); None where small
    moves do not do it, or not within `seconds`.
    """
    pieces = [convex_pieces(s.polygon) for s in problem.shape_list]
    walls = _walls(problem)
    step = STEP * float(np.sqrt(np.median(problem.area)))
    end = time.monotonic() + seconds
    for _ in range(MOST_MENDINGS):
        left = end - time.monotonic()
        moved = _moved(problem, poses, pieces, walls, direction, step, left) if left > 0.0 else None
        if moved is None or problem.is_legal(problem.placed_polygons(moved)):
            return moved
        poses = moved
    return None


def _walls(problem: Problem) -> list[Floats]:
    """Convex pieces of what lies in the region's bounds and not in the region."""
    if problem.region.is_box:
        return []
    outside = shapely.box(*problem.region_polygon.bounds).difference(problem.region_polygon)
    return [piece for part in shapely.get_parts(outside) if part.area > 0.0 for piece in convex_pieces(part)]


def _laid_out(poses: Poses, pieces: list[list[Floats]], walls: list[Floats]) -> _Pieces:
    corners, owner = list(walls), [_WALL] * len(walls)
    for i, (k, x, y, turn) in enumerate(poses):
        c, s = math.cos(turn), math.sin(turn)
        for piece in pieces[int(k)]:
            corners.append(piece @ np.array([[c, s], [-s, c]]) + (x, y))
            owner.append(i)
    start = np.concatenate([[0], np.cumsum([len(c) for c in corners])]).astype(np.int64)
    x, y = np.ascontiguousarray(np.vstack(corners).T)
    low, high = np.minimum.reduceat, np.maximum.reduceat
    box = np.column_stack([low(x, start[:-1]), low(y, start[:-1]), high(x, start[:-1]), high(y, start[:-1])])
    return _Pieces(x=x, y=y, start=start, box=box, owner=np.array(owner, dtype=np.int64))


def _near(laid: _Pieces, reach: float) -> tuple[Floats, Ints]:
    """Return direction and distance (n, 3) of all pairs of pieces nearer than `reach`, and whose they are (n, 2)."""
    order = np.argsort(laid.box[:, 0], kind="stable")
    room = 32 * len(laid.owner)
    while True:
        found, who = np.empty((room, 3)), np.empty((room, 2), dtype=np.int64)
        count = gaps(laid.x, laid.y, laid.start, laid.box, laid.owner, order, reach, found, who)
        if count >= 0:
            return found[:count], who[:count]
        room *= 4


def _moved(
    problem: Problem, poses: Poses, pieces: list[list[Floats]], walls: list[Floats], direction: tuple[float, float],
    step: float, seconds: float,
) -> Poses | None:  # fmt: skip
    """Move all items by the least reach's programme, apart where they overlap; None if it has no answer.

    Its unknowns are each item's shift, (x, y) in turn, and the reach.
    """
    n = len(poses)
    laid = _laid_out(poses, pieces, walls)
    found, who = _near(laid, 2.0 * math.sqrt(2.0) * step)
    parting = _rows(found, who, n)
    own = laid.owner != _WALL
    far = problem.extents(poses, *direction)
    at = np.arange(n)
    ends = coo_array(
        (
            np.concatenate([np.full(n, direction[0]), np.full(n, direction[1]), np.full(n, -1.0)]),
            (np.tile(at, 3), np.concatenate([2 * at, 2 * at + 1, np.full(n, 2 * n)])),
        ),
        shape=(n, 2 * n + 1),
    )
    inside = _bounds(laid.box[own], laid.owner[own], problem.region.bounds, n, step)
    answer = linprog(
        np.append(np.zeros(2 * n), 1.0),
        A_ub=_stacked(parting, ends),
        b_ub=np.concatenate([_or_touching(found[:, 2], step), -far]),
        bounds=np.vstack([inside, [[-np.inf, np.inf]]]),
        method="highs",
        options={"time_limit": seconds},
    )
    if answer.x is None:
        return None
    moved = poses.copy()
    moved[:, 1:3] += answer.x[:-1].reshape(n, 2)
    return moved


def _rows(found: Floats, who: Ints, n: int) -> coo_array:
    """n . (shift of first - shift of second) <= distance, one row for each pair; walls stay where they are."""
    rows = np.arange(len(found))
    data, at, columns = [], [], []
    for side, sign in ((0, 1.0), (1, -1.0)):
        moves = who[:, side] != _WALL
        for axis in (0, 1):
            data.append(sign * found[moves, axis])
            at.append(rows[moves])
            columns.append(2 * who[moves, side] + axis)
    where = (np.concatenate(at), np.concatenate(columns))
    return coo_array((np.concatenate(data), where), shape=(len(found), 2 * n + 1))


def _stacked(upper: coo_array, lower: coo_array) -> coo_array:
    rows = np.concatenate([upper.coords[0], lower.coords[0] + upper.shape[0]])
    columns = np.concatenate([upper.coords[1], lower.coords[1]])
    shape = (upper.shape[0] + lower.shape[0], upper.shape[1])
    return coo_array((np.concatenate([upper.data, lower.data]), (rows, columns)), shape=shape)


def _or_touching(distance: Floats, step: float) -> Floats:
    """Take what overlaps by no more than rounding makes for touching."""
    return np.where(distance < -_TOUCHING * step, distance, np.maximum(distance, 0.0))


def _bounds(box: Floats, owner: Ints, region: Floats, n: int, step: float) -> Floats:
    """How far each item may go either way, x and y in turn (2 n, 2): a step, and within the region's bounds."""
    low, high = np.full((n, 2), np.inf), np.full((n, 2), -np.inf)
    for axis in (0, 1):
        np.minimum.at(low[:, axis], owner, box[:, axis])
        np.maximum.at(high[:, axis], owner, box[:, axis + 2])
    least = -np.minimum(step, _or_touching(low - region[:2], step))
    most = np.minimum(step, _or_touching(region[2:] - high, step))
    return np.column_stack([least.ravel(), most.ravel()])
