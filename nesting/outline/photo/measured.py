"""The measured edges of a plate and its holes, refused where plate and floor are not on their two sides."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.errors import InputError
from nesting.outline.photo.camera import Camera
from nesting.outline.photo.colours import Likely
from nesting.outline.photo.edges import Crossed, Edge, at_strongest, cross
from nesting.outline.photo.marks import Ask, Marks
from nesting.outline.photo.picture import Picture
from nesting.outline.photo.steel import Steel, find_steel

Floats = NDArray[np.float64]

_ALONG_MM: Final = 12.0
"""Edges are averaged along this length: rust and grain are finer."""

_MOST_UNCLEAR: Final = 0.15
_LONGEST_UNCLEAR_MM: Final = 60.0
_LEAST_HOLE_MM: Final = 12.0


@dataclass(frozen=True, kw_only=True)
class Measured:
    """Edges in pixels, the plate's first, then its holes'; what colours tell; and how many mm a pixel is."""

    edges: tuple[Edge, ...]
    likely: Likely
    spot_mm: float


def measure(picture: Picture, ask: Ask, marks: Marks, camera: Camera) -> Measured:
    """Find plate and holes in a picture; raise `InputError` where they cannot be told from the floor."""
    height, width = picture.pixels.shape[:2]
    middle = np.array(ask.middle) if ask.middle else np.array([width / 2, height / 2])
    here = camera.on_face(middle + np.array([[0.0, 0.0], [1.0, 0.0]]))
    spot = float(np.hypot(*(here[1] - here[0])))
    on_floor = ask.marks_on == "floor"
    steel = find_steel(
        picture.pixels,
        floor=list(marks.outlines) if on_floor else [],
        face=[] if on_floor else list(marks.papers),
        middle=np.array(ask.middle) if ask.middle else None,
        least_hole_px=math.pi * (_LEAST_HOLE_MM / 2 / spot) ** 2,
    )
    edges = _edges(picture, steel, camera, ask.thickness_mm or 0.0, spot)
    return Measured(edges=edges, likely=steel.likely, spot_mm=spot)


def _edges(picture: Picture, steel: Steel, camera: Camera, thickness_mm: float, spot: float) -> tuple[Edge, ...]:
    """First where colours turn from plate to floor, which stains do not shift; then the strongest step near there."""
    along = max(_ALONG_MM / spot, 6.0)
    sides = [(steel.edge, 1), *((h, -1) for h in steel.holes)]
    reach = max(4 * steel.step_px, (10 + 1.5 * thickness_mm) / spot)
    crossed = [
        cross(picture.pixels, c, inside=i, reach_px=_within(c, reach), along_px=along, likely=steel.likely)
        for c, i in sides
    ]
    _refuse_unclear(picture, crossed, step_px=max(1.0, along / 6), long_px=_LONGEST_UNCLEAR_MM / spot)
    near = max(3.0, 2.0 / spot)
    again = [
        cross(picture.pixels, at_strongest(c).points, inside=i, reach_px=near, along_px=along)
        for c, (_, i) in zip(crossed, sides, strict=True)
    ]
    return tuple(at_strongest(c, _cut_face(camera, thickness_mm, c)) for c in again)


def _cut_face(camera: Camera, thickness_mm: float, crossed: Crossed) -> Floats:
    """How many pixels of the cut face are seen beside each point, (n,)."""
    points = crossed.points
    bottom = camera.pixels(camera.on_face(points), float(camera.values[11]) - thickness_mm)
    seen: Floats = ((bottom - points) * crossed.normals).sum(axis=1).clip(0.0)
    return seen


def _within(contour: Floats, reach_px: float) -> float:
    """How far across a contour to look so as not to see its other side."""
    return min(reach_px, 0.9 * math.sqrt(shapely.Polygon(contour).area / math.pi))


def _refuse_unclear(picture: Picture, crossed: Sequence[Crossed], *, step_px: float, long_px: float) -> None:
    """Refuse an edge on both sides of which plate and floor are not what they should be, over a share or a length."""
    for number, edge in enumerate(crossed):
        unclear = ~edge.clear
        doubled = np.concatenate([unclear, unclear, [False]])
        ends = np.flatnonzero(np.diff(np.concatenate([[False], doubled]).astype(np.int8)))
        runs = ends[1::2] - ends[::2]
        share, longest = float(unclear.mean()), min(int(runs.max(initial=0)), len(unclear))
        if share > _MOST_UNCLEAR or longest * step_px > long_px:
            worst = int(ends[::2][runs.argmax()] + runs.max() // 2) % len(unclear)
            x, y = edge.points[worst]
            what = f"the edge of hole {number}" if number else "the plate's edge"
            raise InputError(
                f"{picture.name}: plate and floor cannot be told apart along {share:.0%} of {what}, worst about pixel "
                f"{x:.0f},{y:.0f}; take it in other light, or on a floor of another colour, or give --points"
            )
