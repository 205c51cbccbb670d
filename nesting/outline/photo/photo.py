"""A plate's outline from one picture: the camera's place from sheets of known size, the edge from colours."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.errors import InputError
from nesting.geometry.pose import Pose
from nesting.outline.bounds import best_set_up
from nesting.outline.captured import Captured
from nesting.outline.photo.camera import Camera, Known, find_camera
from nesting.outline.photo.edges import Edge, at_innermost, at_strongest, cross
from nesting.outline.photo.lens import Lens
from nesting.outline.photo.paper import SHEETS, find_papers
from nesting.outline.photo.picture import Picture
from nesting.outline.photo.pieces import Straightened, sharp_corners, straighten
from nesting.outline.photo.sheets import RULER_MM, find_sheets
from nesting.outline.photo.steel import find_steel

Floats = NDArray[np.float64]
MarksOn = Literal["floor", "plate"]

TOLERANCE_MM: Final = 1.0
"""Points of one edge lie this near to its line or arc; torch-cut edges are hardly straighter."""

PRINT_SIGMA: Final = (0.0005, 0.002)
"""How far a print's size is off, as a fraction, one deviation: its ruler read, or not (common practice, no source)."""

PAPER_SIGMA_MM: Final = (0.1, 0.35)
"""How far a sheet's side is off: measured, or as sold (ISO 216 allows 2 mm; makers keep far nearer, no source)."""

RISE_SIGMA_MM: Final = 0.4
"""How far the plate's face is from where its thickness puts it over the sheets: floor and plate are not flat."""

EDGE_SIGMA_PX: Final = 0.5
"""How far a whole edge may be off its place: blur and light shift it (measured on rendered scenes)."""

EDGE_SIGMA_MM: Final = 0.5
TAPE_MM: Final = 2.0
"""How far a taped length may be off (common practice, no source)."""
_MOST_UNCLEAR: Final = 0.15
_MOST_UNLIKE: Final = 4.0
_CORNER_MM: Final = 9.0
_MOST_BLUR_MM: Final = 6.0
_LEAST_HOLE_MM: Final = 12.0


@dataclass(frozen=True, kw_only=True)
class Ask:
    """What is said of the picture: sheets, where they lie, how thick the plate is, and what is measured of the print.

    `sheet` is a blank sheet's name or None for marker sheets; `sheet_mm` its measured size; `ruler_mm` what the
    printed ruler measures; `points` (pixels and mm) are known places that stand in for sheets.
    """

    sheet: str | None = None
    sheet_mm: tuple[float, float] | None = None
    ruler_mm: float | None = None
    points: tuple[tuple[float, float, float, float], ...] = ()
    marks_on: MarksOn = "floor"
    thickness_mm: float | None = None
    packing_mm: float = 0.0
    middle: tuple[float, float] | None = None
    tolerance_mm: float = TOLERANCE_MM


@dataclass(frozen=True, kw_only=True)
class Marks:
    """What fixes the camera, and the outlines (4, 2) in pixels of the sheets that lie there."""

    known: tuple[Known, ...]
    outlines: tuple[Floats, ...]
    stretch_sigma: tuple[float, float]
    told: str
    warnings: tuple[str, ...] = ()


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


def lens_of(picture: Picture, lens: Lens | None) -> Lens:
    """The lens as the picture was turned, what is usual where it was never measured."""
    height, width = picture.pixels.shape[:2]
    if lens is None:
        return Lens.usual(width, height, picture.focal_px)
    return lens.of_size(*picture.stored, picture.name).turned(picture.turn, width, height)


def find_marks(picture: Picture, ask: Ask, lens: Lens) -> Marks:
    """Find the sheets, or take the points said; raise `InputError` where they are missing or blurred."""
    if ask.points:
        return _said_points(ask)
    if ask.sheet is not None:
        return _paper(picture, ask, ask.sheet, lens)
    sheets = find_sheets(picture.grey)
    if not sheets:
        raise InputError(
            f"{picture.name}: no marker sheets found (missing, covered, blurred or in bad light); lay printed ones "
            "('oddplate plate markers') flat round the plate, whole in the picture, or say --sheet A4 for a blank one"
        )
    blur = float(np.median([s.blur_px for s in sheets]))
    spot = float(np.median([_spot_mm(s.on_sheet, s.pixels) for s in sheets]))
    if blur > 5.0 and blur * spot > _MOST_BLUR_MM:
        raise InputError(
            f"{picture.name}: blurred: edges are spread over {blur:.0f} pixels, {blur * spot:.0f} mm; hold the camera "
            "still, let it focus, take more light"
        )
    scale = (ask.ruler_mm or RULER_MM) / RULER_MM
    sigma = PRINT_SIGMA[0 if ask.ruler_mm else 1]
    doubts = []
    if ask.ruler_mm is None:
        doubts.append("the printed ruler was not read (--ruler): the print may be off by 0.4 %")
    if len(sheets) < 4:
        doubts.append(f"only {len(sheets)} marker sheets are seen; four or more round the plate make it more exact")
    return Marks(
        known=tuple(Known(flat=s.on_sheet * scale, pixels=s.pixels) for s in sheets),
        outlines=tuple(s.outline for s in sheets),
        stretch_sigma=(sigma, sigma),
        told=f"{len(sheets)} marker sheets",
        warnings=tuple(doubts),
    )


def _paper(picture: Picture, ask: Ask, sheet: str, lens: Lens) -> Marks:
    """The blank sheet: of what may be one, and either side the long one, what fits a sheet of its size best."""
    width, height = ask.sheet_mm or SHEETS[sheet]
    flat = np.array([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)])
    sigma = PAPER_SIGMA_MM[0 if ask.sheet_mm else 1]
    stretch = (sigma / width, sigma / height)
    tries = []
    for paper in find_papers(picture.pixels, lens, picture.name):
        for k in (0, 1):
            known = Known(flat=flat, pixels=np.roll(paper.corners, k, axis=0))
            camera = find_camera([known], lens, rise_mm=0.0, rise_sigma_mm=0.1, stretch_sigma=stretch)
            tries.append((camera.residual, known))
    off, known = min(tries, key=lambda t: t[0])
    if off > _MOST_UNLIKE:
        raise InputError(
            f"{picture.name}: nothing white in the picture has the shape of {sheet} paper; lay a whole sheet flat and "
            "evenly lit on a darker floor, or check its size"
        )
    return Marks(known=(known,), outlines=(known.pixels,), stretch_sigma=stretch, told=f"one {sheet} sheet")


def _said_points(ask: Ask) -> Marks:
    if len(ask.points) < 4:
        raise InputError(f"{len(ask.points)} known points; four or more are needed, no three in one line")
    table = np.array(ask.points)
    pixels, flat = table[:, :2], table[:, 2:]
    size = float(np.ptp(flat, axis=0).max())
    if not size > 0.0 or np.linalg.svd((flat - flat.mean(axis=0)) / size, compute_uv=False)[1] < 0.02:
        raise InputError("the known points lie in one line; spread them round the plate")
    spot = _spot_mm(flat, pixels)
    # Clicked to a pixel or so, measured to a millimetre (common practice, no source).
    return Marks(
        known=(Known(flat=flat, pixels=pixels, sigma_px=math.hypot(1.0, 1.0 / spot)),),
        outlines=(),
        stretch_sigma=(1e-6, 1e-6),
        told=f"{len(table)} known points",
    )


def _spot_mm(flat: Floats, pixels: Floats) -> float:
    return float(np.ptp(flat, axis=0).max() / max(float(np.hypot(*np.ptp(pixels, axis=0))), 1e-9) * 1.2)


def camera_of(ask: Ask, marks: Marks, lens: Lens) -> Camera:
    """Return the camera; raise `InputError` if the plate's height over the sheets is not known, or nothing fits."""
    if ask.marks_on == "plate":
        rise = 0.0
    elif ask.thickness_mm is None:
        raise InputError(
            "the sheets lie on the floor and the plate's face above them, by a thickness that is not known; give "
            "--thickness, or lay them on the plate and say --marks-on plate"
        )
    else:
        rise = ask.thickness_mm + ask.packing_mm
    camera = find_camera(
        marks.known, lens, rise_mm=rise, rise_sigma_mm=RISE_SIGMA_MM, stretch_sigma=marks.stretch_sigma
    )
    limit = 6.0 if ask.points else 1.5 + 0.001 * max(lens.width, lens.height)
    if camera.residual_px > limit:
        raise InputError(
            f"what is seen of {marks.told} does not fit one flat plane (off by {camera.residual_px:.1f} pixels); lay "
            "them flat, all at one height, and check sizes and points"
        )
    return camera


def outline_of(picture: Picture, ask: Ask, marks: Marks, camera: Camera) -> Photo:
    """Find plate and holes in the picture, straighten them, and say how far they may be wrong."""
    height, width = picture.pixels.shape[:2]
    middle = np.array(ask.middle) if ask.middle else np.array([width / 2, height / 2])
    here = camera.on_face(middle + np.array([[0.0, 0.0], [1.0, 0.0]]))
    spot = float(np.hypot(*(here[1] - here[0])))
    on_floor = ask.marks_on == "floor"
    steel = find_steel(
        picture.pixels,
        floor=list(marks.outlines) if on_floor else [],
        face=[] if on_floor else list(marks.outlines),
        middle=np.array(ask.middle) if ask.middle else None,
        least_hole_px=math.pi * (_LEAST_HOLE_MM / 2 / spot) ** 2,
    )
    thickness = ask.thickness_mm or 0.0

    def face(points: Floats, normals: Floats) -> Floats:
        bottom = camera.pixels(camera.on_face(points), float(camera.values[11]) - thickness)
        seen: Floats = ((bottom - points) * normals).sum(axis=1)
        return seen

    along = max(12 / spot, 6.0)
    sides = [(steel.edge, 1), *((h, -1) for h in steel.holes)]
    reach = max(4 * steel.step_px, (10 + 1.5 * thickness) / spot)
    crossed = [cross(picture.pixels, c, inside=i, reach_px=reach, along_px=along) for c, i in sides]
    rough = at_innermost(crossed, face=face, longest_px=1.2 * thickness / spot, near_px=max(1.0 / spot, 1.0))
    near = max(3.0, 2.0 / spot)
    edges = [
        at_strongest(cross(picture.pixels, r.points, inside=i, reach_px=near, along_px=along))
        for r, (_, i) in zip(rough, sides, strict=True)
    ]
    _refuse_unclear(picture, edges[0])
    return _assembled(picture, ask, marks, camera, edges, spot)


def _refuse_unclear(picture: Picture, edge: Edge) -> None:
    share = float((~edge.clear).mean())
    if share > _MOST_UNCLEAR:
        raise InputError(
            f"{picture.name}: plate and floor cannot be told apart along {share:.0%} of the edge; take it in other "
            "light, or on a floor of another colour, or give --points"
        )


def _assembled(picture: Picture, ask: Ask, marks: Marks, camera: Camera, edges: Sequence[Edge], spot: float) -> Photo:
    flats = [camera.on_face(e.points) for e in edges]
    pose = _laid(flats[0])
    pieces: list[Straightened] = []
    for flat in flats:
        ring = shapely.Polygon(flat)
        ordered = flat if ring.exterior.is_ccw else flat[::-1]
        pieces.append(
            straighten(_moved(ordered, pose), tolerance_mm=ask.tolerance_mm, corner_mm=_CORNER_MM, left=not pieces)
        )
    outer, holes = pieces[0], pieces[1:]
    vertices = _moved_back(np.array([v[:2] for v in outer.corners]), pose) if outer.corners else flats[0][::40]
    at = camera.pixels(vertices)
    sharp = sharp_corners(outer)
    bound, pair = bound_of(camera, at, math.hypot(EDGE_SIGMA_PX * spot, EDGE_SIGMA_MM), sharp)
    scatter = max(p.outward_mm for p in pieces)
    names = tuple(str(k + 1) for k in range(len(outer.corners)))
    captured = Captured(
        way="photo",
        outer=outer.contour,
        holes=tuple(h.contour for h in holes),
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
            "corners": [
                {
                    "name": n,
                    "x_mm": round(v[0], 3),
                    "y_mm": round(v[1], 3),
                    "x_px": round(p[0], 1),
                    "y_px": round(p[1], 1),
                }
                for n, v, p in zip(names, outer.corners, at.tolist(), strict=False)
            ],
            "mm_per_pixel": round(spot, 4),
            "sheets_off_px": round(camera.residual_px, 3),
            "camera_height_mm": round(float(camera.place[2]), 1),
        },
    )

    def pixels_of(flat: Floats) -> Floats:
        return camera.pixels(_moved_back(flat, pose))

    rings = tuple(pixels_of(np.array(p.contour.polygon(0.05, "midway").exterior.coords)) for p in pieces)
    corners = at if names else at[:0]
    return Photo(
        captured=captured, picture=picture, rings=rings, corners=corners, marks=marks.outlines, pixels_of=pixels_of
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
