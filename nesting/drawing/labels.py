"""Number and name of a part, written where there is most room on it."""

from typing import Final

import shapely

from nesting.geometry.pose import Point
from nesting.part import Part

_WIDTH_PER_HEIGHT: Final = 0.9
"""Upper bound on the width of a letter of a plain stroke font."""

_TALLEST_MM: Final = 25.0


def label_text(part: Part, number: int) -> str:
    """Return what is chalked on the piece: its number in the layout and the part's name."""
    return f"{number} {part.name}"


def label_size(text: str, radius_mm: float) -> tuple[float, float]:
    """Return letter height and width of a label that stays in a circle, mm."""
    across = (1.0 + (_WIDTH_PER_HEIGHT * len(text)) ** 2) ** 0.5
    height = min(_TALLEST_MM, 1.8 * radius_mm / across)
    return height, text_width(text, height)


def text_width(text: str, height_mm: float) -> float:
    """Return an upper bound on the width of a line of text in a plain stroke font, mm."""
    return height_mm * _WIDTH_PER_HEIGHT * len(text)


def label_room(part: Part) -> tuple[Point, float]:
    """Return centre and radius of a circle in the part, nearly the largest, so that a label lies on it at any turn."""
    line = shapely.maximum_inscribed_circle(part.fine_polygon, tolerance=0.5)
    x, y = line.coords[0]
    return (x, y), line.length
