"""What a plate is made of, how heavy that is by the convention taken, and how it is cut; as far as known."""

from dataclasses import dataclass
from typing import Final

from shapely.geometry import Polygon

from nesting.errors import InputError
from nesting.layout import Layout
from nesting.plate import Plate
from nesting.report.facts import Inputs
from nesting.shop import MassBy, Shop
from nesting.tables import (
    SHEET_KG_M3,
    SHEET_LB_FT2_PER_INCH,
    CutRow,
    cut_row,
    density,
    material_of,
    weighed_gauge,
)
from nesting.tolerances import FINE_CHORD_MM

TAKEN_AS_LEFTOVER: Final = "a leftover"
_RECTANGLE: Final = 0.99
AREA_DIGITS: Final = 1
MASS_DIGITS: Final = 3
LENGTH_DIGITS: Final = 1


def mass_kg(area_mm2: float, thickness_mm: float | None, kg_m3: float) -> float | None:
    """Return the mass of plate, or None where its thickness is not known."""
    return None if thickness_mm is None else area_mm2 * thickness_mm * kg_m3 * 1e-9


def cut_time_s(length_mm: float, pierces: int, row: CutRow) -> float:
    """Return length / best-quality speed + pierces x pierce delay; no leads, no rapids.

    A row that asks for an edge start has no pierce delay; none is counted then.
    """
    return 60.0 * length_mm / row.speed_mm_min + pierces * (row.pierce_delay_s or 0.0)


@dataclass(frozen=True, kw_only=True)
class Matter:
    """What the plate is made of and how it is cut, as far as known."""

    thickness_mm: float | None
    kg_m3: float
    mass_by: MassBy
    note: str
    lift_limit_kg: float
    leftover: bool
    row: CutRow | None
    cut_note: str

    @staticmethod
    def of(layout: Layout, shop: Shop) -> "Matter":
        """Look up density and cut-chart row; a grade that is not known takes the shop's material, and
        `note` says so.
        """
        grade, thickness = layout.plate.grade, layout.plate.thickness_mm
        found = material_of(grade)
        material = found or shop.material
        kg_m3, mass_by, note = _heaviness(shop, material, grade if found else None, thickness)
        why = f"grade {grade}" if found else f"grade {grade or 'unknown'}: {material} is assumed"
        row, cut_note = _cut_row(shop, material, thickness)
        return Matter(
            thickness_mm=thickness,
            kg_m3=kg_m3,
            mass_by=mass_by,
            note=note.format(why=why),
            lift_limit_kg=shop.lift_limit_kg,
            leftover=layout.plate.parent is not None or not _is_rectangle(layout.plate),
            row=row,
            cut_note=cut_note,
        )

    def mass(self, area_mm2: float) -> float | None:
        """Rounded mass of an area, or None."""
        mass = mass_kg(area_mm2, self.thickness_mm, self.kg_m3)
        return None if mass is None else round(mass, MASS_DIGITS)

    def too_heavy(self, mass: float | None) -> bool | None:
        """Whether a mass is above the shop's hand-lift limit; None if the mass is not known."""
        return None if mass is None else mass > self.lift_limit_kg

    def inputs(self, area_mm2: float) -> Inputs:
        """What a mass was worked out from."""
        return {"area_mm2": area_mm2, "thickness_mm": self.thickness_mm, "density_kg_m3": self.kg_m3}


def _is_rectangle(plate: Plate) -> bool:
    """True for what may have been bought: sheets are sold square and whole, and are off by little."""
    outline: Polygon = plate.outer.polygon(FINE_CHORD_MM, "midway")
    return not plate.holes and outline.area >= _RECTANGLE * outline.minimum_rotated_rectangle.area


def _heaviness(shop: Shop, material: str, grade: str | None, thickness_mm: float | None) -> tuple[float, MassBy, str]:
    """Kilograms per cubic metre, the convention they come from, and a sentence that names it, with room for `{why}`."""
    taken = density(material)
    said = f"Mass by density, {taken.kg_m3:g} kg/m3 ({{why}}; {taken.source}), not by gauge-weight table"
    if shop.mass_by == "density" or thickness_mm is None:
        return taken.kg_m3, "density", said
    metal = grade or material
    gauge = weighed_gauge(thickness_mm, metal)
    if gauge is None:
        why_not = f"which was asked for: {thickness_mm:g} mm is no gauge of {metal} that it gives a weight for"
        return taken.kg_m3, "density", f"{said}, {why_not}"
    more = 100 * (SHEET_KG_M3 / taken.kg_m3 - 1)
    said = (
        f"Mass by gauge-weight table, {SHEET_LB_FT2_PER_INCH:g} lb/ft2 per inch or {SHEET_KG_M3:.1f} kg/m3 ({{why}}, "
        f"{gauge} ga; Manufacturers' Standard Gauge, Cragin Metals gauge chart), {more:.1f} % above density"
    )
    return SHEET_KG_M3, "gauge table", said


def _cut_row(shop: Shop, material: str, thickness_mm: float | None) -> tuple[CutRow | None, str]:
    if thickness_mm is None:
        return None, "no cut-chart row: the plate's thickness is not known"
    try:
        row = cut_row(shop.process, shop.amps, thickness_mm, material=material, own=shop.cut_rows)
    except InputError as error:
        return None, str(error)
    amps = "" if row.amps is None else f" {row.amps:g} A"
    edge = "; the chart asks for an edge start, no pierce delay is counted" if row.pierce_delay_s is None else ""
    return (
        row,
        f"{row.process}{amps}, {row.material}, {row.thickness_mm:g} mm row, best quality ({row.source}){edge}",
    )
