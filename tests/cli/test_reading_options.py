"""Options that say how drawings are read, for `parts` and `nest`, and the sheet of pictures."""

import json
from pathlib import Path
from typing import Any

import pytest
from drawings import drawing, square

from cli.main import main


@pytest.fixture
def path(tmp_path: Path) -> Path:
    def draw(space: Any) -> None:
        space.add_lwpolyline([(0, 1), (0, 100), (100, 100), (100, 0), (0, 0)], dxfattribs={"layer": "CUT"})
        space.add_circle((50, 50), 10, dxfattribs={"layer": "INNER", "color": 5})
        square(space, 60, 200, layer="CUT")
        square(space, 60, 300, layer="CUT")

    return drawing(tmp_path / "three parts.dxf", draw)


def listed(capsys: pytest.CaptureFixture[str], *args: object) -> tuple[int, dict[str, Any], str]:
    code = main(["parts", *map(str, args), "--json"])
    out, err = capsys.readouterr()
    return code, json.loads(out)["drawings"][0], err


def test_parts_takes_layers_joining_and_rules(path: Path, capsys: pytest.CaptureFixture[str]):
    _, plain, _ = listed(capsys, path)
    _, joined, _ = listed(capsys, path, "--join", "1.5")
    _, ruled, _ = listed(capsys, path, "--join", "1.5 mm", "--rule", "inner=mark")
    _, coloured, _ = listed(capsys, path, "--join", "1.5", "--rule", "colour:5=ignore")
    _, layered, _ = listed(capsys, path, "--join", "1.5", "--layer", "cu*")

    assert any(f["kind"] == "open contour" and f["size_mm"] == 1.0 for f in plain["findings"])
    assert [p["holes"] for p in joined["parts"]] == [1, 0, 0]
    assert (ruled["parts"][0]["holes"], ruled["parts"][0]["marks"]) == (0, 1)
    assert coloured["parts"][0]["holes"] == layered["parts"][0]["holes"] == 0


def test_equal_parts_are_told_in_table_and_json(path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    other = drawing(tmp_path / "one.dxf", lambda space: square(space, 60, 10, 7))

    code, found, _ = listed(capsys, path, other, "--join", "1.5")
    assert code == 0
    assert [p["number"] for p in found["parts"]] == [1, 2, 3]
    assert found["parts"][1]["same_as"] is None
    same = found["parts"][2]["same_as"]
    assert (same["file"], same["number"], same["mirrored"]) == (str(path), 2, False)

    main(["parts", str(path), str(other), "--join", "1.5"])
    rows = capsys.readouterr().out.splitlines()
    assert rows[3].endswith("no. 2")
    assert rows[4].endswith("three parts.dxf no. 2")


def test_a_wrong_rule_is_refused(path: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["parts", str(path), "--rule", "inner"]) == 2
    assert "LAYER=ROLE" in capsys.readouterr().err
    assert main(["parts", str(path), "--rule", "inner=burn"]) == 2
    assert "expected 'cut', 'mark'" in capsys.readouterr().err


def test_more_entities_than_the_limit_are_refused(path: Path, capsys: pytest.CaptureFixture[str]):
    code, found, _ = listed(capsys, path, "--most-entities", "5")
    assert code == 2
    assert "over the limit of 5" in found["refused"]


@pytest.mark.parametrize("ending", ["png", "pdf", "svg"])
def test_a_sheet_of_pictures(path: Path, tmp_path: Path, ending: str, capsys: pytest.CaptureFixture[str]):
    """A refused drawing has its picture too; an earlier sheet is replaced only with --force."""
    refused = drawing(tmp_path / "open.dxf", lambda space: space.add_lwpolyline([(0, 3), (0, 80), (80, 80), (0, 0)]))
    sheet = tmp_path / f"sheet.{ending}"

    assert main(["parts", str(path), str(refused), "--pictures", str(sheet)]) == 2
    assert f"4 pictures written to {sheet}" in capsys.readouterr().err
    first = sheet.read_bytes()
    assert first.startswith({"png": b"\x89PNG", "pdf": b"%PDF", "svg": b"<?xml"}[ending])

    assert main(["parts", str(path), "--pictures", str(sheet)]) == 2
    assert "--force" in capsys.readouterr().err
    assert sheet.read_bytes() == first
    assert main(["parts", str(path), str(refused), "--pictures", str(sheet), "--force"]) == 2
    assert sheet.read_bytes() == first
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted({path.name, refused.name, sheet.name})


def test_a_picture_needs_a_known_ending(path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["parts", str(path), "--pictures", str(tmp_path / "sheet.gif")]) == 2
    assert ".png, .pdf or .svg" in capsys.readouterr().err


def test_nest_takes_the_same_options(path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    out = tmp_path / "out"
    plate = ["--plate", "400x400", "--kerf", "1.5", "--gap", "6", "--margin", "8", "--steps", "3", "--out", str(out)]
    part = ["--part", f"{path}:1", "--for", str(path), "only=[1, 3]"]

    code = main(["nest", *plate, *part, "--join", "1.5", "--rule", "inner=ignore", "--json"])
    report = json.loads(capsys.readouterr().out)

    assert code == 0
    assert [round(p["area_mm2"]) for p in report["report"]["parts"]] == [10000, 3600]


def test_a_flood_of_one_kind_is_cut_short_for_people_only(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    def many(space: Any) -> None:
        for _ in range(50):
            space.add_circle((0, 0), 50)

    path = drawing(tmp_path / "pile.dxf", many)
    main(["parts", str(path)])
    assert "29 more of kind 'duplicate'; --json lists them all" in capsys.readouterr().err
    assert len(listed(capsys, path)[1]["findings"]) == 49


def test_svg_in_a_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    text = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="90mm" viewBox="0 0 90 50"><rect width="90" height="50"/></svg>'
    )
    (tmp_path / "drawings").mkdir()
    (tmp_path / "drawings" / "plate.svg").write_text(text, encoding="utf-8")

    code, found, _ = listed(capsys, tmp_path / "drawings")

    assert code == 0
    assert (found["parts"][0]["width_mm"], found["parts"][0]["height_mm"]) == (90.0, 50.0)
