"""A running search's mutable arrays: where the items are, what they cost, and room to work in."""

import math
from dataclasses import dataclass

import numpy as np

from nesting.search.kernels.arrays import POLES, Floats, Items, Losses, Region, Scratch, Shapes, Slices, Stock
from nesting.search.kernels.pose import place
from nesting.search.kernels.separate import separate
from nesting.search.kernels.settle import settle
from nesting.search.problem import Poses

STOPPED, OVERTAKEN = 1, 2
"""What `counters[2]` of a crowd says to a kernel at work on it."""

MOST_SLICES = 64
"""Columns, and rows, that a region is cut into at most."""


@dataclass(frozen=True, kw_only=True)
class Effort:
    """How hard one separation tries.  Each round goes on from the best state met, with the weights learnt, as long as
    the one before it got somewhere."""

    rounds: int = 1
    passes: int = 1000
    patience: int = 100
    wide: int = 30
    near: int = 20


def _slices(count: int, bounds: Floats) -> Slices:
    """Return empty slices over the bounds of a region, half as wide as a square that is one item's share of it."""
    x0, y0, x1, y1 = (float(b) for b in bounds)
    share = math.sqrt((x1 - x0) * (y1 - y0) / max(1, count))
    columns, rows = (min(MOST_SLICES, max(1, int(2 * side / share))) for side in (x1 - x0, y1 - y0))
    words = (count + 63) // 64
    return Slices(
        column=np.zeros((words, columns), dtype=np.uint64),
        row=np.zeros((words, rows), dtype=np.uint64),
        span=np.full((count, 4), -1, dtype=np.int64),
        x0=x0,
        y0=y0,
        columns_per_unit=columns / (x1 - x0),
        rows_per_unit=rows / (y1 - y0),
    )


def no_stock(shapes: int) -> Stock:
    """Return an empty stock: nothing waits."""
    none = np.zeros(1, dtype=np.int64)
    return Stock(
        kind=np.zeros(shapes, dtype=np.int64),
        first_shape=none,
        waiting=none,
        swaps=np.zeros(1, dtype=np.bool_),
        worth=np.zeros(1),
        slack=np.zeros(1),
    )


class Crowd:
    """Items on a region, possibly overlapping, with the weights learnt so far; used by one thread at a time."""

    def __init__(self, shapes: Shapes, poses: Poses, *, seed: int, bounds: Floats) -> None:
        n = len(poses)
        vertices, runs = (int(np.diff(a).max()) for a in (shapes.vertex_start, shapes.run_start))
        self.shapes = shapes
        self.items = Items(
            shape=poses[:, 0].astype(np.int64),
            x=poses[:, 1].copy(),
            y=poses[:, 2].copy(),
            turn=poses[:, 3].copy(),
            wx=np.empty((n, vertices)),
            wy=np.empty((n, vertices)),
            run_x=np.empty((n, runs)),
            run_y=np.empty((n, runs)),
            pole_x=np.empty((n, POLES), dtype=np.float32),
            pole_y=np.empty((n, POLES), dtype=np.float32),
            box=np.empty((n, 4)),
            slices=_slices(n, bounds),
        )
        self.losses = Losses(
            pair=np.zeros((n, n)),
            edge=np.zeros(n),
            pair_weight=np.ones((n, n)),
            edge_weight=np.ones(n),
            faults=np.zeros(n, dtype=np.int64),
            heavy=np.empty((min(n * n // 2, 64 * n), 2), dtype=np.int64),
            heavies=np.zeros(1, dtype=np.int64),
        )
        self.scratch = Scratch(
            wx=np.empty(vertices),
            wy=np.empty(vertices),
            run_x=np.empty(runs),
            run_y=np.empty(runs),
            pole_x=np.empty(POLES, dtype=np.float32),
            pole_y=np.empty(POLES, dtype=np.float32),
            box=np.empty(4),
            doubtful=np.empty(max(n, 1), dtype=np.int64),
            doubtful_loss=np.empty(max(n, 1)),
            doubts=np.zeros(1, dtype=np.int64),
            near_runs=np.empty(runs, dtype=np.int64),
            key=np.full(2, -1.0),
        )
        self.best = np.empty((n, 4))
        self.random = np.array([(seed * 2 + 1) * 0x9E3779B9 % (1 << 63)], dtype=np.uint64)
        self.counters = np.zeros(3, dtype=np.int64)

    @property
    def poses(self) -> Poses:
        """Where the items are now."""
        it = self.items
        return np.column_stack([it.shape.astype(np.float64), it.x, it.y, it.turn])

    @poses.setter
    def poses(self, poses: Poses) -> None:
        it = self.items
        it.shape[:], it.x[:], it.y[:], it.turn[:] = poses[:, 0], poses[:, 1], poses[:, 2], poses[:, 3]

    def separate(self, region: Region, effort: Effort, *, stock: Stock | None = None) -> float:
        """Drive the overlap to zero; return what is left.  The items end where it was least.

        With a stock of waiting pieces, items may give their places to others of it.
        """
        stock = stock or no_stock(len(self.shapes.free))
        settings = np.array([effort.passes, effort.patience, effort.wide, effort.near], dtype=np.float64)
        least = np.inf
        for _ in range(effort.rounds):
            left: float = separate(
                self.shapes,
                region,
                self.items,
                self.losses,
                self.scratch,
                stock,
                self.best,
                settings,
                self.random,
                self.counters,
            )
            if left == 0.0 or left > 0.98 * least or self.counters[2] != 0:
                return left
            least = left
        return least

    def overtaken(self) -> bool:
        """Tell whether the last separation ended because another thread had found better; forget it."""
        if self.counters[2] != OVERTAKEN:
            return False
        self.counters[2] = 0
        return True

    def lay_out(self) -> None:
        """Bring the world coordinates up to date with the poses, for `settle`."""
        it = self.items
        self.scratch.key[0] = -1.0
        for i in range(len(it.x)):
            place(i, it.shape[i], it.x[i], it.y[i], it.turn[i], self.shapes, it, self.scratch)

    def settle(self, i: int, region: Region, pull: tuple[float, float, float, float], tries: int) -> bool:
        """Put item `i` where it overlaps nothing, pulled to one side; False if no such place was met."""
        return bool(
            settle(
                i,
                tries,
                np.array(pull),
                self.shapes,
                region,
                self.items,
                self.losses,
                self.scratch,
                self.random,
                self.counters,
            )
        )
