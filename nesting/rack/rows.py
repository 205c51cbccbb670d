"""Rows of the tables as values, and values as rows."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, fields
from datetime import date, datetime
from typing import Any, Final

from nesting.rack.piece import FIGURES, Act, Change, CutPart, CutRecord, Facts, Listed, NewPiece, RackPiece, unfit
from nesting.rack.summary import Summary
from nesting.rack.tables import FACTS, PIECES, SIZES

LISTED: Final = tuple(c for c in PIECES.columns if c.name not in ("outline", "capture", "grade_plain"))
"""What a listing reads: everything but the outline and the record of how it came in."""

_FACTS: Final = tuple(name for name, _ in FACTS)


def plain_grade(grade: str | None) -> str | None:
    """Return a grade as grades are compared: without spaces and case."""
    return None if grade is None else "".join(grade.split()).casefold()


def listed_of(row: Mapping[str, Any]) -> Listed:
    """Return a listed piece."""
    return Listed(**_common(row))


def piece_of(row: Mapping[str, Any]) -> RackPiece:
    """Return a piece with its outline."""
    return RackPiece(**_common(row), outline_json=row["outline"], capture_json=row["capture"])


def _common(row: Mapping[str, Any]) -> dict[str, Any]:
    facts, mended = mended_facts(row)
    return {
        "id": row["id"],
        "number": row["number"],
        "state": row["state"],
        "set_aside_for": row["set_aside_for"],
        "facts": Facts(**facts),
        "mended": mended,
        "parent": row["parent"],
        "added": date.fromisoformat(row["added"]),
        "summary": Summary(**{key: row[key] for key in SIZES}),
        "uncertainty_mm": row["uncertainty_mm"],
        "captured": row["captured"],
    }


def mended_facts(row: Mapping[str, Any]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return the facts of a row with figures that cannot be taken as unknown, and which those were.

    Earlier versions let infinities and negative values in: one such piece must not shut the whole rack.
    """
    facts = {key: row[key] for key in _FACTS}
    mended = [wrong for key in FIGURES if (wrong := unfit(key, facts[key]))]
    facts |= {key: None for key in FIGURES if unfit(key, facts[key])}
    if (facts["valued"] == "own") != (facts["own_value"] is not None):
        if not mended:
            mended.append(f"own_value: expected one for a piece valued {facts['valued']!r}, got {facts['own_value']}")
        facts |= {"valued": "as remnant", "own_value": None}
    return facts, tuple(mended)


def new_row(new: NewPiece, *, id: str, number: int, added: date) -> dict[str, Any]:
    """Return the row of a piece that comes to the rack."""
    return {
        "id": id,
        "number": number,
        "state": "on the rack",
        "set_aside_for": None,
        **facts_row(new.facts),
        "parent": new.parent,
        "added": (new.added or added).isoformat(),
        "captured": new.captured,
        "uncertainty_mm": new.uncertainty_mm,
        "capture": to_json(new.capture),
        "outline": new.outline.to_json(),
        **{key: float(value) for key, value in asdict(new.summary).items()},
    }


def facts_row(facts: Facts) -> dict[str, Any]:
    """Return the columns of what is known of a piece."""
    return {**{f.name: getattr(facts, f.name) for f in fields(Facts)}, "grade_plain": plain_grade(facts.grade)}


def to_json(value: object) -> str:
    """Return plain values as a text, the same for the same values."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, sort_keys=True)


def act_of(row: Mapping[str, Any], changes: Iterable[Mapping[str, Any]], undone_by: int | None) -> Act:
    """Return an act with what it changed."""
    return Act(
        number=row["number"],
        when=datetime.fromisoformat(row["at"]),
        who=row["who"],
        kind=row["kind"],
        note=row["note"],
        undoes=row["undoes"],
        undone_by=undone_by,
        changes=tuple(
            Change(
                piece_id=c["piece"],
                before=None if c["before"] is None else json.loads(c["before"]),
                after=json.loads(c["after"]),
            )
            for c in changes
        ),
    )


def cut_of(row: Mapping[str, Any], remnants: Iterable[str]) -> CutRecord:
    """Return what was cut from a piece."""
    return CutRecord(
        when=datetime.fromisoformat(row["at"]),
        who=row["who"],
        act=row["act"],
        piece_id=row["piece"],
        layout_id=row["layout_id"],
        layout_json=row["layout"],
        yield_json=row["report"],
        made=_parts(row["made"]),
        failed=_parts(row["failed"]),
        not_reached=_parts(row["not_reached"]),
        areas=json.loads(row["areas"]),
        remnants=tuple(remnants),
    )


def _parts(text: str) -> tuple[CutPart, ...]:
    return tuple(CutPart(**part) for part in json.loads(text))


def parts_json(parts: Iterable[CutPart]) -> str:
    """Return parts of a cut as a text."""
    return to_json([asdict(part) for part in parts])
