"""Stock-taking: what was found, against what the rack says is there.  A count changes no piece; it is written down."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

import sqlalchemy as sa

from nesting.errors import InputError
from nesting.rack import look
from nesting.rack.chalk import has_check, written_id
from nesting.rack.look import Filter
from nesting.rack.piece import THERE, Listed
from nesting.rack.rows import LISTED, listed_of
from nesting.rack.store import Rack
from nesting.rack.tables import COUNTED, COUNTS, PIECES

Outcome = Literal["there", "missing", "elsewhere", "gone", "unknown"]
OUTCOMES: Final[tuple[Outcome, ...]] = ("there", "missing", "elsewhere", "gone", "unknown")


@dataclass(frozen=True, kw_only=True)
class Count:
    """What a stock-take found.

    `there`: as the rack says.  `missing`: the rack says it is there, and it was not found.  `elsewhere`: found, but the
    rack has it at another place.  `gone`: found, but the rack has it as cut, scrapped or taken back.  `unknown`: ids
    that the rack never gave, or that were misread.
    """

    when: datetime
    place: str | None
    there: tuple[Listed, ...]
    missing: tuple[Listed, ...]
    elsewhere: tuple[Listed, ...]
    gone: tuple[Listed, ...]
    unknown: tuple[str, ...]

    @property
    def all_there(self) -> bool:
        """True if rack and shelf agree."""
        return not (self.missing or self.elsewhere or self.gone or self.unknown)


def take_stock(
    rack: Rack, found: Iterable[str], *, who: str, place: str | None = None, note: str = "", write: bool = True
) -> Count:
    """Compare the ids found with what should be there, at one place or everywhere, and write the count down.

    Raises `InputError` for a text that cannot be an id.
    """
    seen = list(dict.fromkeys(written_id(text) for text in found))
    if not seen and place is None:
        raise InputError("no id was given; a stock-take without any would call every piece missing")
    when = rack.now()
    # Only who writes the count down keeps others from writing.
    with rack.database.writing() if write else rack.database.reading() as connection:
        expected = look.pieces_meant(LISTED, Filter(states=THERE, place=place))
        due = {row["id"]: listed_of(row) for row in look.rows(connection, expected)}
        others = {row["id"]: listed_of(row) for row in look.rows_named(connection, [i for i in seen if i not in due])}
        count = Count(
            when=when,
            place=place,
            there=tuple(due[i] for i in seen if i in due),
            missing=tuple(piece for id, piece in due.items() if id not in set(seen)),
            elsewhere=tuple(others[i] for i in seen if i in others and others[i].state in THERE),
            gone=tuple(others[i] for i in seen if i in others and others[i].state not in THERE),
            unknown=tuple(i for i in seen if i not in due and i not in others),
        )
        if write:
            number = connection.execute(sa.select(sa.func.coalesce(sa.func.max(COUNTS.c.number), 0) + 1)).scalar_one()
            row = {"number": number, "at": look.stamp(when), "who": who, "place": place, "note": note}
            connection.execute(sa.insert(COUNTS).values(row))
            rows = [{"count": number, "id": id, "outcome": outcome} for outcome, id in _outcomes(count)]
            if rows:
                connection.execute(sa.insert(COUNTED), rows)
    return count


def _outcomes(count: Count) -> list[tuple[Outcome, str]]:
    found: list[tuple[Outcome, str]] = [("unknown", id) for id in count.unknown]
    for outcome in OUTCOMES[:-1]:
        found += [(outcome, piece.id) for piece in getattr(count, outcome)]
    return found


def likely(rack: Rack, id: str) -> list[str]:
    """Return ids that are there and differ from a misread one in one sign only."""
    if has_check(id):
        return []
    with rack.database.reading() as connection:
        there = connection.execute(sa.select(PIECES.c.id).where(PIECES.c.state.in_(THERE))).scalars().all()
    return [i for i in there if len(i) == len(id) and sum(a != b for a, b in zip(i, id, strict=True)) == 1]


def last_seen(rack: Rack, id: str) -> tuple[datetime, Outcome] | None:
    """Return when a piece was last looked for, and what came of it; None if it never was."""
    wanted = sa.select(COUNTS.c.at, COUNTED.c.outcome).join(COUNTED, COUNTED.c.count == COUNTS.c.number)
    wanted = wanted.where(COUNTED.c.id == id).order_by(COUNTS.c.number.desc()).limit(1)
    with rack.database.reading() as connection:
        found = look.rows(connection, wanted)
    return (datetime.fromisoformat(found[0]["at"]), found[0]["outcome"]) if found else None
