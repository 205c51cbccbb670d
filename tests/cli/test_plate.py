"""`oddplate plate`: every way in writes a plate file and a picture, tells one figure, and refuses in words."""

import json
import math
from pathlib import Path

import ezdxf
import pytest
from outline_layouts import LAYOUT

from cli.main import main
from nesting.corner_names import named_corners
from nesting.files.layout_file import save_layout
from nesting.files.plate_file import read_plate_file

RIGHT = "A,B,1200\nB,C,800\nC,D,1200\nD,A,800\nA,C,1442.2\nB,D,1442.2\n"
SQUARE = "0,0; 1200,0; 1200,800; 0,800"
LOOSE = "A,B,1200; B,C,707.11; C,D,728.01; A,C,1476.48; B,D,1081.67; A,D,1081.67; D,E,806.23; E,A,509.9"
"""Corner E hangs on two tapes: it points out of the plate or into it."""
WAYS = {
    "corners": ["--typed", SQUARE],
    "tapes": ["--typed", RIGHT.replace("\n", ";")],
    "walk": ["--typed", "1200,90; 800,90; 1200,90; 800,90"],
    "offsets": ["--typed", "0, R 300; 1200, R 300; 1200, L 500; 0, L 500"],
    "readouts": ["--typed", "X0 Y0; X1200 Y0; X1200 Y800; X0 Y800; X0 Y0.2"],
}


@pytest.mark.parametrize("way", WAYS)
def test_every_way_writes_plate_file_and_picture(way: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    out = tmp_path / "odd plate.toml"
    args = ["plate", way, *WAYS[way], "--out", str(out), "--thickness", "1/4 in", "--grade", "S235JR", "--json"]
    assert main([*args, "--who", "N. N.", "--when", "2026-03-04", "--photo", "a.jpg"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["schema"] == "oddplate-capture/1"
    assert told["area_mm2"] == pytest.approx(960_000, rel=1e-4)
    assert 0.0 < told["uncertainty_mm"] < 15.0 and told["basis"]
    assert len(told["checks"]) == 3 and "dry run" in told["before_cutting"]
    assert Path(told["picture"]).read_bytes().startswith(b"\x89PNG")
    kept = read_plate_file(out)
    assert kept.plate.uncertainty_mm == pytest.approx(told["uncertainty_mm"], abs=1e-4)
    assert kept.plate.thickness_mm == pytest.approx(6.35) and kept.plate.grade == "S235JR"
    assert (kept.capture.who, str(kept.capture.when), kept.capture.photo) == ("N. N.", "2026-03-04", "a.jpg")
    assert main(args) == 2
    assert "exists already" in capsys.readouterr().err


def test_letters_chalked_for_the_tapes_stay_the_plate_s_letters(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """A sheet that called another corner A than the one with A on it would be worse than none."""
    chalked = RIGHT.translate(str.maketrans("ABCD", "QRSP")).replace("\n", ";")
    args = ["plate", "tapes", "--typed", chalked, "--order", "Q,R,S,P", "--out", str(tmp_path / "p.toml"), "--json"]
    assert main(args) == 0
    told = json.loads(capsys.readouterr().out)
    assert [c["name"] for c in told["letters"]] == list("QRSP")
    assert {c["from"] for c in told["checks"]} | {c["to"] for c in told["checks"]} <= set("QRSP")
    plate = read_plate_file(tmp_path / "p.toml").to_lay_out
    places = {c["name"]: (c["x_mm"], c["y_mm"]) for c in told["corners"]}
    assert [c.name for c in named_corners(plate)] == list("QRSP")
    assert all(c.point == pytest.approx(places[c.name], abs=1e-3) for c in named_corners(plate))
    # Turned over, they lie elsewhere, and the drawing letters them anew.
    assert main(["plate", "edit", str(tmp_path / "p.toml"), "--mirror", "--out", str(tmp_path / "m.toml")]) == 0
    assert [c.name for c in named_corners(read_plate_file(tmp_path / "m.toml").to_lay_out)] == list("ABCD")


def test_corners_that_were_counted_get_the_letters_of_the_sheets(capsys: pytest.CaptureFixture[str]):
    assert main(["plate", "readouts", *WAYS["readouts"]]) == 0
    assert "tape these before cutting: A to C: 1442.2 mm; B to D: 1442.2 mm" in capsys.readouterr().out


def test_readings_from_a_file_are_told_in_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = tmp_path / "READINGS.csv"
    path.write_text("A,B,47 1/4\nB,C,31 1/2\nC,A,56 25/32\n", encoding="utf-8")
    assert main(["plate", "tapes", str(path), "--units", "inch", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [c["name"] for c in told["corners"]] == ["A", "B", "C"]
    assert all({"x_mm", "y_mm", "sd_mm"} <= set(c) for c in told["corners"])
    assert [r["tape"] for r in told["readings"]] == ["A-B", "B-C", "C-A"]
    assert all("residual_mm" in r for r in told["readings"])
    assert told["suspects"] == []
    assert list(tmp_path.iterdir()) == [path]


def test_a_misread_tape_keeps_the_plate_file_from_being_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    lines = RIGHT.replace("A,C,1442.2", "A,C,1482.2").replace("\n", ";")
    assert main(["plate", "tapes", "--typed", lines, "--out", str(tmp_path / "p.toml"), "--json"]) == 4
    shown = capsys.readouterr()
    assert json.loads(shown.out)["suspects"]
    assert "a tape is misread; nothing was written" in shown.err
    assert list(tmp_path.iterdir()) == []
    assert main(["plate", "tapes", "--typed", lines]) == 4
    shown = capsys.readouterr()
    assert "misread?" in shown.out and "--out" not in shown.out + shown.err


def test_with_one_spare_tape_every_tape_may_be_the_misread_one(capsys: pytest.CaptureFixture[str]):
    """One spare reading makes one condition, and every reading explains it equally (Baarda 1968)."""
    lines = "A,B,1105; B,C,648; C,D,867; D,A,601; A,C,1222; B,D,1128"
    assert main(["plate", "tapes", "--typed", lines, "--json"]) == 4
    (suspect,) = json.loads(capsys.readouterr().out)["suspects"]
    assert {suspect["tape"], *suspect["or"]} == {"A-B", "B-C", "C-D", "D-A", "A-C", "B-D"}
    assert main(["plate", "tapes", "--typed", lines]) == 4
    assert "--leave-out" not in capsys.readouterr().err


def test_readings_in_inches_are_told_in_inches(capsys: pytest.CaptureFixture[str]):
    lines = "A,B,47 1/4; B,C,31 1/2; C,A,56 25/32"
    assert main(["plate", "tapes", "--typed", lines, "--units", "inch", "--thickness", "1/4 in"]) == 0
    out = capsys.readouterr().out
    assert "reading in" in out and "B to C: 31 1/2 in" in out and " mm" not in out
    assert main(["plate", "tapes", "--typed", lines, "--units", "inch", "--thickness", "0.25"]) == 2
    assert '"0.25 inch" or "0.25 mm"' in capsys.readouterr().err


def test_an_open_side_is_refused_without_a_terminal_and_settled_by_an_option(capsys: pytest.CaptureFixture[str]):
    lines = LOOSE
    assert main(["plate", "tapes", "--typed", lines]) == 2
    assert "--dents none" in capsys.readouterr().err
    assert main(["plate", "tapes", "--typed", lines, "--json"]) == 2
    assert set(json.loads(capsys.readouterr().out)["may_be_said"]) == {"dents none", "dents E"}
    assert main(["plate", "tapes", "--typed", "A,B,3; B,C,4; C,D,3; D,A,4", "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["take_next"] == ["A-C"]
    assert main(["plate", "tapes", "--typed", lines, "--dents", "none", "--json"]) == 0
    convex = json.loads(capsys.readouterr().out)["area_mm2"]
    assert main(["plate", "tapes", "--typed", lines, "--side", "E left of A D", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["area_mm2"] == convex
    assert main(["plate", "tapes", "--typed", lines, "--side", "D above A C"]) == 2
    assert 'write "C D left of P Q"' in capsys.readouterr().err


def test_a_person_at_the_terminal_is_asked(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    monkeypatch.setattr("cli.plate_tapes.can_ask", lambda _json: True)
    monkeypatch.setattr("click.prompt", lambda *_args, **_options: 1)
    assert main(["plate", "tapes", "--typed", LOOSE]) == 0
    assert "1: " in capsys.readouterr().err


def test_an_edit_of_a_plate_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    first, second = str(tmp_path / "a.toml"), str(tmp_path / "b.toml")
    typed = "10,10; 1190,400; 1100,900; 500,901; 0,900"
    assert main(["plate", "corners", "--typed", typed, "--grain", "0", "--out", first]) == 0
    edit = [
        "plate",
        "edit",
        first,
        "--mirror",
        "--straighten",
        "2",
        "--lay-along",
        "--keep-out",
        "300,100 400,100 400,200",
    ]
    assert main([*edit, "--reason", "rust", "--uncertainty", "4", "--place", "B2", "--out", second]) == 0
    capsys.readouterr()
    before, after = read_plate_file(Path(first)).plate, read_plate_file(Path(second)).plate
    assert len(after.outer.pieces) == 4
    assert before.area_mm2 - 2 * 1200 < after.area_mm2 <= before.area_mm2 + 1e-6
    assert (after.uncertainty_mm, after.place, after.keep_outs[0].reason) == (4.0, "B2", "rust")
    assert after.captured == "corners"
    assert main(["plate", "edit", first]) == 0
    assert "nothing written" in capsys.readouterr().out


def test_an_old_cut_out_is_put_on_a_taped_plate(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    first, second = str(tmp_path / "a.toml"), str(tmp_path / "b.toml")
    assert main(["plate", "tapes", "--typed", RIGHT.replace("\n", ";"), "--out", first]) == 0
    edit = ["plate", "edit", first, "--hole", "circle,340,490,160", "--hole", "800,300 900,300 900,400 800,400"]
    assert main([*edit, "--out", second]) == 0
    assert "2 holes, 0 keep-outs" in capsys.readouterr().out
    before, after = (read_plate_file(Path(p)).plate for p in (first, second))
    assert before.area_mm2 - after.area_mm2 == pytest.approx(math.pi * 80**2 + 100**2)
    assert after.uncertainty_mm == before.uncertainty_mm
    assert main([*edit, "--hole", "circle,0,400,100"]) == 2
    assert '--hole "circle,0,400,100"' in capsys.readouterr().err


def test_a_plate_measured_in_inches_asks_for_the_unit_of_what_is_added(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    first, second = str(tmp_path / "a.toml"), str(tmp_path / "b.toml")
    typed = "A,B,48; B,C,32; C,D,48; D,A,32; A,C,57.69; B,D,57.69"
    assert main(["plate", "tapes", "--typed", typed, "--units", "inch", "--out", first]) == 0
    rust = ["plate", "edit", first, "--keep-out", "0,29 3,29 3,32 0,32"]
    assert main(rust) == 2
    assert "a was measured in inch, its file is in mm; say --units inch or --units mm" in capsys.readouterr().err
    assert main([*rust, "--units", "mm"]) == 0
    assert "warning" in capsys.readouterr().err
    assert main([*rust, "--units", "inch", "--out", second]) == 0
    shown = capsys.readouterr()
    assert "warning" not in shown.err and " in;" in shown.out
    kept = read_plate_file(Path(second))
    assert kept.plate.keep_outs[0].contour.area_mm2 == pytest.approx(9 * 25.4**2)
    assert kept.capture.units == "inch"
    assert main(["plate", "edit", first, "--keep-out", "0in,29in 3in,29in 3in,32in"]) == 0
    assert main([*rust, "--units", "inch", "--uncertainty", "3"]) == 2
    assert '--uncertainty 3: write the unit beside it, such as "3 inch"' in capsys.readouterr().err


def test_drawing_needs_to_be_told_how_far_it_may_be_off(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    demo = Path(__file__).parents[2] / "data" / "demo" / "plate.dxf"
    assert main(["plate", "drawing", str(demo)]) == 2
    assert "--uncertainty" in capsys.readouterr().err
    out = tmp_path / "d.toml"
    args = [
        "plate",
        "drawing",
        str(demo),
        "--uncertainty",
        "1.5",
        "--out",
        str(out),
        "--picture",
        str(tmp_path / "d.svg"),
    ]
    assert main(args) == 0
    assert "uncertain by 1.50 mm" in capsys.readouterr().out
    assert read_plate_file(out).plate.captured == "drawing"
    assert "<svg" in (tmp_path / "d.svg").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (["corners"], "give a FILE"),
        (["corners", "no-such.csv"], "no-such.csv: no such file"),
        (["corners", "--typed", "0,0; 1,x"], "typed, line 2"),
        (["corners", "--typed", SQUARE, "--out", "p.json"], "a plate file ends in .toml"),
        (["corners", "--typed", SQUARE, "--out", "p.toml", "--picture", "p.gif"], "a picture ends in one of"),
        (["edit", "no-such.toml"], "no such plate file"),
        (["leftover", "no-such.json"], "no-such.json"),
        (["drawing", "a.dxf", "--uncertainty", "1", "--kerf", "2"], "go with --cut"),
        (["fly"], "No such command"),
    ],
)
def test_faults_are_told(
    args: list[str],
    told: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
):
    monkeypatch.chdir(tmp_path)
    assert main(["plate", *args]) == 2
    assert told in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_leftover_of_a_layout_becomes_plates(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    save_layout(LAYOUT, tmp_path / "layout.json")
    out, dxf = tmp_path / "rest.toml", tmp_path / "rest.dxf"
    shear = ["--shear", "450,-10 450,800", "--shear", "450,400 1700,420"]
    assert (
        main(
            ["plate", "leftover", str(tmp_path / "layout.json"), *shear, "--out", str(out), "--dxf", str(dxf), "--json"]
        )
        == 0
    )
    told = json.loads(capsys.readouterr().out)
    assert abs(told["balance_error"]) < 1e-4
    assert [Path(p["file"]).name for p in told["plates"]] == ["rest-R1.toml", "rest-R2.toml"]
    first = read_plate_file(Path(told["plates"][0]["file"]))
    assert (first.plate.parent, first.plate.heat, first.capture.readings) == ("odd", "H1", "layout.json")
    assert "SHEAR_LINE" in dxf.read_text(encoding="cp1252")


def test_what_was_noticed_in_a_drawing_of_what_was_cut_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = tmp_path / "cut.dxf"
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 4
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (1000, 0), (1000, 500), (0, 500)], close=True)
    space.add_circle((200, 250), 80, dxfattribs={"layer": "ETCH"})
    space.add_circle((700, 250), 80, dxfattribs={"layer": "NOTES"})
    document.saveas(path)
    args = ["plate", "drawing", str(path), "--cut", "--uncertainty", "1", "--json"]
    assert main(args) == 0
    shown = capsys.readouterr()
    assert "warning: cut.dxf: CIRCLE" in shown.err and "layer of marks taken as cut out of the sheet" in shown.err
    assert "note: cut.dxf: layers left out: NOTES" in shown.err
    assert json.loads(shown.out)["exit_code"] == 0
    space.add_blockref("NOPE", (500, 250))
    document.saveas(path)
    assert main([*args, "--out", str(tmp_path / "rest.toml")]) == 2
    assert "block 'NOPE' does not exist" in capsys.readouterr().err
    assert not (tmp_path / "rest.toml").exists()
