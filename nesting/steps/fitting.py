"""Parts looked at before they are cut: the shop's and the plate's figures brought to what `fit/` asks for."""

import os
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from nesting.clearances import Clearances
from nesting.errors import CannotWriteError
from nesting.fit.finding import Cutting, FitFinding
from nesting.fit.looks import fit_findings
from nesting.part import Part
from nesting.plate import Plate
from nesting.report.inquiry import Inquiry, inquiry_html, inquiry_text
from nesting.shop import Paper, Shop
from nesting.steps.spacing import chart_row, known_kerf
from nesting.tables import material_of


def cutting_of(
    shop: Shop,
    *,
    thickness_mm: float | None,
    grade: str | None,
    kerf: tuple[float, str] | None = None,
) -> Cutting:
    """Return how a shop cuts plate of a thickness and grade; `kerf` and its source, where said, stand above all."""
    row, _ = chart_row(shop, thickness_mm, grade)
    found = kerf or known_kerf(shop, thickness_mm, row)
    material = material_of(grade)
    taken = material or shop.material
    sources = {
        "process": shop.sources.get("process", "as given"),
        "kerf_mm": found[1] if found else "not known",
        "material": f"of grade {grade}" if material else f"taken for {taken}: the grade is unknown or not in the table",
    }
    return Cutting(
        process=shop.process,
        thickness_mm=thickness_mm,
        kerf_mm=found[0] if found else None,
        amps=shop.amps,
        material=taken,
        slat_pitch_mm=shop.slat_pitch_mm,
        cut_tolerance_mm=shop.cut_tolerance_mm,
        pierce_limit_mm=shop.pierce_limit_mm,
        least_hole_thicknesses=shop.least_hole_thicknesses,
        sources=sources,
    )


def cutting_from(shop: Shop, plate: Plate, clearances: Clearances) -> Cutting:
    """Return how the parts of a job are cut, with the kerf that its clearances came to."""
    kerf = (clearances.kerf_mm, clearances.sources.get("kerf_mm", "as given"))
    return cutting_of(shop, thickness_mm=plate.thickness_mm, grade=plate.grade, kerf=kerf)


def look_at(parts: Iterable[Part], cutting: Cutting) -> tuple[FitFinding, ...]:
    """Return the findings on all parts, part by part."""
    return tuple(finding for part in parts for finding in fit_findings(part, cutting))


def numbered(parts: Iterable[Part]) -> tuple[Part, ...]:
    """Return parts with ids of their own: two drawings of one name in two folders give the same id."""
    used: set[str] = set()
    found = []
    for part in parts:
        name, count = part.id, 1
        while name in used:
            count += 1
            name = f"{part.id}-{count}"
        used.add(name)
        found.append(part if name == part.id else replace(part, id=name))
    return tuple(found)


def write_inquiry(asked: Inquiry, path: Path, *, paper: Paper) -> None:
    """Write questions as a page, or as plain text where the name ends in .txt, whole or not at all.

    Raises `CannotWriteError` if the file cannot be written.
    """
    text = inquiry_text(asked) if path.suffix.lower() == ".txt" else inquiry_html(asked, paper=paper)
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        beside.write_text(text, encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise CannotWriteError(f"{path}: cannot be written: {error.strerror or error}") from None
