"""The curves a drawing is made of, kept as read: lines, arcs, circles, ellipse arcs, splines, polylines.

A curve has a direction of travel.  `pieces` breaks it into the simplest curves (a polyline into lines and
arcs); everything that measures or flattens works on pieces.  Lengths are mm, angles degrees,
counter-clockwise positive.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from nesting.geometry.pose import Point, Pose
from nesting.geometry.quadrature import integral
from nesting.geometry.spline import Spline
from nesting.tolerances import TINY_SEGMENT_MM

__all__ = [
    "Arc", "Curve", "EllipseArc", "Floats", "Line", "Piece", "Polyline", "Spline", "bulge_piece", "circle",
]  # fmt: skip

Floats = NDArray[np.float64]

_MAX_ARC_STEPS = 20_000


@dataclass(frozen=True, kw_only=True)
class Line:
    """A straight line from `start` to `end`."""

    type: Literal["line"] = "line"
    start: Point
    end: Point

    @property
    def closed(self) -> bool:
        """A line never closes on itself."""
        return False

    @property
    def length_mm(self) -> float:
        """Length."""
        return math.dist(self.start, self.end)

    @property
    def pieces(self) -> tuple["Piece", ...]:
        """Itself."""
        return (self,)

    def posed(self, pose: Pose) -> "Line":
        """The line in another place."""
        return Line(start=pose.point(self.start), end=pose.point(self.end))

    def reversed(self) -> "Line":
        """The same line, travelled the other way."""
        return Line(start=self.end, end=self.start)

    def points(self, chord_mm: float) -> Floats:  # noqa: ARG002 - one signature for all curves
        """Both ends, an array (2, 2)."""
        return np.array([self.start, self.end])

    @property
    def swept_area_mm2(self) -> float:
        """Signed area between the line and the origin; summed over a closed loop it is the area inside."""
        return 0.5 * (self.start[0] * self.end[1] - self.end[0] * self.start[1])


@dataclass(frozen=True, kw_only=True)
class Arc:
    """A circular arc; `sweep_deg` is signed and at most a full turn, which makes it a circle."""

    type: Literal["arc"] = "arc"
    center: Point
    radius_mm: float
    start_deg: float
    sweep_deg: float

    def __post_init__(self) -> None:
        if not self.radius_mm > 0.0:
            raise ValueError(f"an arc needs a radius above 0, got {self.radius_mm}")
        _require_at_most_a_turn(self.sweep_deg)

    @property
    def closed(self) -> bool:
        """True for a full circle."""
        return abs(self.sweep_deg) >= 360.0

    @property
    def end_deg(self) -> float:
        """Direction from the centre to the end."""
        return self.start_deg + self.sweep_deg

    @property
    def start(self) -> Point:
        """First point."""
        return self._at(self.start_deg)

    @property
    def end(self) -> Point:
        """Last point."""
        return self._at(self.start_deg if self.closed else self.end_deg)

    @property
    def length_mm(self) -> float:
        """Length along the arc."""
        return self.radius_mm * math.radians(abs(self.sweep_deg))

    @property
    def pieces(self) -> tuple["Piece", ...]:
        """Itself."""
        return (self,)

    def posed(self, pose: Pose) -> "Arc":
        """The arc in another place; a flip turns its sweep round."""
        return Arc(
            center=pose.point(self.center),
            radius_mm=self.radius_mm,
            start_deg=pose.direction_deg(self.start_deg) % 360.0,
            sweep_deg=-self.sweep_deg if pose.flipped else self.sweep_deg,
        )

    def reversed(self) -> "Arc":
        """The same arc, travelled the other way."""
        return Arc(
            center=self.center,
            radius_mm=self.radius_mm,
            start_deg=self.end_deg % 360.0,
            sweep_deg=-self.sweep_deg,
        )

    def points(self, chord_mm: float) -> Floats:
        """Points on the arc whose chords stay within `chord_mm` of it, an array (n, 2), n >= 2."""
        angles = np.linspace(self.start_deg, self.end_deg, self.steps(chord_mm) + 1)
        xy = self._along(angles, self.radius_mm)
        xy[0], xy[-1] = self.start, self.end
        return xy

    def tangent_points(self, chord_mm: float) -> Floats:
        """Corners of tangents that wrap the arc from outside, ends included, within `chord_mm` of it."""
        n = self.steps(chord_mm)
        half = math.radians(abs(self.sweep_deg)) / n / 2
        middles = self.start_deg + self.sweep_deg * (np.arange(n) + 0.5) / n
        corners = self._along(middles, self.radius_mm / math.cos(half))
        return np.vstack([[self.start], corners, [self.end]])

    def steps(self, chord_mm: float) -> int:
        """Chords needed so that each stays within `chord_mm`: ceil(sweep / (2 acos(1 - e/r))).

        The tangents' corners stand off by r (1/cos - 1), a bit more than e; one chord more makes up for it.
        """
        ratio = min(chord_mm / self.radius_mm, 0.5)
        step = 4 * math.asin(math.sqrt(ratio / 2))  # = 2 acos(1 - ratio), which fails for huge radii
        n = math.ceil(math.radians(abs(self.sweep_deg)) / step) + 1
        quarter_turns = math.ceil(abs(self.sweep_deg) / 90.0)
        return min(max(n, quarter_turns, 1), _MAX_ARC_STEPS)

    @property
    def swept_area_mm2(self) -> float:
        """Signed area between the arc and the origin, exact."""
        (sx, sy), (ex, ey) = self.start, self.end
        return 0.5 * (sx * ey - ex * sy + self.radius_mm**2 * _segment(self.sweep_deg))

    def _at(self, angle_deg: float) -> Point:
        unit = Pose(turn_deg=angle_deg).cosine_sine
        return (self.center[0] + self.radius_mm * unit[0], self.center[1] + self.radius_mm * unit[1])

    def _along(self, angles_deg: Floats, radius_mm: float) -> Floats:
        angles = np.radians(angles_deg)
        return np.asarray(self.center) + radius_mm * np.column_stack([np.cos(angles), np.sin(angles)])


@dataclass(frozen=True, kw_only=True)
class EllipseArc:
    """Part of an ellipse: point(t) = center + major cos t + ratio (major turned +90 degrees) sin t.

    `start_deg` and `sweep_deg` are the parameter t in degrees, not the geometric angle; the sweep is signed.
    """

    type: Literal["ellipse"] = "ellipse"
    center: Point
    major: Point
    ratio: float
    start_deg: float
    sweep_deg: float

    def __post_init__(self) -> None:
        if not (math.hypot(*self.major) > 0.0 and self.ratio > 0.0):
            raise ValueError(f"an ellipse needs two axes above 0, got {self.major} and ratio {self.ratio}")
        _require_at_most_a_turn(self.sweep_deg)

    @property
    def closed(self) -> bool:
        """True for a whole ellipse."""
        return abs(self.sweep_deg) >= 360.0

    @property
    def start(self) -> Point:
        """First point."""
        return self._at(self.start_deg)

    @property
    def end(self) -> Point:
        """Last point."""
        return self._at(self.start_deg if self.closed else self.start_deg + self.sweep_deg)

    @cached_property
    def length_mm(self) -> float:
        """Length along the arc, by Gauss quadrature; relative error below 1e-9."""
        a, b = math.hypot(*self.major), math.hypot(*self.major) * self.ratio

        def speed(t: Floats) -> Floats:
            return np.hypot(a * np.sin(t), b * np.cos(t))

        return integral(speed, np.radians(self._spans()))

    @property
    def pieces(self) -> tuple["Piece", ...]:
        """Itself."""
        return (self,)

    def posed(self, pose: Pose) -> "EllipseArc":
        """The arc in another place; a flip turns its sweep round."""
        return EllipseArc(
            center=pose.point(self.center),
            major=pose.vector(self.major),
            ratio=self.ratio,
            start_deg=-self.start_deg if pose.flipped else self.start_deg,
            sweep_deg=-self.sweep_deg if pose.flipped else self.sweep_deg,
        )

    def reversed(self) -> "EllipseArc":
        """The same arc, travelled the other way."""
        return EllipseArc(
            center=self.center,
            major=self.major,
            ratio=self.ratio,
            start_deg=self.start_deg + self.sweep_deg,
            sweep_deg=-self.sweep_deg,
        )

    def points(self, chord_mm: float) -> Floats:
        """Points on the arc whose chords stay within `chord_mm` of it.

        An ellipse is an affine picture of a circle of its larger radius, whose step is thus safe for it.
        """
        a = math.hypot(*self.major) * max(1.0, self.ratio)
        like = Arc(center=(0.0, 0.0), radius_mm=a, start_deg=0.0, sweep_deg=self.sweep_deg)
        t = np.radians(np.linspace(self.start_deg, self.start_deg + self.sweep_deg, like.steps(chord_mm) + 1))
        xy = self._along(t)
        xy[0], xy[-1] = self.start, self.end
        return xy

    @property
    def swept_area_mm2(self) -> float:
        """Signed area between the arc and the origin, exact."""
        (sx, sy), (ex, ey) = self.start, self.end
        radii_mm2 = math.hypot(*self.major) ** 2 * self.ratio
        return 0.5 * (sx * ey - ex * sy + radii_mm2 * _segment(self.sweep_deg))

    def _spans(self) -> Floats:
        """Parameters to integrate between, denser to quarter turns, where a slim ellipse bends sharply."""
        low, high = sorted((self.start_deg, self.start_deg + self.sweep_deg))
        halvings = 3 + math.ceil(abs(math.log2(self.ratio)))
        near = 45.0 * 0.5 ** np.arange(halvings)
        quarters = 90.0 * np.arange(math.floor(low / 90.0), math.ceil(high / 90.0) + 1)
        marks = np.add.outer(quarters, np.concatenate([-near, [0.0], near])).ravel()
        return np.unique(np.clip(marks, low, high))

    def _at(self, t_deg: float) -> Point:
        c, s = Pose(turn_deg=t_deg).cosine_sine
        (cx, cy), (mx, my), q = self.center, self.major, self.ratio
        return (cx + mx * c - q * my * s, cy + my * c + q * mx * s)

    def _along(self, t: Floats) -> Floats:
        minor = (-self.major[1] * self.ratio, self.major[0] * self.ratio)
        return self.center + np.outer(np.cos(t), self.major) + np.outer(np.sin(t), minor)


@dataclass(frozen=True, kw_only=True)
class Polyline:
    """Lines and arcs in one entity; each vertex is (x, y, bulge), bulge = tan(angle to the next / 4).

    A closed polyline returns from its last vertex to its first; the last bulge of an open one is not used.
    """

    type: Literal["polyline"] = "polyline"
    vertices: tuple[tuple[float, float, float], ...]
    is_closed: bool = False

    def __post_init__(self) -> None:
        if len(self.vertices) < 2:
            raise ValueError(f"a polyline needs at least two vertices, got {len(self.vertices)}")

    @property
    def closed(self) -> bool:
        """True if it closes on itself."""
        return self.is_closed

    @property
    def start(self) -> Point:
        """First vertex."""
        return self.vertices[0][:2]

    @property
    def end(self) -> Point:
        """Last vertex, or the first if closed."""
        return self.vertices[0 if self.is_closed else -1][:2]

    @property
    def length_mm(self) -> float:
        """Length along all pieces."""
        return math.fsum(piece.length_mm for piece in self.pieces)

    @cached_property
    def pieces(self) -> tuple["Piece", ...]:
        """Its lines and arcs, in order; pieces of no length are left out."""
        return tuple(self._pieces())

    def posed(self, pose: Pose) -> "Polyline":
        """The polyline in another place; a flip turns its bulges round."""
        sign = -1.0 if pose.flipped else 1.0
        moved = tuple((*pose.point((x, y)), sign * bulge) for x, y, bulge in self.vertices)
        return Polyline(vertices=moved, is_closed=self.is_closed)

    def reversed(self) -> "Polyline":
        """The same polyline, travelled the other way."""
        xy = [v[:2] for v in self.vertices]
        bulges = [-v[2] for v in self.vertices]
        if self.is_closed:
            order = [0, *range(len(xy) - 1, 0, -1)]
            turned = tuple((*xy[i], bulges[i - 1]) for i in order)
        else:
            last = len(xy) - 1
            turned = tuple((*xy[i], bulges[i - 1] if i > 0 else 0.0) for i in range(last, -1, -1))
        return Polyline(vertices=turned, is_closed=self.is_closed)

    def points(self, chord_mm: float) -> Floats:
        """Points along all pieces, an array (n, 2)."""
        parts = [piece.points(chord_mm) for piece in self.pieces]
        if not parts:
            return np.array([self.start, self.end])
        return np.vstack([parts[0][:1], *[p[1:] for p in parts]])

    @property
    def swept_area_mm2(self) -> float:
        """Signed area between the polyline and the origin, exact."""
        return math.fsum(piece.swept_area_mm2 for piece in self.pieces)

    def _pieces(self) -> Iterator["Piece"]:
        n = len(self.vertices)
        for i in range(n if self.is_closed else n - 1):
            (x0, y0, bulge), (x1, y1, _) = self.vertices[i], self.vertices[(i + 1) % n]
            # A nearly whole circle has hardly any chord but a large bulge.
            if math.hypot(x1 - x0, y1 - y0) * (1.0 + abs(bulge)) < TINY_SEGMENT_MM:
                continue
            yield bulge_piece((x0, y0), (x1, y1), bulge)


Piece = Line | Arc | EllipseArc | Spline
Curve = Line | Arc | EllipseArc | Spline | Polyline


def bulge_piece(start: Point, end: Point, bulge: float) -> Line | Arc:
    """Return the line or arc between two polyline vertices.

    Radius = chord (1 + b^2) / (4 |b|); the centre lies left of the chord for 0 < b < 1 (published DXF
    reference: bulge = tan of a quarter of the included angle, positive counter-clockwise).
    """
    chord = math.dist(start, end)
    # Flatter, the arc leaves its chord by less than rounding moves the ends of an arc of such a radius.
    if abs(bulge) < 2e-8 or abs(bulge) * chord < 2 * TINY_SEGMENT_MM:
        return Line(start=start, end=end)
    radius = chord * (1 + bulge * bulge) / (4 * abs(bulge))
    offset = chord * (1 - bulge * bulge) / (4 * bulge)
    ux, uy = (end[0] - start[0]) / chord, (end[1] - start[1]) / chord
    center = ((start[0] + end[0]) / 2 - uy * offset, (start[1] + end[1]) / 2 + ux * offset)
    start_deg = math.degrees(math.atan2(start[1] - center[1], start[0] - center[0])) % 360.0
    sweep_deg = math.degrees(4 * math.atan(bulge))
    return Arc(center=center, radius_mm=radius, start_deg=start_deg, sweep_deg=sweep_deg)


def circle(center: Point, radius_mm: float) -> Arc:
    """A full circle, counter-clockwise."""
    return Arc(center=center, radius_mm=radius_mm, start_deg=0.0, sweep_deg=360.0)


def _require_at_most_a_turn(sweep_deg: float) -> None:
    if not abs(sweep_deg) <= 360.0 + 1e-6:
        raise ValueError(f"an arc sweeps at most a full turn, got {sweep_deg} degrees")


def _segment(sweep_deg: float) -> float:
    """Twice the area between chord and arc of a unit circle, angle - sin(angle), exact also where small."""
    angle = math.radians(sweep_deg)
    if abs(angle) > 0.1:
        return angle - math.sin(angle)
    square = angle * angle
    return angle * square / 6 * (1 - square / 20 * (1 - square / 42 * (1 - square / 72)))
