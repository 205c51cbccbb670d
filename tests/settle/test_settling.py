"""Verdicts on readouts: what fits, what two corners leave open, swapped names, flipped plates, suspects, symmetries."""

import math
from dataclasses import replace

import numpy as np
import pytest
from bench.settle import caught, scatter
from hypothesis import given
from hypothesis import strategies as st

from nesting.corner_names import named_corners
from nesting.errors import InputError
from nesting.geometry.contour import Contour
from nesting.geometry.curves import circle
from nesting.geometry.pose import Point, Pose
from nesting.plate import KeepOut, Plate
from nesting.settle.reading import Reading
from nesting.settle.settling import Settled, settle
from nesting.settle.to_read import to_read
from nesting.settle.verdict import verdict_lines

ODD = Plate(name="odd", outer=Contour.of_points([(0, 0), (1000, 0), (1050, 420), (400, 900), (0, 700)]))
RECTANGLE = Plate(name="sheet", outer=Contour.of_rectangle(1000.0, 600.0))
LIES = Pose(turn_deg=3.0, x_mm=120.0, y_mm=80.0)
FLIPPED = Pose(flipped=True, turn_deg=200.0, x_mm=1500.0, y_mm=900.0)


def readings(plate: Plate, names: str, pose: Pose, *, called: str = "", off: dict[str, Point] | None = None):
    """Readouts of corners `names` of a plate that lies by `pose`, called by other letters, and off by so much."""
    places = {c.name: c.point for c in named_corners(plate)}
    found = []
    for true, name in zip(names, called or names, strict=True):
        x, y = pose.point(places[true])
        dx, dy = (off or {}).get(true, (0.0, 0.0))
        found.append(Reading(name=name, stored=places[name], at=(x + dx, y + dy)))
    return found


def settled(plate: Plate, names: str, pose: Pose = LIES, **more: object) -> Settled:
    return settle(plate, readings(plate, names, pose, **more), sigma_mm=0.5)


def words(found: Settled) -> str:
    return "\n".join(verdict_lines(found, "mm"))


def test_three_corners_well_off_one_line_fit():
    found = settled(ODD, "ACE")
    assert found.verdict == "fits" and not found.symmetries and found.ask_for is None
    assert found.pose.turn_deg == pytest.approx(3.0) and (found.pose.x_mm, found.pose.y_mm) == pytest.approx((120, 80))
    assert found.worst_residual_mm < 1e-9
    assert words(found) == "fits: A, C, E lie as the drawing has them, right side up"


def test_two_corners_prove_only_their_distance_and_the_third_is_asked_for_by_name():
    found = settled(ODD, "AB")
    assert found.verdict == "distance only" and found.ask_for == "D"
    assert {(r.corners, r.mirrored) for r in found.open} >= {((1, 0), False), ((0, 1), True), ((1, 0), True)}
    assert "two corners prove how far apart they are and no more" in words(found)
    assert "swapped, or with the plate wrong side up, they would fit as well" in words(found)
    assert "read out corner D too" in words(found)
    assert settled(ODD, "AB" + "D").verdict == "fits"


@given(st.permutations("ABCDE"))
def test_whatever_two_are_read_first_the_corner_asked_for_settles_it(order):
    first = settled(ODD, "".join(order[:2]))
    assert first.verdict == "distance only" and first.ask_for is not None
    assert settled(ODD, "".join(order[:2]) + first.ask_for).verdict == "fits"


def test_swapped_names_are_told():
    found = settled(ODD, "ACE", called="CAE")
    assert found.verdict == "does not fit"
    assert found.read_as(found.explained[0]) == "A, C, E" and not found.explained[0].mirrored
    assert "it would fit with C and A swapped" in words(found)


def test_a_plate_wrong_side_up_is_told_though_every_distance_holds():
    found = settled(ODD, "ACE", FLIPPED)
    assert found.verdict == "does not fit" and all(d.holds for d in found.distances)
    assert "every distance holds" in words(found) and "it would fit with the plate wrong side up" in words(found)


def test_corners_counted_from_another_one_are_told():
    found = settled(ODD, "BDA", called="ACE")
    assert found.verdict == "does not fit"
    assert "it would fit read as B, D, A" in words(found)


def test_with_four_corners_the_suspect_is_named_with_where_it_should_have_been_read():
    found = settled(ODD, "ABCD", off={"C": (14.0, -9.0)})
    assert found.verdict == "does not fit" and [s.name for s in found.suspects] == ["C"]
    assert found.suspects[0].off_mm == pytest.approx(math.hypot(14.0, 9.0), abs=1e-6)
    x, y = LIES.point((1050.0, 420.0))
    assert f"suspect: C: without it the others fit, and it should then be read at ({x:.1f}, {y:.1f}) mm" in words(found)


def test_another_plate_is_no_single_mistake():
    found = settled(ODD, "ABCD", off={"C": (40.0, 0.0), "A": (0.0, 55.0)})
    assert not found.suspects and not found.explained
    assert "another plate, or more than one corner mistaken" in words(found)
    assert "the outline is taken as exact" in words(found)


def test_a_rectangle_fits_itself_and_that_is_no_fault():
    found = settled(RECTANGLE, "ABC")
    assert found.verdict == "fits" and found.ask_for is None
    assert {(found.read_as(r), r.mirrored) for r in found.symmetries} == {
        ("C, D, A", False),
        ("B, A, D", True),
        ("D, C, B", True),
    }
    assert all(r.differs_mm < 1e-9 and not r.unlike for r in found.symmetries)
    assert "turned by 180 degrees (read as C, D, A)" in words(found) and "no fault" in words(found)
    # Which side is up no corner of a rectangle tells.
    assert "right side up" not in words(found)


def test_what_does_not_follow_a_symmetry_is_named():
    hole = Contour(curves=(circle((200.0, 300.0), 50.0),))
    rust = KeepOut(contour=Contour.of_points([(800, 100), (900, 100), (900, 500), (800, 500)]))
    plate = replace(RECTANGLE, holes=(hole,), keep_outs=(rust,), grain_deg=10.0)
    unlike = {found.words: found.unlike for found in settled(plate, "ABC").symmetries}
    assert unlike["turned by 180 degrees"] == ("holes", "keep-outs")
    assert any(u[-1:] == ("the grain",) for u in unlike.values())
    # A point of the hole, by the drawing's coordinates, tells what corners cannot.
    point = Reading(name="hole", stored=(200.0, 300.0), at=LIES.point((200.0, 300.0)), corner=False)
    told = settle(plate, [*readings(plate, "ABC", LIES), point], sigma_mm=0.5)
    assert told.verdict == "fits" and {r.words for r in told.symmetries} == {"flipped"}
    assert all(r.corners[:3] == (3, 2, 1) for r in told.symmetries)
    along = replace(RECTANGLE, holes=(Contour(curves=(circle((500.0, 300.0), 50.0),)),), grain_deg=0.0)
    assert not any(r.unlike for r in settled(along, "ABC").symmetries)


def test_a_nearly_symmetric_plate_cannot_be_told_apart_and_the_corner_that_tells_is_asked_for():
    """A rectangle with a notch: its four corners are those of a rectangle, the notch is on one side only."""
    notched = [(0, 0), (1000, 0), (1000, 600), (700, 600), (600, 450), (500, 600), (0, 600)]
    plate = Plate(name="notched", outer=Contour.of_points(notched))
    found = settled(plate, "ABC")
    assert found.verdict == "cannot be told apart" and found.ask_for in ("D", "E", "F")
    assert {found.read_as(r) for r in found.open} == {"C, G, A", "B, A, G", "G, C, B"}
    assert f"read out corner {found.ask_for} too" in words(found)
    assert settled(plate, "ABC" + found.ask_for).verdict == "fits"


def test_a_plate_off_its_own_picture_by_less_than_readouts_tell_says_that_no_corner_tells():
    """Millimetres over the metre: more than an exact outline may be off, less than readouts can show."""
    plate = Plate(name="near", outer=Contour.of_points([(0, 0), (1000, 0), (1000, 601.2), (0, 600)]))
    found = settled(plate, "ABC")
    assert found.verdict == "cannot be told apart" and found.ask_for is None
    most = max(r.differs_mm for r in found.open)
    assert 0.5 < most < 1.4
    assert f"no other corner of this plate tells: its outline so moved is off by up to {most:.1f} mm" in words(found)


def test_corners_on_one_line_leave_the_side_open():
    plate = Plate(
        name="steps", outer=Contour.of_points([(0, 0), (400, 150), (800, 0), (1200, 0.6), (1300, 700), (0, 650)])
    )
    found = settled(plate, "ACD")
    assert found.verdict == "distance only" and found.ask_for is not None
    assert "nearly on one line" in words(found) and "wrong side up they would fit as well" in words(found)


def test_a_distance_that_does_not_hold_is_refused_and_a_stated_limit_lets_it_pass():
    off = {"C": (6.0, 2.5)}
    found = settled(ODD, "AC", off=off)
    assert found.verdict == "does not fit"
    assert "A-C is 1137.4 mm by the readouts and 1130.9 mm in the drawing, 6.5 mm off, 2.5 mm allowed" in words(found)
    loose = settle(ODD, readings(ODD, "AC", LIES, off=off), sigma_mm=0.5, limit_mm=8.0)
    assert loose.verdict == "distance only"
    # What was let pass is taken for scatter, so that the bounds grow with it.
    assert loose.spread.sigma_mm > 1.9 * settled(ODD, "AC").spread.sigma_mm
    assert settle(ODD, readings(ODD, "AC", LIES, off={"C": (1.0, 0.4)}), sigma_mm=0.5, limit_mm=0.5).verdict == (
        "does not fit"
    )


def test_an_uncertain_outline_allows_more():
    taped = replace(ODD, uncertainty_mm=6.0)
    assert settled(taped, "AC", off={"C": (6.0, 2.5)}).verdict == "distance only"
    assert settled(taped, "AC", off={"C": (16.0, 6.0)}).verdict == "does not fit"


def test_useless_readings_are_refused_in_words():
    with pytest.raises(InputError, match="1 corner read out: give two at least"):
        settled(ODD, "A")
    near = Plate(name="nib", outer=Contour.of_points([(0, 0), (900, 0), (900, 4), (0, 600)]))
    with pytest.raises(InputError, match=r"within 4.0 mm of one another, which gives no turn"):
        settled(near, "BC")
    with pytest.raises(InputError, match=r"A and C are 0.\d\d mm apart by their readouts: one point given twice"):
        settle(
            ODD,
            [Reading(name="A", stored=(0, 0), at=(5, 5)), Reading(name="C", stored=(1050, 420), at=(5, 5.2))],
            sigma_mm=0.5,
        )
    moved = [*readings(ODD, "AC", LIES), *readings(ODD, "A", LIES, off={"A": (4.0, 0.0)})]
    with pytest.raises(InputError, match=r"A was read 2 times, 4.00 mm apart, more than 2.46: plate or machine moved"):
        settle(ODD, moved, sigma_mm=0.5)


def test_inches_read_as_millimetres_are_noticed():
    places = [replace(r, at=(r.at[0] / 25.4, r.at[1] / 25.4)) for r in readings(ODD, "ABC", LIES)]
    found = settle(ODD, places, sigma_mm=0.5)
    assert "the readouts look like inches: say --units inch" in words(found)


def test_points_that_are_no_corners_serve_a_round_plate():
    disc = Plate(name="disc", outer=Contour(curves=(circle((0.0, 0.0), 400.0),)))
    marks = [(300.0, 0.0), (-200.0, 100.0), (0.0, -350.0)]
    found = settle(
        disc,
        [Reading(name=f"{p}", stored=p, at=LIES.point(p), corner=False) for p in marks],
        sigma_mm=0.5,
    )
    assert found.verdict == "fits" and found.pose.turn_deg == pytest.approx(3.0)
    two = settle(
        disc,
        [Reading(name=f"{p}", stored=p, at=LIES.point(p), corner=False) for p in [(300.0, 0.0), (-300.0, 0.0)]],
        sigma_mm=0.5,
    )
    assert two.verdict == "distance only" and len(two.symmetries) == 3
    assert "read out one more point, well off their line" in words(two)
    assert to_read(disc, 0.5).take == () and "mark points on it" in to_read(disc, 0.5).lines[0]


def test_what_to_read_out_is_known_before_anybody_goes_to_the_table():
    proposed = to_read(ODD, 0.5).take
    assert len(proposed) == 3 and settled(ODD, "".join(proposed)).verdict == "fits"
    assert to_read(RECTANGLE, 0.5).take == ("A", "B", "C")


@pytest.mark.parametrize("mistake", ["none", "swapped", "flipped", "renamed"])
def test_mistakes_on_odd_plates_are_caught_or_told(mistake: str):
    """A sample of what `tests/bench/settle.py` tables over a thousand plates."""
    found = caught(mistake, 60, seed=3)
    assert found["unseen"] == 0
    if mistake in ("swapped", "flipped"):
        assert found.get("fits", 0) == 0
    if mistake == "none":
        assert found.get("does not fit", 0) <= 1 and found["explained"] == 0


@pytest.mark.parametrize(("corners", "uncertainty_mm"), [(2, 0.0), (3, 3.0)])
def test_the_stated_uncertainty_is_the_scatter(corners: int, uncertainty_mm: float):
    """Within 10 %; 500 trials know a deviation to 3.2 %."""
    found = scatter(corners, 500, seed=5, uncertainty_mm=uncertainty_mm)
    assert found["turn_scatter_over_stated"] == pytest.approx(1.0, abs=0.1)
    assert found["farthest_scatter_over_stated"] == pytest.approx(1.0, abs=0.1)
    assert found["all_corners_within_bound"] >= 0.93
    assert found["with_outline_within_bound"] >= 0.93


def test_residuals_of_noisy_readings_are_what_least_squares_leaves():
    rng = np.random.default_rng(2)
    noise = {n: (float(x), float(y)) for n, (x, y) in zip("ABCDE", rng.normal(0.0, 0.4, (5, 2)), strict=True)}
    found = settled(ODD, "ABCDE", off=noise)
    assert found.verdict == "fits"
    residuals = np.array([c.off for c in found.corners])
    np.testing.assert_allclose(residuals.sum(axis=0), 0.0, atol=1e-9)
    arms = found.pose.points([c.stored for c in found.corners]) - found.pose.points([found.spread.middle])
    assert (arms[:, 0] * residuals[:, 1] - arms[:, 1] * residuals[:, 0]).sum() == pytest.approx(0.0, abs=1e-6)
