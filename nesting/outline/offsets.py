"""Offsets: along a straight edge or chalk line to a station, then square to the corner, on either side."""

import math
import re
from dataclasses import dataclass
from typing import Final

import numpy as np

from nesting.errors import InputError
from nesting.outline.bounds import factor
from nesting.outline.captured import Captured
from nesting.outline.pasted import Pasted, Row
from nesting.outline.rings import ring
from nesting.units import Unit

SIGMA_MM: Final = 1.0
SQUARE_SIGMA_DEG: Final = 0.3
"""A reading by tape, a right angle by a square laid on (common practice, no source)."""

_WORDED: Final = re.compile(r"(left|right|[lr])\b\.?\s*(.*)|(.*?)\s*\b(left|right|[lr])", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class Offset:
    """A corner: how far along the line, how far square to it, left positive, millimetres."""

    line: int
    name: str
    station_mm: float
    offset_mm: float


def from_offsets(
    pasted: Pasted,
    *,
    unit: Unit = "mm",
    sigma_mm: float = SIGMA_MM,
    square_sigma_deg: float = SQUARE_SIGMA_DEG,
    by_side: bool = False,
) -> Captured:
    """Return the plate of lines `station, offset`, left of the line positive, or `L 120` and `R 80`.

    Corners stand in order round the edge; with `by_side` those on the right are put in order of station, then those
    on the left backwards.  Raise `InputError` with the line for what cannot be read or bounds no plain area.
    """
    corners = [c for row in pasted.rows() if (c := _offset(row, unit, first=row.line == 1)) is not None]
    if len(corners) < 3:
        raise InputError(
            f"{pasted.name}: {len(corners)} corners; a plate has at least three, each a line: station, offset"
        )
    if by_side:
        right = sorted((c for c in corners if c.offset_mm <= 0.0), key=lambda c: c.station_mm)
        left = sorted((c for c in corners if c.offset_mm > 0.0), key=lambda c: -c.station_mm)
        corners = [*right, *left]
    outer = ring([(c.station_mm, c.offset_mm, 0.0) for c in corners], pasted.name)
    # A square out of true shifts the foot along the line, the more the longer the offset.
    askew = math.radians(square_sigma_deg)
    worst = max(math.hypot(sigma_mm, askew * c.offset_mm) for c in corners)
    return Captured(
        way="offsets",
        outer=outer,
        uncertainty_mm=worst * factor(len(corners)),
        basis=f"{len(corners)} corners, tape {sigma_mm:g} mm and square {square_sigma_deg:g} degrees (1 sigma)",
        names=tuple(c.name for c in corners),
        notes=("edges between corners are taken as straight",),
        figures={
            "corners": [
                {"name": c.name, "line": c.line, "x_mm": round(c.station_mm, 4), "y_mm": round(c.offset_mm, 4),
                 "sd_mm": round(float(np.hypot(sigma_mm, askew * c.offset_mm)), 4)}
                for c in corners
            ]
        },
    )  # fmt: skip


def _offset(row: Row, unit: Unit, *, first: bool) -> Offset | None:
    fields = row.fields
    if first and row.is_heading:
        return None
    name = str(row.line)
    if row.is_named:
        name, fields = fields[0], fields[1:]
    if len(fields) == 3 and fields[2].lower() in ("l", "r", "left", "right"):
        fields = (fields[0], f"{fields[2]} {fields[1]}")
    if len(fields) != 2:
        row.refuse(f"{row.text!r} is no offset", "write station, offset, such as 350, 120 (left) or 350, R 80")
    station = row.length(fields[0], unit)
    worded = _WORDED.fullmatch(fields[1])
    if worded is None:
        return Offset(line=row.line, name=name, station_mm=station, offset_mm=row.length(fields[1], unit))
    word, number = (worded[1], worded[2]) if worded[1] else (worded[4], worded[3])
    offset = row.length(number, unit)
    if offset < 0.0:
        row.refuse(f"{fields[1]!r} has both a side and a sign", "give one of them")
    return Offset(
        line=row.line, name=name, station_mm=station, offset_mm=offset if word.lower().startswith("l") else -offset
    )
