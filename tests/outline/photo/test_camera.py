"""Camera and lens from points of known places, without noise and with it; lens files; pieces of an edge."""

import math
import re
import zlib
from pathlib import Path

import numpy as np
import pytest
from photo_scenes import Eye, eye

from nesting.errors import InputError
from nesting.outline.photo.camera import Known, find_camera
from nesting.outline.photo.lens import Lens, rays_of, read_lens_file, seen, write_lens_file
from nesting.outline.photo.marks import Ask, Marks, camera_of
from nesting.outline.photo.pieces import straighten
from nesting.outline.photo.printed import write_marker_sheets

RNG = np.random.default_rng(5)


def view() -> Eye:
    return eye(np.random.default_rng(2), width=4000, look_at=np.array([600.0, 400.0]), height_mm=1700)


def exact_lens(camera: Eye) -> Lens:
    values = np.array([math.log(camera.focal_px), *camera.middle, *camera.bend[:2]])
    spread = np.diag([1e-4, 0.5, 0.5, 1e-3, 1e-3]) ** 2
    return Lens(width=camera.width, height=camera.height, values=values, covariance=spread, calibrated=True)


def sheet(camera: Eye, x: float, y: float, noise: float = 0.0) -> Known:
    flat = np.array([(a, b) for a in (0.0, 90.0, 180.0) for b in (0.0, 110.0, 225.0)])
    pixels = camera.pixels(np.column_stack([flat + [x, y], np.zeros(len(flat))]))
    return Known(flat=flat, pixels=pixels + RNG.normal(0.0, noise, pixels.shape))


def test_bend_is_undone():
    lens = exact_lens(view())
    pixels = RNG.uniform(0, 3000, (200, 2))
    np.testing.assert_allclose(seen(lens.values, rays_of(lens.values, pixels)), pixels, atol=1e-6)


def test_exact_points_give_the_exact_face():
    """The face 10 mm above the sheets is seen in its true size, not blown up by its height."""
    camera = view()
    sheets = [sheet(camera, x, y) for x, y in ((-150, 0), (1150, 30), (500, 800), (450, -300))]
    found = find_camera(sheets, exact_lens(camera), rise_mm=10.0, rise_sigma_mm=0.1, stretch_sigma=(1e-5, 1e-5))
    face = np.array([(0.0, 0.0), (1200.0, 0.0), (1200.0, 700.0), (0.0, 700.0)])
    got = found.on_face(camera.pixels(np.column_stack([face, np.full(4, 10.0)])))
    sides = [math.dist(got[k], got[k - 2 if k > 1 else k + 1]) for k in range(2)]
    assert sides[0] == pytest.approx(1200.0, abs=0.05)
    assert np.hypot(*(got[2] - got[0])) == pytest.approx(math.hypot(1200.0, 700.0), abs=0.05)


def test_the_stated_scatter_is_that_of_trials():
    camera = view()
    face = np.array([(0.0, 0.0), (1200.0, 700.0)])
    pixels = camera.pixels(np.column_stack([face, np.full(2, 6.0)]))
    lengths, stated = [], []
    for _ in range(30):
        sheets = [sheet(camera, x, y, 0.15) for x, y in ((-150, 0), (1150, 30), (500, 800))]
        found = find_camera(sheets, exact_lens(camera), rise_mm=6.0, rise_sigma_mm=1e-3, stretch_sigma=(1e-6, 1e-6))
        got, spread = found.on_face(pixels), found.spread(pixels)
        lengths.append(math.dist(*got))
        unit = (got[1] - got[0]) / math.dist(*got)
        stated.append(np.linalg.norm(np.concatenate([-unit, unit]) @ spread))
    assert np.std(lengths) == pytest.approx(np.mean(stated), rel=0.5)
    assert np.mean(lengths) == pytest.approx(math.hypot(1200.0, 700.0), abs=0.3)


def test_a_lens_file_comes_back(tmp_path: Path):
    lens = exact_lens(view())
    path = tmp_path / "lens.toml"
    write_lens_file(lens, path, pictures=9, residual_px=0.2, force=False)
    back = read_lens_file(path)
    np.testing.assert_allclose(back.values, lens.values, rtol=1e-8)
    with pytest.raises(InputError, match="exists already"):
        write_lens_file(lens, path, pictures=9, residual_px=0.2, force=False)
    with pytest.raises(InputError, match="the lens file is for"):
        back.of_size(3000, 3000, "p.jpg")
    path.write_text("schema = 1", encoding="utf-8")
    with pytest.raises(InputError, match="no lens file"):
        read_lens_file(path)


def test_an_edge_becomes_lines_and_an_arc():
    corners = np.array([(0, 0), (400, 0), (400, 300), (0, 300)], dtype=float)
    bite = [(200 + 80 * math.cos(a), 300 + 80 * math.sin(a)) for a in np.linspace(0, -math.pi, 80)]
    ring = np.array([*corners[:3], *bite, corners[3]])
    closed = np.vstack([ring, ring[:1]])
    run = np.concatenate([[0.0], np.hypot(*np.diff(closed, axis=0).T).cumsum()])
    at = np.arange(0.0, run[-1], 2.0)
    points = np.column_stack([np.interp(at, run, closed[:, k]) for k in range(2)])
    found = straighten(points + RNG.normal(0, 0.1, points.shape), tolerance_mm=1.0, corner_mm=6.0)
    assert len(found.contour.pieces) == 6
    true = 400 * 300 - math.pi * 80**2 / 2
    assert found.contour.area_mm2 == pytest.approx(true, rel=0.005)
    assert found.contour.area_mm2 < true + 100.0  # on the safe side


def test_a_round_edge_becomes_a_circle_a_little_wider_as_a_hole():
    angles = np.arange(100) * 2 * math.pi / 100
    points = 50 * np.column_stack([np.cos(angles), np.sin(angles)]) + RNG.normal(0, 0.1, (100, 2))
    hole = straighten(points, tolerance_mm=1.0, corner_mm=6.0, left=False)
    assert len(hole.contour.pieces) == 1
    assert math.pi * 49.9**2 < hole.contour.area_mm2 < math.pi * 50.5**2


def test_marker_sheets_are_a_pdf_true_to_scale(tmp_path: Path):
    path = tmp_path / "markers.pdf"
    write_marker_sheets(path, paper="A4", sheets=1)
    data = path.read_bytes()
    assert data.startswith(b"%PDF")
    assert b"/MediaBox [ 0 0 595.2755905512 841.8897637795 ]" in data.replace(b"\n", b" ")  # ISO 216 in points
    with pytest.raises(InputError, match="exists already"):
        write_marker_sheets(path)


def test_the_sheets_rulers_and_squares_are_as_long_as_they_say(tmp_path: Path):
    """Lengths in the PDF's own points, 1/72 in (ISO 32000-1, 8.3.2.3), of the pages' drawing commands."""
    for paper in ("A4", "Letter"):
        path = tmp_path / f"{paper}.pdf"
        write_marker_sheets(path, paper=paper, sheets=1)
        pages = [
            zlib.decompress(m[1])
            for m in re.finditer(rb"stream\r?\n(.*?)\r?\nendstream", path.read_bytes(), re.S)
            if m[1][:1] == b"x"
        ]
        lines = [
            [float(v) for v in m]
            for page in pages
            for m in re.findall(rb"([\d.]+) ([\d.]+) m\s+([\d.]+) ([\d.]+) l\s", page)
        ]
        lengths = np.array([math.hypot(c - a, d - b) for a, b, c, d in lines])
        assert abs(lengths - 180.0 / 25.4 * 72).min() < 0.01  # the ruler
        assert abs(lengths - 45.0 / 25.4 * 72).min() < 0.01  # a square's side


def test_a_sheet_lying_higher_than_the_others_is_refused():
    camera = view()
    sheets = [sheet(camera, x, y) for x, y in ((-150, 0), (1150, 30), (500, 800), (450, -300))]
    flat = sheets[0].flat
    high = camera.pixels(np.column_stack([flat + [-150, 0], 0.4 * flat[:, 0]]))  # leaning up to 72 mm
    bent = Marks(
        known=(Known(flat=flat, pixels=high), *sheets[1:]),
        outlines=(),
        papers=(),
        stretch_sigma=(5e-4, 5e-4),
        told="4 sheets",
    )
    with pytest.raises(InputError, match="does not fit one flat plane"):
        camera_of(Ask(thickness_mm=6.0), bent, exact_lens(camera))
    plain = Marks(known=tuple(sheets), outlines=(), papers=(), stretch_sigma=(5e-4, 5e-4), told="4 sheets")
    assert camera_of(Ask(thickness_mm=6.0), plain, exact_lens(camera)).residual_px < 0.1
