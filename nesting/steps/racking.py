"""Plates on their way to the rack: from a plate file, a drawing or a plain size to a piece with what is known of it."""

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from nesting.drawing.findings import Finding
from nesting.errors import InputError
from nesting.files.documents import entry_of_json
from nesting.files.plate_file import SUFFIX, CaptureEntry, StoredPlate, read_plate_file
from nesting.geometry.contour import Contour
from nesting.outline.drawn import from_drawing
from nesting.plate import Plate
from nesting.rack.piece import NewPiece, RackPiece, Valued, facts_of
from nesting.steps.capture import Known, stored, with_known
from nesting.units import DrawnUnit


@dataclass(frozen=True, kw_only=True)
class Said:
    """What people say of a piece that is about to be put on the rack, besides what they say of any plate."""

    known: Known
    id: str | None = None
    added: date | None = None
    uncertainty_mm: float | None = None
    units: DrawnUnit | None = None
    weighed_kg: float | None = None
    valued: Valued | None = None
    own_value: float | None = None
    note: str = ""


def piece_of_size(width_mm: float, height_mm: float, said: Said) -> NewPiece:
    """Return a rectangle as a piece, valued as new unless said; exact unless an uncertainty is said."""
    if min(width_mm, height_mm) <= 0.0:
        raise InputError(f"a plate of {width_mm:g} x {height_mm:g} mm: expected two lengths above 0")
    plate = Plate(name="sheet", outer=Contour.of_rectangle(width_mm, height_mm), captured="width and height")
    capture = CaptureEntry(way="width and height", who=said.known.who, when=said.known.when, photo=said.known.photo)
    return _piece(StoredPlate(plate=plate, capture=capture), said, "as new")


def piece_of_file(path: Path, said: Said) -> tuple[NewPiece, tuple[Finding, ...]]:
    """Return the plate of a plate file or a drawing as a piece, and what was found in the drawing.

    How far a drawing is off the steel no drawing says: raises `InputError` where nobody says it either.
    """
    if path.suffix.lower() == ".json":
        raise InputError(
            f"{path}: is no plate file and no drawing; what is left of a layout comes to the rack by "
            "'oddplate rack cut', or by 'oddplate plate leftover --out FILE.toml' first"
        )
    if path.suffix.lower() == SUFFIX:
        kept = read_plate_file(path)
        capture = kept.capture.model_copy(
            update={k: v for k in ("who", "when", "photo") if (v := getattr(said.known, k)) is not None}
        )
        return _piece(StoredPlate(plate=with_known(kept.plate, said.known), capture=capture), said, "as remnant"), ()
    if not path.is_file():
        told = "is a folder; give the drawing in it" if path.is_dir() else "no such file; check the name and the folder"
        raise InputError(f"{path}: {told}")
    if said.uncertainty_mm is None:
        raise InputError(
            f"{path}: how far the drawing may be off the steel is not known; give --uncertainty, 0 if exact"
        )
    found, findings = from_drawing(path, uncertainty_mm=said.uncertainty_mm, units=said.units)
    return _piece(stored(found, said.known, name=path.stem, readings=path.name), said, "as remnant"), findings


def _piece(kept: StoredPlate, said: Said, valued: Valued) -> NewPiece:
    plate = with_known(kept.plate, said.known)
    if said.uncertainty_mm is not None:
        plate = replace(plate, uncertainty_mm=said.uncertainty_mm)
    facts = replace(
        facts_of(plate),
        photo=kept.capture.photo,
        note=said.note,
        weighed_kg=said.weighed_kg,
        valued=said.valued or ("own" if said.own_value is not None else valued),
        own_value=said.own_value,
    )
    new = NewPiece.of(plate, facts, capture=capture_json(kept.capture))
    return replace(new, id=said.id, added=said.added)


def capture_json(capture: CaptureEntry) -> dict[str, Any]:
    """Return how an outline came in as plain values for JSON."""
    told = capture.model_dump(mode="json", exclude_none=True)
    return {key: value for key, value in told.items() if value not in ("", [])}


def capture_entry(text: str) -> CaptureEntry:
    """Read the record of how an outline came in, as `capture_json` wrote it; raise `InputError` for anything else.

    An empty record is one of which nothing is known.
    """
    return CaptureEntry(way="as given") if text == "{}" else entry_of_json(text, CaptureEntry, "capture")


def as_plate_file(piece: RackPiece) -> StoredPlate:
    """Return a piece as a plate file holds it, to carry it elsewhere."""
    try:
        capture = capture_entry(piece.capture_json)
    except InputError as error:
        raise InputError(f"{piece.id}: how its outline came in cannot be read: {error}") from None
    return StoredPlate(plate=replace(piece.plate, captured=piece.captured), capture=capture)
