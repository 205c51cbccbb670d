"""Polygons, parts and plates for tests: random ones of every awkward kind, and plain ones by size."""

import math
from collections.abc import Iterable

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.geometry.pose import Point
from nesting.part import Part
from nesting.plate import KeepOut, Plate


def random_polygon(rng: np.random.Generator) -> Polygon:
    """A polygon some 20 to 200 mm across: star, frame, ring, comb, sliver, block, disc or one full of holes."""
    makers = (star, star, star_with_holes, frame, ring, comb, sliver, block, disc)
    return makers[int(rng.integers(len(makers)))](rng)


def star(rng: np.random.Generator) -> Polygon:
    """A polygon that sees all its edge from one point, mostly concave."""
    count = int(rng.integers(3, 14))
    angles = 2 * math.pi * (np.arange(count) + 0.8 * rng.random(count)) / count
    radii = rng.uniform(10.0, 100.0, count)
    return Polygon(np.column_stack([radii * np.cos(angles), radii * np.sin(angles)]) + rng.uniform(-50, 50, 2))


def star_with_holes(rng: np.random.Generator) -> Polygon:
    """A round blank with one to four star-shaped holes."""
    holes = [Polygon(_around(rng, 5, 6.0, 14.0)) for _ in range(int(rng.integers(1, 5)))]
    moved = [shapely.transform(h, lambda xy, a=q: xy + (45 * math.cos(a), 45 * math.sin(a)))
             for h, q in zip(holes, rng.random() + 1.5 * np.arange(4), strict=False)]  # fmt: skip
    return Polygon(_around(rng, 12, 75.0, 95.0)).difference(shapely.union_all(moved))


def frame(rng: np.random.Generator) -> Polygon:
    """A rectangle with a large rectangular hole."""
    w, h = rng.uniform(60.0, 200.0, 2)
    rim = rng.uniform(3.0, 20.0)
    return shapely.box(0, 0, w, h).difference(shapely.box(rim, rim, w - rim, h - rim))


def ring(rng: np.random.Generator) -> Polygon:
    """A round washer."""
    outer = rng.uniform(30.0, 100.0)
    inner = outer * rng.uniform(0.3, 0.9)
    return shapely.Point(0, 0).buffer(outer).difference(shapely.Point(0, 0).buffer(inner))


def comb(rng: np.random.Generator) -> Polygon:
    """A back with teeth; its pockets catch other parts."""
    teeth = int(rng.integers(2, 6))
    pitch, depth = rng.uniform(12.0, 30.0), rng.uniform(20.0, 100.0)
    slots = [shapely.box(pitch * (i + 0.4), 10.0, pitch * (i + 1), 10.0 + depth) for i in range(teeth)]
    return shapely.box(0, 0, pitch * (teeth + 0.4), 10.0 + depth).difference(shapely.union_all(slots))


def sliver(rng: np.random.Generator) -> Polygon:
    """Long and as thin as a tenth of a millimetre."""
    length, thin = rng.uniform(50.0, 200.0), rng.uniform(0.1, 1.0)
    return Polygon([(0, 0), (length, 0), (length - rng.uniform(0, 10), thin)])


def block(rng: np.random.Generator) -> Polygon:
    """A rectangle."""
    return shapely.box(0, 0, *rng.uniform(5.0, 120.0, 2))


def disc(rng: np.random.Generator) -> Polygon:
    """Round, of many short edges."""
    return shapely.Point(0, 0).buffer(rng.uniform(5.0, 60.0), quad_segs=int(rng.integers(4, 24)))


def regions() -> dict[str, Polygon | MultiPolygon]:
    """Usable regions of every awkward kind, some 800 mm across."""
    ell = Polygon([(0, 0), (800, 0), (800, 300), (350, 300), (350, 700), (0, 700)])
    holes = [shapely.box(100, 80, 180, 220), shapely.Point(600, 150).buffer(70), shapely.Point(150, 500).buffer(3)]
    island = shapely.Point(400, 300).buffer(300).difference(shapely.Point(400, 300).buffer(200))
    return {
        "box": shapely.box(-100, 50, 700, 500),
        "ell": ell,
        "holes": ell.difference(shapely.union_all(holes)),
        "pieces": shapely.union_all([shapely.box(0, 0, 350, 500), Polygon([(400, 0), (800, 0), (600, 450)])]),
        "island": shapely.union_all([island, shapely.box(320, 220, 480, 380)]),
        "ragged": Polygon(_around(np.random.default_rng(5), 60, 200.0, 400.0)),
        "far off": shapely.transform(ell, lambda xy: xy + (1e6, -1e6)),
    }


def part(id: str, outer: Contour, *holes: Contour) -> Part:
    """A part named by its id."""
    return Part(id=id, name=id, outer=outer, holes=holes)


def rectangle(id: str, width_mm: float, height_mm: float) -> Part:
    """A rectangular part."""
    return part(id, Contour.of_rectangle(width_mm, height_mm))


def round_part(id: str, diameter_mm: float) -> Part:
    """A round part."""
    return part(id, round_contour((0.0, 0.0), diameter_mm))


def round_contour(center: Point, diameter_mm: float) -> Contour:
    """A circle."""
    return Contour(curves=(circle(center, diameter_mm / 2),))


def polygon_part(id: str, polygon: Polygon) -> Part:
    """A part of straight lines."""
    return part(id, *(Contour.of_points(r.coords[:-1]) for r in (polygon.exterior, *polygon.interiors)))


def plate(outer: Contour, *, holes: Iterable[Contour] = (), keep_outs: Iterable[Contour] = ()) -> Plate:
    """A plate, with holes and keep-outs if given."""
    return Plate(name="offcut", outer=outer, holes=tuple(holes), keep_outs=tuple(KeepOut(contour=c) for c in keep_outs))


def sheet(width_mm: float, height_mm: float) -> Plate:
    """A rectangular plate."""
    return plate(Contour.of_rectangle(width_mm, height_mm))


def _around(rng: np.random.Generator, count: int, low: float, high: float) -> np.ndarray:
    angles = 2 * math.pi * (np.arange(count) + 0.5 * rng.random(count)) / count
    radii = rng.uniform(low, high, count)
    return np.column_stack([radii * np.cos(angles), radii * np.sin(angles)])
