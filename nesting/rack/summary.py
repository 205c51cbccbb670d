"""A few figures of a plate's shape, stored with it, from which most questions are answered without its outline."""

from dataclasses import dataclass
from typing import Final

from nesting.geometry.largest import largest_circle, largest_rectangle
from nesting.geometry.span import span
from nesting.plate import Plate
from nesting.tolerances import PLACING_CHORD_MM

_NOTHING_MM2: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """Sizes of a plate, millimetres.  `area_mm2` has holes out; all else is of what may hold parts: keep-outs out too.

    `size_x_mm`, `size_y_mm`: over all, as drawn.  `width_mm`: the least distance of two parallel lines that hold it
    between them; `length_mm`: the largest distance of two of its points.  `circle_mm`: diameter of the largest circle
    inside.  `long_mm` x `short_mm`: a rectangle inside, nearly the largest, its long side at `turn_deg`.
    """

    area_mm2: float
    usable_mm2: float
    size_x_mm: float
    size_y_mm: float
    width_mm: float
    length_mm: float
    circle_mm: float
    long_mm: float
    short_mm: float
    turn_deg: float

    @staticmethod
    def of(plate: Plate) -> "Summary":
        """Measure a plate; what lies inside it is measured on chords inside, to `PLACING_CHORD_MM`."""
        usable = plate.usable_polygon(PLACING_CHORD_MM)
        x0, y0, x1, y1 = plate.fine_polygon.bounds
        over_all = {"area_mm2": plate.area_mm2, "size_x_mm": x1 - x0, "size_y_mm": y1 - y0}
        if usable.area <= _NOTHING_MM2:
            nothing = ("usable_mm2", "width_mm", "length_mm", "circle_mm", "long_mm", "short_mm", "turn_deg")
            return Summary(**over_all, **dict.fromkeys(nothing, 0.0))
        width, length = span(usable)
        rectangle = largest_rectangle(usable)
        return Summary(
            **over_all,
            usable_mm2=float(usable.area),
            width_mm=width,
            length_mm=length,
            circle_mm=2 * largest_circle(usable)[1],
            long_mm=rectangle.width_mm,
            short_mm=rectangle.height_mm,
            turn_deg=rectangle.turn_deg,
        )
