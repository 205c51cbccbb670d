"""Number and name of a part, written where there is most room on it."""

from typing import Final

import shapely

from nesting.geometry.pose import Point
from nesting.part import Part
from nesting.tolerances import PLACING_CHORD_MM

_WIDTH_PER_HEIGHT: Final = 0.9
"""Upper bound on the width of a letter of a plain stroke font."""

_TALLEST_MM: Final = 25.0

_OFF_MARKS_MM: Final = 1.0

_MOST_MARKS: Final = 100
"""A part with more is written over: there is no clear place, and looking for one takes long."""


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
    """Return centre and radius of a circle in the part, nearly the largest, so that a label lies on it at any turn.

    It keeps off bend lines and other marks where at least half of the radius is left without them.
    """
    body = part.fine_polygon
    anywhere = _largest_circle(body)
    if not 0 < len(part.marks) <= _MOST_MARKS:
        return anywhere
    lines = shapely.union_all([shapely.linestrings(m.curve.points(PLACING_CHORD_MM)) for m in part.marks])
    clear = _largest_circle(body.difference(lines.buffer(_OFF_MARKS_MM)))
    return clear if clear[1] >= anywhere[1] / 2.0 else anywhere


def _largest_circle(body: shapely.Geometry) -> tuple[Point, float]:
    line = shapely.maximum_inscribed_circle(body, tolerance=0.5)
    if line.is_empty:
        return (0.0, 0.0), 0.0
    x, y = line.coords[0]
    return (x, y), line.length
