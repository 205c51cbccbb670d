"""Plate files: one plate, how it was captured and how far it may be wrong; TOML with the job file's own keys."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import Field, model_validator

from nesting.drawing.biarcs import as_arcs
from nesting.errors import CannotWriteError, InputError, JobError
from nesting.files.documents import Entry, read_document
from nesting.files.job import PlateEntry
from nesting.files.written_plate import completed, written_plate
from nesting.geometry.contour import Contour
from nesting.geometry.curves import EllipseArc, Spline
from nesting.lengths import UnitWord
from nesting.outline.rings import Vertex, vertices_of
from nesting.plate import Capture, Plate
from nesting.tolerances import R12_ARC_MM
from nesting.units import Unit

SCHEMA: Final = "oddplate-plate/1"
SUFFIX: Final = ".toml"


Place = Annotated[tuple[float, float], Field(strict=False)]
Letter = Annotated[tuple[str, float, float], Field(strict=False)]


class CaptureEntry(Entry):
    """How the outline came in; `set_up_by` are the corners by which the plate is laid on the table.

    `letters` are names and places of the corners as they stand on the steel.  `units` is the unit of the readings
    where it was not mm: the file itself is written in mm.
    """

    way: str
    basis: str = ""
    set_up_by: tuple[Place, ...] = Field(default=(), strict=False)
    letters: tuple[Letter, ...] = Field(default=(), strict=False)
    readings: str | None = None
    units: UnitWord | None = None
    who: str | None = None
    when: date | None = None
    photo: str | None = None
    notes: tuple[str, ...] = Field(default=(), strict=False)


class PlateFile(Entry):
    """A plate file as written."""

    schema_name: Literal["oddplate-plate/1"] = Field(alias="schema")
    units: UnitWord = "mm"
    plate: PlateEntry
    capture: CaptureEntry = CaptureEntry(way="as given")

    @model_validator(mode="after")
    def _by_itself(self) -> "PlateFile":
        if self.plate.drawing is not None:
            raise ValueError("a plate file holds the corners themselves, not a drawing; take 'drawing' out")
        if self.plate.rack is not None:
            raise ValueError("a plate file holds the corners themselves, not a piece of the rack; take 'rack' out")
        return self


@dataclass(frozen=True, kw_only=True)
class StoredPlate:
    """A plate, how it was captured, and the unit its file is written in."""

    plate: Plate
    capture: CaptureEntry
    unit: Unit = "mm"

    @property
    def to_lay_out(self) -> Plate:
        """The plate for a layout, with how it was captured and by which corners it is laid on the table."""
        said = self.capture
        record = Capture(who=said.who, when=said.when, photo=said.photo, set_up_by=said.set_up_by)
        lettered = tuple((name, (x, y)) for name, x, y in said.letters)
        plate = replace(self.plate, capture=None if record == Capture() else record, lettered=lettered)
        if len(said.set_up_by) != 2:
            return plate
        first, second = (f"({x:.1f}, {y:.1f})" for x, y in said.set_up_by)
        told = f"{plate.captured}, to be laid on the table by its corners at {first} and {second} mm"
        return replace(plate, captured=told)


def read_plate_file(path: Path) -> StoredPlate:
    """Read a plate file; raise `JobError` with all its faults, each with its line."""
    file = read_document(path, PlateFile, what="plate file")
    try:
        plate = completed(written_plate(file.plate), file.plate)
    except JobError as error:
        raise JobError(f"{path}: {error}") from None
    name = file.plate.name or path.stem
    return StoredPlate(
        plate=replace(plate, name=name, captured=file.capture.way, source=path.name),
        capture=file.capture,
        unit=file.units,
    )


def write_plate_file(stored: StoredPlate, path: Path, *, force: bool = False) -> None:
    """Write a plate file beside its place, then rename it; raise `InputError` where one is and `force` is not said."""
    refuse_taken(path, force=force)
    beside = path.with_name(f".{path.name}.part")
    try:
        beside.write_text("\n".join(_lines(stored)) + "\n", encoding="utf-8", newline="\n")
        beside.replace(path)
    except OSError as error:
        raise CannotWriteError(f"{path}: cannot be written: {error.strerror or error}") from None
    finally:
        beside.unlink(missing_ok=True)


def refuse_taken(path: Path, *, force: bool) -> None:
    """Raise `InputError` if a file is there and may not be replaced."""
    if path.exists() and not force:
        raise InputError(f"{path}: exists already; use --force to replace it, or give another name")


def _lines(stored: StoredPlate) -> Iterator[str]:
    plate, capture = stored.plate, stored.capture
    yield f'schema = "{SCHEMA}"'
    yield 'units = "mm"'
    yield ""
    yield "[plate]"
    known = {
        "name": plate.name,
        "thickness": plate.thickness_mm,
        "grade": plate.grade,
        "heat": plate.heat,
        "certificate": plate.certificate,
        "grain": plate.grain_deg,
        "parent": plate.parent,
        "place": plate.place,
        "uncertainty": round(plate.uncertainty_mm, 4),
    }
    yield from _known(known)
    yield from _ring("corners", plate.outer)
    if plate.holes:
        yield "holes = ["
        for hole in plate.holes:
            yield f"  [{_corners(hole)}],"
        yield "]"
    for keep_out in plate.keep_outs:
        yield ""
        yield "[[plate.keep_outs]]"
        yield from _known({"kind": keep_out.kind, "reason": keep_out.reason or None})
        yield from _ring("corners", keep_out.contour)
    yield ""
    yield "[capture]"
    told = capture.model_dump(exclude_none=True)
    yield from _known({k: v for k, v in told.items() if v not in ("", ())})


def _known(values: Mapping[str, Any]) -> Iterator[str]:
    for key, value in values.items():
        if value is not None:
            yield f"{key} = {_value(value)}"


def _value(value: object) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Sequence):
        return f"[{', '.join(_value(v) for v in value)}]"
    assert isinstance(value, int | float)
    return f"{value:.6f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


def _ring(key: str, contour: Contour) -> Iterator[str]:
    yield f"{key} = ["
    for vertex in _bulged(contour):
        yield f"  {_vertex(vertex)},"
    yield "]"


def _corners(contour: Contour) -> str:
    return ", ".join(_vertex(v) for v in _bulged(contour))


def _vertex(vertex: Vertex) -> str:
    x, y, bulge = vertex
    arc = f", {bulge!r}" if bulge else ""
    return f"[{_coordinate(x)}, {_coordinate(y)}{arc}]"


def _coordinate(value: float) -> str:
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _bulged(contour: Contour) -> list[Vertex]:
    """Corners with bulges; ellipses and splines as arcs within `R12_ARC_MM`, which no capture comes near to."""
    plain = [as_arcs(p, R12_ARC_MM) if isinstance(p, EllipseArc | Spline) else p for p in contour.pieces]
    return vertices_of(Contour(curves=tuple(plain)))
