"""One SVG element to curves of our own, in the element's own units, y down as the file has it.

Path data as in SVG 2, chapter 9; `svgelements` reads it.  Elliptical arcs stay arcs, Bezier curves become splines of
one span, which are the same curves.
"""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final
from xml.etree.ElementTree import Element

import svgelements as svg

from nesting.drawing.svg_file import length_px
from nesting.geometry.curves import Arc, Curve, EllipseArc, Line, Polyline, Spline, circle
from nesting.geometry.pose import Point

_NO_PATH: Final = re.compile(r"[^MmZzLlHhVvCcSsQqTtAaEe0-9+\-.,\s]")
_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_SAME: Final = 1e-9
_ROUNDED: Final = 1e-5
"""Coordinates are written with a few decimals; less than this, in units of the file, is no distance."""

_HALF_TURN: Final = 0.02
_HALF_TURN_DEG: Final = 4.0
_LARGEST: Final = 1e9


@dataclass(frozen=True, slots=True)
class Strand:
    """Curves drawn in one go; `closed` if they return to their start by the file's own word."""

    curves: tuple[Curve, ...]
    closed: bool


def strands_of(tag: str, element: Element, viewport: tuple[float, float]) -> tuple[Strand, ...] | None:
    """Return the strands of a shape, or None for an element that is no shape; `viewport` is what percents are of.

    Raise `ValueError` for values that make no curve.
    """
    make = _MAKERS.get(tag)
    return make(element, viewport) if make else None


def outline(strand: Strand) -> Strand:
    """Close an open strand with a straight line, as filling does."""
    if strand.closed or not strand.curves:
        return strand
    if len(strand.curves) == 1 and isinstance(strand.curves[0], Polyline):
        return Strand((Polyline(vertices=strand.curves[0].vertices, is_closed=True),), True)
    start, end = strand.curves[0].start, strand.curves[-1].end
    closing = (Line(start=end, end=start),) if math.dist(start, end) > 0.0 else ()
    return Strand((*strand.curves, *closing), True)


def _path(element: Element, _: tuple[float, float]) -> tuple[Strand, ...]:
    data = element.get("d", "")
    wrong = _NO_PATH.search(data)
    if wrong:
        raise ValueError(f"its path data holds {wrong[0]!r} at character {wrong.start() + 1}")
    return _strands(svg.Path(data))


def _strands(path: Any) -> tuple[Strand, ...]:
    found: list[Strand] = []
    run: list[Curve] = []
    start: Point = (0.0, 0.0)
    for segment in path:
        if isinstance(segment, svg.Move):
            found.append(_strand(run, False))
            run, start = [], _point(segment.end)
        elif isinstance(segment, svg.Close):
            end = run[-1].end if run else start
            if math.dist(end, start) > (_ROUNDED if len(run) > 1 else 0.0):
                run.append(Line(start=end, end=start))
            found.append(_strand(run, True))
            run = []
        else:
            run += _segment(segment)
    found.append(_strand(run, False))
    return tuple(strand for strand in found if strand.curves)


def _strand(run: Sequence[Curve], closed: bool) -> Strand:
    """Lines alone become one polyline, arcs of one circle one arc."""
    if len(run) > 1 and all(isinstance(curve, Line) for curve in run):
        vertices = tuple((*curve.start, 0.0) for curve in run)
        if not (closed or run[0].start == run[-1].end):
            return Strand((Polyline(vertices=(*vertices, (*run[-1].end, 0.0))),), False)
        return Strand((Polyline(vertices=vertices, is_closed=True),), True)
    joined: list[Curve] = []
    for curve in run:
        whole = _one_arc(joined[-1], curve) if joined else None
        joined = [*joined[:-1], whole] if whole else [*joined, curve]
    return Strand(tuple(joined), closed)


def _one_arc(first: Curve, second: Curve) -> Arc | None:
    """Two arcs that follow one another on one circle; programs draw a circle as two, three or four."""
    if not (isinstance(first, Arc) and isinstance(second, Arc)):
        return None
    size = first.radius_mm
    sweep = first.sweep_deg + second.sweep_deg
    slack = max(1e-6 * size, _ROUNDED)
    if abs(size - second.radius_mm) > slack or first.sweep_deg * second.sweep_deg < 0.0:
        return None
    if math.dist(first.center, second.center) > slack:
        return _two_halves(first, second, slack)
    if abs(sweep) > 360.0 + math.degrees(4.0 * slack / size):
        return None
    closes = abs(sweep) > 180.0 and math.dist(first.start, second.end) <= slack
    return Arc(
        center=first.center,
        radius_mm=size,
        start_deg=first.start_deg,
        sweep_deg=math.copysign(360.0, sweep) if closes else sweep,
    )


def _two_halves(first: Arc, second: Arc, slack: float) -> Arc | None:
    """A circle drawn as two halves whose ends are rounded: their centres lie on either side of the chord's middle."""
    off = max(abs(abs(arc.sweep_deg) - 180.0) for arc in (first, second))
    if off > _HALF_TURN_DEG or math.dist(first.start, second.end) > slack:
        return None
    center = _middle(first.start, first.end)
    d = _minus(first.start, center)
    return Arc(
        center=center,
        radius_mm=first.radius_mm,
        start_deg=math.degrees(math.atan2(d[1], d[0])),
        sweep_deg=math.copysign(360.0, first.sweep_deg),
    )


def _segment(segment: Any) -> list[Curve]:
    start, end = _point(segment.start), _point(segment.end)
    if isinstance(segment, svg.Line):
        return [Line(start=start, end=end)] if math.dist(start, end) > 0.0 else []
    if isinstance(segment, svg.QuadraticBezier):
        return _bezier((start, _point(segment.control), end))
    if isinstance(segment, svg.CubicBezier):
        return _bezier((start, _point(segment.control1), _point(segment.control2), end))
    if isinstance(segment, svg.Arc):
        return _arc(segment, start, end)
    raise ValueError(f"a path segment of kind {type(segment).__name__} is not known")


def _bezier(control: tuple[Point, ...]) -> list[Curve]:
    if max(math.dist(control[0], p) for p in control) == 0.0:
        return []
    degree = len(control) - 1
    knots = (0.0,) * (degree + 1) + (1.0,) * (degree + 1)
    return [Spline(degree=degree, control=control, knots=knots)]


def _arc(segment: Any, start: Point, end: Point) -> list[Curve]:
    """An arc by its centre and two conjugate half axes; one without radius is a straight line, as the standard says."""
    center = _point(segment.center)
    u = _minus(_point(segment.prx), center)
    v = _minus(_point(segment.pry), center)
    a, b = math.hypot(*u), math.hypot(*v)
    sweep = math.degrees(segment.sweep)
    if not (a > 0.0 and b > 0.0) or sweep == 0.0:
        return [Line(start=start, end=end)] if math.dist(start, end) > 0.0 else []
    d = _minus(start, center)
    if abs(a - b) <= _SAME * max(a, b):
        middle = _middle(start, end)
        if math.dist(center, middle) <= _HALF_TURN * min(a, 1.0):
            # The centre of a half turn moves by the root of what its ends were rounded by; they say it better.
            center, a, d = middle, math.dist(start, end) / 2, _minus(start, middle)
            sweep = math.copysign(180.0, sweep)
        return [Arc(center=center, radius_mm=a, start_deg=math.degrees(math.atan2(d[1], d[0])), sweep_deg=sweep)]
    t = math.degrees(math.atan2((d[0] * v[0] + d[1] * v[1]) / (b * b), (d[0] * u[0] + d[1] * u[1]) / (a * a)))
    return [EllipseArc(center=center, major=u, ratio=b / a, start_deg=t, sweep_deg=sweep)]


def _rect(element: Element, viewport: tuple[float, float]) -> tuple[Strand, ...]:
    x, w = (length_px(element.get(key), viewport[0]) for key in ("x", "width"))
    y, h = (length_px(element.get(key), viewport[1]) for key in ("y", "height"))
    if not (w > 0.0 and h > 0.0):
        return ()
    radii = {"rx": element.get("rx"), "ry": element.get("ry")}
    rx = length_px(radii["rx"] if radii["rx"] not in (None, "auto") else radii["ry"], viewport[0])
    ry = length_px(radii["ry"] if radii["ry"] not in (None, "auto") else radii["rx"], viewport[1])
    if rx > 0.0 and ry > 0.0:
        return _strands(svg.Path(svg.Rect(x, y, w, h, rx=min(rx, w / 2), ry=min(ry, h / 2))))
    corners = ((x, y, 0.0), (x + w, y, 0.0), (x + w, y + h, 0.0), (x, y + h, 0.0))
    return (Strand((Polyline(vertices=corners, is_closed=True),), True),)


def _circle(element: Element, viewport: tuple[float, float]) -> tuple[Strand, ...]:
    cx, cy = length_px(element.get("cx"), viewport[0]), length_px(element.get("cy"), viewport[1])
    r = length_px(element.get("r"), math.hypot(*viewport) / math.sqrt(2.0))
    return (Strand((circle((cx, cy), r),), True),) if r > 0.0 else ()


def _ellipse(element: Element, viewport: tuple[float, float]) -> tuple[Strand, ...]:
    cx, cy = length_px(element.get("cx"), viewport[0]), length_px(element.get("cy"), viewport[1])
    rx, ry = length_px(element.get("rx"), viewport[0]), length_px(element.get("ry"), viewport[1])
    if not (rx > 0.0 and ry > 0.0):
        return ()
    if rx == ry:
        return (Strand((circle((cx, cy), rx),), True),)
    whole = EllipseArc(center=(cx, cy), major=(rx, 0.0), ratio=ry / rx, start_deg=0.0, sweep_deg=360.0)
    return (Strand((whole,), True),)


def _line(element: Element, viewport: tuple[float, float]) -> tuple[Strand, ...]:
    x1, x2 = (length_px(element.get(key), viewport[0]) for key in ("x1", "x2"))
    y1, y2 = (length_px(element.get(key), viewport[1]) for key in ("y1", "y2"))
    return (Strand((Line(start=(x1, y1), end=(x2, y2)),), False),) if (x1, y1) != (x2, y2) else ()


def _poly(element: Element, closed: bool) -> tuple[Strand, ...]:
    numbers = [float(text) for text in _NUMBER.findall(element.get("points", ""))]
    if len(numbers) % 2:
        raise ValueError(f"its points are {len(numbers)} numbers, which is odd")
    points = [_finite((x, y)) for x, y in zip(numbers[::2], numbers[1::2], strict=True)]
    if closed or points[:1] == points[-1:]:
        points = points[:-1] if len(points) > 2 and points[0] == points[-1] else points
        closed = True
    if len(points) < 2:
        return ()
    return (Strand((Polyline(vertices=tuple((*p, 0.0) for p in points), is_closed=closed),), closed),)


def _point(point: Any) -> Point:
    return _finite((float(point.x), float(point.y)))


def _finite(point: Point) -> Point:
    if not (abs(point[0]) < _LARGEST and abs(point[1]) < _LARGEST):
        raise ValueError(f"its coordinates are not usable: {point}")
    return point


def _middle(a: Point, b: Point) -> Point:
    return ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)


def _minus(a: Point, b: Point) -> Point:
    return (a[0] - b[0], a[1] - b[1])


_MAKERS: Final[dict[str, Callable[[Element, tuple[float, float]], tuple[Strand, ...]]]] = {
    "path": _path,
    "rect": _rect,
    "circle": _circle,
    "ellipse": _ellipse,
    "line": _line,
    "polyline": lambda element, _: _poly(element, False),
    "polygon": lambda element, _: _poly(element, True),
}
