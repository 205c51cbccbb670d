"""Parts looked at before they are cut: the shop's and the plate's figures brought to what `fit/` asks for."""

from collections.abc import Iterable

from nesting.clearances import Clearances
from nesting.fit.finding import Cutting, FitFinding
from nesting.fit.looks import fit_findings
from nesting.part import Part
from nesting.plate import Plate
from nesting.shop import Shop
from nesting.spacing import chart_row, known_kerf
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
