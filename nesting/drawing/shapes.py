"""Our curves and texts as DXF entities, in world coordinates with the extrusion always (0, 0, 1)."""

import math
from typing import Any

from nesting.drawing.biarcs import as_arcs
from nesting.drawing.labels import text_width
from nesting.geometry.curves import Arc, Curve, EllipseArc, Line, Polyline, Spline
from nesting.geometry.pose import Point, Pose
from nesting.leads import Spot
from nesting.part import TextMark
from nesting.tolerances import R12_ARC_MM


def draw_curve(space: Any, curve: Curve, layer: str, scale: float, *, arcs_only: bool = False) -> None:
    """Add a curve to a layout or block of a DXF document, coordinates times `scale`; mirrored ones are not extruded.

    With `arcs_only` and in R12, splines and ellipses become polylines of arcs within `R12_ARC_MM`.
    """
    attribs = {"layer": layer}
    if isinstance(curve, Line):
        space.add_line(_scaled(curve.start, scale), _scaled(curve.end, scale), dxfattribs=attribs)
    elif isinstance(curve, Arc):
        _arc(space, curve, attribs, scale)
    elif isinstance(curve, Polyline):
        _polyline(space, curve, attribs, scale)
    elif arcs_only or space.doc.dxfversion == "AC1009":
        _polyline(space, as_arcs(curve, R12_ARC_MM), attribs, scale)
    elif isinstance(curve, EllipseArc):
        _ellipse(space, curve, attribs, scale)
    else:
        _spline(space, curve, attribs, scale)


def draw_text(space: Any, text: TextMark, layer: str, scale: float, pose: Pose | None = None) -> None:
    """Add a line of text; on a part turned over it stays readable, in the place where its mirror image would be.

    There its right end stands where its left end was, so that it is set from the right; readers that know no other
    alignment find the left end by the text's estimated width.
    """
    pose = pose or Pose()
    at, turn = pose.point(text.at), pose.direction_deg(text.turn_deg)
    attribs: dict[str, Any] = {"layer": layer, "height": text.height_mm * scale}
    if pose.flipped:
        turn += 180.0
        reach = text_width(text.text, text.height_mm)
        left = (at[0] - reach * math.cos(math.radians(turn)), at[1] - reach * math.sin(math.radians(turn)))
        attribs |= {"halign": 2, "align_point": _scaled(at, scale)}
        at = left
    attribs |= {"insert": _scaled(at, scale), "rotation": turn % 360.0}
    space.add_text(_plain(text.text), dxfattribs=attribs)


def draw_pierce(space: Any, spot: Spot, layer: str, scale: float) -> None:
    """Add a lead-in: a point where the arc starts, and a line from there to the contour."""
    begin, end = _scaled(spot.pierce, scale), _scaled(spot.contact, scale)
    space.add_point(begin, dxfattribs={"layer": layer})
    space.add_line(begin, end, dxfattribs={"layer": layer})


def _arc(space: Any, arc: Arc, attribs: dict[str, str], scale: float) -> None:
    center, radius = _scaled(arc.center, scale), arc.radius_mm * scale
    if arc.closed:
        space.add_circle(center, radius, dxfattribs=attribs)
        return
    first, last = (arc.start_deg, arc.end_deg) if arc.sweep_deg > 0.0 else (arc.end_deg, arc.start_deg)
    space.add_arc(center, radius, first % 360.0, last % 360.0, dxfattribs=attribs)


def _ellipse(space: Any, ellipse: EllipseArc, attribs: dict[str, str], scale: float) -> None:
    major, ratio, start = ellipse.major, ellipse.ratio, ellipse.start_deg
    # DXF wants the longer axis as the major one; a quarter turn of the parameter swaps them.
    if ratio > 1.0:
        major, ratio, start = (-major[1] * ratio, major[0] * ratio), 1.0 / ratio, start - 90.0
    end = start + ellipse.sweep_deg
    first, last = (start, end) if ellipse.sweep_deg > 0.0 else (end, start)
    begin = 0.0 if ellipse.closed else math.radians(first % 360.0)
    finish = math.tau if ellipse.closed else begin + math.radians(last - first)
    space.add_ellipse(_scaled(ellipse.center, scale), _scaled(major, scale), ratio, begin, finish, dxfattribs=attribs)


def _spline(space: Any, spline: Spline, attribs: dict[str, str], scale: float) -> None:
    entity = space.add_spline(degree=spline.degree, dxfattribs=attribs)
    entity.control_points = [_scaled(p, scale) for p in spline.control]
    entity.knots = spline.knots
    if spline.weights:
        entity.weights = spline.weights


def _polyline(space: Any, line: Polyline, attribs: dict[str, str], scale: float) -> None:
    points = [(x * scale, y * scale, bulge) for x, y, bulge in line.vertices]
    if space.doc.dxfversion == "AC1009":
        space.add_polyline2d(points, format="xyb", close=line.is_closed, dxfattribs=attribs)
    else:
        space.add_lwpolyline(points, format="xyb", close=line.is_closed, dxfattribs=attribs)


def _scaled(point: Point, scale: float) -> Point:
    return (point[0] * scale, point[1] * scale)


def _plain(text: str) -> str:
    """Text entities hold one line."""
    return " ".join(text.split())
