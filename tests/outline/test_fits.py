"""Fitted lines and circles against published values, numpy and scipy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize

from nesting.outline.arcs import arc_spread, bulge_over, bulge_through
from nesting.outline.fits import fit_circle, fit_line, worst_circle_sigma

GANDER = [(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)]
"""W. Gander, G. H. Golub, R. Strebel, Least-squares fitting of circles and ellipses, BIT 34, 1994: centre
(4.7398, 2.9835), radius 4.7142 for the geometric fit (values from memory)."""


def test_circle_of_a_published_example():
    fit = fit_circle(GANDER)
    assert fit.center == pytest.approx((4.7398, 2.9835), abs=1e-4)
    assert fit.radius_mm == pytest.approx(4.7142, abs=1e-4)


@given(seed=st.integers(0, 10_000), radius=st.floats(5.0, 500.0), sweep=st.floats(100.0, 360.0))
def test_circle_agrees_with_a_general_minimiser(seed: int, radius: float, sweep: float):
    rng = np.random.default_rng(seed)
    angles = np.radians(np.linspace(0.0, sweep, 12))
    points = (
        radius * np.column_stack([np.cos(angles), np.sin(angles)]) + rng.normal(0.0, 0.3, (12, 2)) + (800.0, -300.0)
    )
    fit = fit_circle(points)

    def misses(v: np.ndarray) -> float:
        return float(((np.hypot(*(points - v[:2]).T) - v[2]) ** 2).sum())

    near = (*(fit.center + 0.05), fit.radius_mm - 0.05)
    found = minimize(misses, near, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-12})
    assert misses(np.array([*fit.center, fit.radius_mm])) <= found.fun + 1e-6


@given(seed=st.integers(0, 10_000), turn=st.floats(0.0, 360.0))
def test_line_agrees_with_the_eigenvectors_of_numpy(seed: int, turn: float):
    rng = np.random.default_rng(seed)
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    points = np.column_stack([np.linspace(0, 900, 9), rng.normal(0.0, 0.4, 9)]) @ np.array([[c, s], [-s, c]])
    fit = fit_line(points)
    _, axes = np.linalg.eigh(np.cov(points.T))
    assert abs(float(fit.direction @ axes[:, 1])) == pytest.approx(1.0, abs=1e-9)
    assert fit.direction @ (points[-1] - points[0]) > 0.0
    assert fit.off.sum() == pytest.approx(0.0, abs=1e-8)


def test_points_that_hold_no_circle_or_line():
    with pytest.raises(ValueError, match="in one line"):
        fit_circle([(0, 0), (1, 1), (5, 5)])
    with pytest.raises(ValueError, match="all points are one"):
        fit_line([(1, 1), (1, 1)])


def test_circle_deviation_agrees_with_the_scatter():
    """Points on half a circle hold its far side badly: the worst place of the edge is told."""
    rng = np.random.default_rng(4)
    angles = np.radians(np.linspace(0.0, 180.0, 9))
    true = 100.0 * np.column_stack([np.cos(angles), np.sin(angles)])
    stated = worst_circle_sigma(fit_circle(true))
    bottoms = []
    for _ in range(400):
        fit = fit_circle(true + rng.normal(0.0, 1.0, true.shape))
        bottoms.append(fit.center[1] - fit.radius_mm)
    assert np.std(bottoms) == pytest.approx(stated, rel=0.15)
    assert stated > 1.0


@given(st.floats(-300.0, 300.0).filter(lambda d: abs(d) > 1.0), st.floats(0.1, 0.9))
def test_bulge_over_a_point_leads_through_it(sweep_deg: float, at: float):
    radius, half = 250.0, math.radians(sweep_deg)
    start, through, end = ((radius * math.cos(t), radius * math.sin(t)) for t in (0.0, at * half, half))
    assert bulge_through(start, through, end) == pytest.approx(math.tan(half / 4), rel=1e-6)
    more = [(radius * math.cos(t), radius * math.sin(t)) for t in (0.3 * half, 0.6 * half)]
    assert bulge_over(start, [through, *more], end) == pytest.approx(math.tan(half / 4), rel=1e-6)


def test_a_middle_point_holds_an_arc_best():
    start, end = (100.0, 0.0), (-100.0, 0.0)
    middle, aside = (0.0, 100.0), (100 * math.cos(0.3), 100 * math.sin(0.3))
    assert 1.0 <= arc_spread(start, middle, end) < 1.2
    assert arc_spread(start, aside, end) > 2.0
