"""What cuts and bends well: least sizes, tolerances and limits by process and thickness, each row with its source.

All values are starting values; what a shop has found out for itself wins.
"""

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal

LimitKind = Literal["hole", "hole distance", "slot", "web", "corner", "text"]


@dataclass(frozen=True, kw_only=True)
class Limit:
    """A length that something should reach, or not exceed, and where it comes from."""

    value_mm: float
    source: str


@dataclass(frozen=True, kw_only=True)
class BendRadius:
    """Least inside radii of a cold bend in thicknesses, bend line across and along the rolling direction."""

    across_thicknesses: float
    along_thicknesses: float
    source: str


def fit_limit(kind: LimitKind, process: str, *, thickness_mm: float | None, kerf_mm: float | None) -> Limit | None:
    """Return the least size of a feature, the largest of what its row asks in mm, thicknesses and kerfs.

    None where the table has no row for the process, or asks only in terms of what is not known.
    """
    for row in _rows("fit_limits.csv"):
        if (row["check"], row["process"]) == (kind, process):
            terms = [
                (row["limit_mm"], 1.0),
                (row["limit_thicknesses"], thickness_mm),
                (row["limit_kerfs"], kerf_mm),
            ]
            known = [float(factor) * unit for factor, unit in terms if factor and unit is not None]
            return Limit(value_mm=max(known), source=row["source"]) if known else None
    return None


def cut_tolerance(process: str, thickness_mm: float, size_mm: float) -> Limit | None:
    """Return how far a cut size may be off either way, or None beyond the table."""
    for row in _rows("cut_tolerances.csv"):
        fits = process in row["processes"].split(";") and _within(row, thickness_mm)
        if fits and float(row["size_over_mm"]) < size_mm <= float(row["size_up_to_mm"]):
            return Limit(value_mm=float(row["tolerance_mm"]), source=row["source"])
    return None


def thickness_over(thickness_mm: float) -> Limit | None:
    """Return how much thicker than its nominal thickness a steel plate may be delivered."""
    for row in _rows("thickness_over.csv"):
        if _within(row, thickness_mm):
            return Limit(value_mm=float(row["tolerance_mm"]), source=row["source"])
    return None


def thickness_under(thickness_mm: float) -> Limit | None:
    """Return how much thinner than its nominal thickness a steel plate may be delivered."""
    for row in _rows("thickness_under.csv"):
        if _within(row, thickness_mm):
            return Limit(value_mm=float(row["tolerance_mm"]), source=row["source"])
    return None


def mill_range_mm(thickness_mm: float) -> tuple[float, float]:
    """Return the least and the greatest thickness that a caliper may find on plate of a nominal thickness.

    Two nominals may share a reading: hot-rolled 10 ga and 1/8 in plate do, and so do 6 mm and 1/4 in.
    """
    under, over = thickness_under(thickness_mm), thickness_over(thickness_mm)
    low = thickness_mm - (under.value_mm if under else 0.0)
    return low, thickness_mm + (over.value_mm if over else 0.0)


def pierce_limit(process: str, amps: float | None) -> Limit | None:
    """Return the thickest plate that is pierced, for the smallest machine class that gives this amperage.

    With an amperage that nobody says it is the largest limit in print: beyond that no class pierces.
    """
    rows = [r for r in _rows("pierce_limits.csv") if r["process"] == process]
    fitting = [r for r in rows if amps is None or amps <= float(r["amps_up_to"])]
    if not fitting:
        return None
    row = fitting[-1] if amps is None else fitting[0]
    source = row["source"] + ("; the largest in print, the amperage is not known" if amps is None else "")
    return Limit(value_mm=float(row["limit_mm"]), source=source)


def bend_radius(material: str) -> BendRadius | None:
    """Return the least bend radii in print for a material, or None."""
    for row in _rows("bend_radii.csv"):
        if row["material"] == material:
            return BendRadius(
                across_thicknesses=float(row["across_thicknesses"]),
                along_thicknesses=float(row["along_thicknesses"]),
                source=row["source"],
            )
    return None


def _within(row: dict[str, str], thickness_mm: float) -> bool:
    return float(row["over_mm"]) < thickness_mm <= float(row["up_to_mm"])


@cache
def _rows(name: str) -> tuple[dict[str, str], ...]:
    text = files("nesting.tables").joinpath(name).read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))
