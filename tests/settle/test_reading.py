"""Readouts as people write them, and what is refused with its line."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nesting.corner_names import named_corners
from nesting.errors import InputError
from nesting.geometry.contour import Contour
from nesting.outline.pasted import Pasted
from nesting.plate import Plate
from nesting.settle.reading import Reading, merged, read_readings
from nesting.units import Unit

CORNERS = named_corners(Plate(name="odd", outer=Contour.of_points([(0, 0), (1000, 0), (1000, 400), (0, 900)])))


def read(text: str, unit: Unit = "mm", decimal: str | None = None) -> list[tuple[str, tuple[float, float]]]:
    found = read_readings(Pasted(name="readouts.txt", text=text), CORNERS, unit=unit, decimal=decimal)
    return [(r.name, (round(r.at[0], 6), round(r.at[1], 6))) for r in found]


@pytest.mark.parametrize(
    "line",
    [
        "A=100,50",
        "a = 100, 50",
        "A X100 Y50",
        "A: X 100.0 Y 50.0",
        "A Y50 X100",
        "A X=100 Y=50",
        "A = X=100 Y=50",
        "A,100,50",
        "A;100;50",
        "A\t100\t50",
        "A 100 50",
        "A: 100 mm, 50 mm",
        "A G1 X100 Y50",
        "0,0 = 100,50",
        "X0 Y0 = X100 Y50",
        "0.004,0=100,50",
        "corner,x,y\nA,100,50",
        "# first corner\nA=100,50  # by eye",
    ],
)
def test_one_corner_in_many_spellings(line: str):
    assert read(line) == [("A", (100.0, 50.0))]


def test_inches_fractions_and_decimal_commas():
    assert read("A=3 15/16, 1 31/32", "inch") == [("A", (100.0125, 50.00625))]
    assert read('B=43-5/16", 3 3/8"') == [("B", (1100.1375, 85.725))]
    assert read("A=100,5 50,2") == [("A", (100.5, 50.2))]
    assert read("A;100,5;50,2") == [("A", (100.5, 50.2))]
    assert read("A;100,500;50,250\nB;900,5;80,2")[0] == ("A", (100.5, 50.25)), "another line shows decimal commas"
    assert read("G20\nA X4 Y2\nG21\nB X1100 Y85") == [("A", (101.6, 50.8)), ("B", (1100.0, 85.0))]


def test_a_point_that_is_no_corner_goes_by_the_drawing_s_coordinates():
    (found,) = read_readings(Pasted(name="--at", text="500,0=600,70"), CORNERS)
    assert found == Reading(name="(500, 0)", stored=(500.0, 0.0), at=(600.0, 70.0), corner=False)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("A=100", r"readouts.txt, line 1: '100' is no position"),
        ("A=100,50\nQ=1,1", r"line 2: the plate has the corners A, B, C, D, and none is called 'Q'"),
        ("100, 50", r"line 1: '100, 50' names no corner; write its letter first"),
        ("X100 Y50", r"line 1: 'X100 Y50' names no corner"),
        ("X=100 Y=50", r"line 1: 'X=100 Y=50' names no corner"),
        ("A=1O0,50", r"line 1: .*1O0"),
        ("A=100,50,7", r"line 1: three numbers"),
        ("A X100 Y50 arc", r"called a point on an arc"),
        ("A G91 X1 Y1", r"relative positions"),
        ("\n".join("A=1,1" for _ in range(201)), r"more than 200 readouts"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_line(text: str, told: str):
    with pytest.raises(InputError, match=told):
        read(text)


def test_a_round_plate_says_that_it_has_no_corners():
    with pytest.raises(InputError, match=r"the plate has no corners, and none is called 'A'.*drawing's coordinates"):
        read_readings(Pasted(name="--at", text="A=1,1"), ())


def test_readings_of_one_corner_are_taken_together():
    found = merged(read_readings(Pasted(name="--at", text="A=100,50\nB=1100,85\nA=100.4,49.8"), CORNERS))
    assert [(r.name, r.times) for r in found] == [("A", 2), ("B", 1)]
    assert found[0].at == pytest.approx((100.2, 49.9))
    assert found[0].spread_mm == pytest.approx(0.4472, abs=1e-4)


@settings(max_examples=300)
@given(st.text(alphabet=st.sampled_from("ABXYZ=:,;. \t\n0123456789-+/\"'#()GMarcn°−"), max_size=60))
def test_whatever_is_typed_is_read_or_refused_in_words(text: str):
    """Never a traceback, and never a place that is not a number."""
    for decimal in (None, "comma"):
        try:
            found = read_readings(Pasted(name="typed", text=text), CORNERS, decimal=decimal)
        except InputError as error:
            assert str(error)
            continue
        assert all(abs(v) <= 1e6 for r in found for v in (*r.at, *r.stored))
