"""`oddplate check`: a layout or drawing changed by hand is found out, with the pair and the distance."""

import json
from pathlib import Path
from typing import Any

import ezdxf
import pytest

from cli.main import main
from nesting.drawing.layers import PART_OUTSIDE

GAP_MM, SIDE_MM, MARGIN_MM = 8.0, 40.0, 8.0


@pytest.fixture
def written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Path:
    """A result folder with two squares of 40 mm brought to exactly their gap of 8 mm."""
    monkeypatch.chdir(tmp_path)
    doc = ezdxf.new("R2000")
    doc.header["$INSUNITS"] = 4
    corners = [(0, 0), (SIDE_MM, 0), (SIDE_MM, SIDE_MM), (0, SIDE_MM)]
    doc.modelspace().add_lwpolyline(corners, close=True)
    doc.saveas("square.dxf")
    plate = ("--plate", "200x60", "--part", "square.dxf:2", "--for", "all", "turns=fixed")
    lengths = ("--kerf", "1.5", "--gap", str(GAP_MM), "--margin", str(MARGIN_MM))
    assert main(["nest", *plate, *lengths, "--steps", "3", "--out", "out"]) == 0
    capsys.readouterr()
    return tmp_path / "out"


def checked(capsys: pytest.CaptureFixture[str], *args: object) -> tuple[int, dict[str, Any]]:
    code = main(["check", *map(str, args), "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_what_was_released_passes_as_layout_and_as_drawing(written: Path, capsys: pytest.CaptureFixture[str]):
    for name in ("layout.json", "layout.dxf"):
        code, document = checked(capsys, written / name)
        assert (code, document["passed"], document["parts_checked"]) == (0, True, 2)
        assert document["worst_gap"]["found_mm"] >= GAP_MM - 0.001
        assert document["findings"] == []
    assert checked(capsys, written)[1]["file"] == str(written / "layout.dxf")
    assert main(["check", str(written / "layout.dxf")]) == 0
    out, err = capsys.readouterr()
    assert out.splitlines()[-1].endswith("2 parts checked, every clearance holds")
    assert "checked against" in err


def test_a_part_moved_by_hand_in_the_layout_is_named(written: Path, capsys: pytest.CaptureFixture[str]):
    path = written / "layout.json"
    layout = json.loads(path.read_text(encoding="utf-8"))
    first, second = (p["pose"] for p in layout["placements"])
    second["x_mm"], second["y_mm"] = first["x_mm"] + SIDE_MM + GAP_MM / 2, first["y_mm"]
    path.write_text(json.dumps(layout), encoding="utf-8")
    code, document = checked(capsys, path)
    gaps = [f for f in document["findings"] if f["kind"] == "gap"]
    assert code == 4
    assert [sorted(p["number"] for p in f["pieces"]) for f in gaps] == [[1, 2]]
    assert gaps[0]["found_mm"] == pytest.approx(GAP_MM / 2, abs=0.001)


def test_a_part_moved_by_hand_in_the_drawing_is_named(written: Path, capsys: pytest.CaptureFixture[str]):
    path = written / "layout.dxf"
    doc = ezdxf.readfile(path)
    outsides = [e for e in doc.modelspace() if e.dxf.layer == PART_OUTSIDE]
    boxes = sorted((min(x for x, _ in e.get_points("xy")), e) for e in outsides)
    # The other one goes to half the gap beside the left one, at its height.
    (left_x, left), (right_x, right) = boxes
    height = min(y for _, y in left.get_points("xy")) - min(y for _, y in right.get_points("xy"))
    right.translate(left_x + SIDE_MM + GAP_MM / 2 - right_x, height, 0)
    doc.saveas(path)
    code, document = checked(capsys, path)
    assert code == 4
    assert {f["kind"] for f in document["findings"]} & {"gap", "moved"}
    code, document = checked(capsys, path, "--gap", GAP_MM)
    (gap,) = document["findings"]
    assert code == 4
    assert (gap["kind"], len(gap["pieces"])) == ("gap", 2)
    assert gap["found_mm"] == pytest.approx(GAP_MM / 2, abs=0.001)
    assert main(["check", str(path), "--gap", str(GAP_MM)]) == 4
    assert capsys.readouterr().out.startswith("failed: ")


def test_a_bare_drawing_takes_its_clearances_from_the_options(written: Path, capsys: pytest.CaptureFixture[str]):
    bare = written.parent / "bare.dxf"
    (written / "layout.dxf").rename(bare)
    assert checked(capsys, bare, "--gap", GAP_MM, "--margin", MARGIN_MM)[0] == 0
    code, document = checked(capsys, bare, "--gap", GAP_MM, "--margin", "50")
    assert code == 4
    assert {f["kind"] for f in document["findings"]} == {"margin"}
    assert checked(capsys, bare, "--layout", written / "layout.json")[0] == 0


def test_an_svg_drawing_is_not_held_against_a_layout(written: Path, capsys: pytest.CaptureFixture[str]):
    drawn = written / "drawing.svg"
    drawn.write_text('<svg xmlns="http://www.w3.org/2000/svg"/>', encoding="utf-8")
    assert main(["check", str(drawn), "--layout", str(written / "layout.json")]) == 2
    assert "check layout.dxf" in capsys.readouterr().err


def test_a_drawing_in_inches_is_told_of_in_inches_too(written: Path, capsys: pytest.CaptureFixture[str]):
    plate = ("--plate", "200x60", "--part", "square.dxf:2", "--for", "all", "turns=fixed")
    lengths = ("--kerf", "1.5", "--gap", str(GAP_MM), "--margin", str(MARGIN_MM), "--out-units", "inch")
    assert main(["nest", *plate, *lengths, "--steps", "3", "--out", "inches"]) == 0
    capsys.readouterr()

    assert main(["check", "inches"]) == 0
    (gap,) = (line for line in capsys.readouterr().out.splitlines() if line.startswith("smallest gap"))
    assert "mm (0.3150 in) (needed 8 mm (0.3150 in))" in gap  # 8 / 25.4 = 0.31496
    assert gap.endswith(" in)")

    assert main(["check", "inches/layout.dxf", "--gap", "1/2 in"]) == 4
    assert "needed 12.7 mm (0.5000 in)" in capsys.readouterr().out

    assert "shown_in" not in checked(capsys, "inches")[1]
    assert main(["check", str(written)]) == 0
    assert " in)" not in capsys.readouterr().out


def parts_only(path: Path, x: float) -> Path:
    """A circle of 30 mm in a drawing that does not say its unit."""
    doc = ezdxf.new("R2000")
    doc.header["$INSUNITS"] = 0
    doc.modelspace().add_circle((x, 30.0), 15.0, dxfattribs={"layer": "CUT"})
    doc.modelspace().add_circle((x + 60.0, 30.0), 15.0, dxfattribs={"layer": "CUT"})
    doc.saveas(path)
    return path


PLATE_FILE = """schema = "oddplate-plate/1"
units = "mm"
[plate]
uncertainty = 2
corners = [[0, 0], [200, 0], [200, 60], [0, 60]]
[capture]
way = "corners"
"""


@pytest.mark.parametrize("kind", ["toml", "dxf"])
def test_parts_of_another_program_are_checked_on_a_given_plate(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], kind: str
):
    plate = tmp_path / f"plate.{kind}"
    if kind == "toml":
        plate.write_text(PLATE_FILE, encoding="utf-8")
    else:
        doc = ezdxf.new("R2000")
        doc.header["$INSUNITS"] = 4
        doc.modelspace().add_lwpolyline([(0, 0), (200, 0), (200, 60), (0, 60)], close=True)
        doc.saveas(plate)
    options = ("--gap", "6", "--margin", "10", "--units", "mm")
    good = parts_only(tmp_path / "good.dxf", 30.0)

    code, document = checked(capsys, good, "--plate", plate, *options)
    assert (code, document["parts_checked"]) == (0, 2)
    # The outline of a plate file may be wrong, which a drawing does not say of itself.
    assert document["needed_margin_mm"] == (12.0 if kind == "toml" else 10.0)
    bad = parts_only(tmp_path / "bad.dxf", 20.0)
    assert checked(capsys, bad, "--plate", plate, *options)[0] == 4
    assert main(["check", str(good), *options]) == 2
    assert "give the layout, or the plate (--plate)" in capsys.readouterr().err


def test_a_plate_goes_with_a_drawing_alone(written: Path, capsys: pytest.CaptureFixture[str]):
    for args in (["layout.json"], ["layout.dxf", "--layout", str(written / "layout.json")]):
        assert main(["check", str(written / args[0]), *args[1:], "--plate", "plate.toml"]) == 2
        assert "a layout file holds its own clearances and plate" in capsys.readouterr().err
    assert main(["check", str(written / "layout.dxf"), "--plate", "none.toml", "--gap", "6"]) == 2
    assert "none.toml: no such file" in capsys.readouterr().err
    # Beside its layout too, a drawing that is given a plate is checked alone.
    assert main(["check", str(written / "layout.dxf"), "--plate", "none.toml"]) == 2
    assert "give --layout, or --gap" in capsys.readouterr().err


def test_the_edge_taken_and_other_notes_go_to_stderr(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = parts_only(tmp_path / "other.dxf", 30.0)
    doc = ezdxf.readfile(path)
    doc.modelspace().add_lwpolyline([(0, 0), (200, 0), (200, 60), (0, 60)], close=True)
    doc.saveas(path)

    assert main(["check", str(path), "--gap", "6", "--margin", "10", "--units", "mm"]) == 0

    out, err = capsys.readouterr()
    assert "note: LWPOLYLINE" in err and "200.0 x 60.0 mm, lies round all others: taken as the plate's edge" in err
    assert "note" not in out and out.splitlines()[-1].endswith("2 parts checked, every clearance holds")
