"""What is done to pieces, and what the rack says of it; on every database."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
import sqlalchemy as sa
from racks import new_piece
from sqlalchemy.exc import DBAPIError

from nesting.errors import InputError, RackError
from nesting.geometry.contour import Contour
from nesting.geometry.curves import Polyline, circle
from nesting.plate import Capture, KeepOut, Plate
from nesting.rack.look import Filter
from nesting.rack.piece import CutPart, NewPiece
from nesting.rack.store import NewCut, Rack, open_rack
from nesting.rack.tables import META

CUT = NewCut(
    layout_id="abc",
    layout_json="{}",
    yield_json='{"a": 1}',
    made=(CutPart(number=1, part_id="bracket", name="Bracket"),),
    failed=(CutPart(number=2, part_id="bracket", name="Bracket"),),
    not_reached=(CutPart(number=3, part_id="ring", name="Ring"),),
    areas={"plate_mm2": 500000.0},
)


def test_a_piece_comes_back_exactly_as_it_went_in(rack: Rack):
    outline = Contour(
        curves=(Polyline(vertices=((0, 0, 0.2), (900.1, 0, 0), (870, 1 / 3, 0), (0, 700, 0)), is_closed=True),)
    )
    plate = Plate(
        name="Blech Ä 'x' \"y\"",
        outer=outline,
        holes=(Contour(curves=(circle((300.0, 200.0), 50.0),)),),
        keep_outs=(KeepOut(contour=Contour.of_rectangle(40, 30), reason="rust; übel"),),
        thickness_mm=6.35,
        grade="S235JR",
        heat="H 77",
        certificate="3.1/88",
        grain_deg=12.5,
        captured="tapes",
        uncertainty_mm=1.7,
        place="rack 2, low",
        capture=Capture(who="N. N.", when=date(2026, 3, 4), photo="a b.jpg", set_up_by=((0.0, 0.0), (900.1, 0.0))),
    )
    capture = {"way": "tapes", "who": "N. N.", "when": "2026-03-04", "photo": "a b.jpg",
               "set_up_by": [[0.0, 0.0], [900.1, 0.0]]}  # fmt: skip
    id = rack.add([NewPiece.of(plate, capture=capture)], who="me")[0].id
    found = rack.piece(f" {id.lower()} ")
    told = "tapes, to be laid on the table by its corners at (0.0, 0.0) and (900.1, 0.0) mm"
    assert found.plate == replace(plate, name=id, captured=told, source=f"rack piece {id}")
    assert found.facts.name == plate.name and found.state == "on the rack" and found.parent is None
    assert found.summary.area_mm2 == plate.area_mm2
    assert rack.pieces() == [found]


def test_ids_are_given_in_order_and_never_again(rack: Rack):
    first, own, third = rack.add([new_piece(), new_piece(id="b-17"), new_piece()], who="me")
    assert [first.id, own.id, third.id] == ["A22R", "B-17", "A24K"]
    rack.undo(first.id, who="me")
    assert rack.add([new_piece()], who="me")[0].id == "A26H"
    with pytest.raises(InputError, match="A22R: a piece has or had this id, and ids are not used again"):
        rack.add([new_piece(), new_piece(id="a22r")], who="me")
    assert len(rack.listed()) == 3
    with pytest.raises(InputError, match="'a b' is no id of a piece"):
        rack.piece("a b")


def test_an_id_chosen_by_hand_is_passed_over(rack: Rack):
    rack.add([new_piece(id="A22R"), new_piece(id="A24K")], who="me")
    assert [p.id for p in rack.add([new_piece()] * 2, who="me")] == ["A26H", "A27E"]


def test_a_misread_id_is_told_as_one(rack: Rack):
    rack.add([new_piece()], who="me")
    with pytest.raises(InputError, match="A24R: no piece of the rack has this id; its last sign does not go"):
        rack.piece("A24R")
    with pytest.raises(InputError, match="A24K: no piece of the rack has this id; 'oddplate rack list'"):
        rack.piece("A24K")


def test_a_piece_is_set_aside_once_and_all_or_none(rack: Rack):
    a, b = (p.id for p in rack.add([new_piece(), new_piece()], who="me"))
    assert rack.set_aside([a], " gate ", who="Ann")[0].set_aside_for == "gate"
    with pytest.raises(
        RackError, match=f"{a}: is set aside for gate by Ann on 20..-..-..; give it back first; nothing"
    ):
        rack.set_aside([b, a], "door", who="Bob")
    assert rack.piece(b).state == "on the rack"
    with pytest.raises(RackError, match="set aside for gate"):
        rack.scrap([a], who="Bob")
    with pytest.raises(RackError, match=f"{b}: is on the rack, not set aside"):
        rack.give_back([b], who="Bob")
    assert [p.id for p in rack.listed(Filter(job="gate"))] == [a]
    assert rack.give_back([a], who="Ann")[0].set_aside_for is None
    rack.scrap([a, b], who="Ann")
    assert rack.listed() == [] and len(rack.listed(Filter(states=("scrapped",)))) == 2
    with pytest.raises(InputError, match="give its name"):
        rack.set_aside([a], " ", who="Ann")
    with pytest.raises(InputError, match="no piece is named"):
        rack.set_aside([], "gate", who="Ann")


def test_a_cut_uses_the_piece_up_and_brings_its_remnants(rack: Rack):
    id = rack.add([new_piece()], who="me")[0].id
    used, came = rack.cut(id, CUT, [new_piece(400, 500), new_piece(100, 100)], who="Ann", note="late")
    assert used.state == "cut" and [p.parent for p in came] == [id, id]
    assert [p.id for p in rack.listed(Filter(parent=id))] == [p.id for p in came]
    record = rack.cuts()[0]
    assert (record.piece_id, record.layout_id, record.layout_json, record.yield_json) == (id, "abc", "{}", '{"a": 1}')
    assert (record.made, record.failed, record.not_reached) == (CUT.made, CUT.failed, CUT.not_reached)
    assert record.remnants == tuple(p.id for p in came) and record.areas == CUT.areas and record.who == "Ann"
    with pytest.raises(RackError, match=f"{id}: was cut by Ann on"):
        rack.cut(id, CUT, [], who="Bob")
    assert len(rack.listed()) == 2


def test_remnants_never_carry_what_is_no_longer_known_of_their_parent(rack: Rack):
    piece = rack.add([new_piece()], who="me")[0]
    rack.edit(piece.id, lambda f: replace(f, heat="H-78"), who="Bob")
    with pytest.raises(RackError, match=f"{piece.id}: what is known of it was changed by another program just now"):
        rack.cut(piece.id, CUT, [new_piece(400, 500)], who="Ann", known=piece.facts)
    assert rack.piece(piece.id).state == "on the rack" and len(rack.listed()) == 1
    rack.cut(piece.id, CUT, [], who="Ann", known=rack.piece(piece.id).facts)


def test_cuts_are_found_by_their_time(where: str):
    clock = [datetime(2026, 11, 1, 23, 30, tzinfo=timezone(timedelta(hours=1)))]
    with open_rack(where, create=True, now=lambda: clock[0]) as rack:
        ids = [p.id for p in rack.add([new_piece()] * 3, who="me")]
        for id in ids:
            rack.cut(id, CUT, [], who="me")
            clock[0] += timedelta(days=10)
        rack.undo(ids[2], who="me")
        first = datetime(2026, 11, 1, 22, 30, tzinfo=UTC)
        assert [c.piece_id for c in rack.cuts()] == ids[:2]
        assert [c.piece_id for c in rack.cuts(since=first, until=first + timedelta(days=10))] == ids[:1]
        assert [c.when for c in rack.cuts(since=first + timedelta(seconds=1))] == [first + timedelta(days=10)]


def test_undo_takes_back_the_last_act_and_refuses_what_others_rest_on(rack: Rack):
    id = rack.add([new_piece()], who="me")[0].id
    rack.set_aside([id], "gate", who="me")
    before = rack.piece(id)
    _, (kept, other) = rack.cut(id, CUT, [new_piece(400, 500), new_piece(300, 300)], who="me")
    rack.set_aside([other.id], "door", who="Bob")
    with pytest.raises(RackError, match=f"the cut of 20..-..-.. cannot be undone: {other.id} came of it and has since "
                       f"seen: set aside by Bob on .*undo that first .oddplate rack undo {other.id}."):  # fmt: skip
        rack.undo(id, who="me")
    assert rack.piece(kept.id).state == "on the rack"
    rack.undo(other.id, who="me")
    act, touched = rack.undo(kept.id, who="me")
    assert act.kind == "cut" and [(p.id, p.state) for p in touched] == [
        (id, "set aside"), (kept.id, "taken back"), (other.id, "taken back")]  # fmt: skip
    assert rack.piece(id) == before and rack.cuts() == []
    rack.undo(id, who="me")
    rack.undo(id, who="me")
    assert rack.piece(id).state == "taken back" and rack.listed() == []
    with pytest.raises(RackError, match=f"{id}: nothing is left to undo"):
        rack.undo(id, who="me")
    with pytest.raises(RackError, match="its coming to the rack was undone"):
        rack.set_aside([id], "gate", who="me")


def test_facts_are_put_right_and_back(rack: Rack):
    before = rack.add([new_piece(grade=None)], who="me")[0]
    changed = rack.edit(
        before.id, lambda f: replace(f, grade="S 355 J2", place="B4"), who="me", note="certificate found"
    )
    assert changed.plate.grade == "S 355 J2" and changed.plate.place == "B4"
    assert [p.id for p in rack.listed(Filter(grade="s355j2"))] == [before.id]
    with pytest.raises(InputError, match="it is so already"):
        rack.edit(before.id, lambda f: replace(f, place="B4"), who="me")
    rack.undo(before.id, who="me")
    assert rack.piece(before.id) == before and rack.listed(Filter(grade="s355j2")) == []
    acts = rack.history(before.id)
    assert [a.kind for a in acts] == ["add", "edit", "undo"] and acts[1].note == "certificate found"
    assert acts[1].changes[0].before == {"grade": None, "place": None}
    assert (acts[1].undone_by, acts[2].undoes) == (acts[2].number, acts[1].number)


def test_pieces_are_filtered(rack: Rack):
    """ASTM A6: plate ordered to thickness is under by 0.3 mm and over by 0.8 mm at most (5 to 20 mm thick)."""
    thick = [5.69, 5.7, 6.35, 6.8, 6.81, None]
    ids = [rack.add([new_piece(thickness_mm=t)], who="me")[0].id for t in thick]
    assert [p.id for p in rack.listed(Filter(thickness_mm=6.0))] == ids[1:4]
    assert [p.id for p in rack.listed(Filter(thickness_mm=6.0, unknown_thickness=True))] == [*ids[1:4], ids[5]]
    unknown = rack.add([new_piece(grade=None, place="A")], who="me")[0].id
    assert unknown not in [p.id for p in rack.listed(Filter(grade="S235 JR"))]
    assert unknown in [p.id for p in rack.listed(Filter(grade="s235jr", unknown_grade=True))]
    assert [p.id for p in rack.listed(Filter(place="A"))] == [unknown]


def test_oldest_pieces_come_first(rack: Rack):
    days = [date(2026, 3, 1), date(2025, 1, 1), date(2026, 1, 1)]
    ids = [rack.add([replace(new_piece(), added=d)], who="me")[0].id for d in days]
    assert [p.id for p in rack.listed()] == [ids[1], ids[2], ids[0]]


def test_history_is_never_changed(rack: Rack):
    id = rack.add([new_piece()], who="me")[0].id
    rack.cut(id, CUT, [], who="me")
    for table in ("rack_acts", "rack_changes", "rack_cuts"):
        for verb in (f"DELETE FROM {table}", f"UPDATE {table} SET {'who' if table == 'rack_acts' else 'act'} = '9'"):
            with (
                pytest.raises(DBAPIError, match="history of the rack is never changed"),
                rack.database.engine.begin() as connection,
            ):
                connection.exec_driver_sql(verb)
    assert len(rack.history()) == 2


def test_tables_are_as_the_code_sees_them(rack: Rack):
    found = sa.inspect(rack.database.engine)
    assert set(found.get_table_names()) == set(META.tables)
    for name, table in META.tables.items():
        assert {c["name"] for c in found.get_columns(name)} == {c.name for c in table.columns}
