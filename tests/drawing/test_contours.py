"""Chaining: the same contours from the same pieces in any order, and every mend told with its place."""

import math
import random
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nesting.drawing.chain import Chained
from nesting.drawing.contours import contours_of
from nesting.drawing.entities import Drawn
from nesting.geometry.curves import Arc, Curve, Line, Polyline, circle
from nesting.geometry.pose import Point


def drawn(curves: Sequence[Curve]) -> list[Drawn]:
    """Curves as entities numbered in order."""
    return [Drawn(curve, "0", "", f"{curve.type.upper()} {k:X}") for k, curve in enumerate(curves, start=1)]


def closed(corners: Sequence[Point]) -> list[Curve]:
    """Lines through the corners and back."""
    return [Line(start=a, end=b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)]


def rectangle(x: float, y: float, w: float, h: float) -> list[Curve]:
    """Four lines."""
    return closed([(x, y), (x + w, y), (x + w, y + h), (x, y + h)])


def areas(chained: Chained) -> list[float]:
    """Areas of the loops, smallest first."""
    return sorted(round(loop.contour.area_mm2, 6) for loop in chained.loops)


def said(chained: Chained, kind: str) -> list[str]:
    """Messages of one kind."""
    return [f.message for f in chained.findings if f.kind == kind]


def slot(x: float) -> list[Curve]:
    """Two lines and two arcs."""
    return [
        Line(start=(x, 0), end=(x + 50, 0)),
        Arc(center=(x + 50, 25), radius_mm=25, start_deg=-90, sweep_deg=180),
        Line(start=(x + 50, 50), end=(x, 50)),
        Arc(center=(x, 25), radius_mm=25, start_deg=90, sweep_deg=180),
    ]


@given(st.integers(0, 2**32), st.integers(1, 6))
def test_order_and_direction_do_not_matter(seed: int, count: int) -> None:
    rng = random.Random(seed)
    curves = [c for k in range(count) for c in (*slot(150.0 * k), *rectangle(150.0 * k, 10, 30, 5 + k))]
    expected = areas(contours_of(drawn(curves), 0.5))
    rng.shuffle(curves)
    mixed = [c.reversed() if rng.random() < 0.5 else c for c in curves]

    chained = contours_of(drawn(mixed), 0.5)

    assert areas(chained) == expected
    assert len(chained.loops) == 2 * count
    assert chained.chains == () and chained.findings == ()
    assert sum(len(loop.contour.curves) for loop in chained.loops) == len(curves)


@given(st.integers(0, 2**32), st.lists(st.floats(0.0, 0.019) | st.floats(0.021, 0.45), min_size=4, max_size=4))
def test_gaps_are_closed_without_more_entities(seed: int, gaps: list[float]) -> None:
    rng = random.Random(seed)
    corners = [(0.0, 0.0), (100.0, 0.0), (100.0, 60.0), (0.0, 60.0)]
    curves: list[Curve] = []
    for a, b, gap in zip(corners, [*corners[1:], corners[0]], gaps, strict=True):
        along = gap / math.dist(a, b)
        curves.append(Line(start=a, end=(b[0] + along * (a[0] - b[0]), b[1] + along * (a[1] - b[1]))))
    rng.shuffle(curves)

    chained = contours_of(drawn(curves), 0.5)

    (loop,) = chained.loops
    assert len(loop.contour.curves) == 4
    ends = loop.contour.curves
    assert all(math.dist(a.end, b.start) <= 0.001 for a, b in zip(ends, [*ends[1:], ends[0]], strict=True))
    assert loop.contour.area_mm2 == pytest.approx(6000.0, abs=0.5 * 320)
    assert len(said(chained, "gap bridged")) == sum(gap > 0.02 for gap in gaps)


@pytest.mark.parametrize(("gap", "curves"), [(0.01, 2), (0.3, 3)])
def test_gap_between_arcs(gap: float, curves: int) -> None:
    """A silent gap stays between two arcs; a wider one takes a line, so that what is written closes."""
    halves: list[Curve] = [
        Arc(center=(0, 0), radius_mm=20, start_deg=0, sweep_deg=180 - math.degrees(gap / 20)),
        Arc(center=(0, 0), radius_mm=20, start_deg=180, sweep_deg=180),
    ]

    (loop,) = contours_of(drawn(halves), 0.5).loops

    assert len(loop.contour.curves) == curves


def test_wider_gaps_stay_open() -> None:
    curves = rectangle(0, 0, 100, 60)
    curves[0] = Line(start=(0.0, 0.0), end=(99.4, 0.0))

    chained = contours_of(drawn(curves), 0.5)

    assert chained.loops == ()
    (chain,) = chained.chains
    assert chain.gap_mm == pytest.approx(0.6)
    assert len(contours_of(drawn(curves), 0.7).loops) == 1


def test_gap_message_names_place_width_and_entities() -> None:
    curves = rectangle(0, 0, 100, 60)
    curves[0] = Line(start=(0.0, 0.0), end=(99.7, 0.0))

    (message,) = said(contours_of(drawn(curves), 0.5), "gap bridged")

    assert "0.300 mm" in message and "(99.70, 0.00)" in message
    assert "LINE 1" in message and "LINE 2" in message


def test_stray_arc_is_not_closed_onto_itself() -> None:
    chained = contours_of(drawn([Arc(center=(0, 0), radius_mm=1, start_deg=0, sweep_deg=23)]), 0.5)

    assert chained.loops == ()
    assert len(chained.chains) == 1


def test_neighbours_a_quarter_millimetre_apart_stay_apart() -> None:
    chained = contours_of(drawn([*rectangle(0, 0, 50, 50), *rectangle(50.25, 0, 50, 50)]), 0.5)

    assert areas(chained) == [2500.0, 2500.0]
    assert chained.findings == ()


def test_zero_length_is_dropped_with_a_word() -> None:
    chained = contours_of(drawn([*rectangle(0, 0, 50, 50), Line(start=(0, 0), end=(0, 0))]), 0.5)

    assert areas(chained) == [2500.0]
    assert "LINE 5 at (0.00, 0.00)" in said(chained, "zero length")[0]


def test_lines_drawn_twice() -> None:
    curves = rectangle(0, 0, 50, 50)

    chained = contours_of(drawn([*curves, *(c.reversed() for c in curves)]), 0.5)

    assert areas(chained) == [2500.0]
    assert len(said(chained, "duplicate")) == 4


def test_contour_drawn_twice_from_another_corner() -> None:
    corners = [(0.0, 0.0, 0.0), (50.0, 0.0, 0.5), (50.0, 40.0, 0.0), (0.0, 40.0, 0.0)]
    twice = [Polyline(vertices=tuple(corners[k:] + corners[:k]), is_closed=True) for k in (0, 2)]

    chained = contours_of(drawn([*twice, circle((20, 20), 5), circle((20, 20), 5)]), 0.5)

    assert len(chained.loops) == 2
    assert len(said(chained, "duplicate")) == 2


def test_different_arcs_between_the_same_ends_both_stay() -> None:
    halves = [Arc(center=(0, 0), radius_mm=9, start_deg=s, sweep_deg=180) for s in (0, 180)]

    chained = contours_of(drawn(halves), 0.5)

    assert areas(chained) == [round(81 * math.pi, 6)]


def test_lines_on_top_of_longer_edges_are_dropped() -> None:
    extra = [Line(start=(10, 0), end=(30, 0)), Line(start=(0, 40), end=(0, 45))]

    chained = contours_of(drawn([*rectangle(0, 0, 50, 50), *extra]), 0.5)

    assert areas(chained) == [2500.0]
    assert [len(loop.contour.curves) for loop in chained.loops] == [4]
    assert len(said(chained, "duplicate")) == 2


def test_overlapping_lines_are_sorted_out() -> None:
    curves: list[Curve] = [
        Line(start=(0, 0), end=(28, 0)),
        Line(start=(25, 0), end=(50, 0)),
        *rectangle(0, 0, 50, 50)[1:],
    ]

    chained = contours_of(drawn(curves), 0.5)

    assert areas(chained) == [2500.0]
    assert "3.00 mm drawn twice" in said(chained, "shared lines")[0]


def test_panels_that_share_cut_lines_become_faces() -> None:
    frame = rectangle(0, 0, 120, 80)
    inner: list[Curve] = [Line(start=(40, 0), end=(40, 80)), Line(start=(40, 30), end=(120, 30))]

    chained = contours_of(drawn([*frame, *inner, circle((20, 40), 5)]), 0.5)

    assert areas(chained) == [round(25 * math.pi, 6), 2400.0, 3200.0, 4000.0]
    assert "taken as a contour of its own" in said(chained, "shared lines")[0]


def test_shared_arc_stays_an_arc() -> None:
    frame: list[Curve] = [Polyline(vertices=((0, 0, 0), (100, 0, 0), (100, 50, 0), (0, 50, 0)), is_closed=True)]
    bow = Arc(center=(50, 0), radius_mm=30, start_deg=0, sweep_deg=180)

    chained = contours_of(drawn([*frame, bow]), 0.5)

    half = 450 * math.pi
    assert areas(chained) == [round(half, 6), round(5000 - half, 6)]
    assert all(any(c.type == "arc" for c in loop.contour.curves) for loop in chained.loops)


def test_crossing_lines_inside_a_frame() -> None:
    inner: list[Curve] = [Line(start=(0, 20), end=(100, 20)), Line(start=(30, 0), end=(30, 50))]

    chained = contours_of(drawn([*rectangle(0, 0, 100, 50), *inner]), 0.5)

    assert areas(chained) == [600.0, 900.0, 1400.0, 2100.0]


def test_slit_from_the_edge_stays_a_line() -> None:
    slit = Line(start=(40, 0), end=(40, 20))

    chained = contours_of(drawn([*rectangle(0, 0, 100, 50), slit]), 0.5)

    assert areas(chained) == [5000.0]
    assert [len(loop.contour.curves) for loop in chained.loops] == [4]
    assert len(chained.chains) == 1


def test_waste_between_panels_is_left_out() -> None:
    panels = rectangle(0, 0, 100, 100) + rectangle(100, 0, 100, 100)
    sliver: list[Curve] = [Line(start=(100, 100), end=(105, 104)), Line(start=(105, 104), end=(110, 100))]

    chained = contours_of(drawn([*panels, *sliver]), 0.5)

    assert areas(chained) == [10000.0, 10000.0]
    assert "taken as waste" in said(chained, "waste face")[0]
    assert "name the parts you want with only" in said(chained, "shared lines")[0]


def test_outlines_that_touch_at_a_corner() -> None:
    chained = contours_of(drawn([*rectangle(0, 0, 50, 50), *rectangle(50, 50, 20, 20)]), 0.5)

    assert areas(chained) == [400.0, 2500.0]


def test_fine_steps_shorter_than_the_silent_tolerance_are_kept() -> None:
    steps = [(math.cos(a) * 2.0, math.sin(a) * 2.0) for a in (k * math.tau / 900 for k in range(900))]

    chained = contours_of(drawn(closed(steps)), 0.5)

    assert [len(loop.contour.curves) for loop in chained.loops] == [900]
