"""From an outline that came in to what is kept of it: plate file, picture, and what to say of it."""

import math
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, Final

from nesting.corner_names import named_corners
from nesting.errors import CannotWriteError, InputError
from nesting.files.plate_file import CaptureEntry, StoredPlate, refuse_taken, write_plate_file
from nesting.geometry.pose import Point
from nesting.geometry.tape_checks import TapeCheck, tape_checks
from nesting.outline.captured import DRY_RUN, Captured
from nesting.plate import Plate
from nesting.report.sheet.words import Lengths
from nesting.units import Unit

SCHEMA: Final = "oddplate-capture/1"
PICTURES: Final = (".png", ".svg", ".pdf")
_LETTER: Final = re.compile(r"[A-Za-z]\d*")
"""What people chalk beside a corner; ways that count corners leave their letters to the drawing."""

_SAME_MM: Final = 1e-3


@dataclass(frozen=True, kw_only=True)
class Known:
    """What people say of a plate besides its outline; None is not known."""

    name: str | None = None
    thickness_mm: float | None = None
    grade: str | None = None
    heat: str | None = None
    certificate: str | None = None
    grain_deg: float | None = None
    parent: str | None = None
    place: str | None = None
    who: str | None = None
    when: date | None = None
    photo: str | None = None


def stored(
    captured: Captured, known: Known, *, name: str, readings: str | None = None, unit: Unit = "mm"
) -> StoredPlate:
    """Return the plate of an outline with what is known of it; `name` where nobody gave one.

    `unit` is that of the readings.
    """
    places = dict(corner_places(captured))
    chalked = set(captured.names) == set(places) and all(_LETTER.fullmatch(name) for name in places)
    set_up = tuple(places[n] for n in captured.set_up_by or () if n in places)
    capture = CaptureEntry(
        way=captured.way,
        basis=captured.basis,
        set_up_by=tuple((round(x, 3), round(y, 3)) for x, y in set_up),
        letters=tuple((n, round(x, 3), round(y, 3)) for n, (x, y) in places.items()) if chalked else (),
        readings=readings,
        units=None if unit == "mm" else unit,
        who=known.who,
        when=known.when,
        photo=known.photo,
        notes=(*captured.warnings, *captured.notes),
    )
    return StoredPlate(plate=with_known(captured.plate(name), known), capture=capture)


def with_known(plate: Plate, known: Known) -> Plate:
    """Return the plate with what is known laid over it."""
    return replace(
        plate,
        name=known.name or plate.name,
        thickness_mm=known.thickness_mm or plate.thickness_mm,
        grade=known.grade or plate.grade,
        heat=known.heat or plate.heat,
        certificate=known.certificate or plate.certificate,
        grain_deg=plate.grain_deg if known.grain_deg is None else known.grain_deg,
        parent=known.parent or plate.parent,
        place=known.place or plate.place,
    )


def corner_places(captured: Captured) -> list[tuple[str, Point]]:
    """Names and places of an outline's corners as they were measured."""
    found = []
    for number, corner in enumerate(captured.figures.get("corners", ()), start=1):
        if not corner.get("base") and not corner.get("hole"):
            found.append((str(corner.get("name", number)), (corner["x_mm"], corner["y_mm"])))
    return found


def picture_of(out: Path, picture: Path | None) -> Path:
    """Return where the picture goes: beside the plate file unless said; raise `InputError` for an unknown ending."""
    path = picture or out.with_suffix(".png")
    if path.suffix.lower() not in PICTURES:
        raise InputError(f"{path}: a picture ends in one of {', '.join(PICTURES)}")
    return path


def corner_labels(kept: StoredPlate, captured: Captured | None = None) -> list[tuple[str, Point]]:
    """Names and places of a plate's corners as every sheet has them, in brackets what they were counted as."""
    lettered = [(c.name, c.point) for c in named_corners(kept.to_lay_out)]
    counted = corner_places(captured) if captured else []
    found = []
    for name, at in lettered:
        other = _named(at, dict(counted))
        found.append((name if other in (None, name) else f"{name} ({other})", at))
    places = dict(lettered)
    return [*found, *((f"({name})", at) for name, at in counted if _named(at, places) is None)]


def save(kept: StoredPlate, out: Path, *, picture: Path, corners: Sequence[tuple[str, Point]], force: bool) -> None:
    """Write plate file and picture; raise `InputError` before either where one is there and may not be replaced."""
    if out.suffix.lower() != ".toml":
        raise InputError(f"{out}: a plate file ends in .toml")
    for path in (out, picture):
        refuse_taken(path, force=force)
    plate = kept.plate
    title = f"{plate.name}: by {plate.captured}, uncertain by {plate.uncertainty_mm:.1f} mm; {DRY_RUN}"
    with _drawn(plate, picture, corners=corners, title=title):
        write_plate_file(kept, out, force=force)


def draw(kept: StoredPlate, path: Path, *, title: str, force: bool) -> None:
    """Draw a plate that is on file, its corners lettered; raise `InputError` where no picture may be written."""
    refuse_taken(picture_of(path, path), force=force)
    with _drawn(kept.plate, path, corners=corner_labels(kept), title=title):
        pass


@contextmanager
def _drawn(plate: Plate, path: Path, *, corners: Sequence[tuple[str, Point]], title: str) -> Iterator[None]:
    """Draw a plate with what to tape; the picture comes to its place when all that was to go with it is done."""
    from nesting.report.plate_picture import draw_plate  # matplotlib, which looking alone does without

    beside = path.with_name(f".{path.stem}.part{path.suffix}")
    try:
        draw_plate(plate, beside, corners=corners, checks=tape_checks(plate.outer), title=title)
        yield
        beside.replace(path)
    except OSError as error:
        raise CannotWriteError(f"{path}: cannot be written: {error.strerror or error}") from None
    finally:
        beside.unlink(missing_ok=True)


def document(kept: StoredPlate, captured: Captured | None = None) -> dict[str, Any]:
    """Return what is known of a captured plate for a JSON document, lengths in mm."""
    plate = kept.plate
    names = {c.name: c.point for c in named_corners(kept.to_lay_out)}
    x0, y0, x1, y1 = plate.fine_polygon.bounds
    return {
        "name": plate.name,
        "way": plate.captured,
        "uncertainty_mm": round(plate.uncertainty_mm, 4),
        "basis": kept.capture.basis,
        "set_up_by": list(captured.set_up_by) if captured and captured.set_up_by else None,
        "area_mm2": round(plate.area_mm2, 2),
        "size_mm": [round(x1 - x0, 3), round(y1 - y0, 3)],
        "holes": len(plate.holes),
        "keep_outs": len(plate.keep_outs),
        "letters": [{"name": name, "at_mm": [round(v, 3) for v in at]} for name, at in names.items()],
        "checks": [
            {
                "from": _named(c.start, names),
                "to": _named(c.end, names),
                "from_mm": [round(v, 3) for v in c.start],
                "to_mm": [round(v, 3) for v in c.end],
                "length_mm": round(c.length_mm, 2),
            }
            for c in tape_checks(plate.outer)
        ],
        "before_cutting": DRY_RUN,
        "warnings": list(captured.warnings) if captured else [],
        "notes": list(captured.notes) if captured else [],
        **(captured.figures if captured else {}),
    }


def check_lines(kept: StoredPlate, lengths: Lengths | None = None) -> list[str]:
    """Say which three distances to tape before cutting, in millimetres unless told otherwise."""
    names = {c.name: c.point for c in named_corners(kept.to_lay_out)}
    return [_check_line(c, names, lengths) for c in tape_checks(kept.plate.outer)]


def _check_line(check: TapeCheck, names: dict[str, Point], lengths: Lengths | None) -> str:
    ends = [_named(p, names) or f"({p[0]:.0f}, {p[1]:.0f})" for p in (check.start, check.end)]
    told = (
        lengths.text(check.length_mm).replace("\u00a0", " ")
        if lengths and lengths.inches
        else f"{check.length_mm:.1f} mm"
    )
    return f"{ends[0]} to {ends[1]}: {told}"


def _named(at: Point, names: dict[str, Point]) -> str | None:
    return next((name for name, place in names.items() if math.dist(at, place) < _SAME_MM), None)
