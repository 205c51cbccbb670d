"""Holes, keep-outs and clamps added to a plate: spelled as elsewhere, looked at, refused off the steel."""

import math
from dataclasses import replace

import pytest

from nesting.errors import InputError
from nesting.geometry.contour import Contour
from nesting.outline.added import read_place, with_added
from nesting.plate import Plate

PLATE = Plate(name="odd", outer=Contour.of_rectangle(1200, 800), uncertainty_mm=3.0)


def test_a_round_cut_out_is_taken_off_the_plate():
    plate, warnings = with_added(PLATE, [read_place("hole", "circle, 340, 490, 160", "mm")])
    assert plate.area_mm2 == pytest.approx(960_000 - math.pi * 80**2)
    assert plate.keep_outs == () and warnings == []


def test_corners_and_bulges_in_the_unit_said():
    plate, warnings = with_added(PLATE, [read_place("hole", "10,10 14-1/2,10,1 14-1/2,12 254mm,12", "inch")])
    half_disc = math.pi * 25.4**2 / 2
    assert plate.area_mm2 == pytest.approx(960_000 - 4.5 * 2 * 25.4**2 - half_disc)
    assert warnings == []


def test_a_hole_reaches_as_far_beyond_the_outline_as_that_is_uncertain():
    plate, _ = with_added(PLATE, [read_place("hole", "1000,100 1202,100 1202,200 1000,200", "mm")])
    assert len(plate.holes) == 1
    with pytest.raises(InputError, match=r'--hole "1000,100 .* reaches 5.0 mm beyond the outline'):
        with_added(PLATE, [read_place("hole", "1000,100 1205,100 1205,200 1000,200", "mm")])
    with pytest.raises(InputError, match=r"taken in inch\): lies outside of the outline"):
        with_added(PLATE, [read_place("hole", "circle,340,490,160", "inch")])


def test_what_lies_in_an_old_hole_or_over_it_is_told_of():
    holed, _ = with_added(PLATE, [read_place("hole", "circle,340,490,160", "mm")])
    again = [read_place("hole", "circle,400,490,160", "mm"), read_place("clamp", "circle,300,490,40", "mm")]
    plate, (twice, missing) = with_added(holed, again)
    assert "overlaps hole 1" in twice and missing.startswith('--clamp "circle,300,490,40"')
    assert (len(plate.holes), plate.keep_outs[0].kind) == (2, "no part, lead or rapid")


def test_an_old_hole_across_an_edge_that_moved_in_is_not_refused_with_the_new_one():
    old = replace(PLATE, holes=(Contour.of_points([(1100, 100), (1250, 100), (1250, 200), (1100, 200)]),))
    plate, warnings = with_added(old, [read_place("hole", "circle,340,490,160", "mm")])
    assert len(plate.holes) == 2 and warnings == []


@pytest.mark.parametrize("kind", ["hole", "keep-out", "clamp"])
def test_three_inches_taken_as_millimetres_are_told_of(kind: str):
    """A rust spot of 3 in was once kept free over 3 mm, and nothing was said."""
    (told,) = with_added(PLATE, [read_place(kind, "0,29 3,29 3,32 0,32", "mm")])[1]
    assert "plain numbers taken in mm" in told and "only 3.0 x 3.0 mm; check the unit" in told
    assert with_added(PLATE, [read_place(kind, "0,26 3,26 3,29 0,29", "inch")])[1] == []


def test_keep_outs_carry_their_reason():
    plate, _ = with_added(PLATE, [read_place("keep-out", "300,100 400,100 400,200", "mm")], "rust")
    assert plate.keep_outs[0].reason == "rust" and plate.keep_outs[0].contour.area_mm2 == pytest.approx(5000.0)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("circle,340,490", "a circle is written circle,X,Y,DIAMETER"),
        ("circle,340,490,0", "a circle of diameter 0"),
        ("0,0 10,10 10,0 0,10", "the outline crosses itself"),
        ("0,0 10", "'10' is not a corner"),
        ("0,0 10,0,x 10,10", "'x' is not a bulge"),
        ("0,0 10,0,nan 10,10", "a bulge of nan"),
        ("P,160 0,0 1,1", "'P' is not a length"),
    ],
)
def test_what_cannot_be_read_is_refused_with_what_was_written(text: str, told: str):
    with pytest.raises(InputError, match=rf'--hole "{text}": {told}'):
        read_place("hole", text, "mm")
