"""From the usable plate to the arrays kernels work on."""

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from nesting.search.kernels.arrays import Floats, Region

FIELD_CELLS = 400
"""Cells of the distance field along the longer side."""

EDGE_CELLS = 64


def pack(polygon: Polygon | MultiPolygon, *, limit: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Region:
    """Return the arrays for a region, with an optional half-plane `nx x + ny y <= c`."""
    # Inside on the right: see `edges_cross`.
    turned = shapely.orient_polygons(polygon, exterior_cw=True)
    rings = [ring for p in _polygons(turned) for ring in (p.exterior, *p.interiors)]
    starts, ends = _edges(rings)
    x0, y0, x1, y1 = polygon.bounds
    step = max(x1 - x0, y1 - y0) / FIELD_CELLS
    gx = np.arange(x0 - 2 * step, x1 + 3 * step, step)
    gy = np.arange(y0 - 2 * step, y1 + 3 * step, step)
    cell = max(gx[-1] - gx[0], gy[-1] - gy[0]) / EDGE_CELLS
    columns, rows = int((gx[-1] - gx[0]) / cell) + 1, int((gy[-1] - gy[0]) / cell) + 1
    cell_start, cell_edge = _edges_by_cell(starts, ends, (gx[0], gy[0]), cell, columns, rows)
    rims = [Polygon(ring) for p in _polygons(polygon) for ring in p.interiors]
    # Well inside, and not on an island that lies in the hole.
    holes = [rim.difference(polygon).representative_point().coords[0] for rim in rims]
    hole = np.array(holes).reshape(-1, 2)
    return Region(
        depth=_depths(polygon, gx, gy),
        x0=float(gx[0]),
        y0=float(gy[0]),
        step=float(step),
        x=np.ascontiguousarray(starts[:, 0]),
        y=np.ascontiguousarray(starts[:, 1]),
        x_end=np.ascontiguousarray(ends[:, 0]),
        y_end=np.ascontiguousarray(ends[:, 1]),
        cell_start=cell_start,
        cell_edge=cell_edge,
        cell_step=float(cell),
        cell_columns=columns,
        cell_rows=rows,
        hole_x=np.ascontiguousarray(hole[:, 0]),
        hole_y=np.ascontiguousarray(hole[:, 1]),
        bounds=np.array([x0, y0, x1, y1]),
        is_box=bool(shapely.box(x0, y0, x1, y1).equals(polygon)),
        limit=np.array(limit, dtype=np.float64),
    )


def _depths(polygon: Polygon | MultiPolygon, gx: Floats, gy: Floats) -> Floats:
    a, b = np.meshgrid(gx, gy)
    points = shapely.points(a.ravel(), b.ravel())
    shapely.prepare(polygon)
    boundary = polygon.boundary
    shapely.prepare(boundary)
    distance = shapely.distance(boundary, points)
    inside = shapely.contains_properly(polygon, points)
    signed: Floats = np.ascontiguousarray(np.where(inside, distance, -distance).reshape(a.shape))
    return signed


def _edges(rings: list[shapely.LinearRing]) -> tuple[Floats, Floats]:
    coords = [np.asarray(ring.coords, dtype=np.float64) for ring in rings]
    return np.vstack([c[:-1] for c in coords]), np.vstack([c[1:] for c in coords])


def _edges_by_cell(
    starts: Floats, ends: Floats, corner: tuple[float, float], cell: float, columns: int, rows: int
) -> tuple[np.ndarray, np.ndarray]:
    """List for each cell the edges whose box touches it; returns starts (cells + 1,) and the edges in one row."""
    low = np.floor((np.minimum(starts, ends) - corner) / cell).astype(np.int64)
    high = np.floor((np.maximum(starts, ends) - corner) / cell).astype(np.int64)
    lists: list[list[int]] = [[] for _ in range(columns * rows)]
    for e, ((i0, j0), (i1, j1)) in enumerate(zip(low, high, strict=True)):
        for j in range(max(j0, 0), min(j1, rows - 1) + 1):
            for i in range(max(i0, 0), min(i1, columns - 1) + 1):
                lists[j * columns + i].append(e)
    counts = np.array([len(found) for found in lists])
    flat = np.array([e for found in lists for e in found], dtype=np.int64)
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.int64), flat


def _polygons(polygon: Polygon | MultiPolygon) -> list[Polygon]:
    return [polygon] if isinstance(polygon, Polygon) else list(polygon.geoms)
