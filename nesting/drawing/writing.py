"""How a drawing is written: version, unit, and what is in it."""

from dataclasses import dataclass
from typing import Literal

from nesting.shop import Direction
from nesting.units import Unit

Version = Literal["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"]
ContourStyle = Literal["as drawn", "polylines"]
CurveStyle = Literal["as drawn", "arcs"]


@dataclass(frozen=True, kw_only=True)
class Writing:
    """The choices of one written drawing.

    `contours`: as the entities they were drawn with, or joined into polylines, which carry the direction of travel
    that arcs and circles have no word for.  `curves`: splines and ellipses as they are, or as arcs within
    `R12_ARC_MM`; R12 always takes arcs.  `blocks`: one block for each part, inserted in its places.  `outside` is
    the direction of outside cuts; inside cuts go the other way, so that the same side of the cut is the part's.
    """

    version: Version = "R2000"
    unit: Unit = "mm"
    contours: ContourStyle = "as drawn"
    curves: CurveStyle = "as drawn"
    blocks: bool = False
    outside: Direction = "clockwise"
    plate_edge: bool = True
    labels: bool = True
    marks: bool = True

    @property
    def arcs_only(self) -> bool:
        """True if no spline and no ellipse is written."""
        return self.version == "R12" or self.curves == "arcs"

    def clockwise(self, contour: int) -> bool:
        """Tell whether a contour of a part, 0 being the outer one, is cut clockwise."""
        return (self.outside == "clockwise") == (contour == 0)
