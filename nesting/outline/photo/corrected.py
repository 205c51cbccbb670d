"""An outline by points in the picture: what was found, written out, mended by hand, and read again."""

from dataclasses import replace
from typing import Final

import numpy as np

from nesting.geometry.contour import Contour
from nesting.geometry.curves import Arc
from nesting.geometry.pose import Point
from nesting.outline.corners import ON_ARC
from nesting.outline.pasted import Pasted, Row
from nesting.outline.photo.camera import Camera
from nesting.outline.photo.lens import Lens
from nesting.outline.photo.marks import Ask, camera_of, find_marks, lens_of
from nesting.outline.photo.photo import Floats, Photo, bound_of
from nesting.outline.photo.picture import Picture
from nesting.outline.traced import Spot, captured, drawn, sections

POINTING_PX: Final = 1.5
"""How far a point set by hand in a picture is off, x and y, one deviation (common practice, no source)."""


def by_points(picture: Picture, ask: Ask, points: Pasted, lens: Lens | None = None) -> Photo:
    """Return the plate whose edge, holes and keep-outs are given as points in the picture, pixels from its upper left.

    Lines are those of corners: `x,y`, `x,y,arc` for a point on an arc, `hole`, `hole circle`, `keep-out`.  Raise
    `InputError` with file and line for what cannot be read.
    """
    seen_by = lens_of(picture, lens)
    marks = find_marks(picture, ask, seen_by)
    camera = camera_of(ask, marks, seen_by)
    height, width = picture.pixels.shape[:2]
    at: list[tuple[float, float]] = []

    def place(row: Row) -> Spot | None:
        fields = row.fields
        if row.is_heading and not at:
            return None
        if row.is_named:
            fields = fields[1:]
        if len(fields) not in (2, 3) or (len(fields) == 3 and fields[2].lower() not in ON_ARC):
            row.refuse(f"{row.text!r} is no point", "write x,y in pixels, or x,y,arc for a point on an arc")
        x, y = (row.length(f, "mm") for f in fields[:2])
        if not (0 <= x < width and 0 <= y < height):
            row.refuse(f"({x:g}, {y:g}) is outside the picture of {width} x {height} pixels", "give points in it")
        at.append((x, y))
        there = camera.on_face(np.array([[x, y]]))[0]
        return Spot(line=row.line, at=(float(there[0]), float(there[1])), on_arc=len(fields) == 3)

    found = [(s, drawn(s, points.name)) for s in sections(points, place)]
    pixels = np.array(at)
    outline = next(s for s, _ in found if s.kind == "outline")
    corners = camera.pixels(np.array([s.at for s in outline.spots]))
    here = camera.on_face(corners.mean(axis=0) + np.array([[0.0, 0.0], [1.0, 0.0]]))
    spot = float(np.hypot(*(here[1] - here[0])))
    base = captured("photo", found, source=points.name, sigma_mm=POINTING_PX * spot)
    bound, pair = bound_of(camera, corners, POINTING_PX * spot)
    names = tuple(str(k + 1) for k in range(len(corners)))
    figures = [
        {"name": n, **c, "x_px": round(float(p[0]), 1), "y_px": round(float(p[1]), 1)}
        for n, c, p in zip(names, base.figures["corners"], corners, strict=True)
    ]
    kept = replace(
        base,
        uncertainty_mm=max(bound, base.uncertainty_mm),
        basis=f"{marks.told} on the {ask.marks_on}, {len(pixels)} points set in the picture, {spot:.2f} mm a pixel",
        names=names,
        set_up_by=(names[pair[0]], names[pair[1]]),
        warnings=(*marks.warnings, *base.warnings),
        figures={"corners": figures, "mm_per_pixel": round(spot, 4)},
    )
    rings = tuple(_ring(c, camera) for c in (kept.outer, *kept.holes))
    return Photo(
        captured=kept, picture=picture, rings=rings, corners=corners, marks=marks.outlines, pixels_of=camera.pixels
    )


def _ring(contour: Contour, camera: Camera) -> Floats:
    return camera.pixels(np.array(contour.polygon(0.05, "midway").exterior.coords))


def points_text(photo: Photo) -> str:
    """The outline as lines that `by_points` reads: corners in pixels, and a point in the middle of every arc."""
    lines = ["# pixels from the picture's upper left; mend them and give them with --points"]
    for number, contour in enumerate((photo.captured.outer, *photo.captured.holes)):
        whole = len(contour.curves) == 1 and isinstance(contour.curves[0], Arc)
        if number:
            lines.append("hole circle" if whole else "hole")
        flat: list[tuple[Point, bool]] = []
        for piece in contour.pieces:
            on_arc = _points(piece) if isinstance(piece, Arc) else []
            if whole:
                flat += [(p, False) for p in on_arc[:-1]]
            else:
                flat += [(_point(piece.start), False), *((p, True) for p in on_arc[4:5])]
        pixels = photo.pixels_of(np.array([p for p, _ in flat]))
        lines += [f"{x:.1f},{y:.1f}" + (",arc" if b else "") for (x, y), (_, b) in zip(pixels, flat, strict=True)]
    return "\n".join(lines) + "\n"


def _points(arc: Arc) -> list[Point]:
    """Nine points evenly along an arc."""
    angles = np.radians(arc.start_deg + arc.sweep_deg * np.linspace(0.0, 1.0, 9))
    ring = np.asarray(arc.center) + arc.radius_mm * np.column_stack([np.cos(angles), np.sin(angles)])
    return [_point(p) for p in ring]


def _point(at: Floats | Point) -> Point:
    return float(at[0]), float(at[1])
