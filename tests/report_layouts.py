"""A layout of invented parts, legal by construction: ring with a disc inside, brackets, gussets, washers."""

from nesting.clearances import Clearances
from nesting.demand import Demand, Turns
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Line, Polyline, circle
from nesting.geometry.pose import Pose
from nesting.layout import Layout, LeftOver, Placement, SearchFacts
from nesting.part import Mark, Part
from nesting.plate import KeepOut, Plate


def _round(x: float, y: float, radius: float) -> Contour:
    return Contour(curves=(circle((x, y), radius),))


def _slot(x: float, y: float, length: float, width: float) -> Contour:
    """A slot along x, centred, its round ends as bulges of a half circle."""
    half, r = length / 2 - width / 2, width / 2
    corners = ((x - half, y - r, 0.0), (x + half, y - r, 1.0), (x + half, y + r, 0.0), (x - half, y + r, 1.0))
    return Contour(curves=(Polyline(vertices=corners, is_closed=True),))


def _plate_with_round_corners(width: float, height: float, r: float) -> Contour:
    b = 0.41421356237309503
    w, h = width, height
    corners = (
        (r, 0.0, 0.0), (w - r, 0.0, b), (w, r, 0.0), (w, h - r, b),
        (w - r, h, 0.0), (r, h, b), (0.0, h - r, 0.0), (0.0, r, b),
    )  # fmt: skip
    return Contour(curves=(Polyline(vertices=corners, is_closed=True),))


def sample_parts() -> dict[str, Part]:
    ring = Part(id="ring", name="Pump ring", outer=_round(0, 0, 150), holes=(_round(0, 0, 105),), source="ring.dxf")
    bolts = tuple(_round(x, y, 6) for x, y in ((60, 0), (0, 60), (-60, 0), (0, -60)))
    disc = Part(id="disc", name="Blind flange", outer=_round(0, 0, 85), holes=bolts, source="disc.dxf")
    base = Part(
        id="base",
        name="Base <foot> & cap",
        outer=_plate_with_round_corners(260, 140, 20),
        holes=(_slot(60, 70, 60, 18), _slot(200, 70, 60, 18), _round(130, 70, 22)),
        source="base.dxf",
        source_sha256="5c" * 32,
    )
    angle = Part(
        id="angle",
        name="Angle bracket",
        outer=Contour.of_points([(0, 0), (180, 0), (180, 60), (60, 60), (60, 200), (0, 200)]),
        holes=(_round(30, 170, 9), _round(150, 30, 9)),
        marks=(Mark(kind="bend", curve=Line(start=(0, 90), end=(60, 90))),),
        source="angle.dxf",
    )
    gusset = Part(
        id="gusset", name="Gusset", outer=Contour.of_points([(0, 0), (120, 0), (0, 120)]), source="gusset.dxf"
    )
    washer = Part(id="washer", name="Washer", outer=_round(0, 0, 13), holes=(_round(0, 0, 5.5),), source="washer.dxf")
    return {p.id: p for p in (ring, disc, base, angle, gusset, washer)}


def sample_layout() -> Layout:
    """Twelve pieces on a five-cornered plate with a hole and a clamp, at least 5 mm apart."""
    parts = sample_parts()
    wanted = {"ring": 1, "disc": 1, "base": 2, "angle": 2, "gusset": 3, "washer": None}
    places = [
        ("ring", 0, 165, 165), ("disc", 90, 165, 165), ("base", 0, 330, 12), ("base", 0, 330, 160),
        ("angle", 0, 602, 12), ("angle", 180, 860, 212.5),
        ("gusset", 0, 12, 330), ("gusset", 180, 144, 470),
        ("washer", 0, 300, 320), ("washer", 0, 332, 320), ("washer", 0, 364, 320), ("washer", 0, 396, 320),
    ]  # fmt: skip
    plate = Plate(
        name="Rack B, shelf 2",
        outer=Contour.of_points([(0, 0), (1000, 0), (1000, 400), (400, 900), (0, 900)]),
        holes=(_round(930, 330, 40),),
        keep_outs=(KeepOut(contour=Contour.of_points([(0, 840), (90, 840), (90, 900), (0, 900)]), reason="clamp"),),
        thickness_mm=6.0,
        heat="H 4711",
        grain_deg=0.0,
        captured="tape readings",
        uncertainty_mm=1.0,
        source="plate.dxf",
    )
    return Layout(
        plate=plate,
        clearances=Clearances(kerf_mm=1.5, gap_mm=5.0, margin_mm=10.0, lead_in_mm=5.0),
        demands=tuple(Demand(part=parts[i], quantity=n, turns=Turns.steps(90.0)) for i, n in wanted.items()),
        placements=tuple(
            Placement(number=n, part_id=i, pose=Pose(turn_deg=t, x_mm=x, y_mm=y))
            for n, (i, t, x, y) in enumerate(places, start=1)
        ),
        left_over=(LeftOver(part_id="gusset", count=1, reason="no free place was found in the time given"),),
        search=SearchFacts(seed=7, steps=1200, seconds=4.2, poses_tried=250_000, threads=2),
        id="3f9c0a7be41d",
    )
