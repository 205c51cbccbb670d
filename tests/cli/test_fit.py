"""Fit to cut on the command line: `parts` and `nest`, their documents, lines and question files."""

import hashlib
import json
from pathlib import Path
from typing import Any

import ezdxf
import pytest

from cli.main import main
from nesting.files.release import AT_NEED, FILES

QUICK = ("--steps", "3", "--kerf", "1.6", "--gap", "6", "--margin", "8")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A plate with a slot of 6.2 mm and a hole of 6 mm, a plain one, and one with a bend line along x."""
    monkeypatch.chdir(tmp_path)
    for name, slot, bend in (("plate", True, False), ("plain", False, False), ("bent", False, True)):
        doc = ezdxf.new("R2000")
        doc.header["$INSUNITS"] = 4
        space = doc.modelspace()
        space.add_lwpolyline([(0, 0), (80, 0), (80, 60), (0, 60)], close=True)
        if slot:
            space.add_lwpolyline([(20, 20), (60, 20), (60, 26.2), (20, 26.2)], close=True)
            space.add_circle((40, 45), 3)
        if bend:
            space.add_line((0.5, 30), (79.5, 30), dxfattribs={"layer": "BEND"})
        doc.saveas(tmp_path / f"{name}.dxf")
    return tmp_path


def document(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, dict[str, Any]]:
    code = main([*args, "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_parts_gives_findings_with_place_value_limit_and_source(folder: Path, capsys: pytest.CaptureFixture[str]):
    """1.5 x 6 mm for the hole (newayprecision.com); 6 + 0.8 + 2 x 0.8 mm for the slot (A6, ISO 9013 class 2)."""
    code, found = document(capsys, "parts", "plate.dxf", "plain.dxf", "--thickness", "6", "--amps", "45")
    fit = {f["kind"]: f for f in found["fit"]}
    assert code == 0
    assert fit["small hole"]["place_mm"] == [40.0, 45.0]
    assert (fit["small hole"]["value_mm"], fit["small hole"]["limit_mm"]) == (6.0, 9.0)
    assert (fit["slot too tight for its tab"]["value_mm"], fit["slot too tight for its tab"]["limit_mm"]) == (6.2, 8.4)
    assert {f["drawing"] for f in found["fit"]} == {"plate.dxf"} and all(f["source"] for f in found["fit"])
    assert found["cutting"]["process"] == "plasma"
    assert found["cutting"]["kerf_mm"] == pytest.approx(1.5494)


def test_parts_looks_at_nothing_without_a_thickness(folder: Path, capsys: pytest.CaptureFixture[str]):
    _, found = document(capsys, "parts", "plate.dxf")
    assert found["fit"] is None
    assert main(["parts", "plate.dxf", "--questions", "q.html"]) == 2
    assert "--questions needs --thickness" in capsys.readouterr().err


def test_the_process_and_the_shop_decide(folder: Path, capsys: pytest.CaptureFixture[str]):
    _, found = document(capsys, "parts", "plate.dxf", "--thickness", "6", "--process", "laser", "--kerf", "0.3")
    assert "small hole" not in {f["kind"] for f in found["fit"]}
    shop = 'units = "mm"\n[cutting]\nslat_pitch = 100\nleast_hole = 0.9\ncut_tolerance = 0.1\n'
    (folder / "shop.toml").write_text(shop, encoding="utf-8")
    _, found = document(capsys, "parts", "plate.dxf", "--thickness", "6", "--shop", "shop.toml")
    fit = {f["kind"]: f for f in found["fit"]}
    assert "small hole" not in fit
    assert fit["may tip"]["limit_mm"] == 100.0
    assert fit["slot too tight for its tab"]["limit_mm"] == pytest.approx(7.0)
    _, found = document(
        capsys,
        "parts",
        "plate.dxf",
        "--thickness",
        "6",
        "--tab-thickness",
        "4",
        "--tab-over",
        "0.2",
        "--shop",
        "shop.toml",
    )
    assert "slot too tight for its tab" not in {f["kind"] for f in found["fit"]}


def test_people_read_what_was_found_and_what_was_not_looked_at(folder: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["parts", "plate.dxf", "--thickness", "6"]) == 0
    out = capsys.readouterr().out
    assert "fit to cut, 6 mm plate by plasma (plasma: assumed where nobody says), kerf unknown:" in out
    assert "warning: plate: hole of 6 mm at (40.0, 45.0)" in out
    assert "the kerf is not known" in out and "the slat pitch is not known" in out


@pytest.mark.parametrize(
    ("name", "start"), [("ask me.html", "<!DOCTYPE html>"), ("ask.txt", "Questions about drawings")]
)
def test_questions_are_written_once(folder: Path, capsys: pytest.CaptureFixture[str], name: str, start: str):
    args = ["parts", "plate.dxf", "--thickness", "6", "--questions", name]
    assert main(args) == 0
    assert f"questions written to {name}" in capsys.readouterr().err
    text = (folder / name).read_text(encoding="utf-8")
    assert text.startswith(start) and "plate.dxf" in text
    assert main(args) == 2
    assert "--force replaces it" in capsys.readouterr().err
    assert main([*args, "--force"]) == 0
    assert not list(folder.glob(".*"))


def test_nothing_to_ask_writes_nothing(folder: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["parts", "plain.dxf", "--thickness", "6", "--questions", "q.html"]) == 0
    assert "nothing to ask" in capsys.readouterr().err
    assert not (folder / "q.html").exists()
    assert main(["parts", "plain.dxf", "--thickness", "6", "--questions", "q.doc"]) == 2


def test_what_stops_a_drawing_is_asked_too_and_hides_no_other_question(
    folder: Path, capsys: pytest.CaptureFixture[str]
):
    """An open contour, two circles about one centre and a drawing without a unit were once left out."""
    for name, units in (("open", 4), ("bore", 4), ("nameless", 0)):
        doc = ezdxf.new("R2000")
        doc.header["$INSUNITS"] = units
        space = doc.modelspace()
        corners = [(0, 0), (80, 0), (80, 60), (0, 60)]
        space.add_lwpolyline([*corners, (0, 3)] if name == "open" else corners, close=name != "open")
        if name == "bore":
            space.add_circle((30, 30), 12)
            space.add_circle((30, 30), 7)
        doc.saveas(folder / f"{name}.dxf")
    names = ("open.dxf", "bore.dxf", "nameless.dxf", "gone.dxf", "plate.dxf")
    assert main(["parts", *names, "--thickness", "6", "--questions", "q.txt"]) == 2
    text = " ".join((folder / "q.txt").read_text(encoding="utf-8").split())
    assert "contour is open by 3 mm at (0.00, 3.00)" in text
    assert "counterbore, countersink or thread?" in text and "In which unit is it drawn?" in text
    assert "The drawing shows a hole of 6 mm" in text and "gone.dxf" not in text
    assert text.count("(stops the job)") == 3
    assert "grade unknown" in text
    for sha in (hashlib.sha256((folder / n).read_bytes()).hexdigest() for n in names if n != "gone.dxf"):
        assert sha in text
    assert "--units nameless.dxf=mm or --units nameless.dxf=inch" in capsys.readouterr().err
    code, found = document(capsys, "nest", "--plate", "300x200", "--thickness", "6", "--part", "bore.dxf", *QUICK)
    assert code == 2 and "to ask the designer, 'oddplate parts'" in found["errors"][-1]


def test_nest_warns_before_the_search_and_leaves_questions(folder: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["nest", "--plate", "300x200", "--thickness", "6", "--part", "plate.dxf:2", *QUICK, "--out", "r"]) == 0
    out, err = capsys.readouterr()
    assert err.index("warning: plate: slot 6.2 mm wide") < err.index("parts placed")
    assert f"questions for the designers: {Path('r') / 'questions.html'}" in out.replace(str(folder) + "/", "")
    assert sorted(p.name for p in (folder / "r").iterdir()) == sorted((*FILES, *AT_NEED))
    report = json.loads((folder / "r" / "report.json").read_text(encoding="utf-8"))
    hole = next(f for f in report["fit"] if f["kind"] == "small hole")
    assert (hole["place_mm"], hole["value_mm"], hole["limit_mm"]) == ([40.0, 45.0], 6.0, 9.0)
    page = (folder / "r" / "report.html").read_text(encoding="utf-8")
    assert "Fit to cut" in page and "slot 6.2 mm wide" in page
    assert report["layout_id"] in (folder / "r" / "questions.txt").read_text(encoding="utf-8")
    assert (
        main(["nest", "--plate", "300x200", "--thickness", "6", "--part", "plain.dxf", *QUICK, "--out", "r", "--force"])
        == 0
    )
    assert sorted(p.name for p in (folder / "r").iterdir()) == sorted(FILES)


@pytest.mark.parametrize(("grain", "kind"), [("0", "bend along the grain"), ("90", None), (None, "grain not known")])
def test_grain_at_bends_is_looked_at_where_the_parts_lie(
    folder: Path, capsys: pytest.CaptureFixture[str], grain: str | None, kind: str | None
):
    args = ["nest", "--plate", "300x200", "--thickness", "6", "--part", "bent.dxf", "--for", "bent.dxf", "turns=fixed"]
    code, found = document(capsys, *args, *QUICK, *(("--grain", grain) if grain else ()))
    assert code == 0
    assert [f["kind"] for f in found["fit"]] == ([kind] if kind else [])


def test_what_a_job_says_of_tabs_and_bends_is_held_against_the_part(folder: Path, capsys: pytest.CaptureFixture[str]):
    job = """\
units = "mm"
plate = {width = 300, height = 200, thickness = 6, grade = "S235JR", grain = 90}
clearances = {kerf = 1.6, gap = 6, margin = 8}
search = {steps = 3}
[[part]]
drawing = "plate.dxf"
tab_thickness = "5 mm"
tab_over = 0.1
[[part]]
drawing = "bent.dxf"
turns = "fixed"
bend_radius = 8
"""
    (folder / "job.toml").write_text(job, encoding="utf-8")
    code, found = document(capsys, "nest", "job.toml")
    fit = {f["kind"]: f for f in found["fit"]}
    assert code == 0
    assert fit["slot too tight for its tab"]["limit_mm"] == pytest.approx(5.0 + 0.1 + 2 * 0.8)
    assert (fit["tight bend"]["value_mm"], fit["tight bend"]["limit_mm"]) == (8.0, 9.0)
