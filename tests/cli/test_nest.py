"""`oddplate nest` from end to end: files, streams, exit codes, and being stopped."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import ezdxf
import pytest

import cli.nest
from cli.main import main
from nesting.check import check_drawing
from nesting.files.layout_file import load_layout
from nesting.files.release import FILES
from nesting.layout import FreeRest, Pulled

QUICK = ("--steps", "3")
CLEAR = ("--kerf", "1.5", "--gap", "6", "--margin", "8")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a space in its name to stand in, a square of 40 mm and one in inches without saying so."""
    home = tmp_path / "my shop"
    home.mkdir()
    square(home / "square.dxf", 40, insunits=4)
    square(home / "nameless.dxf", 2, insunits=0)
    monkeypatch.chdir(home)
    return home


def square(path: Path, side: float, *, insunits: int) -> None:
    doc = ezdxf.new("R2000")
    doc.header["$INSUNITS"] = insunits
    doc.modelspace().add_lwpolyline([(0, 0), (side, 0), (side, side), (0, side)], close=True)
    doc.saveas(path)


def nest(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, dict[str, Any]]:
    code = main(["nest", *args, "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_a_job_on_the_command_line_writes_its_folder(folder: Path, capsys: pytest.CaptureFixture[str]):
    code, document = nest(capsys, "--plate", "200x150", "--part", "square.dxf:3", *CLEAR, *QUICK, "--out", "a result")
    assert (code, document["schema"], document["exit_code"]) == (0, "oddplate-nest/1", 0)
    assert sorted(Path(f).name for f in document["files"]) == sorted(FILES)
    assert document["layout_id"] == load_layout(folder / "a result" / "layout.json").id
    assert document["report"]["parts"][0]["placed"] == 3
    report = check_drawing(folder / "a result" / "layout.dxf", layout=load_layout(folder / "a result" / "layout.json"))
    assert report.passed


def test_an_inch_shop_is_told_in_inches_and_the_folder_names_the_job(folder: Path, capsys: pytest.CaptureFixture[str]):
    plate = ("--plate", "30 in x 30 in", "--thickness", "1/4 in", "--kerf", "1.5", "--gap", "6", "--margin", "8")
    assert main(["nest", *plate, "--part", "square.dxf:2", *QUICK, "--out-units", "inch", "--out", "monday"]) == 0
    out = capsys.readouterr().out
    assert "size in" in out and "1.575 x 1.575" in out and " lb, takes a rectangle of " in out
    assert " mm" not in out.split("check:")[0]
    assert "<title>Yield report: monday" in (folder / "monday" / "report.html").read_text(encoding="utf-8")


def test_people_get_a_short_table(folder: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["nest", "--plate", "200x150", "--part", "square.dxf:2", *CLEAR, *QUICK]) == 0
    out, err = capsys.readouterr()
    lines = out.splitlines()
    assert lines[0].split() == ["part", "placed", "wanted", "size", "mm"]
    assert lines[1].split() == ["square", "2", "2", "40.0", "x", "40.0"]
    # Two squares of 40 mm on 200 x 150 mm.
    assert any(line.startswith("utilisation 10.67 % of the plate") for line in lines)
    assert any(line.startswith("check: 2 parts") for line in lines)
    assert "parts placed" in err
    assert (folder / "oddplate-layout").is_dir()


def test_parts_are_pulled_to_an_edge_a_corner_or_an_angle(folder: Path, capsys: pytest.CaptureFixture[str]):
    """Said once or more; what came of it is in both results."""
    job = ("--plate", "300x200", "--part", "square.dxf:2", *CLEAR, "--steps", "20")
    _, document = nest(capsys, *job, "--pull-to", "bottom-right")
    pulled, search = document["report"]["pulled"], document["report"]["search"]
    assert pulled["to"] == "bottom-right"
    assert all(pulled[when]["rectangle_mm"][0] > 40 for when in ("before", "after"))
    assert search["bound_utilisation"] == pytest.approx(2 * 40**2 / (300 * 200))

    assert main(["nest", *job, "--pull-to", "-30", "--force"]) == 0
    out = capsys.readouterr().out
    assert "pulled to -30 degrees: the free rest takes a rectangle of " in out
    assert "at most 5.34 % could be used by these parts" in out

    assert main(["nest", *job, "--pull-to", "north"]) == 2
    assert 'command line: search.pull_to: expected "left", ' in capsys.readouterr().err


def test_parts_left_over_give_their_own_code(folder: Path, capsys: pytest.CaptureFixture[str]):
    """A square of 40 mm fits once into 60 x 60 mm with a margin of 8 mm."""
    code, document = nest(capsys, "--plate", "60x60", "--part", "square.dxf:2", *CLEAR, *QUICK)
    assert code == 3
    (left,) = document["report"]["left_over"]
    assert (left["count"], document["report"]["parts"][0]["placed"]) == (1, 1)


def test_a_part_too_large_for_the_plate_is_told_why(folder: Path, capsys: pytest.CaptureFixture[str]):
    code, document = nest(capsys, "--plate", "50x300", "--part", "square.dxf:1", *CLEAR, *QUICK)
    assert code == 3
    assert "40" in document["report"]["left_over"][0]["reason"]


def test_the_same_steps_give_the_same_layout(folder: Path, capsys: pytest.CaptureFixture[str]):
    args = ("--plate", "200x150", "--part", "square.dxf:fill", *CLEAR, *QUICK, "--seed", "5")
    first = nest(capsys, *args, "--out", "one")[1]
    second = nest(capsys, *args, "--out", "two")[1]
    assert first["layout_id"] == second["layout_id"]
    assert first["report"]["parts"][0]["placed"] >= 9


def test_a_job_file_and_its_overrides(folder: Path, capsys: pytest.CaptureFixture[str]):
    text = """\
units = "mm"
[plate]
corners = [[0, 0], [200, 0], [200, 100], [100, 150], [0, 150]]
[clearances]
kerf = 1.5
gap = 6
margin = 8
[[part]]
drawing = "square.dxf"
quantity = 2
turns = "fixed"
[search]
steps = 3
"""
    (folder / "job.toml").write_text(text, encoding="utf-8")
    code, document = nest(capsys, "job.toml", "--out-units", "inch", "--dxf", "R12")
    assert code == 0
    doc = ezdxf.readfile(folder / "job-layout" / "layout.dxf")
    assert doc.dxfversion == "AC1009"
    assert {p["pose"]["turn_deg"] for p in _placements(folder / "job-layout")} == {0.0}
    code, document = nest(capsys, "job.toml")
    assert code == 2
    assert "exists already; use --force" in document["errors"][0]
    assert nest(capsys, "job.toml", "--force", "--gap", "9")[0] == 0
    assert load_layout(folder / "job-layout" / "layout.json").clearances.gap_mm == 9.0


def _placements(folder: Path) -> list[dict[str, Any]]:
    placements: list[dict[str, Any]] = json.loads((folder / "layout.json").read_text("utf-8"))["placements"]
    return placements


def test_a_drawing_without_a_unit_is_refused_until_it_is_said(folder: Path, capsys: pytest.CaptureFixture[str]):
    args = ("--plate", "200x150", "--part", "nameless.dxf:1", *CLEAR, *QUICK)
    code, document = nest(capsys, *args)
    assert code == 2
    assert "does not say its unit" in document["errors"][0]
    assert not (folder / "oddplate-layout").exists()
    code, document = nest(capsys, *args, "--units", "inch")
    assert code == 0
    assert document["report"]["parts"][0]["width_mm"] == pytest.approx(50.8, abs=0.01)


def test_an_unknown_grade_is_refused_until_it_is_accepted(folder: Path, capsys: pytest.CaptureFixture[str]):
    args = ("--plate", "200x150", "--part", "square.dxf", "--for", "all", "grade=S355", *CLEAR, *QUICK)
    code, document = nest(capsys, *args)
    assert code == 2
    assert "the plate's grade is not known" in document["errors"][0]
    code, document = nest(capsys, *args, "--accept-unknown-grade")
    assert code == 0
    assert any("unknown grade" in note for note in document["report"]["notes"])
    assert document["report"]["plate"]["grade"] is None


@contextmanager
def searching(*args: str) -> Iterator[subprocess.Popen[str]]:
    """Start a long search in a process of its own, and hand it over once parts are placed."""
    command = [sys.executable, "-c", "from cli.main import run; run()", "nest", *args, "--seconds", "500"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        try:
            assert process.stderr is not None
            for line in process.stderr:
                if "parts placed" in line and " 0 of" not in line and ": 0 parts" not in line:
                    break
            yield process
        finally:
            process.kill()


LONG = ("--plate", "900x700", "--part", "square.dxf:400", *CLEAR)


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT for another process")
def test_ctrl_c_leaves_the_best_layout_checked(folder: Path):
    with searching(*LONG, "--json") as process:
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=120)
    assert process.returncode == 130
    document = json.loads(out)
    assert (document["exit_code"], document["interrupted"]) == (130, True)
    assert "stopping: the best layout so far is checked and written" in err
    written = folder / "oddplate-layout"
    assert sorted(p.name for p in written.iterdir()) == sorted(FILES)
    layout = load_layout(written / "layout.json")
    assert layout.placements
    assert check_drawing(written / "layout.dxf", layout=layout).passed


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGKILL")
def test_kill_during_a_run_leaves_the_former_files(folder: Path, capsys: pytest.CaptureFixture[str]):
    _, document = nest(capsys, "--plate", "200x150", "--part", "square.dxf:2", *CLEAR, *QUICK)
    with searching(*LONG, "--force") as process:
        process.send_signal(signal.SIGKILL)
        process.communicate(timeout=120)
    assert process.returncode == -signal.SIGKILL
    assert load_layout(folder / "oddplate-layout" / "layout.json").id == document["layout_id"]
    assert sorted(p.name for p in (folder / "oddplate-layout").iterdir()) == sorted(FILES)


def test_a_drawing_in_the_place_of_a_job_is_told_as_such(folder: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["nest", "square.dxf"]) == 2
    assert "is a drawing; give it with --plate or --part" in capsys.readouterr().err


def test_a_folder_is_listed_where_it_was_written(folder: Path, capsys: pytest.CaptureFixture[str]):
    """Written through a folder that is not there: what follows must not look for it."""
    args = ("--plate", "200x150", "--part", "square.dxf", *CLEAR, *QUICK)
    code, document = nest(capsys, *args, "--out", "gone/../there")
    assert code == 0 == document["exit_code"] and document["folder"] == str(folder / "there")
    assert document["files"] == sorted(str(p) for p in (folder / "there").iterdir()) != []
    assert main(["nest", *args, "--out", "gone/../there", "--force"]) == 0
    assert "written to there" in capsys.readouterr().out


def test_the_top_of_a_disk_is_no_result_folder(folder: Path, capsys: pytest.CaptureFixture[str]):
    code, document = nest(capsys, "--plate", "200x150", "--part", "square.dxf", *CLEAR, *QUICK, "--out", "/")
    assert code == 2
    assert "is the top of a disk, which no run replaces; choose an output folder below it" in document["errors"][0]


def test_parts_that_stay_where_they_were_are_told_plainly():
    rest = FreeRest(area_mm2=1e5, circle_diameter_mm=90.0, rectangle_mm=(200.0, 80.0))
    told = cli.nest._pulled(Pulled(to="nowhere", before=rest, after=rest), "mm")
    assert told == (
        "parts left where they were, since pulling them together gave no larger rest: the free rest takes a rectangle "
        "of 200 x 80 mm and a circle of 90 mm"
    )
