"""Pictures of known plates: a camera with lens bend over a rough floor, rust, shadows, clutter, sheets of paper.

Every pixel's ray is followed to the plate's face, down its cut edge, and to the floor; what is there is looked up in
fine rasters.  Nothing of the code under test is used but the numbers on the marker sheets.
"""

import math
from dataclasses import dataclass, field

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import least_squares
from shapely.geometry import Point, Polygon

from nesting.outline.photo.sheets import (
    COLUMNS,
    DICTIONARY,
    FIELD_MM,
    MARKER_MM,
    MARKERS_A_SHEET,
    ROWS,
    SQUARE_MM,
    marker_corners,
)

Floats = NDArray[np.float64]
FINEST_MM = 0.4


@dataclass(frozen=True, kw_only=True)
class Eye:
    """A camera: picture size, focal length and middle in pixels, radial bend, and where it is and looks."""

    width: int
    height: int
    focal_px: float
    middle: tuple[float, float]
    bend: tuple[float, float, float]
    turn: Floats
    at: Floats

    def rays(self, pixels: Floats) -> Floats:
        """Directions in the world, (n, 3)."""
        bent = (pixels - self.middle) / self.focal_px
        far = np.hypot(*bent.T)
        r = far.copy()
        k1, k2, k3 = self.bend
        for _ in range(12):
            r = far / (1 + k1 * r**2 + k2 * r**4 + k3 * r**6)
        flat = bent * (r / np.maximum(far, 1e-12))[:, None]
        rays: Floats = np.column_stack([flat, np.ones(len(flat))]) @ self.turn
        return rays

    def pixels(self, points: Floats) -> Floats:
        """Where points (n, 3) are seen."""
        there = (points - self.at) @ self.turn.T
        flat = there[:, :2] / there[:, 2:]
        r2 = (flat**2).sum(axis=1)
        k1, k2, k3 = self.bend
        seen: Floats = self.focal_px * flat * (1 + k1 * r2 + k2 * r2**2 + k3 * r2**3)[:, None] + self.middle
        return seen


def eye(
    rng: np.random.Generator,
    *,
    width: int,
    look_at: Floats,
    height_mm: float,
    lean_deg: float = 12.0,
    focal: float = 0.78,
    bend: tuple[float, float, float] = (0.06, -0.05, 0.0),
    middle: Floats | None = None,
) -> Eye:
    """A camera held over a place, leaning up to `lean_deg` any way."""
    tall = width * 3 // 4
    lean = math.radians(lean_deg) * math.sqrt(rng.uniform(0, 1))
    way = rng.uniform(0, 2 * math.pi)
    at = np.array([*look_at, 0.0]) + height_mm * np.array(
        [math.tan(lean) * math.cos(way), math.tan(lean) * math.sin(way), 1.0]
    )
    forward = np.array([*look_at, 0.0]) - at
    forward /= np.linalg.norm(forward)
    roll = rng.uniform(-0.15, 0.15)
    right = np.cross(forward, [math.sin(roll), math.cos(roll), 0.0])
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    aside = rng.normal(0, 0.004, 2) * width if middle is None else middle
    middle = ((width - 1) / 2 + aside[0], (tall - 1) / 2 + aside[1])
    return Eye(
        width=width,
        height=tall,
        focal_px=focal * width,
        middle=middle,
        bend=bend,
        turn=np.array([right, down, forward]),
        at=at,
    )


@dataclass(frozen=True, kw_only=True)
class Paper:
    """A sheet on the floor: place of its lower left corner, turn, size; number of its markers, None for blank."""

    x: float
    y: float
    turn: float
    size: tuple[float, float] = (210.0, 297.0)
    number: int | None = None
    stretch: tuple[float, float] = (1.0, 1.0)

    @property
    def corners(self) -> Floats:
        w, h = self.size[0] * self.stretch[0], self.size[1] * self.stretch[1]
        c, s = math.cos(self.turn), math.sin(self.turn)
        flat = np.array([(0, 0), (w, 0), (w, h), (0, h)], dtype=float)
        corners: Floats = flat @ np.array([[c, s], [-s, c]]) + [self.x, self.y]
        return corners


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A picture (height, width, 3) in BGR and what is true of it; mm on the floor."""

    picture: NDArray[np.uint8]
    eye: Eye
    plate: Polygon
    thickness_mm: float
    papers: list[Paper] = field(default_factory=list)


def odd_plate(rng: np.random.Generator, size_mm: float = 1200.0) -> Polygon:
    """A leftover: torch-cut sides, a bite, a round corner, one or two round holes and a slot."""
    w, h = size_mm, size_mm * rng.uniform(0.5, 0.68)
    d = lambda s=0.06: rng.uniform(-s, s) * h  # noqa: E731
    corners = [(0, 0), (w * rng.uniform(0.88, 1.0), d()), (w, h * 0.55 + d()), (w * 0.8 + d(), h + d())]
    notch = rng.uniform(0.3, 0.5) * w
    corners += [
        (notch + 130, h + d(0.02)),
        (notch + 120, h * 0.72),
        (notch, h * 0.74),
        (notch - 10, h * 0.98),
        (0.02 * w, h * 0.9 + d()),
    ]
    plate = Polygon(corners)
    bite = Point(w * rng.uniform(0.42, 0.58), -0.06 * w).buffer(rng.uniform(0.11, 0.16) * w, 128)
    plate = plate.difference(bite)
    for cx, r in ((0.16, rng.uniform(0.015, 0.04) * w), (0.8, rng.uniform(0.03, 0.075) * w)):
        plate = plate.difference(Point(cx * w, h * 0.42 + d()).buffer(r, 128))
    return plate


def noise(rng: np.random.Generator, shape: tuple[int, int], cells: tuple[int, ...]) -> NDArray[np.float32]:
    """Cloudy noise of about unit spread; `cells` are its coarsenesses in raster cells."""
    total = np.zeros(shape, dtype=np.float32)
    for cell in cells:
        small = rng.normal(size=(shape[0] // cell + 2, shape[1] // cell + 2)).astype(np.float32)
        total += cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return total / math.sqrt(len(cells))


def _fill(shape: tuple[int, int], origin: Floats, polygon: Polygon, cell: float) -> NDArray[np.float32]:
    """Coverage of raster cells by a polygon, cells' middles at whole numbers."""
    fine = np.zeros((3 * shape[0], 3 * shape[1]), dtype=np.uint8)
    # Filling takes in every cell that the edge touches, half of one too much on the average.
    smaller = polygon.buffer(-cell / 6, join_style="mitre")

    def ring(points: Floats) -> NDArray[np.int32]:
        return np.round(((np.asarray(points) - origin) / cell * 3 + 1) * 256).astype(np.int32)

    cv2.fillPoly(fine, [ring(r.coords) for r in (smaller.exterior, *smaller.interiors)], 255, cv2.LINE_8, 8)
    return cv2.resize(fine, shape[::-1], interpolation=cv2.INTER_AREA).astype(np.float32) / 255


def render(
    rng: np.random.Generator,
    view: Eye,
    plate: Polygon,
    *,
    thickness_mm: float,
    papers: list[Paper] = (),
    shadow: float = 0.45,
    clutter: int = 6,
    steel: str = "rust",
    dim: float = 1.0,
    noise_levels: float = 3.0,
    blur_px: float = 0.7,
    floor: tuple[float, float, float] = (150.0, 156.0, 160.0),
    on_plate: bool = False,
) -> Scene:
    """Take the picture; `shadow` is how much light soft shadows leave (1 none), `dim` the light over all.

    Papers lie on the floor, or on the plate's face.
    """
    corners = np.array([(0, 0), (view.width, 0), (view.width, view.height), (0, view.height)], dtype=float)
    rays = view.rays(corners)
    reached = view.at[:2] - rays[:, :2] * (view.at[2] / rays[:, 2])[:, None]
    origin = reached.min(axis=0) - 60
    cell = max(FINEST_MM, 0.6 * view.at[2] / view.focal_px)
    shape = tuple(int(v) for v in ((reached.max(axis=0) + 60 - origin) / cell)[::-1])
    k = lambda mm: max(1, round(mm / cell))  # noqa: E731

    def tint(base: tuple[float, float, float], spread: float, cells: tuple[int, ...]) -> NDArray[np.float32]:
        return np.array(base, dtype=np.float32) * (1 + spread * noise(rng, shape, cells))[..., None]

    ground = tint(floor, 0.07, (k(1.5), k(12), k(150)))
    solid = _fill(shape, origin, plate, cell)
    # Clutter: bars, offcuts and gloves of any colour, clear of plate and papers.
    x0, y0, x1, y1 = plate.bounds
    taken = [plate.buffer(25), *(Polygon(p.corners).buffer(12) for p in papers)]
    for _ in range(clutter):
        length, width, turn = rng.uniform(60, 300), rng.uniform(15, 60), rng.uniform(0, math.pi)
        c, s = math.cos(turn), math.sin(turn)
        box = np.array([(0, 0), (length, 0), (length, width), (0, width)]) @ np.array([[c, s], [-s, c]])
        thing = Polygon(box + rng.uniform(origin + 60, origin + np.array(shape[::-1]) * cell - 60))
        if not any(t.intersects(thing) for t in taken):
            there = _fill(shape, origin, thing, cell)[..., None]
            ground = ground * (1 - there) + np.array(rng.uniform(20, 220, 3), dtype=np.float32) * there
    for paper in () if on_plate else papers:
        _lay(ground, origin, paper, cell)
    face = tint((60, 70, 82), 0.10, (k(1.5), k(10), k(60)))
    if steel == "rust":
        rusty = 1 / (1 + np.exp(-2.5 * (noise(rng, shape, (k(4), k(30), k(120))) + 0.3)))
        face = face * (1 - rusty[..., None]) + tint((45, 85, 150), 0.16, (k(1.2), k(6), k(40))) * rusty[..., None]
    for paper in papers if on_plate else ():
        _lay(face, origin, paper, cell)
    edge = tint((40, 48, 58), 0.08, (k(2), k(10)))
    # Cast by the plate itself, light from one side; and broad soft shadows over everything.
    sun = rng.uniform(0, 2 * math.pi)
    reach = thickness_mm * rng.uniform(0.3, 0.9) / cell
    shift = np.array([[1, 0, reach * math.cos(sun)], [0, 1, reach * math.sin(sun)]], dtype=np.float32)
    cast = np.maximum(cv2.warpAffine(solid, shift, shape[::-1]), solid)
    ground *= (1 - 0.5 * cv2.GaussianBlur(cast, (0, 0), 0.8 / cell))[..., None]
    light = np.ones(shape, dtype=np.float32)
    if shadow < 1.0:
        for _ in range(2):
            a = rng.uniform(0, math.pi)
            across = np.array([math.cos(a), math.sin(a)])
            yy, xx = np.mgrid[0 : shape[0] : 8, 0 : shape[1] : 8].astype(np.float32) * cell
            s = (xx + origin[0]) * across[0] + (yy + origin[1]) * across[1]
            middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2]) @ across + rng.uniform(-400, 400)
            band = 1 / (1 + np.exp(-(np.abs(s - middle) - rng.uniform(60, 220)) / 12))
            light *= cv2.resize(shadow + (1 - shadow) * band, shape[::-1], interpolation=cv2.INTER_LINEAR)
    slope = rng.uniform(-0.12, 0.12, 2)
    light *= (
        1
        + slope[0] * np.linspace(-1, 1, shape[0], dtype=np.float32)[:, None]
        + slope[1] * np.linspace(-1, 1, shape[1], dtype=np.float32)
    )

    picture = _seen(
        view,
        origin,
        cell,
        solid,
        ground * light[..., None],
        face * light[..., None],
        edge * light[..., None],
        thickness_mm,
    )
    picture = cv2.GaussianBlur(picture, (0, 0), blur_px) * dim
    picture += rng.normal(0, noise_levels, picture.shape).astype(np.float32)
    jpeg = cv2.imencode(".jpg", picture.clip(0, 255).round().astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
    return Scene(
        picture=cv2.imdecode(jpeg, cv2.IMREAD_COLOR),
        eye=view,
        plate=plate,
        thickness_mm=thickness_mm,
        papers=list(papers),
    )


def _seen(view, origin, cell, solid, floor, face, edge, thickness_mm):
    """Follow rays, in strips of rows to spare memory."""
    picture = np.empty((view.height, view.width, 3), dtype=np.float32)
    spot_mm = view.at[2] / view.focal_px
    soft = cv2.GaussianBlur(solid, (0, 0), max(0.35 * spot_mm / cell, 0.3))
    fine = max(0.35 * spot_mm / cell, 0.3)
    floor, face = cv2.GaussianBlur(floor, (0, 0), fine), cv2.GaussianBlur(face, (0, 0), fine)
    for top in range(0, view.height, 200):
        rows = np.arange(top, min(top + 200, view.height))
        uv = np.stack(np.meshgrid(np.arange(view.width), rows), axis=-1).reshape(-1, 2).astype(float)
        rays = view.rays(uv)

        def look(raster, z, rays=rays, rows=rows):
            at = (view.at[:2] + rays[:, :2] * ((z - view.at[2]) / rays[:, 2])[:, None] - origin) / cell
            at = at.reshape(len(rows), view.width, 2).astype(np.float32)
            return cv2.remap(raster, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)

        colour = look(floor, 0.0)
        side = np.max([look(soft, z) for z in np.linspace(0.0, thickness_mm * 0.98, 5)], axis=0)[..., None]
        colour = colour * (1 - side) + look(edge, 0.0) * side
        top_face = look(soft, thickness_mm)[..., None]
        picture[rows] = colour * (1 - top_face) + look(face, thickness_mm) * top_face
    return picture


def _lay(floor: NDArray[np.float32], origin: Floats, paper: Paper, cell: float) -> None:
    """Draw a sheet into the floor's raster."""
    scale = 5.0  # drawn at 0.2 mm
    width, height = paper.size
    sheet = np.full((round(height * scale), round(width * scale)), 232, dtype=np.uint8)
    if paper.number is not None:
        low = np.array([(width - FIELD_MM[0]) / 2, 38.0])

        def box(at: Floats, size: float, level: int) -> None:
            a, b = np.round((at + low) * scale), np.round((at + low + size) * scale)
            sheet[round(height * scale) - int(b[1]) : round(height * scale) - int(a[1]), int(a[0]) : int(b[0])] = level

        for c in range(COLUMNS):
            for r in range(ROWS):
                if (c + r) % 2 == 0:
                    box(np.array([c, r]) * SQUARE_MM, SQUARE_MM, 28)
        dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
        cells = dictionary.markerSize + 2
        for place in range(MARKERS_A_SHEET):
            bits = cv2.aruco.generateImageMarker(dictionary, paper.number * MARKERS_A_SHEET + place, cells)
            corner = marker_corners(place)[0]
            for row, column in np.argwhere(bits == 0):
                bit = MARKER_MM / cells
                box(corner + [column * bit, -(row + 1) * bit], bit, 28)
    # Pixel (u, v) of the sheet is the place ((u + 0.5) / scale, height - (v + 0.5) / scale) on it.
    c, s = math.cos(paper.turn), math.sin(paper.turn)
    sx, sy = paper.stretch
    across = np.array([[c * sx, -s * sy], [s * sx, c * sy]]) / (scale * cell)
    flip = across @ np.array([[1, 0], [0, -1]])
    shift = (np.array([paper.x, paper.y]) - origin) / cell + across @ np.array([0.5, height * scale - 0.5])
    matrix = np.column_stack([flip, shift]).astype(np.float64)
    size = floor.shape[1::-1]
    there = cv2.warpAffine(np.ones_like(sheet, dtype=np.float32), matrix, size, flags=cv2.INTER_LINEAR)[..., None]
    drawn = cv2.warpAffine(sheet.astype(np.float32), matrix, size, flags=cv2.INTER_AREA)[..., None]
    floor *= 1 - there
    floor += drawn * np.where(there > 0.5, 1.0, there)


def papers_round(rng: np.random.Generator, plate: Polygon, count: int = 8) -> list[Paper]:
    """Marker sheets round a plate, a hand's breadth off, turned at will."""
    x0, y0, x1, y1 = plate.bounds
    w, h = x1 - x0, y1 - y0
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    found: list[Paper] = []
    spots = [(-1, -1), (0, -1), (1, -1), (1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0)]
    if h < 650:
        spots = [(-1, 0), (-0.45, -1), (0.45, -1), (1, 0), (0.45, 1), (-0.45, 1)]
    for number, (sx, sy) in enumerate(spots[:count]):
        beside = abs(sx) == 1
        turn = rng.uniform(-0.2, 0.2) + (0 if beside else math.pi / 2)
        at = middle + [sx * (w / 2 + 175), sy * (h / 2 + (-10 if beside else 165))]
        corner = Paper(x=0, y=0, turn=turn).corners.mean(axis=0)
        found.append(Paper(x=at[0] - corner[0], y=at[1] - corner[1], turn=turn, number=number))
    return found


def papers_on(rng: np.random.Generator, plate: Polygon, count: int = 4) -> list[Paper]:
    """Marker sheets lying on a plate's face, apart from one another and from its edge, turned at will."""
    x0, y0, x1, y1 = plate.bounds
    room = plate.buffer(-12)
    found: list[Paper] = []
    for _ in range(20000):
        turn = rng.uniform(0, 2 * math.pi)
        sheet = Paper(x=rng.uniform(x0, x1), y=rng.uniform(y0, y1), turn=turn, number=len(found))
        lies = Polygon(sheet.corners)
        if room.contains(lies) and not any(lies.buffer(10).intersects(Polygon(p.corners)) for p in found):
            found.append(sheet)
        if len(found) == count:
            break
    return found


@dataclass(frozen=True, kw_only=True)
class Error:
    """How far an outline is off, mm: 95 % of its edge laid where it fits best, and the worst place laid by its corners.

    `outside` is how far it reaches beyond the true plate at worst, laid where it fits best.
    """

    most: float
    worst: float
    outside: float


def error(scene: Scene, photo) -> Error:
    """Compare a found outline, holes and all, with the true one."""
    found = photo.captured
    rings = [np.array(c.polygon(0.02, "midway").exterior.segmentize(4.0).coords) for c in (found.outer, *found.holes)]
    flat = np.concatenate(rings)
    rays = scene.eye.rays(photo.pixels_of(flat))
    there = scene.eye.at[:2] + rays[:, :2] * ((scene.thickness_mm - scene.eye.at[2]) / rays[:, 2])[:, None]

    def off(points: Floats) -> Floats:
        distances: Floats = shapely.distance(scene.plate.boundary, shapely.points(points))
        return distances

    middle = flat.mean(axis=0)

    def laid(pose: Floats, points: Floats = flat) -> Floats:
        c, s = math.cos(pose[2]), math.sin(pose[2])
        at: Floats = (points - middle) @ np.array([[c, s], [-s, c]]) + pose[:2]
        return at

    a, b = flat - middle, there - there.mean(axis=0)
    turn = math.atan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum())
    begin = np.array([*there.mean(axis=0), turn])
    fit = least_squares(lambda p: off(laid(p)), begin, x_scale=[1.0, 1.0, 1e-3], loss="soft_l1", max_nfev=60)
    best = laid(fit.x)
    outside = np.where(shapely.contains_xy(scene.plate, best), 0.0, off(best))
    # By the two corners named, as the plate will be laid on the table: their true places are corners of the true plate.
    corners = {c["name"]: (c["x_mm"], c["y_mm"]) for c in found.figures["corners"]}
    ends = np.array([corners[n] for n in found.set_up_by])
    near = laid(fit.x, ends)
    vertices = shapely.get_coordinates(scene.plate)
    true = np.array([vertices[np.hypot(*(vertices - p).T).argmin()] for p in near])
    u, v = ends[1] - ends[0], true[1] - true[0]
    turn = math.atan2(v[1], v[0]) - math.atan2(u[1], u[0])
    pose = np.array([*(true[0] - laid(np.array([0.0, 0.0, turn]), ends[:1])[0]), turn])
    by_corners = laid(pose)
    reach = Polygon(laid(pose, rings[0]), [laid(pose, r) for r in rings[1:]]).boundary
    missed = shapely.distance(reach, shapely.points(shapely.get_coordinates(scene.plate.segmentize(4.0))))
    return Error(
        most=float(np.percentile(off(best), 95)),
        worst=float(max(off(by_corners).max(), missed.max())),
        outside=float(outside.max()),
    )


def paper_beside(rng: np.random.Generator, plate: Polygon) -> Paper:
    """One blank A4 sheet near the middle of a plate's long side."""
    x0, y0, x1, _ = plate.bounds
    at = rng.uniform(x0 + 0.25 * (x1 - x0), x1 - 0.5 * (x1 - x0))
    return Paper(x=at, y=y0 - 275, turn=rng.uniform(-0.2, 0.2), size=(297.0, 210.0))
