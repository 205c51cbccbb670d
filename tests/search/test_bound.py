"""The bound is never below what can be laid out, and where it can be known it is near it."""

import itertools
import math
import signal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon
from shapes import part, plate, polygon_part, rectangle, round_contour, round_part, sheet

from nesting.clearances import Clearances
from nesting.demand import Demand, Turns
from nesting.geometry.contour import Contour
from nesting.search.bound import most_area_mm2

TIGHT = Clearances(kerf_mm=0.0, gap_mm=0.0, margin_mm=0.0)
CLEAR = Clearances(kerf_mm=1.5, gap_mm=6.0, margin_mm=10.0)
RING = part("ring", round_contour((0.0, 0.0), 120.0), round_contour((0.0, 0.0), 40.0))


def fill(*parts) -> list[Demand]:
    return [Demand(part=p, quantity=None) for p in parts]


def test_where_all_fits_it_is_the_area_wanted() -> None:
    demands = [Demand(part=rectangle("tile", 50, 50), quantity=4)]

    assert most_area_mm2(sheet(100, 100), demands, TIGHT) == pytest.approx(1e4, rel=1e-9)
    assert most_area_mm2(sheet(400, 100), demands, TIGHT) == pytest.approx(1e4, rel=1e-9)


def test_no_more_than_the_areas_allow() -> None:
    """36 strips of 30 x 10 are the plate; of a value that is not its area the largest total counts, not the worth."""
    demands = [
        Demand(part=rectangle("strip", 30, 10), quantity=None),
        Demand(part=rectangle("big", 70, 70), quantity=1, value=1e9),
    ]

    assert most_area_mm2(sheet(90, 120), demands, TIGHT) == pytest.approx(90 * 120, rel=1e-6)


@pytest.mark.parametrize(("more", "count"), [(0.995, 2), (1.005, 1)])
def test_two_equal_circles_in_a_square(more: float, count: int) -> None:
    """The largest two in a unit square have r = 1 / (2 + sqrt 2) (Goldberg 1970, Math. Mag. 43(1), 24-30; also derived:
    their middles are corners of a square of side 1 - 2 r whose diagonal is 2 r)."""
    radius = 100 * more / (2 + math.sqrt(2))

    most = most_area_mm2(sheet(100, 100), [Demand(part=round_part("disc", 2 * radius), quantity=2)], TIGHT)

    assert most == pytest.approx(count * math.pi * radius**2, rel=1e-6)


def test_equal_circles_by_the_inequality_of_oler() -> None:
    """Oler 1961 (Acta Math. 105, 19-48): in a square of side 9 at most 2 / sqrt(3) 81 + 18 + 1 = 112.53 points a unit
    apart, so no more discs of 30 mm than 112 on 300 x 300; 100 lie there in rows, and area alone would allow 127."""
    most = most_area_mm2(sheet(300, 300), fill(round_part("disc", 30.0)), TIGHT)

    # Chords within 0.05 mm make the discs that are counted a little smaller: one more may seem to fit.
    disc = math.pi * 15**2
    assert 112 * disc * (1 - 1e-9) <= most <= 113 * disc * (1 + 1e-6)


def test_large_parts_that_exclude_one_another_leave_the_best_choice() -> None:
    """Inside the margin 180 x 180; any two of these have more than half of it on either side."""
    squares = [rectangle(f"square {side}", side, side) for side in (100, 110, 120)]

    most = most_area_mm2(sheet(200, 200), [Demand(part=p) for p in squares], CLEAR)

    assert most == pytest.approx(120**2, rel=1e-6)


def test_each_piece_of_a_plate_takes_its_own() -> None:
    """A keep-out across the middle leaves two rooms of 100 x 100 for squares of 90; by area alone there were four."""
    strip = Contour.of_points([(120, 0), (180, 0), (180, 120), (120, 120)])
    on = plate(Contour.of_rectangle(300.0, 120.0), keep_outs=[strip])

    assert most_area_mm2(on, fill(rectangle("square", 90, 90)), CLEAR) == pytest.approx(2 * 90**2, rel=1e-6)


def test_a_room_that_takes_no_part_counts_for_nothing() -> None:
    """The right piece is 40 wide inside its margins, and a disc of 50 does not go in, though its area would."""
    strip = Contour.of_points([(120, 0), (180, 0), (180, 120), (120, 120)])
    on = plate(Contour.of_rectangle(240.0, 120.0), keep_outs=[strip])
    demands = [Demand(part=round_part("disc", 94.0)), Demand(part=round_part("other", 92.0))]

    assert most_area_mm2(on, demands, CLEAR) == pytest.approx(math.pi * 47**2, rel=1e-6)


def test_nothing_that_fits_is_nothing() -> None:
    assert most_area_mm2(sheet(100, 100), fill(rectangle("long", 150, 5)), TIGHT) == 0.0
    assert most_area_mm2(sheet(15, 15), fill(rectangle("bit", 1, 1)), CLEAR) == 0.0


@pytest.mark.parametrize(("diameter", "rings"), [(50.0, 3), (20.0, 5)])
def test_a_hole_that_nothing_goes_into_is_as_good_as_filled(diameter: float, rings: int) -> None:
    """240 x 230 mm by area: 5.49 rings with a hole of 40 mm.  Discs of 120 mm: 3.97 by their middles, which lie in
    120 x 110 mm and are 120 mm apart; and there is no room for four."""
    demands = [*fill(RING), Demand(part=round_part("disc", diameter), quantity=1)]

    most = most_area_mm2(sheet(240, 230), demands, TIGHT)

    own = math.pi * diameter**2 / 4
    assert most == pytest.approx(rings * RING.area_mm2 + own, rel=1e-4)


def test_a_ring_round_a_hole_of_the_plate_takes_its_metal_only() -> None:
    """The plate is one ring and a rim 5 mm wide; its hole is the plate's."""
    ring = part("ring", round_contour((0.0, 0.0), 120.0), round_contour((0.0, 0.0), 100.0))
    on = plate(round_contour((0.0, 0.0), 121.0), holes=[round_contour((0.0, 0.0), 99.0)])

    assert most_area_mm2(on, [Demand(part=ring)], TIGHT) == pytest.approx(ring.area_mm2, rel=1e-9)


@settings(max_examples=40)
@given(
    st.tuples(st.integers(2, 5), st.integers(2, 5)),
    st.lists(st.tuples(st.integers(1, 3), st.integers(1, 3)), min_size=1, max_size=5),
    st.sampled_from([0.0, 2.0]),
)
def test_rectangles_tried_in_every_way(size: tuple[int, int], sides: list[tuple[int, int]], gap: float) -> None:
    """Rectangles on a lattice of 10 mm, as drawn, each placed everywhere or left out.

    With a gap every lattice step is as much wider, and a plate ends where its last part does.
    """
    step = 10.0 + gap
    parts = [rectangle(f"p{i}", step * w - gap, step * h - gap) for i, (w, h) in enumerate(sides)]
    clear = Clearances(kerf_mm=0.0, gap_mm=gap, margin_mm=0.0)
    demands = [Demand(part=p, turns=Turns.fixed()) for p in parts]

    most = most_area_mm2(sheet(step * size[0] - gap, step * size[1] - gap), demands, clear)

    best = best_on_lattice(size, sides, [p.area_mm2 for p in parts])
    assert most >= best * (1 - 1e-9)
    assert most <= min(sum(p.area_mm2 for p in parts), (step * size[0] - gap) * (step * size[1] - gap)) * (1 + 1e-6)


def best_on_lattice(size: tuple[int, int], sides: list[tuple[int, int]], areas: list[float]) -> float:
    def best(i: int, taken: frozenset[tuple[int, int]]) -> float:
        if i == len(sides):
            return 0.0
        w, h = sides[i]
        found = best(i + 1, taken)
        for x, y in itertools.product(range(size[0] - w + 1), range(size[1] - h + 1)):
            cells = frozenset(itertools.product(range(x, x + w), range(y, y + h)))
            if not cells & taken:
                found = max(found, areas[i] + best(i + 1, taken | cells))
        return found

    return best(0, frozenset())


@settings(max_examples=30)
@given(st.integers(3, 9), st.floats(0.0, 8.0), st.floats(0.0, 12.0), st.integers(0, 10_000))
def test_a_grid_laid_by_hand_stays_below(count: int, gap: float, margin: float, seed: int) -> None:
    """Hexagons, as many as stand in rows on a plate cut to hold just them, its outline round."""
    corners = [(20 * math.cos(a + seed), 20 * math.sin(a + seed)) for a in (math.pi / 3 * i for i in range(6))]
    hexagon = polygon_part("hexagon", Polygon(corners))
    pitch = 40.0 + gap
    reach = math.hypot(pitch * (count - 1), 0.0) / 2 + 20.0 + margin
    on = plate(round_contour((pitch * (count - 1) / 2, 0.0), 2 * reach))
    clear = Clearances(kerf_mm=0.0, gap_mm=gap, margin_mm=margin)

    most = most_area_mm2(on, fill(hexagon), clear)

    assert most >= count * hexagon.area_mm2 * (1 - 1e-9)


def test_ctrl_c_stays_with_whoever_had_it() -> None:
    """The solver takes the signal unless told not to, and hands it back to nobody."""
    before = signal.getsignal(signal.SIGINT)
    heard: list[int] = []
    signal.signal(signal.SIGINT, lambda number, _frame: heard.append(number))
    try:
        most_area_mm2(sheet(90, 120), fill(rectangle("strip", 30, 10)), TIGHT)
        signal.raise_signal(signal.SIGINT)
    finally:
        signal.signal(signal.SIGINT, before)
    assert heard == [signal.SIGINT]
