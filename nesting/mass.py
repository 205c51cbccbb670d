"""How heavy plate is, by the convention the shop takes: density, or the gauge-weight table that sheet is sold by."""

from dataclasses import dataclass

from nesting.shop import MassBy, Shop
from nesting.tables import SHEET_KG_M3, SHEET_LB_FT2_PER_INCH, density, material_of, weighed_gauge


@dataclass(frozen=True, kw_only=True)
class Heaviness:
    """Kilograms per cubic metre, the convention they come from, and a sentence that names it.

    `material` is the one taken; `assumed` tells that the grade is not known, or not in the table, and that it is the
    shop's.
    """

    kg_m3: float
    mass_by: MassBy
    material: str
    assumed: bool
    note: str


def heaviness(grade: str | None, thickness_mm: float | None, shop: Shop) -> Heaviness:
    """Return how heavy a plate is by the shop's convention.

    The gauge-weight table goes for steel sheet whose thickness is a gauge of its own series; all else goes by density,
    and the note says why where the table was asked for.  Raises `InputError` for a shop's material without a density.
    """
    found = material_of(grade)
    material = found or shop.material
    why = f"grade {grade}" if found else f"grade {grade or 'unknown'}: {material} is assumed"
    taken = density(material)
    gauge = None
    told = f"Mass by density, {taken.kg_m3:g} kg/m3 ({why}; {taken.source}), not by gauge-weight table"
    if shop.mass_by == "gauge table" and thickness_mm is not None:
        metal = grade if grade and found else material
        gauge = weighed_gauge(thickness_mm, metal)
        told += f", which was asked for: {thickness_mm:g} mm is no gauge of {metal} that it gives a weight for"
    if gauge is not None:
        more = 100 * (SHEET_KG_M3 / taken.kg_m3 - 1)
        told = (
            f"Mass by gauge-weight table, {SHEET_LB_FT2_PER_INCH:g} lb/ft2 per inch or {SHEET_KG_M3:.1f} kg/m3 ({why}, "
            f"{gauge} ga; Manufacturers' Standard Gauge, Cragin Metals gauge chart), {more:.1f} % above density"
        )
    return Heaviness(
        kg_m3=taken.kg_m3 if gauge is None else SHEET_KG_M3,
        mass_by="density" if gauge is None else "gauge table",
        material=material,
        assumed=found is None,
        note=told,
    )


def mass_kg(area_mm2: float, thickness_mm: float | None, kg_m3: float) -> float | None:
    """Return the mass of plate, or None where its thickness is not known."""
    return None if thickness_mm is None else area_mm2 * thickness_mm * kg_m3 * 1e-9
