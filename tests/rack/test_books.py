"""What is exported comes back exactly; what is not whole does not come in."""

import copy
import json
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from racks import accounts, new_piece
from shapes import polygon_part

from nesting.errors import InputError
from nesting.plate import Plate
from nesting.rack import sheets
from nesting.rack.books import dump, load
from nesting.rack.counting import last_seen, likely, take_stock
from nesting.rack.look import Filter
from nesting.rack.piece import CutPart, Facts, NewPiece
from nesting.rack.store import NewCut, Rack, open_rack
from nesting.steps.rack_files import export_rack, import_rack, read_import

ODD = shapely.Polygon([(0.1, 0), (900, 1 / 3), (450, 610)], [[(400, 200), (480, 200), (440, 290)]])


def filled(rack: Rack) -> None:
    """A rack with a bit of everything."""
    part = polygon_part("odd", ODD)
    odd = NewPiece.of(
        Plate(name="odd", outer=part.outer, holes=part.holes, uncertainty_mm=0.1 + 0.2),
        Facts(name="Blech, »Ä«", thickness_mm=1 / 3, grade="S 235", place="=B2", note="line\nbreak",
              valued="own", own_value=7.3),
        capture={"way": "tapes", "who": "Ann", "when": "2026-03-04"},
    )  # fmt: skip
    a, b, c, d = (
        p.id for p in rack.add([new_piece(), replace(odd, added=date(2025, 2, 1)), new_piece(), new_piece()], who="Ann")
    )
    part_cut = CutPart(number=1, part_id="x", name="x")
    areas = {"parts_mm2": 500000 - 400 * 500.0}
    _, came = rack.cut(
        a, NewCut(layout_id="l", layout_json="{}", made=(part_cut,), areas=areas), [new_piece(400, 500)], who="Bob"
    )
    rack.set_aside([b], "gate", who="Bob", note="urgent")
    rack.scrap([d], who="Ann")
    rack.undo(c, who="Ann")
    take_stock(rack, [b, d, "ZZ"], who="Ann", place="=B2")
    assert came


def test_json_gives_back_the_whole_rack(rack: Rack, tmp_path: Path):
    filled(rack)
    export_rack(rack, tmp_path / "all of it.json")
    document = json.loads((tmp_path / "all of it.json").read_text(encoding="utf-8"))
    with open_rack(tmp_path / "copy.db", create=True) as other:
        assert import_rack(other, read_import(tmp_path / "all of it.json"), who="me") == 5
        assert dump(other) == document == dump(rack)
        everything = Filter(states=("on the rack", "set aside", "cut", "scrapped", "taken back"))
        assert other.pieces(everything) == rack.pieces(everything)
        assert other.history() == rack.history() and other.cuts() == rack.cuts()
        assert other.add([new_piece()], who="me")[0].id == rack.add([new_piece()], who="me")[0].id
        accounts(other)
        with pytest.raises(
            InputError, match=r"is not empty, and .* is a whole rack with its history; import it into a new"
        ):
            import_rack(other, read_import(tmp_path / "all of it.json"), who="me")
    with pytest.raises(InputError, match="exists already"):
        export_rack(rack, tmp_path / "all of it.json")


def test_a_table_gives_back_what_is_there(rack: Rack, tmp_path: Path):
    filled(rack)
    export_rack(rack, tmp_path / "t.csv")
    with open_rack(tmp_path / "copy.db", create=True) as other:
        assert import_rack(other, read_import(tmp_path / "t.csv"), who="me") == 2
        assert [replace(p, number=0) for p in other.pieces()] == [replace(p, number=0) for p in rack.pieces()]
        export_rack(other, tmp_path / "u.csv")
        accounts(other)
        with pytest.raises(InputError, match="a piece has or had this id"):
            import_rack(other, read_import(tmp_path / "t.csv"), who="me")
        assert len(other.history()) == 3
    assert (tmp_path / "u.csv").read_bytes() == (tmp_path / "t.csv").read_bytes()


texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=20)
figures = st.floats(1e-6, 1e6)


@settings(max_examples=40, deadline=None)
@given(name=texts, grade=texts.filter(bool), thickness=st.none() | figures, own=figures, grain=st.none() | figures)
def test_any_facts_survive_a_table(name: str, grade: str, thickness: float | None, own: float, grain: float | None):
    facts = Facts(name=name, grade=grade, thickness_mm=thickness, grain_deg=grain, valued="own", own_value=own)
    with open_rack("sqlite://", create=True) as rack:
        rack.add([replace(new_piece(), facts=facts)], who="me")
        (piece,) = rack.pieces()
        ((new, job),) = sheets.read(sheets.written([piece]), "t.csv")
    assert (new.facts, new.summary, new.outline, new.id, job) == (facts, piece.summary, piece.outline, piece.id, None)


def test_sizes_that_are_not_those_of_the_outline_are_measured_anew(rack: Rack):
    rack.add([new_piece()], who="me")
    text = sheets.written(rack.pieces()).replace("1000.0,500.0,0.0,", "9000.0,900.0,0.0,")
    ((new, _),) = sheets.read(text, "t.csv")
    assert (new.summary.long_mm, new.summary.short_mm) == (1000.0, 500.0)


def test_a_table_of_ones_own_needs_a_few_columns_only():
    ((new, job),) = sheets.read("id,size_x_mm,size_y_mm,thickness_mm,place\n17-A,800,300,6,B2\n", "own.csv")
    assert (new.id, new.facts.thickness_mm, new.facts.place, job) == ("17-A", 6.0, "B2", None)
    assert new.summary.area_mm2 == 240_000 and new.facts.grade is None


def test_all_faults_of_a_table_are_told_at_once():
    text = (
        "id,size_x_mm,size_y_mm,thickness_mm,state,valued,added\n"
        "A,800,300,6,,,\n"
        'B,"800,5",300,6,,,\n'
        "C,800,,6,,,\n"
        "D,800,300,-1,,,\n"
        "E,800,300,6,cut,,\n"
        "F,800,300,6,,dear,\n"
        "G,800,300,6,,,2026-02-30\n"
    )
    with pytest.raises(InputError) as caught:
        sheets.read(text, "own.csv")
    lines = str(caught.value).splitlines()
    assert [line.split(":")[0] for line in lines] == [f"own.csv, line {n}" for n in range(3, 9)]
    assert "size_x_mm: expected a number with a point, got '800,5'" in lines[0]
    assert "has no shape: give outline, or size_x_mm and size_y_mm" in lines[1]
    assert "thickness_mm: expected more than 0, got -1" in lines[2] and "expected 'on the rack'" in lines[3]
    assert "added: expected a date such as 2026-05-31, got '2026-02-30'" in lines[5]
    with pytest.raises(InputError, match="column 'colour' is not known; known: id, state"):
        sheets.read("id,colour\nA,red\n", "own.csv")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda d: d.update(schema="x"), "no export of a rack"),
        (lambda d: d.pop("cuts"), "cuts differ"),
        (lambda d: d.update(next_number="7"), "next_number: expected a whole number, got '7'"),
        (lambda d: d["pieces"][0].pop("grade"), r"pieces\[0\]: expected an object with the keys .*; grade differ"),
        (lambda d: d["pieces"][1].update(area_mm2="x"), r"pieces\[1\]\.area_mm2: expected a number or null, got 'x'"),
        (lambda d: d["pieces"][1].update(outline="{}"), r"pieces\[1\]: cannot be read"),
        (lambda d: d["changes"][0].update(act=99), r"changes\[0\]: cannot be read: 99"),
        (lambda d: d["pieces"][0].update(state="lost"), "rows that do not go together"),
        (lambda d: d["pieces"].append(d["pieces"][0]), "rows that do not go together"),
    ],
)
def test_what_is_no_whole_rack_does_not_come_in(change: Any, told: str):
    with open_rack("sqlite://", create=True) as rack:
        filled(rack)
        document = copy.deepcopy(dump(rack))
    change(document)
    with open_rack("sqlite://", create=True) as other:
        with pytest.raises(InputError, match=told):
            load(other, document, "all.json")
        assert other.listed() == [] and other.history() == []


def test_a_count_tells_what_is_missing_and_what_is_not_known(rack: Rack):
    here = [p.id for p in rack.add([new_piece(place="A")] * 3, who="me")]
    there = [p.id for p in rack.add([new_piece(place="B")] * 2, who="me")]
    rack.scrap([here[2]], who="me")
    before = rack.pieces(), rack.history()
    misread = here[1][:-1] + ("C" if here[1][-1] != "C" else "D")
    count = take_stock(rack, [here[0], here[0].lower(), there[0], here[2], misread], who="Ann", place="A")
    assert [p.id for p in count.there] == [here[0]] and [p.id for p in count.missing] == [here[1]]
    assert [p.id for p in count.elsewhere] == [there[0]] and [p.id for p in count.gone] == [here[2]]
    assert count.unknown == (misread,) and likely(rack, misread) == [here[1]] and not count.all_there
    assert (rack.pieces(), rack.history()) == before
    assert last_seen(rack, here[1]) == (count.when, "missing") and last_seen(rack, there[1]) is None
    assert take_stock(rack, [here[0], here[1], *there], who="Ann", write=False).all_there
    assert last_seen(rack, there[1]) is None
    with pytest.raises(InputError, match="no id was given"):
        take_stock(rack, [], who="Ann")
