"""Plate files: what is written is read again, nest takes them, and faults are told with their lines."""

from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies import corners

from nesting.errors import InputError, JobError
from nesting.files.job import make_job
from nesting.files.plate_file import CaptureEntry, StoredPlate, read_plate_file, write_plate_file
from nesting.geometry.contour import Contour
from nesting.geometry.curves import EllipseArc, Line, circle
from nesting.geometry.tape_checks import sharp_corners, tape_checks
from nesting.outline.rings import ring
from nesting.plate import Capture, KeepOut, Plate
from nesting.steps.order import resolve

BENT = ring([(0, 0, 0), (1000, 0, 0), (1000, 500, 0.41421356), (500, 1000, 0), (0, 1000, 0)], "test")


HEAD = 'schema = "oddplate-plate/1"\nunits = "mm"\n'
CLAMP = KeepOut(contour=Contour.of_points([(1, 1), (9, 1), (9, 9)]), kind="no part, lead or rapid", reason="clamp")


def stored(**given_: object) -> StoredPlate:
    plate = Plate(**{"name": "p", "outer": BENT, "captured": "tapes", **given_})  # type: ignore[arg-type]
    return StoredPlate(plate=plate, capture=CaptureEntry(way="tapes"))


def test_everything_comes_back(tmp_path: Path):
    path = tmp_path / "my plate.toml"
    plate = Plate(
        name='odd "A"\\1',
        outer=BENT,
        holes=(Contour(curves=(circle((300.0, 300.0), 40.0),)),),
        keep_outs=(CLAMP,),
        thickness_mm=6.35,
        grade="S235JR",
        heat="H 7",
        certificate="3.1/0815",
        grain_deg=12.5,
        captured="torch readouts",
        uncertainty_mm=1.25,
        parent="sheet 4",
        place="rack B",
    )
    capture = CaptureEntry(
        way="torch readouts",
        set_up_by=((0.0, 1.5), (1000.0, 0.0)),
        who="N. N.",
        when=date(2026, 1, 2),
        photo="p 1.jpg",
        notes=("one", "two"),
    )
    write_plate_file(StoredPlate(plate=plate, capture=capture), path)
    back = read_plate_file(path)
    assert back.capture == capture
    same = ("name", "thickness_mm", "grade", "heat", "certificate", "grain_deg", "captured", "uncertainty_mm", "parent")
    for key in (*same, "place"):
        assert getattr(back.plate, key) == getattr(plate, key), key
    laid_out = back.to_lay_out.capture
    assert laid_out == Capture(
        who="N. N.", when=date(2026, 1, 2), photo="p 1.jpg", set_up_by=((0.0, 1.5), (1000.0, 0.0))
    ), "who took the outline goes with the plate to the cut sheet"
    assert back.plate.area_mm2 == pytest.approx(plate.area_mm2, rel=1e-9)
    assert [(k.kind, k.reason) for k in back.plate.keep_outs] == [("no part, lead or rapid", "clamp")]


@given(corners(3, 10), st.floats(0.0, 50.0))
def test_outlines_survive(tmp_path_factory: pytest.TempPathFactory, points: list, uncertainty: float):
    path = tmp_path_factory.mktemp("plates") / "p.toml"
    outer = Contour.of_points(points)
    write_plate_file(stored(outer=outer, uncertainty_mm=uncertainty), path)
    back = read_plate_file(path).plate
    assert back.area_mm2 == pytest.approx(outer.area_mm2, abs=1e-3)
    assert back.uncertainty_mm == pytest.approx(uncertainty, abs=1e-4)


def test_ellipses_become_arcs(tmp_path: Path):
    half = EllipseArc(center=(0.0, 0.0), major=(300.0, 0.0), ratio=0.5, start_deg=0.0, sweep_deg=180.0)
    outer = Contour(curves=(half, Line(start=half.end, end=half.start)))
    write_plate_file(stored(outer=outer), tmp_path / "e.toml")
    assert read_plate_file(tmp_path / "e.toml").plate.area_mm2 == pytest.approx(outer.area_mm2, rel=1e-5)


def test_a_file_that_is_there_stays(tmp_path: Path):
    path = tmp_path / "p.toml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="exists already; use --force"):
        write_plate_file(stored(), path)
    assert path.read_text(encoding="utf-8") == "mine"
    write_plate_file(stored(), path, force=True)
    assert read_plate_file(path).plate.name == "p"
    assert list(tmp_path.iterdir()) == [path]


def test_faults_are_told_with_their_lines(tmp_path: Path):
    path = tmp_path / "p.toml"
    path.write_text(HEAD + "[plate]\ncorners = [[0, 0], [9, 0]]\nthicknes = 6\n", encoding="utf-8")
    with pytest.raises(JobError, match=r"p.toml, line 5: plate.thicknes: unknown key; did you mean 'thickness'"):
        read_plate_file(path)
    path.write_text(HEAD + "[plate]\ncorners = [[0, 0], [9, 9], [9, 0], [0, 9]]\n", encoding="utf-8")
    with pytest.raises(JobError, match=r"p.toml: plate.corners: the corners bound no plain area"):
        read_plate_file(path)
    path.write_text(HEAD + '[plate]\ndrawing = "a.dxf"\n', encoding="utf-8")
    with pytest.raises(JobError, match="a plate file holds the corners themselves"):
        read_plate_file(path)


def test_a_job_takes_a_plate_file_and_what_it_says_besides(tmp_path: Path):
    write_plate_file(stored(uncertainty_mm=2.5, thickness_mm=6.0), tmp_path / "p.toml")
    demo = Path(__file__).parents[2] / "data" / "demo"
    job = make_job(
        {
            "plate": {"drawing": str(tmp_path / "p.toml"), "heat": "H9"},
            "clearances": {"kerf": 1.6, "gap": 6.0, "margin": 9.0},
            "units": "mm",
            "part": [{"drawing": str(demo / "bracket.dxf")}],
        }
    )
    order = resolve(job)
    plate = order.plate
    facts = next(d for d in order.drawings if d.role == "plate")
    assert (facts.unit, facts.unit_reason) == ("mm", "units of the plate file"), "the report told no unit before"
    assert "laid on" not in plate.captured
    assert (plate.name, plate.heat, plate.thickness_mm, plate.captured) == ("p", "H9", 6.0, "tapes")
    assert plate.uncertainty_mm == 2.5
    assert plate.area_mm2 == pytest.approx(BENT.area_mm2, rel=1e-9)


def test_three_distances_to_tape():
    square = Contour.of_points([(0, 0), (1200, 0), (1200, 800), (600, 800.5), (0, 800)])
    assert len(sharp_corners(square)) == 4  # nobody hooks a tape on a corner of a tenth of a degree
    checks = tape_checks(square)
    assert sorted(round(c.length_mm) for c in checks)[1:] == [1442, 1442]
    round_ = tape_checks(Contour(curves=(circle((0.0, 0.0), 250.0),)))
    assert [c.length_mm for c in round_] == pytest.approx([500.0] * 3, abs=2.0)


def test_the_corners_to_set_up_by_reach_the_report():
    set_up = CaptureEntry(way="tapes", set_up_by=((0.0, 0.0), (1000.0, 500.0)))
    told = StoredPlate(plate=stored().plate, capture=set_up).to_lay_out.captured
    assert told == "tapes, to be laid on the table by its corners at (0.0, 0.0) and (1000.0, 500.0) mm"
