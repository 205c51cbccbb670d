"""The rack: what is on it, what is done to it.  Every act is one transaction and leaves its line in the history."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from nesting.errors import InputError, RackError
from nesting.rack import look
from nesting.rack.chalk import chalk_id, written_id
from nesting.rack.database import BUSY_S, Database
from nesting.rack.look import Filter, Row, last_act, row_of, stamp
from nesting.rack.piece import THERE, Act, ActKind, CutPart, CutRecord, Facts, Listed, NewPiece, RackPiece, State
from nesting.rack.rows import (
    LISTED,
    facts_row,
    listed_of,
    mended_facts,
    new_row,
    parts_json,
    piece_of,
    plain_grade,
    to_json,
)
from nesting.rack.tables import ACTS, CHANGES, CHANGING, CUTS, PIECES, VERSIONS

_ALL: Final = Filter()


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
    return datetime.now(UTC)


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

    def listed(self, wanted: Filter = _ALL) -> list[Listed]:
        """Return the pieces meant, without outlines, those that came first at the front."""
        with self.database.reading() as connection:
            return [listed_of(row) for row in look.rows(connection, look.pieces_meant(LISTED, wanted))]

    def pieces(self, wanted: Filter = _ALL) -> list[RackPiece]:
        """Return the pieces meant, those that came first at the front."""
        with self.database.reading() as connection:
            found = look.rows(connection, look.pieces_meant(tuple(PIECES.columns), wanted))
        return [piece_of(row) for row in found]

    def count(self, wanted: Filter = _ALL) -> int:
        """Return how many pieces are meant."""
        with self.database.reading() as connection:
            return look.count_of(connection, wanted)

    def named(self, ids: Sequence[str]) -> list[RackPiece]:
        """Return pieces by their ids, in no order; ids that nobody knows are passed over."""
        with self.database.reading() as connection:
            return [piece_of(row) for row in look.rows_named(connection, ids)]

    def piece(self, id: str) -> RackPiece:
        """Return one piece; raise `InputError` for an id that the rack does not know."""
        with self.database.reading() as connection:
            return piece_of(row_of(connection, id))

    def history(self, id: str | None = None) -> list[Act]:
        """Return what happened to a piece, or to all, in order; raise `InputError` for an unknown id."""
        with self.database.reading() as connection:
            return look.acts(connection, None if id is None else row_of(connection, id)["id"])

    def cuts(self, since: datetime | None = None, until: datetime | None = None) -> list[CutRecord]:
        """Return what was cut from `since` on and before `until`, in order; cuts that were undone are not among it."""
        with self.database.reading() as connection:
            return look.cuts(connection, since, until)

    # What is done.

    def add(
        self, new: Sequence[NewPiece], *, who: str, note: str = "", jobs: Sequence[str | None] = ()
    ) -> list[RackPiece]:
        """Put pieces on the rack, an act for each; raise `InputError` for an id that is or was in use.

        `jobs` say for each what it is set aside for at once, None for nothing.
        """
        with self.database.writing() as connection:
            ids = []
            for one, job in zip(new, jobs or [None] * len(new), strict=True):
                id = self._came(connection, self._act(connection, "add", who, note), one)
                if job is not None:
                    act = self._act(connection, "set aside", who, note)
                    self._change(connection, act, row_of(connection, id), _set_aside(job))
                ids.append(id)
            return [piece_of(row_of(connection, id)) for id in ids]

    def set_aside(self, ids: Sequence[str], job: str, *, who: str, note: str = "") -> list[RackPiece]:
        """Set pieces aside for a job, all of them or none; raise `RackError` for one that is not on the rack."""
        return self._each(ids, "set aside", _set_aside(job), who=who, note=note)

    def give_back(self, ids: Sequence[str], *, who: str, note: str = "") -> list[RackPiece]:
        """Put pieces that were set aside back on the rack, all of them or none."""
        return self._each(ids, "give back", {"state": "on the rack", "set_aside_for": None}, who=who, note=note)

    def scrap(self, ids: Sequence[str], *, who: str, note: str = "") -> list[RackPiece]:
        """Take pieces out as scrap, all of them or none; what is set aside must be given back first."""
        return self._each(ids, "scrap", {"state": "scrapped"}, who=who, note=note)

    def edit(self, id: str, change: Callable[[Facts], Facts], *, who: str, note: str = "") -> RackPiece:
        """Put right what is known of a piece that is there; `change` gets what is known now."""
        with self.database.writing() as connection:
            row = row_of(connection, id)
            self._require(connection, row, "edit")
            after = facts_row(change(listed_of(row).facts))
            if all(row[key] == value for key, value in after.items()):
                raise InputError(f"{row['id']}: nothing to change: it is so already")
            self._change(connection, self._act(connection, "edit", who, note), row, after)
            return piece_of(row_of(connection, id))

    def cut(
        self,
        id: str,
        cut: NewCut,
        remnants: Sequence[NewPiece],
        *,
        who: str,
        note: str = "",
        known: Facts | None = None,
    ) -> tuple[RackPiece, list[RackPiece]]:
        """Record what was cut from a piece: it is used up, and its remnants come to the rack with it as parent.

        `known` is what was known of the piece when its remnants were made from it: raise `RackError` if somebody has
        put it right since.
        """
        with self.database.writing() as connection:
            row = row_of(connection, id)
            self._require(connection, row, "cut")
            if known not in (None, listed_of(row).facts):
                raise RackError(
                    f"{row['id']}: what is known of it was changed by another program just now; do it again"
                )
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
            return piece_of(row_of(connection, row["id"])), [piece_of(row_of(connection, i)) for i in came]

    def undo(self, id: str, *, who: str, note: str = "") -> tuple[Act, list[Listed]]:
        """Take back the last act on a piece; return that act and all pieces it had touched, as they are now.

        Raise `RackError` where nothing is left to undo, or where a piece that the act touched has seen another since.
        """
        with self.database.writing() as connection:
            row = row_of(connection, id)
            last = last_act(connection, row["id"])
            if last is None:
                raise RackError(f"{row['id']}: nothing is left to undo; 'oddplate rack history {row['id']}' tells all")
            act = look.with_changes(connection, [last])[0]
            for change in act.changes:
                self._refuse_undo(connection, act, change.piece_id)
            number = self._act(connection, "undo", who, note, undoes=act.number)
            touched = []
            for change in act.changes:
                now = row_of(connection, change.piece_id)
                before = {"state": "taken back", "set_aside_for": None} if change.before is None else change.before
                self._change(connection, number, now, before)
                touched.append(listed_of(row_of(connection, change.piece_id)))
            return act, touched

    # How.

    def _each(self, ids: Sequence[str], kind: ActKind, after: Row, *, who: str, note: str) -> list[RackPiece]:
        if not ids:
            raise InputError("no piece is named; give at least one id")
        with self.database.writing() as connection:
            done = []
            for id in dict.fromkeys(written_id(i) for i in ids):
                row = row_of(connection, id)
                self._require(connection, row, kind)
                self._change(connection, self._act(connection, kind, who, note), row, after)
                done.append(piece_of(row_of(connection, id)))
            return done

    def _require(self, connection: Connection, row: Row, kind: ActKind) -> None:
        """Raise `RackError` where a piece is in no state for an act."""
        state, id = row["state"], row["id"]
        if state in _FROM[kind]:
            return
        last = last_act(connection, id)
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
            sa.insert(ACTS).values(number=number, at=stamp(self.now()), who=who, kind=kind, note=note, undoes=undoes)
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
        known = {**row, **mended_facts(row)[0]}  # an undoing must not bring back what cannot be
        changed = {k: after[k] for k in CHANGING if k in after and (after[k] != row[k] or after[k] != known[k])}
        before = {key: known[key] for key in changed}
        columns = dict(changed)
        if "grade" in columns:
            columns["grade_plain"] = plain_grade(columns["grade"])
        connection.execute(sa.update(PIECES).where(PIECES.c.id == row["id"]).values(columns))
        connection.execute(
            sa.insert(CHANGES).values(act=act, piece=row["id"], before=to_json(before), after=to_json(changed))
        )

    def _refuse_undo(self, connection: Connection, act: Act, id: str) -> None:
        newest = last_act(connection, id)
        assert newest is not None  # it has seen this act
        if newest["number"] != act.number:
            raise RackError(
                f"the {act.kind} of {act.when:%Y-%m-%d} cannot be undone: {id} came of it and has since seen: "
                f"{newest['kind']} by {newest['who']} on {newest['at'][:10]}; undo that first "
                f"(oddplate rack undo {id})"
            )


def _set_aside(job: str) -> Row:
    if not job.strip():
        raise InputError("pieces are set aside for a job; give its name")
    return {"state": "set aside", "set_aside_for": job.strip()}


_FROM: Final[dict[ActKind, tuple[State, ...]]] = {
    "edit": THERE,
    "set aside": ("on the rack",),
    "give back": ("set aside",),
    "cut": THERE,
    "scrap": ("on the rack",),
}
"""The states that an act starts from."""
