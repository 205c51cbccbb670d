"""The arrays kernels work on.  Plain named tuples, so that compiled code takes them as they are.

A *shape* is one part seen from one side, grown by half the gap, with the centre of its smallest enclosing circle at
the origin.  A *pose* is shape, x, y and turn (radians).  An *item* is one piece to be placed.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

Words = NDArray[np.uint64]

FAR = 1e9
"""Where items wait that have no place yet, out of everybody's way."""

POLES = 16
"""Circles in every shape's row, a multiple of 4; known to the compiler, so that a row is one or two vectors."""


class Shapes(NamedTuple):
    """All shapes of a job.  `*_start` arrays have one entry more than shapes and index the array before them."""

    x: Floats  # vertices of all rings, the inside on their left
    y: Floats
    following: Ints  # vertex at the other end of the edge that starts here
    vertex_start: Ints
    run_x: Floats  # circles round runs of consecutive edges
    run_y: Floats
    run_r: Floats
    run_first: Ints  # edges run_first..run_last-1
    run_last: Ints
    run_start: Ints
    pole_x: Singles  # (shapes, POLES) inscribed circles, largest first; single precision, since they only guide
    pole_y: Singles
    pole_r: Singles
    poles: Ints  # how many a shape has; the rest of its row are points far off, which weigh nothing
    turn: Floats  # allowed turns, radians; a free shape lists even steps, to be jittered by half a step
    turn_box: Floats  # (turns, 4) bounds of the shape at each listed turn
    turn_start: Ints
    free: Bools  # any turn is allowed
    fold: Ints  # the shape looks the same each 1 / fold of a full turn, and its turns are listed for one such share
    mirror: Ints  # the same part turned over, or -1
    radius: Floats  # of the enclosing circle round the origin
    scale: Floats  # square root of the convex hull's area
    nothing: int  # the shape that stands for an item that is not there, or -1


class Region(NamedTuple):
    """Where shapes may lie: a field of signed distances, the exact boundary, and one half-plane that can be moved."""

    depth: Floats  # (rows, columns) signed distance to the boundary, positive inside
    x0: float
    y0: float
    step: float
    x: Floats  # boundary edges, the inside on their right
    y: Floats
    x_end: Floats
    y_end: Floats
    cell_start: Ints  # edges by cell of a square grid over the distance field's area
    cell_edge: Ints
    cell_step: float
    cell_columns: int
    cell_rows: int
    hole_x: Floats  # a point well inside each hole
    hole_y: Floats
    bounds: Floats  # x0, y0, x1, y1
    is_box: bool  # the bounds are all there is to it
    limit: Floats  # normal x, normal y, c: shapes lie in normal . p <= c as well


class Slices(NamedTuple):
    """The region cut into columns, and into rows; a bit for each item tells whether its box lies across one.

    The items that a box may touch are those with a bit in one of its columns and in one of its rows.  What lies
    outside the region counts to the slice at its side.
    """

    column: Words  # (items / 64 rounded up, columns)
    row: Words
    span: Ints  # (items, 4) first and last column, first and last row of an item; -1 for one that is not there
    x0: float
    y0: float
    columns_per_unit: float
    rows_per_unit: float


class Items(NamedTuple):
    """Items and where they are; `w*` arrays hold their world coordinates, rebuilt whenever an item is moved."""

    shape: Ints
    x: Floats
    y: Floats
    turn: Floats
    wx: Floats  # (items, most vertices)
    wy: Floats
    run_x: Floats  # (items, most runs)
    run_y: Floats
    pole_x: Singles  # (items, POLES), from the item's own origin, so that single precision does
    pole_y: Singles
    box: Floats  # (items, 4)
    slices: Slices


class Losses(NamedTuple):
    """Overlap of pairs (items, items) and of items with the region's outside (items,), and their weights."""

    pair: Floats
    edge: Floats
    pair_weight: Floats
    edge_weight: Floats
    faults: Ints  # (items,) how many of an item's overlaps are not zero
    heavy: Ints  # (room, 2) pairs whose weight is above 1
    heavies: Ints  # (1,) how many of them there are


class Stock(NamedTuple):
    """Pieces that wait beside the crowd and may take an item's place."""

    kind: Ints  # (shapes,) the kind a shape is of; nothing is of the last kind
    first_shape: Ints  # (kinds,)
    waiting: Ints  # (kinds,) pieces not in the crowd
    swaps: Bools  # (kinds,) may leave and enter the crowd
    worth: Floats  # (kinds,)
    slack: Floats  # (1,) worth that the crowd may still lose


class Scratch(NamedTuple):
    """Room for one candidate pose."""

    wx: Floats
    wy: Floats
    run_x: Floats
    run_y: Floats
    pole_x: Singles
    pole_y: Singles
    box: Floats
    doubtful: Ints  # neighbours that the circles leave open
    doubtful_loss: Floats
    doubts: Ints  # (1,) how many of them there are
    near_runs: Ints  # runs of a neighbour that may matter
    key: Floats  # shape and turn the rotated coordinates belong to
