"""Where the plate goes: the four areas add up, and what is kept is really there."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.errors import BalanceError
from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.geometry.largest import holds_rectangle
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.part import Part
from nesting.plate import KeepOut, KeepOutKind, Plate
from nesting.remnant import Balance, balance, narrowest_kept_mm
from nesting.shop import Shop
from nesting.tolerances import BALANCE_RELATIVE, CHECK_MM

KERF = 1.5
CLEAR = Clearances(kerf_mm=KERF, gap_mm=5.0, margin_mm=8.0, lead_in_mm=6.0)
SHOP = Shop(keep_mm=((150.0, 150.0), (60.0, 400.0)))
SQUARE = Part(id="sq", name="Square", outer=Contour.of_rectangle(100.0, 100.0))
DISC = Part(
    id="disc",
    name="Disc",
    outer=Contour(curves=(circle((0.0, 0.0), 60.0),)),
    holes=(Contour(curves=(circle((0.0, 0.0), 20.0),)),),
)
WEDGE = Part(id="wedge", name="Wedge", outer=Contour.of_points([(0, 0), (140, 0), (30, 70)]))


def _layout(plate: Plate, places: list[tuple[Part, Pose]], clearances: Clearances = CLEAR) -> Layout:
    parts = {part.id: part for part, _ in places}
    return Layout(
        plate=plate,
        clearances=clearances,
        demands=tuple(Demand(part=p, quantity=None) for p in parts.values()),
        placements=tuple(Placement(number=n, part_id=part.id, pose=pose) for n, (part, pose) in enumerate(places, 1)),
    )


def _sheet(width: float = 600.0, height: float = 500.0) -> Plate:
    return Plate(name="sheet", outer=Contour.of_rectangle(width, height))


def test_empty_plate_is_one_kept_remnant() -> None:
    found = balance(_layout(_sheet(), []), SHOP)

    assert [r.label for r in found.kept] == ["R1"]
    assert found.kept_mm2 == pytest.approx(300_000.0, rel=1e-9)
    assert (found.parts_mm2, found.kerf_mm2, found.scrap_mm2) == (0.0, 0.0, 0.0)


def test_square_in_the_corner_leaves_an_l_with_known_areas() -> None:
    found = balance(_layout(_sheet(), [(SQUARE, Pose(x_mm=8.0, y_mm=8.0))]), SHOP)

    # The band round a convex contour: perimeter x kerf and a quarter circle at each of four corners.
    assert found.kerf_mm2 == pytest.approx(400.0 * KERF + math.pi * KERF**2, rel=1e-5)
    assert found.parts_mm2 == 10_000.0
    assert abs(found.error) < 1e-9
    assert found.kept[0].rectangle.area_mm2 == pytest.approx(500.0 * (600.0 - 109.5), rel=0.01)


def test_slivers_narrower_than_the_lead_in_come_off() -> None:
    wide = Clearances(kerf_mm=KERF, gap_mm=5.0, margin_mm=8.0, lead_in_mm=20.0)

    found = balance(_layout(_sheet(), [(SQUARE, Pose(x_mm=8.0, y_mm=8.0))], wide), SHOP)

    # Two strips 6.5 mm wide beside the square and the corner between them.
    assert found.scrap_mm2 == pytest.approx(6.5 * (101.5 + 101.5 + 6.5), rel=0.02)


@pytest.mark.parametrize(("narrowest", "necks"), [(None, 0), (20.0, 1), (40.0, 0)])
def test_a_neck_of_the_skeleton_is_kept_only_where_it_is_of_use(narrowest: float | None, necks: int) -> None:
    """A neck 25 mm wide and 100 mm long between two lumps; the shop's smallest keep size is 60 mm wide."""
    plate = Plate(
        name="bone",
        outer=Contour.of_points([(0, 0), (300, 0), (300, 200), (400, 200), (400, 0), (700, 0), (700, 400), (400, 400),
                                 (400, 225), (300, 225), (300, 400), (0, 400)]),
    )  # fmt: skip

    shop = replace(SHOP, narrowest_mm=narrowest)
    found = balance(_layout(plate, []), shop)

    lumps, neck = 2 * 300.0 * 400.0, 100.0 * 25.0
    # At a mouth a disc of the narrowest width, and the square corner beside it, bulge in.
    r = narrowest_kept_mm(_layout(plate, []), shop) / 2
    bulges = 0.0 if necks else 2 * 25.0 * (math.sqrt(2) * r - math.sqrt(r**2 - 12.5**2))
    assert len(found.kept) == 2 - necks
    assert lumps + necks * neck - 1e-6 <= found.kept_mm2 <= lumps + necks * neck + bulges
    assert found.scrap_mm2 + found.kept_mm2 == pytest.approx(lumps + neck, rel=1e-9)


def test_drop_of_a_hole_is_kept_where_a_keep_rectangle_fits_in_it() -> None:
    ring = Part(
        id="ring",
        name="Ring",
        outer=Contour(curves=(circle((0.0, 0.0), 200.0),)),
        holes=(Contour(curves=(circle((0.0, 0.0), 150.0),)),),
    )
    found = balance(_layout(_sheet(420.0, 420.0), [(ring, Pose(x_mm=210.0, y_mm=210.0))]), SHOP)

    assert len(found.kept) == 1
    assert found.kept_mm2 == pytest.approx(math.pi * (150.0 - KERF) ** 2, rel=1e-4)
    assert found.kerf_mm2 == pytest.approx(math.pi * (201.5**2 - 200**2 + 150**2 - 148.5**2), rel=1e-4)


def test_kerf_bands_that_overlap_count_once_and_end_at_the_plate() -> None:
    close = Clearances(kerf_mm=4.0, gap_mm=5.0, margin_mm=2.0, merge_cuts=True, break_edge=True)
    plate = _sheet(209.0, 104.0)
    places = [(SQUARE, Pose(x_mm=2.0, y_mm=2.0)), (SQUARE, Pose(x_mm=107.0, y_mm=2.0))]

    found = balance(_layout(plate, places, close), SHOP)

    assert found.kerf_mm2 == pytest.approx(209.0 * 104.0 - 20_000.0, rel=1e-9)
    assert found.scrap_mm2 == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    "places",
    [
        [(SQUARE, Pose(x_mm=8.0, y_mm=8.0)), (SQUARE, Pose(x_mm=50.0, y_mm=8.0))],
        [(SQUARE, Pose(x_mm=-20.0, y_mm=8.0))],
    ],
    ids=["overlap", "off the plate"],
)
def test_parts_that_overlap_or_leave_the_plate_do_not_balance(places: list[tuple[Part, Pose]]) -> None:
    with pytest.raises(BalanceError, match=r"overlap or leave the plate; check the layout"):
        balance(_layout(_sheet(), places), SHOP)


@st.composite
def _random_layouts(draw: st.DrawFn) -> Layout:
    """Random pieces dropped on an odd plate with a hole; those that break a clearance are taken off again."""
    plate = Plate(
        name="odd",
        outer=Contour.of_points([(0, 0), (700, 40), (760, 420), (330, 600), (-40, 380)]),
        holes=(Contour(curves=(circle((520.0, 300.0), 45.0),)),),
    )
    room = plate.fine_polygon.buffer(-CLEAR.margin_mm)
    taken, places = Polygon(), []
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    for _ in range(25):
        part = (SQUARE, DISC, WEDGE)[random.integers(3)]
        (x, y), turn, flipped = (
            random.uniform((0, 0), (720, 560)),
            random.uniform(0, 360),
            random.random() < 0.5,
        )
        pose = Pose(flipped=bool(flipped), turn_deg=float(turn), x_mm=float(x), y_mm=float(y))
        body = pose.geometry(part.fine_polygon)
        if room.covers(body) and body.distance(taken) >= CLEAR.gap_mm:
            taken = taken.union(body)
            places.append((part, pose))
    return _layout(plate, places)


@settings(max_examples=20)
@given(layout=_random_layouts())
def test_areas_add_up_and_remnants_are_really_there(layout: Layout) -> None:
    found = balance(layout, SHOP)

    assert abs(found.error) <= BALANCE_RELATIVE / 50
    _pieces_are_apart(found)
    plate = layout.plate.fine_polygon
    for remnant in found.kept:
        assert remnant.polygon.difference(plate).area < 1e-6
        assert remnant.polygon.covers(remnant.rectangle.polygon)
        for body in found.parts:
            assert body.distance(remnant.polygon) >= KERF - CHECK_MM
    assert all(not r.polygon.is_empty for r in found.kept)
    _all_of_it_is_of_use(found, layout)
    assert [r.area_mm2 for r in found.kept] == sorted((r.area_mm2 for r in found.kept), reverse=True)


def _all_of_it_is_of_use(found: Balance, layout: Layout) -> None:
    """Every place kept is in a disc of the narrowest width, or in a square corner beside one; no keep size is lost."""
    half = narrowest_kept_mm(layout, SHOP) / 2
    taken = shapely.union_all([*found.parts, found.kerf])
    rest = layout.plate.fine_polygon.difference(taken)
    reached = rest.buffer(-half + 0.1, quad_segs=64).buffer(half * math.sqrt(2), quad_segs=64)
    for remnant in found.kept:
        assert remnant.polygon.difference(reached).area < 1e-3
    for width, height in SHOP.keep_mm:
        if holds_rectangle(rest, width, height):
            assert any(holds_rectangle(r.polygon, width - 0.2, height - 0.2) for r in found.kept)


def _pieces_are_apart(found: Balance) -> None:
    shapes = [*found.parts, found.kerf, *(r.polygon for r in found.kept), found.scrap]
    together = shapely.union_all(shapes).area
    assert together == pytest.approx(math.fsum(s.area for s in shapes), rel=1e-9)


def _spoilt_in_the_middle(kind: KeepOutKind) -> Plate:
    """A sheet of 600 x 500 with a cross of rust, which leaves four corners of 200 x 150."""
    bars = ((200.0, 0.0, 400.0, 500.0), (0.0, 150.0, 600.0, 350.0))
    keep_outs = (
        KeepOut(contour=Contour.of_points([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]), kind=kind)
        for x0, y0, x1, y1 in bars
    )
    return replace(_sheet(), keep_outs=tuple(keep_outs))


def test_a_bad_spot_makes_no_leftover_large_enough():
    """Ground under rust takes no part on the next day either."""
    layout = _layout(_spoilt_in_the_middle("no part"), [])

    assert balance(layout, Shop(keep_mm=((250.0, 250.0), (100.0, 400.0)))).kept == ()
    (kept,) = balance(layout, Shop(keep_mm=((190.0, 140.0),))).kept
    box = kept.rectangle
    assert kept.area_mm2 == pytest.approx(300_000.0)
    assert sorted((box.width_mm, box.height_mm)) == pytest.approx([150.0, 200.0], rel=0.01)
    assert 2 * kept.circle[1] == pytest.approx(150.0, rel=0.01)


def test_the_ground_under_a_clamp_is_plate_again_once_it_is_off():
    (kept,) = balance(
        _layout(_spoilt_in_the_middle("no part, lead or rapid"), []), Shop(keep_mm=((500.0, 400.0),))
    ).kept

    assert kept.rectangle.area_mm2 == pytest.approx(300_000.0, rel=0.01)
