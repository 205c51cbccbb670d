"""What is done with a plate before the first cut: what to tape, and how it comes to the table's zero."""

import math
from dataclasses import dataclass
from typing import Final

from nesting.drawing.cut_order import CutOrder
from nesting.geometry.pose import Point
from nesting.geometry.tape_checks import TapeCheck, tape_checks
from nesting.layout import Layout
from nesting.plate import Plate
from nesting.report.sheet.words import Lengths

Corners = tuple[tuple[str, Point], ...]

_SAME_MM: Final = 0.05
_SET_UP_MM: Final = 1.0
"""Corners to lay a plate by are written down rounded, and where the plate was edited since no corner is near."""


@dataclass(frozen=True, kw_only=True)
class TapeLine:
    """A distance to tape between two named places."""

    start: str
    end: str
    check: TapeCheck
    length: str

    @property
    def ends(self) -> str:
        """Both names."""
        return f"{self.start}\u00a0–\u00a0{self.end}"


def bought_size(plate: Plate) -> tuple[float, float] | None:
    """Return width and height of a sheet that was told by these alone and measured by nobody, else None.

    Mills deliver sheets a little larger than ordered (common practice, no source).
    """
    if not plate.captured.startswith("width and height") or plate.uncertainty_mm > 0.0 or plate.settling_mm > 0.0:
        return None
    x0, y0, x1, y1 = plate.fine_polygon.bounds
    return x1 - x0, y1 - y0


def tape_lines(layout: Layout, corners: Corners, lengths: Lengths) -> tuple[TapeLine, ...]:
    """Return the distances to tape; places that are no corners, as on a round plate, are P1, P2 and so on."""
    names = list(corners)
    found = []
    for check in tape_checks(layout.plate.outer):
        ends = []
        for at in (check.start, check.end):
            name = _name_at(at, names)
            if name is None:
                name = f"P{len(names) - len(corners) + 1}"
                names.append((name, at))
            ends.append(name)
        found.append(TapeLine(start=ends[0], end=ends[1], check=check, length=lengths.text(check.length_mm)))
    return tuple(found)


def _name_at(at: Point, names: list[tuple[str, Point]] | Corners) -> str | None:
    return next((name for name, place in names if math.dist(at, place) < _SAME_MM), None)


def steps_to_zero(layout: Layout, corners: Corners, order: CutOrder, lengths: Lengths) -> tuple[str, ...]:
    """Say where the readout is set, and what it must read at a second corner if the plate lies straight."""
    if not corners:
        left, low = order.zero
        told = f"X {lengths.readout(left)} is its outermost point to the left, Y {lengths.readout(low)} its lowest"
        return (f"The plate has no corners: {told}. Mark a point on it and set the readout there.",)
    zero, ((name, at), (second, other)) = zero_corner(corners)[0], laid_by(layout, corners)
    goal = f"Corner {zero} to the table's zero: "
    if name != zero:
        goal = f"Corner {zero} to the table's lower left. The outline was taken from {name} and {second}: "
    crooked = "else the plate lies crooked: turn it, or use 'oddplate settle'."
    size = bought_size(layout.plate)
    if size is not None:
        along = max(corners, key=lambda c: (c[1][0] - c[1][1], c[0]))
        return (
            f"{goal}torch over {name}, set the readout to {lengths.place(at)}.",
            f"Torch over {along[0]}: it must read Y\u00a0{lengths.readout(along[1][1])}, and X\u00a0"
            f"{lengths.readout(along[1][0])} or more, {crooked}",
        )
    return (
        f"{goal}torch over {name}, set the readout to {lengths.place(at)}.",
        f"Torch over {second}: it must read {lengths.place(other)}, {crooked}",
    )


def steps_on_table(layout: Layout, corners: Corners, lengths: Lengths) -> tuple[str, ...]:
    """Say what the readout must read at two corners of a plate whose drawing is in the table's coordinates."""
    kept = "The drawing is in the table's coordinates: leave the machine's zero where it is."
    ends = laid_by(layout, corners) if corners else ()
    return (kept, *(f"Torch over {name}: it must read {lengths.place(at)}." for name, at in ends))


def zero_corner(corners: Corners) -> tuple[str, Point]:
    """Return the corner nearest to the lower left of the box round them."""
    lower_left = (min(at[0] for _, at in corners), min(at[1] for _, at in corners))
    return min(corners, key=lambda c: math.dist(c[1], lower_left))


def laid_by(layout: Layout, corners: Corners) -> Corners:
    """Return the two corners to lay a plate by: those it was captured for, else that of the zero and the farthest.

    What is said of the outline's uncertainty holds for a plate laid by the corners it was captured for.
    """
    capture = layout.plate.capture
    near = () if capture is None else capture.set_up_by
    meant = tuple(c for c in corners if any(math.dist(c[1], p) < _SET_UP_MM for p in near))
    chosen = meant if len(meant) > 1 else corners
    first = zero_corner(chosen)
    return first, max(chosen, key=lambda c: math.dist(c[1], first[1]))
