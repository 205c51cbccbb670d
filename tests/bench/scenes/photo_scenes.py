"""Outlines from rendered pictures of known plates, and pictures that are refused with the reason."""

import json
import math
from pathlib import Path

import cv2
import numpy as np
import pytest
from photo_scenes import Scene, error, eye, odd_plate, papers_round, render
from PIL import Image

from cli.main import main
from nesting.errors import InputError
from nesting.outline.pasted import Pasted
from nesting.outline.photo.corrected import by_points, points_text
from nesting.outline.photo.marks import Ask
from nesting.outline.photo.photo import Photo, check_taped, from_photo
from nesting.outline.photo.picture import read_picture
from nesting.plate_file import read_plate_file

THICK_MM = 4.0
ASK = Ask(thickness_mm=THICK_MM, ruler_mm=180.0)


@pytest.fixture(autouse=True, scope="module")
def one_thread():
    cv2.setNumThreads(1)


@pytest.fixture(scope="module")
def scene() -> Scene:
    rng = np.random.default_rng(3)
    plate = odd_plate(rng, 600.0)
    x0, y0, x1, y1 = plate.bounds
    view = eye(rng, width=1600, look_at=np.array([(x0 + x1) / 2, (y0 + y1) / 2]), height_mm=950)
    return render(rng, view, plate, thickness_mm=THICK_MM, papers=papers_round(rng, plate), clutter=3)


@pytest.fixture(scope="module")
def picture(scene: Scene, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("photo") / "odd plate.jpg"
    cv2.imwrite(str(path), scene.picture, [cv2.IMWRITE_JPEG_QUALITY, 94])
    return path


@pytest.fixture(scope="module")
def found(picture: Path) -> Photo:
    return from_photo(read_picture(picture), ASK)


def kept(scene: Scene, tmp_path: Path, pixels: np.ndarray) -> Path:
    path = tmp_path / "changed.png"
    cv2.imwrite(str(path), pixels)
    return path


def test_outline_and_holes_are_found_within_the_bound(scene: Scene, found: Photo):
    off = error(scene, found)
    assert len(found.captured.holes) == len(scene.plate.interiors) == 2
    assert off.most <= 1.6  # at 0.8 mm a pixel; a 12 Mpx picture has more
    assert off.worst <= found.captured.uncertainty_mm
    assert 1.0 < found.captured.uncertainty_mm < 6.0


def test_a_turned_camera_gives_the_same_plate(found: Photo, picture: Path, tmp_path: Path):
    """The pixels lie on their side and Exif says so (tag 0x0112, value 6: turn clockwise to see it upright)."""
    turned = tmp_path / "turned.jpg"
    with Image.open(picture) as image:
        notes = Image.Exif()
        notes[0x0112] = 6
        image.transpose(Image.Transpose.ROTATE_90).save(turned, exif=notes, quality=97)
    read = read_picture(turned)
    assert read.pixels.shape == read_picture(picture).pixels.shape
    again = from_photo(read, ASK)
    assert again.captured.outer.area_mm2 == pytest.approx(found.captured.outer.area_mm2, rel=0.005)


def test_points_written_out_give_the_plate_again(found: Photo, picture: Path):
    text = points_text(found)
    again = by_points(read_picture(picture), ASK, Pasted(name="points", text=text))
    assert again.captured.outer.area_mm2 == pytest.approx(found.captured.outer.area_mm2, rel=2e-3)
    assert len(again.captured.holes) == 2


def test_points_outside_the_picture_are_refused(picture: Path):
    with pytest.raises(InputError, match=r"points, line 2.*outside the picture"):
        by_points(read_picture(picture), ASK, Pasted(name="points", text="100,100\n9000,100\n500,500"))


def test_a_taped_length_checks_the_scale(found: Photo):
    corners = found.captured.figures["corners"]
    length = math.dist(*((c["x_mm"], c["y_mm"]) for c in (corners[0], corners[3])))
    told = check_taped(found.captured, "1", "4", length + 0.5)
    assert "scale checked: 1 to 4" in told.notes[-1]
    with pytest.raises(InputError, match="differ by more than"):
        check_taped(found.captured, "1", "4", length * 1.05)
    with pytest.raises(InputError, match="no corner 99"):
        check_taped(found.captured, "1", "99", 100.0)


def test_an_unread_ruler_widens_the_bound(found: Photo, picture: Path):
    unread = from_photo(read_picture(picture), Ask(thickness_mm=THICK_MM))
    assert unread.captured.uncertainty_mm > found.captured.uncertainty_mm
    assert any("--ruler" in w for w in unread.captured.warnings)


def test_without_thickness_the_face_has_no_known_height(picture: Path):
    with pytest.raises(InputError, match="--thickness, or lay them on the plate"):
        from_photo(read_picture(picture), Ask(ruler_mm=180.0))


def test_bad_light_is_refused(scene: Scene, tmp_path: Path):
    with pytest.raises(InputError, match="too dark"):
        read_picture(kept(scene, tmp_path, (scene.picture * 0.1).astype(np.uint8)))
    with pytest.raises(InputError, match="too bright"):
        read_picture(kept(scene, tmp_path, np.clip(scene.picture.astype(int) * 4, 0, 255).astype(np.uint8)))


def test_missing_markers_are_refused(scene: Scene, tmp_path: Path):
    bare = scene.picture.copy()
    for paper in scene.papers:
        seen = scene.eye.pixels(np.column_stack([paper.corners, np.zeros(4)]))
        cv2.fillConvexPoly(bare, np.round(seen).astype(np.int32), (150, 156, 160))
    with pytest.raises(InputError, match="no marker sheets found"):
        from_photo(read_picture(kept(scene, tmp_path, bare)), ASK)


def test_a_blurred_picture_is_refused(scene: Scene, tmp_path: Path):
    with pytest.raises(InputError, match="blurred"):
        from_photo(read_picture(kept(scene, tmp_path, cv2.GaussianBlur(scene.picture, (0, 0), 6.0))), ASK)


def test_a_plate_cut_by_the_frame_is_refused(scene: Scene, found: Photo, tmp_path: Path):
    left = int(found.rings[0][:, 0].min()) + 60
    with pytest.raises(InputError, match="runs into the left rim"):
        from_photo(read_picture(kept(scene, tmp_path, scene.picture[:, left:])), ASK)


def test_what_is_no_picture_is_refused(tmp_path: Path):
    path = tmp_path / "none.jpg"
    path.write_text("no picture", encoding="utf-8")
    with pytest.raises(InputError, match="no picture that can be read"):
        read_picture(path)


def test_the_command_writes_plate_outline_and_points(picture: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    out, points = tmp_path / "odd 7.toml", tmp_path / "odd 7.csv"
    args = ["plate", "photo", str(picture), "--thickness", "4", "--ruler", "180", "--json", "--out", str(out)]
    assert main([*args, "--points-out", str(points)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["way"], told["holes"]) == ("photo", 2)
    assert read_plate_file(out).plate.uncertainty_mm == pytest.approx(told["uncertainty_mm"], abs=1e-3)
    assert (tmp_path / "odd 7-over.png").read_bytes().startswith(b"\x89PNG")
    assert "hole circle" in points.read_text(encoding="utf-8")
    assert main(args) == 2  # nothing is replaced
    assert "exists already" in capsys.readouterr().err


def test_the_command_says_what_it_cannot_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["plate", "photo", str(tmp_path / "none.jpg")]) == 2
    assert "none.jpg: cannot be read" in capsys.readouterr().err
    assert main(["plate", "photo", "x.jpg", "--known", "1,2,3"]) == 2
    assert "--known 1,2,3: expected pixels = mm" in capsys.readouterr().err
    assert main(["plate", "lens", "a.jpg", "--out", str(tmp_path / "lens.toml")]) == 2
    assert "give 5 or more" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_four_known_points_stand_in_for_sheets(scene: Scene, picture: Path, found: Photo):
    spots = [p.corners[0] for p in scene.papers]
    seen = scene.eye.pixels(np.column_stack([spots, np.zeros(len(spots))]))
    known = tuple((*px, *mm) for px, mm in zip(seen.tolist(), np.array(spots).tolist(), strict=True))
    by_known = from_photo(read_picture(picture), Ask(thickness_mm=THICK_MM, points=known))
    assert by_known.captured.outer.area_mm2 == pytest.approx(found.captured.outer.area_mm2, rel=0.01)
    assert by_known.captured.uncertainty_mm > found.captured.uncertainty_mm
    with pytest.raises(InputError, match="3 known points; four or more"):
        from_photo(read_picture(picture), Ask(thickness_mm=THICK_MM, points=known[:3]))
    line = tuple((100.0 * k, 100.0, 50.0 * k, 0.0) for k in range(5))
    with pytest.raises(InputError, match="lie in one line"):
        from_photo(read_picture(picture), Ask(thickness_mm=THICK_MM, points=line))
