"""Readouts of a plate's corners as typed or pasted: which corner, and where the machine stood over it."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from nesting.corner_names import NamedCorner
from nesting.errors import InputError
from nesting.geometry.pose import Point
from nesting.outline.pasted import Pasted, Row
from nesting.outline.spelled import Decimal, columns_in, read_position, unit_said
from nesting.units import Unit

SAME_MM: Final = 0.01
"""Coordinates this near to a corner mean the corner."""

MOST_READINGS: Final = 200
_NAME: Final = re.compile(r"[A-Za-z]\d*")
_NAME_FIRST: Final = re.compile(r"([A-Za-z]\d*)\s*(?:[:=,;\t]|\s)\s*(.*\S)")
_TWO_NUMBERS: Final = re.compile(r".*\d[^\d.]+[\d.].*")
_ONLY_CODES: Final = re.compile(r"(?:[GMTSFN]\s*\d+(?:\.\d+)?\s*|%)+", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One point of the plate read out: its name, its place in the plate's drawing and on the table, mm.

    `corner` tells whether it is one of the plate's corners; `times` how often it was read, `spread_mm` how far the
    readings lay apart.
    """

    name: str
    stored: Point
    at: Point
    corner: bool = True
    times: int = 1
    spread_mm: float = 0.0


def read_readings(
    pasted: Pasted, corners: Sequence[NamedCorner], *, unit: Unit = "mm", decimal: Decimal | None = None
) -> tuple[Reading, ...]:
    """Return the readouts of a text, one a line: a corner's name, then its position in any usual spelling.

    `A=100,50`, `A X100 Y50`, `A;100,5;50,2`, `A: 3 15/16, 1 31/32`; a point that is no corner goes by the drawing's
    coordinates, `0,0 = 100,50`.  A line of headings is passed over; program lines such as `G20` set the unit for those
    that follow.  Raise `InputError` with the line for anything else, and for a corner that the plate has not.
    """
    found: list[Reading] = []
    for row in pasted.rows():
        unit = unit_said(row.text) or unit
        if _ONLY_CODES.fullmatch(row.text) or (not found and (columns_in(row) or row.is_heading)):
            continue
        name, position = _split(row)
        found.append(_reading(row, name, position, corners, unit, decimal))
        if len(found) > MOST_READINGS:
            raise InputError(f"{pasted.name}: more than {MOST_READINGS} readouts; give the corners of one plate")
    return tuple(found)


def merged(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """Return one reading for each point: the mean of those read more than once."""
    by_place: dict[Point, list[Reading]] = {}
    for reading in readings:
        by_place.setdefault(reading.stored, []).append(reading)
    return tuple(_mean(same) for same in by_place.values())


def _mean(same: Sequence[Reading]) -> Reading:
    xs, ys = zip(*(r.at for r in same), strict=True)
    return replace(
        same[0],
        at=(math.fsum(xs) / len(xs), math.fsum(ys) / len(ys)),
        times=len(same),
        spread_mm=max(math.dist(a.at, b.at) for a in same for b in same),
    )


def _split(row: Row) -> tuple[str, str]:
    """Return the name, or coordinates, and the position of a line."""
    left, equals, right = (piece.strip() for piece in row.text.partition("="))
    if equals and right:
        # X and Y name corners of large plates, and axes far more often.
        axis = left.upper() in ("X", "Y", "Z") and re.search("[XYZ]", right, re.IGNORECASE)
        if (_NAME.fullmatch(left) and not axis) or _TWO_NUMBERS.fullmatch(left):
            return left, right
    named = _NAME_FIRST.fullmatch(row.text)
    if named is None or (named[1][0].upper() in "XYZ" and not re.search("X.*Y|Y.*X", named[2], re.IGNORECASE)):
        row.refuse(f"{row.text!r} names no corner", "write its letter first, such as A=100,50 or A X100 Y50")
    return named[1], named[2]


def _reading(
    row: Row, name: str, position: str, corners: Sequence[NamedCorner], unit: Unit, decimal: Decimal | None
) -> Reading:
    at = _position(row, position, unit, decimal)
    known = next((c for c in corners if c.name.upper() == name.upper()), None)
    if known is not None:
        return Reading(name=known.name, stored=known.point, at=at)
    if _NAME.fullmatch(name):
        told = f"has the corners {', '.join(c.name for c in corners)}" if corners else "has no corners"
        row.refuse(
            f"the plate {told}, and none is called {name!r}",
            "take a letter of its picture, or the drawing's coordinates of the point, as in 0,0=100,50",
        )
    stored = _position(row, name, unit, decimal)
    near = next((c for c in corners if math.dist(c.point, stored) <= SAME_MM), None)
    if near is not None:
        return Reading(name=near.name, stored=near.point, at=at)
    return Reading(name=f"({stored[0]:g}, {stored[1]:g})", stored=stored, at=at, corner=False)


def _position(row: Row, text: str, unit: Unit, decimal: Decimal | None) -> Point:
    # A position is told by its line: what stands behind the name is read as a line of its own.
    alone = next(Pasted(name=row.source, text=text).rows(), None)
    found = alone and read_position(replace(alone, line=row.line, commas_known=row.commas_known), unit, decimal=decimal)
    if not found:
        row.refuse(f"{text!r} is no position", "write x and y, such as 100,50 or X100 Y50")
    if found.on_arc:
        row.refuse(f"{text!r} is called a point on an arc", "read out corners, or points whose coordinates are known")
    return found.at
