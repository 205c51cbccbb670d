"""Reading the tables: pieces that are meant, their history, what was cut; each on a connection that is given."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final, TypeAlias

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from nesting.errors import InputError
from nesting.rack.chalk import has_check, written_id
from nesting.rack.piece import THERE, Act, CutRecord, State
from nesting.rack.rows import act_of, cut_of, plain_grade
from nesting.rack.tables import ACTS, CHANGES, CUTS, PIECES
from nesting.tables.limits import mill_range_mm

Row: TypeAlias = Mapping[str, Any]

_MANY: Final = 400
"""Values asked for at once; SQLite takes no more than some thousand in one statement."""


@dataclass(frozen=True, kw_only=True)
class Filter:
    """Which pieces are meant; None does not ask.

    `thickness_mm` is a nominal thickness: pieces within the mill's tolerance of it are meant, and `unknown_thickness`
    takes those that nobody measured too.  `grade` likewise with `unknown_grade`.
    """

    states: tuple[State, ...] = THERE
    grade: str | None = None
    unknown_grade: bool = False
    thickness_mm: float | None = None
    unknown_thickness: bool = False
    place: str | None = None
    job: str | None = None
    parent: str | None = None


def rows(connection: Connection, statement: sa.Select[Any]) -> list[Row]:
    """Return what a statement finds."""
    found = connection.execute(statement)
    names = tuple(found.keys())
    return [dict(zip(names, row, strict=True)) for row in found.fetchall()]


def pieces_meant(columns: Sequence[sa.Column[Any]], wanted: Filter) -> sa.Select[Any]:
    """Return the statement that finds the pieces of a filter, those that came first at the front."""
    found = sa.select(*columns).where(PIECES.c.state.in_(wanted.states)).order_by(PIECES.c.added, PIECES.c.number)
    if wanted.grade is not None:
        same = PIECES.c.grade_plain == plain_grade(wanted.grade)
        found = found.where(sa.or_(same, PIECES.c.grade.is_(None)) if wanted.unknown_grade else same)
    if wanted.thickness_mm is not None:
        near = PIECES.c.thickness_mm.between(*mill_range_mm(wanted.thickness_mm))
        found = found.where(sa.or_(near, PIECES.c.thickness_mm.is_(None)) if wanted.unknown_thickness else near)
    for column, value in ((PIECES.c.place, wanted.place), (PIECES.c.parent, wanted.parent)):
        if value is not None:
            found = found.where(column == value)
    if wanted.job is not None:
        found = found.where(PIECES.c.set_aside_for == wanted.job)
    return found


def rows_named(connection: Connection, ids: Sequence[str]) -> list[Row]:
    """Return the rows of pieces by their ids."""
    found: list[Row] = []
    for i in range(0, len(ids), _MANY):
        found += rows(connection, sa.select(PIECES).where(PIECES.c.id.in_(ids[i : i + _MANY])))
    return found


def count_of(connection: Connection, wanted: Filter) -> int:
    """Return how many pieces a filter means."""
    return int(
        connection.execute(
            sa.select(sa.func.count()).select_from(pieces_meant((PIECES.c.id,), wanted).subquery())
        ).scalar_one()
    )


def row_of(connection: Connection, id: str) -> Row:
    """Return the row of a piece; raise `InputError` for an id that the rack does not know."""
    wanted = written_id(id)
    found = rows(connection, sa.select(PIECES).where(PIECES.c.id == wanted))
    if not found:
        hint = "" if has_check(wanted) else "; its last sign does not go with the others: misread?"
        raise InputError(f"{wanted}: no piece of the rack has this id{hint}; 'oddplate rack list' shows them")
    return found[0]


def last_act(connection: Connection, id: str) -> Row | None:
    """Return the newest act on a piece that was not undone."""
    wanted = sa.select(ACTS).join(CHANGES, CHANGES.c.act == ACTS.c.number)
    wanted = wanted.where(CHANGES.c.piece == id, ACTS.c.kind != "undo", ACTS.c.number.not_in(_undone()))
    found = rows(connection, wanted.order_by(ACTS.c.number.desc()).limit(1))
    return found[0] if found else None


def acts(connection: Connection, id: str | None = None) -> list[Act]:
    """Return all acts in order, or those on one piece."""
    wanted = sa.select(ACTS).order_by(ACTS.c.number)
    if id is not None:
        wanted = wanted.where(ACTS.c.number.in_(sa.select(CHANGES.c.act).where(CHANGES.c.piece == id)))
    return with_changes(connection, rows(connection, wanted))


def with_changes(connection: Connection, found: Sequence[Row]) -> list[Act]:
    """Return acts with what each changed: the piece that was there first, then those that came, in order."""
    numbers = [row["number"] for row in found]
    changes: dict[int, list[Row]] = {}
    undone: dict[int, int] = {}
    for i in range(0, len(numbers), _MANY):
        some = numbers[i : i + _MANY]
        wanted = sa.select(CHANGES).join(PIECES, PIECES.c.id == CHANGES.c.piece).where(CHANGES.c.act.in_(some))
        for change in rows(connection, wanted.order_by(CHANGES.c.act, PIECES.c.number)):
            changes.setdefault(change["act"], []).append(change)
        for row in rows(connection, sa.select(ACTS.c.undoes, ACTS.c.number).where(ACTS.c.undoes.in_(some))):
            undone[row["undoes"]] = row["number"]
    return [act_of(row, changes.get(row["number"], ()), undone.get(row["number"])) for row in found]


def cuts(connection: Connection, since: datetime | None, until: datetime | None) -> list[CutRecord]:
    """Return what was cut in a time, in order, without what was undone."""
    wanted = sa.select(CUTS, ACTS.c.at, ACTS.c.who).join(ACTS, ACTS.c.number == CUTS.c.act)
    wanted = wanted.where(CUTS.c.act.not_in(_undone())).order_by(CUTS.c.act)
    if since is not None:
        wanted = wanted.where(ACTS.c.at >= stamp(since))
    if until is not None:
        wanted = wanted.where(ACTS.c.at < stamp(until))
    came = sa.select(CHANGES.c.act, CHANGES.c.piece).join(CUTS, CUTS.c.act == CHANGES.c.act)
    came = came.join(PIECES, PIECES.c.id == CHANGES.c.piece).where(CHANGES.c.before.is_(None))
    remnants: dict[int, list[str]] = {}
    for row in rows(connection, came.order_by(PIECES.c.number)):
        remnants.setdefault(row["act"], []).append(row["piece"])
    return [cut_of(row, remnants.get(row["act"], ())) for row in rows(connection, wanted)]


def stamp(when: datetime) -> str:
    """Return a moment as kept: in UTC, to the microsecond, so that texts sort as moments do."""
    return when.astimezone(UTC).isoformat(timespec="microseconds")


def _undone() -> sa.Select[tuple[Any]]:
    return sa.select(ACTS.c.undoes).where(ACTS.c.undoes.is_not(None))
