"""Curves under any plane transform: what block inserts, object coordinates and units do to entities."""

import math
from dataclasses import dataclass

from nesting.drawing.splines import clamped
from nesting.geometry.curves import Arc, Curve, EllipseArc, Line, Polyline, Spline
from nesting.geometry.pose import Point

_EQUAL = 1e-9
_FLAT = 1e-6
_LARGEST = 1e9


@dataclass(frozen=True, slots=True)
class Affine:
    """The plane transform (x, y) -> (a x + b y + e, c x + d y + f)."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 1.0
    e: float = 0.0
    f: float = 0.0

    def point(self, p: Point) -> Point:
        """Map a point."""
        return (self.a * p[0] + self.b * p[1] + self.e, self.c * p[0] + self.d * p[1] + self.f)

    def vector(self, v: Point) -> Point:
        """Map a direction."""
        return (self.a * v[0] + self.b * v[1], self.c * v[0] + self.d * v[1])

    def after(self, inner: "Affine") -> "Affine":
        """Return the transform that applies `inner` first and this one then."""
        (a, c), (b, d) = self.vector((inner.a, inner.c)), self.vector((inner.b, inner.d))
        return Affine(a, b, c, d, *self.point((inner.e, inner.f)))

    @property
    def determinant(self) -> float:
        """Area factor; negative if it mirrors."""
        return self.a * self.d - self.b * self.c

    @property
    def scale(self) -> float | None:
        """The one length factor if shapes keep their form, else None."""
        first, second = math.hypot(self.a, self.c), math.hypot(self.b, self.d)
        largest = max(first, second)
        if largest == 0.0 or abs(first - second) > _EQUAL * largest:
            return None
        return first if abs(self.a * self.b + self.c * self.d) <= _EQUAL * largest * largest else None

    @property
    def flattens(self) -> bool:
        """True if it presses the plane into a line."""
        size = max(abs(self.a), abs(self.b), abs(self.c), abs(self.d))
        return abs(self.determinant) <= _FLAT * size * size

    def curves(self, curve: Curve) -> tuple[Curve, ...]:
        """Map a curve to one curve, or to several where a polyline's arcs stop being circular.

        Raise `ValueError` if nothing of length remains, or if a number of the transform is none or is huge.
        """
        if not all(abs(v) < _LARGEST for v in (self.a, self.b, self.c, self.d, self.e, self.f)):
            raise ValueError("its place or scale is not usable")
        if self.flattens and not isinstance(curve, Line):
            raise ValueError("it is scaled or turned until it is flat")
        if isinstance(curve, Line):
            return (Line(start=self.point(curve.start), end=self.point(curve.end)),)
        if isinstance(curve, Arc):
            return (self._arc(curve),)
        if isinstance(curve, EllipseArc):
            minor = (-curve.major[1] * curve.ratio, curve.major[0] * curve.ratio)
            return (self._ellipse(curve.center, curve.major, minor, curve.start_deg, curve.sweep_deg),)
        if isinstance(curve, Spline):
            control = tuple(self.point(p) for p in curve.control)
            return (clamped(Spline(degree=curve.degree, control=control, knots=curve.knots, weights=curve.weights)),)
        return self._polyline(curve)

    def _arc(self, arc: Arc) -> Curve:
        scale = self.scale
        if scale is None:
            r = arc.radius_mm
            return self._ellipse(arc.center, (r, 0.0), (0.0, r), arc.start_deg, arc.sweep_deg)
        start = self.vector((math.cos(math.radians(arc.start_deg)), math.sin(math.radians(arc.start_deg))))
        return Arc(
            center=self.point(arc.center),
            radius_mm=arc.radius_mm * scale,
            start_deg=0.0 if arc.closed else math.degrees(math.atan2(start[1], start[0])) % 360.0,
            sweep_deg=math.copysign(arc.sweep_deg, arc.sweep_deg * self.determinant),
        )

    def _ellipse(self, center: Point, u: Point, v: Point, start_deg: float, sweep_deg: float) -> EllipseArc:
        """Main axes from two conjugate half axes: turn the parameter until they stand square."""
        u, v = self.vector(u), self.vector(v)
        uu, vv, uv = u[0] ** 2 + u[1] ** 2, v[0] ** 2 + v[1] ** 2, u[0] * v[0] + u[1] * v[1]
        # Axes that are square already stay as they are, so that a plain ellipse is not rewritten.
        square = abs(uv) <= 1e-12 * (uu + vv) and uu >= vv
        t = 0.0 if square else 0.5 * math.atan2(2.0 * uv, uu - vv)
        c, s = math.cos(t), math.sin(t)
        major = (u[0] * c + v[0] * s, u[1] * c + v[1] * s)
        minor = (v[0] * c - u[0] * s, v[1] * c - u[1] * s)
        sign = 1.0 if major[0] * minor[1] - major[1] * minor[0] > 0.0 else -1.0
        return EllipseArc(
            center=self.point(center),
            major=major,
            ratio=math.hypot(*minor) / math.hypot(*major),
            start_deg=sign * (start_deg - math.degrees(t)),
            sweep_deg=sign * sweep_deg,
        )

    def _polyline(self, line: Polyline) -> tuple[Curve, ...]:
        if self.scale is None and any(isinstance(piece, Arc) for piece in line.pieces):
            return tuple(curve for piece in line.pieces for curve in self.curves(piece))
        sign = math.copysign(1.0, self.determinant)
        moved = tuple((*self.point((x, y)), sign * bulge) for x, y, bulge in line.vertices)
        return (Polyline(vertices=moved, is_closed=line.is_closed),)
