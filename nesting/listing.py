"""What is in drawings, part by part, without stopping at the first that cannot be read."""

from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Final

from nesting.drawing.findings import Finding
from nesting.drawing.reader import read_drawing
from nesting.errors import InputError, UnitsUnknownError
from nesting.job import UnitRules, said_unit
from nesting.part import Part
from nesting.tables import density
from nesting.units import Unit

SUFFIXES: Final = (".dxf",)


@dataclass(frozen=True, kw_only=True)
class PartLine:
    """One part of a drawing; `mass_kg` None where no thickness is said."""

    name: str
    width_mm: float
    height_mm: float
    area_mm2: float
    holes: int
    contours: int
    cut_length_mm: float
    marks: int
    mass_kg: float | None

    @property
    def area_cm2(self) -> float:
        """Net area in the unit that people read."""
        return self.area_mm2 / 100.0

    def as_json(self) -> dict[str, Any]:
        """Return the line as plain values; keys carry their units."""
        return asdict(self)


@dataclass(frozen=True, kw_only=True)
class Listing:
    """One drawing: its parts and findings, or why it was refused."""

    path: Path
    parts: tuple[PartLine, ...] = ()
    findings: tuple[Finding, ...] = ()
    unit: str = ""
    unit_reason: str = ""
    refused: str = ""


def list_drawings(
    paths: Iterable[Path],
    *,
    unit_rules: UnitRules = (),
    ask_unit: Callable[[UnitsUnknownError], Unit | None] | None = None,
    thickness_mm: float | None = None,
    material: str = "mild steel",
) -> tuple[Listing, ...]:
    """List drawings, and the drawings of folders in order of name.

    Raises `InputError` for a material without a density and for a folder without drawings.
    """
    kg_m3 = density(material).kg_m3
    sheet_kg_mm2 = None if thickness_mm is None else thickness_mm * kg_m3 * 1e-9
    return tuple(_list_drawing(path, said_unit(path, unit_rules), ask_unit, sheet_kg_mm2) for path in _drawings(paths))


def _drawings(paths: Iterable[Path]) -> list[Path]:
    found: list[Path] = []
    for path in paths:
        if not path.is_dir():
            found.append(path)
            continue
        inside = sorted(p for p in path.rglob("*") if p.suffix.lower() in SUFFIXES and p.is_file())
        if not inside:
            raise InputError(f"{path}: no DXF file in this folder")
        found += inside
    return list(dict.fromkeys(found))


def _list_drawing(
    path: Path,
    unit: Unit | None,
    ask_unit: Callable[[UnitsUnknownError], Unit | None] | None,
    sheet_kg_mm2: float | None,
) -> Listing:
    try:
        drawing = read_drawing(path, units=unit)
    except UnitsUnknownError as error:
        answer = ask_unit(error) if ask_unit else None
        if answer is None:
            return Listing(path=path, refused=str(error))
        return _list_drawing(path, answer, None, sheet_kg_mm2)
    except InputError as error:
        return Listing(path=path, refused=str(error), findings=getattr(error, "findings", ()))
    return Listing(
        path=path,
        parts=tuple(_line(part, sheet_kg_mm2) for part in drawing.parts),
        findings=drawing.findings,
        unit=drawing.unit,
        unit_reason=drawing.unit_reason,
    )


def _line(part: Part, sheet_kg_mm2: float | None) -> PartLine:
    width, height = part.size_mm
    line = PartLine(
        name=part.name,
        width_mm=round(width, 2),
        height_mm=round(height, 2),
        area_mm2=round(part.area_mm2, 3),
        holes=len(part.holes),
        contours=len(part.contours),
        cut_length_mm=round(part.cut_length_mm, 3),
        marks=len(part.marks) + len(part.texts),
        mass_kg=None,
    )
    return line if sheet_kg_mm2 is None else replace(line, mass_kg=round(part.area_mm2 * sheet_kg_mm2, 4))
