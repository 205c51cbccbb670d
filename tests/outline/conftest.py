"""One rendered scene for all tests of pictures: a plate of 420 mm at 0.8 mm a pixel, six marker sheets round it."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from photo_scenes import Scene, eye, odd_plate, papers_round, render

from nesting.outline.photo.marks import Ask
from nesting.outline.photo.photo import Photo, from_photo
from nesting.outline.photo.picture import read_picture

THICK_MM = 4.0


@pytest.fixture(autouse=True, scope="session")
def one_thread():
    cv2.setNumThreads(1)


@pytest.fixture(scope="session")
def ask() -> Ask:
    return Ask(thickness_mm=THICK_MM, ruler_mm=180.0)


@pytest.fixture(scope="session")
def scene() -> Scene:
    rng = np.random.default_rng(3)
    plate = odd_plate(rng, 420.0)
    x0, y0, x1, y1 = plate.bounds
    view = eye(rng, width=1200, look_at=np.array([(x0 + x1) / 2, (y0 + y1) / 2]), height_mm=720)
    return render(rng, view, plate, thickness_mm=THICK_MM, papers=papers_round(rng, plate), clutter=3)


@pytest.fixture(scope="session")
def picture(scene: Scene, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("photo") / "odd plate.jpg"
    cv2.imwrite(str(path), scene.picture, [cv2.IMWRITE_JPEG_QUALITY, 94])
    return path


@pytest.fixture(scope="session")
def found(picture: Path, ask: Ask) -> Photo:
    return from_photo(read_picture(picture), ask)
