"""Outlines from rendered pictures of known plates, and pictures that are refused with the reason."""

import json
import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from photo_scenes import Scene, error, eye, papers_on, render
from PIL import Image
from shapely.geometry import Point, Polygon, box

from cli.main import main
from nesting.errors import InputError
from nesting.files.plate_file import read_plate_file
from nesting.outline.pasted import Pasted
from nesting.outline.photo import dragging, measured
from nesting.outline.photo.corrected import by_points, points_text
from nesting.outline.photo.marks import Ask
from nesting.outline.photo.photo import Photo, check_taped, from_photo
from nesting.outline.photo.picture import read_picture
from nesting.outline.photo.steel import Steel

THICK_MM = 4.0
ASK = Ask(thickness_mm=THICK_MM, ruler_mm=180.0)


def kept(scene: Scene, tmp_path: Path, pixels: np.ndarray) -> Path:
    path = tmp_path / "changed.png"
    cv2.imwrite(str(path), pixels)
    return path


def test_outline_and_holes_are_found_within_the_bound(scene: Scene, found: Photo):
    off = error(scene, found)
    assert len(found.captured.holes) == len(scene.plate.interiors) == 2
    assert off.worst <= found.captured.uncertainty_mm
    assert off.most <= 1.5
    assert 1.0 < found.captured.uncertainty_mm < 5.0


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


def test_points_of_a_hole_off_the_plate_are_refused_and_of_a_keep_out_told_of(found: Photo, picture: Path):
    away = "5,5\n25,5\n25,25\n"
    with pytest.raises(InputError, match=r"points, line \d+ \(hole\): lies outside of the outline"):
        by_points(read_picture(picture), ASK, Pasted(name="points", text=f"{points_text(found)}hole\n{away}"))
    text = f"{points_text(found)}keep-out\n{away}"
    told = by_points(read_picture(picture), ASK, Pasted(name="points", text=text)).captured.warnings
    assert any("(keep-out): no part of it lies on the plate" in t for t in told)


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


def test_sheets_on_the_plate_need_no_thickness(tmp_path: Path):
    rng = np.random.default_rng(8)
    plate = box(0, 0, 700, 480).difference(Point(640, 60).buffer(30))
    view = eye(rng, width=1200, look_at=np.array([350.0, 240.0]), height_mm=800)
    papers = papers_on(rng, plate, 2)
    scene = render(rng, view, plate, thickness_mm=5.0, papers=papers, clutter=3, on_plate=True)
    path = kept(scene, tmp_path, scene.picture)
    by_plate = from_photo(read_picture(path), Ask(ruler_mm=180.0, marks_on="plate"))
    off = error(scene, by_plate)
    assert len(papers) == 2
    assert len(by_plate.captured.holes) == 1
    assert off.most <= 1.5
    assert off.worst <= by_plate.captured.uncertainty_mm
    assert "sheets lie on the plate" in by_plate.captured.notes[0]


def test_a_part_of_the_plate_that_is_lost_is_seen_at_the_edge(picture: Path, monkeypatch: pytest.MonkeyPatch):
    """The cut between plate and floor is taken across the plate: on both sides of it is plate."""
    true = measured.find_steel

    def loses_a_corner(pixels: np.ndarray, **given: object) -> Steel:
        steel = true(pixels, **given)
        x0, y0, x1, y1 = Polygon(steel.edge).bounds
        left = Polygon(steel.edge).intersection(box(x0 - 9, y0 - 9, x0 + 0.7 * (x1 - x0), y1 + 9))
        largest = max(getattr(left, "geoms", [left]), key=lambda g: g.area)
        return replace(steel, edge=np.array(largest.exterior.coords)[:-1], holes=())

    monkeypatch.setattr(measured, "find_steel", loses_a_corner)
    with pytest.raises(InputError, match=r"cannot be told apart along .* of the plate's edge, worst about pixel"):
        from_photo(read_picture(picture), ASK)


def test_a_plate_of_the_floors_colour_is_refused(scene: Scene, tmp_path: Path):
    """All greys: only lightness tells plate from floor, which shadows change."""
    grey = cv2.cvtColor(cv2.cvtColor(scene.picture, cv2.COLOR_BGR2GRAY), cv2.COLOR_GRAY2BGR)
    with pytest.raises(InputError, match=r"too much of one colour|cannot be told apart|no plate found"):
        from_photo(read_picture(kept(scene, tmp_path, grey)), ASK)


def test_a_hole_in_deep_shadow_is_found(scene: Scene, tmp_path: Path):
    """Shadow over a hole makes the floor in it as dark as the plate."""
    dark = scene.picture.astype(np.float64)
    (hole, *_) = scene.plate.interiors
    middle = scene.eye.pixels(np.array([[*hole.centroid.coords[0], THICK_MM]]))[0]
    yy, xx = np.mgrid[: dark.shape[0], : dark.shape[1]]
    dark *= (0.35 + 0.65 / (1 + np.exp(-(np.hypot(xx - middle[0], yy - middle[1]) - 90) / 12)))[..., None]
    shaded = from_photo(read_picture(kept(scene, tmp_path, dark.round().astype(np.uint8))), ASK)
    assert len(shaded.captured.holes) == 2
    assert error(scene, shaded).most <= 1.5


def test_a_window_that_is_given_up_writes_nothing(
    picture: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
):
    out = tmp_path / "plate.toml"
    args = ["plate", "photo", str(picture), "--thickness", "4", "--ruler", "180", "--out", str(out), "--drag", "--json"]
    monkeypatch.setattr(dragging, "drag", lambda picture, text: None)  # noqa: ARG005
    assert main(args) == 1
    assert "given up; nothing written" in capsys.readouterr().err
    assert not out.exists()
    monkeypatch.setattr(dragging, "drag", lambda picture, text: text)  # noqa: ARG005
    assert main(args) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["holes"] == 2
    assert "points set in the picture" in told["basis"]
    assert out.exists()
