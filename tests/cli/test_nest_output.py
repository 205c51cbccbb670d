"""`oddplate nest`: how the drawing is written and whether lead-ins keep their room, from options and job file."""

import json
from pathlib import Path
from typing import Any

import ezdxf
import pytest

from cli.main import main
from nesting.drawing.layers import PART_INSIDE, PART_OUTSIDE, PIERCE_MARK
from nesting.files.layout_file import load_layout
from nesting.files.release import FILES, TRUE_SIZE

CLEAR = ("--kerf", "1.5", "--gap", "6", "--margin", "8", "--lead-in", "5", "--steps", "3")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to stand in, with a ring of 50 mm that has a hole of 20 mm and one of 8 mm."""
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 4
    for x, radius in ((0, 25), (0, 10), (18, 4)):
        document.modelspace().add_circle((x, 0), radius)
    document.saveas(tmp_path / "ring.dxf")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def nest(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, dict[str, Any], str]:
    code = main(["nest", *args, "--json"])
    out, err = capsys.readouterr()
    return code, json.loads(out) if out else {}, err


def test_everything_at_once(folder: Path, capsys: pytest.CaptureFixture[str]):
    ways = ("--dxf", "R2010", "--contours", "polylines", "--blocks", "--no-labels", "--no-plate-edge", "--svg")
    code, document, err = nest(
        capsys, "--plate", "200x130", "--part", "ring.dxf:4", *CLEAR, "--keep-lead-room", *ways, "--out", "a"
    )
    assert code == 0
    assert sorted(Path(f).name for f in document["files"]) == sorted((*FILES, TRUE_SIZE))
    assert load_layout(folder / "a" / "layout.json").clearances.keep_lead_room
    drawing = ezdxf.readfile(folder / "a" / "layout.dxf")
    space = drawing.modelspace()
    assert drawing.acad_release == "R2010"
    assert {e.dxf.layer for e in space} == {PART_OUTSIDE, PIERCE_MARK}
    (name,) = {e.dxf.name for e in space.query("INSERT")}
    assert [e.dxf.layer for e in drawing.blocks[name]] == [PART_INSIDE, PART_INSIDE, PART_OUTSIDE]
    assert {e.dxftype() for e in drawing.blocks[name]} == {"LWPOLYLINE"}
    assert len(space.query("POINT")) == 12 and document["without_lead"] == []
    # The small hole has room for a shorter lead-in only, which is said before the search and in the report.
    tale = "inside contour 2 round (18.0, 0.0) is too narrow for a lead-in of 5 mm: pierced in its middle, 4.00 mm"
    assert tale in err and any(tale in note for note in document["report"]["notes"])
    (travel,) = [f for f in document["report"]["figures"] if f["key"] == "rapid_travel"]
    assert 100 < travel["value"] < 1000 and travel["unit"] == "mm"


def test_leads_are_marked_without_room_kept_and_contours_without_one_are_named(
    folder: Path, capsys: pytest.CaptureFixture[str]
):
    """40 x 40 mm on 46 x 46 mm: no pierce is 5 mm from the part and on the plate."""
    square = ezdxf.new("R2000")
    square.header["$INSUNITS"] = 4
    square.modelspace().add_lwpolyline([(0, 0), (40, 0), (40, 40), (0, 40)], close=True)
    square.saveas(folder / "square.dxf")
    tight = ("--kerf", "1.5", "--gap", "6", "--margin", "2", "--lead-in", "5", "--steps", "2", "--mark-leads")
    assert main(["nest", "--plate", "46.4x46.4", "--part", "square.dxf:1", *tight, "--out", "b"]) == 0
    _, err = capsys.readouterr()
    assert "part 1 (square): no clear place for pierce and lead-in at its outside contour" in err
    assert not ezdxf.readfile(folder / "b" / "layout.dxf").modelspace().query("POINT")
    code, document, _ = nest(capsys, "--plate", "60x60", "--part", "square.dxf:1", *tight, "--out", "c")
    assert code == 0 and document["without_lead"] == []
    assert len(ezdxf.readfile(folder / "c" / "layout.dxf").modelspace().query("POINT")) == 1


def test_a_job_file_and_a_shop_file_say_the_same(folder: Path, capsys: pytest.CaptureFixture[str]):
    (folder / "shop.toml").write_text('units = "mm"\n[cutting]\noutside = "counter-clockwise"\n', encoding="utf-8")
    text = """\
units = "mm"
shop = "shop.toml"
[plate]
width = 200
height = 130
[clearances]
kerf = 1.5
gap = 6
margin = 8
lead_in = 5
keep_lead_room = true
[[part]]
drawing = "ring.dxf"
quantity = 2
[search]
steps = 2
[output]
version = "R2018"
contours = "polylines"
curves = "arcs"
mark_leads = false
marks = false
"""
    (folder / "job.toml").write_text(text, encoding="utf-8")
    code, document, _ = nest(capsys, "job.toml")
    assert code == 0
    drawing = ezdxf.readfile(folder / "job-layout" / "layout.dxf")
    outer = drawing.modelspace().query(f'LWPOLYLINE[layer=="{PART_OUTSIDE}"]')
    assert drawing.acad_release == "R2018" and not drawing.modelspace().query("POINT")
    # Half circles counter-clockwise have a bulge of 1: published DXF reference.
    assert [round(p[2], 9) for e in outer for p in e.get_points("xyb")] == [1.0] * 4
    assert document["report"]["shop_sources"]["direction"] == "shop file shop.toml"


@pytest.mark.parametrize(
    ("option", "message"),
    [
        (("--dxf", "R14"), "R2018"),
        (("--contours", "splines"), "polylines"),
        (("--keep-lead-room", "--lead-in", "0"), "lead-in is 0 mm long"),
        (("--mark-leads", "--lead-in", "0"), "lead_in is 0"),
    ],
)
def test_what_is_not_known_is_refused(folder: Path, capsys: pytest.CaptureFixture[str], option, message: str):
    assert main(["nest", "--plate", "200x130", "--part", "ring.dxf", *CLEAR, *option]) == 2
    assert message in capsys.readouterr().err
