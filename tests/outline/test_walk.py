"""Edge walk: a textbook traverse, closing errors shared out or refused, suspects named."""

import math

import numpy as np
import pytest

from nesting.errors import InputError
from nesting.outline.pasted import Pasted
from nesting.outline.walk import from_walk

TEXTBOOK = """\
AB,647.25,126-55-17
BC,203.03,178-18-58
CD,720.35,15-31-54
DE,610.24,284-35-20
EA,285.13,206-09-41
"""
"""Traverse of the compass-rule example of C. D. Ghilani and P. R. Wolf, Elementary Surveying (Examples 10.2 to 10.4,
12th edition, feet), values from memory."""

BALANCED = [(517.444, -388.835), (523.408, -591.783), (716.289, 102.239), (125.718, 255.928)]
"""Its adjusted B, C, D, E relative to A, from the printed balanced departures and latitudes (from memory)."""


def walked(text: str, **options: object):
    return from_walk(Pasted(name="walk.txt", text=text), **options)  # type: ignore[arg-type]


def test_a_textbook_traverse_is_adjusted_to_its_printed_answer():
    found = walked(TEXTBOOK, angles="bearing", length_sigma_mm=0.05, angle_sigma_deg=0.003)
    assert found.figures["closing_x_mm"] == pytest.approx(0.026, abs=0.0015)
    assert found.figures["closing_y_mm"] == pytest.approx(0.077, abs=0.0025)
    assert found.figures["closing_mm"] == pytest.approx(0.081, abs=0.0015)
    assert found.figures["closing_part"] == pytest.approx(30_000, rel=0.05)
    shared = [(c["x_mm"], c["y_mm"]) for c in found.figures["corners"]][1:]
    np.testing.assert_allclose(shared, BALANCED, atol=0.0015)


@pytest.mark.parametrize("angles", ["turn", "inside"])
def test_a_walk_that_closes_comes_back_as_it_was(angles: str):
    text = "1200, 90\n800, 90\n1200, 90\n800, 90"
    found = walked(text, angles=angles)
    assert found.outer.area_mm2 == pytest.approx(960_000.0)
    assert found.figures["closing_mm"] == pytest.approx(0.0, abs=1e-6)
    assert found.figures["closing_deg"] == pytest.approx(0.0, abs=1e-6)


def test_turns_to_the_right_walk_clockwise_and_inches_do():
    found = walked("48, R 90\n24, right 90\n48, R 90\n24", unit="inch")
    assert found.outer.area_mm2 == pytest.approx(48 * 24 * 25.4**2)
    assert found.figures["closing_deg"] is None


def test_angles_that_do_not_add_up_are_shared_equally():
    found = walked("1200, 90.4\n800, 90.4\n1200, 90.4\n800, 90.4")
    assert found.figures["closing_deg"] == pytest.approx(1.6)
    assert found.figures["closing_mm"] == pytest.approx(0.0, abs=1e-6)


def test_a_wrong_length_is_refused_and_its_edges_named():
    with pytest.raises(
        InputError, match=r"closing error 100.0 mm .* the length of edge 1 \(line 1\) or edge 3 \(line 3\)"
    ):
        walked("1200, 90\n800, 90\n1300, 90\n800, 90")


def test_a_wrong_turn_is_refused_and_its_corner_named():
    with pytest.raises(InputError, match=r"the angle at the end of edge 2 \(line 2\)"):
        walked("1200, L 90\n800, L 84\n1200, L 90\n800")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("1200, 90\n800\n1200, 90\n800", "line 2: the angle is missing"),
        ("1200, 90\n800, 90", "2 edges; a plate has at least three"),
        ("1200, 90\n-5, 90\n3,4", "line 2: an edge of -5"),
        ("1200, up\n5, 90\n3,4", "line 1: 'up' is not an angle"),
        ("1200, 89-75\n5, 90\n3,4", "line 1: '89-75' has 75 minutes; a degree has 60"),
        ("1200, L 89-60\n5, 90\n3,4", "line 1: '89-60' has 60 minutes"),
        ("1200, 89-59-60\n5, 90\n3,4", "line 1: '89-59-60' has 60 seconds; a minute has 60"),
        ("1200, 90, 4, 5", "line 1: .* is no leg of a walk"),
    ],
)
def test_faults_name_the_line(text: str, told: str):
    with pytest.raises(InputError, match=rf"walk.txt.*{told}"):
        walked(text)


def test_the_bound_grows_with_the_angles_scatter():
    square = "1000, 90\n1000, 90\n1000, 90\n1000, 90"
    good, bad = (walked(square, angle_sigma_deg=s).uncertainty_mm for s in (0.1, 1.0))
    assert good < bad / 4
    assert bad > math.radians(1.0) * 1000
