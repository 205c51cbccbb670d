"""Shapes of whole squares on one lattice touch in every way there is; numbers as round as theirs leave no doubt.

Common area is whole squares or nothing, so shapely's word is exact, and the kernels' has to be the same.
"""

import math

import numpy as np
import pytest
import shapely
from crowds import COMPILED, candidate, crowd, examples
from shapely.geometry import MultiPolygon, Polygon, box

from nesting.search import region as region_arrays
from nesting.search.kernels.arrays import Shapes
from nesting.search.kernels.collide import leaves_region, shapes_overlap
from nesting.search.kernels.pose import pose_loss
from nesting.search.shapes import Shape, centred, pack

SIDE = 10.0
QUARTERS = ((1, 0), (0, 1), (-1, 0), (0, -1))
OPEN = region_arrays.pack(box(-1000, -1000, 1000, 1000))
Pose = tuple[int, float, float, float]


def squares(rng: np.random.Generator) -> Polygon:
    """Up to a dozen squares joined by their sides, no two parts of the outline meeting in a point."""
    while True:
        cells = {(0, 0)}
        for _ in range(int(rng.integers(12))):
            i, j = list(cells)[int(rng.integers(len(cells)))]
            di, dj = QUARTERS[int(rng.integers(4))]
            cells.add((i + di, j + dj))
        if rng.random() < 0.3:
            w, h = rng.integers(3, 5, 2)
            cells = {(i, j) for i in range(w) for j in range(h)} - {(1, 1)}
        joined = shapely.union_all([box(i, j, i + 1, j + 1) for i, j in cells]).simplify(0.0)
        corners = [tuple(c) for ring in (joined.exterior, *joined.interiors) for c in ring.coords[:-1]]
        if len(set(corners)) == len(corners):
            return shapely.transform(joined, lambda xy: xy * SIDE)


def plates(rng: np.random.Generator) -> list[Polygon | MultiPolygon]:
    """Sheets with oblong holes and notches, some cut in two."""
    found = []
    for _ in range(10):
        left = box(0, 0, 200, 150)
        for _ in range(4):
            x, y, w, h = (SIDE * int(rng.integers(*span)) for span in ((18,), (13,), (1, 5), (1, 5)))
            left = left.difference(box(x, y, x + w, y + h))
        found.append(left)
    return found


@pytest.fixture(scope="module")
def listed() -> list[Shape]:
    """A hundred shapes, free to turn."""
    rng = np.random.default_rng(61)
    return [centred(squares(rng), None) for _ in range(100 if COMPILED else 20)]


@pytest.fixture(scope="module")
def lattice(listed: list[Shape]) -> Shapes:
    """The same, packed."""
    return pack(listed)


def lattice_pose(listed: list[Shape], rng: np.random.Generator, x: float = 0.0, y: float = 0.0) -> Pose:
    """A pose that lays a shape's squares on those of the lattice, near (x, y)."""
    k, quarter = int(rng.integers(len(listed))), int(rng.integers(4))
    (c, s), (sx, sy) = QUARTERS[quarter], listed[k].shift
    dx, dy = rng.integers(-6, 7, 2) * SIDE
    return k, x + dx + c * sx - s * sy, y + dy + s * sx + c * sy, quarter * math.pi / 2


def laid(listed: list[Shape], pose: Pose) -> Polygon:
    """The shape there, turned without rounding."""
    k, x, y, turn = pose
    c, s = QUARTERS[round(turn / (math.pi / 2))]
    return shapely.transform(
        listed[k].polygon, lambda p: np.column_stack([c * p[:, 0] - s * p[:, 1] + x, s * p[:, 0] + c * p[:, 1] + y])
    )


def test_only_common_squares_are_overlap(lattice: Shapes, listed: list[Shape]) -> None:
    """For the exact test, and for a whole try, whose circles must not call it an overlap where shapes touch."""
    rng = np.random.default_rng(62)
    seen = {True: 0, False: 0}
    for _ in range(examples(4000)):
        a, b = lattice_pose(listed, rng), lattice_pose(listed, rng)
        first, second = laid(listed, a), laid(listed, b)
        made = crowd(lattice, [(0, 1e9, 1e9, 0.0), b])
        expected = first.intersection(second).area > SIDE

        loss = pose_loss(0, *a, 1e300, lattice, OPEN, made.items, made.losses, made.scratch)

        assert (loss > 0.0) == expected, f"{first} on {second}"
        if not first.equals(second):  # the circles see that, the edges cannot
            s = candidate(made, a[0], a[3])
            assert shapes_overlap(lattice, a[0], s, a[1], a[2], made.items, 1) == expected, f"{first} on {second}"
        seen[expected] += first.distance(second) == 0.0
    assert not COMPILED or min(seen.values()) > 200, seen


def test_only_squares_off_the_plate_are_outside(lattice: Shapes, listed: list[Shape]) -> None:
    """Parts touch the edge, holes and notches in every way."""
    rng = np.random.default_rng(63)
    regions = [(p, region_arrays.pack(p)) for p in plates(rng)]
    made = crowd(lattice, [(0, 0.0, 0.0, 0.0)])
    seen = {True: 0, False: 0}
    for n in range(examples(8000)):
        region, arrays = regions[n % len(regions)]
        pose = lattice_pose(listed, rng, 100.0, 70.0)
        part = laid(listed, pose)
        s = candidate(made, pose[0], pose[3])
        expected = part.difference(region).area > SIDE

        assert leaves_region(lattice, pose[0], s, pose[1], pose[2], arrays) == expected, f"{part} on {region}"
        seen[expected] += part.distance(region.boundary) == 0.0
    assert not COMPILED or min(seen.values()) > 200, seen
