"""The tables of a rack, as numbered steps: each is run once, in one transaction with the version it leads to.

A step is never changed once it is out; what a newer version needs is a new step.  The words are SQL that SQLite and
PostgreSQL both know, but for the guards, which each writes its own way.
"""

from typing import Final

_FIRST: Final = (
    """CREATE TABLE rack_pieces (
        id TEXT PRIMARY KEY,
        number BIGINT NOT NULL UNIQUE,
        state TEXT NOT NULL CHECK (state IN ('on the rack', 'set aside', 'cut', 'scrapped', 'taken back')),
        set_aside_for TEXT,
        name TEXT NOT NULL,
        thickness_mm DOUBLE PRECISION CHECK (thickness_mm > 0),
        grade TEXT,
        grade_plain TEXT,
        heat TEXT,
        certificate TEXT,
        grain_deg DOUBLE PRECISION,
        place TEXT,
        photo TEXT,
        note TEXT NOT NULL,
        weighed_kg DOUBLE PRECISION CHECK (weighed_kg > 0),
        valued TEXT NOT NULL CHECK (valued IN ('as new', 'as remnant', 'as scrap', 'own')),
        own_value DOUBLE PRECISION,
        parent TEXT,
        added TEXT NOT NULL,
        captured TEXT NOT NULL,
        uncertainty_mm DOUBLE PRECISION NOT NULL CHECK (uncertainty_mm >= 0),
        capture TEXT NOT NULL,
        outline TEXT NOT NULL,
        area_mm2 DOUBLE PRECISION NOT NULL CHECK (area_mm2 > 0),
        usable_mm2 DOUBLE PRECISION NOT NULL,
        size_x_mm DOUBLE PRECISION NOT NULL,
        size_y_mm DOUBLE PRECISION NOT NULL,
        width_mm DOUBLE PRECISION NOT NULL,
        length_mm DOUBLE PRECISION NOT NULL,
        circle_mm DOUBLE PRECISION NOT NULL,
        long_mm DOUBLE PRECISION NOT NULL,
        short_mm DOUBLE PRECISION NOT NULL,
        turn_deg DOUBLE PRECISION NOT NULL,
        CHECK ((state = 'set aside') = (set_aside_for IS NOT NULL)),
        CHECK ((valued = 'own') = (own_value IS NOT NULL))
    )""",
    "CREATE INDEX rack_pieces_by_state ON rack_pieces (state, thickness_mm)",
    """CREATE TABLE rack_acts (
        number BIGINT PRIMARY KEY,
        at TEXT NOT NULL,
        who TEXT NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('add', 'edit', 'set aside', 'give back', 'cut', 'scrap', 'undo')),
        note TEXT NOT NULL,
        undoes BIGINT UNIQUE REFERENCES rack_acts (number),
        CHECK ((kind = 'undo') = (undoes IS NOT NULL))
    )""",
    """CREATE TABLE rack_changes (
        act BIGINT NOT NULL REFERENCES rack_acts (number),
        piece TEXT NOT NULL REFERENCES rack_pieces (id),
        before TEXT,
        after TEXT NOT NULL,
        PRIMARY KEY (act, piece)
    )""",
    "CREATE INDEX rack_changes_by_piece ON rack_changes (piece, act)",
    """CREATE TABLE rack_cuts (
        act BIGINT PRIMARY KEY REFERENCES rack_acts (number),
        piece TEXT NOT NULL REFERENCES rack_pieces (id),
        layout_id TEXT NOT NULL,
        layout TEXT NOT NULL,
        report TEXT,
        made TEXT NOT NULL,
        failed TEXT NOT NULL,
        not_reached TEXT NOT NULL,
        areas TEXT NOT NULL
    )""",
)

_STOCKTAKES: Final = (
    """CREATE TABLE rack_counts (
        number BIGINT PRIMARY KEY,
        at TEXT NOT NULL,
        who TEXT NOT NULL,
        place TEXT,
        note TEXT NOT NULL
    )""",
    """CREATE TABLE rack_counted (
        count BIGINT NOT NULL REFERENCES rack_counts (number),
        id TEXT NOT NULL,
        outcome TEXT NOT NULL CHECK (outcome IN ('there', 'missing', 'elsewhere', 'gone', 'unknown')),
        PRIMARY KEY (count, id)
    )""",
    "CREATE INDEX rack_counted_by_id ON rack_counted (id, count)",
)

STEPS: Final[tuple[tuple[str, ...], ...]] = (_FIRST, _STOCKTAKES)
"""Step n leads from version n to version n + 1; version 0 is an empty database."""

GUARDED: Final[tuple[tuple[str, ...], ...]] = (
    ("rack_acts", "rack_changes", "rack_cuts"),
    ("rack_counts", "rack_counted"),
)
"""For each step the tables it made of which no row is ever changed or taken away."""

VERSION: Final = len(STEPS)


def statements(step: int, dialect: str) -> list[str]:
    """Return what one step runs on a database, its guards last."""
    return [*STEPS[step], *(g for table in GUARDED[step] for g in _guards(table, dialect))]


def _guards(table: str, dialect: str) -> list[str]:
    told = "the history of the rack is never changed"
    if dialect == "sqlite":
        return [
            f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb} ON {table} BEGIN SELECT RAISE(ABORT, '{told}'); END"
            for verb in ("UPDATE", "DELETE")
        ]
    return [
        f"CREATE OR REPLACE FUNCTION rack_no_change() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{told}'; END $$",
        f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION rack_no_change()",
    ]
