"""What is in drawings, part by part, without stopping at the first that cannot be read."""

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from nesting.drawing.declared_units import with_advice
from nesting.drawing.findings import Finding
from nesting.drawing.reader import read_drawing
from nesting.drawing.same import same_parts
from nesting.drawing.source import SUFFIXES
from nesting.errors import CannotWriteError, InputError, UnitsUnknownError
from nesting.files.job import UnitRules, said_unit
from nesting.files.reading import Reading
from nesting.geometry.curves import Curve
from nesting.part import Part
from nesting.report.drawing_questions import Stopped
from nesting.tables import density
from nesting.units import DrawnUnit

ASSUMED_MATERIAL: Final = "mild steel"
"""What parts are taken to weigh as where nobody says the material."""

AskUnit = Callable[[UnitsUnknownError], DrawnUnit | None]


@dataclass(frozen=True, kw_only=True)
class SameAs:
    """The earlier part that one is equal to, moved, turned, and turned over if `mirrored`."""

    file: str
    number: int
    name: str
    mirrored: bool


@dataclass(frozen=True, kw_only=True)
class PartLine:
    """One part of a drawing; `number` counts from 1 in it, `mass_kg` None where no thickness is said."""

    number: int
    name: str
    width_mm: float
    height_mm: float
    area_mm2: float
    holes: int
    contours: int
    cut_length_mm: float
    marks: int
    mass_kg: float | None
    same_as: SameAs | None = None

    def as_json(self) -> dict[str, Any]:
        """Return the line as plain values; keys carry their units."""
        return asdict(self)


@dataclass(frozen=True, kw_only=True)
class Listing:
    """One drawing: its parts and findings, or why it was refused.

    `lines` says of each of `parts` what is listed; `curves` is all that was read, of a refused drawing too.
    `sizes` is width and height, mm, by the unit it may be in, where only the unit is missing.
    """

    path: Path
    lines: tuple[PartLine, ...] = ()
    parts: tuple[Part, ...] = ()
    findings: tuple[Finding, ...] = ()
    curves: tuple[Curve, ...] = ()
    unit: str = ""
    unit_reason: str = ""
    refused: str = ""
    sizes: dict[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def stops(self) -> bool:
        """True if it stops a job: nothing came of it, or not all that is drawn."""
        return bool(self.refused) or any(f.severity == "error" for f in self.findings)


def list_drawings(
    paths: Iterable[Path],
    *,
    unit_rules: UnitRules = (),
    reading: Reading | None = None,
    ask_unit: AskUnit | None = None,
    thickness_mm: float | None = None,
    material: str = ASSUMED_MATERIAL,
) -> tuple[Listing, ...]:
    """List drawings, and the drawings of folders in order of name; equal parts are told wherever they are.

    Raises `InputError` for a material without a density and for a folder without drawings.
    """
    kg_m3 = density(material).kg_m3
    sheet_kg_mm2 = None if thickness_mm is None else thickness_mm * kg_m3 * 1e-9
    how = reading or Reading()
    listings = [_listing(path, said_unit(path, unit_rules), how, ask_unit) for path in _drawings(paths)]
    return _with_equals([_with_lines(listing, sheet_kg_mm2) for listing in listings])


def stopped(listings: Iterable[Listing]) -> tuple[Stopped, ...]:
    """Return the drawings that stop a job, as questions ask about them; a file that is not there asks nothing."""
    return tuple(
        Stopped(
            name=listing.path.name,
            sha256=_sha256(listing),
            findings=listing.findings,
            curves=listing.curves,
            refused=listing.refused,
            sizes=listing.sizes,
        )
        for listing in listings
        if listing.stops and listing.path.is_file()
    )


def _sha256(listing: Listing) -> str:
    if listing.parts:
        return listing.parts[0].source_sha256
    try:
        return hashlib.sha256(listing.path.read_bytes()).hexdigest()
    except OSError:
        return ""


def picture_sheet(listings: Sequence[Listing], path: Path) -> tuple[int, int]:
    """Write the sheet of pictures; return how many were drawn and how many there are.

    Raises `CannotWriteError` if the file cannot be written, ValueError for an ending that is no picture's.
    """
    from nesting.report.part_sheet import cards_of, draw_cards  # matplotlib, which a plain listing does without

    cards = []
    for listing in listings:
        told = [_caption(line) for line in listing.lines]
        cards += cards_of(listing.path.name, listing.parts, told, listing.curves, listing.findings, listing.refused)
    beside = path.with_name(f".{path.stem}.part{path.suffix}")
    try:
        drawn = draw_cards(cards, beside)
        beside.replace(path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise CannotWriteError(f"{path}: cannot be written: {error.strerror or error}") from None
    return drawn, len(cards)


def _caption(line: PartLine) -> str:
    same = line.same_as
    equal = "" if same is None else f", the {'mirror picture' if same.mirrored else 'same'} of {same.name}"
    counts = f"{_some(line.holes, 'hole')}, {_some(line.marks, 'mark')}"
    return f"{line.width_mm:.1f} x {line.height_mm:.1f} mm, {counts}{equal}"


def _some(count: int, thing: str) -> str:
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def _drawings(paths: Iterable[Path]) -> list[Path]:
    found: list[Path] = []
    for path in paths:
        if not path.is_dir():
            found.append(path)
            continue
        inside = sorted(p for p in path.rglob("*") if p.suffix.lower() in SUFFIXES and p.is_file())
        if not inside:
            raise InputError(f"{path}: no DXF or SVG file in this folder")
        found += inside
    return list(dict.fromkeys(found))


def _listing(path: Path, unit: DrawnUnit | None, reading: Reading, ask_unit: AskUnit | None) -> Listing:
    try:
        drawing = read_drawing(path, units=unit, **reading.choices)
    except UnitsUnknownError as error:
        answer = ask_unit(error) if ask_unit else None
        if answer is None:
            words = " or ".join(f"--units {path}={unit}" for unit in error.sizes)
            told = with_advice(error, f"give {words}")
            return Listing(path=path, refused=str(told), curves=error.curves, sizes=error.sizes)
        return _listing(path, answer, reading, None)
    except InputError as error:
        findings, curves = getattr(error, "findings", ()), getattr(error, "curves", ())
        return Listing(path=path, refused=str(error), findings=findings, curves=curves)
    return Listing(
        path=path,
        parts=drawing.parts,
        findings=drawing.findings,
        curves=drawing.curves,
        unit=drawing.unit,
        unit_reason=drawing.unit_reason,
    )


def _with_lines(listing: Listing, sheet_kg_mm2: float | None) -> Listing:
    lines = (_line(number, part, sheet_kg_mm2) for number, part in enumerate(listing.parts, start=1))
    return replace(listing, lines=tuple(lines))


def _with_equals(listings: Sequence[Listing]) -> tuple[Listing, ...]:
    """Say of each part which earlier one it equals, over all drawings."""
    every = [(listing, line) for listing in listings for line in listing.lines]
    equals: dict[int, SameAs] = {}
    for same in same_parts([part for listing in listings for part in listing.parts]):
        listing, line = every[same.first]
        equals[same.index] = SameAs(file=str(listing.path), number=line.number, name=line.name, mirrored=same.mirrored)
    found, start = [], 0
    for listing in listings:
        lines = tuple(replace(line, same_as=equals.get(start + k)) for k, line in enumerate(listing.lines))
        found.append(replace(listing, lines=lines))
        start += len(lines)
    return tuple(found)


def _line(number: int, part: Part, sheet_kg_mm2: float | None) -> PartLine:
    width, height = part.size_mm
    return PartLine(
        number=number,
        name=part.name,
        width_mm=round(width, 2),
        height_mm=round(height, 2),
        area_mm2=round(part.area_mm2, 3),
        holes=len(part.holes),
        contours=len(part.contours),
        cut_length_mm=round(part.cut_length_mm, 3),
        marks=len(part.marks) + len(part.texts),
        mass_kg=None if sheet_kg_mm2 is None else round(part.area_mm2 * sheet_kg_mm2, 4),
    )
