"""Corners and offsets: fractions, arcs, holes, keep-outs, and faults with their lines."""

import math

import pytest

from nesting.errors import InputError
from nesting.geometry.curves import Arc
from nesting.outline.corners import from_corners
from nesting.outline.offsets import from_offsets
from nesting.outline.pasted import Pasted, measure


def corners(text: str, **options: object):
    return from_corners(Pasted(name="plate.csv", text=text), **options)  # type: ignore[arg-type]


def offsets(text: str, **options: object):
    return from_offsets(Pasted(name="line.csv", text=text), **options)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("1200", 1200.0),
        ("12 3/8 in", 314.325),
        ("12-3/8 in", 314.325),
        ('12 3/8"', 314.325),
        ("5' 3 1/2\"", 63.5 * 25.4),
        ("5 ft", 1524.0),
        ("-7.5", -7.5),
        ("3 cm", 30.0),
    ],
)
def test_lengths_as_people_write_them(text: str, mm: float):
    assert measure(text, "mm") == pytest.approx(mm)


def test_corners_in_inches_with_fractions():
    found = corners("name,x,y\nA, 0, 0\nB, 47 1/4, 0\nC, 47 1/4, 20 1/2\nD, 0, 20 1/2", unit="inch")
    assert found.outer.area_mm2 == pytest.approx(47.25 * 20.5 * 25.4**2)


@pytest.mark.parametrize("arc", ["1000,500\n853.5533906,853.5533906,arc\n500,1000", "1000,500,0.41421356237\n500,1000"])
def test_arcs_by_three_points_and_by_bulge_are_the_same(arc: str):
    found = corners(f"0,0\n1000,0\n{arc}\n0,1000")
    assert found.outer.area_mm2 == pytest.approx(1e6 - 500**2 * (1 - math.pi / 4), rel=1e-8)
    assert sum(isinstance(p, Arc) for p in found.outer.pieces) == 1


def test_holes_and_keep_outs():
    found = corners(
        "0,0\n1000,0\n1000,500\n0,500\nhole\n100,100\n200,100\n150,200\nhole\ncircle,500,250,80\n"
        "keep-out rust\n700,100\n800,100\n800,200\nclamp\n0,0\n50,0\n50,50"
    )
    assert [h.area_mm2 for h in found.holes] == [pytest.approx(5000.0), pytest.approx(math.pi * 1600)]
    assert [(k.kind, k.reason) for k in found.keep_outs] == [
        ("no part", "rust"),
        ("no part, lead or rapid", "clamp"),
    ]


def test_a_spreadsheet_with_semicolons_and_decimal_commas():
    assert corners("x;y\n0;0\n1000,5;0\n1000,5;500\n0;500").outer.area_mm2 == pytest.approx(500_250.0)


@pytest.mark.parametrize("mark", [";", "\t"])
def test_a_comma_that_may_part_thousands_is_refused(mark: str):
    """A spreadsheet's `1,200` was once a plate 1.2 mm wide."""
    text = "0;0\n1,200;0\n1,200;{high}\n0;{high}".replace(";", mark)
    with pytest.raises(
        InputError, match=r"plate.csv, line 2: '1,200' may be a decimal comma or thousands; write 1.200 or"
    ):
        corners(text.format(high="800"))
    assert corners(text.format(high="800,5")).outer.area_mm2 == pytest.approx(1.2 * 800.5)
    assert corners(text.format(high="0,900")).outer.area_mm2 == pytest.approx(1.2 * 0.9)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("0,0\n1000,0\n1000", "line 3: '1000' is no corner"),
        ("0,0\n1000,0\n1000,5oo", "line 3: unit 'oo' is not known"),
        ("0,0\n1000,500\n1000,0\n0,500", "the outline crosses itself"),
        ("0,0\n1000,0\n2000,0", "crosses itself"),
        ("0,0\n1000,0", "at least three corners, got 2"),
        ("0,0\n1000,0\n1000,500,sideways\n0,500", "line 3: 'sideways' after x and y"),
        ("0,0,arc\n1000,0,arc\n1000,500,arc", "every point lies on an arc"),
        ("0,0\n9,0\n9,9\nhole circle\n0,0\n1,1", "2 points on a circle"),
    ],
)
def test_faults_name_file_and_line(text: str, told: str):
    with pytest.raises(InputError, match=rf"plate.csv.*{told}"):
        corners(text)


def test_offsets_to_both_sides_of_a_chalk_line():
    found = offsets("0, R 200\n1000, R 250\n1000, L 300\n0, 300")
    assert found.outer.area_mm2 == pytest.approx(1000 * 525.0)
    mixed = offsets("0, 300\n1000, -250\n0, -200\n1000, 300", by_side=True)
    assert mixed.outer.area_mm2 == pytest.approx(found.outer.area_mm2)
    with pytest.raises(InputError, match="crosses itself"):
        offsets("0, 300\n1000, -250\n0, -200\n1000, 300")


def test_a_long_offset_is_less_certain_than_a_short_one():
    short = offsets("0, -50\n1000, -50\n1000, 50\n0, 50").uncertainty_mm
    assert offsets("0, -800\n1000, -800\n1000, 800\n0, 800").uncertainty_mm > 3 * short
