"""`oddplate batch` from the order file to the plan's folder, and the plan taken up again."""

import json
import os
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import ezdxf
import pytest
from racks import new_piece

from cli.codes import BAD_INPUT, DONE, INTERRUPTED, LEFT_OVER
from cli.main import main
from nesting.check import check_drawing
from nesting.files.batch_file import read_order
from nesting.files.layout_file import load_layout
from nesting.rack.store import open_rack
from nesting.steps.batch_order import resolve_order
from nesting.steps.batch_run import run_batch

ORDER = """
units = "mm"
name = "week 48"
due_by = 2026-12-31

[clearances]
kerf = 1
gap = 4
margin = 5

[[part]]
drawing = "bar.dxf"
quantity = 4
thickness = 6
due = 2026-12-01
reference = "4711"

[[part]]
drawing = "square.dxf"
quantity = {squares}
thickness = 10
grade = "S235JR"

[[piece]]
name = "A 12"
corners = [[0, 0], [300, 0], [300, 80], [200, 140], [0, 140]]
thickness = 6
added = 2024-01-01
place = "bay 2"

[[piece]]
name = "B3"
width = 100
height = 100
thickness = 10
{grade}

[[sheet]]
name = "sheet"
width = 400
height = 200
thickness = 10
grade = "S235JR"
price = 80

[search]
seconds = {seconds}
workers = 1
"""


def write_order(folder: Path, *, squares: int = 1, grade: str = 'grade = "S235JR"', seconds: float = 30.0) -> Path:
    for name, (width, height) in {"bar": (120, 40), "square": (80, 80)}.items():
        drawing = ezdxf.new(units=4)
        corners = [(0, 0), (width, 0), (width, height), (0, height)]
        drawing.modelspace().add_lwpolyline(corners, close=True)
        drawing.saveas(folder / f"{name}.dxf")
    path = folder / "week.toml"
    path.write_text(ORDER.format(squares=squares, grade=grade, seconds=seconds), encoding="utf-8")
    return path


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder whose name holds a space; leftovers get little time."""
    monkeypatch.setattr("nesting.batch.planner.TIDY_FILLS", 0.2)
    made = tmp_path / "my orders"
    made.mkdir()
    return made


def test_a_plan_is_written_whole_and_taken_up_again(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    order = write_order(folder)

    assert main(["batch", str(order), "--json"]) == DONE

    plan = json.loads(capsys.readouterr().out)
    target = folder / "week 48-plan"
    assert plan["schema"] == "oddplate-plan/1"
    assert plan["complete"]
    assert plan["buy"] == []
    assert {p["id"] for p in plan["pieces"]} == {"A 12", "B3"}
    assert plan["pieces"][0]["id"] == "A 12"  # its bars are due first
    assert {x["name"]: (x["planned"], x["status"]) for x in plan["lines"]} == {
        "bar": (4, "planned"),
        "square": (1, "planned"),
    }
    for piece in plan["pieces"]:
        layout = load_layout(target / piece["folder"] / "layout.json")
        assert layout.id == piece["layout_id"]
        assert check_drawing(target / piece["folder"] / "layout.dxf", layout=layout).passed
    assert "A 12" in (target / "plan.html").read_text(encoding="utf-8")

    assert main(["batch", str(order)]) == BAD_INPUT
    assert "use --force to replace it" in capsys.readouterr().err

    again = ["batch", str(order), "--again", str(target), "--cut", "A 12", "--missing", "B3", "--failed", "bar=1"]
    code = main([*again, "--force", "--json"])

    plan = json.loads(capsys.readouterr().out)
    assert code == LEFT_OVER  # the failed bar finds no other piece of 6 mm
    states = {p["id"]: p["state"] for p in plan["pieces"]}
    assert states["A 12"] == "cut"
    assert "B3" not in states
    assert [(b["name"], b["count"], b["price"]) for b in plan["buy"]] == [("sheet", 1, 80.0)]
    lines = {x["name"]: x for x in plan["lines"]}
    assert (lines["bar"]["cut"], lines["bar"]["failed"], lines["bar"]["status"]) == (3, 1, "impossible")
    assert "no piece may serve it (6 mm)" in lines["bar"]["reason"]
    assert lines["square"]["planned"] == 1
    assert (target / plan["pieces"][0]["folder"] / "layout.dxf").exists()


def test_pieces_of_a_rack_are_planned_and_what_is_left_goes_back(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A piece that is set aside for another job is left alone; what was cut becomes used, its rest a new piece."""
    order = write_order(folder)
    head, _, tail = order.read_text(encoding="utf-8").partition("[[piece]]")
    search = "[search]" + tail.partition("[search]")[2]
    order.write_text(f'rack = "the rack.db"\n{head}{search}', encoding="utf-8")
    with open_rack(folder / "the rack.db", create=True) as rack:
        rack.add([new_piece(1000, 600, id="R-1"), new_piece(100, 100, id="R-2", thickness_mm=10.0)], who="Ann")
        rack.add([new_piece(500, 500, id="R-3"), new_piece(500, 500, id="R-4", thickness_mm=3.0)], who="Ann")
        rack.set_aside(["R-3"], "gate", who="Ann")

    assert main(["batch", str(order), "--json"]) == DONE

    out, err = capsys.readouterr()
    plan = json.loads(out)
    folders = {p["id"]: folder / "week 48-plan" / p["folder"] for p in plan["pieces"]}
    assert set(folders) == {"R-1", "R-2"}
    assert "R-3 is left aside: it is set aside for gate" in err

    assert main(["rack", "cut", str(folders["R-1"]), "--rack", str(folder / "the rack.db"), "--who", "Bob"]) == DONE

    with open_rack(folder / "the rack.db") as rack:
        assert rack.piece("R-1").state == "cut"
        (remnant,) = [p for p in rack.pieces() if p.parent == "R-1"]
        layout = load_layout(folders["R-1"] / "layout.json")
        parts_mm2 = sum(layout.parts[p.part_id].area_mm2 for p in layout.placements)
        assert parts_mm2 == 4 * 120 * 40
        assert 0.8 * (1000 * 600 - parts_mm2) < remnant.summary.area_mm2 < 1000 * 600 - parts_mm2
        assert (remnant.facts.heat, remnant.facts.grade) == ("H-77", "S235JR")


def test_what_cannot_be_made_is_told_with_its_reason(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A piece of unknown grade serves no part that asks for one, unless told so, and then the plan says it."""
    order = write_order(folder, squares=1, grade="")
    text = order.read_text(encoding="utf-8")
    head, _, tail = text.partition("[[sheet]]")
    order.write_text(head + "[search]" + tail.partition("[search]")[2], encoding="utf-8")

    assert main(["batch", str(order)]) == LEFT_OVER
    out = capsys.readouterr().out
    assert "impossible: square: no piece may serve it (10 mm, S235JR)" in out
    assert "B3: its grade is not known" in out

    assert main(["batch", str(order), "--accept-unknown-grade", "--force", "--json"]) == DONE
    plan = json.loads(capsys.readouterr().out)
    notes = [note for piece in plan["pieces"] for note in piece["notes"]]
    assert notes == ["square asks for grade S235JR; it was accepted on B3, whose grade is not known"]


def test_a_plan_in_inches(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: the sheet of 400 x 200 mm is 15 3/4 x 7 7/8 in, less a few thousandths and so rounded down."""
    order = write_order(folder, squares=2)
    with order.open("a", encoding="utf-8") as file:
        file.write('\n[output]\nunits = "inch"\n')

    assert main(["batch", str(order)]) == DONE

    out, page = capsys.readouterr().out, (folder / "week 48-plan" / "plan.html").read_text(encoding="utf-8")
    assert "buy: 1 x sheet, 15 11/16 x 7 13/16 in, 80.00 each" in out
    assert "left, in" in out and "ft²" in out and " mm" not in out
    assert "15 11/16 x 7 13/16, 0.394 in thick" in page and "ft²" in page
    assert " mm" not in page.partition("<body>")[2]


def test_what_an_interrupted_plan_lacks_is_not_called_too_large(folder: Path) -> None:
    """Called off before anything was tried: nobody knows yet whether there is room."""
    order = resolve_order(read_order(write_order(folder)), today=date(2026, 11, 26))

    found = run_batch(order, executor=ThreadPoolExecutor(1), should_stop=lambda: True)

    assert found.stopped
    assert {line.status for line in found.facts.lines} == {"left over"}
    assert all("interrupted; take it up again" in line.reason for line in found.facts.lines)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("quantity = 4", 'quantity = "fill"', 'an order says how many; "fill" is for single jobs'),
        ("thickness = 6\ndue", "due", "line 11: part.1.thickness: is missing"),
        ("due = 2026-12-01", "due = 5", "part.1.due: expected a date such as 2026-05-31"),
        ("price = 80", "prize = 80", "unknown key; did you mean 'price'?"),
        ("bar.dxf", "bare.dxf", "bare.dxf: no such file"),
        ('name = "B3"', 'name = "A 12"', "A 12: more than one piece of this name"),
        ('name = "B3"', 'name = "A 12 "', "A 12: more than one piece of this name"),
    ],
)
def test_faults_of_an_order_are_told(
    folder: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, told: str
) -> None:
    order = write_order(folder)
    order.write_text(order.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")

    assert main(["batch", str(order)]) == BAD_INPUT
    assert told in capsys.readouterr().err
    assert not (folder / "week 48-plan").exists()


def test_again_asks_for_a_plan_and_for_names_that_it_has(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    order = write_order(folder)

    assert main(["batch", str(order), "--cut", "A 12"]) == BAD_INPUT
    assert "give its folder with --again" in capsys.readouterr().err
    assert main(["batch", str(order), "--again", str(folder)]) == BAD_INPUT
    assert "plan.json: no such file; give the folder that 'oddplate batch' wrote" in capsys.readouterr().err
    assert main(["batch", str(order), "--again", str(folder), "--failed", "bar"]) == BAD_INPUT
    assert "write PART=N, such as bracket=2" in capsys.readouterr().err
    assert main(["batch", str(order), "--again", str(folder), "--failed", "bar=\u00b2"]) == BAD_INPUT
    assert "write PART=N, such as bracket=2" in capsys.readouterr().err


def test_a_folder_that_no_plan_wrote_is_never_replaced(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    order = write_order(folder)
    mine = folder / "week 48-plan"
    mine.mkdir()
    (mine / "letter.txt").write_text("mine", encoding="utf-8")

    assert main(["batch", str(order), "--force"]) == BAD_INPUT
    assert "holds files that no plan wrote" in capsys.readouterr().err
    assert (mine / "letter.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT for another process")
def test_ctrl_c_leaves_the_best_plan_checked(folder: Path) -> None:
    """The squares' bound cannot be met by proof, so that the search would go on for minutes."""
    order = write_order(folder, squares=9, seconds=500.0)
    command = [sys.executable, "-c", "from cli.main import run; run()", "batch", str(order), "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        try:
            assert process.stderr is not None
            for line in process.stderr:
                if " of 13 parts" in line and " 0 of" not in line:
                    break
            process.send_signal(signal.SIGINT)
            out, _ = process.communicate(timeout=120)
        finally:
            process.kill()

    plan = json.loads(out)
    assert (process.returncode, plan["exit_code"], plan["interrupted"]) == (INTERRUPTED, INTERRUPTED, True)
    assert plan["pieces"]
    for piece in plan["pieces"]:
        where = folder / "week 48-plan" / piece["folder"]
        assert check_drawing(where / "layout.dxf", layout=load_layout(where / "layout.json")).passed
