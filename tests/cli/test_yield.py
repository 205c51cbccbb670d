"""`oddplate yield`: folders, layouts and reports in; sums, files and a rack's history out."""

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from functools import cache
from pathlib import Path

import pytest
from pypdf import PdfReader
from report_layouts import sample_layout

from cli.main import main
from nesting.files.layout_file import identified, save_layout
from nesting.layout import Layout
from nesting.rack.piece import NewPiece
from nesting.rack.store import open_rack
from nesting.report.figures import figures
from nesting.report.published import published
from nesting.report.yields.files import FILES
from nesting.shop import Prices, Shop
from nesting.steps.made_with import MadeWith, save_made_with
from nesting.steps.rack_cut import Cutting, record_cut

SHOP = Shop(amps=65.0, prices=Prices(new_per_kg=2.0, remnant_per_kg=1.0, scrap_per_kg=0.2, currency="EUR"))
SHOP_FILE = 'units = "mm"\nname = "Other"\n[prices]\nnew = 3\nremnant = 2\nscrap = 0.1\ncurrency = "GBP"\n'


@cache
def _layout(name: str = "R-017", thickness: float = 6.0) -> Layout:
    layout = sample_layout()
    return identified(replace(layout, id="", plate=replace(layout.plate, name=name, thickness_mm=thickness, holes=())))


@cache
def _report(name: str, thickness: float) -> str:
    return json.dumps(figures(_layout(name, thickness), SHOP).as_json())


def _result(folder: Path, layout: Layout) -> Path:
    """A result folder as far as this command reads one."""
    folder.mkdir(parents=True)
    save_layout(layout, folder / "layout.json")
    assert layout.plate.thickness_mm is not None
    text = _report(layout.plate.name, layout.plate.thickness_mm)
    (folder / "report.json").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    for name in ("ODDPLATE_RACK", "ODDPLATE_SHOP"):
        monkeypatch.delenv(name, raising=False)
    return tmp_path


def _json(capsys: pytest.CaptureFixture[str], *args: str) -> dict[str, object]:
    assert main(["yield", *args, "--json"]) == 0
    found: dict[str, object] = json.loads(capsys.readouterr().out)
    return found


def _plan(folder: Path, *, failed: int = 0, pieces: Sequence[dict[str, str]] = (), where: str = "lines") -> None:
    """A plan.json of two lines, as far as the report looks at it; the first may be one that has left the order."""
    gusset = {"line": "gusset", "name": "Gusset", "reference": "4711/2", "wanted": 9, "failed": failed}
    shim = {"line": "shim", "name": "Shim", "reference": "", "wanted": 4, "failed": 0}
    lines = {"lines": [gusset, shim]} if where == "lines" else {"lines": [shim], where: [gusset]}
    plan = {"schema": "oddplate-plan/1", "pieces": list(pieces), **lines}
    (folder / "plan.json").write_text(json.dumps(plan), encoding="utf-8")


def test_folders_layouts_and_reports_are_read(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _result(here / "a batch" / "plate 1", _layout())
    _result(here / "a batch" / "plate 2", _layout("R-018", 10.0))
    lone = _result(here / "lone", _layout("R-019"))

    found = _json(capsys, "a batch", "lone/report.json", "--title", "All of it")

    assert found["schema"] == "oddplate-yields/1" and found["title"] == "All of it"
    assert [c["plate"] for c in found["cuts"]] and {c["plate"] for c in found["cuts"]} == {"R-017", "R-018", "R-019"}  # type: ignore[index,attr-defined]
    assert found["currency"] == "EUR"
    report = json.loads((lone / "report.json").read_text(encoding="utf-8"))
    assert found["total"]["amounts"]["plate_mm2"] == round(3 * report["balance_mm2"]["plate_mm2"], 1)  # type: ignore[index]


def test_a_planned_batch_tells_what_was_wanted(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _result(here / "batch" / "01-R-017", _layout())
    _plan(here / "batch")

    found = _json(capsys, "batch")["lines"]

    wanted = {x["part_id"]: (x["wanted"], x["made"]) for x in found}  # type: ignore[attr-defined]
    assert (wanted["gusset"], wanted["shim"]) == ((9, 2), (4, 0))
    (here / "batch" / "plan.json").write_text('{"schema": "oddplate-plan/1", "lines": [{}]}', encoding="utf-8")
    assert main(["yield", "batch"]) == 2
    assert "plan.json: 'line' is missing" in capsys.readouterr().err


@pytest.mark.parametrize("where", ["lines", "unclaimed"])
def test_what_a_plan_says_failed_is_not_made(here: Path, capsys: pytest.CaptureFixture[str], where: str) -> None:
    """Two sheets alike with two gussets each, one of them cut, and one gusset of it no use: 3 made or to be made."""
    _result(here / "batch" / "01-R-017", _layout())
    _result(here / "batch" / "02-R-018", _layout("R-018"))
    states = [("01-R-017", "to cut"), ("02-R-018", "cut")]
    _plan(here / "batch", failed=1, pieces=[{"folder": f, "state": state} for f, state in states], where=where)

    found = _json(capsys, "batch")

    gusset = next(x for x in found["lines"] if x["part_id"] == "gusset")  # type: ignore[attr-defined]
    assert (gusset["made"], gusset["failed"]) == (3, 1)
    bases = {c["plate"]: c["basis"] for c in found["cuts"]}  # type: ignore[attr-defined]
    assert bases == {"R-017": "planned", "R-018": "made"}
    amounts = found["total"]["amounts"]  # type: ignore[index]
    areas = [amounts[f"{part}_mm2"] for part in ("parts", "failed", "kerf", "kept", "scrap")]
    assert sum(areas) == pytest.approx(amounts["plate_mm2"], rel=0.005)
    assert amounts["failed_mm2"] > 0


def test_a_layouts_own_report_counts_until_a_shop_is_given(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _result(here / "one", _layout())
    (here / "other.toml").write_text(SHOP_FILE, encoding="utf-8")

    own, anew = _json(capsys, "one"), _json(capsys, "one", "--shop", "other.toml")
    bare = _json(capsys, "one/layout.json")

    assert (own["currency"], own["shop"]) == ("EUR", "")
    assert (anew["currency"], anew["shop"]) == ("GBP", "Other")
    assert bare["currency"] == "", "no shop file here, so no prices"
    figure = {f["key"]: f["value"] for f in anew["figures"]}  # type: ignore[attr-defined]
    assert figure["plate_cost"] == pytest.approx(2 * figure["plate_mass"], abs=0.01)


def test_a_folder_without_a_report_is_worked_out_for_the_shop_it_was_made_with(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As the folder of a layout that was settled on the table: drawing and layout, no report."""
    folder, layout = _result(here / "settled", _layout()), _layout()
    (folder / "report.json").unlink()
    made = MadeWith(layout_id=layout.id, title="t", shop=SHOP, unit="mm", paper="A4")
    save_made_with(made, folder / "made-with.json")
    (here / "other.toml").write_text(SHOP_FILE, encoding="utf-8")

    own, anew = _json(capsys, "settled"), _json(capsys, "settled", "--shop", "other.toml")

    values = [{f["key"]: f["value"] for f in found["figures"]} for found in (own, anew)]  # type: ignore[attr-defined]
    assert (own["currency"], anew["currency"]) == ("EUR", "GBP")
    assert values[0]["cut_time"] == values[1]["cut_time"] > 0, "the shop file says no amperage; the layout's run did"


def test_all_files_appear_together(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _result(here / "one", _layout())

    assert main(["yield", "one", "--out", "the report", "--paper", "Letter", "--units", "inch"]) == 0

    folder = here / "the report"
    assert sorted(p.name for p in folder.iterdir()) == sorted(FILES)
    assert "wrote the report" in capsys.readouterr().err
    html = (folder / "yield.html").read_text(encoding="utf-8")
    assert "size: Letter landscape" in html and "in²" in html and '<svg xmlns="http://www.w3.org/2000/svg"' in html
    pdf = PdfReader(folder / "yield.pdf")
    total = json.loads((folder / "yield.json").read_text(encoding="utf-8"))["figures"]
    value = next(f["value"] for f in total if f["key"] == "utilisation")
    assert f"{value:.2f} %" in "".join(p.extract_text() for p in pdf.pages)
    assert pdf.pages[0].mediabox.width > pdf.pages[0].mediabox.height

    assert main(["yield", "one", "--out", "the report"]) == 2
    assert "the report: exists already; use --force" in capsys.readouterr().err
    (folder / "my notes.txt").write_text("mine", encoding="utf-8")
    assert main(["yield", "one", "--out", "the report", "--force"]) == 2
    assert "holds files that no run wrote (my notes.txt)" in capsys.readouterr().err
    (folder / "my notes.txt").unlink()
    assert main(["yield", "one", "--out", "the report", "--force"]) == 0


def test_people_read_sums_and_figures(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _result(here / "one", _layout())
    _result(here / "two", _layout("R-018", 10.0))

    assert main(["yield", "one", "two", "--file-dates"]) == 0

    out, err = capsys.readouterr()
    assert "thick, mm" in out and "all lines" in out and "Utilisation with leftover credit: " in out
    assert err == "note: all layouts count as planned: nobody has told what was made of them\n"


def test_the_same_folder_counts_once_and_twins_count_twice(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _result(here / "one", _layout())
    _result(here / "twin", _layout())

    assert main(["yield", "one", "./one", "twin", "--json"]) == 0

    out, err = capsys.readouterr()
    assert len(json.loads(out)["cuts"]) == 2
    assert "note: one was given more than once; it counts once" in err
    assert "lies in more than one place and counts each time" in err


def test_what_was_really_cut_comes_from_the_rack(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    layout, shop = _layout("P-1"), Shop(keep_mm=((100.0, 100.0),))
    folder = _result(here / "one", layout)
    now = datetime(2026, 11, 14, 9, 30).astimezone()
    with open_rack(here / "rack.db", create=True, now=lambda: now) as rack:
        rack.add([replace(NewPiece.of(layout.plate), id="P-1")], who="somebody")
        text, told = ((folder / name).read_text(encoding="utf-8") for name in ("layout.json", "report.json"))
        cutting = Cutting(
            layout=layout, layout_json=text, yield_json=told, failed=frozenset({3}), not_reached=frozenset({12})
        )
        done = record_cut(rack, cutting, shop, who="somebody", today=date(2026, 11, 14))
        back = sum(piece.plate.area_mm2 for piece in done.remnants)

    found = _json(capsys, "one", "--rack", "rack.db", "--month", "2026-11")
    nothing = _json(capsys, "--rack", "rack.db", "--until", "2026-11-14")

    assert (found["since"], found["until"], len(found["cuts"])) == ("2026-11-01", "2026-12-01", 1)  # type: ignore[arg-type]
    (cut,) = found["cuts"]  # type: ignore[misc]
    a = cut["amounts"]
    assert (cut["basis"], cut["piece_id"], cut["when"][:10]) == ("made", "P-1", "2026-11-14")
    assert (a["placed"], a["made"], a["failed"]) == (12, 10, 1)
    assert a["kept_mm2"] == pytest.approx(back, abs=0.1) and back > 0
    whole = sum(a[f"{key}_mm2"] for key in ("parts", "failed", "kerf", "kept", "scrap"))
    assert whole == pytest.approx(a["plate_mm2"], rel=1e-4)
    assert found["notes"] == []
    assert nothing["cuts"] == []
    assert main(["yield", "--rack", "rack.db", "--until", "2026-11-14"]) == 0
    assert capsys.readouterr().out == "nothing was cut in this time\n"


@pytest.mark.parametrize(
    ("args", "told"),
    [
        ([], "give layouts (result folders of 'oddplate nest'), or a time"),
        (["one", "--rack", "rack.db"], "--rack beside layouts needs a time"),
        (["--month", "2026-13"], "'2026-13' is not a month such as 2026-11"),
        (["--month", "2026-11", "--since", "2026-11-02"], "--month goes without --since and --until"),
        (["--since", "3.11.2026"], "'3.11.2026' is not a day such as 2026-11-30"),
        (["--since", "2026-11-09", "--until", "2026-11-02"], "2026-11-02 is not after 2026-11-09"),
        (["nowhere"], "nowhere: cannot be read"),
        (["empty"], "empty: holds no layout.json and no report.json"),
        (["stray.json"], "stray.json: schema is 'else/1', expected 'oddplate-layout/1' or 'oddplate-yield/1'"),
        (["broken.json"], "broken.json: not JSON"),
        (["bad.json"], "bad.json: parts: "),
        (["mixed"], "is of layout 3f9c0a7be41d, and layout.json beside it is"),
        (["one/report.json", "--mass", "gauge table"], "a report cannot be worked out anew"),
        (["one", "--units", "smoots"], "unit 'smoots' is not known"),
    ],
)
def test_what_cannot_be_used_is_told(
    here: Path, args: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    _result(here / "one", _layout())
    report = json.loads(_report("R-017", 6.0))
    other = report | {"layout_id": "3f9c0a7be41d"}
    (_result(here / "mixed", _layout()) / "report.json").write_text(json.dumps(other), encoding="utf-8")
    (here / "empty").mkdir()
    (here / "stray.json").write_text('{"schema": "else/1"}', encoding="utf-8")
    (here / "broken.json").write_text("{", encoding="utf-8")
    (here / "bad.json").write_text(json.dumps(report | {"parts": 3}), encoding="utf-8")

    assert main(["yield", *args]) == 2
    out, err = capsys.readouterr()
    assert out == "" and told in err
    assert all(line.startswith("oddplate: ") for line in err.splitlines())


def test_the_schema_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["yield", "--schema", "one"]) == 0
    assert capsys.readouterr().out == published("oddplate-yield/1")
