"""Hypothesis strategies shared by all tests: shapes of every kind of curve, and places to put them."""

import math
from itertools import pairwise

from hypothesis import assume
from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy, composite
from shapely.geometry import Polygon

from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc, Curve, EllipseArc, Line, Polyline, Spline, circle
from nesting.geometry.pose import Point, Pose


def lengths(low_mm: float, high_mm: float) -> SearchStrategy[float]:
    """Lengths in mm, to the picometre: numbers of 1e-300 divide by zero in shapely and are in no drawing."""
    return st.floats(low_mm, high_mm, allow_nan=False, allow_infinity=False).map(lambda v: round(v, 9))


def points(reach_mm: float = 1000.0) -> SearchStrategy[Point]:
    """Points within a square round the origin."""
    return st.tuples(lengths(-reach_mm, reach_mm), lengths(-reach_mm, reach_mm))


def poses(reach_mm: float = 5000.0) -> SearchStrategy[Pose]:
    """Any flip, turn and shift; whole quarter turns often."""
    turns = st.one_of(st.sampled_from([0.0, 90.0, 180.0, 270.0]), lengths(-360.0, 360.0))
    shift = lengths(-reach_mm, reach_mm)
    return st.builds(Pose, flipped=st.booleans(), turn_deg=turns, x_mm=shift, y_mm=shift)


@composite
def corners(draw: DrawFn, least: int = 3, most: int = 12) -> list[Point]:
    """Corners of a simple polygon that sees all its edge from one point."""
    count = draw(st.integers(least, most))
    steps = draw(st.lists(lengths(0.3, 1.0), min_size=count, max_size=count))
    radii = draw(st.lists(lengths(10.0, 100.0), min_size=count, max_size=count))
    center = draw(points(200.0))
    angles = [2 * math.pi * sum(steps[:i]) / sum(steps) for i in range(count)]
    assume(max(b - a for a, b in zip(angles, [*angles[1:], 2 * math.pi], strict=True)) < 0.9 * math.pi)
    return [(center[0] + r * math.cos(a), center[1] + r * math.sin(a)) for r, a in zip(radii, angles, strict=True)]


def polygons() -> SearchStrategy[Polygon]:
    """Simple polygons without holes."""
    return corners().map(Polygon)


def arcs() -> SearchStrategy[Arc]:
    """Arcs of either direction, up to whole circles."""
    return st.builds(
        Arc,
        center=points(),
        radius_mm=lengths(0.5, 500.0),
        start_deg=lengths(-360.0, 360.0),
        sweep_deg=st.one_of(lengths(1.0, 360.0), lengths(-360.0, -1.0)),
    )


def ellipse_arcs() -> SearchStrategy[EllipseArc]:
    """Elliptic arcs of either direction; the second axis may be the longer one."""
    return st.builds(
        EllipseArc,
        center=points(),
        major=st.tuples(lengths(1.0, 200.0), lengths(-200.0, 200.0)),
        ratio=lengths(0.05, 3.0),
        start_deg=lengths(-360.0, 360.0),
        sweep_deg=st.one_of(lengths(1.0, 360.0), lengths(-360.0, -1.0)),
    )


@composite
def splines(draw: DrawFn) -> Spline:
    """Clamped splines through any control points, some rational, some with a kink."""
    degree = draw(st.integers(2, 4))
    control = draw(st.lists(points(100.0), min_size=degree + 1, max_size=9, unique=True))
    count = len(control) - degree - 1
    inner = draw(st.lists(st.integers(1, 5), min_size=count, max_size=count))
    assume(all(inner.count(k) <= degree for k in inner))
    assume(min(math.dist(a, b) for a, b in pairwise(control)) > 1.0)
    some = st.lists(lengths(0.3, 3.0), min_size=len(control), max_size=len(control))
    weights = draw(st.one_of(st.just([]), some))
    knots = [0.0] * (degree + 1) + sorted(map(float, inner)) + [6.0] * (degree + 1)
    return Spline(degree=degree, control=tuple(control), knots=tuple(knots), weights=tuple(weights))


@composite
def polylines(draw: DrawFn, least_bulge: float = -2.0, most_bulge: float = 2.0) -> Polyline:
    """Open and closed polylines of lines and arcs, which may cross themselves."""
    xy = draw(st.lists(points(100.0), min_size=2, max_size=8, unique=True))
    assume(min(math.dist(a, b) for a, b in zip(xy, [*xy[1:], xy[0]], strict=True)) > 1e-3)
    bulges = [draw(st.one_of(st.just(0.0), lengths(least_bulge, most_bulge))) for _ in xy]
    vertices = tuple((x, y, b) for (x, y), b in zip(xy, bulges, strict=True))
    return Polyline(vertices=vertices, is_closed=draw(st.booleans()))


def curves() -> SearchStrategy[Curve]:
    """Curves of every kind."""
    lines = st.builds(Line, start=points(), end=points())
    return st.one_of(lines, arcs(), ellipse_arcs(), splines(), polylines())


@composite
def contours(draw: DrawFn) -> Contour:
    """Closed contours of every kind of curve that do not touch or cross themselves."""
    contour = draw(st.one_of(_round(), _bulged(), _separate(), _closed_splines()))
    fine = Polygon(contour._ring(1e-4, "midway"))
    assume(fine.is_valid and fine.area > 1.0)
    assume(fine.buffer(-0.2).geom_type == "Polygon")  # no neck where nearness to the edge would be ambiguous
    return contour


def _round() -> SearchStrategy[Contour]:
    circles = st.builds(circle, points(), lengths(0.5, 300.0))
    whole = ellipse_arcs().map(
        lambda e: EllipseArc(center=e.center, major=e.major, ratio=e.ratio, start_deg=e.start_deg, sweep_deg=360.0)
    )
    return st.one_of(circles, whole).map(lambda c: Contour(curves=(c,)))


@composite
def _bulged(draw: DrawFn) -> Contour:
    vertices = tuple((x, y, draw(st.one_of(st.just(0.0), lengths(-0.6, 0.9)))) for x, y in draw(corners()))
    return Contour(curves=(Polyline(vertices=vertices, is_closed=True),))


@composite
def _separate(draw: DrawFn) -> Contour:
    """Corners joined by lines, arcs, half ellipses and splines, each a curve of its own."""
    xy = draw(corners())
    kinds = st.sampled_from(["line", "arc", "ellipse", "spline"])
    joined = [_join(a, b, draw(kinds), draw(st.booleans())) for a, b in zip(xy, [*xy[1:], xy[0]], strict=True)]
    return Contour(curves=tuple(joined))


def _join(a: Point, b: Point, kind: str, left: bool) -> Curve:
    (ax, ay), (bx, by) = a, b
    side = 1.0 if left else -1.0
    if kind == "arc":
        return Polyline(vertices=((ax, ay, 0.3 * side), (bx, by, 0.0))).pieces[0]
    if kind == "ellipse":
        middle, major = ((ax + bx) / 2, (ay + by) / 2), ((ax - bx) / 2, (ay - by) / 2)
        return EllipseArc(center=middle, major=major, ratio=0.3, start_deg=0.0, sweep_deg=180.0 * side)
    if kind == "spline":
        nx, ny = (by - ay) * 0.3 * side, (ax - bx) * 0.3 * side
        dx, dy = (bx - ax) / 3, (by - ay) / 3
        control = (a, (ax + dx + nx, ay + dy + ny), (bx - dx - nx, by - dy - ny), b)
        return Spline(degree=3, control=control, knots=(0.0,) * 4 + (1.0,) * 4)
    return Line(start=a, end=b)


@composite
def _closed_splines(draw: DrawFn) -> Contour:
    """Smooth closed splines with evenly spaced knots that do not stop at the ends."""
    control = draw(corners(least=4))
    degree = draw(st.integers(2, 3))
    wrapped = (*control, *control[:degree])
    knots = tuple(float(i) for i in range(len(wrapped) + degree + 1))
    return Contour(curves=(Spline(degree=degree, control=wrapped, knots=knots),))
