"""A plate's outline from one picture: the camera's place from sheets of known size, the edge from colours."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.errors import InputError
from nesting.geometry.pose import Pose
from nesting.outline.bounds import best_set_up
from nesting.outline.captured import Captured
from nesting.outline.photo.camera import Camera
from nesting.outline.photo.lens import Lens
from nesting.outline.photo.marks import Ask, Marks, camera_of, find_marks, lens_of
from nesting.outline.photo.measured import measure
from nesting.outline.photo.picture import Picture
from nesting.outline.photo.pieces import Straightened, sharp_corners, straighten

Floats = NDArray[np.float64]

EDGE_SIGMA_PX: Final = 0.4
"""How far a whole edge may be off its place: blur and light shift it (measured on rendered scenes)."""
EDGE_SIGMA_MM: Final = 0.4
TAPE_MM: Final = 2.0
"""How far a taped length may be off (common practice, no source)."""
_CORNER_MM: Final = 9.0


@dataclass(frozen=True, kw_only=True)
class Photo:
    """The outline, and its rings (n, 2) in pixels to be drawn over the picture, the plate's edge first.

    `pixels_of` takes places (n, 2) of the outline, mm, to the picture.
    """

    captured: Captured
    picture: Picture
    rings: tuple[Floats, ...]
    corners: Floats
    marks: tuple[Floats, ...]
    pixels_of: Callable[[Floats], Floats]


def from_photo(picture: Picture, ask: Ask, lens: Lens | None = None) -> Photo:
    """Return the plate in a picture; raise `InputError` with the reason where it cannot be had."""
    seen_by = lens_of(picture, lens)
    marks = find_marks(picture, ask, seen_by)
    camera = camera_of(ask, marks, seen_by)
    return outline_of(picture, ask, marks, camera)


def outline_of(picture: Picture, ask: Ask, marks: Marks, camera: Camera) -> Photo:
    """Find plate and holes in the picture, straighten them, and say how far they may be wrong."""
    measured = measure(picture, ask, marks, camera)
    flats = [camera.on_face(e.points) for e in measured.edges]
    pose = _laid(flats[0])

    def pixels_of(flat: Floats) -> Floats:
        return camera.pixels(_moved_back(flat, pose))

    def floor_at(patch: shapely.Polygon) -> float:
        return measured.likely.floor_in(picture.pixels, pixels_of(np.array(patch.exterior.coords)))

    pieces = [
        straighten(
            _moved(flat if shapely.Polygon(flat).exterior.is_ccw else flat[::-1], pose),
            tolerance_mm=max(ask.tolerance_mm, measured.spot_mm),
            corner_mm=_CORNER_MM,
            left=number == 0,
            floor_at=floor_at,
        )
        for number, flat in enumerate(flats)
    ]
    corners = pixels_of(np.array([v[:2] for v in pieces[0].corners]).reshape(-1, 2))
    return Photo(
        captured=_captured(ask, marks, camera, pieces, corners if len(corners) else measured.edges[0].points[::40]),
        picture=picture,
        rings=tuple(pixels_of(np.array(p.contour.polygon(0.05, "midway").exterior.coords)) for p in pieces),
        corners=corners,
        marks=marks.outlines,
        pixels_of=pixels_of,
    )


def _captured(ask: Ask, marks: Marks, camera: Camera, pieces: Sequence[Straightened], at: Floats) -> Captured:
    """What is told of an outline whose corners are seen at pixels `at`, or points of it where it has none."""
    outer = pieces[0]
    here = camera.on_face(at.mean(axis=0) + np.array([[0.0, 0.0], [1.0, 0.0]]))
    spot = float(np.hypot(*(here[1] - here[0])))
    own_mm = math.hypot(EDGE_SIGMA_PX * spot, EDGE_SIGMA_MM)
    bound, pair = bound_of(camera, at, own_mm, sharp_corners(outer))
    scatter = max(p.outward_mm for p in pieces)
    names = tuple(str(k + 1) for k in range(len(outer.corners)))
    corners = [
        {"name": n, "x_mm": round(v[0], 3), "y_mm": round(v[1], 3), "x_px": round(p[0], 1), "y_px": round(p[1], 1)}
        for n, v, p in zip(names, outer.corners, at.tolist(), strict=False)
    ]
    return Captured(
        way="photo",
        outer=outer.contour,
        holes=tuple(h.contour for h in pieces[1:]),
        uncertainty_mm=bound + scatter,
        basis=f"{marks.told} on the {ask.marks_on}, {spot:.2f} mm a pixel; "
        f"camera, print, thickness and edge {bound:.2f} mm, edge off its lines and arcs {scatter:.2f} mm",
        names=names,
        set_up_by=(names[pair[0]], names[pair[1]]) if names else None,
        warnings=marks.warnings,
        notes=(
            f"sheets lie on the {ask.marks_on}, the plate's face {camera.values[11]:.1f} mm above them",
            f"seen from {camera.place[2] / 1000:.2f} m above; corners of sheets off by {camera.residual_px:.2f} pixels",
        ),
        figures={
            "corners": corners,
            "mm_per_pixel": round(spot, 4),
            "sheets_off_px": round(camera.residual_px, 3),
            "camera_height_mm": round(float(camera.place[2]), 1),
        },
    )


def bound_of(
    camera: Camera, pixels: Floats, own_mm: float, sharp: Sequence[int] | None = None
) -> tuple[float, tuple[int, int]]:
    """The 95 % bound of corners at pixels, each off by `own_mm` besides, and the two the plate is laid by.

    `sharp` are the numbers of those that a square or a nail finds on the plate, all of them unless said.
    """
    chosen = list(range(len(pixels)) if sharp is None or len(sharp) < 3 else sharp)
    pixels = pixels[chosen]
    spread = camera.spread(pixels)
    covariance = spread @ spread.T + own_mm**2 * np.eye(2 * len(pixels))
    set_up = best_set_up(camera.on_face(pixels), covariance)
    return set_up.bound_mm, (chosen[set_up.first], chosen[set_up.second])


def _laid(flat: Floats) -> Pose:
    """The pose that lays an outline's longer side along x, its lower left at the origin."""
    box = shapely.Polygon(flat).minimum_rotated_rectangle
    corners = np.array(box.exterior.coords)[:4]
    sides = np.roll(corners, -1, axis=0) - corners
    along = sides[int(np.hypot(*sides.T).argmax())]
    turn = -math.degrees(math.atan2(along[1], along[0]))
    if abs(turn) > 90.0:
        turn -= math.copysign(180.0, turn)
    turned = np.array([Pose(turn_deg=turn).point((float(x), float(y))) for x, y in corners])
    low = turned.min(axis=0)
    return Pose(turn_deg=turn, x_mm=-float(low[0]), y_mm=-float(low[1]))


def _moved(flat: Floats, pose: Pose) -> Floats:
    angle = math.radians(pose.turn_deg)
    c, s = math.cos(angle), math.sin(angle)
    moved: Floats = flat @ np.array([[c, s], [-s, c]]) + [pose.x_mm, pose.y_mm]
    return moved


def _moved_back(flat: Floats, pose: Pose) -> Floats:
    angle = math.radians(pose.turn_deg)
    c, s = math.cos(angle), math.sin(angle)
    back: Floats = (flat - [pose.x_mm, pose.y_mm]) @ np.array([[c, -s], [s, c]])
    return back


def check_taped(captured: Captured, first: str, second: str, taped_mm: float) -> Captured:
    """Return the outline with one distance between corners checked by tape.

    Raise `InputError` for corners that are none, and where tape and picture differ by more than both may be off.
    """
    places = {c["name"]: (c["x_mm"], c["y_mm"]) for c in captured.figures["corners"]}
    for name in (first, second):
        if name not in places:
            raise InputError(f"taped from {first} to {second}: no corner {name}; corners are {', '.join(places)}")
    found = math.dist(places[first], places[second])
    allowed = captured.uncertainty_mm + TAPE_MM
    told = f"{first} to {second}: {found:.1f} mm in the picture, {taped_mm:.1f} mm by tape"
    if abs(found - taped_mm) > allowed:
        raise InputError(
            f"{told}, which differ by more than the {allowed:.1f} mm that both may be off; check the tape, the "
            "thickness, the size of print or paper, and that all sheets lie at one height"
        )
    return replace(captured, notes=(*captured.notes, f"scale checked: {told}"))
