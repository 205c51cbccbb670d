"""Pieces and places of racks for tests."""

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from typing import Any

from shapes import sheet

from nesting.rack.piece import Facts, NewPiece


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
