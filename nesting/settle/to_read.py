"""Which corners a plate has and which of them to read out, before anybody has been to the table."""

import math
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Final

from nesting.corner_names import NamedCorner, named_corners
from nesting.plate import Plate
from nesting.settle.reading import Reading
from nesting.settle.settling import settle
from nesting.settle.wording import shown
from nesting.units import Unit

SCHEMA: Final = "oddplate-corners/1"
_MOST: Final = 6


@dataclass(frozen=True, kw_only=True)
class ToRead:
    """The corners of a plate in its drawing's place, and the names of those to read out."""

    corners: tuple[NamedCorner, ...]
    take: tuple[str, ...]

    def table(self, unit: Unit) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
        """Return headings and rows."""
        rows = tuple(
            (c.name, shown(c.point[0], unit), shown(c.point[1], unit), "read out" if c.name in self.take else "")
            for c in self.corners
        )
        return (("corner", f"drawing x {unit}", "drawing y", ""), rows)

    @property
    def lines(self) -> tuple[str, ...]:
        """Say what to do."""
        if not self.take:
            return (
                "the plate has no two corners to be found with the torch: mark points on it whose place in the drawing "
                "is known, three well off one line, and give them as X,Y=readout",
            )
        told = " ".join(f"--at {name}=X,Y" for name in self.take)
        return (f"read out {', '.join(self.take)} and say: {told}",)

    @property
    def document(self) -> dict[str, Any]:
        """Return this as a JSON document, mm."""
        corners = [{"name": c.name, "drawing_mm": [round(v, 4) for v in c.point]} for c in self.corners]
        return {"schema": SCHEMA, "corners": corners, "take": list(self.take), "told": list(self.lines)}


def to_read(plate: Plate, sigma_mm: float) -> ToRead:
    """Return the two corners farthest apart, and those that then tell which is which and which side is up."""
    corners = named_corners(plate)
    pairs = list(combinations(corners, 2))
    if not pairs:
        return ToRead(corners=corners, take=())
    first, second = max(pairs, key=lambda p: math.dist(p[0].point, p[1].point))
    taken = [first, second]
    while len(taken) < min(_MOST, len(corners)):
        exact = [Reading(name=c.name, stored=c.point, at=c.point) for c in taken]
        more = settle(plate, exact, sigma_mm=sigma_mm).ask_for
        if more is None:
            break
        taken.append(next(c for c in corners if c.name == more))
    names = {c.name for c in taken}
    return ToRead(corners=corners, take=tuple(c.name for c in corners if c.name in names))
