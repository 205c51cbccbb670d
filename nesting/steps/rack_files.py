"""The rack and files: a picture of a piece, labels to stick on or to hang beside, export and import."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from nesting.errors import CannotWriteError, InputError
from nesting.files.plate_file import refuse_taken
from nesting.rack import books, sheets
from nesting.rack.look import Filter
from nesting.rack.piece import Listed, NewPiece
from nesting.rack.store import Rack
from nesting.report.sheet.words import Lengths
from nesting.shop import Paper
from nesting.steps.racking import capture_entry

MILLIMETRES: Final = Lengths()


def label_pieces(
    pieces: Sequence[Listed], path: Path, *, paper: Paper, lengths: Lengths = MILLIMETRES, force: bool = False
) -> None:
    """Write a sheet of labels: id, size, thickness, grade, heat, place, and the id as a QR code."""
    from nesting.report.labels import Label, write_labels

    if path.suffix.lower() != ".pdf":
        raise InputError(f"{path}: labels are written as PDF; give a name that ends in .pdf")
    refuse_taken(path, force=force)
    labels = [Label(title=p.id, lines=_lines(p, lengths), code=p.id) for p in pieces]
    try:
        write_labels(labels, path, paper=paper)
    except OSError as error:
        raise CannotWriteError(f"{path}: cannot be written: {error.strerror or error}") from None


def _lines(piece: Listed, told: Lengths) -> tuple[str, ...]:
    facts, sizes = piece.facts, piece.summary
    over_all = sorted((sizes.size_x_mm, sizes.size_y_mm), reverse=True)
    thick = told.fine(facts.thickness_mm) if facts.thickness_mm else "thickness unknown"
    lines = [
        f"{thick}, {facts.grade or 'grade unknown'}",
        f"{told.rough(over_all)} {told.sign} over all",
        f"holds {told.rough((sizes.long_mm, sizes.short_mm))} {told.sign}",
        f"heat {facts.heat or 'unknown'}" + (f", cert. {facts.certificate}" if facts.certificate else ""),
        f"{facts.place or ''}{' · ' if facts.place else ''}since {piece.added.isoformat()}",
    ]
    return tuple(lines)


def export_rack(rack: Rack, path: Path, wanted: Filter | None = None, *, force: bool = False) -> int:
    """Write the whole rack with its history (.json), or the pieces that are there as a table (.csv); return how many.

    `wanted` chooses the pieces of a table.  Raises `InputError` where a file may not be replaced or written.
    """
    kind = _kind(path)
    refuse_taken(path, force=force)
    if kind == ".json":
        document = books.dump(rack)
        count, text = len(document["pieces"]), _json(document)
    else:
        pieces = rack.pieces(wanted or Filter())
        # A mark of the encoding at the front lets spreadsheets read letters beyond ASCII.
        count, text = len(pieces), "\ufeff" + sheets.written(pieces)
    beside = path.with_name(f".{path.name}.part")
    try:
        beside.write_text(text, encoding="utf-8", newline="")
        beside.replace(path)
    except OSError as error:
        raise CannotWriteError(f"{path}: cannot be written: {error.strerror or error}") from None
    finally:
        beside.unlink(missing_ok=True)
    return count


def _json(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


@dataclass(frozen=True, kw_only=True)
class Import:
    """What a file holds: a whole rack, or pieces with the jobs they are set aside for."""

    path: Path
    whole: dict[str, Any] | None = None
    pieces: tuple[tuple[NewPiece, str | None], ...] = ()


def read_import(path: Path) -> Import:
    """Read an export (.json) or a table (.csv); raise `InputError` with all faults that the file alone tells."""
    kind = _kind(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: not UTF-8 text at byte {error.start}; save it as UTF-8") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror or error}") from None
    if kind == ".json":
        return Import(path=path, whole=books.parsed(text, str(path)))
    found = sheets.read(text, str(path), sound=capture_entry)
    if not found:
        raise InputError(f"{path}: holds no piece")
    return Import(path=path, pieces=tuple(found))


def import_rack(rack: Rack, found: Import, *, who: str, note: str = "") -> int:
    """Fill an empty rack from a whole one, or add the pieces of a table; all or nothing; return how many.

    Raises `InputError` with all faults of the file.
    """
    if found.whole is not None:
        return books.load(rack, found.whole, str(found.path), sound=capture_entry)
    new, jobs = [one for one, _ in found.pieces], [job for _, job in found.pieces]
    rack.add(new, jobs=jobs, who=who, note=note or f"from {found.path.name}")
    return len(new)


def _kind(path: Path) -> str:
    kind = path.suffix.lower()
    if kind not in (".json", ".csv"):
        raise InputError(f"{path}: an export ends in .json (the whole rack) or .csv (a table of pieces)")
    return kind
