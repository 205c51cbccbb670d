"""`oddplate settle`: exit codes, streams, one JSON document, and files that appear whole or not at all."""

import csv
import json
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from outline_layouts import LAYOUT, PLATE

from cli.main import main
from nesting.check import check_drawing
from nesting.clearances import Clearances
from nesting.corner_names import named_corners
from nesting.drawing.layers import PIERCE_MARK
from nesting.files.layout_file import load_layout, save_layout
from nesting.files.release import DRAWING, MADE_WITH, ON_TABLE
from nesting.files.release import LAYOUT as LAYOUT_FILE
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Pose
from nesting.layout import Layout
from nesting.outline.leftover import from_layout
from nesting.plate import Capture, Plate
from nesting.shop import Shop
from nesting.steps.made_with import MadeWith, load_made_with, save_made_with

LIES = Pose(turn_deg=12.0, x_mm=400.0, y_mm=150.0)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to stand in, with the layout of four rings in `job layout`."""
    (tmp_path / "job layout").mkdir()
    save_layout(LAYOUT, tmp_path / "job layout" / "layout.json")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def at(names: str, pose: Pose = LIES, layout: Layout = LAYOUT) -> list[str]:
    """Options for readouts of corners of a plate that lies by `pose`."""
    places = {c.name: pose.point(c.point) for c in named_corners(layout.plate)}
    return [word for n in names for word in ("--at", f"{n}={places[n][0]:.2f},{places[n][1]:.2f}")]


def settle(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, dict[str, Any], str]:
    code = main(["settle", "job layout", *args, "--json"])
    out, err = capsys.readouterr()
    return code, json.loads(out), err


def test_two_point_alignment_of_the_trade(folder: Path, capsys: pytest.CaptureFixture[str]):
    """Stored along X, measured (100, 50) and (1100, 85): 2.00453 degrees, length 1000.612 mm (worked by hand)."""
    plate = Plate(name="sheet", outer=Contour.of_rectangle(1000.0, 600.0))
    save_layout(replace(LAYOUT, plate=plate, id=""), folder / "job layout" / "layout.json")
    code, found, err = settle(capsys, "--at", "A=100,50", "--at", "B=1100,85")
    assert code == 0 and found["schema"] == "oddplate-settled/1"
    assert found["turn_deg"] == pytest.approx(2.00453, abs=1e-5)
    assert found["distances"][0]["readouts_mm"] == pytest.approx(1000.612, abs=1e-3)
    assert found["distances"][0]["off_mm"] == pytest.approx(0.612, abs=1e-3)
    assert [c["residual_mm"] for c in found["corners"]] == pytest.approx([0.3062, 0.3062], abs=1e-4)
    assert found["verdict"] == "distance only" and found["ask_for"] == "C"
    assert any("swapped, or with the plate wrong side up, they would fit as well" in t for t in found["told"])
    assert "warning: distance only: read out C too" in err
    # Two corners a metre apart, 0.5 mm each: sigma sqrt(2) / length.
    assert found["turn_sd_deg"] == pytest.approx(math.degrees(0.5 * math.sqrt(2) / 1000), abs=1e-6)
    assert found["files"] == []


def test_without_readouts_the_corners_are_listed(folder: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["settle", "job layout"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("corner  drawing x mm") and "read out A, B, E and say" in out and err == ""
    code, found, _ = settle(capsys)
    assert code == 0 and found["schema"] == "oddplate-corners/1" and found["take"] == ["A", "B", "E"]
    assert found["corners"][2] == {"name": "C", "drawing_mm": [1500.0, 700.0]}


def test_the_layout_is_written_as_it_lies_read_back_and_checked(folder: Path, capsys: pytest.CaptureFixture[str]):
    code, found, err = settle(capsys, *at("BDE"), "--table", "3000x1500", "--out", "on table")
    assert code == 0 and found["verdict"] == "fits" and found["refused"] == [] and err == ""
    there = folder / "on table"
    assert sorted(p.name for p in there.iterdir()) == sorted((DRAWING, LAYOUT_FILE, MADE_WITH, *ON_TABLE))
    layout = load_layout(there / "layout.json")
    assert layout.id == found["layout_id"] != found["from_layout_id"] == "abc"
    assert "layout abc turned by 12.00" in layout.plate.captured
    for one, other in zip(LAYOUT.placements, layout.placements, strict=True):
        want = LIES.point((one.pose.x_mm, one.pose.y_mm))
        assert math.dist(want, (other.pose.x_mm, other.pose.y_mm)) < 0.02
    assert check_drawing(there / "layout.dxf", layout=layout).passed
    circles = ezdxf.readfile(there / "layout.dxf").modelspace().query("CIRCLE")
    assert sorted(round(c.dxf.radius, 3) for c in circles) == [40.0] * 4 + [90.0] * 4
    assert json.loads((there / "settled.json").read_text(encoding="utf-8"))["turn_deg"] == found["turn_deg"]
    assert (there / "settled.png").read_bytes().startswith(b"\x89PNG")
    assert main(["check", "on table/layout.dxf"]) == 0


def test_the_points_of_the_dry_run_are_the_same_everywhere(folder: Path, capsys: pytest.CaptureFixture[str]):
    _, found, _ = settle(capsys, *at("BDE"), "--out", "there")
    points = {p["name"]: p["at_mm"] for p in found["dry_run"]["outline"]}
    assert list(points) == list("ABCDE") and found["dry_run"]["torch"] == "off"
    for corner in named_corners(PLATE):
        assert points[corner.name] == pytest.approx(LIES.point(corner.point), abs=0.02)
    rows = list(csv.DictReader((folder / "there" / "dry-run.csv").read_text(encoding="utf-8").splitlines()))
    assert [float(r["x_mm"]) for r in rows[:5]] == pytest.approx([p[0] for p in points.values()], abs=1e-3)
    assert float(rows[0]["x_inch"]) == pytest.approx(float(rows[0]["x_mm"]) / 25.4, abs=1e-4)
    assert [r["point"] for r in rows[5:]] == ["cuts 1", "cuts 2", "cuts 3", "cuts 4"]
    text = (folder / "there" / "dry-run.txt").read_text(encoding="utf-8")
    assert text.startswith("dry run with the torch off") and f"X {points['A'][0]:8.1f}" in text
    assert "stop button" in text and "manual" in text
    main(["settle", "job layout", *at("BDE")])
    assert text.rstrip() in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (at("BDE", Pose(flipped=True, x_mm=2000.0)), "wrong side up"),
        (["--at", "B=0,0", "--at", "E=800,100"], "B-E is 806.2 mm by the readouts and 1676.3 mm in the drawing"),
        ([*at("BDE"), "--table", "700x1500"], "its cuts reach"),
    ],
)
def test_what_does_not_hold_writes_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str], options: list[str], told: str
):
    code, found, err = settle(capsys, *options, "--out", "there")
    assert code == 4 == found["exit_code"] and found["files"] == []
    assert told in err and "nothing was written" in err and any(told in t for t in found["refused"])
    assert [p.name for p in folder.iterdir()] == ["job layout"]


def test_cuts_beyond_the_travel_say_how_far_to_push(folder: Path, capsys: pytest.CaptureFixture[str]):
    code, found, err = settle(capsys, *at("BDE"), "--table", "700x1500")
    assert code == 4
    worst = found["table"]["beyond"][0]
    assert worst["what"] == "part 2 (ring)" and worst["side"] == "right" and worst["by_mm"] > 50.0
    assert f"push the plate {worst['by_mm']:.1f} mm left and read the corners out again" in err
    code, found, err = settle(capsys, *at("BDE"), "--table", "3000x1500", "--zero", "middle")
    assert code == 0 and found["table"]["zero"] == "middle"
    assert {b["what"] for b in found["table"]["beyond"]} == {"the plate"}


def test_what_is_left_is_as_uncertain_as_the_plate_on_the_table(
    folder: Path, capsys: pytest.CaptureFixture[str]
):  # fmt: skip
    """The new edges lie where the torch went, the old ones where turn and shift say: the outline joins the two.

    Three corners at one end are read out, near the parts; the other end is known much worse.
    """
    long = Contour.of_points([(0, 0), (4000, 0), (4000, 700), (300, 760), (0, 500)])
    plate = replace(PLATE, outer=long, holes=(), keep_outs=())
    layout = replace(LAYOUT, plate=plate, id="")
    save_layout(layout, folder / "job layout" / "layout.json")
    code, found, err = settle(capsys, *at("ADE", layout=layout), "--sigma", "0.2", "--out", "there")
    assert code == 0, err
    there = load_layout(folder / "there" / "layout.json")
    assert there.plate.uncertainty_mm == plate.uncertainty_mm
    near, far = found["added_mm"], there.plate.settling_mm
    assert far > 2 * near > 0.0
    (left, *_) = from_layout(there, Shop(keep_mm=((150.0, 150.0),))).plates
    assert left.uncertainty_mm == pytest.approx(plate.uncertainty_mm + far)


def test_a_margin_too_thin_for_the_doubt_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]):
    """Three corners near one another, read out within 4 mm, and parts that stand 3 mm off the edge."""
    tight = Clearances(kerf_mm=2.0, gap_mm=8.0, margin_mm=3.0, lead_in_mm=6.0)
    plate = replace(PLATE, outer=Contour.of_points([(17, 17), (1600, 17), (1500, 700), (300, 760), (17, 500)]))
    plate = replace(plate, uncertainty_mm=0.0)
    layout = replace(LAYOUT, clearances=tight, plate=plate, id="")
    save_layout(layout, folder / "job layout" / "layout.json")
    code, found, err = settle(capsys, *at("ADE", layout=layout), "--sigma", "2.5")
    assert code == 4 and "parts could leave the plate: turn and shift add" in err
    assert found["added_mm"] > found["closest_part_mm"] == pytest.approx(3.0, abs=0.01)
    code, found, err = settle(capsys, *at("ABD", layout=layout), "--sigma", "0.8")
    assert code == 0 and "a cut of 2.0 mm may break out of the plate's edge" in err


def test_a_taped_plate_is_read_out_at_the_corners_that_its_figure_holds_for(
    folder: Path, capsys: pytest.CaptureFixture[str]
):
    plate = replace(PLATE, capture=Capture(set_up_by=((1600.0, 0.0), (0.0, 500.0))))
    save_layout(replace(LAYOUT, plate=plate, id=""), folder / "job layout" / "layout.json")
    _, found, err = settle(capsys, *at("ABC"))
    assert "holds for a plate laid by corners B and E; read out E too" in err and found["warnings"]
    assert "laid by corners" not in settle(capsys, *at("BDE"))[2]


def test_nesting_again_keeps_off_what_is_beyond_the_travel(folder: Path, capsys: pytest.CaptureFixture[str]):
    table = ("--table", "700x1500", "--nest-again", "--steps", "3", "--out", "again", "--mark-leads")
    code, found, err = settle(capsys, *at("BDE"), *table)
    assert code == 0, err
    assert found["nested_again"] and found["refused"] == []
    layout = load_layout(folder / "again" / "layout.json")
    assert len(layout.placements) == 4 and layout.clearances == LAYOUT.clearances
    assert layout.plate.uncertainty_mm == pytest.approx(LAYOUT.plate.uncertainty_mm + found["added_mm"], abs=1e-3)
    assert found["dry_run"]["cuts_box_mm"][2] <= 700.0
    assert any(k.reason == "beyond the table's travel" for k in layout.plate.keep_outs)
    assert ezdxf.readfile(folder / "again" / "layout.dxf").modelspace().query(f"*[layer=='{PIERCE_MARK}']")
    assert main(["check", "again/layout.dxf"]) == 0


def test_parts_left_over_when_nesting_again_are_exit_code_3(folder: Path, capsys: pytest.CaptureFixture[str]):
    code, found, _ = settle(capsys, *at("BDE"), "--table", "560x420", "--nest-again", "--steps", "2", "--out", "again")
    assert code == 3 and found["exit_code"] == 3
    assert found["left_over"][0]["part"] == "ring"
    assert found["left_over"][0]["count"] == 4 - found["placed"]
    assert load_layout(folder / "again" / "layout.json").left_over[0].count >= 1


def test_readouts_from_a_file_in_inches(folder: Path, capsys: pytest.CaptureFixture[str]):
    places = {c.name: LIES.point(c.point) for c in named_corners(PLATE)}
    lines = [f"{n} X{places[n][0] / 25.4:.3f} Y{places[n][1] / 25.4:.3f}" for n in "BDE"]
    (folder / "read outs.txt").write_text("corner X Y\n" + "\n".join(lines), encoding="utf-8")
    assert main(["settle", "job layout", "--readouts", "read outs.txt", "--units", "inch", "--out", "there"]) == 0
    out, _ = capsys.readouterr()
    assert re.search(r"turn 1[12]\.\d{4} degrees", out) and "drawing x inch" in out
    drawing = ezdxf.readfile(folder / "there" / "layout.dxf")
    assert drawing.header["$INSUNITS"] == 1
    assert max(c.dxf.radius for c in drawing.modelspace().query("CIRCLE")) == pytest.approx(90.0 / 25.4, abs=1e-6)


def test_the_shop_file_says_the_travel(folder: Path, capsys: pytest.CaptureFixture[str]):
    (folder / "shop.toml").write_text('units = "mm"\n[cutting]\ntable = [1500, 700]\n', encoding="utf-8")
    code, found, _ = settle(capsys, *at("BDE"), "--shop", "shop.toml")
    assert code == 0 and found["table"]["travel_mm"] == [1500.0, 700.0]
    assert found["table"]["source"] == "shop file shop.toml; zero taken to be there, say --zero if it is not"
    _, found, _ = settle(capsys, *at("BDE"), "--shop", "shop.toml", "--zero", "lower-left")
    assert found["table"]["source"] == "shop file shop.toml"
    _, found, _ = settle(capsys, *at("BDE"))
    assert found["table"] is None


def test_what_the_layout_s_run_had_is_taken_and_handed_on(folder: Path, capsys: pytest.CaptureFixture[str]):
    shop = Shop(name="ours", table_mm=(2500.0, 1300.0))
    made = MadeWith(layout_id="abc", title="bearing plates", shop=shop, unit="inch", paper="Letter", mark_leads=True)
    save_made_with(made, folder / "job layout" / MADE_WITH)
    inches = [f"{text[:2]}X{x / 25.4:.4f} Y{y / 25.4:.4f}" for text, x, y in split(at("BDE"))]
    code, found, _ = settle(capsys, *(word for text in inches for word in ("--at", text)), "--out", "there")
    assert code == 0 and found["table"]["travel_mm"] == [2500.0, 1300.0]
    handed = load_made_with(folder / "there" / MADE_WITH, found["layout_id"])
    assert handed == replace(made, layout_id=found["layout_id"])
    drawing = ezdxf.readfile(folder / "there" / "layout.dxf")
    assert drawing.header["$INSUNITS"] == 1 and drawing.modelspace().query(f"*[layer=='{PIERCE_MARK}']")


def split(options: list[str]) -> list[tuple[str, float, float]]:
    return [(text, *map(float, text[2:].split(","))) for text in options[1::2]]


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--at", "Q=1,1", "--at", "A=2,2"], "none is called 'Q'"),
        (["--at", "A=100,50"], "1 corner read out"),
        (["--at", "100,50"], "names no corner"),
        ([*at("BDE"), "--table", "3000"], "expected travel in x and y"),
        ([*at("BDE"), "--sigma", "0"], "--sigma 0: expected more than 0"),
        ([*at("BDE"), "--limit", "-1"], "--limit -1: expected more than 0"),
        ([*at("BDE"), "--limit", "0"], "--limit 0: expected more than 0"),
        ([*at("BDE"), "--nest-again", "--seconds", "nan"], "seconds: expected a finite number, got nan"),
        ([*at("BDE"), "--nest-again", "--seconds", "-5"], "seconds: expected more than 0, got -5"),
        ([*at("BDE"), "--nest-again", "--threads", "0"], "threads: expected 1 or more, got 0"),
        ([*at("BDE"), "--nest-again", "--steps", "-5"], "steps: expected 1 or more, got -5"),
        ([*at("BDE"), "--nest-again", "--seed", "-1"], "seed: expected 0 or more, got -1"),
        ([*at("BDE"), "--out", "/"], "is the top of a disk"),
        ([*at("BDE"), "--dxf", "R99"], "'R99' is not one of R12"),
        (["--out", "there"], "nothing can be written without readouts"),
        (["--readouts", "nowhere.txt"], "nowhere.txt: no such file"),
        (["--units", "ell"], "unit 'ell' is not known"),
    ],
)
def test_wrong_use_is_told_in_words(folder: Path, capsys: pytest.CaptureFixture[str], options: list[str], told: str):
    code, found, err = settle(capsys, *options)
    assert code == 2 == found["exit_code"] and told in err
    assert [p.name for p in folder.iterdir()] == ["job layout"]


def test_a_folder_without_a_layout_and_a_taken_one_are_refused(folder: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["settle", "nowhere", "--at", "A=1,1"]) == 2
    assert "nowhere: no such file; give a result folder" in capsys.readouterr().err
    assert settle(capsys, *at("BDE"), "--out", "there")[0] == 0
    code, _, err = settle(capsys, *at("BDE"), "--out", "there")
    assert code == 2 and "exists already; use --force" in err
    assert settle(capsys, *at("BDE"), "--out", "there", "--force")[0] == 0
    assert settle(capsys, *at("BDE"), "--out", "job layout", "--force")[0] == 0
    # What was settled can be settled again: the corners keep their letters.
    code, found, _ = settle(capsys, *at("BDE"))
    assert code == 0 and found["turn_deg"] == pytest.approx(0.0, abs=0.01)


def test_a_layout_that_breaks_a_clearance_is_not_settled(folder: Path, capsys: pytest.CaptureFixture[str]):
    first, second, *others = LAYOUT.placements
    near = replace(second, pose=replace(second.pose, x_mm=second.pose.x_mm - 15.0))
    save_layout(replace(LAYOUT, placements=(first, near, *others)), folder / "job layout" / "layout.json")
    code, _, err = settle(capsys, *at("BDE"), "--out", "there")
    assert code == 4 and "the layout breaks a clearance and is not settled" in err
    assert not (folder / "there").exists()


def test_a_folder_is_listed_where_it_was_written(folder: Path, capsys: pytest.CaptureFixture[str]):
    """Written through a folder that is not there: what follows must not look for it."""
    code, found, _ = settle(capsys, *at("BDE"), "--out", "gone/../there")
    assert code == 0 == found["exit_code"]
    assert found["files"] == sorted(str(p) for p in (folder / "there").iterdir()) != []
