"""The order of cutting: inside first, nested parts first, every contour once, short travel."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import part, round_contour, sheet

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.drawing.cut_order import CutOrder, cut_order
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.leads import leads_of

RING = part("ring", round_contour((0, 0), 90), round_contour((0, 0), 60))
INNER = part("inner ring", round_contour((0, 0), 46), round_contour((0, 0), 30))
DISC = part("disc", round_contour((0, 0), 16))
GRID = part("grid", Contour.of_rectangle(80, 60), *(round_contour((x, y), 8) for x in (12, 40, 68) for y in (12, 48)))
CLEAR = Clearances(kerf_mm=1.5, gap_mm=6, margin_mm=5, lead_in_mm=3)


def crowd(seed: int, count: int) -> Layout:
    """Places on a grid in a random order; in some, rings with rings and discs in them."""
    rng = np.random.default_rng(seed)
    placements: list[tuple[str, Pose]] = []
    for i in range(count):
        pose = Pose(turn_deg=float(rng.integers(360)), x_mm=60 + i % 5 * 100, y_mm=60 + i // 5 * 100)
        choice = int(rng.integers(4))
        if choice == 0:
            placements.append(("grid", replace(pose, turn_deg=0.0, x_mm=pose.x_mm - 40, y_mm=pose.y_mm - 30)))
        else:
            names = ("ring", "inner ring", "disc")[:choice]
            placements += [(name, replace(pose, flipped=bool(rng.integers(2)))) for name in names]
    order = rng.permutation(len(placements))
    placed = tuple(
        Placement(number=n, part_id=placements[k][0], pose=placements[k][1]) for n, k in enumerate(order, start=1)
    )
    demands = tuple(Demand(part=p, quantity=None) for p in (RING, INNER, DISC, GRID))
    return Layout(plate=sheet(520, 120 + (count - 1) // 5 * 100), clearances=CLEAR, demands=demands, placements=placed)


def travel_of_nearest_next(layout: Layout) -> float:
    """Go to the nearest contour that may come next, a part once begun being finished first."""
    places = {p.number: (p.pose.x_mm, p.pose.y_mm) for p in layout.placements}
    ids = {p.number: p.part_id for p in layout.placements}
    depth = {"ring": 0, "inner ring": 1, "disc": 2, "grid": 0}
    starts = {
        (p.number, k): p.pose.point(c.curves[0].start)
        for p in layout.placements
        for k, c in enumerate(layout.parts[p.part_id].contours)
    }
    left, at, travel = set(starts), (0.0, 0.0), 0.0
    inside: set[int] = set()
    while left:
        near = [n for n, _ in left if places[n] in {places[m] for m in inside}] or [n for n, _ in left]
        may = []
        for n in near:
            same = [m for m, _ in left if places[m] == places[n] and depth[ids[m]] > depth[ids[n]]]
            holes = [(n, k) for m, k in left if m == n and k]
            may += [] if same else holes or [(n, 0)]
        step = min(may, key=lambda key: math.dist(at, starts[key]))
        travel += math.dist(at, starts[step])
        at = starts[step]
        left.discard(step)
        inside = {m for m, _ in left if places[m] == places[step[0]]}
    return travel


def assert_allowed(layout: Layout, order: CutOrder) -> None:
    """Every contour once, a part in one go, insides first, nested parts first."""
    keys = [(cut.number, cut.contour) for cut in order.cuts]
    wanted = [(p.number, k) for p in layout.placements for k in range(len(layout.parts[p.part_id].contours))]
    assert sorted(keys) == sorted(wanted)
    places = {key: index for index, key in enumerate(keys)}
    for placement in layout.placements:
        holes = len(layout.parts[placement.part_id].holes)
        cuts = [places[placement.number, k] for k in range(holes + 1)]
        assert max(cuts) - min(cuts) == holes and cuts[0] == max(cuts)
        within = [
            p for p in layout.placements if (p.pose.x_mm, p.pose.y_mm) == (placement.pose.x_mm, placement.pose.y_mm)
        ]
        names = [p.part_id for p in sorted(within, key=lambda p: places[p.number, 0])]
        assert names == [name for name in ("disc", "inner ring", "ring", "grid") if name in names]


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.integers(1, 15), st.booleans())
def test_rules_hold_and_travel_is_short(seed: int, count: int, same_inside: bool):
    layout = crowd(seed, count)

    order = cut_order(layout, same_inside=same_inside)

    assert_allowed(layout, order)
    ends = [(0.0, 0.0), *(cut.end for cut in order.cuts)]
    assert order.travel_mm == pytest.approx(sum(math.dist(a, c.begin) for a, c in zip(ends, order.cuts, strict=False)))
    if not same_inside:
        assert order.travel_mm <= travel_of_nearest_next(layout) + 1e-6
    assert order == cut_order(layout, same_inside=same_inside)


def test_pieces_of_a_part_share_their_inside_order_where_asked():
    layout = crowd(2, 15)
    order = cut_order(layout, same_inside=True)
    grids = [p.number for p in layout.placements if p.part_id == "grid"]
    assert len({tuple(c.contour for c in order.cuts if c.number == n) for n in grids}) == 1 < len(grids)


def test_with_lead_ins_a_cut_begins_at_its_pierce():
    layout = crowd(5, 6)
    leads = leads_of(layout)
    order = cut_order(layout, leads)
    assert_allowed(layout, order)
    assert len(leads.marked) == len(order.cuts)
    for cut in order.cuts:
        spot = leads.spots[cut.number, cut.contour]
        assert (cut.begin, cut.end) == (spot.pierce, spot.contact)


def test_clearly_better_than_nearest_next_on_a_full_plate():
    """Nearest next leaves far corners for last; a quarter longer than the best is its usual price (Johnson and
    McGeoch, The traveling salesman problem: a case study, 1997)."""
    layout = crowd(8, 60)
    assert cut_order(layout).travel_mm < 0.95 * travel_of_nearest_next(layout)


def test_nothing_placed_nothing_travelled():
    empty = replace(crowd(1, 1), placements=())
    assert cut_order(empty) == CutOrder()
