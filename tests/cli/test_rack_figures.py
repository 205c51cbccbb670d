"""Figures that cannot be do not come to the rack, and one that came with an earlier version does not shut it."""

import json
import sqlite3
from pathlib import Path

import pytest

from cli.main import main

Captured = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to stand in, and a rack with two sound pieces."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("ODDPLATE_RACK", str(tmp_path / "rack.db"))
    monkeypatch.setenv("ODDPLATE_WHO", "Ann")
    monkeypatch.delenv("ODDPLATE_SHOP", raising=False)
    run("add", "900x500", "--thickness", "6", "--count", "2")
    return tmp_path


def run(*args: str) -> int:
    return main(["rack", *args])


def spoiled(home: Path, **figures: object) -> None:
    """Write into the first piece what an earlier version took."""
    connection = sqlite3.connect(home / "rack.db")
    connection.execute("PRAGMA ignore_check_constraints = ON")
    for key, value in figures.items():
        connection.execute(f"UPDATE rack_pieces SET {key} = ? WHERE id = 'A22R'", (value,))
    connection.commit()
    connection.close()


@pytest.mark.parametrize("command", [("add", "100x100"), ("edit", "A22R")])
@pytest.mark.parametrize(
    ("option", "value", "why"),
    [
        ("--value", "inf", "expected a figure of 0 or more, got inf"),
        ("--value", "1e400", "expected a figure of 0 or more, got inf"),
        ("--value", "-5", "expected a figure of 0 or more, got -5"),
        ("--value", "nan", "expected a figure of 0 or more, got nan"),
        ("--weight", "nan", "expected a figure above 0, got nan"),
        ("--grain", "nan", "expected a number, got nan"),
        ("--grain", "1e400", "expected a number, got inf"),
        ("--thickness", "0", "expected a thickness above 0, got 0"),
        ("--thickness", "-3", "expected a thickness above 0, got -3"),
    ],
)
def test_figures_that_cannot_be_do_not_come_in(
    command: tuple[str, ...], option: str, value: str, why: str, capsys: Captured
):
    capsys.readouterr()
    assert run(*command, option, value) == 2
    assert why in capsys.readouterr().err
    assert run("list", "--json") == 0
    listed = json.loads(capsys.readouterr().out)
    assert listed["found"] == 2 and {p["thickness_mm"] for p in listed["pieces"]} == {6.0}


@pytest.mark.parametrize(("option", "value"), [("--thickness", "-3"), ("--grain", "nan"), ("--grain", "inf")])
def test_a_plate_file_holds_none_either(home: Path, option: str, value: str, capsys: Captured):
    assert main(["plate", "corners", "--typed", "0,0; 900,0; 0,500", "--out", "p.toml", option, value]) == 2
    assert "expected a" in capsys.readouterr().err
    assert not (home / "p.toml").exists()


@pytest.mark.parametrize(
    ("figures", "told"),
    [
        ({"thickness_mm": -3.0}, "A22R: thickness_mm: expected more than 0, got -3; taken as unknown"),
        ({"grain_deg": float("inf")}, "A22R: grain_deg: expected a finite number, got inf"),
        ({"valued": "own", "own_value": float("inf")}, "A22R: own_value: expected a finite number, got inf"),
        ({"valued": "own", "own_value": -5.0}, "A22R: own_value: expected 0 or more, got -5"),
        ({"valued": "own", "own_value": None}, "A22R: own_value: expected one for a piece valued 'own', got None"),
    ],
)
def test_a_piece_with_such_a_figure_leaves_the_rack_usable_and_can_be_put_right(
    home: Path, figures: dict[str, object], told: str, capsys: Captured
):
    spoiled(home, **figures)
    capsys.readouterr()
    assert run("list") == 0
    out, err = capsys.readouterr()
    assert "A22R" in out and "A23N" in out and told in err and "'oddplate rack edit A22R'" in err
    assert run("totals") == run("show", "A22R") == 0
    assert capsys.readouterr().err.count(told) == 2
    assert run("export", "all.json") == run("export", "t.csv") == 0
    json.loads((home / "all.json").read_text(encoding="utf-8"), parse_constant=pytest.fail)
    assert run("import", "all.json", "--rack", "copy.db") == run("import", "t.csv", "--rack", "table.db") == 0
    assert run("edit", "A22R", "--thickness", "8", "--grain", "90", "--value", "12") == 0
    capsys.readouterr()
    assert run("list") == run("history", "A22R", "--json") == 0
    assert "warning" not in capsys.readouterr().err
    assert run("undo", "A22R") == run("list") == 0
    assert "warning" not in capsys.readouterr().err, "an undoing brings back no such figure"


def test_an_export_with_an_infinity_does_not_come_in(home: Path, capsys: Captured):
    assert run("export", "all.json") == 0
    text = (home / "all.json").read_text(encoding="utf-8")
    for value, why in (("Infinity", "grain_deg: expected a finite number or null"), ('"x"', "expected a number")):
        (home / "bad.json").write_text(text.replace('"grain_deg": null', f'"grain_deg": {value}', 1), encoding="utf-8")
        assert run("import", "bad.json", "--rack", "new.db") == 2
        assert why in capsys.readouterr().err
    spoilt = text.replace('"thickness_mm": 6.0', '"thickness_mm": -6.0', 1)
    (home / "bad.json").write_text(spoilt, encoding="utf-8")
    assert run("import", "bad.json", "--rack", "new.db") == 2
    assert "pieces[0]: cannot be read: thickness_mm: expected more than 0, got -6" in capsys.readouterr().err


def test_a_record_of_another_kind_does_not_come_in(home: Path, capsys: Captured):
    """It would only be found when the piece is to be written as a plate file."""
    header = "size_x_mm,size_y_mm,capture\n"
    (home / "t.csv").write_text(header + '800,300,"{""way"": 7}"\n800,300,tapes\n', encoding="utf-8")
    assert run("import", "t.csv") == 2
    err = capsys.readouterr().err
    assert "t.csv, line 2: capture.way: expected a text in quotes, got a number (7)" in err
    assert "t.csv, line 3: capture: expected an object as JSON, got 'tapes'" in err
    assert run("export", "all.json") == 0
    text = (home / "all.json").read_text(encoding="utf-8")
    (home / "bad.json").write_text(text.replace('\\"way\\"', '\\"when\\": \\"x\\", \\"way\\"', 1), encoding="utf-8")
    assert run("import", "bad.json", "--rack", "new.db") == 2
    assert "pieces[0]: cannot be read: capture.when: expected a date such as 2026-05-31" in capsys.readouterr().err
    spoiled(home, capture='{"way": 7}')
    assert run("show", "A22R", "--plate-file", "p.toml") == 2
    assert "A22R: how its outline came in cannot be read: capture.way" in capsys.readouterr().err


def test_a_table_with_semicolons_is_told_as_such(home: Path, capsys: Captured):
    (home / "t.csv").write_text("size_x_mm;size_y_mm\n800,5;300\n", encoding="utf-8")
    assert run("import", "t.csv") == 2
    assert "expected columns parted by commas, got 'size_x_mm;size_y_mm'; save the table" in capsys.readouterr().err


def test_a_size_of_nothing_is_not_looked_for(capsys: Captured):
    assert run("list", "--fits", "0x0") == 2
    assert "0x0: expected two lengths above 0" in capsys.readouterr().err


def test_a_search_ends(home: Path, capsys: Captured):
    assert run("will-it-fit", "job.toml", "--try", "nan") == 2
    assert "--try: expected a number, got nan" in capsys.readouterr().err


def test_the_folder_of_a_plan_is_not_that_of_a_piece(home: Path, capsys: Captured):
    (home / "week-plan" / "01-A22R").mkdir(parents=True)
    (home / "week-plan" / "plan.json").write_text("{}", encoding="utf-8")
    (home / "week-plan" / "01-A22R" / "layout.json").write_text("{}", encoding="utf-8")
    assert run("cut", "week-plan") == 2
    err = capsys.readouterr().err
    assert "week-plan: is the folder of a plan; give the folder of the one piece that was cut" in err
    assert f"such as {Path('week-plan') / '01-A22R'}" in err
