"""Pieces as a table for spreadsheets (CSV), one row each; what is there, without history."""

import csv
import hashlib
import io
import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, fields
from datetime import date
from typing import Any, Final

from nesting.errors import InputError
from nesting.geometry.contour import Contour
from nesting.plate import Plate
from nesting.rack.piece import VALUED, Facts, NewPiece, Outline, RackPiece
from nesting.rack.rows import to_json
from nesting.rack.summary import Summary
from nesting.rack.tables import SIZES

_FACTS: Final = tuple(f.name for f in fields(Facts))
_NUMBERS: Final = ("thickness_mm", "grain_deg", "weighed_kg", "own_value", "uncertainty_mm", *SIZES)
COLUMNS: Final = (
    "id", "state", "set_aside_for", *_FACTS, "parent", "added", "captured", "uncertainty_mm", *SIZES, "capture",
    "outline", "seal",
)  # fmt: skip


def written(pieces: Sequence[RackPiece]) -> str:
    """Return pieces as CSV; figures are written so that they read back the same."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS)
    writer.writeheader()
    for piece in pieces:
        sizes = {key: repr(value) for key, value in asdict(piece.summary).items()}
        row: dict[str, Any] = {
            "id": piece.id,
            "state": piece.state,
            "set_aside_for": piece.set_aside_for,
            **asdict(piece.facts),
            "parent": piece.parent,
            "added": piece.added.isoformat(),
            "captured": piece.captured,
            "uncertainty_mm": repr(piece.uncertainty_mm),
            **sizes,
            "capture": piece.capture_json,
            "outline": piece.outline_json,
            "seal": _seal(piece.outline_json, sizes),
        }
        writer.writerow({key: "" if value is None else value for key, value in row.items()})
    return out.getvalue()


def read(text: str, name: str, *, sound: Callable[[str], object] = json.loads) -> list[tuple[NewPiece, str | None]]:
    """Read pieces and the jobs they are set aside for; raise `InputError` with all faults, a line each.

    Columns may be missing, but for a shape: an outline as it was written, or `size_x_mm` and `size_y_mm` for a plain
    rectangle.  Stored sizes are taken where the seal says that they are those of the outline, and measured anew
    otherwise.  `sound` reads the record of how an outline came in, and raises where it is none.
    """
    reader = csv.DictReader(io.StringIO(text, newline=""), strict=True)
    faults: list[str] = []
    found: list[tuple[NewPiece, str | None]] = []
    try:
        _require_columns(reader.fieldnames or (), name)
        for row in reader:
            try:
                found.append(_new({key: value for key, value in row.items() if value}, sound))
            except (InputError, ValueError, TypeError, AttributeError) as error:
                faults.append(f"{name}, line {reader.line_num}: {str(error).splitlines()[0]}")
    except csv.Error as error:
        raise InputError(f"{name}, line {reader.line_num}: not CSV: {error}") from None
    if faults:
        raise InputError("\n".join(faults))
    return found


def _require_columns(names: Sequence[str], name: str) -> None:
    odd = [key for key in names if key not in COLUMNS]
    if odd and any(sign in odd[0] for sign in ";\t"):
        # Not guessed at: a spreadsheet that parts cells so writes numbers with a comma as well.
        raise InputError(
            f"{name}: expected columns parted by commas, got {odd[0]!r:.60}; save the table as CSV with commas between "
            "cells, and a point in numbers"
        )
    if odd or not names:
        raise InputError(f"{name}: column {odd[0] if odd else 'names'!r} is not known; known: {', '.join(COLUMNS)}")


def _new(row: dict[str, Any], sound: Callable[[str], object]) -> tuple[NewPiece, str | None]:
    if None in row:
        raise ValueError("has more cells than there are columns")
    state, job = row.get("state", "on the rack"), row.get("set_aside_for")
    if state not in ("on the rack", "set aside") or (state == "set aside") != (job is not None):
        raise ValueError(f"state {state!r} for {job!r}: expected 'on the rack', or 'set aside' and for which job")
    values: dict[str, Any] = {key: _number(row, key) if key in _NUMBERS else value for key, value in row.items()}
    if values.get("valued", VALUED[0]) not in VALUED:
        raise ValueError(f"valued: expected one of {', '.join(VALUED)}, got {values['valued']!r}")
    facts = Facts(**{key: values[key] for key in _FACTS if key in values})
    outline, summary = _shape(row, values)
    uncertainty = values.get("uncertainty_mm", 0.0)
    if uncertainty < 0.0:
        raise ValueError(f"uncertainty_mm: expected 0 or more, got {uncertainty:g}")
    piece = NewPiece(
        outline=outline,
        summary=summary,
        uncertainty_mm=uncertainty,
        facts=facts,
        captured=row.get("captured", "table"),
        capture=_capture(row, sound),
        id=row.get("id"),
        parent=row.get("parent"),
        added=_date(row["added"]) if "added" in row else None,
    )
    return piece, job


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"added: expected a date such as 2026-05-31, got {text!r}") from None


def _capture(row: dict[str, Any], sound: Callable[[str], object]) -> dict[str, Any]:
    if "capture" not in row:
        return {"way": row.get("captured", "table")}
    try:
        said = json.loads(row["capture"])
    except ValueError:
        raise ValueError(f"capture: expected an object as JSON, got {row['capture']!r:.60}") from None
    if not isinstance(said, dict):
        raise ValueError("capture: expected an object")
    sound(row["capture"])
    return said


def _outline(text: str) -> Outline:
    try:
        return Outline.from_json(text)
    except ValueError:
        raise ValueError("outline: expected one as an exported table holds it; give size_x_mm and size_y_mm") from None


def _shape(row: dict[str, Any], values: dict[str, Any]) -> tuple[Outline, Summary]:
    if "outline" in row:
        outline = _outline(row["outline"])
        sizes = {key: row.get(key, "") for key in SIZES}
        if row.get("seal") == _seal(row["outline"], sizes):
            return outline, Summary(**{key: values[key] for key in SIZES})
    elif "size_x_mm" in row and "size_y_mm" in row:
        if not min(values["size_x_mm"], values["size_y_mm"]) > 0.0:
            raise ValueError("size_x_mm and size_y_mm: expected more than 0")
        outline = Outline(outer=Contour.of_rectangle(values["size_x_mm"], values["size_y_mm"]))
    else:
        raise ValueError("has no shape: give outline, or size_x_mm and size_y_mm")
    plate = Plate(name="plate", outer=outline.outer, holes=outline.holes, keep_outs=outline.keep_outs)
    return outline, Summary.of(plate)


def _number(row: dict[str, Any], key: str) -> float:
    try:
        found = float(row[key])
    except ValueError:
        raise ValueError(f"{key}: expected a number with a point, got {row[key]!r}") from None
    if not abs(found) < 1e12:
        raise ValueError(f"{key}: expected a number, got {row[key]!r}")
    return found


def _seal(outline: str, sizes: dict[str, str]) -> str:
    """Return a short hash that ties stored sizes to an outline."""
    return hashlib.sha256(to_json([outline, sizes]).encode()).hexdigest()[:16]
