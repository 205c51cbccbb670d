"""`oddplate rack`: exit codes, what is told and where, files whole or not at all."""

import json
from pathlib import Path
from typing import Any

import pytest
from drawings import drawing, square
from outline_layouts import LAYOUT

from cli import rack_options
from cli.main import main
from cli.rack import ACTS
from nesting.files.layout_file import save_layout
from nesting.files.plate_file import read_plate_file
from nesting.rack.store import open_rack

Captured = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a space in its name; the rack is named by the environment."""
    folder = tmp_path / "my shop"
    folder.mkdir()
    monkeypatch.chdir(folder)
    monkeypatch.setenv("ODDPLATE_RACK", str(folder / "the rack.db"))
    monkeypatch.setenv("ODDPLATE_WHO", "Ann")
    monkeypatch.delenv("ODDPLATE_SHOP", raising=False)
    return folder


def run(*args: str) -> int:
    return main(["rack", *args])


def told(capsys: Captured, *args: str, code: int = 0) -> Any:
    """Run with --json, and return the one document."""
    capsys.readouterr()
    assert run(*args, "--json") == code
    document = json.loads(capsys.readouterr().out)
    assert document["exit_code"] == code
    return document


def test_every_command_has_help_and_is_told_in_the_document():
    text = (Path(__file__).parents[2] / "docs" / "rack.md").read_text(encoding="utf-8")
    for name in ACTS:
        assert run(name, "--help") == 0
        assert name in text


def test_plates_come_from_files_drawings_and_sizes(home: Path, capsys: Captured):
    assert (
        main(["plate", "corners", "--typed", "0,0; 1200,0; 1180,640; 0,700", "--out", "odd one.toml", "--heat", "H1"])
        == 0
    )
    drawing(home / "plate.dxf", lambda space: square(space, 500.0))
    capsys.readouterr()
    assert run("add", "odd one.toml", "--thickness", "1/4 in", "--place", "Übergang") == 0
    out, err = capsys.readouterr()
    assert out.startswith(
        "A22R  odd one: 1200 x 700 mm, 6.35 mm thick, grade unknown, heat H1, at Übergang, uncertain by"
    )
    assert "chalk the id on it" in out and "note: a new rack was made: " in err and "the rack.db" in err
    assert run("add", "plate.dxf") == 2
    assert "how far the drawing may be off the steel is not known; give --uncertainty" in capsys.readouterr().err
    document = told(capsys, "add", "plate.dxf", "--uncertainty", "1.5", "--id", "k-1", "--value", "12.5")
    (piece,) = document["pieces"]
    assert (piece["id"], piece["uncertainty_mm"], piece["value"], piece["valued"]) == ("K-1", 1.5, 12.5, "own")
    assert len(told(capsys, "add", "48 in x 96 in", "--count", "3", "--thickness", "6")["pieces"]) == 3
    assert run("add", "layout.json") == 2
    assert "comes to the rack by 'oddplate rack cut'" in capsys.readouterr().err
    assert run("add", "no.toml", "100x100") == 2
    assert "no.toml: no such plate file" in capsys.readouterr().err
    assert told(capsys, "list")["found"] == 5  # all sources or none
    assert run("add", "1x1", "2x2", "--id", "X") == 2
    assert "--id goes with one piece" in capsys.readouterr().err


def test_a_size_is_read_in_the_unit_that_is_said(home: Path, capsys: Captured):
    (piece,) = told(capsys, "add", "48x96", "--units", "inch", "--thickness", "1/4 in")["pieces"]
    assert [piece["sizes"][f"size_{axis}_mm"] for axis in "xy"] == pytest.approx([1219.2, 2438.4])
    assert run("add", "48x96", "--units", "inch", "--thickness", "0.25") == 2
    assert '"0.25 inch" or "0.25 mm"' in capsys.readouterr().err
    assert run("add", "48x96", "--units", "px96") == 2


@pytest.mark.parametrize(
    ("source", "why"),
    [("0x20", "two lengths above 0"), ("none.dxf", "no such file"), ("1200y800", "no such file"), (".", "is a folder")],
)
def test_what_is_no_plate_is_refused(source: str, why: str, capsys: Captured):
    assert run("add", source) == 2
    assert why in capsys.readouterr().err


def test_an_inch_shop_reads_inches_and_pounds(home: Path, capsys: Captured):
    (home / "shop.toml").write_text('units = "inch"\n', encoding="utf-8")
    run("add", "48x96", "--units", "inch", "--thickness", "1/4 in", "--grade", "A36")
    capsys.readouterr()
    assert run("list") == run("show", "A22R") == run("labels", "--out", "l.pdf") == 0
    out = capsys.readouterr().out
    # 0.2836 lb/in3, AISC table of plate weights: 10.21 lb/ft2 for 1/4 in, 326.7 lb for 4 x 8 ft
    assert "size in" in out and "0.250" in out and "96 x 48" in out and "326." in out and "lb" in out
    assert "96 x 48 in over all" in out and "2438" not in out
    assert run("totals") == run("take", "A22R", "--for", "gate") == 0
    out = capsys.readouterr().out
    # 4 x 8 ft are 32 ft2
    assert "in thick" in out and "ft²" in out and " 32.00 " in out and "326." in out
    assert "A22R  96 x 48 in: set aside for gate" in out


def test_a_piece_is_shown_drawn_and_written(home: Path, capsys: Captured):
    run("add", "900x500", "--thickness", "6", "--grade", "S235JR", "--photo", "a b.jpg")
    assert run("show", "a22r", "--picture", "p 1.png", "--plate-file", "p.toml") == 0
    out, err = capsys.readouterr()
    for line in (
        "thickness    6 mm",
        "heat         -",
        "mass         21.2 kg (7850 kg/m3, mild steel)",
        "photo        a b.jpg",
    ):
        assert line in out
    assert "wrote p 1.png" in err and (home / "p 1.png").read_bytes().startswith(b"\x89PNG")
    assert read_plate_file(home / "p.toml").plate.area_mm2 == 450_000
    assert run("show", "A22R", "--picture", "p 1.png") == 2
    assert "exists already; use --force" in capsys.readouterr().err
    document = told(capsys, "show", "A22R")
    assert document["history"][0]["kind"] == "add" and document["outline"]["outer"]["curves"]
    assert run("show", "A23R") == 2
    assert (
        "A23R: no piece of the rack has this id; its last sign does not go with the others" in capsys.readouterr().err
    )


def test_taking_giving_back_scrapping_and_undoing(capsys: Captured):
    run("add", "900x500", "--count", "2")
    assert run("take", "A22R", "--for", "gate") == 0
    capsys.readouterr()
    assert run("take", "A23N", "A22R", "--for", "door", "--who", "Bob") == 1
    out, err = capsys.readouterr()
    assert out == "" and "A22R: is set aside for gate by Ann on" in err and "nothing was changed" in err
    assert [p["id"] for p in told(capsys, "list", "--for", "gate")["pieces"]] == ["A22R"]
    assert told(capsys, "give-back", "A22R")["pieces"][0]["state"] == "on the rack"
    assert told(capsys, "scrap", "A22R", "--note", "bent")["pieces"][0]["state"] == "scrapped"
    assert told(capsys, "undo", "A22R")["undone"]["kind"] == "scrap"
    acts = told(capsys, "history", "A22R")["acts"]
    assert [a["kind"] for a in acts] == ["add", "set aside", "give back", "scrap", "undo"]
    assert (acts[3]["note"], acts[3]["who"], acts[3]["undone_by"]) == ("bent", "Ann", acts[4]["number"])
    capsys.readouterr()
    assert run("history") == 0
    assert "undo of 5" in capsys.readouterr().out
    assert run("edit", "A22R") == 2
    assert "say what to put right" in capsys.readouterr().err
    assert told(capsys, "edit", "A22R", "--grade", "S355", "--thickness", "8")["pieces"][0]["grade"] == "S355"
    assert told(capsys, "edit", "A22R", "--grade", "")["pieces"][0]["grade"] is None


def test_a_layout_is_cut_and_its_rest_comes_back(home: Path, capsys: Captured):
    save_layout(LAYOUT, home / "layout.json")
    (home / "odd.toml").write_text(
        'schema = "oddplate-plate/1"\nunits = "mm"\n[plate]\n'
        "corners = [[0, 0], [1600, 0], [1500, 700], [300, 760], [0, 500]]\n"
        'thickness = 8\ngrade = "S235JR"\n[capture]\nway = "tapes"\n',
        encoding="utf-8",
    )
    run("add", "odd.toml", "--place", "B2")
    capsys.readouterr()
    assert run("cut", "layout.json") == 2
    assert "say which piece was cut with --piece ID" in capsys.readouterr().err
    assert run("cut", "layout.json", "--piece", "A22R", "--failed", "P2", "--not-reached", "P3-P4") == 0
    out, err = capsys.readouterr()
    assert out.splitlines()[:3] == [
        "A22R: cut, layout abc, 1 parts made", "failed: P2 (ring)", "not reached: P3 (ring), P4 (ring)"]  # fmt: skip
    assert "A23N  came back: " in out and "at B2; chalk the id on it" in out and "note: " in err
    assert run("cut", "layout.json", "--piece", "A22R") == 1
    assert "A22R: was cut by Ann" in capsys.readouterr().err
    run("undo", "A22R")
    document = told(capsys, "cut", "layout.json", "--piece", "A22R")
    assert len(document["made"]) == 4 and document["remnants"][0]["parent"] == "A22R"
    assert run("cut", "layout.json", "--failed", "P9") == 2
    assert "P9: the layout has no such part; it has P1 to P4" in capsys.readouterr().err


def test_lists_filter_and_tell_what_fits(home: Path, capsys: Captured):
    run("add", "900x500", "--thickness", "6.2", "--grade", "S235JR", "--place", "B2")
    run("add", "400x300", "--thickness", "8")
    drawing(home / "foot.dxf", lambda space: square(space, 350.0))

    def ids(*args: str) -> list[str]:
        return [p["id"] for p in told(capsys, "list", *args)["pieces"]]

    assert ids() == ["A22R", "A23N"]
    assert ids("--thickness", "6") == ids("--grade", "s235 jr") == ids("--place", "B2") == ["A22R"]
    assert ids("--fits", "310x290") == ["A22R", "A23N"] and ids("--fits", "310x290", "--margin", "6") == ["A22R"]
    assert ids("--fits", "foot.dxf") == ["A22R"] and ids("--most", "1") == ["A22R"]
    assert ids("--state", "scrapped") == []
    capsys.readouterr()
    assert run("list", "--fits", "400x250") == 0
    assert capsys.readouterr().out.splitlines()[1].split()[:2] == ["yes", "A22R"]
    assert run("list", "--state", "lost") == 2
    assert "'lost' is none of on the rack, set aside" in capsys.readouterr().err


def test_a_job_is_held_against_the_rack(home: Path, capsys: Captured):
    drawing(home / "foot.dxf", lambda space: square(space, 200.0))
    (home / "shop.toml").write_text('units = "mm"\nrack = "other.db"\n', encoding="utf-8")
    (home / "job.toml").write_text(
        'units = "mm"\n[plate]\nrack = "choose"\nthickness = 6\n[clearances]\nkerf = 1.6\ngap = 6\nmargin = 9\n'
        '[[part]]\ndrawing = "foot.dxf"\nquantity = 2\ngrade = "S235JR"\n[search]\nsteps = 1\n',
        encoding="utf-8",
    )
    run("add", "900x500", "--thickness", "6")
    run("add", "430x230", "--thickness", "6", "--grade", "S235JR")
    assert [a["fits"] for a in told(capsys, "will-it-fit", "job.toml")["answers"]] == ["yes"]
    document = told(capsys, "will-it-fit", "job.toml", "--try", "1", "--all")
    assert [(a["piece"]["id"], a["fits"]) for a in document["answers"]] == [("A23N", "yes"), ("A22R", "no")]
    assert run("will-it-fit", "job.toml", "--all") == 0
    out, err = capsys.readouterr()
    assert out.startswith("yes      A23N") and "its grade is not known, and foot asks for S235JR" in out
    assert "of 2 pieces 1 serves, 0 may" in err
    assert run("will-it-fit", "job.toml", "--accept-unknown-grade") == 0
    assert "WARNING: its grade is NOT KNOWN" in capsys.readouterr().out
    text = (home / "job.toml").read_text(encoding="utf-8")
    (home / "job.toml").write_text(text.replace("kerf = 1.6\n", ""), encoding="utf-8")
    assert run("will-it-fit", "job.toml") == 2
    out, err = capsys.readouterr()
    assert out == "" and "the kerf is not known" in err and "[clearances]" in err and "[[measured_kerf]]" in err
    (home / "job.toml").write_text(text, encoding="utf-8")
    assert main(["nest", "job.toml", "--out", "out", "--take"]) == 0
    err = capsys.readouterr().err
    assert "note: piece A23N was chosen from the rack, it serves" in err and "A23N was set aside for job" in err
    assert told(capsys, "show", "A23N")["set_aside_for"] == "job"
    assert told(capsys, "cut", "out", "--shop", "shop.toml")["piece"]["id"] == "A23N"
    assert told(capsys, "will-it-fit", "job.toml", code=1)["answers"] == []
    assert main(["nest", "job.toml", "--from-rack", "A23N", "--out", "again"]) == 2
    assert "A23N is not there to be cut: cut" in capsys.readouterr().err


def test_the_rack_is_looked_for_as_told(home: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv("ODDPLATE_RACK")
    monkeypatch.setattr(rack_options, "DEFAULT_RACK", str(home / "settings" / "rack.db"))
    assert run("list") == 2
    assert "no such file; 'oddplate rack add' makes a rack" in capsys.readouterr().err
    run("add", "1x1")
    assert (home / "settings" / "rack.db").exists()
    (home / "shop.toml").write_text('units = "mm"\nrack = "shop rack.db"\n', encoding="utf-8")
    run("add", "2x2")
    assert (home / "shop rack.db").exists()
    (home / "far").mkdir()
    (home / "far" / "their shop.toml").write_text('units = "mm"\nrack = "theirs.db"\n', encoding="utf-8")
    run("add", "3x3", "--shop", "far/their shop.toml")
    assert (home / "far" / "theirs.db").exists()
    monkeypatch.setenv("ODDPLATE_RACK", "env.db")
    run("add", "4x4")
    run("add", "5x5", "--rack", "said.db")
    assert (home / "env.db").exists() and (home / "said.db").exists()
    with open_rack(home / "said.db") as rack:
        assert rack.listed()[0].summary.size_x_mm == 5.0


def test_books(home: Path, capsys: Captured):
    run("add", "900x500", "--thickness", "6", "--place", "B2", "--count", "2")
    assert run("labels", "--out", "l.pdf") == 0
    assert (home / "l.pdf").read_bytes().startswith(b"%PDF")
    assert run("labels", "--out", "l.png") == 2
    assert run("export", "all.json") == run("export", "t.csv") == 0
    assert run("export", "all.json") == run("export", "all.txt") == 2
    (home / "noise.txt").write_bytes(bytes(range(256)))
    assert run("stocktake", "--file", "noise.txt") == run("stocktake", "--file", "none.txt") == 2
    (home / "broken.json").write_text("{", encoding="utf-8")
    for file in ("l.pdf", "broken.json", "none.csv"):
        assert run("import", file, "--rack", "new.db") == 2
    assert not (home / "new.db").exists()
    err = capsys.readouterr().err
    assert "exists already" in err and "an export ends in .json (the whole rack) or .csv" in err
    assert run("import", "all.json", "--rack", "copy.db") == 0
    assert "2 pieces came from all.json" in capsys.readouterr().out
    assert run("import", "t.csv") == 2
    (home / "bad.json").write_text("{", encoding="utf-8")
    assert run("import", "bad.json", "--rack", "new.db") == 2
    assert "bad.json, line 1 column 2: not JSON" in capsys.readouterr().err
    (home / "seen.txt").write_text("A22R\nA23M\n", encoding="utf-8")
    assert run("stocktake", "--file", "seen.txt") == 0
    out = capsys.readouterr().out
    assert "there: 1" in out and "missing: A23N, 900 x 500 mm, at B2" in out and "not known: A23M; is it A23N?" in out
    assert told(capsys, "stocktake", "A22R", "A23N")["agrees"] is True
    assert told(capsys, "show", "A23N")["last_stocktake"]["outcome"] == "there"
    assert run("show", "A22R") == 0
    assert ": there" in capsys.readouterr().out
    assert run("totals") == 0
    out, err = capsys.readouterr()
    assert out.splitlines()[-1].split() == ["all", "2", "0.9000", "42.4", "-"]
    assert "for 2 pieces whose grade is not known or not in the table mild steel is assumed in the mass" in err
    assert told(capsys, "totals")["total"]["pieces"] == 2


def test_what_cannot_be_written_is_told(home: Path, capsys: Captured):
    assert run("add", "1x1", "--rack", "no/such/rack.db") == 2
    assert "there is no folder" in capsys.readouterr().err
    (home / "text.db").write_text("some text, not a database", encoding="utf-8")
    assert run("list", "--rack", "text.db") == 2
    assert "is no rack (not an SQLite file)" in capsys.readouterr().err
    assert run("add", "1x1", "--weight", "-3") == 2
    assert "expected a figure above 0" in capsys.readouterr().err
