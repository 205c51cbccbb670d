"""What a plate is made of, how heavy that is by the convention taken, and how it is cut; as far as known."""

from dataclasses import dataclass
from typing import Final

from shapely.geometry import Polygon

from nesting.errors import InputError
from nesting.layout import Layout
from nesting.mass import heaviness, mass_kg
from nesting.plate import Plate
from nesting.report.facts import Inputs
from nesting.shop import MassBy, Shop
from nesting.tables import CutRow, cut_row
from nesting.tolerances import FINE_CHORD_MM

TAKEN_AS_LEFTOVER: Final = "a leftover"
_RECTANGLE: Final = 0.99
AREA_DIGITS: Final = 1
MASS_DIGITS: Final = 3
LENGTH_DIGITS: Final = 1


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
        thickness = layout.plate.thickness_mm
        heavy = heaviness(layout.plate.grade, thickness, shop)
        row, cut_note = _cut_row(shop, heavy.material, thickness)
        return Matter(
            thickness_mm=thickness,
            kg_m3=heavy.kg_m3,
            mass_by=heavy.mass_by,
            note=heavy.note,
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
