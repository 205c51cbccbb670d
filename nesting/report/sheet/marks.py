"""Strokes and words of a picture in millimetres on paper, y up, for PDF and SVG alike; nothing is told by colour."""

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiLineString, Polygon

from nesting.geometry.pose import Point
from nesting.report.printing import BOLD, CAP_HEIGHT, PLAIN, text_width
from nesting.report.scene import Shape

Floats = NDArray[np.float64]
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """Lines through points; `fill` is a grey from 0 black to 1 white, `width_mm` 0 draws no line."""

    rings: tuple[Floats, ...]
    closed: bool = False
    width_mm: float = 0.25
    dash: tuple[float, ...] = ()
    grey: float = 0.0
    fill: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """A text, its middle height at `at`; `size_mm` is that of its font, `backed` puts white behind it."""

    text: str
    at: Point
    size_mm: float
    bold: bool = False
    anchor: Anchor = "middle"
    backed: bool = False

    @property
    def width_mm(self) -> float:
        """How wide it is."""
        return text_width(self.text, BOLD if self.bold else PLAIN, self.size_mm)

    @property
    def box(self) -> Polygon:
        """The room it takes."""
        left = self.at[0] - {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor] * self.width_mm
        half = 0.5 * CAP_HEIGHT * self.size_mm
        box: Polygon = shapely.box(left, self.at[1] - half, left + self.width_mm, self.at[1] + half)
        return box


@dataclass(frozen=True, kw_only=True)
class Picture:
    """What is drawn, from back to front, on a piece of paper; not `complete` if some parts have no number in it."""

    width_mm: float
    height_mm: float
    marks: tuple[Stroke | Words, ...]
    complete: bool = True


@dataclass(frozen=True, kw_only=True)
class Frame:
    """From millimetres of the plate to millimetres on paper."""

    scale: float
    left: float
    low: float

    def points(self, xy: Floats) -> Floats:
        """Points of the plate, shape (n, 2), on paper."""
        return (np.asarray(xy, dtype=float) - (self.left, self.low)) * self.scale

    def point(self, at: Point) -> Point:
        """One point of the plate on paper."""
        return (at[0] - self.left) * self.scale, (at[1] - self.low) * self.scale

    def rings(self, shape: shapely.Geometry) -> tuple[Floats, ...]:
        """Outlines and holes of a shape of the plate on paper."""
        polygons = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon)]
        return tuple(self.points(shapely.get_coordinates(r)[:-1]) for p in polygons for r in (p.exterior, *p.interiors))


@dataclass(kw_only=True)
class Sketch:
    """A picture under way: its marks, and the rooms that words have taken."""

    frame: Frame
    marks: list[Stroke | Words] = field(default_factory=list)
    taken: list[Polygon] = field(default_factory=list)

    def free(self, words: Words, pad: float = 0.4) -> bool:
        """True if no words stand there yet."""
        box = words.box.buffer(pad, join_style="mitre")
        return not any(box.intersects(other) for other in self.taken)

    def write(self, words: Words) -> None:
        """Write words and keep their room."""
        self.marks.append(words)
        self.taken.append(words.box)


def hatch(shape: Shape, frame: Frame, turn_deg: float, step_mm: float, *, width: float, grey: float) -> Stroke:
    """Parallel lines over a shape, a step apart on paper, as lines of their own."""
    x0, y0, x1, y1 = shape.bounds
    middle, reach = ((x0 + x1) / 2, (y0 + y1) / 2), math.hypot(x1 - x0, y1 - y0) / 2
    step = step_mm / frame.scale
    ux, uy = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    lines = []
    for k in range(-int(reach / step), int(reach / step) + 1):
        mx, my = middle[0] - k * step * uy, middle[1] + k * step * ux
        lines.append(((mx - reach * ux, my - reach * uy), (mx + reach * ux, my + reach * uy)))
    inside = MultiLineString(lines).intersection(shape)
    rings = (frame.points(shapely.get_coordinates(p)) for p in shapely.get_parts(inside) if isinstance(p, LineString))
    return Stroke(rings=tuple(rings), width_mm=width, grey=grey)


def arrow_head(tip: Point, along: Point, length: float) -> Stroke:
    """A filled arrow head."""
    (x, y), (dx, dy) = tip, along
    back, side = (x - length * dx, y - length * dy), 0.32 * length
    ring = np.array([tip, (back[0] - side * dy, back[1] + side * dx), (back[0] + side * dy, back[1] - side * dx)])
    return Stroke(rings=(ring,), closed=True, width_mm=0.0, fill=0.0)


def disc(at: Point, radius: float, *, fill: float) -> Stroke:
    turns = np.linspace(0.0, 2 * math.pi, 28, endpoint=False)
    ring = np.column_stack([at[0] + radius * np.cos(turns), at[1] + radius * np.sin(turns)])
    return Stroke(rings=(ring,), closed=True, width_mm=0.3, fill=fill)
