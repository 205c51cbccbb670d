"""Pieces and places of racks for tests, and what is true of every rack."""

import math
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from typing import Any

from shapes import sheet

from nesting.rack.look import Filter
from nesting.rack.piece import STATES, Facts, NewPiece
from nesting.rack.store import Rack


@cache
def _shape(width_mm: float, height_mm: float) -> NewPiece:
    return NewPiece.of(sheet(width_mm, height_mm))


def new_piece(width_mm: float = 1000.0, height_mm: float = 500.0, *, id: str | None = None, **facts: Any) -> NewPiece:
    """A rectangular piece of 6 mm S235JR unless said otherwise."""
    known = {"name": "offcut", "thickness_mm": 6.0, "grade": "S235JR", "heat": "H-77", **facts}
    return replace(_shape(width_mm, height_mm), facts=Facts(**known), id=id)


@contextmanager
def own_schema(server: str) -> Iterator[str]:
    """Give the URL of an empty schema of a PostgreSQL database, which is dropped afterwards."""
    import psycopg

    name = f"t{uuid.uuid4().hex}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE SCHEMA {name}")
        try:
            joint = "&" if "?" in server else "?"
            yield f"{server}{joint}options=-csearch_path%3D{name}"
        finally:
            connection.execute(f"DROP SCHEMA {name} CASCADE")


def accounts(rack: Rack) -> None:
    """Assert that a rack is whole: its history leads to its state, and no area is lost or doubled."""
    pieces = {p.id: p for p in rack.listed(Filter(states=STATES))}
    states: dict[str, dict[str, Any]] = {}
    for act in rack.history():
        assert act.changes
        for change in act.changes:
            if change.before is None:
                assert change.piece_id not in states
                states[change.piece_id] = {"set_aside_for": None, **change.after}
                continue
            now = states[change.piece_id]
            assert {k: now[k] for k in change.before if k in now} == {
                k: v for k, v in change.before.items() if k in now
            }
            now.update(change.after)
    assert {id: (s["state"], s["set_aside_for"]) for id, s in states.items()} == {
        id: (p.state, p.set_aside_for) for id, p in pieces.items()
    }
    cuts = rack.cuts()
    assert sorted(c.piece_id for c in cuts) == sorted(id for id, p in pieces.items() if p.state == "cut")
    for cut in cuts:
        came = math.fsum(pieces[id].summary.area_mm2 for id in cut.remnants)
        assert all(pieces[id].parent == cut.piece_id and pieces[id].state != "taken back" for id in cut.remnants)
        assert math.isclose(cut.areas["parts_mm2"] + came, pieces[cut.piece_id].summary.area_mm2)
    real = [p for p in pieces.values() if p.state != "taken back"]
    remnants = {id for cut in cuts for id in cut.remnants}
    brought = math.fsum(p.summary.area_mm2 for p in real if p.id not in remnants)
    now_there = math.fsum(p.summary.area_mm2 for p in real if p.state != "cut")
    assert math.isclose(now_there + math.fsum(c.areas["parts_mm2"] for c in cuts), brought)
