"""A lens measured from pictures of a marker sheet, and a plate by one sheet of paper with it."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from photo_scenes import error, eye, odd_plate, paper_beside, render

from nesting.errors import InputError
from nesting.outline.photo.calibrate import adjusted, calibrate
from nesting.outline.photo.lens import Lens
from nesting.outline.photo.marks import Ask
from nesting.outline.photo.photo import from_photo
from nesting.outline.photo.picture import read_picture
from nesting.outline.photo.sheets import SeenSheet, inner_corners

WIDTH = 1200
MIDDLE = np.array([4.0, -3.0])


@pytest.fixture(scope="module")
def lens() -> Lens:
    """From ten views of a sheet, corners scattering by 0.1 pixel."""
    rng = np.random.default_rng(99)
    views = []
    for k in range(10):
        view = eye(rng, width=WIDTH, look_at=rng.uniform(-120, 300, 2), height_mm=560, lean_deg=38, middle=MIDDLE)
        flat = inner_corners()
        pixels = view.pixels(np.column_stack([flat, np.zeros(len(flat))])) + rng.normal(0, 0.1, flat.shape)
        seen = SeenSheet(number=0, on_sheet=flat, pixels=pixels, outline=pixels[:4], paper=pixels[:4], blur_px=2.0)
        views.append((Path(f"sheet {k}.png"), seen))
    found = adjusted(views, WIDTH, WIDTH * 3 // 4)
    assert found.residual_px < 0.25
    return found.lens


def test_the_lens_is_found_within_its_deviations(lens: Lens):
    true = np.array([np.log(0.78 * WIDTH), (WIDTH - 1) / 2 + MIDDLE[0], (WIDTH * 3 / 4 - 1) / 2 + MIDDLE[1]])
    off = abs(lens.values[:3] - true) / np.sqrt(np.diag(lens.covariance)[:3])
    assert off.max() < 4.0
    assert lens.values[0] == pytest.approx(true[0], abs=0.01)


def test_a_plate_by_one_sheet_of_paper(lens: Lens, tmp_path: Path):
    rng = np.random.default_rng(4)
    plate = odd_plate(rng, 600.0)
    x0, y0, x1, y1 = plate.bounds
    at = np.array([(x0 + x1) / 2, (y0 + y1) / 2 - 60])
    view = eye(rng, width=WIDTH, look_at=at, height_mm=1100, middle=MIDDLE)
    scene = render(rng, view, plate, thickness_mm=6, papers=[paper_beside(rng, plate)], shadow=0.8, clutter=3)
    path = tmp_path / "plate.jpg"
    cv2.imwrite(str(path), scene.picture)
    ask = Ask(thickness_mm=6.0, sheet="A4", sheet_mm=(210.0, 297.0))
    found = from_photo(read_picture(path), ask, lens)
    off = error(scene, found)
    assert len(found.captured.holes) == 2
    assert off.most < 3.0
    assert off.worst <= found.captured.uncertainty_mm
    unknown = from_photo(read_picture(path), ask)
    assert unknown.captured.uncertainty_mm > found.captured.uncertainty_mm
    with pytest.raises(InputError, match="the lens file is for"):
        from_photo(read_picture(path), ask, Lens.usual(900, 900))


def test_pictures_that_make_no_lens_are_refused(tmp_path: Path):
    bare = tmp_path / "bare.png"
    cv2.imwrite(str(bare), np.tile(np.linspace(40, 220, 1200), (3, 900, 1)).transpose(1, 2, 0).astype(np.uint8))
    with pytest.raises(InputError, match="give 5 or more"):
        calibrate([bare] * 3)
    with pytest.raises(InputError, match=r"bare.png: no marker sheet found"):
        calibrate([bare] * 5)
