"""What is kept clear is what was asked for and not a hair more: on plates cut so that only that just fits.

Sizes by hand: n parts of width w in a row, with a gap g between them and a margin m at both ends, need
n w + (n - 1) g + 2 m.
"""

import pytest
from shapes import part, plate, rectangle, round_contour, round_part, sheet

from nesting.check import check_layout
from nesting.clearances import Clearances
from nesting.demand import Demand, Turns
from nesting.geometry.contour import Contour
from nesting.layout import Layout
from nesting.plate import KeepOut, Plate
from nesting.search.engine import search

CLEAR = Clearances(kerf_mm=1.0, gap_mm=5.0, margin_mm=10.0)
HAIR = 0.01
INCH = 25.4


def room(n: int, width: float, clear: Clearances) -> float:
    """The side of a plate that just takes `n` in a row."""
    return n * width + (n - 1) * clear.gap_mm + 2 * clear.margin_mm


def laid(on: Plate, *demands: Demand, clear: Clearances = CLEAR, steps: int = 6) -> Layout:
    """A layout that the check lets pass."""
    layout = search(on, demands, clear, steps=steps)
    report = check_layout(layout)
    assert report.passed, report.findings
    return layout


@pytest.mark.parametrize("clear", [CLEAR, Clearances(kerf_mm=0.0, gap_mm=0.0, margin_mm=0.0)])
@pytest.mark.parametrize("turns", [Turns.fixed(), Turns()])
def test_rows_fit_to_the_last_digit(turns: Turns, clear: Clearances) -> None:
    """Four by three on a plate that takes no more: with a gap or none, whatever turns are allowed."""
    on = sheet(room(4, 40.0, clear), room(3, 25.0, clear))

    layout = laid(on, Demand(part=rectangle("tile", 40, 25), quantity=None, turns=turns), clear=clear)

    assert len(layout.placements) == 12


@pytest.mark.parametrize(("width", "height"), [(4.25, 4.5), (1.125, 2.0), (7.0, 3.875)])
def test_rows_fit_in_inches_too(width: float, height: float) -> None:
    """Sizes in eighths of an inch, a gap of a quarter, a margin of a half: no round numbers of millimetres."""
    clear = Clearances(kerf_mm=INCH / 16, gap_mm=INCH / 4, margin_mm=INCH / 2)
    w, h = width * INCH, height * INCH

    layout = laid(
        sheet(room(3, w, clear), room(2, h, clear)),
        Demand(part=rectangle("tile", w, h), quantity=None, turns=Turns.fixed()),
        clear=clear,
    )

    assert len(layout.placements) == 6


def test_a_hair_less_and_a_column_is_lost() -> None:
    """One hundredth of a millimetre, which the clearances may not lend."""
    on = sheet(room(4, 40.0, CLEAR) - HAIR, room(1, 25.0, CLEAR) + HAIR)

    layout = laid(on, Demand(part=rectangle("tile", 40, 25), quantity=None, turns=Turns.fixed()))

    assert len(layout.placements) == 3


@pytest.mark.parametrize("turns", [Turns.fixed(), Turns()])
def test_a_margin_less_than_half_the_gap_is_kept_to_a_hair_on_a_convex_plate(turns: Turns) -> None:
    """Two squares of 100, a gap of 10 between and a margin of 2 round them."""
    clear = Clearances(kerf_mm=1.0, gap_mm=10.0, margin_mm=2.0)
    demand = Demand(part=rectangle("square", 100, 100), quantity=None, turns=turns)

    for short, count in ((0.0, 2), (2 * HAIR, 1)):
        on = sheet(room(2, 100.0, clear) - short, room(1, 100.0, clear))
        assert len(laid(on, demand, clear=clear).placements) == count


def test_a_margin_less_than_half_the_gap_is_widened_to_it_on_another_plate() -> None:
    """Safe, if wasteful (docs/engine.md): 100 + 2 x 2 = 104 would do, 100 + 2 x 5 = 110 is asked for."""
    clear = Clearances(kerf_mm=1.0, gap_mm=10.0, margin_mm=2.0)
    demand = Demand(part=rectangle("square", 100, 100), turns=Turns.fixed())

    for side, count in ((110.5, 1), (109.0, 0)):
        corners = [(0, 0), (side, 0), (side, side + 9), (side - 1, side), (0, side)]
        assert len(laid(plate(Contour.of_points(corners)), demand, clear=clear).placements) == count


@pytest.mark.parametrize(("diameter", "fits"), [(100.0 - HAIR, True), (100.0 + HAIR, False)])
def test_a_disc_fits_its_square_to_a_hair(diameter: float, fits: bool) -> None:
    """Chords outside the circle touch the margin where the circle does."""
    on = sheet(room(1, 100.0, CLEAR), room(1, 100.0, CLEAR))

    layout = laid(on, Demand(part=round_part("disc", diameter)))

    assert len(layout.placements) == int(fits)
    assert [row.part_id for row in layout.left_over] == ([] if fits else ["disc"])


def test_uncertainty_of_the_outline_widens_the_margin() -> None:
    """By as much: a lane between a keep-out and the edge takes 40 and no more."""
    lane = 40.0 + 2 * (CLEAR.margin_mm + 3.0)
    lower = Contour.of_points([(0, -10), (310, -10), (310, 40), (0, 40)])
    for width, fits in ((lane + HAIR, True), (lane - HAIR, False)):
        outer = Contour.of_rectangle(300.0, 40.0 + width)
        on = Plate(name="lane", outer=outer, keep_outs=(KeepOut(contour=lower),), uncertainty_mm=3.0)

        layout = laid(on, Demand(part=rectangle("bar", 200, 40), turns=Turns.fixed()))

        assert len(layout.placements) == int(fits)


def test_a_keep_out_across_the_middle_leaves_two_rooms() -> None:
    """One square in each, though together they would take three."""
    strip = Contour.of_points([(120, 0), (180, 0), (180, 120), (120, 120)])

    layout = laid(
        plate(Contour.of_rectangle(300.0, 120.0), keep_outs=[strip]),
        Demand(part=rectangle("square", 90, 90), quantity=None, turns=Turns.fixed()),
    )

    xs = sorted(p.pose.x_mm for p in layout.placements)
    assert len(xs) == 2
    assert xs[0] + 90 <= 110 + 1e-3 and xs[1] >= 190 - 1e-3


def test_a_gap_is_kept_inside_a_ring_as_outside() -> None:
    """Hole of 100, gap of 5 all round: a disc of 90 fits but for a hair, one of 90 and a hair does not."""
    ring = part("ring", round_contour((0.0, 0.0), 160.0), round_contour((0.0, 0.0), 100.0))
    on = sheet(room(1, 160.5, CLEAR), room(1, 160.5, CLEAR))
    for diameter, count in ((89.5, 2), (90.0 + HAIR, 1)):
        layout = laid(on, Demand(part=ring), Demand(part=round_part("disc", diameter), priority=2), steps=12)

        assert len(layout.placements) == count, diameter
