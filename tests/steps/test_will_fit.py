"""Yes and no are proofs: checked against plates built round parts that are laid already, and the layouts meant."""

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapes import plate, polygon_part, random_polygon, rectangle, regions, round_contour, round_part, sheet

from nesting.clearances import Clearances
from nesting.demand import Demand, Turns
from nesting.geometry.contour import Contour
from nesting.geometry.largest import holds_rectangle
from nesting.plate import Plate
from nesting.rack.summary import Summary
from nesting.steps.part_sizes import PartSizes
from nesting.steps.will_fit import Fit, Room, fit, in_shelves

NONE = Clearances(kerf_mm=0.0, gap_mm=0.0, margin_mm=0.0)
USUAL = Clearances(kerf_mm=1.6, gap_mm=6.0, margin_mm=9.0)


def asked(of: Plate, *demands: Demand, clearances: Clearances = NONE, uncertainty_mm: float = 0.0) -> Fit:
    room = Room(sizes=Summary.of(of), uncertainty_mm=uncertainty_mm, grain_deg=of.grain_deg)
    return fit([PartSizes(d) for d in demands], room, clearances)


def want(part: Any, quantity: int | None = 1, **given: Any) -> Demand:
    return Demand(part=part, quantity=quantity, **given)


seeds = st.integers(0, 100_000)


@settings(max_examples=10, deadline=None)
@given(seeds)
def test_what_lies_on_a_plate_is_never_told_not_to(seed: int):
    """A plate is built round parts laid at random turns, the margin round each and the gap between them."""
    rng = np.random.default_rng(seed)
    bodies, at = [], 0.0
    for body in (random_polygon(rng) for _ in range(int(rng.integers(1, 4)))):
        turned = affinity.rotate(body, float(rng.uniform(0, 360)), origin=(0, 0))
        x0, _, x1, _ = turned.bounds
        bodies.append((body, affinity.translate(turned, at - x0, float(rng.uniform(-50, 50)))))
        at += x1 - x0 + USUAL.gap_mm + 0.02
    uncertainty = float(rng.uniform(0, 3))
    around = shapely.union_all([b for _, b in bodies]).buffer(USUAL.margin_mm + uncertainty + 0.01, quad_segs=32)
    if around.geom_type != "Polygon":
        around = shapely.convex_hull(around)
    tight = polygon_part("tight", around)
    demands = [want(polygon_part(f"p{i}", body)) for i, (body, _) in enumerate(bodies)]
    found = asked(plate(tight.outer, holes=tight.holes), *demands, clearances=USUAL, uncertainty_mm=uncertainty)
    assert found.verdict != "no", found.reasons


sides = st.integers(20, 400).map(float)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(sides, sides, st.integers(1, 6)), min_size=1, max_size=6), sides, sides)
def test_shelves_are_layouts(kinds: list[tuple[float, float, int]], width: float, height: float):
    """Boxes laid in shelves lie apart, inside, and all of them are there, each as one that it may be."""
    items = [[(w, h), (h, w)] for w, h, _ in kinds]
    needs = [n for _, _, n in kinds]
    laid = in_shelves(items, needs, 3 * width, 3 * height)
    if laid is None:
        return
    assert len(laid) == sum(needs)
    boxes = [shapely.box(*b) for b in laid]
    assert all(x0 >= 0 and y0 >= 0 and x1 <= 3 * width and y1 <= 3 * height for x0, y0, x1, y1 in laid)
    assert shapely.union_all(boxes).area == pytest.approx(sum(b.area for b in boxes))
    sizes = sorted(_rounded(x1 - x0, y1 - y0) for x0, y0, x1, y1 in laid)
    assert sizes == sorted(_rounded(w, h) for w, h, n in kinds for _ in range(n))


def _rounded(*sides: float) -> tuple[float, ...]:
    return tuple(sorted(round(side) for side in sides))


@pytest.mark.parametrize("name", ["box", "ell", "holes", "ragged"])
@pytest.mark.parametrize("seed", range(4))
def test_one_part_told_to_fit_does(name: str, seed: int):
    """What lies in the shape's own rectangle fits; no rectangle told not to fit does, by the exact search of one."""
    region = regions()[name]
    part = polygon_part("region", region)
    of = plate(part.outer, holes=part.holes)
    rng = np.random.default_rng(seed)
    width, height = rng.uniform(20, 700, 2)
    found = asked(of, want(rectangle("r", width, height)))
    holds = holds_rectangle(of.fine_polygon, width - 0.2, height - 0.2)
    assert found.verdict != "yes" or holds
    assert found.verdict != "no" or not holds_rectangle(of.fine_polygon, width + 0.1, height + 0.1)


def test_the_plain_grid_of_a_sheet_is_found():
    """200 x 100 rectangles on 2500 x 1250, gap 5, margin 10: 12 x 11 = 132 by a plain grid (worked by hand)."""
    demand = want(rectangle("r", 200, 100), 132)
    clearances = Clearances(kerf_mm=1.5, gap_mm=5.0, margin_mm=10.0)
    assert asked(sheet(2500, 1250), demand, clearances=clearances).verdict == "yes"
    most = math.floor((2500 * 1250) / (205 * 105)) + 12
    found = asked(sheet(2500, 1250), want(rectangle("r", 200, 100), most), clearances=clearances)
    assert found.verdict == "no" and "m2 with their gaps, the plate has 3.125 m2" in found.reasons[0]


def test_every_reason_names_what_was_compared():
    thin = asked(sheet(3000, 340), want(round_part("flange", 330)), clearances=USUAL)
    assert thin.verdict == "no"
    assert thin.reasons[0].startswith(
        "flange is 330 mm wide at any turn, with 9 mm to the edge on either side; the plate is 340"
    )
    long = asked(sheet(400, 300), want(rectangle("bar", 490, 10)), clearances=USUAL)
    assert long.reasons == (
        "bar is 490 mm long at any turn, with 9 mm to the edge on either side; the plate is 500 mm long",
    )
    ell = Contour.of_points([(0, 0), (800, 0), (800, 100), (100, 100), (100, 800), (0, 800)])
    disc = asked(plate(ell), want(round_part("disc", 200)))
    assert disc.verdict == "no" and "has a circle of 200 mm inside" in disc.reasons[0]
    doubt = asked(plate(ell), want(rectangle("r", 100, 790)), clearances=USUAL)
    assert doubt.verdict == "no"
    assert asked(plate(ell), want(rectangle("a", 600, 60)), want(rectangle("b", 60, 600))).verdict == "perhaps"


def test_keep_outs_and_holes_are_no_room():
    keep_out = Contour.of_rectangle(1000, 300)
    assert (
        asked(plate(Contour.of_rectangle(1000, 500), keep_outs=[keep_out]), want(rectangle("r", 300, 300))).verdict
        == "no"
    )
    hole = round_contour((250.0, 250.0), 450.0)
    assert asked(plate(Contour.of_rectangle(500, 500), holes=[hole]), want(round_part("d", 200))).verdict == "no"
    covered = plate(Contour.of_rectangle(100, 100), keep_outs=[Contour.of_rectangle(100, 100)])
    assert asked(covered, want(rectangle("r", 1, 1))).verdict == "no"


def test_a_ring_round_a_hole_of_the_plate_is_not_told_not_to_fit():
    hole = round_contour((250.0, 250.0), 200.0)
    ring = polygon_part("ring", shapely.Point(0, 0).buffer(240).difference(shapely.Point(0, 0).buffer(110)))
    assert asked(plate(Contour.of_rectangle(500, 500), holes=[hole]), want(ring)).verdict == "perhaps"


def test_turns_are_kept():
    tall = want(rectangle("tall", 100, 400), turns=Turns.fixed())
    assert asked(sheet(500, 200), want(rectangle("tall", 100, 400))).verdict == "yes"
    refused = asked(sheet(500, 200), tall)
    assert refused.verdict == "no" and refused.reasons[0].startswith(
        "tall may not be turned to lie on a plate of 500 x"
    )
    assert asked(sheet(200, 500), tall).verdict == "yes"
    turned = polygon_part("turned", affinity.rotate(shapely.box(0, 0, 200, 500), 30.0))
    assert asked(plate(turned.outer), tall).verdict == "perhaps"
    along = want(rectangle("along", 400, 100), turns=Turns(rule="grain"))
    assert "the plate's grain is not known" in asked(sheet(500, 200), along).reasons[0]
    for grain, verdict in ((0.0, "yes"), (180.0, "yes"), (90.0, "no")):
        of = Plate(name="p", outer=Contour.of_rectangle(500, 200), grain_deg=grain)
        assert asked(of, along).verdict == verdict


def test_a_round_part_in_a_round_plate_and_as_many_as_fit():
    of = plate(round_contour((0.0, 0.0), 400.0))
    assert asked(of, want(round_part("d", 370)), clearances=USUAL).verdict == "yes"
    assert asked(of, want(round_part("d", 390)), clearances=USUAL).verdict == "no"
    assert asked(sheet(300, 300), want(rectangle("r", 100, 100), None)).verdict == "yes"


def test_the_uncertainty_of_an_outline_and_room_for_leads_count():
    demand = want(rectangle("r", 380, 180))
    assert asked(sheet(400, 200), demand, clearances=USUAL).verdict == "yes"
    assert asked(sheet(400, 200), demand, clearances=USUAL, uncertainty_mm=2.0).verdict == "no"
    leads = Clearances(kerf_mm=1.6, gap_mm=6.0, margin_mm=9.0, lead_in_mm=5.0, keep_lead_room=True)
    assert "room for lead-ins" in asked(sheet(400, 200), demand, clearances=leads).reasons[0]
