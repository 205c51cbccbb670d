"""Measured holes and keep-outs that do not lie on the plate: refused or warned of, with line and place."""

import pytest

from nesting.errors import InputError
from nesting.outline.captured import Captured
from nesting.outline.corners import from_corners
from nesting.outline.pasted import Pasted
from nesting.outline.readouts import from_readouts

PLATE = "0,0\n1200,0\n1200,800\n0,800\n"


def corners(text: str, sigma_mm: float = 1.0) -> Captured:
    return from_corners(Pasted(name="plate.csv", text=PLATE + text), sigma_mm=sigma_mm)


def test_a_hole_off_the_plate_is_refused():
    """Its area was once taken from that of a plate it does not lie on."""
    with pytest.raises(InputError, match=r"plate.csv, line 5 \(hole\): lies outside of the outline, about \(2000"):
        corners("hole\ncircle,2000,400,100")


@pytest.mark.parametrize(
    ("hole", "told"),
    [
        (
            "circle,1190,400,100",
            r"reaches 40.0 mm beyond the outline at \(1240.0, 400.0\) mm; measure a cut-out across",
        ),
        ("-10,-10\n1210,-10\n1210,810\n-10,810", r"reaches 14.1 mm beyond"),
    ],
)
def test_a_hole_across_the_edge_is_refused(hole: str, told: str):
    with pytest.raises(InputError, match=rf"plate.csv, line 5 \(hole\): {told}"):
        corners(f"hole\n{hole}")


def test_a_hole_reaches_as_far_beyond_as_the_outline_is_uncertain():
    hole = "hole\n1000,100\n1202,100\n1202,200\n1000,200"
    found = corners(hole)
    assert found.uncertainty_mm > 2.0
    assert len(found.holes) == 1
    with pytest.raises(InputError, match=r"reaches 2.0 mm beyond"):
        corners(hole, sigma_mm=0.2)


def test_a_hole_that_touches_the_edge_is_no_fault_without_any_scatter():
    assert len(corners("hole\ncircle,100,400,200", sigma_mm=0.0).holes) == 1


def test_readouts_are_looked_at_too():
    with pytest.raises(InputError, match=r"list.txt, line 5 \(hole\): lies outside"):
        from_readouts(Pasted(name="list.txt", text=f"{PLATE}hole\n2000,100\n2100,100\n2100,200"))


def test_holes_that_overlap_are_told_of():
    (told,) = corners("hole\ncircle,500,400,100\nhole\ncircle,540,400,100\nhole\ncircle,900,400,100").warnings
    assert "line 7 (hole): overlaps plate.csv, line 5 (hole) about (520.0, " in told
    assert corners("hole\n100,100\n200,100\n200,200\nhole\n200,100\n300,100\n200,200").warnings == ()


@pytest.mark.parametrize("kind", ["keep-out", "clamp"])
def test_a_keep_out_that_misses_the_plate_is_told_of(kind: str):
    at_the_edge = f"{kind}\n-50,100\n20,100\n20,200\n"
    (told,) = corners(f"{at_the_edge}{kind}\n1300,100\n1400,100\n1400,200").warnings
    assert f"line 9 ({kind}): no part of it lies on the plate" in told
    (told,) = corners(f"hole\ncircle,500,400,200\n{kind}\ncircle,500,400,100").warnings
    assert f"line 7 ({kind}): no part of it lies on the plate" in told
