"""What a reader noticed in a drawing: faults are data, so that all of them can be shown, with their places."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from nesting.errors import DrawingError
from nesting.geometry.curves import Curve
from nesting.geometry.pose import Point

Severity = Literal["note", "warning", "error"]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing noticed.

    `note`: left out or mended with no effect on what is cut.  `warning`: mended or decided in a way somebody should
    look at.  `error`: something drawn could not become part of a part.  `place` is in drawing millimetres, `entity`
    the type and handle, such as `LINE 2F`, `size_mm` the width of a gap or the length or size of what it is about.
    """

    kind: str
    severity: Severity
    message: str
    place: Point | None = None
    entity: str | None = None
    size_mm: float | None = None


class NoPartsError(DrawingError):
    """A drawing was read and nothing in it can be cut; `findings` say why, with places, `curves` is what was read."""

    def __init__(self, message: str, findings: Iterable[Finding], curves: Iterable[Curve] = ()) -> None:
        super().__init__(message)
        self.findings = tuple(findings)
        self.curves = tuple(curves)


def at(place: Point) -> str:
    """Write a place for a message."""
    return f"({place[0]:.2f}, {place[1]:.2f})"
