"""A whole rack as one JSON document, history and all, that gives back exactly the same."""

import json
import math
from collections.abc import Callable, Mapping
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError

from nesting.errors import InputError
from nesting.plate import Plate
from nesting.rack import look
from nesting.rack.piece import RackPiece
from nesting.rack.rows import act_of, cut_of, mended_facts, piece_of
from nesting.rack.store import Rack
from nesting.rack.tables import ACTS, CHANGES, COUNTED, COUNTS, CUTS, PIECES, VERSIONS

SCHEMA: Final = "oddplate-rack-export/1"

_TABLES: Final = {
    "pieces": (PIECES, (PIECES.c.number,)),
    "acts": (ACTS, (ACTS.c.number,)),
    "changes": (CHANGES, (CHANGES.c.act, CHANGES.c.piece)),
    "cuts": (CUTS, (CUTS.c.act,)),
    "counts": (COUNTS, (COUNTS.c.number,)),
    "counted": (COUNTED, (COUNTED.c.count, COUNTED.c.id)),
}


def dump(rack: Rack) -> dict[str, Any]:
    """Return all that a rack holds, at one moment; figures that cannot be as unknown, so that it reads back."""
    with rack.database.reading() as connection:
        number = connection.execute(sa.select(VERSIONS.c.next_number)).scalar_one()
        tables = {
            name: [dict(row) for row in look.rows(connection, sa.select(table).order_by(*order))]
            for name, (table, order) in _TABLES.items()
        }
    tables["pieces"] = [{**row, **mended_facts(row)[0]} for row in tables["pieces"]]
    return {"schema": SCHEMA, "next_number": number, **tables}


def load(rack: Rack, document: Mapping[str, Any], name: str, *, sound: Callable[[str], object] = json.loads) -> int:
    """Fill an empty rack with what `dump` gave, all or nothing; return how many pieces came.

    `sound` reads the record of how an outline came in, and raises where it is none.
    Raises `InputError` where the rack is not empty, or for a document that is not whole, with the place of the fault.
    """
    _require_whole(document, name, sound)
    with rack.database.writing() as connection:
        if connection.execute(sa.select(sa.func.count()).select_from(ACTS)).scalar_one():
            raise InputError(
                f"rack {rack.where}: is not empty, and {name} is a whole rack with its history; import it into a new "
                "one, or import pieces as CSV"
            )
        try:
            for key, (table, _) in _TABLES.items():
                if document[key]:
                    connection.execute(sa.insert(table), [dict(row) for row in document[key]])
        except IntegrityError as error:
            raise InputError(f"{name}: rows that do not go together: {str(error.orig).splitlines()[0]}") from None
        connection.execute(sa.update(VERSIONS).values(next_number=document["next_number"]))
    return len(document["pieces"])


def _require_whole(document: Mapping[str, Any], name: str, sound: Callable[[str], object]) -> None:
    if document.get("schema") != SCHEMA:
        raise InputError(f"{name}: schema is {document.get('schema')!r}, expected {SCHEMA!r}: no export of a rack")
    known = {"schema", "next_number", *_TABLES}
    if set(document) != known:
        odd = sorted(set(document) ^ known)
        raise InputError(f"{name}: expected the keys {', '.join(sorted(known))}; {', '.join(odd)} differ")
    if not isinstance(document["next_number"], int):
        raise InputError(f"{name}: next_number: expected a whole number, got {document['next_number']!r}")
    for key, (table, _) in _TABLES.items():
        rows = document[key]
        if not isinstance(rows, list):
            raise InputError(f"{name}: {key}: expected a list")
        for i, row in enumerate(rows):
            _require_row(row, table, f"{name}: {key}[{i}]")
    _require_sense(document, name, sound)


def _require_row(row: object, table: sa.Table, at: str) -> None:
    columns = {c.name: c for c in table.columns}
    if not isinstance(row, dict) or set(row) != set(columns):
        odd = sorted(set(row) ^ set(columns)) if isinstance(row, dict) else ["it"]
        raise InputError(f"{at}: expected an object with the keys {', '.join(columns)}; {', '.join(odd)} differ")
    for key, value in row.items():
        kinds, told = _expected(columns[key])
        if value is not None and (isinstance(value, bool) or not isinstance(value, kinds)):
            raise InputError(f"{at}.{key}: expected {told} or null, got {value!r:.60}")
        if isinstance(value, float) and not math.isfinite(value):
            raise InputError(f"{at}.{key}: expected a finite number or null, got {value}")


def _expected(column: sa.Column[Any]) -> tuple[tuple[type, ...], str]:
    if isinstance(column.type, sa.BigInteger):
        return (int,), "a whole number"
    return ((int, float), "a number") if isinstance(column.type, sa.Double) else ((str,), "a text")


def _require_sense(document: Mapping[str, Any], name: str, sound: Callable[[str], object]) -> None:
    """Read all rows as values, so that nothing comes in that could not be read again."""
    acts = {row["number"]: row for row in document["acts"]}
    for key, read in (
        ("pieces", lambda row: (sound(row["capture"]), _whole(piece_of(row)))),
        ("acts", lambda row: act_of(row, (), None)),
        ("changes", lambda row: act_of(acts[row["act"]], [row], None)),
        ("cuts", lambda row: cut_of({**row, **{k: acts[row["act"]][k] for k in ("at", "who")}}, ())),
    ):
        for i, row in enumerate(document[key]):
            try:
                read(row)
            except (InputError, ValueError, TypeError, KeyError, AttributeError) as error:
                raise InputError(f"{name}: {key}[{i}]: cannot be read: {str(error).splitlines()[0]}") from None


def _whole(piece: RackPiece) -> Plate:
    """Read all of a piece; raise `InputError` where a figure would have to be taken as unknown."""
    if piece.mended:
        raise InputError(piece.mended[0])
    return piece.plate


def parsed(text: str, name: str) -> dict[str, Any]:
    """Read a JSON document; raise `InputError` with line and column for what is none."""
    try:
        found = json.loads(text)
    except json.JSONDecodeError as error:
        raise InputError(f"{name}, line {error.lineno} column {error.colno}: not JSON: {error.msg}") from None
    if not isinstance(found, dict):
        raise InputError(f"{name}: holds a {type(found).__name__}, expected an object with schema {SCHEMA!r}")
    return found
