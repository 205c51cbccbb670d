"""One DXF entity to curves of our own, in the plane of the entity (object coordinates where DXF uses them).

Group codes and coordinate systems as in the published DXF reference; `ezdxf` supplies the raw values.
"""

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Any, Final

from ezdxf.math import fit_points_to_cad_cv, open_uniform_knot_vector

from nesting.geometry.curves import Arc, Curve, EllipseArc, Line, Polyline, Spline, circle
from nesting.geometry.pose import Point
from nesting.tolerances import JOIN_SILENT_MM, TINY_SEGMENT_MM

_SPLINE_FRAME: Final = 16
_CLOSED_SPLINE: Final = 1
_LEVEL_MM: Final = 0.01
"""Points whose heights differ by no more lie level: such a slope changes no length by more than rounding does."""

_LARGEST: Final = 1e9
_LARGEST_TURN: Final = 1e4
_KNOT_ROUNDING: Final = 1e-8
_ROUNDED_TURN_DEG: Final = 0.01
_NO_TURN_DEG: Final = 1e-7
_ENDS: Final = ("start", "end")
_WIDE: Final = "polyline drawn with a width; its centre line is taken"


class NotFlatError(ValueError):
    """An entity does not lie level with the drawing plane."""


@dataclass(frozen=True, slots=True)
class Shape:
    """Curves of one entity.

    `extrusion` is None for entities in world coordinates; `note` says what had to be decided.
    """

    curves: tuple[Curve, ...]
    extrusion: tuple[float, float, float] | None = None
    elevation: float = 0.0
    note: str = ""


def shape_of(entity: Any, mm_per_unit: float) -> Shape | None:
    """Return the curves of an entity, or None for a type that is never cut; tolerances are millimetres.

    Raise `NotFlatError` for content in space and `ValueError` for values that make no curve.
    """
    converter = _CONVERTERS.get(entity.dxftype())
    return converter(entity, mm_per_unit) if converter else None


def _line(entity: Any, mm: float) -> Shape:
    start, end = entity.dxf.start, entity.dxf.end
    _level([start.z, end.z], mm)
    return Shape((Line(start=_point(start), end=_point(end)),))


def _circle(entity: Any, _: float) -> Shape:
    dxf = entity.dxf
    center = dxf.center
    curve = circle(_point(center), _positive(dxf.radius, "radius"))
    return Shape((curve,), _extrusion(entity), center.z)


def _arc(entity: Any, _: float) -> Shape:
    dxf = entity.dxf
    center = dxf.center
    sweep = _sweep(dxf.end_angle - dxf.start_angle)
    curve = Arc(
        center=_point(center),
        radius_mm=_positive(dxf.radius, "radius"),
        start_deg=dxf.start_angle % 360.0,
        sweep_deg=sweep,
    )
    return Shape((curve,), _extrusion(entity), center.z)


def _ellipse(entity: Any, mm: float) -> Shape:
    dxf = entity.dxf
    major = dxf.major_axis
    normal = _extrusion(entity) or (0.0, 0.0, 1.0)
    if math.hypot(normal[0], normal[1]) > 1e-6 * abs(normal[2]):
        raise NotFlatError("it is tilted")
    _level([0.0, major.z], mm)
    sign = math.copysign(1.0, normal[2])
    if not all(abs(parameter) < _LARGEST_TURN for parameter in (dxf.start_param, dxf.end_param)):
        raise ValueError(f"its parameters are not usable: {dxf.start_param:g}, {dxf.end_param:g}")
    curve = EllipseArc(
        center=_point(dxf.center),
        major=_point(major),
        ratio=_positive(abs(dxf.ratio), "axis ratio"),
        start_deg=sign * math.degrees(dxf.start_param),
        sweep_deg=sign * _sweep(math.degrees(dxf.end_param - dxf.start_param)),
    )
    return Shape((curve,))


def _sweep(difference_deg: float) -> float:
    """Return how far a curve goes round counter-clockwise; all the way where start and end are the same.

    A full turn is written in so many digits: 6.2832 in place of two pi must not leave a sliver of a curve.
    """
    if not math.isfinite(difference_deg):
        raise ValueError("its angles are not numbers")
    if 360.0 < difference_deg <= 360.0 + _ROUNDED_TURN_DEG:
        return 360.0
    sweep = difference_deg % 360.0
    return sweep if sweep > _NO_TURN_DEG else 360.0


def _spline(entity: Any, mm: float) -> Shape:
    closed = bool(entity.dxf.get("flags", 0) & _CLOSED_SPLINE)
    curve = _by_control(entity, mm) if entity.control_point_count() else _by_fit(entity, closed, mm)
    if closed and mm * math.dist(curve.start, curve.end) > TINY_SEGMENT_MM:
        closing = Line(start=curve.end, end=curve.start)
        gap = mm * closing.length_mm
        note = f"closed spline ends {gap:.3g} mm from its start; closed by a straight line"
        return Shape((curve, closing), note=note if gap > JOIN_SILENT_MM else "")
    return Shape((curve,))


def _by_control(entity: Any, mm: float) -> Spline:
    control = [tuple(float(v) for v in p) for p in entity.control_points]
    _level([p[2] for p in control], mm)
    degree = int(entity.dxf.degree)
    knots: Sequence[float] = [float(k) for k in entity.knots]
    if not knots:
        knots = open_uniform_knot_vector(len(control), degree + 1)
    if any(0.0 < a - b <= _KNOT_ROUNDING * (abs(a) + 1.0) for a, b in zip(knots, knots[1:], strict=False)):
        knots = list(accumulate(knots, max))
    if degree < 1 or any(b < a for a, b in zip(knots, knots[1:], strict=False)):
        raise ValueError("its knots do not ascend")
    if not all(map(math.isfinite, knots)) or max(Counter(knots).values()) > degree + 1:
        raise ValueError("its knots are no numbers, or one repeats more than degree + 1 times")
    weights = tuple(float(w) for w in entity.weights)
    if any(not w > 0.0 for w in weights):
        raise ValueError("its weights are not all above 0")
    if weights and max(weights) - min(weights) < 1e-12:
        weights = ()
    points = tuple(_finite((p[0], p[1])) for p in control)
    spline = Spline(degree=degree, control=points, knots=tuple(knots), weights=weights)
    if not spline.knots[degree] < spline.knots[len(points)]:
        raise ValueError("its knots span nothing")
    return spline


def _by_fit(entity: Any, closed: bool, mm: float) -> Spline:
    fit = [tuple(float(v) for v in p) for p in entity.fit_points]
    if len(fit) < 2:
        raise ValueError("it has neither control points nor fit points")
    _level([p[2] for p in fit], mm)
    for p in fit:
        _finite((p[0], p[1]))
    if closed and mm * math.dist(fit[0], fit[-1]) > TINY_SEGMENT_MM:
        fit.append(fit[0])
    dxf = entity.dxf
    ends = [dxf.start_tangent, dxf.end_tangent] if dxf.hasattr("start_tangent") and dxf.hasattr("end_tangent") else None
    curve = fit_points_to_cad_cv(fit, tangents=ends)
    control = tuple(_point(p) for p in curve.control_points)
    return Spline(degree=curve.degree, control=control, knots=tuple(float(k) for k in curve.knots()))


def _lwpolyline(entity: Any, _: float) -> Shape:
    points = entity.get_points("xyb")
    curve = _polyline_of(points, entity.closed)
    wide = entity.dxf.get("const_width", 0.0) or any(s or e for s, e in entity.get_points("se"))
    return Shape((curve,), _extrusion(entity), float(entity.dxf.get("elevation", 0.0)), _WIDE if wide else "")


def _polyline(entity: Any, mm: float) -> Shape:
    if entity.is_2d_polyline:
        kept = [v.dxf for v in entity.vertices if not v.dxf.flags & _SPLINE_FRAME]
        points = [(v.location.x, v.location.y, float(v.get("bulge", 0.0))) for v in kept]
        elevation = entity.dxf.get("elevation")
        curve = _polyline_of(points, entity.is_closed)
        wide = any(entity.dxf.get(f"default_{side}_width", 0.0) for side in _ENDS)
        wide = wide or any(v.get(f"{side}_width", 0.0) for v in kept for side in _ENDS)
        return Shape((curve,), _extrusion(entity), elevation.z if elevation else 0.0, _WIDE if wide else "")
    if entity.is_3d_polyline:
        places = [v.dxf.location for v in entity.vertices if not v.dxf.flags & _SPLINE_FRAME]
        _level([p.z for p in places], mm)
        return Shape((_polyline_of([(p.x, p.y, 0.0) for p in places], entity.is_closed),))
    raise NotFlatError("it is a mesh")


def _polyline_of(points: Sequence[Sequence[float]], closed: bool) -> Polyline:
    vertices = [(float(x), float(y), float(bulge)) for x, y, bulge in points]
    for x, y, bulge in vertices:
        _finite((x, y))
        _finite((bulge, 0.0))
    # A closed polyline that repeats its first vertex has one side of no length.
    if closed and len(vertices) > 2 and vertices[0][:2] == vertices[-1][:2]:
        vertices.pop()
    return Polyline(vertices=tuple(vertices), is_closed=closed)


def _extrusion(entity: Any) -> tuple[float, float, float] | None:
    vector = entity.dxf.get("extrusion")
    if vector is None or (vector.x == 0.0 and vector.y == 0.0 and vector.z > 0.0):
        return (0.0, 0.0, 1.0)
    if not vector.magnitude > 0.0:
        raise ValueError("its extrusion has no direction")
    return (vector.x, vector.y, vector.z)


def _level(heights: Sequence[float], mm: float) -> None:
    spread = mm * (max(heights) - min(heights))
    if not spread <= max(_LEVEL_MM, 1e-7 * mm * abs(heights[0])):
        raise NotFlatError("its points lie at different heights")


def _point(vector: Any) -> Point:
    return _finite((float(vector.x), float(vector.y)))


def _finite(point: Point) -> Point:
    if not (abs(point[0]) < _LARGEST and abs(point[1]) < _LARGEST):
        raise ValueError(f"its coordinates are not usable: {point}")
    return point


def _positive(value: float, what: str) -> float:
    if not 0.0 < value < _LARGEST:
        raise ValueError(f"its {what} is {value:g}")
    return float(value)


_CONVERTERS: Final[dict[str, Callable[[Any, float], Shape]]] = {
    "LINE": _line,
    "CIRCLE": _circle,
    "ARC": _arc,
    "ELLIPSE": _ellipse,
    "SPLINE": _spline,
    "HELIX": _spline,
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _polyline,
}
