"""Bend lines against the plate's grain, once parts lie on it."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapes import rectangle, sheet
from strategies import lengths

from nesting.clearances import Clearances
from nesting.demand import Demand
from nesting.fit.bends import grain_findings, off_grain_deg
from nesting.geometry.curves import Line, Polyline
from nesting.geometry.pose import Pose
from nesting.layout import Layout, Placement
from nesting.part import Mark, Part

BEND = Line(start=(0, 80), end=(300, 80))


def bent(radius: float | None = None) -> Part:
    """A blank with one bend line along its x axis."""
    return replace(rectangle("p", 300, 200), marks=(Mark(kind="bend", curve=BEND),), bend_radius_mm=radius)


def layout(part: Part, *turns: float, grain: float | None, grade: str | None = "S235JR") -> Layout:
    plate = replace(sheet(2000, 2000), thickness_mm=6.0, grade=grade, grain_deg=grain)
    return Layout(
        plate=plate,
        clearances=Clearances(kerf_mm=1.6, gap_mm=6, margin_mm=8),
        demands=(Demand(part=part, quantity=max(1, len(turns))),),
        placements=tuple(
            Placement(number=n, part_id="p", pose=Pose(turn_deg=t, x_mm=600, y_mm=600))
            for n, t in enumerate(turns, start=1)
        ),
    )


def test_only_pieces_with_a_bend_along_the_grain_are_named():
    (finding,) = grain_findings(layout(bent(), 0.0, 90.0, 180.0, 270.0, 30.0, 60.0, grain=0.0))
    assert finding.kind == "bend along the grain" and finding.severity == "warning"
    assert "pieces 1, 3, 5 lie" in finding.message and "only 0 degrees off" in finding.message
    assert finding.place == (150.0, 80.0)


def test_the_turn_and_the_grain_both_count():
    assert grain_findings(layout(bent(), 90.0, grain=90.0))
    assert not grain_findings(layout(bent(), 0.0, grain=90.0))
    assert not grain_findings(layout(bent(), 15.0, grain=-75.0))


def test_a_radius_that_does_along_the_grain_is_no_matter():
    """ASTM A6 X4 group A: 2.25 T along the grain, 13.5 mm at 6 mm."""
    (finding,) = grain_findings(layout(bent(13.0), 0.0, grain=0.0))
    assert (finding.value_mm, finding.limit_mm) == (13.0, 13.5)
    assert not grain_findings(layout(bent(13.5), 0.0, grain=0.0))
    assert grain_findings(layout(bent(13.5), 0.0, grain=0.0, grade=None)), "no limit is known for an unknown grade"


def test_an_unknown_grain_is_told_for_bent_parts_alone():
    (finding,) = grain_findings(layout(bent(), 0.0, 90.0, grain=None))
    assert finding.kind == "grain not known"
    assert not grain_findings(layout(rectangle("p", 300, 200), 0.0, grain=None))
    assert not grain_findings(layout(bent(), grain=None)), "nothing of it was placed"


def test_an_unknown_grain_is_no_matter_to_a_radius_that_does_along_it():
    """ASTM A6 X4 group A: 2.25 T along the grain, 13.5 mm at 6 mm."""
    assert not grain_findings(layout(bent(13.5), 0.0, grain=None))
    (finding,) = grain_findings(layout(bent(13.0), 0.0, grain=None))
    assert (finding.value_mm, finding.limit_mm) == (13.0, 13.5)
    assert grain_findings(layout(bent(13.5), 0.0, grain=None, grade=None)), "no limit is known for an unknown grade"


def test_bend_lines_of_a_polyline_count_each():
    cross = Polyline(vertices=((10.0, 10.0, 0.0), (200.0, 10.0, 0.0), (200.0, 150.0, 0.0)))
    part = replace(bent(), marks=(Mark(kind="bend", curve=cross), Mark(kind="etch", curve=BEND)))
    (finding,) = grain_findings(layout(part, 0.0, grain=0.0))
    assert finding.places == ((105.0, 10.0),)


@given(lengths(-720.0, 720.0), lengths(-360.0, 360.0), st.booleans())
def test_the_angle_is_that_of_the_shorter_way(turn: float, grain: float, flipped: bool):
    placement = Placement(number=1, part_id="p", pose=Pose(turn_deg=turn, flipped=flipped, x_mm=3.0))
    angle = off_grain_deg(BEND, placement, grain)
    assert 0.0 <= angle <= 90.0
    assert angle == pytest.approx(off_grain_deg(BEND, placement, grain + 180.0), abs=1e-6)
    across = off_grain_deg(BEND, placement, grain + 90.0)
    assert angle + across == pytest.approx(90.0, abs=1e-6)
