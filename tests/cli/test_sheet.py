"""`oddplate sheet`: a result folder's sheets made again, as they were or as they are wished."""

import json
import shutil
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from printed import sizes_mm, words

from cli.main import main
from nesting.files.release import MADE_WITH, SHEETS
from nesting.steps.made_with import load_made_with

SHOP = """
units = "mm"
name = "Sample shop"
lift_limit_kg = 20
keep.rectangles = [[60, 60]]
[cutting]
amps = 45
"""


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a space in its name, and in it the result of a run with a shop of its own."""
    home = tmp_path_factory.mktemp("my shop")
    doc = ezdxf.new("R2000")
    doc.header["$INSUNITS"] = 4
    doc.modelspace().add_lwpolyline([(0, 0), (40, 0), (40, 40), (0, 40)], close=True)
    doc.modelspace().add_circle((20, 20), 10)
    doc.saveas(home / "eye.dxf")
    (home / "shop.toml").write_text(SHOP, encoding="utf-8")
    eye = str(home / "eye.dxf")
    plate = ("--plate", "250x150", "--plate-name", "R-7", "--thickness", "6", "--grade", "S235JR", "--heat", "H 4711")
    parts = ("--certificate", "3.1/0815", "--part", f"{eye}:3", "--for", eye, "reference=4711")
    ways = ("--shop", str(home / "shop.toml"), "--mark-leads", "--name", "eyes", "--steps", "3")
    assert main(["nest", *plate, *parts, *ways, "--out", str(home / "run")]) == 0
    return home


@pytest.fixture
def folder(ran: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Path:
    """A copy of it to stand in."""
    home = tmp_path / ran.name
    shutil.copytree(ran, home)
    monkeypatch.chdir(home)
    return home


def sheet(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, dict[str, Any], str]:
    code = main(["sheet", *args, "--json"])
    captured = capsys.readouterr()
    return code, json.loads(captured.out), captured.err


def test_the_same_sheets_come_out_again(folder: Path, capsys: pytest.CaptureFixture[str]):
    """The shop of the run lies beside its layout: keep sizes, amperage and names need not be given again."""
    code, document, err = sheet(capsys, "run", "--out", "again")
    assert (code, document["schema"], document["kept"], document["notes"], err) == (
        0, "oddplate-sheet/1", ["R1"], [], "",
    )  # fmt: skip
    assert [Path(f).name for f in document["files"]] == list(SHEETS)
    for name in SHEETS:
        assert (folder / "again" / name).read_bytes() == (folder / "run" / name).read_bytes()
    text = words((folder / "run" / SHEETS[0]).read_bytes())
    for said in ("Plate R-7", "eyes", "Sample shop", "H 4711", "3.1/0815", "order 4711", "45 A", "of 20 kg"):
        assert said in text, said
    assert "estimated time unknown" not in text


def test_the_heat_of_a_sheet_bought_since_is_printed(folder: Path, capsys: pytest.CaptureFixture[str]):
    code, document, err = sheet(capsys, "run", "--out", "again", "--heat", "H 9000")
    told = "heat H 9000 is printed; the layout was made for a plate of heat H 4711"
    assert (code, document["notes"], err) == (0, [told], f"note: {told}\n")
    for name in (SHEETS[0], SHEETS[2]):
        text = words((folder / "again" / name).read_bytes())
        assert "H 9000" in text and "H 4711" not in text


def test_files_are_replaced_only_on_request(folder: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["sheet", "run"]) == 2
    assert "cut-sheet.pdf: exists already; use --force to replace it, or --out" in capsys.readouterr().err
    assert main(["sheet", "run/layout.json", "--force"]) == 0
    out, err = capsys.readouterr()
    assert out.splitlines() == [f"written: {Path('run') / name}" for name in SHEETS] and err == ""


def test_other_paper_other_unit_and_names_of_the_rack(folder: Path, capsys: pytest.CaptureFixture[str]):
    wishes = ("--paper", "Letter", "--units", "inch", "--chalk", "R1=L-0042", "--name", "eyes again", "--no-labels")
    code, document, _ = sheet(capsys, "run", "--out", "p", *wishes)
    assert (code, document["paper"], document["units"]) == (0, "Letter", "inch")
    assert sorted(p.name for p in (folder / "p").iterdir()) == sorted(SHEETS[:2])
    made = (folder / "p" / SHEETS[0]).read_bytes()
    assert sizes_mm(made)[0] in ((215.9, 279.4), (279.4, 215.9))
    assert "L-0042 · 0.236 in · S235JR · heat H 4711" in words(made)
    assert "eyes again" in words(made) and "1 9/16 x 1 9/16" in words(made)


def test_an_old_layout_without_its_shop_says_what_it_takes(folder: Path, capsys: pytest.CaptureFixture[str]):
    (folder / "run" / MADE_WITH).unlink()
    code, document, err = sheet(capsys, "run", "--out", "old")
    assert (code, document["kept"]) == (0, [])
    assert "no shop file given: the usual keep sizes and hand-lift figure are taken" in err
    assert "estimated time unknown" in words((folder / "old" / SHEETS[0]).read_bytes(), 1)
    code, document, _ = sheet(capsys, "run", "--shop", "shop.toml", "--out", "old", "--force")
    assert (code, document["kept"]) == (0, ["R1"])
    assert "estimated time unknown" not in words((folder / "old" / SHEETS[0]).read_bytes(), 1)


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (("nowhere",), "nowhere: no such file or folder; give a result folder of 'oddplate nest', or its layout.json"),
        ((".",), "holds no layout.json: not a result folder"),
        (("run", "--out", "p", "--chalk", "R2=x"), "--chalk R2: no such leftover of this layout; there are: R1"),
        (("run", "--out", "p", "--chalk", "R1"), "'R1' is not R1=NAME, such as R1=L-0042"),
        (("run", "--out", "p", "--paper", "A3"), "'A3' is not one of 'A4', 'Letter'"),
        (("run", "--out", "p", "--units", "ell"), "unit 'ell' is not known"),
        (("run", "--out", "eye.dxf"), "eye.dxf: is a file, not a folder; choose another with --out"),
    ],
)
def test_what_cannot_be_used_is_told_and_nothing_is_written(
    folder: Path, capsys: pytest.CaptureFixture[str], args: tuple[str, ...], told: str
):
    assert main(["sheet", *args]) == 2
    assert told in capsys.readouterr().err
    assert not (folder / "p").exists()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{", "made-with.json: not JSON"),
        ('{"schema": "other/1"}', "made-with.json: schema is 'other/1', expected 'oddplate-made-with/1'"),
        ('{"schema": "oddplate-made-with/1", "layout_id": 3}', "made-with.json: layout_id"),
    ],
)
def test_a_broken_record_of_the_run_is_told(folder: Path, capsys: pytest.CaptureFixture[str], text: str, told: str):
    (folder / "run" / MADE_WITH).write_text(text, encoding="utf-8")
    assert main(["sheet", "run", "--out", "p"]) == 2
    assert told in capsys.readouterr().err and not (folder / "p").exists()


def test_a_record_of_another_layout_is_not_taken(folder: Path):
    path = folder / "run" / MADE_WITH
    made = load_made_with(path, json.loads(path.read_text(encoding="utf-8"))["layout_id"])
    assert made is not None and (made.title, made.shop.lift_limit_kg, made.mark_leads) == ("eyes", 20.0, True)
    assert load_made_with(path, "0" * 12) is None
    assert load_made_with(folder / "nothing.json", made.layout_id) is None
