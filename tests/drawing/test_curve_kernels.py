"""Pieces of curves, clamped splines, affine maps and biarcs against slow and obvious versions."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nesting.drawing.affine import Affine
from nesting.drawing.biarcs import as_arcs
from nesting.drawing.pieces import parameter_of, piece_between
from nesting.drawing.splines import between, clamped, domain
from nesting.geometry.curves import Arc, EllipseArc, Line, Piece, Spline

SIZES = st.floats(-100, 100)
POINTS = st.tuples(SIZES, SIZES)


def basis(i: int, p: int, t: float, knots: tuple[float, ...]) -> float:
    """Cox-de Boor recursion (de Boor, A Practical Guide to Splines), as written."""
    if p == 0:
        return 1.0 if knots[i] <= t < knots[i + 1] else 0.0
    left = knots[i + p] - knots[i]
    right = knots[i + p + 1] - knots[i + 1]
    a = (t - knots[i]) / left * basis(i, p - 1, t, knots) if left else 0.0
    b = (knots[i + p + 1] - t) / right * basis(i + 1, p - 1, t, knots) if right else 0.0
    return a + b


def naive(spline: Spline, t: float) -> tuple[float, float]:
    """Point of a spline straight from its definition."""
    w = spline.weights or (1.0,) * len(spline.control)
    n = [basis(i, spline.degree, t, spline.knots) * w[i] for i in range(len(w))]
    x, y = np.array(n) @ np.array(spline.control) / sum(n)
    return float(x), float(y)


@st.composite
def splines(draw: st.DrawFn) -> Spline:
    """Clamped and unclamped, rational and not, degree 1 to 5, knots from anywhere."""
    degree = draw(st.integers(1, 5))
    control = draw(st.lists(POINTS, min_size=degree + 2, max_size=degree + 6))
    steps = draw(st.lists(st.floats(0.1, 3), min_size=len(control) + degree, max_size=len(control) + degree))
    knots = np.concatenate([[0.0], np.cumsum(steps)]) + draw(st.sampled_from([0.0, -7.0, 3.5]))
    if draw(st.booleans()):
        knots[:degree], knots[-degree:] = knots[degree], knots[-degree - 1]
    weights = draw(st.one_of(st.just([]), st.lists(st.floats(0.3, 3), min_size=len(control), max_size=len(control))))
    return Spline(degree=degree, control=tuple(control), knots=tuple(map(float, knots)), weights=tuple(weights))


@given(splines(), st.floats(0.0, 0.6), st.floats(0.1, 0.4))
def test_piece_of_a_spline_is_the_same_curve(spline: Spline, start: float, length: float) -> None:
    low, high = domain(spline)
    t0, t1 = low + start * (high - low), low + (start + length) * (high - low)

    piece = between(spline, t0, t1)

    for part in (0.0, 0.17, 0.5, 0.83, 0.999999):
        t = part * (t1 - t0)
        assert math.dist(naive(piece, t), naive(spline, t0 + t)) < 1e-6
    assert piece.knots[0] == 0.0
    assert math.dist(piece.start, naive(spline, t0)) < 1e-6


@given(splines())
def test_clamping_changes_nothing(spline: Spline) -> None:
    made = clamped(spline)
    low, high = domain(spline)

    assert made.knots[0] == made.knots[made.degree] == 0.0
    for part in (0.0, 0.31, 0.77, 0.999):
        t = part * (high - low)
        assert math.dist(made.at(t), naive(spline, low + t)) < 1e-6


PIECES: list[Piece] = [
    Line(start=(1, 2), end=(30, -7)),
    Arc(center=(5, 5), radius_mm=20, start_deg=200, sweep_deg=250),
    Arc(center=(5, 5), radius_mm=20, start_deg=10, sweep_deg=-100),
    EllipseArc(center=(1, 1), major=(30, 10), ratio=0.3, start_deg=300, sweep_deg=170),
    EllipseArc(center=(1, 1), major=(30, 10), ratio=0.3, start_deg=30, sweep_deg=-170),
    Spline(degree=3, control=((0, 0), (10, 40), (50, -20), (60, 30)), knots=(0, 0, 0, 0, 2, 2, 2, 2)),
]


@pytest.mark.parametrize("piece", PIECES, ids=lambda p: p.type)
@pytest.mark.parametrize("t", [0.0, 0.2, 0.5, 0.9, 1.0])
def test_parameter_and_piece_agree(piece: Piece, t: float) -> None:
    place = piece.start if t == 0.0 else piece_between(piece, 0.0, t).end

    assert parameter_of(piece, place) == pytest.approx(t, abs=1e-6)
    if 0.0 < t < 1.0:
        first, second = piece_between(piece, 0.0, t), piece_between(piece, t, 1.0)
        assert math.dist(first.end, second.start) < 1e-9
        assert first.length_mm + second.length_mm == pytest.approx(piece.length_mm, rel=1e-9)


@given(st.tuples(SIZES, SIZES, SIZES, SIZES, SIZES, SIZES), st.sampled_from(PIECES))
def test_affine_maps_every_point(numbers: tuple[float, ...], piece: Piece) -> None:
    affine = Affine(*numbers)
    size = max(abs(v) for v in numbers[:4])
    if abs(affine.determinant) < 1e-2 * size * size or size < 1e-2:
        return

    (made,) = affine.curves(piece)

    for t in (0.0, 0.25, 0.6, 1.0):
        place = affine.point(piece.start if t == 0.0 else piece_between(piece, 0.0, t).end)
        end = made.start if t == 0.0 else piece_between(made, 0.0, t).end  # type: ignore[arg-type]
        assert math.dist(place, end) < 1e-6 * max(size, 1.0)


def test_affine_that_flattens_is_refused() -> None:
    with pytest.raises(ValueError, match="flat"):
        Affine(1, 0, 0, 0).curves(PIECES[1])


@pytest.mark.parametrize("curve", [p for p in PIECES if isinstance(p, EllipseArc | Spline)], ids=lambda p: p.type)
@pytest.mark.parametrize("tolerance", [0.1, 0.0005])
def test_biarcs_stay_within_tolerance_and_are_few(curve: EllipseArc | Spline, tolerance: float) -> None:
    made = as_arcs(curve, tolerance)

    assert math.dist(made.start, curve.start) < 1e-9 and math.dist(made.end, curve.end) < 1e-9
    for t in np.linspace(0.0, 1.0, 400)[1:-1]:
        place = piece_between(curve, 0.0, float(t)).end
        away = min(
            math.dist(piece_between(arc, 0, u).end, place) for arc in made.pieces if (u := parameter_of(arc, place)) > 0
        )
        assert away < tolerance
    assert len(made.pieces) <= (24 if tolerance == 0.1 else 120)
    assert made.length_mm == pytest.approx(curve.length_mm, rel=1e-3 * tolerance**0.5)


def test_whole_ellipse_becomes_a_closed_polyline_of_arcs() -> None:
    ellipse = EllipseArc(center=(0, 0), major=(100, 0), ratio=0.5, start_deg=0, sweep_deg=360)

    made = as_arcs(ellipse, 0.0005)

    assert made.closed
    assert made.swept_area_mm2 == pytest.approx(15707.963, abs=0.05)
