"""What lies near what, against slow and obvious versions; too much at one place is refused, not waited for."""

import math
from pathlib import Path
from typing import Any

import pytest
import shapely
from drawings import drawing
from hypothesis import given
from hypothesis import strategies as st

from nesting.drawing.ends import TooDenseError, box_pairs, near_pairs, nearest_others, nodes
from nesting.drawing.reader import read_drawing
from nesting.errors import DrawingError

COORDINATE = st.integers(-30, 30).map(lambda n: n * 0.0004)
POINTS = st.lists(st.tuples(COORDINATE, COORDINATE), max_size=25)


def linked(points: list[tuple[float, float]], distance: float) -> list[set[int]]:
    """Sets of points joined by steps up to a distance, grown one by one."""
    sets: list[set[int]] = []
    for i, p in enumerate(points):
        near = [s for s in sets if any(math.dist(p, points[j]) <= distance for j in s)]
        sets = [s for s in sets if s not in near] + [set().union({i}, *near)]
    return sets


@given(POINTS)
def test_nodes_agree_with_slow_linking(points: list[tuple[float, float]]) -> None:
    """On a lattice of 0.0004 mm a square of half the distance holds few points, so that none is passed over."""
    numbers = nodes(points, 0.001)

    expected = linked(points, 0.001 + 1e-12)
    assert len(set(numbers)) == len(expected)
    for group in expected:
        assert len({numbers[i] for i in group}) == 1


@given(st.lists(st.tuples(COORDINATE, COORDINATE), max_size=25, unique=True))
def test_nearest_others_agree_with_all_distances(points: list[tuple[float, float]]) -> None:
    found = nearest_others(points, 0.003)

    for i, p in enumerate(points):
        gaps = [(math.dist(p, q), j) for j, q in enumerate(points) if j != i]
        gap = min(gaps, default=(math.inf, -1))[0]
        assert (i in found) == (gap <= 0.003) or abs(gap - 0.003) < 1e-12
        if i in found:
            assert found[i][0] == pytest.approx(gap, abs=1e-15)


def test_thousands_of_ends_at_one_point_are_one_node() -> None:
    assert set(nodes([(1.0, 2.0)] * 50_000 + [(1.0, 2.0005)] * 50_000, 0.001)) == {0}


def test_too_many_pairs_are_refused() -> None:
    points = [(k * 1e-4, 0.0) for k in range(2000)]

    with pytest.raises(TooDenseError, match="over 500,000 pairs"):
        near_pairs(points, 1.0)
    with pytest.raises(TooDenseError, match=r"near \(\d\.\d\d, 0\.00\)"):
        box_pairs([shapely.Point(x, y).buffer(1.0, quad_segs=1) for x, y in points])


@pytest.mark.parametrize("kind", ["circles", "lines", "fan"])
def test_a_drawing_with_everything_in_one_place_is_refused_quickly(tmp_path: Path, kind: str) -> None:
    """Found by mutated drawings: an array of 30,000 copies at no distance once took hours."""

    def draw(space: Any) -> None:
        for k in range(3000):
            if kind == "circles":
                space.add_circle((k * 0.05, 0), 100)
            elif kind == "lines":
                space.add_line((k * 0.01, 0), (200 + k * 0.02, 0.0))
            else:
                space.add_line((0, k * 0.05), (200, 150 - k * 0.05))

    with pytest.raises(DrawingError, match=r"dense\.dxf: .*(pairs of curves|no closed contour)"):
        read_drawing(drawing(tmp_path / "dense.dxf", draw))


def test_thousands_of_equal_contours_are_one(tmp_path: Path) -> None:
    def draw(space: Any) -> None:
        space.doc.blocks.new("DISC").add_circle((0, 0), 50)
        space.add_blockref("DISC", (0, 0), dxfattribs={"column_count": 100, "row_count": 50})

    read = read_drawing(drawing(tmp_path / "pile.dxf", draw))

    assert len(read.parts) == 1
    assert sum(f.kind == "duplicate" for f in read.findings) == 4999
