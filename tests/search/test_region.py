"""The region's arrays: every edge is where a kernel looks for it, and whose inside is on which side."""

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Polygon, box
from shapes import regions

from nesting.search.kernels.arrays import Region
from nesting.search.region import pack

REGIONS = regions()


def edges(arrays: Region) -> list[LineString]:
    """All boundary edges."""
    ends = zip(arrays.x, arrays.y, arrays.x_end, arrays.y_end, strict=True)
    return [LineString([(x0, y0), (x1, y1)]) for x0, y0, x1, y1 in ends]


@pytest.mark.parametrize("name", REGIONS)
def test_edges_are_the_whole_boundary(name: str) -> None:
    """To the last bit: they decide whether a part leaves the plate."""
    arrays = pack(REGIONS[name])

    assert shapely.line_merge(shapely.union_all(edges(arrays))).equals(REGIONS[name].boundary)
    assert tuple(arrays.bounds) == REGIONS[name].bounds
    assert arrays.is_box == (name == "box")


@pytest.mark.parametrize("name", REGIONS)
def test_every_edge_is_listed_in_all_cells_it_passes(name: str) -> None:
    """A cell that forgot an edge would let parts through it."""
    arrays = pack(REGIONS[name])
    size = arrays.cell_step
    columns, rows = np.meshgrid(np.arange(arrays.cell_columns), np.arange(arrays.cell_rows))
    x, y = arrays.x0 + columns.ravel() * size, arrays.y0 + rows.ravel() * size
    tree = shapely.STRtree(shapely.box(x, y, x + size, y + size))
    for e, edge in enumerate(edges(arrays)):
        for cell in tree.query(edge, predicate="crosses"):
            assert e in arrays.cell_edge[arrays.cell_start[cell] : arrays.cell_start[cell + 1]]


@pytest.mark.parametrize("name", REGIONS)
def test_each_hole_has_a_point_inside_it_and_off_the_region(name: str) -> None:
    """By which a part that covers a whole hole is seen."""
    region = REGIONS[name]
    holes = [Polygon(ring) for p in shapely.get_parts(region) for ring in p.interiors]
    points = shapely.points(pack(region).hole_x, pack(region).hole_y)

    assert len(points) == len(holes)
    assert all(sum(h.contains(p) for h in holes) >= 1 and not region.intersects(p) for p in points)
    assert all(any(h.contains(p) for p in points) for h in holes)


@pytest.mark.parametrize("name", REGIONS)
def test_the_field_holds_exact_distances_and_covers_the_region(name: str) -> None:
    """At the grid's own points nothing is interpolated."""
    region, arrays = REGIONS[name], pack(REGIONS[name])
    rows, columns = arrays.depth.shape
    x, y = np.meshgrid(arrays.x0 + np.arange(columns) * arrays.step, arrays.y0 + np.arange(rows) * arrays.step)

    distance = shapely.distance(region.boundary, shapely.points(x, y))

    np.testing.assert_allclose(np.abs(arrays.depth), distance, atol=1e-6)
    assert np.array_equal((arrays.depth > 0)[distance > 1e-6], shapely.contains_xy(region, x, y)[distance > 1e-6])
    assert box(x.min(), y.min(), x.max(), y.max()).contains(region)
    assert arrays.depth[[0, -1]].max() < 0.0 and arrays.depth[:, [0, -1]].max() < 0.0


def test_a_limit_is_kept_and_none_is_all_zero() -> None:
    """The half-plane n . p <= c."""
    assert list(pack(box(0, 0, 9, 9)).limit) == [0.0, 0.0, 0.0]
    assert list(pack(box(0, 0, 9, 9), limit=(1.0, 0.0, 5.0)).limit) == [1.0, 0.0, 5.0]
