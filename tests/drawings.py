"""Small drawings written for tests, and what is asked of them once read."""

from collections import Counter
from pathlib import Path
from typing import Any

import ezdxf

from nesting.drawing.reader import Drawing
from nesting.part import Part


def drawing(path: Path, draw: Any, *, units: int | None = 4, version: str = "R2000") -> Path:
    """Write a drawing that `draw` fills; `units` is the $INSUNITS code."""
    document = ezdxf.new(version)
    if units is not None:
        document.header["$INSUNITS"] = units
    draw(document.modelspace())
    document.saveas(path)
    return path


def square(space: Any, size: float = 100.0, x: float = 0.0, y: float = 0.0, **attribs: Any) -> None:
    """Four lines."""
    corners = [(x, y), (x + size, y), (x + size, y + size), (x, y + size)]
    for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
        space.add_line(a, b, dxfattribs=attribs)


def only(read: Drawing) -> Part:
    """The one part of a drawing."""
    assert len(read.parts) == 1
    return read.parts[0]


def kinds(part: Part) -> Counter[str]:
    """Count curves by type."""
    return Counter(curve.type for contour in part.contours for curve in contour.curves)


def found(read: Drawing, kind: str) -> list[str]:
    """Messages of one kind of finding."""
    return [f.message for f in read.findings if f.kind == kind]
