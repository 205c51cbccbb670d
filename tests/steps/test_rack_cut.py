"""What was really cut of a layout, and what comes back to the rack."""

import json
import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
import shapely
from outline_layouts import LAYOUT, PLATE
from racks import new_piece

from nesting.corner_names import named_corners
from nesting.errors import InputError, RackError
from nesting.files.layout_file import save_layout
from nesting.geometry.contour import Contour
from nesting.geometry.pose import Pose
from nesting.layout import Layout
from nesting.outline.leftover import CUT_EDGE_MM
from nesting.plate import KeepOut, Plate
from nesting.rack.piece import NewPiece
from nesting.rack.store import Rack, open_rack
from nesting.settle.turned import turned
from nesting.shop import Shop
from nesting.steps.capture import Known
from nesting.steps.made_with import MadeWith, save_made_with
from nesting.steps.rack_cut import Cutting, numbers, read_cutting, record_cut
from nesting.steps.racking import Said, piece_of_file, piece_of_size

SHOP = Shop(keep_mm=((150.0, 150.0),))


@pytest.fixture
def rack() -> Iterator[Rack]:
    with open_rack("sqlite://", create=True) as opened:
        yield opened


def laid(rack: Rack, tmp_path: Path) -> tuple[str, Layout]:
    """The plate of the layout as a piece of the rack, and the layout made for it."""
    id = rack.add([NewPiece.of(replace(PLATE, certificate="3.1/88", place="B2"))], who="me")[0].id
    return id, save_layout(replace(LAYOUT, plate=rack.piece(id).plate, id=""), tmp_path / "layout.json")


def test_a_layout_that_was_settled_on_the_table_is_recorded_for_its_piece(rack: Rack, tmp_path: Path):
    id, layout = laid(rack, tmp_path)
    straight = record_cut(rack, read_cutting(tmp_path), SHOP, who="Ann", shears=[((0.0, 450.0), (1200.0, 450.0))])
    rack.undo(id, who="Ann")
    pose = Pose(turn_deg=31.0, x_mm=250.0, y_mm=-40.0)
    lies = turned(layout, pose)
    settled = save_layout(replace(lies, plate=replace(lies.plate, settling_mm=4.0)), tmp_path / "layout.json")
    shop = replace(SHOP, name="That Day")
    made = MadeWith(layout_id=settled.id, title="t", shop=shop, unit="mm", paper="A4")
    save_made_with(made, tmp_path / "made-with.json")
    shear = (pose.point((0.0, 450.0)), pose.point((1200.0, 450.0)))
    done = record_cut(rack, read_cutting(tmp_path), SHOP, who="Ann", shears=[shear])
    report = json.loads(done.cut.yield_json or "{}")
    assert (report["layout_id"], report["shop"]) == (settled.id, "That Day")
    assert done.piece.id == id and len(done.remnants) == len(straight.remnants) > 0
    for ours, theirs in zip(done.remnants, straight.remnants, strict=True):
        assert ours.plate.grain_deg == theirs.plate.grain_deg == 90.0
        assert ours.plate.uncertainty_mm == pytest.approx(PLATE.uncertainty_mm + 4.0)
        apart = shapely.symmetric_difference(ours.plate.fine_polygon, theirs.plate.fine_polygon)
        assert apart.area < 1e-3 * theirs.plate.area_mm2


@pytest.mark.parametrize("text", ["P9-P7", "1-99999999999", "123456"])
def test_a_run_of_parts_that_cannot_be_is_refused(text: str):
    with pytest.raises(InputError, match="is no run of parts"):
        numbers([text])


def test_remnants_come_back_with_all_that_is_known_of_their_parent(rack: Rack, tmp_path: Path):
    id, layout = laid(rack, tmp_path)
    rack.edit(id, lambda f: replace(f, heat="H2"), who="Ann")  # found after the layout was made
    (tmp_path / "report.json").write_text(f'{{"layout_id": "{layout.id}"}}', encoding="utf-8")
    done = record_cut(rack, read_cutting(tmp_path), SHOP, who="Ann", today=date(2026, 3, 4))
    assert done.piece.state == "cut" and done.remnants
    for k, remnant in enumerate(done.remnants, start=1):
        plate = remnant.plate
        assert (plate.parent, plate.grade, plate.heat, plate.certificate) == (id, "S235JR", "H2", "3.1/88")
        assert (plate.thickness_mm, plate.grain_deg, plate.place) == (8.0, 90.0, "B2")
        assert remnant.facts.name == f"{id}-R{k}" and plate.uncertainty_mm == max(2.5, CUT_EDGE_MM)
        assert plate.capture is not None and plate.capture.when == date(2026, 3, 4)
        inside = shapely.difference(plate.fine_polygon, PLATE.fine_polygon)
        assert inside.area < 1e-3
    (record,) = rack.cuts()
    assert record.layout_json == (tmp_path / "layout.json").read_text(encoding="utf-8")
    assert record.yield_json == (tmp_path / "report.json").read_text(encoding="utf-8")
    assert [p.number for p in record.made] == [1, 2, 3, 4] and record.remnants == tuple(p.id for p in done.remnants)
    areas = record.areas
    parts = 4 * math.pi * (90**2 - 40**2)
    assert areas["parts_mm2"] == pytest.approx(parts, rel=1e-6)
    balance = sum(areas[f"{key}_mm2"] for key in ("parts", "kerf", "kept", "scrap"))
    assert balance == pytest.approx(areas["plate_mm2"], rel=1e-4)


def test_a_part_not_reached_leaves_its_place_and_a_failed_one_does_not(rack: Rack, tmp_path: Path):
    id, _ = laid(rack, tmp_path)
    place = Pose(x_mm=310, y_mm=310).geometry(LAYOUT.parts["ring"].fine_polygon)
    whole = record_cut(rack, read_cutting(tmp_path, failed=["P4"]), SHOP, who="Ann")
    assert [p.number for p in whole.cut.failed] == [4] and len(whole.cut.made) == 3
    assert not any(shapely.intersects(p.plate.fine_polygon, place) for p in whole.remnants)
    rack.undo(id, who="Ann")
    less = record_cut(rack, read_cutting(tmp_path, not_reached=["4"]), SHOP, who="Ann")
    assert [p.number for p in less.cut.not_reached] == [4]
    assert any(shapely.covers(p.plate.fine_polygon, place) for p in less.remnants)
    ring = math.pi * (90**2 - 40**2)
    assert less.cut.areas["parts_mm2"] == pytest.approx(whole.cut.areas["parts_mm2"] - ring, rel=1e-6)


def test_where_nothing_is_worth_keeping_nothing_comes_back(rack: Rack, tmp_path: Path):
    id, _ = laid(rack, tmp_path)
    done = record_cut(rack, read_cutting(tmp_path), Shop(keep_mm=((3000.0, 3000.0),)), who="Ann")
    assert done.remnants == () and "nothing comes back to the rack" in done.notes[0]
    assert done.cut.areas["kept_mm2"] == 0.0 and rack.piece(id).state == "cut" and rack.listed() == []


def test_a_leftover_that_rust_alone_makes_large_enough_does_not_come_back(rack: Rack, tmp_path: Path):
    rust = tuple(
        KeepOut(contour=Contour.of_points([(x, y), (x + 40, y), (x + 40, y + 40), (x, y + 40)]), reason="rust")
        for x in range(0, 1600, 100)
        for y in range(0, 760, 100)
    )
    _, layout = laid(rack, tmp_path)
    save_layout(replace(layout, plate=replace(layout.plate, keep_outs=rust), id=""), tmp_path / "layout.json")
    assert record_cut(rack, read_cutting(tmp_path), SHOP, who="Ann").remnants == ()


def test_a_bought_sheet_is_told_how_to_come_to_the_rack_and_then_takes_the_cut(rack: Rack, tmp_path: Path):
    """Its name in a plan, such as '8 mm JR 1', cannot be an id: nobody can guess what to do then."""
    sheet = Contour.of_rectangle(1828.8, 900)
    bought = Plate(name="8 mm JR 1", outer=sheet, captured="width and height in the job", thickness_mm=8.0, grade="S 1")
    save_layout(replace(LAYOUT, plate=bought, id=""), tmp_path / "layout.json")
    told = r"oddplate rack add 1828.8x900 --units mm --thickness 8mm --grade 'S 1' --heat HEAT --id NEW1'.*--piece NEW1"
    with pytest.raises(InputError, match=told):
        record_cut(rack, read_cutting(tmp_path), SHOP, who="Ann")
    said = Said(known=Known(thickness_mm=8.0, heat="H9"), id="NEW1")
    rack.add([piece_of_size(1828.8, 900, said)], who="Ann")
    done = record_cut(rack, read_cutting(tmp_path), SHOP, who="Ann", piece="NEW1")
    assert done.piece.id == "NEW1" and {p.plate.heat for p in done.remnants} == {"H9"}


def test_the_right_piece_is_asked_for(rack: Rack, tmp_path: Path):
    other = rack.add([new_piece()], who="me")[0].id
    save_layout(LAYOUT, tmp_path / "layout.json")
    cutting = read_cutting(tmp_path / "layout.json")
    with pytest.raises(
        InputError, match=r"lies on plate 'odd': ODD: no piece .*say which piece was cut with --piece ID"
    ):
        record_cut(rack, cutting, SHOP, who="Ann")
    with pytest.raises(
        InputError, match=f"was made for another outline than that of {other}: 1100000 mm2 against 500000"
    ):
        record_cut(rack, cutting, SHOP, who="Ann", piece=other)
    with pytest.raises(InputError, match="ZZ: no piece"):
        record_cut(rack, cutting, SHOP, who="Ann", piece="ZZ")
    id = rack.add([NewPiece.of(PLATE)], who="me")[0].id
    rack.set_aside([id], "gate", who="me")
    assert f"{id} was set aside for gate" in record_cut(rack, cutting, SHOP, who="Ann", piece=id).notes
    with pytest.raises(RackError, match=f"{id}: was cut by Ann"):
        record_cut(rack, cutting, SHOP, who="Bob", piece=id)
    assert len(rack.cuts()) == 1


def test_a_report_of_another_layout_is_not_taken(tmp_path: Path):
    save_layout(LAYOUT, tmp_path / "layout.json")
    (tmp_path / "report.json").write_text('{"layout_id": "other"}', encoding="utf-8")
    assert read_cutting(tmp_path).yield_json is None
    (tmp_path / "report.json").write_text("[]", encoding="utf-8")
    assert read_cutting(tmp_path).yield_json is None


def test_parts_are_named_as_they_are_chalked():
    assert numbers(["P3", "4, 5;p6", "P8 - P10"]) == [3, 4, 5, 6, 8, 9, 10]
    with pytest.raises(InputError, match="'x3' is no part of a layout; write its number, such as P3"):
        numbers(["x3"])
    with pytest.raises(InputError, match="P7: the layout has no such part; it has P1 to P4"):
        Cutting(layout=LAYOUT, layout_json="", failed=frozenset([7]))
    with pytest.raises(InputError, match="P2: cannot have failed and not have been reached"):
        Cutting(layout=LAYOUT, layout_json="", failed=frozenset([2]), not_reached=frozenset([2]))
    with pytest.raises(InputError, match="nothing was cut, so there is nothing to record"):
        Cutting(layout=LAYOUT, layout_json="", not_reached=frozenset([1, 2, 3, 4]))


def test_letters_chalked_on_a_plate_stay_on_the_rack(rack: Rack, tmp_path: Path):
    """Sheet and readouts must call a corner what is written beside it on the steel."""
    path = tmp_path / "odd.toml"
    path.write_text(
        'schema = "oddplate-plate/1"\nunits = "mm"\n[plate]\ncorners = [[0, 0], [900, 0], [900, 500], [0, 500]]\n'
        '[capture]\nway = "tapes"\n'
        'letters = [["C", 0, 0], ["D", 900, 0], ["A", 900, 500], ["B", 0, 500]]\n',
        encoding="utf-8",
    )
    new, _ = piece_of_file(path, Said(known=Known()))

    (piece,) = rack.add([new], who="me")

    assert [c.name for c in named_corners(piece.plate)] == ["C", "D", "A", "B"]
    assert [c.point for c in named_corners(piece.plate)][2] == (900, 500)


def test_a_settled_layout_whose_job_added_keep_outs_is_recorded_for_its_piece(rack: Rack, tmp_path: Path):
    """The piece has none of them: they say where parts may lie, not where the steel ends."""
    id, layout = laid(rack, tmp_path)
    clamp = KeepOut(contour=Contour.of_points([(900, 500), (950, 500), (950, 560), (900, 560)]))
    kept = replace(layout, plate=replace(layout.plate, keep_outs=(*layout.plate.keep_outs, clamp)), id="")
    save_layout(turned(kept, Pose(turn_deg=31.0, x_mm=250.0, y_mm=-40.0)), tmp_path / "layout.json")

    done = record_cut(rack, read_cutting(tmp_path), SHOP, who="Ann")

    assert done.piece.id == id and done.remnants


def test_two_outlines_of_the_same_area_are_not_told_by_it(rack: Rack, tmp_path: Path):
    mirrored = Contour.of_points([(0, 0), (1600, 0), (1600, 500), (1300, 760), (100, 700)])
    assert f"{mirrored.area_mm2:.0f}" == f"{PLATE.outer.area_mm2:.0f}"
    id = rack.add([NewPiece.of(replace(PLATE, outer=mirrored))], who="me")[0].id
    save_layout(LAYOUT, tmp_path / "layout.json")
    with pytest.raises(InputError, match=r"both have 1100000 mm2, and their corners do not lie on one another; name"):
        record_cut(rack, read_cutting(tmp_path), SHOP, who="Ann", piece=id)


def test_a_layout_of_one_part_has_no_span(rack: Rack):
    one = replace(LAYOUT, placements=LAYOUT.placements[:1])
    with pytest.raises(InputError, match=r"P7: the layout has no such part; it has only P1$"):
        Cutting(layout=one, layout_json="", failed=frozenset([7]))
