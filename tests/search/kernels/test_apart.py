"""The distance of convex pieces along a direction, against shapely."""

import numpy as np
import shapely
from crowds import examples

from nesting.search.kernels.apart import gaps


def hull(rng: np.random.Generator, at: tuple[float, float]) -> np.ndarray:
    points = shapely.multipoints(rng.normal(size=(int(rng.integers(3, 9)), 2)) * 10 + at)
    return np.asarray(shapely.orient_polygons(shapely.convex_hull(points)).exterior.coords)[:-1]


def test_gaps_say_which_pieces_overlap_and_how_far_others_are_apart_at_least() -> None:
    """Of convex pieces: apart along some edge's normal, or they overlap."""
    rng = np.random.default_rng(5)
    seen = {True: 0, False: 0}
    for _ in range(examples(400)):
        pieces = [hull(rng, (0.0, 0.0)), hull(rng, (rng.uniform(-40, 40), rng.uniform(-40, 40)))]
        x, y = np.vstack(pieces).T.copy()
        start = np.array([0, len(pieces[0]), len(x)])
        box = np.array([[*p.min(axis=0), *p.max(axis=0)] for p in pieces])
        order, found, who = np.argsort(box[:, 0]), np.empty((4, 3)), np.empty((4, 2), dtype=np.int64)

        count = gaps(x, y, start, box, np.array([0, 1]), order, 100.0, found, who)

        assert count == 1
        nx, ny, apart = found[0]
        first, second = (pieces[i] @ (nx, ny) for i in who[0])
        assert abs((second.min() - first.max()) - apart) < 1e-9
        a, b = (shapely.Polygon(p) for p in pieces)
        overlap = a.intersection(b).area > 1e-9
        seen[overlap] += 1
        assert overlap == (apart < 0.0) or abs(apart) < 1e-6
        assert apart <= a.distance(b) + 1e-9
    assert min(seen.values()) > examples(400) / 20


def test_pieces_of_one_owner_and_far_ones_are_passed_over_and_no_room_is_told() -> None:
    squares = [np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=float) + (dx, 0) for dx in (0, 1, 3, 9)]
    x, y = np.vstack(squares).T.copy()
    start = np.arange(0, 17, 4)
    box = np.array([[*p.min(axis=0), *p.max(axis=0)] for p in squares])
    order, found, who = np.arange(4), np.empty((2, 3)), np.empty((2, 2), dtype=np.int64)

    count = gaps(x, y, start, box, np.array([7, 7, 8, 9]), order, 2.5, found, who)

    assert count == 2
    assert who.tolist() == [[7, 8], [7, 8]]
    np.testing.assert_allclose(found, [[1, 0, 2], [1, 0, 1]])
    assert gaps(x, y, start, box, np.array([6, 7, 8, 9]), order, 100.0, found, who) == -1
