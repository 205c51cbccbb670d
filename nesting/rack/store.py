"""The rack: what is on it, what is done to it.  Every act is one transaction and leaves its line in the history."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import datetime, timezone
from pathlib import Path
from types import TracebackType
from typing import Any, Final, TypeAlias

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from nesting.errors import InputError, RackError
from nesting.rack.chalk import chalk_id, has_check, written_id
from nesting.rack.database import BUSY_S, Database
from nesting.rack.piece import (
    THERE,
    Act,
    ActKind,
    CutPart,
    CutRecord,
    Facts,
    Listed,
    NewPiece,
    RackPiece,
    State,
)
from nesting.rack.rows import (
    LISTED,
    act_of,
    cut_of,
    facts_row,
    listed_of,
    new_row,
    parts_json,
    piece_of,
    plain_grade,
    to_json,
)
from nesting.rack.tables import ACTS, CHANGES, CHANGING, CUTS, PIECES, VERSIONS
from nesting.tables.limits import mill_range_mm

Row: TypeAlias = Mapping[str, Any]

_MANY: Final = 400
"""Ids asked for at once; SQLite takes no more than some thousand values in one statement."""


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


@dataclass(frozen=True, kw_only=True)
class NewCut:
    """What was really cut of a layout; see `CutRecord`."""

    layout_id: str
    layout_json: str
    made: tuple[CutPart, ...]
    failed: tuple[CutPart, ...] = ()
    not_reached: tuple[CutPart, ...] = ()
    areas: Mapping[str, float]
    yield_json: str | None = None


def open_rack(
    where: str | Path, *, create: bool = False, now: Callable[[], datetime] | None = None, busy_s: float = BUSY_S
) -> "Rack":
    """Open a rack: a file, or the URL of a PostgreSQL database; `create` makes it where there is none.

    Raises `InputError` where there is no rack, `RackError` where it cannot be used.
    """
    return Rack(Database(where, create=create, busy_s=busy_s), now=now or _utc_now)


def _utc_now() -> datetime:
    return datetime.now(timezone.utc)


class Rack(AbstractContextManager["Rack"]):
    """An open rack; close it, or use it as a context.  Values that come out do not change with it."""

    def __init__(self, database: Database, *, now: Callable[[], datetime]) -> None:
        self.database = database
        self.now = now

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self.database.close()

    @property
    def where(self) -> str:
        """File or URL, without a password."""
        return self.database.where

    # What is there.

    def listed(self, wanted: Filter = Filter()) -> list[Listed]:
        """Return the pieces meant, without outlines, those that came first at the front."""
        with self.database.reading() as connection:
            rows = connection.execute(_select(LISTED, wanted)).mappings().all()
        return [listed_of(row) for row in rows]

    def pieces(self, wanted: Filter = Filter()) -> list[RackPiece]:
        """Return the pieces meant, those that came first at the front."""
        with self.database.reading() as connection:
            rows = connection.execute(_select(tuple(PIECES.columns), wanted)).mappings().all()
        return [piece_of(row) for row in rows]

    def piece(self, id: str) -> RackPiece:
        """Return one piece; raise `InputError` for an id that the rack does not know."""
        with self.database.reading() as connection:
            return piece_of(self._row(connection, id))

    def history(self, id: str | None = None) -> list[Act]:
        """Return what happened to a piece, or to all, in order; raise `InputError` for an unknown id."""
        with self.database.reading() as connection:
            touched = sa.select(ACTS).order_by(ACTS.c.number)
            if id is not None:
                found = self._row(connection, id)["id"]
                touched = touched.where(ACTS.c.number.in_(sa.select(CHANGES.c.act).where(CHANGES.c.piece == found)))
            return self._acts(connection, connection.execute(touched).mappings().all())

    def cuts(self, since: datetime | None = None, until: datetime | None = None) -> list[CutRecord]:
        """Return what was cut from `since` on and before `until`, in order; cuts that were undone are not among it."""
        undone = sa.select(ACTS.c.undoes).where(ACTS.c.undoes.is_not(None))
        wanted = sa.select(CUTS, ACTS.c.at, ACTS.c.who).join(ACTS, ACTS.c.number == CUTS.c.act)
        wanted = wanted.where(CUTS.c.act.not_in(undone)).order_by(CUTS.c.act)
        if since is not None:
            wanted = wanted.where(ACTS.c.at >= _stamp(since))
        if until is not None:
            wanted = wanted.where(ACTS.c.at < _stamp(until))
        came = sa.select(CHANGES.c.act, CHANGES.c.piece).join(CUTS, CUTS.c.act == CHANGES.c.act)
        came = came.join(PIECES, PIECES.c.id == CHANGES.c.piece).where(CHANGES.c.before.is_(None))
        with self.database.reading() as connection:
            rows = connection.execute(wanted).mappings().all()
            remnants: dict[int, list[str]] = {}
            for act, piece in connection.execute(came.order_by(PIECES.c.number)).all():
                remnants.setdefault(act, []).append(piece)
        return [cut_of(row, remnants.get(row["act"], ())) for row in rows]

    # What is done.

    def add(self, new: Sequence[NewPiece], *, who: str, note: str = "") -> list[RackPiece]:
        """Put pieces on the rack, an act for each; raise `InputError` for an id that is or was in use."""
        with self.database.writing() as connection:
            ids = []
            for one in new:
                act = self._act(connection, "add", who, note)
                ids.append(self._came(connection, act, one))
            return [piece_of(self._row(connection, id)) for id in ids]

    def set_aside(self, ids: Sequence[str], job: str, *, who: str, note: str = "") -> list[RackPiece]:
        """Set pieces aside for a job, all of them or none; raise `RackError` for one that is not on the rack."""
        if not job.strip():
            raise InputError("pieces are set aside for a job; give its name")
        return self._each(ids, "set aside", {"state": "set aside", "set_aside_for": job.strip()}, who=who, note=note)

    def give_back(self, ids: Sequence[str], *, who: str, note: str = "") -> list[RackPiece]:
        """Put pieces that were set aside back on the rack, all of them or none."""
        return self._each(ids, "give back", {"state": "on the rack", "set_aside_for": None}, who=who, note=note)

    def scrap(self, ids: Sequence[str], *, who: str, note: str = "") -> list[RackPiece]:
        """Take pieces out as scrap, all of them or none; what is set aside must be given back first."""
        return self._each(ids, "scrap", {"state": "scrapped"}, who=who, note=note)

    def edit(self, id: str, change: Callable[[Facts], Facts], *, who: str, note: str = "") -> RackPiece:
        """Put right what is known of a piece that is there; `change` gets what is known now."""
        with self.database.writing() as connection:
            row = self._row(connection, id)
            self._require(connection, row, "edit")
            after = facts_row(change(listed_of(row).facts))
            if all(row[key] == value for key, value in after.items()):
                raise InputError(f"{row['id']}: nothing to change: it is so already")
            self._change(connection, self._act(connection, "edit", who, note), row, after)
            return piece_of(self._row(connection, id))

    def cut(
        self, id: str, cut: NewCut, remnants: Sequence[NewPiece], *, who: str, note: str = ""
    ) -> tuple[RackPiece, list[RackPiece]]:
        """Record what was cut from a piece: it is used up, and its remnants come to the rack with it as parent."""
        with self.database.writing() as connection:
            row = self._row(connection, id)
            self._require(connection, row, "cut")
            act = self._act(connection, "cut", who, note)
            self._change(connection, act, row, {"state": "cut", "set_aside_for": None})
            connection.execute(
                sa.insert(CUTS).values(
                    act=act,
                    piece=row["id"],
                    layout_id=cut.layout_id,
                    layout=cut.layout_json,
                    report=cut.yield_json,
                    made=parts_json(cut.made),
                    failed=parts_json(cut.failed),
                    not_reached=parts_json(cut.not_reached),
                    areas=to_json(dict(cut.areas)),
                )
            )
            came = [self._came(connection, act, replace(one, parent=row["id"])) for one in remnants]
            return piece_of(self._row(connection, row["id"])), [piece_of(self._row(connection, i)) for i in came]

    def undo(self, id: str, *, who: str, note: str = "") -> tuple[Act, list[Listed]]:
        """Take back the last act on a piece; return that act and all pieces it had touched, as they are now.

        Raise `RackError` where nothing is left to undo, or where a piece that the act touched has seen another since.
        """
        with self.database.writing() as connection:
            row = self._row(connection, id)
            last = self._last_act(connection, row["id"])
            if last is None:
                raise RackError(f"{row['id']}: nothing is left to undo; 'oddplate rack history {row['id']}' tells all")
            act = self._acts(connection, [last])[0]
            for change in act.changes:
                self._refuse_undo(connection, act, change.piece_id)
            number = self._act(connection, "undo", who, note, undoes=act.number)
            touched = []
            for change in act.changes:
                now = self._row(connection, change.piece_id)
                before = {"state": "taken back", "set_aside_for": None} if change.before is None else change.before
                self._change(connection, number, now, before)
                touched.append(listed_of(self._row(connection, change.piece_id)))
            return act, touched

    # How.

    def _each(self, ids: Sequence[str], kind: ActKind, after: Row, *, who: str, note: str) -> list[RackPiece]:
        if not ids:
            raise InputError("no piece is named; give at least one id")
        with self.database.writing() as connection:
            done = []
            for id in dict.fromkeys(written_id(i) for i in ids):
                row = self._row(connection, id)
                self._require(connection, row, kind)
                self._change(connection, self._act(connection, kind, who, note), row, after)
                done.append(piece_of(self._row(connection, id)))
            return done

    def _row(self, connection: Connection, id: str) -> Row:
        wanted = written_id(id)
        row = connection.execute(sa.select(PIECES).where(PIECES.c.id == wanted)).mappings().one_or_none()
        if row is None:
            hint = "" if has_check(wanted) else "; its last sign does not go with the others: misread?"
            raise InputError(f"{wanted}: no piece of the rack has this id{hint}; 'oddplate rack list' shows them")
        return row

    def _require(self, connection: Connection, row: Row, kind: ActKind) -> None:
        """Raise `RackError` where a piece is in no state for an act."""
        state, id = row["state"], row["id"]
        if state in _FROM[kind]:
            return
        last = self._last_act(connection, id)
        by = f" by {last['who']} on {last['at'][:10]}" if last else ""
        told = {
            "on the rack": "is on the rack, not set aside",
            "set aside": f"is set aside for {row['set_aside_for']}{by}; give it back first",
            "cut": f"was cut{by}",
            "scrapped": f"was scrapped{by}",
            "taken back": "its coming to the rack was undone",
        }[state]
        raise RackError(f"{id}: {told}; nothing was changed")

    def _act(self, connection: Connection, kind: ActKind, who: str, note: str, undoes: int | None = None) -> int:
        number = connection.execute(sa.select(sa.func.coalesce(sa.func.max(ACTS.c.number), 0) + 1)).scalar_one()
        connection.execute(
            sa.insert(ACTS).values(number=number, at=_stamp(self.now()), who=who, kind=kind, note=note, undoes=undoes)
        )
        return int(number)

    def _came(self, connection: Connection, act: int, new: NewPiece) -> str:
        number = int(connection.execute(sa.select(VERSIONS.c.next_number)).scalar_one())
        if new.id is None:
            id = chalk_id(number)
            while self._taken(connection, id):  # by one that somebody chose
                number += 1
                id = chalk_id(number)
        else:
            id = written_id(new.id)
            if self._taken(connection, id):
                raise InputError(f"{id}: a piece has or had this id, and ids are not used again; give another")
        connection.execute(sa.update(VERSIONS).values(next_number=number + 1))
        row = new_row(new, id=id, number=number, added=self.now().astimezone().date())
        connection.execute(sa.insert(PIECES).values(row))
        connection.execute(
            sa.insert(CHANGES).values(act=act, piece=id, before=None, after=to_json({"state": row["state"]}))
        )
        return id

    def _taken(self, connection: Connection, id: str) -> bool:
        return connection.execute(sa.select(PIECES.c.id).where(PIECES.c.id == id)).first() is not None

    def _change(self, connection: Connection, act: int, row: Row, after: Row) -> None:
        changed = {key: after[key] for key in CHANGING if key in after and after[key] != row[key]}
        before = {key: row[key] for key in changed}
        columns = dict(changed)
        if "grade" in columns:
            columns["grade_plain"] = plain_grade(columns["grade"])
        connection.execute(sa.update(PIECES).where(PIECES.c.id == row["id"]).values(columns))
        connection.execute(
            sa.insert(CHANGES).values(act=act, piece=row["id"], before=to_json(before), after=to_json(changed))
        )

    def _last_act(self, connection: Connection, id: str) -> Row | None:
        """Return the newest act on a piece that was not undone."""
        undone = sa.select(ACTS.c.undoes).where(ACTS.c.undoes.is_not(None))
        wanted = sa.select(ACTS).join(CHANGES, CHANGES.c.act == ACTS.c.number)
        wanted = wanted.where(CHANGES.c.piece == id, ACTS.c.kind != "undo", ACTS.c.number.not_in(undone))
        return connection.execute(wanted.order_by(ACTS.c.number.desc()).limit(1)).mappings().one_or_none()

    def _refuse_undo(self, connection: Connection, act: Act, id: str) -> None:
        newest = self._last_act(connection, id)
        assert newest is not None  # it has seen this act
        if newest["number"] != act.number:
            raise RackError(
                f"the {act.kind} of {act.when:%Y-%m-%d} cannot be undone: {id} came of it and has since seen: "
                f"{newest['kind']} by {newest['who']} on {newest['at'][:10]}; undo that first "
                f"(oddplate rack undo {id})"
            )

    def _acts(self, connection: Connection, rows: Sequence[Row]) -> list[Act]:
        numbers = [row["number"] for row in rows]
        changes: dict[int, list[Row]] = {}
        undone: dict[int, int] = {}
        for i in range(0, len(numbers), _MANY):
            some = numbers[i : i + _MANY]
            order = (CHANGES.c.act, CHANGES.c.before.is_(None), PIECES.c.number)
            wanted = sa.select(CHANGES).join(PIECES, PIECES.c.id == CHANGES.c.piece).where(CHANGES.c.act.in_(some))
            for change in connection.execute(wanted.order_by(*order)).mappings():
                changes.setdefault(change["act"], []).append(change)
            undoing = sa.select(ACTS.c.undoes, ACTS.c.number).where(ACTS.c.undoes.in_(some))
            undone |= {undoes: number for undoes, number in connection.execute(undoing).all()}
        return [act_of(row, changes.get(row["number"], ()), undone.get(row["number"])) for row in rows]


_FROM: Final[dict[ActKind, tuple[State, ...]]] = {
    "edit": THERE,
    "set aside": ("on the rack",),
    "give back": ("set aside",),
    "cut": THERE,
    "scrap": ("on the rack",),
}
"""The states that an act starts from."""


def _select(columns: Sequence[sa.Column[Any]], wanted: Filter) -> sa.Select[Any]:
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


def _stamp(when: datetime) -> str:
    """Return a moment as kept: in UTC, to the microsecond, so that texts sort as moments do."""
    return when.astimezone(timezone.utc).isoformat(timespec="microseconds")
