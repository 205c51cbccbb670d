"""Turn and shift by least squares: against published closed forms, an independent library, and scatter by the rule."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from nesting.geometry.pose import Pose
from nesting.settle.rigid import SIMULTANEOUS, Spread, fit, followed_by, off_line_mm

Floats = np.ndarray
coordinates = st.floats(-3000.0, 3000.0)
points = st.lists(st.tuples(coordinates, coordinates), min_size=2, max_size=9, unique=True).filter(
    lambda p: max(math.dist(a, p[0]) for a in p) > 1.0
)
poses = st.builds(Pose, flipped=st.booleans(), turn_deg=st.floats(-720.0, 720.0), x_mm=coordinates, y_mm=coordinates)


def by_svd(stored: Floats, measured: Floats, *, mirrored: bool) -> tuple[Floats, Floats]:
    """Rotation and shift by the singular values of the cross-covariance: Arun, Huang, Blostein 1987, Umeyama 1991.

    The sign of the last singular vector is chosen for the handedness wanted, as in Umeyama's equation 43.
    """
    a, b = stored - stored.mean(axis=0), measured - measured.mean(axis=0)
    u, _, vt = np.linalg.svd(b.T @ a)
    sign = (-1.0 if mirrored else 1.0) * np.sign(np.linalg.det(u) * np.linalg.det(vt))
    rotation = u @ np.diag([1.0, sign]) @ vt
    return rotation, measured.mean(axis=0) - rotation @ stored.mean(axis=0)


def noisy(rng: np.random.Generator, count: int) -> tuple[Floats, Floats]:
    stored = rng.uniform(-800.0, 800.0, (count, 2))
    pose = Pose(turn_deg=float(rng.uniform(0, 360)), x_mm=700.0, y_mm=-300.0)
    return stored, pose.points(stored) + rng.normal(0.0, 5.0, (count, 2))


def test_two_point_alignment_of_the_trade():
    """Stored along X, measured (100, 50) and (1100, 85): 2.00453 degrees, 1000.612 mm (worked by hand: atan(35 / 1000)
    and the root of 1000^2 + 35^2)."""
    found = fit([(0.0, 0.0), (1000.612, 0.0)], [(100.0, 50.0), (1100.0, 85.0)])
    assert found.pose.turn_deg == pytest.approx(2.00453, abs=1e-5)
    assert math.dist((100.0, 50.0), (1100.0, 85.0)) == pytest.approx(1000.612, abs=1e-3)
    assert found.pose.point((0.0, 0.0)) == pytest.approx((100.0, 50.0), abs=1e-3)


@given(points, poses)
def test_exact_points_give_the_pose_back(stored, pose):
    found = fit(stored, pose.points(stored), mirrored=pose.flipped)
    np.testing.assert_allclose(found.pose.points(stored), pose.points(stored), atol=1e-6)
    assert np.abs(found.residuals).max() < 1e-6
    assert found.pose.flipped == pose.flipped


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("count", [2, 3, 4, 12])
def test_agrees_with_the_published_closed_form(count: int, mirrored: bool):
    rng = np.random.default_rng(count)
    stored, measured = noisy(rng, count)
    rotation, shift = by_svd(stored, measured, mirrored=mirrored)
    found = fit(stored, measured, mirrored=mirrored)
    np.testing.assert_allclose(found.pose.points(stored), stored @ rotation.T + shift, atol=1e-8)


@pytest.mark.parametrize("count", [3, 5, 9])
def test_agrees_with_an_independent_library(count: int):
    """scipy's `Rotation.align_vectors` solves Wahba's problem in space; points in a plane stay in it."""
    stored, measured = noisy(np.random.default_rng(100 + count), count)
    a, b = stored - stored.mean(axis=0), measured - measured.mean(axis=0)
    flat = np.zeros((count, 1))
    # A pair of directions out of the plane, so heavy that the library turns about it and nothing else.
    up, weights = np.array([[0.0, 0.0, 1.0]]), np.array([*np.ones(count), np.inf])
    rotation, _ = Rotation.align_vectors(
        np.vstack([np.hstack([b, flat]), up]), np.vstack([np.hstack([a, flat]), up]), weights
    )
    turn = rotation.as_euler("zyx", degrees=True)[0]
    assert math.remainder(fit(stored, measured).pose.turn_deg - turn, 360.0) == pytest.approx(0.0, abs=1e-7)


@given(points, poses, st.tuples(st.floats(-5, 5), st.floats(-5, 5), st.floats(-1, 1)))
def test_no_other_pose_is_better(stored, pose, nudge):
    rng = np.random.default_rng(7)
    measured = pose.points(stored) + rng.normal(0.0, 3.0, (len(stored), 2))
    found = fit(stored, measured, mirrored=pose.flipped)
    other = Pose(
        flipped=pose.flipped,
        turn_deg=found.pose.turn_deg + nudge[2],
        x_mm=found.pose.x_mm + nudge[0],
        y_mm=found.pose.y_mm + nudge[1],
    )
    assert found.squares_mm2 <= ((measured - other.points(stored)) ** 2).sum() + 1e-6


def test_points_that_are_all_one_have_no_turn():
    with pytest.raises(ValueError, match="all points are one"):
        fit([(1.0, 1.0), (1.0, 1.0)], [(0.0, 0.0), (5.0, 0.0)])


@given(poses, poses, st.tuples(coordinates, coordinates))
def test_poses_one_after_the_other(first, then, point):
    if then.flipped:
        with pytest.raises(ValueError, match="not flipped"):
            followed_by(first, then)
    else:
        assert followed_by(first, then).point(point) == pytest.approx(then.point(first.point(point)), abs=1e-6)


def test_the_spread_is_that_of_the_normal_equations():
    """Covariance sigma^2 (J^T J)^-1 with derivatives taken by hand, carried to a far place."""
    stored = np.array([(0.0, 0.0), (900.0, 60.0), (300.0, 700.0)])
    spread = Spread(points=stored, sigma_mm=0.5)
    arms = stored - stored.mean(axis=0)
    rows = [row for x, y in arms for row in ((1.0, 0.0, -y), (0.0, 1.0, x))]
    covariance = 0.25 * np.linalg.inv(np.array(rows).T @ np.array(rows))
    far = np.array([1500.0, 1100.0]) - stored.mean(axis=0)
    carry = np.array([(1.0, 0.0, -far[1]), (0.0, 1.0, far[0])])
    worst = math.sqrt(np.linalg.eigvalsh(carry @ covariance @ carry.T)[-1])
    assert spread.sd_mm([(1500.0, 1100.0)])[0] == pytest.approx(worst, rel=1e-9)
    assert math.radians(spread.turn_sd_deg) == pytest.approx(math.sqrt(covariance[2, 2]), rel=1e-9)
    assert spread.bound_mm([(1500.0, 1100.0)])[0] == pytest.approx(2.7955 * worst, rel=1e-4)
    assert pytest.approx(7.815, abs=5e-4) == SIMULTANEOUS**2  # 95 % of chi-square with 3 degrees, as tables print it


def test_how_far_points_are_off_one_line():
    assert off_line_mm([(0, 0), (1000, 0), (2000, 0)]) == pytest.approx(0.0, abs=1e-9)
    assert off_line_mm([(0, 0), (1000, 0)]) == 0.0
    assert off_line_mm([(-1000, 0), (0, 90), (1000, 0)]) == pytest.approx(60.0)
